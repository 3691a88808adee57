"""Figures for words: what they are of made-up responses."""

from dataclasses import replace

import numpy as np
import pytest

from bracedtop.fem.response import Response
from bracedtop.fem.voice import WORDS, ReferenceString, Voice, band_mean, note_decays, semitones, voice_of
from bracedtop.geometry.errors import AccuracyError
from bracedtop.geometry.units import note_frequency

HZ = np.geomspace(70.0, 1130.0, 3000)


def flat(pressure: float = 0.2, ear: float = 0.1, real: float = 0.01) -> Response:
    ones = np.ones(len(HZ))
    shares = {"sound in front": 0.1 * ones, "wood of the top": 0.9 * ones}
    return Response(
        HZ, (real + 0.02j) * ones, (pressure + 0j) * ones, pressure**2 * ones, (1j * ear) * ones, {}, shares
    )


def test_levels_of_flat_pressures() -> None:
    """0.2 Pa is 80 dB re 20 uPa, 0.02 Pa 60 dB."""
    voice = voice_of(flat(0.2, 0.02))
    assert voice.projection == pytest.approx(80.0, abs=1e-9)
    assert voice.bass == pytest.approx(80.0, abs=1e-9)
    assert voice.presence == pytest.approx(60.0, abs=1e-9)
    assert voice.evenness == pytest.approx(0.0, abs=1e-9)
    assert voice.shares == pytest.approx({"sound in front": 0.1, "wood of the top": 0.9})


def test_bass_alone_raises_bass() -> None:
    """Twice the pressure below the upper edge of the 200 Hz band: 6.02 dB there and 5 / 12 of it in all."""
    edge = 1000 * 10 ** (-0.65)
    louder = replace(flat(), cone=np.where(edge > HZ, 4.0, 1.0) * flat().cone)
    voice = voice_of(louder)
    assert voice.bass == pytest.approx(80.0 + 20 * np.log10(2), abs=0.02)
    assert voice.projection == pytest.approx(80.0 + 20 * np.log10(2) * 5 / 12, abs=0.02)


def test_evenness_is_the_step_between_notes() -> None:
    """Every other note 3 dB louder."""
    number = np.round(12 * np.log2(HZ / note_frequency("E2"))).astype(int)
    uneven = replace(flat(), cone=flat().cone * np.where(number % 2, 10**0.3, 1.0))
    assert voice_of(uneven).evenness == pytest.approx(3.0, abs=0.1)


def test_decay_of_a_string_on_a_body() -> None:
    """J. Woodhouse, Acta Acustica 90 (2004) 945: 58.3 N on 0.579 m (A3 on the third string) with Re Y = 0.143 s/kg
    decays with 14.4 1/s, in 0.48 s (worked from his data)."""
    f = note_frequency("A3")
    string = ReferenceString(impedance=58.3 / (2 * 0.579 * f), friction=0.0, air=0.0)
    times = note_decays(flat(real=0.143), string)
    assert times[np.argmin(np.abs(semitones() - f))] == pytest.approx(0.48, rel=0.01)


def test_sustain_is_the_middle_note() -> None:
    times = np.array([[1.0, 2.0, 9.0], [3.0, 4.0, 5.0]])
    assert voice_of(flat(), times).sustain == pytest.approx(3.5)
    assert voice_of(flat(real=0.005)).sustain > voice_of(flat(real=0.01)).sustain


def test_words_are_the_figures() -> None:
    voice = voice_of(flat())
    assert isinstance(voice, Voice)
    for word in WORDS:
        assert np.isfinite(voice.figure(word.name))


def test_band_mean_of_a_power() -> None:
    """Mean of f over equal ratios is (b - a) / ln(b / a)."""
    assert band_mean(HZ, HZ, 100.0, 300.0) == pytest.approx(200.0 / np.log(3.0), rel=1e-5)


def test_short_response() -> None:
    short = flat()
    cut = Response(
        HZ[:2000], short.admittance[:2000], short.on_axis[:2000], short.cone[:2000], short.ear[:2000], {}, {}
    )
    with pytest.raises(AccuracyError, match=r"must cover 70\.8 to 1122\.0 Hz"):
        voice_of(cut)
