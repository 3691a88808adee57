"""Render the invented board and brace stick of cases/boards: known constants, sizes and decays, with stated noise.

Not a command. Run from the top of the repository: python -m bracedtop.scripts.demo_boards cases/boards
"""

import sys
from pathlib import Path

import numpy as np

from bracedtop.fem.free_bar import BarMode, stick_frequency
from bracedtop.fem.free_plate import PlateMode, free_plate
from bracedtop.fem.recording import T60
from bracedtop.fem.synthesis import Disturbance, tap_signal, write_wav

PLATE = (11.6e9, 0.78e9, 0.66e9, 0.37, 0.62e9, 0.031e9)
"""E_L, E_R, G_LR in Pa, nu_LR, G_LT, G_RT in Pa of the invented board."""

STICK = (12.4e9, 0.75e9, 0.72e9)
"""E_L, G_LR, G_LT in Pa of the invented stick."""

SIZE = (0.560, 0.215, 3.0e-3)
STICK_SIZE = (0.500, 9.0e-3, 18.0e-3)
DENSITY, STICK_DENSITY = 412.0, 395.0
LOSSES = {"along": 0.0065, "across": 0.019, "shear": 0.017}
HOLD = 0.004
"""Standard deviation of a note, board held anew, relative."""

RATE = 8000
SEED = 7

MODES = {
    'mode = "long"': PlateMode(2, 0),
    'mode = "cross"': PlateMode(0, 2),
    'mode = "twist"': PlateMode(1, 1),
    "nodes_across = 2\nnodes_along = 1": PlateMode(2, 1),
}
STICK_MODES = {"height": BarMode("height", 2), "width": BarMode("width", 2), "twist": BarMode("twist", 1)}


def plate_text(rng: np.random.Generator, folder: Path) -> str:
    """Board file of the plate; its twist is heard in a recording."""
    a, b, h = SIZE
    mass = DENSITY * a * b * h
    plate = free_plate(a, 2 * b, 0.035)
    response = plate.response([*PLATE, *SIZE, mass], list(MODES.values()))
    shares = 2 * response.slopes
    loss = (
        LOSSES["along"] * shares[:, 0]
        + LOSSES["across"] * (shares[:, 1] + shares[:, 5])
        + LOSSES["shear"] * (shares[:, 2] + shares[:, 4])
    )
    thickness = 1e3 * (h + 0.03e-3 * rng.normal(size=9))
    text = f"""\
name = "invented spruce board"
note = "Invented: computed with known constants and noise by scripts/demo_boards.py; see README.md."
kind = "plate"
length_mm = {1e3 * a + 0.3 * rng.normal():.1f}
width_mm = {1e3 * b + 0.3 * rng.normal():.1f}
grain_along = "length"
thickness_mm = [{", ".join(f"{t:.2f}" for t in thickness)}]
mass_g = {1e3 * mass + 0.3 * rng.normal():.1f}
based_on = "spruce_sitka"
"""
    for k, (words, mode) in enumerate(MODES.items()):
        text += f"\n[[tap]]\n{words}\n"
        if mode == PlateMode(1, 1):
            text += f'wav = "spruce_twist.wav"\nnear_hz = {response.hz[k]:.0f}\n'
            continue
        readings = response.hz[k] * (1 + HOLD * rng.normal(size=3))
        text += f"hz = [{', '.join(f'{f:.1f}' for f in readings)}]\n"
        text += f"q = {1 / (loss[k] * (1 + 0.1 * rng.normal())):.0f}\n"
    at = [2, 3]
    hz = response.hz[at] * (1 + HOLD * rng.normal())
    sound = tap_signal(
        hz,
        T60 / (np.pi * hz * loss[at]),
        np.array([1.0, 0.3]),
        rate=RATE,
        duration=6.2,
        hit_times=np.array([0.3, 1.8, 3.3, 4.8]),
        rng=rng,
        disturbance=Disturbance(noise_db=-40.0),
    )
    write_wav(folder / "spruce_twist.wav", sound, RATE)
    return text


def stick_text(rng: np.random.Generator) -> str:
    """Board file of the stick."""
    length, width, height = STICK_SIZE
    mass = STICK_DENSITY * length * width * height
    text = f"""\
name = "invented brace stick"
note = "Invented: computed with known constants and noise by scripts/demo_boards.py; see README.md."
kind = "stick"
length_mm = {1e3 * length + 0.3 * rng.normal():.1f}
width_mm = [{", ".join(f"{1e3 * width + 0.03 * rng.normal():.2f}" for _ in range(3))}]
height_mm = [{", ".join(f"{1e3 * height + 0.03 * rng.normal():.2f}" for _ in range(3))}]
mass_g = {1e3 * mass + 0.1 * rng.normal():.1f}
based_on = "spruce_sitka"

[errors]
width_mm = 0.03
height_mm = 0.03
mass_g = 0.1
"""
    for words, mode in STICK_MODES.items():
        hz = stick_frequency(np.array([*STICK, *STICK_SIZE, mass]), mode)
        readings = hz * (1 + HOLD * rng.normal(size=2))
        text += f'\n[[tap]]\nmode = "{words}"\nhz = [{", ".join(f"{f:.1f}" for f in readings)}]\n'
    return text


def main(folder: Path) -> None:
    """Write the files into a folder."""
    rng = np.random.default_rng(SEED)
    (folder / "spruce_board.toml").write_text(plate_text(rng, folder), encoding="utf-8")
    (folder / "spruce_stick.toml").write_text(stick_text(rng), encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
