"""The view Box: what is planted reaches the page, what is asked for is kept, and the page says what the commands say.

Figures here are invented; those of the models are checked where the models are. The slow test holds the page's work
against the commands.
"""

import io
import json
import tomllib
from collections.abc import Callable
from dataclasses import replace
from types import SimpleNamespace
from urllib.error import HTTPError
from urllib.request import urlopen

import pytest
from commands.command_line import TOP, call
from commands.test_box_commands import BOX, FINISH, STRINGS
from PIL import Image

from bracedtop.fem.body_peaks import BodyPeak, admittance_of
from bracedtop.fem.case import read_case
from bracedtop.fem.string_loss import LossyString
from bracedtop.fem.sustain_map import sustain_map
from bracedtop.fem.voice import WORDS
from bracedtop.geometry.errors import DesignError
from bracedtop.scripts.page import box_work, view_box
from bracedtop.scripts.page.box_work import Made, Picture, map_told
from bracedtop.scripts.page.session import Session
from bracedtop.scripts.page.view_box import digest

playwright = pytest.importorskip("playwright.sync_api", reason="the page's tests need Playwright: .[test] brings it")
expect = playwright.expect

FINISH_ASKED = {"mass_g_per_m2": 90, "film_mm": 0.08, "modulus_gpa": 3, "loss": 0.05, "faces": ["top", "back"]}


def png(width: int = 40, height: int = 20) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (width, height), "#e6cb98").save(out, "PNG")
    return out.getvalue()


def fingerboard() -> dict[str, object]:
    """A steel string on one strong resonance, which makes a wolf of the note beside it."""
    peaks = (BodyPeak(117.0, 40.0, 0.05), BodyPeak(300.0, 30.0, 0.4))
    string = LossyString("A2", 80.0, 80.0 / (1.3 * 110.0) ** 2, 0.0, 4e-4, 0.0)
    return map_told(sustain_map([string], lambda f: admittance_of(peaks, f), scale_length=0.65, n_frets=5, peaks=peaks))


def closed_told() -> dict[str, object]:
    def mode(number: int, name: str, hz: float) -> dict[str, object]:
        return {
            "mode": number,
            "name": name,
            "hz": hz,
            "note": "A2",
            "cents": -4.0,
            "q": 35.0,
            "t60_s": 0.71,
            "moves": {"top": 0.17, "back": 0.18, "air": 0.65, "rim": 0.001},
            "loses": {"wood": 0.2, "rim": 0.1, "finish": 0.0, "air": 0.4, "sound": 0.3},
            "admittance_db": -25.3,
            "pressure_db": 93.1,
        }

    return {
        "facts": "small: 4.8 litres of air",
        "modes": [mode(1, "hole air", 111.9), mode(2, "main top", 282.1)],
        "lumped": ["As makers and papers think of it:"],
        "voice": [{"name": w.name, "value": "5.3", "unit": w.unit, "sentence": w.sentence} for w in WORDS],
        "power": [["top wood", 0.7], ["sound in front", 0.3]],
        "map": fingerboard(),
        "notes": ["invented"],
    }


def ring_told() -> dict[str, object]:
    line = {"name": "hole air", "hz_per_hundredth": -0.025, "t60_s": 0.7, "mode": 1, "hz": 100.0}
    return {
        "now": {"open": [100.0, 200.0], "blocked": [190.0]},
        "widest_cents": 40.0,
        "modes": [{**line, "hole": "open"}, {**line, "hole": "blocked", "name": "main top", "hz": 190.0}],
        "widths": [{"width_mm": 25.0, "hz_per_hundredth": -0.16, "grams_per_hundredth": 0.11}],
        "sectors": [{"sector": 1, "where": "the tail end", "share": 0.2, "share_of_area": 0.07}],
        "practice": "A tenth is heard.",
        "notes": [],
        "in_words": "octave: 30 cents above it now",
        "next": "Pass 1: take 0.04 mm off the outside of the ring all round, 0.4 g.",
        "stop": "Stop at once if the top is heard below 180 Hz.",
        "would_help": [],
        "cautions": ["Never more than one pass."],
    }


def rims_told() -> dict[str, object]:
    voice = [{"name": w.name, "value": "5.3", "unit": w.unit, "sentence": w.sentence} for w in WORDS]
    column = {
        "words": "basswood",
        "modes": [{"mode": 1, "name": "hole air", "hz": 111.9, "q": 35.0, "t60_s": 0.7}],
        "voice": voice,
        "power": {"top wood": 0.7, "sound in front": 0.3},
        "weak": 1,
        "wolf": 0,
    }
    columns = [{"name": name, **column} for name in ("drawn", "kerfed")]
    return {"columns": columns, "sentences": ["kerfed: as good as the drawn rim."], "notes": []}


def sinks(known: object, now: dict[str, list[float]], depth_mm: float) -> dict[str, object]:
    """A ring whose notes fall by ten hertz a millimetre."""
    notes = [("air", 100.0), ("top", 200.0), ("top blocked", 190.0)]
    return {
        "depth_mm": depth_mm,
        "notes": [
            {"note": n, "now": hz, "hz": hz - 10 * depth_mm, "name": "A2 +1", "cents": -100 * depth_mm}
            for n, hz in notes
        ],
        "apart_cents": {"blocked": 1111.0, "open": 1200.0},
        "modes": {hole: [hz - 10 * depth_mm for hz in own] for hole, own in now.items()},
    }


def plant(monkeypatch: pytest.MonkeyPatch, session: Session) -> list[tuple[object, ...]]:
    """Puts invented results where tasks leave theirs; returns the list of the tasks that are begun."""
    strip = {f"box-mode-0{k}": Picture(png(), f"Coupled mode {k}") for k in (1, 2)}
    strip |= {f"{name}-small": picture for name, picture in strip.items()}
    curves = {name: Picture(png(), f"curves, {name}") for name in ("box-admittance", "box-sound")}
    made = {
        "closed": Made("", closed_told(), strip | curves),
        "ring": Made("", ring_told(), {"ring-where": Picture(png(), "the ring")}, known="known"),  # type: ignore[arg-type]
    }
    beside = {"rims": Picture(png(), "rims side by side")}
    rims = Made("of older boards", rims_told(), beside, tables=session.document.tables, model="the model")  # type: ignore[arg-type]
    made["rims"] = rims
    done = {
        f"box/{part}": SimpleNamespace(result=replace(m, digest=m.digest or digest(session, part)))
        for part, m in made.items()
    }
    begun: list[tuple[object, ...]] = []
    monkeypatch.setattr(session.tasks, "finished", done.get)

    def start(*arguments: object) -> None:
        # The view Drawing begins its own.
        if str(arguments[0]).startswith("box/"):
            begun.append(arguments)

    monkeypatch.setattr(session.tasks, "start", start)
    monkeypatch.setattr(box_work, "ring_answer", sinks)
    return begun


@pytest.fixture
def boxed(small, stand):
    (small / "top.toml").write_text(TOP + BOX + FINISH + STRINGS)
    return stand(small)


def go(page: "playwright.Page") -> "playwright.Locator":
    page.get_by_role("tab", name="Box").click()
    return page.locator("#view-box")


def test_top_alone_is_sent_to_the_drawing(page: "playwright.Page", accessible: Callable[..., None]) -> None:
    view = go(page)
    expect(view.get_by_text("This drawing is a top alone")).to_be_visible()
    expect(view.locator("pre")).to_contain_text("[sides]")
    accessible(page)
    view.get_by_role("button", name="To the drawing").click()
    expect(page.get_by_role("tab", name="Drawing")).to_have_attribute("aria-selected", "true")


def test_example_of_a_box_can_be_added() -> None:
    added = tomllib.loads(view_box.TO_ADD)
    assert set(added) == {"sides", "back"}


def test_pictures_figures_and_wish(
    boxed, monkeypatch: pytest.MonkeyPatch, open_page: Callable[..., "playwright.Page"], accessible: Callable[..., None]
) -> None:
    begun = plant(monkeypatch, boxed.session)
    page = open_page(boxed.address)
    view = go(page)
    # Pictures first: a mode is chosen by its picture.
    second = view.get_by_role("button", name="2: 282.1 Hz main top")
    second.click()
    expect(second).to_have_attribute("aria-pressed", "true")
    expect(view.get_by_role("img", name="Coupled mode 2")).to_be_visible()
    expect(view.locator(".facts")).to_contain_text("Mode 2: main top")
    expect(view.locator(".facts")).to_contain_text("65 %")
    # The note a semitone above the open string, beside the resonance of 117 Hz.
    note = view.locator(".note").nth(1)
    note.focus()
    page.keyboard.press("Enter")
    expect(view.locator(".note-said")).to_contain_text("fret 1 of the A2 string: 11")
    expect(view.locator(".note-said")).to_contain_text("the body at 117 Hz takes most of it")
    # The ring answers while the slider moves.
    slider = view.get_by_label("Taken off the ring, all round")
    slider.fill("0.1")
    expect(view.locator("[data-note='top']")).to_contain_text("200.0 \u2192 199.0 Hz")
    expect(view.get_by_text("Pass 1: take 0.04 mm")).to_be_visible()
    slider.press("ArrowRight")
    expect(slider).to_have_attribute("aria-valuetext", "0.11 mm taken off")
    expect(view.locator("[data-note='top']")).to_have_attribute("data-hz", "198.9")
    # Numbers on request.
    figures = view.locator("summary", has_text="Figures")
    figures.nth(0).click()
    figures.nth(1).click()
    expect(view.get_by_role("region", name="Figures of all modes")).to_contain_text("93.1")
    expect(view.get_by_role("region", name="What a thinner ring does")).to_contain_text("\u22120.025")
    expect(view.get_by_text("Something has changed since")).to_have_count(1)
    figures.nth(2).click()
    expect(view.get_by_role("region", name="Modes, side by side")).to_contain_text("111.9 Hz, 0.70 s")
    # A wish is kept, undone, and worked on with the model that is there.
    ways = view.get_by_role("button", name="Show the ways")
    expect(ways).to_be_hidden()
    view.get_by_label("bass", exact=True).select_option("a little more")
    expect(ways).to_be_visible()
    view.get_by_label("Their bass, dB").fill("71.5")
    view.get_by_label("Their bass, dB").press("Enter")
    accessible(page)
    ways.click()
    page.wait_for_function("() => document.querySelector('#state').dataset.kind === 'kept'")
    view.get_by_role("button", name="Compare with this finish").click()
    view.get_by_role("button", name="Compare the linings again").click()
    for _ in range(50):
        if len(begun) == 3:
            break
        page.wait_for_timeout(100)
    wish, finish, rims = sorted(begun, key=lambda task: str(task[0]))
    assert wish[0] == "box/brief"
    assert wish[7:] == ({"bass": "a little more"}, _theirs(bass=71.5), "the model")
    assert (finish[0], rims[0]) == ("box/finish", "box/rims")
    assert boxed.session.document.values["asked/finish"]["faces"] == ["top", "back", "sides"]
    assert boxed.session.document.values["brief/theirs"] == {"bass_db": 71.5}
    page.get_by_role("button", name="Undo").click()
    expect(page.get_by_role("button", name="Redo")).to_be_enabled()


def _theirs(**figures: float) -> dict[str, object]:
    return {"name": "the other instrument", "figures": figures, "hz": {}, "q": {}}


def test_on_a_phone(boxed, monkeypatch: pytest.MonkeyPatch, open_page: Callable[..., "playwright.Page"]) -> None:
    plant(monkeypatch, boxed.session)
    page = open_page(boxed.address, viewport={"width": 390, "height": 844}, has_touch=True)
    view = go(page)
    expect(view.locator(".mode").first).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    small = view.locator("button:visible, summary:visible").evaluate_all(
        "all => all.map(one => one.getBoundingClientRect()).filter(box => box.height < 43.5).length"
    )
    assert small == 0


def test_pictures_come_from_memory_and_nothing_else(boxed, monkeypatch: pytest.MonkeyPatch) -> None:
    plant(monkeypatch, boxed.session)
    told = view_box.told(boxed.session, {"part": "closed"})
    assert told["pictures"]["box-sound"]["width"] == 40
    with urlopen(f"{boxed.address}{told['pictures']['box-sound']['address']}") as answer:
        assert answer.headers["content-type"] == "image/png"
        assert answer.read() == png()
    for path in ("closed/none.png", "finish/finish.png", "closed/..%2Ftop.toml", "other/box-sound.png"):
        with pytest.raises(HTTPError, match="404"):
            urlopen(f"{boxed.address}box/picture/{path}")


def test_what_a_part_depends_on(boxed) -> None:
    session: Session = boxed.session
    before = {part: digest(session, part) for part in view_box.PARTS}
    session.change(["brief/wish"], [{"bass": "more"}])
    session.change(["asked/finish"], [FINISH_ASKED])
    after = {part: digest(session, part) for part in view_box.PARTS}
    assert {part for part in before if before[part] != after[part]} == {"brief", "finish"}
    session.change(["brace/long/stations_mm"], [[[0, 4], [120, 7], [237, 4]]])
    assert all(digest(session, part) != after[part] for part in view_box.PARTS)


@pytest.mark.parametrize(
    ("key", "value", "words"),
    [
        ("brief/wish", {"warmth": "more"}, "a wish gives"),
        ("brief/wish", {"bass": "much more"}, "a wish gives"),
        ("brief/theirs", {"bass_db": -3}, "bass_db"),
        ("brief/theirs", {"air_q": 30}, "air_q without air_hz"),
        ("brief/other", {}, "no part of a brief"),
        ("asked/finish", {"mass_g_per_m2": 5}, "asked/finish holds"),
        ("asked/finish", {**FINISH_ASKED, "loss": 1.5}, "must be 0 to 0.999"),
        ("asked/finish", {**FINISH_ASKED, "faces": ["neck"]}, "faces are some of"),
        ("asked/finish", {**FINISH_ASKED, "film_mm": True}, "has to be a number"),
    ],
)
def test_what_cannot_be_asked_for(boxed, key: str, value: dict[str, object], words: str) -> None:
    with pytest.raises(DesignError, match=words):
        boxed.session.change([key], [value])


def test_slider_has_its_ends(boxed, monkeypatch: pytest.MonkeyPatch) -> None:
    plant(monkeypatch, boxed.session)
    assert view_box.DEEPEST == box_work.DEEPEST
    for depth in (-0.01, 0.21, float("nan")):
        with pytest.raises(DesignError, match=r"goes from 0 to 0\.2 mm"):
            view_box.ring(boxed.session, {"depth_mm": depth})


def test_brief_of_the_case_is_where_the_page_begins(boxed) -> None:
    session: Session = boxed.session
    (boxed.folder / "brief.toml").write_text('[wish]\nbass = "more"\n\n[theirs]\nbass_db = 70\n')
    told = view_box.state(session, {})
    assert (told["wish"], told["theirs"]) == ({"bass": "more"}, {"bass_db": 70.0})
    session.change(["brief/wish"], [{"sustain": "less"}])
    assert view_box.state(session, {})["wish"] == {"sustain": "less"}
    (boxed.folder / "brief.toml").write_text('against = "../linnet"\n\n[wish]\nbass = "more"\n')
    assert "is not read by the page" in view_box.state(session, {})["brief_note"]
    (boxed.folder / "brief.toml").write_text("[wish]\nwarmth = 3\n")
    assert "warmth" in view_box.state(session, {})["brief_note"]


def test_finishes_to_compare(boxed) -> None:
    case = read_case(boxed.folder)
    assert [one.name for one in box_work.finish_options(case, None)] == ["bare", "as drawn"]
    asked = box_work.finish_options(case, FINISH_ASKED)[-1]
    assert [one.face for one in asked.finishes] == ["top", "back"]
    assert (asked.finishes[0].mass, asked.finishes[0].modulus) == pytest.approx((0.09, 3e9))
    weighs = box_work.finish_options(case, {**FINISH_ASKED, "film_mm": 0})[-1]
    assert (weighs.finishes[0].thickness, weighs.finishes[0].modulus) == (0, 0)
    bare = replace(case, box=replace(case.box, finishes=()))
    with pytest.raises(DesignError, match="has no"):
        box_work.finish_options(bare, None)


@pytest.mark.slow
def test_page_says_what_the_commands_say(boxed) -> None:
    tables = boxed.session.document.tables
    stages: list[float | None] = []

    def report(_: str, share: float | None) -> None:
        stages.append(share)

    closed = box_work.closed_work(report, boxed.folder, tables, "")
    ring = box_work.ring_work(report, boxed.folder, tables, "")
    assert all(share is not None and 0 <= share < 1 for share in stages)
    said = json.loads(call("box", boxed.folder, "--json", "--no-pictures").out)
    for here, there in zip(closed.told["modes"], said["modes"], strict=True):
        assert here["name"] == there["name"]
        assert here["hz"] == pytest.approx(there["hz"], rel=1e-9)
    assert all(picture.png.startswith(b"\x89PNG") for picture in [*closed.pictures.values(), *ring.pictures.values()])
    # The slider at a tenth says what the command's column says.
    answer = box_work.ring_answer(ring.known, ring.told["now"], 0.1)
    for line in ring.told["modes"]:
        then = answer["modes"][line["hole"]][line["mode"] - 1]
        assert then == pytest.approx(line["hz"] + line["change_hz"]["0.10 mm"], abs=1e-6)
