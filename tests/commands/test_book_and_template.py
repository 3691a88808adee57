"""bracedtop book and bracedtop template."""

import hashlib
import io
import json
import re
import tomllib
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
from commands.command_line import call, contents
from PIL import Image

from bracedtop.fem.bench_log import append, note_entry
from bracedtop.fem.case import read_case
from bracedtop.fem.cut_file import cut_text
from bracedtop.geometry.cut import Cut, cut_design
from bracedtop.scripts.page.journal import FILE_NAME as JOURNAL
from bracedtop.scripts.page.journal import Change, line_of

BUILD = """
[build]
maker = "Invented <Workshop>"
date = "2026-03-14"
glue_of_braces = "hot hide glue"
cautions = ["Invented: dry heat first & no water."]
words = "First paragraph.\\n\\nSecond one."
"""

VOID = {"meta", "img", "br", "hr", "link", "input", "wbr"}


class Strict(HTMLParser):
    """Tags, ids and addresses of a page; complains of what is not closed or closed twice."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.ids: list[str] = []
        self.addresses: list[str] = []
        self.tags: set[str] = set()
        self.words: list[str] = []
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        names = [name for name, _ in attrs]
        assert len(names) == len(set(names)), (tag, names)
        self.tags.add(tag)
        self.ids += [value for name, value in attrs if name == "id" and value]
        self.addresses += [value for name, value in attrs if name in ("href", "src", "xlink:href") and value]
        if tag == "img":
            assert dict(attrs).get("alt"), attrs
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        # Inside an SVG, where a tag may close itself.
        assert "svg" in self.open
        self.tags.add(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open, tag
        assert self.open.pop() == tag, (tag, self.getpos())

    def handle_data(self, data: str) -> None:
        self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())


@pytest.fixture(scope="module")
def told(tmp_path_factory, master) -> tuple[Path, Strict, str]:
    """A case with a pass, a photograph, notes and [build], and its book."""
    import shutil

    folder = Path(shutil.copytree(master, tmp_path_factory.mktemp("told") / "small"))
    (folder / "top.toml").write_text((folder / "top.toml").read_text() + BUILD)
    assert call("cut", folder, "--brace", "long", "--from", 40, "--to", 200, "--depth", 1, "--quiet").code == 0
    (folder / "pass-1" / "taps.csv").write_text("hz,label\n103.5,\n189,\n")
    append(folder, note_entry("A dry week.", 1))
    (folder / "photographs").mkdir()
    exif = Image.Exif()
    exif[306] = "2026:02:03 10:11:12"
    exif.get_ifd(0x8825)[1] = "N"
    exif[274] = 6
    Image.new("RGB", (3000, 1000), (180, 120, 60)).save(folder / "photographs" / "bridge.jpg", exif=exif)
    Image.new("RGBA", (20, 10), (0, 0, 0, 0)).save(folder / "photographs" / "2025-01-02 sketch.png")
    Image.new("RGB", (20, 10)).save(folder / "photographs" / "thumb.png")
    page = {
        "notes/1": {"date": "2026-03-01", "words": "Strung <up>."},
        "photographs/bridge.jpg": {"date": "", "words": "The bridge"},
        "photographs/thumb.png": {"left_out": True},
    }
    change = Change(id="one", keys=tuple(page), values=tuple(page.values()), was=(None, None, None))
    (folder / JOURNAL).write_bytes(line_of(change) + b'{"torn')
    outcome = call("book", folder, "--no-pictures", "--modes", 5, "--quiet", "--json")
    assert outcome.code == 0, outcome
    result = json.loads(outcome.out)
    assert result["book"] == str(folder / "book" / "book.html")
    assert (result["photographs"], result["passes"]) == (2, 1)
    text = (folder / "book" / "book.html").read_text(encoding="utf-8")
    return folder, Strict(text), text


def test_the_page_is_whole(told) -> None:
    """Tags close in order, ids are unique, links lead somewhere, nothing comes from elsewhere and nothing runs."""
    _, page, text = told
    assert text.startswith("<!doctype html>")
    assert len(page.ids) == len(set(page.ids))
    assert not page.tags & {"script", "iframe", "object", "embed", "link", "form"}
    for address in page.addresses:
        assert address.startswith("data:image/") or address.removeprefix("#") in page.ids
    assert not re.search(r"(https?:)?//[a-z]", re.sub(r'src="data:[^"]*"', "", text), re.IGNORECASE)
    assert "url(" not in text
    assert "{{" not in text


def test_what_the_maker_said(told) -> None:
    _, page, text = told
    for words in (
        "Invented <Workshop>",
        "hot hide glue",
        "First paragraph.",
        "Strung <up>.",
        "A dry week.",
        "The bridge",
    ):
        assert words in page.text
    assert "Invented <Workshop>" not in text
    assert "Invented: dry heat first & no water." in page.text
    assert page.text.count("not recorded") >= 3
    assert "<p>Second one.</p>" in text


def test_no_caution_but_the_makers(case: Path) -> None:
    assert call("book", case, "--no-pictures", "--modes", 3, "--quiet").code == 0
    text = (case / "book" / "book.html").read_text(encoding="utf-8")
    assert "The maker left no cautions" in text
    assert not re.search(r"\b(heat|steam|alcohol|water opens)\b", text)


def test_every_file_has_its_sum(told) -> None:
    folder, page, _ = told
    book = folder / "book"
    sums = dict(line.split("  ", 1)[::-1] for line in (book / "SHA256SUMS").read_text().splitlines())
    found = {name: hashlib.sha256(data).hexdigest() for name, data in contents(book).items() if name != "SHA256SUMS"}
    assert sums == found
    listed = {name for name in found if name != "book.html"}
    for name in listed:
        assert name in page.text
        assert found[name] in page.text
    assert {"data/top.toml", "data/top-as-built.toml", "data/modes.csv", "data/log.jsonl", "data/shapes.vtu"} <= listed
    assert {"data/taps/one.wav", "data/taps.csv", "data/pass-1/cut.csv", "data/pass-1/taps.csv"} <= listed
    assert {"photographs/bridge.jpg", "pictures/plan.svg", "pictures/sides.svg"} <= listed
    assert "photographs/thumb.png" not in listed
    originals = contents(folder / "photographs")
    assert contents(book / "photographs") == {k: v for k, v in originals.items() if k != "thumb.png"}


def test_as_built_reads_back_as_the_cut_top(told, tmp_path) -> None:
    folder, _, _ = told
    other = tmp_path / "other"
    other.mkdir()
    (other / "top.toml").write_bytes((folder / "book" / "data" / "top-as-built.toml").read_bytes())
    drawn, again = read_case(folder).design, read_case(other).design
    built = cut_design(drawn, [Cut("long", 0.04, 0.2, 1e-3, 1e-3)])
    for a, b in zip(built.braces, again.braces, strict=True):
        assert np.allclose(a.stations, b.stations, atol=1e-9)
    assert [(j.under, j.over, pytest.approx(j.kept)) for j in built.joints] == [
        (j.under, j.over, j.kept) for j in again.joints
    ]
    tables = tomllib.loads((other / "top.toml").read_text())
    assert tables["build"]["maker"] == "Invented <Workshop>"
    assert tables["target"] == tomllib.loads((folder / "top.toml").read_text())["target"]


def test_heights_stand_in_the_tables(told) -> None:
    """12 mm at 120 mm as drawn, a millimetre less as built."""
    _, _, text = told
    rows = [re.findall(r"<t[hd][^>]*>([^<]*)</t[hd]>", row) for row in re.findall(r"<tr>(.*?)</tr>", text)]
    assert ["120", "12", "11"] in rows
    assert ["0", "4", "4"] in rows


def test_photographs_are_small_upright_and_without_their_place(told) -> None:
    _, _, text = told
    import base64

    first, second = re.findall(r'src="data:image/jpeg;base64,([^"]+)"', text)
    # In the order of their dates: the sketch by its name, the bridge by its camera.
    assert text.index("2025-01-02") < text.index("2026-02-03")
    with Image.open(io.BytesIO(base64.b64decode(first))) as sketch:
        assert sketch.getpixel((3, 3)) == (255, 255, 255)
    with Image.open(io.BytesIO(base64.b64decode(second))) as bridge:
        assert bridge.size == (467, 1400)
        assert not bridge.getexif()


def test_measured_modes_are_those_of_the_last_taps(told) -> None:
    folder, page, _ = told
    lines = (folder / "book" / "data" / "modes.csv").read_text().splitlines()
    assert lines[0].startswith("mode,predicted_hz,measured_hz,q")
    assert [line.split(",")[2] for line in lines[1:] if line.split(",")[2]] == ["103.500", "189.000"]
    assert "measured after pass 1" in page.text


def test_a_new_book_replaces_the_old_one_and_nothing_else(case: Path) -> None:
    book = case / "book"
    assert call("book", case, "--no-pictures", "--modes", 3, "--quiet").code == 0
    (book / "data" / "modes.csv").write_text("changed")
    assert call("book", case, "--no-pictures", "--modes", 3, "--quiet").code == 0
    assert (book / "data" / "modes.csv").read_text().startswith("mode,")
    (book / "mine.txt").write_text("my own")
    before = contents(book)
    assert "holds mine.txt, which is not of an earlier book" in call("book", case, "--quiet").complaint
    assert contents(book) == before
    assert [path.name for path in case.iterdir() if path.name.startswith(".book")] == []


def test_a_photograph_that_is_none(case: Path) -> None:
    (case / "photographs").mkdir()
    (case / "photographs" / "x.jpg").write_text("no picture")
    complaint = call("book", case, "--no-pictures", "--quiet").complaint
    assert complaint.startswith("photographs/x.jpg: cannot be opened as a photograph")
    assert not (case / "book").exists()


@pytest.mark.parametrize("date", ["14.3.2026", "2026-13", "2026-3-1", "03/2026", "2026-02-30x"])
def test_dates_of_the_build(case: Path, date: str) -> None:
    (case / "top.toml").write_text((case / "top.toml").read_text() + f'\n[build]\ndate = "{date}"\n')
    assert f'date = "{date}"; must be a year, month or day' in call("mesh", case).complaint


def test_template_of_the_plan(case: Path) -> None:
    refused = call("template", case, "--quiet").complaint
    assert "no planned cuts; run bracedtop plan" in refused
    planned = [Cut("long", 0.04, 0.2, 1e-3, 2e-3), Cut("cross", 0.02, 0.1, 0.5e-3, 0.5e-3)]
    (case / "out" / "plan").mkdir(parents=True)
    (case / "out" / "plan" / "cut.csv").write_text(cut_text(planned))
    outcome = call("template", case, "--paper", "letter", "--json", "--quiet")
    assert outcome.code == 0
    result = json.loads(outcome.out)
    assert (result["pass"], result["paper"], result["sheets"]) == (1, "letter", len(result["written"]) - 1)
    for name in result["written"]:
        assert Path(name).stat().st_size > 1000
    assert (case / "out" / "template" / "template.pdf").read_bytes().startswith(b"%PDF")


def test_template_of_the_drawing(case: Path) -> None:
    outcome = call("template", case, "--drawing", "--quiet")
    assert outcome.code == 0
    assert "small, as it is" in outcome.out
    assert "measure the bar" in outcome.out


def test_template_refuses_a_plan_that_was_cut(case: Path) -> None:
    from bracedtop.fem.bench_log import plan_entry

    planned = [Cut("cross", 0.02, 0.1, 0.5e-3, 0.5e-3)]
    (case / "out" / "plan").mkdir(parents=True)
    (case / "out" / "plan" / "cut.csv").write_text(cut_text(planned))
    append(case, plan_entry({"cuts": planned, "expected": [], "targets": []}, 1))
    assert call("cut", case, "--as-planned", "--quiet").code == 0
    assert "is the plan of pass 1, but pass 2 comes next" in call("template", case, "--quiet").complaint
