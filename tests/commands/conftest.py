"""The small case as files."""

import shutil
from pathlib import Path

import numpy as np
import pytest
from commands.command_line import TAPS, TOP

from bracedtop.fem.synthesis import Disturbance, tap_signal, write_wav


@pytest.fixture(scope="session")
def master(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("master") / "small"
    (folder / "taps").mkdir(parents=True)
    (folder / "top.toml").write_text(TOP)
    (folder / "taps.csv").write_text(TAPS)
    signal = tap_signal(
        np.array([106.0, 190.0]),
        np.array([0.35, 0.25]),
        np.array([1.0, 0.7]),
        rate=6000,
        duration=1.1,
        hit_times=np.array([0.15, 0.6]),
        rng=np.random.default_rng(3),
        disturbance=Disturbance(noise_db=-40.0),
    )
    write_wav(folder / "taps" / "one.wav", signal, 6000)
    return folder


@pytest.fixture
def case(master, tmp_path) -> Path:
    """A fresh copy of the small case."""
    return Path(shutil.copytree(master, tmp_path / "small"))
