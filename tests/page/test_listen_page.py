"""The view Listen in a real browser: sounds reach the audio elements, pairs are equally loud, guesses are counted."""

import io
import tomllib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from urllib.request import urlopen

import numpy as np
import pyloudnorm
import pytest
import soundfile

from bracedtop.fem.body_peaks import BodyPeak, admittance_of
from bracedtop.fem.heard import Body, BoxHeard, Heard
from bracedtop.fem.string_loss import LossyString
from bracedtop.fem.sustain_map import sustain_map
from bracedtop.scripts.page.session import Session
from bracedtop.scripts.page.sounds import BoxSounds, Version, top_sounds
from bracedtop.scripts.page.view_sound import digest

playwright = pytest.importorskip("playwright.sync_api", reason="the page's tests need Playwright: .[test] brings it")
expect = playwright.expect

READY_MS = 120_000
"""A task loads the libraries in a process of low priority; a busy machine lets it wait."""


def heard(page: "playwright.Page", version: str) -> tuple[np.ndarray, int]:
    """The WAV that an audio element plays."""
    source = page.locator(f"audio[data-version={version}]").evaluate("one => one.src")
    with urlopen(source) as answer:
        assert answer.headers["content-type"] == "audio/wav"
        return soundfile.read(io.BytesIO(answer.read()))


def loudness(samples: np.ndarray, rate: int) -> float:
    return pyloudnorm.Meter(rate).integrated_loudness(samples)


def listen(page: "playwright.Page") -> None:
    page.get_by_role("tab", name="Listen").click()
    expect(page.get_by_role("button", name="A", exact=True)).to_be_visible(timeout=READY_MS)


def prepared(monkeypatch: pytest.MonkeyPatch, session: Session, **made: object) -> None:
    """Sounds as if their tasks were done; on a busy machine a process of low priority takes too long for a test."""
    done = {f"sound/{what}": SimpleNamespace(result=result) for what, result in made.items()}
    monkeypatch.setattr(session.tasks, "finished", done.get)


def solved(session: Session, monkeypatch: pytest.MonkeyPatch) -> None:
    held = session.document
    made = top_sounds(lambda *_: None, session.folder, held.tables, held.drawing, digest(session, "top"))
    prepared(monkeypatch, session, top=made)


@pytest.fixture
def drafted(bench, monkeypatch: pytest.MonkeyPatch, open_page: Callable[..., "playwright.Page"]) -> "playwright.Page":
    """The page with a draft, a brace lower than in the drawing; both tops are solved."""
    session: Session = bench.session
    session.change(["brace/long/stations_mm"], [[[0, 4], [120, 7], [237, 4]]])
    solved(session, monkeypatch)
    return open_page(bench.address)


def invented_box(now: str) -> BoxSounds:
    """Two boxes of a few resonances and a steel string; no solve."""
    hz = 0.5 * np.arange(2401)
    boxes, charts = {}, {}
    string = LossyString("A2", 80.0, 80.0 / (1.3 * 110.0) ** 2, 0.0, 4e-4, 0.0)
    for name, mass in (("saved", 0.6), ("ring", 0.3)):
        peaks = (BodyPeak(103.0, 35.0, mass), BodyPeak(196.0, 30.0, 0.2), BodyPeak(410.0, 40.0, 1.0))
        Y = np.concatenate([[0j], admittance_of(peaks, hz[1:])])
        lossy = np.array([1 / one.quality for one in peaks])
        at = np.array([one.frequency for one in peaks])
        body = Body(Heard(0.5, 3.0 * Y, at, lossy, 3e-3, "1 m in front of the middle of the top"), Y, peaks)
        boxes[name] = BoxHeard(body, np.array([[0.1, 0.0], [0.2, 0.05]]), np.column_stack([Y, 2 * Y]))
        charts[name] = sustain_map(
            [string], lambda f, p=peaks: admittance_of(p, f), scale_length=0.65, n_frets=12, peaks=peaks
        )
    versions = (Version("saved", "as drawn"), Version("ring", "edge thinned", "0.3 mm off the edge"))
    return BoxSounds(now, versions, boxes, (string,), 0.65, 12, charts, ())


def test_before_and_after_a_cut_are_equally_loud(drafted: "playwright.Page", accessible: Callable[..., None]) -> None:
    page = drafted
    listen(page)
    page.get_by_role("button", name="A", exact=True).click()
    expect(page.get_by_role("button", name="A", exact=True)).to_have_attribute("aria-pressed", "true")
    expect(page.get_by_text("equally loud")).to_be_visible()
    a, rate = heard(page, "a")
    b, _ = heard(page, "b")
    assert (len(a), len(b), rate) == (72_000, 72_000, 48_000)
    assert page.locator("audio[data-version=a]").evaluate("one => one.duration") == pytest.approx(1.5, abs=0.01)
    assert page.locator("audio[data-version=a]").evaluate("one => one.volume") <= 0.8
    assert np.abs(a - b).max() > 0.01
    assert loudness(a, rate) == pytest.approx(loudness(b, rate), abs=0.2)
    assert max(np.abs(a).max(), np.abs(b).max()) < 0.9
    # The two spectra peak at the frequencies that the page tells.
    page.get_by_text("Figures", exact=True).click()
    told = page.locator("#view-sound details td").all_inner_texts()
    for samples, text in ((a, told[1]), (b, told[2])):
        hz = float(text.split()[0])
        spectrum = np.abs(np.fft.rfft(samples * np.hanning(len(samples)))) ** 2
        near = np.abs(np.arange(len(spectrum)) / 1.5 - hz) < 0.12 * hz
        assert np.argmax(spectrum * near) / 1.5 == pytest.approx(hz, abs=1.5)
    accessible(page)
    page.get_by_role("button", name="Fingertip").click()
    page.get_by_role("button", name="B", exact=True).click()
    expect(page.get_by_role("button", name="B", exact=True)).to_have_attribute("aria-pressed", "true")
    duller, _ = heard(page, "b")
    power = [np.abs(np.fft.rfft(one)) ** 2 for one in (b, duller)]
    # 300 Hz and above are less of it.
    shares = [float(one[450:].sum() / one.sum()) for one in power]
    assert shares[1] < shares[0]


def test_blind_guesses_are_counted(drafted: "playwright.Page") -> None:
    page = drafted
    listen(page)
    expect(page.get_by_role("button", name="X is A")).to_be_disabled()
    for _ in range(5):
        page.get_by_role("button", name="Play X").click()
        page.get_by_role("button", name="X is A").click()
    score = page.get_by_text("of 5 guesses right")
    expect(score).to_be_visible()
    right = int(score.inner_text().split(" of 5")[0].split()[-1])
    assert f"in {[100, 97, 81, 50, 19, 3][right]} of 100 tries" in score.inner_text()
    # Another sound, another test.
    page.get_by_role("button", name="Fingertip").click()
    expect(page.get_by_text("No guess yet")).to_be_visible()


def test_place_by_keyboard_and_by_click_on_a_phone(
    bench, monkeypatch: pytest.MonkeyPatch, open_page: Callable[..., "playwright.Page"]
) -> None:
    solved(bench.session, monkeypatch)
    page = open_page(bench.address, viewport={"width": 390, "height": 844})
    listen(page)
    along = page.get_by_label("Along, from the tail")
    expect(along).to_have_value("80 mm")
    along.fill("150")
    along.press("Enter")
    expect(along).to_have_value("150 mm")
    page.locator("#view-sound svg").click(position={"x": 60, "y": 60})
    expect(along).not_to_have_value("150 mm")
    expect(page.get_by_text("30 cm above the tapped place")).to_be_visible()
    page.get_by_role("button", name="At the bridge").click()
    expect(along).to_have_value("80 mm")
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    expect(page.get_by_role("button", name="Closed box")).to_be_disabled()


@pytest.mark.slow
def test_task_makes_a_top_ready(page: "playwright.Page") -> None:
    listen(page)
    expect(page.get_by_text("There is one version only")).to_be_visible()


def test_fingerboard_by_keyboard(
    bench,
    small,
    monkeypatch: pytest.MonkeyPatch,
    open_page: Callable[..., "playwright.Page"],
    accessible: Callable[..., None],
) -> None:
    session: Session = bench.session
    case = session.case()
    monkeypatch.setattr(session, "case", lambda: replace(case, box=object()))
    prepared(monkeypatch, session, top=None, box=invented_box(digest(session, "box")))
    page = open_page(bench.address)
    page.get_by_role("tab", name="Listen").click()
    page.get_by_role("button", name="Closed box").click()
    page.get_by_role("button", name="Note", exact=True).click()
    page.get_by_role("button", name="A2, string A2, open").focus()
    for _ in range(3):
        page.keyboard.press("ArrowRight")
    expect(page.get_by_role("button", name="C3, string A2, fret 3")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.get_by_role("button", name="A", exact=True)).to_have_attribute("aria-pressed", "true")
    expect(page.get_by_text("C3, heard 1 m in front of the middle of the top")).to_be_visible()
    a, rate = heard(page, "a")
    b, _ = heard(page, "b")
    assert len(a) == len(b) == 3 * rate
    assert loudness(a, rate) == pytest.approx(loudness(b, rate), abs=0.2)
    spectrum = np.abs(np.fft.rfft(a * np.hanning(len(a))))
    partials = np.argmax(spectrum) / 3 / 130.81  # C3 in equal temperament
    assert partials == pytest.approx(round(partials), abs=0.02)
    page.get_by_text("Figures", exact=True).click()
    expect(page.get_by_text("Falls by 60 dB in")).to_be_visible()
    accessible(page)


def test_cuts_and_plans_are_versions(small: Path) -> None:
    tables = tomllib.loads((small / "top.toml").read_text())
    head = "brace,from_mm,to_mm,depth_from_mm,depth_to_mm\n"
    for folder, row in (("pass-1", "cross,20,140,1,1"), ("out/plan", "cross,20,140,2,2")):
        (small / folder).mkdir(parents=True)
        (small / folder / "cut.csv").write_text(f"{head}{row}\n")
    made = top_sounds(lambda *_: None, small, tables, tables, "")
    assert [one.id for one in made.versions] == ["saved", "cut", "plan"]
    first = [np.sort(made.tops[one.id].frequencies) for one in made.versions]
    # A shaved cross brace is weaker across.
    assert first[0].sum() > first[1].sum() > first[2].sum()
    (small / "out" / "plan" / "cut.csv").write_text(f"{head}cross,20,140,30,30\n")
    worse = top_sounds(lambda *_: None, small, tables, tables, "")
    assert [one.id for one in worse.versions] == ["saved", "cut"]
    assert any("Not to be heard" in line for line in worse.notes)


def test_sounds_need_the_token_and_a_name(bench) -> None:
    for path in ("sound/none.wav", "../sound/none.wav"):
        with pytest.raises(OSError, match="404"):
            urlopen(bench.address + path)
