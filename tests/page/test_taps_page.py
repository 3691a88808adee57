"""The page's Taps: recordings come in, are read, and each tap is taken for a mode, by the program or by hand."""

from pathlib import Path

import numpy as np
import pytest
import soundfile

from bracedtop.fem.synthesis import Disturbance, tap_signal, write_wav
from bracedtop.geometry.errors import DesignError
from bracedtop.scripts.page.document import document
from bracedtop.scripts.page.journal import FILE_NAME, Journal

playwright = pytest.importorskip("playwright.sync_api", reason="no Playwright; .[test] brings it")
expect = playwright.expect

READING_MS = 150_000
"""The process of a task loads the libraries first, which a busy machine makes slow."""

HZ, T60 = (106.0, 190.0, 236.0), (0.35, 0.25, 0.2)
"""What the recording is made of; what is read from it is checked against these."""


@pytest.fixture
def knock(tmp_path) -> Path:
    signal = tap_signal(
        np.array(HZ),
        np.array(T60),
        np.array([1.0, 0.7, 0.5]),
        rate=8000,
        duration=2.2,
        hit_times=np.array([0.15, 0.8, 1.5]),
        rng=np.random.default_rng(3),
        disturbance=Disturbance(noise_db=-40.0),
    )
    write_wav(tmp_path / "knock.wav", signal, 8000)
    return tmp_path / "knock.wav"


def kept(folder: Path) -> dict[str, object]:
    """What the journal on the disk keeps, as another server would find it."""
    journal = Journal(folder / FILE_NAME)
    found = document(journal).values
    journal.close()
    return found


def test_a_recording_is_placed_read_and_paired(page, bench, small, knock, accessible) -> None:
    page.get_by_role("tab", name="Taps").click()
    page.get_by_label("x", exact=True).fill("90")
    page.get_by_label("y", exact=True).fill("-40")
    page.get_by_label("y", exact=True).press("Tab")
    page.get_by_label("Drop recordings here, or choose WAV or FLAC files").set_input_files(knock)
    expect(page.get_by_text("Kept as taps/knock.wav, tapped at x 90 mm, y -40 mm.")).to_be_visible()
    table = page.get_by_role("table", name="Tapped modes")
    expect(table).to_be_visible(timeout=READING_MS)
    assert (small / "taps" / "knock.wav").read_bytes() == knock.read_bytes()
    assert kept(small)["tapped/0/knock.wav"] == [90, -40]
    assert not (small / "taps.toml").exists()

    heard = [float(text) for text in table.locator(".measured").all_inner_texts()]
    assert heard == pytest.approx(HZ, abs=0.2)
    decays = [float(row.locator("td").nth(2).inner_text()) for row in table.locator("tbody tr").all()]
    assert decays == pytest.approx(T60, abs=0.03)
    assert page.get_by_role("img", name="3 hits used, at 0.15 s, 0.80 s, 1.50 s").count() == 1

    second = page.get_by_label("Mode of tap 2, 190.0 Hz")
    expect(second).to_have_value("2")
    second.select_option("1")
    expect(page.get_by_label("Mode of tap 1, 106.0 Hz")).to_have_value("0")
    expect(page.get_by_text("by hand (proposed: 2)")).to_be_visible()
    expect(page.locator("#state")).to_have_text("Everything is kept")
    assert kept(small)["pairing/0/2"] == {"mode": 1, "hz": pytest.approx(190.0, abs=0.2)}
    accessible(page)

    page.get_by_role("button", name="Undo: ").click()
    expect(second).to_have_value("2")
    expect(page.get_by_label("Mode of tap 1, 106.0 Hz")).to_have_value("1")


def test_places_of_taps_toml_stay_the_makers(page, bench, small, knock) -> None:
    (small / "taps").mkdir()
    (small / "taps" / "knock.wav").write_bytes(knock.read_bytes())
    own = '[[recording]]\nwav = "taps/knock.wav"\ntap_mm = [80, 30]\n'
    (small / "taps.toml").write_text(own)
    page.get_by_role("tab", name="Taps").click()
    expect(page.get_by_text("x 80 mm, y 30 mm, from taps.toml")).to_be_visible()
    page.get_by_label("Place of").select_option("knock.wav")
    page.locator(".taps-top").click()
    expect(page.get_by_text("taps.toml says where this one was tapped; change it there.")).to_be_visible()
    assert (small / "taps.toml").read_text() == own
    assert "tapped/0/knock.wav" not in kept(small)


def test_the_microphone_is_recorded_as_it_is(bench, small, open_page) -> None:
    page = open_page(bench.address, permissions=["microphone"], viewport={"width": 390, "height": 844})
    page.get_by_role("tab", name="Taps").click()
    page.get_by_role("button", name="Record taps").click()
    expect(page.get_by_text("Listening, 2 s at")).to_be_visible()
    rate = page.locator(".taps-said").inner_text().split(" at ")[1].split(" kHz")[0]
    page.get_by_role("button", name="Stop and keep").click()
    expect(page.get_by_text("Kept as taps/taps ")).to_be_visible()
    (path,) = (small / "taps").iterdir()
    with soundfile.SoundFile(path) as file:
        assert (file.channels, file.subtype) == (1, "FLOAT")
        assert file.samplerate / 1000 == pytest.approx(float(rate), abs=0.05)
        assert 2.0 <= file.frames / file.samplerate <= 30.0
        # The browser's stand-in for a microphone beeps.
        assert np.abs(file.read()).max() > 0.01


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("tapped/0/a.wav", [1]),
        ("tapped/0/a.wav", [1, 9000]),
        ("tapped/0/a/b.wav", [1, 2]),
        ("tapped/x/a.wav", [1, 2]),
        ("microphone/0", [True, 2]),
        ("microphone/0/x", [1, 2]),
        ("pairing/0", {"mode": 1, "hz": 100}),
        ("pairing/0/1", {"mode": 1}),
        ("pairing/0/1", {"mode": -1, "hz": 100}),
        ("pairing/0/1", {"mode": 1.5, "hz": 100}),
        ("pairing/0/1", {"mode": 1, "hz": 0}),
    ],
)
def test_what_cannot_be_kept_is_refused(key, value, bench) -> None:
    with pytest.raises(DesignError):
        bench.session.change([key], [value])
