"""Decay of nylon strings and of a note through the bridge.

J. Woodhouse, "Plucked guitar transients: comparison of measurements and synthesis", Acta Acustica united with
Acustica 90 (2004) 945-965: eq. 8 and Table I (seen in transcription; masses of the third and the fifth string
recalled), worked out by hand for the first partials of three open strings on 650 mm. The example of the note A3 on
the G string, 58.3 N and 0.579 m at a conductance of 0.143 s/kg, follows from his first-order formula (T / L) Re Y.
Printed digits are the tolerance.
"""

import numpy as np
import pytest

from bracedtop.fem.string_loss import LossyString, nylon_string, partial_frequencies, string_rate
from bracedtop.fem.sustain_map import LN_60, sustain_map

LENGTH = 0.650
DECAY = (
    # name, T N, mass kg/m, dB/s of the first partial
    ("E2", 71.6, 6.24e-3, 5.26),
    ("A2", 73.9, 3.61e-3, 4.12),
    ("D3", 71.2, 1.95e-3, 5.41),
)


@pytest.mark.parametrize(("name", "tension", "mass", "printed"), DECAY, ids=[row[0] for row in DECAY])
def test_first_partials_of_table_1(name: str, tension: float, mass: float, printed: float) -> None:
    rate = string_rate(nylon_string(name, tension, mass), LENGTH, 1)
    assert 20 / np.log(10) * rate == pytest.approx(printed, abs=0.006)


def test_tenth_partial_of_the_g_string_by_hand() -> None:
    """Eq. 8 with T = 58.3 N, EI = 310e-6 N m^2: bending is k^2 EI / T = 1.242 % of the tension at n = 10."""
    string = nylon_string("G3", 58.3, 0.90e-3)
    bending = 310e-6 * (10 * np.pi / LENGTH) ** 2 / 58.3
    assert bending == pytest.approx(0.01242, abs=2e-5)
    omega = 2 * np.pi * partial_frequencies(string, LENGTH, 10)
    assert omega == pytest.approx(10 * np.pi / LENGTH * np.sqrt(58.3 * 1.01242 / 0.90e-3), rel=1e-5)
    eta = (14e-5 + 1.7 / omega + 0.01242 * 0.020) / 1.01242
    assert string_rate(string, LENGTH, 10) == pytest.approx(omega * eta / 2, rel=1e-4)


def test_note_through_the_bridge() -> None:
    """A3 on the G string: 14.4 1/s, T60 0.48 s (own loss left out)."""
    string = LossyString("G3", 58.3, 0.90e-3, 0.0, 0.0, 0.0)
    found = sustain_map([string], lambda f: np.full(np.shape(f), 0.143), scale_length=0.579, n_frets=0, n_partials=1)
    assert found.bridge_rate[0, 0, 0] == pytest.approx(14.4, abs=0.05)
    assert LN_60 / found.bridge_rate[0, 0, 0] == pytest.approx(0.48, abs=0.005)
    assert found.decay_time[0, 0] == pytest.approx(0.48, abs=0.005)
    assert found.early_decay_time[0, 0] == pytest.approx(0.48, abs=0.005)
