"""Invented taps: a hidden top of other woods, rendered to WAV and noted in taps.csv, or tapped over a grid.

Not a command of the program; run it when a case's drawing changes:

  python -m bracedtop.scripts.demo_taps cases/wren
  python -m bracedtop.scripts.demo_taps cases/siskin --grid
"""

import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from bracedtop.fem.case import read_case
from bracedtop.fem.describe import nodal_lines
from bracedtop.fem.model import Model, Modes, build_model, deflections, solve
from bracedtop.fem.synthesis import Disturbance, tap_signal, write_wav
from bracedtop.fem.wood import Wood
from bracedtop.geometry.units import MM

SEED = 20
RATE = 16_000
N_HITS = 5
SPACING = 0.9
LOUDEST = 0.6

NOTE = """\
# Invented. These taps belong to no instrument: they are computed from the drawing with other woods than it states,
# and rendered with noise, hum and uneven hits by scripts/demo_taps.py.
"""


@dataclass(frozen=True, slots=True)
class TapPlace:
    """Where the top is tapped and where the microphone hangs, m, and the name of the recording."""

    name: str
    tap: tuple[float, float]
    microphone: tuple[float, float]


PLACES = (
    TapPlace("bridge", (0.168, 0.03), (0.14, -0.06)),
    TapPlace("lower-bout-treble", (0.06, -0.12), (0.20, 0.10)),
    TapPlace("waist-treble", (0.27, -0.085), (0.20, -0.11)),
)


GRID_RATE = 11_025
GRID_HITS = 2
GRID_SPACING = 0.55
GRID_NOISE_DB = -38.0
STRENGTH_SPREAD, PLACE_SPREAD = 0.15, 0.05

GRID_NOTE = """\
# Invented. This grid belongs to no instrument: it is computed from the drawing with other woods than it states, and
# rendered with noise and uneven hits by scripts/demo_taps.py.
"""

GRID_MICROPHONE = (0.150, 0.075)
GRID = {
    "row-1": (0.065, (-0.115, -0.045, 0.035, 0.105)),
    "row-2": (0.130, (-0.135, -0.050, 0.045, 0.130)),
    "row-3": (0.200, (-0.115, -0.040, 0.040, 0.110)),
    "row-4": (0.265, (-0.085, -0.030, 0.035, 0.090)),
    "row-5": (0.405, (-0.095, -0.060, 0.065, 0.100)),
}
"""Rows across the top, m: distance from the tail end, and the points tapped in it."""


def hidden(wood: Wood) -> Wood:
    """The wood that the invented maker really used: stiffer along the grain, softer across it and in twist."""
    factors = {"E_L": 1.10, "E_R": 0.88, "G_LR": 0.90}
    return replace(wood, **{key: factor * getattr(wood, key) for key, factor in factors.items()})


def decay_times(hz: np.ndarray) -> np.ndarray:
    """T60 of each mode, s: a quality factor of about 60 that falls slowly with frequency, as spruce tops have."""
    q = 62 * (hz / 200) ** -0.12
    return np.asarray(6.908 * q / (np.pi * hz))


def main(argv: Sequence[str]) -> None:
    """Write the taps of a case anew."""
    folder = Path(argv[0])
    case = read_case(folder)
    woods = {name: hidden(wood) for name, wood in case.woods.items()}
    model = build_model(case.design, woods, size=20 * MM)
    modes = solve(model, 14)
    # The last ones only colour the sound.
    rng = np.random.default_rng(SEED)
    (folder / "taps").mkdir(exist_ok=True)
    if "--grid" in argv:
        write_grid(folder, model, modes, rng)
        return
    for place in PLACES:
        signal = rendered(model, modes, place, rng)
        write_wav(folder / "taps" / f"{place.name}.wav", signal, RATE)
    (folder / "taps.csv").write_text(NOTE + notes(model, modes, rng), encoding="utf-8")


def rendered(model: Model, modes: Modes, place: TapPlace, rng: np.random.Generator) -> np.ndarray:
    """Sound of a few hits at one place."""
    there, here = (deflections(model, modes, np.array([xy]))[:, 0] for xy in (place.tap, place.microphone))
    amplitude = there * here / np.abs(there * here).max()
    hits = 0.4 + SPACING * np.arange(N_HITS) + rng.uniform(-0.05, 0.05, N_HITS)
    signal = tap_signal(
        modes.frequencies,
        decay_times(modes.frequencies),
        amplitude,
        rate=RATE,
        duration=0.4 + SPACING * N_HITS + 0.3,
        hit_times=hits,
        rng=rng,
        disturbance=Disturbance(noise_db=-34.0, hum_hz=50.0, hum_db=-38.0),
    )
    return np.asarray(LOUDEST * signal / np.abs(signal).max())


def notes(model: Model, modes: Modes, rng: np.random.Generator) -> str:
    """taps.csv: what the invented maker wrote down for the three lowest modes, to the nearest hertz."""
    rows = ["hz,label,nodes_across,nodes_along"]
    labels = ("long note, loud at both ends", "twist", "low growl")
    for hz, (across, along), label in zip(modes.frequencies, nodal_lines(model, modes), labels, strict=False):
        rows.append(f'{hz + rng.normal(0, 0.2):.0f},"{label}",{across},{along}')
    return "\n".join(rows) + "\n"


def write_grid(folder: Path, model: Model, modes: Modes, rng: np.random.Generator) -> None:
    """Recordings of the rows of the grid, all with one gain, and taps.toml, which says where they are."""
    signals = {name: _row(model, modes, x, ys, rng) for name, (x, ys) in GRID.items()}
    largest = max(float(np.abs(signal).max()) for signal in signals.values())
    x, y = GRID_MICROPHONE
    text = [GRID_NOTE, f"microphone_mm = [{x / MM:.0f}, {y / MM:.0f}]", f"hits_each = {GRID_HITS}"]
    for name, signal in signals.items():
        write_wav(folder / "taps" / f"{name}.wav", LOUDEST * signal / largest, GRID_RATE)
        x, ys = GRID[name]
        points = ", ".join(f"[{x / MM:.0f}, {y / MM:.0f}]" for y in ys)
        text.append(f'\n[[recording]]\nwav = "taps/{name}.wav"\npoints_mm = [{points}]')
    (folder / "taps.toml").write_text("\n".join(text) + "\n", encoding="utf-8")


def _row(model: Model, modes: Modes, x: float, ys: Sequence[float], rng: np.random.Generator) -> np.ndarray:
    """Sound of a few hits at each point of a row, one point after the other."""
    w = deflections(model, modes, np.array([GRID_MICROPHONE, *((x, y) for y in ys)]))
    # As if the pressure went with the plate's velocity after the same push everywhere.
    amplitude = (w[:, :1] * w[:, 1:]).T
    hz, rate = modes.frequencies, np.log(1e3) / decay_times(modes.frequencies)
    n_hits = GRID_HITS * len(ys)
    signal = np.zeros(round((0.4 + GRID_SPACING * n_hits + 0.1) * GRID_RATE))
    for k in range(n_hits):
        start = 0.4 + GRID_SPACING * k + rng.uniform(-0.02, 0.02)
        first = int(np.ceil(start * GRID_RATE))
        t = np.arange(first, len(signal)) / GRID_RATE - start
        a = amplitude[k // GRID_HITS] * np.exp(STRENGTH_SPREAD * rng.normal() + PLACE_SPREAD * rng.normal(size=len(hz)))
        signal[first:] += a @ (np.exp(-np.outer(rate, t)) * np.sin(2 * np.pi * np.outer(hz, t)))
        signal[first:] += 0.3 * np.abs(a).sum() * np.exp(-t / 0.3e-3) * rng.uniform(-1, 1, len(t))
    level = float(np.abs(amplitude).sum(axis=1).mean()) / 4
    return signal + level * 10 ** (GRID_NOISE_DB / 20) * rng.normal(size=len(signal))


if __name__ == "__main__":
    main(sys.argv[1:])
