"""The page's Plan: targets, the pass that the command would plan too, its template, and what was really cut."""

import io
import json
import shutil
import urllib.request

import numpy as np
import pytest
from commands.command_line import call
from unit.test_template import segments

from bracedtop.geometry.errors import DesignError
from bracedtop.scripts.page.view_plan import HANDLERS

playwright = pytest.importorskip("playwright.sync_api", reason="no Playwright; .[test] brings it")
expect = playwright.expect

PLANNING_MS = 240_000
"""A plan of the small case takes seconds; a busy machine loads the libraries of its process for most of a minute."""


def test_a_target_is_written_as_the_drawing_keeps_it(page, bench, accessible) -> None:
    page.get_by_role("tab", name="Plan").click()
    expect(page.get_by_text("Mode 2 at F#3 +20 cents (187.1 Hz)")).to_be_visible()
    form = page.get_by_role("group", name="A target")
    form.get_by_label("Mode").select_option("3")
    form.get_by_label("should").select_option("leave")
    form.get_by_label("This").select_option("want")
    form.get_by_label("Within, cents").fill("25")
    form.get_by_role("button", name="Add the target").click()
    wishes = page.locator("#view-plan li .target")
    expect(wishes.last).to_have_text("Mode 3 left alone, within 25 cents")
    expect(page.locator("#state")).to_have_text("Everything is kept")
    added = {"mode": 3, "keep_within_cents": 25, "weight": "want"}
    assert bench.session.document.tables["target"] == [{"mode": 2, "note": "F#3", "cents": 20}, added]
    assert [(t.mode, t.kind) for t in bench.session.case().targets] == [(2, "frequency")]

    form.get_by_label("should").select_option("note")
    form.get_by_label("Note, such as F#3").fill("H3")
    form.get_by_role("button", name="Add the target").click()
    expect(page.get_by_text("A note is a letter A to G")).to_be_visible()
    accessible(page)

    page.get_by_role("button", name="Change: mode 2").click()
    form.get_by_label("Cents").fill("-10")
    form.get_by_role("button", name="Change the target").click()
    expect(wishes.first).to_have_text("Mode 2 at F#3 \u221210 cents (183.9 Hz)")
    page.get_by_role("button", name="Remove: mode 3").click()
    expect(wishes).to_have_count(1)
    page.get_by_role("button", name="Undo: ").click()
    expect(wishes).to_have_count(2)


def test_notes_have_the_frequencies_of_equal_temperament(page) -> None:
    """ISO 16:1975 sets A4 to 440 Hz; the others are the usual table of equal temperament (RECALLED), to its digits."""
    table = {"A4": 440.0, "C4": 261.63, "E2": 82.41, "F#3": 185.0, "Bb3": 233.08, "D4": 293.66, "B3": 246.94}
    found = page.evaluate(
        """async (notes) => {
            const { noteFrequency, noteWords } = await import(new URL("static/plan-targets.js", location.href));
            return notes.map((note) => [noteFrequency(note), noteWords(noteFrequency(note))]);
        }""",
        list(table),
    )
    assert [hz for hz, _ in found] == pytest.approx(list(table.values()), abs=0.006)
    assert [words for _, words in found] == list(table)


def test_a_pass_from_plan_to_record(page, bench, small, tmp_path, accessible) -> None:
    other = tmp_path / "other"
    other.mkdir()
    for name in ("top.toml", "taps.csv"):
        shutil.copy(small / name, other)
    page.get_by_role("tab", name="Plan").click()
    page.get_by_role("button", name="Make the plan").click()
    lines = page.get_by_role("heading", name="Cut list of pass 1").locator("xpath=../..").locator("li:has(input)")
    expect(lines.first).to_be_visible(timeout=PLANNING_MS)

    command = json.loads(call("plan", other, "--json", "--quiet", "--no-pictures").out)
    rows = command["cuts"]
    expect(lines).to_have_count(len(rows))
    for row, line in zip(rows, lines.all(), strict=True):
        words = " ".join(line.inner_text().split())
        assert words.startswith(row["brace"])
        assert f"from {row['from_mm']:.0f} mm to {row['to_mm']:.0f} mm" in words
        assert f"{row['grams']:.2f} g" in words
    for words in (*command["stop"], *command["cautions"]):
        expect(page.get_by_text(words)).to_be_visible()
    expect(page.locator("#view-plan figure img")).to_have_count(3)

    # The template at full size: pypdf measures the bar in the printed file.
    pypdf = pytest.importorskip("pypdf", reason="pypdf measures the written PDF")
    link = page.get_by_role("link", name="Open the template to print").get_attribute("href")
    with urllib.request.urlopen(link) as answer:
        document = pypdf.PdfReader(io.BytesIO(answer.read()))
    bars = [
        float(np.hypot(*(ends[1] - ends[0])))
        for width, ends in segments(document.pages[0])
        if width == pytest.approx(0.5, abs=1e-3) and ends[0][1] == pytest.approx(ends[1][1])
    ]
    assert bars == pytest.approx([100.0], abs=0.01)
    assert "pass 1" in document.pages[0].extract_text()

    # Ticks and what is entered come back after everything else has gone.
    page.get_by_role("checkbox").first.check()
    depth = page.get_by_role("group", name="Cut 1").get_by_label("depth at the end, mm")
    planned = float(depth.input_value())
    depth.fill(f"{planned - 0.1:.1f}")
    depth.press("Tab")
    expect(page.locator("#state")).to_have_text("Everything is kept")
    page.reload()
    expect(page.get_by_role("checkbox").first).to_be_checked()
    expect(depth).to_have_value(f"{planned - 0.1:.1f}".removesuffix(".0"))
    accessible(page)

    page.get_by_role("button", name="Record pass 1").click()
    page.get_by_role("dialog").get_by_role("button", name="Record pass 1").click()
    expect(page.get_by_text("Pass 1 was cut and not tapped since.")).to_be_visible(timeout=PLANNING_MS)
    really = tmp_path / "really.csv"
    rows[0]["depth_to_mm"] = round(planned - 0.1, 4)
    keys = ("brace", "from_mm", "to_mm", "depth_from_mm", "depth_to_mm")
    really.write_text("\n".join(",".join(map(str, line)) for line in [keys, *([row[k] for k in keys] for row in rows)]))
    assert call("cut", other, "--file", really, "--quiet").code == 0
    mine, theirs = ((folder / "pass-1" / "cut.csv").read_text().splitlines()[1:] for folder in (small, other))
    assert mine == theirs
    expect(page.get_by_role("button", name="Make the plan")).to_be_disabled()
    page.get_by_role("button", name="Go to the taps").click()
    expect(page.get_by_label("Tapped")).to_have_value("1")
    with pytest.raises(DesignError, match="pass 1 is recorded already"):
        HANDLERS["plan/cut"](bench.session, {"pass": 1, "rows": []})


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("done/1", "x"),
        ("done/1/0", 3),
        ("done/1/x", "x"),
        ("really/x", []),
        ("really/1", [{"brace": "long"}]),
        ("really/1", [{"brace": "long", "from_mm": -1, "to_mm": 5, "depth_from_mm": 1, "depth_to_mm": 1}]),
        ("really/1", [{"brace": 5, "from_mm": 1, "to_mm": 5, "depth_from_mm": 1, "depth_to_mm": 1}]),
    ],
)
def test_what_cannot_be_kept_is_refused(key, value, bench) -> None:
    with pytest.raises(DesignError):
        bench.session.change([key], [value])
