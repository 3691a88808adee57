"""Pictures drawn off screen: by pyvista in a process of its own, or by matplotlib where a machine lacks OpenGL.

Without a library for off-screen OpenGL, VTK ends the whole process; so it gets one that may be lost. One process
draws all the pictures of a run, as its start costs more than a picture.

Depends on fem/scene.
"""

import pickle
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from bracedtop.geometry.errors import DesignError

if TYPE_CHECKING:
    from bracedtop.fem.scene import Scene

CHILD_SECONDS = 120.0
"""Longest wait for the drawing process; chosen: many times what a slow machine needs for 60 pictures."""

PLAIN_NOTE = "pictures: drawn by matplotlib, as pyvista found no OpenGL library to draw off screen on this machine"


@dataclass(frozen=True, slots=True)
class DeflectionMap:
    """Deflection of every mode on fine straight triangles.

    Parameters
    ----------
    points : (n, 2) array, m
    triangles : (m, 3) int array
    values : (n_modes, n) array
        Deflection w, out of the outside face, scaled to a largest |w| of 1 in each mode.

    Raises
    ------
    DesignError
        If the arrays do not fit together.
    """

    points: np.ndarray
    triangles: np.ndarray
    values: np.ndarray

    def __post_init__(self) -> None:
        """Check the shapes once."""
        n = len(self.points)
        if self.points.shape != (n, 2) or self.values.ndim != 2 or self.values.shape[1] != n:
            message = f"deflection map: {self.points.shape} points with {self.values.shape} values do not fit"
            raise DesignError(message)


@dataclass(frozen=True, slots=True)
class PictureJob:
    """A picture to draw.

    Parameters
    ----------
    name : str
        File name without its ending.
    scene : Scene
    alt : str
        What it shows, in words, for who cannot see it.
    """

    name: str
    scene: "Scene"
    alt: str


@dataclass(frozen=True, slots=True)
class PictureResult:
    """Files of the drawn pictures in the order of their jobs, and a line for the user, if there is one to say."""

    paths: tuple[Path, ...]
    note: str | None = None


def draw_pictures(jobs: Sequence[PictureJob], folder: Path) -> PictureResult:
    """Draw pictures into a folder as PNG files.

    Parameters
    ----------
    jobs : sequence of PictureJob
    folder : Path
        Made if it is not there.

    Returns
    -------
    PictureResult
        With a note if matplotlib had to draw.
    """
    folder.mkdir(parents=True, exist_ok=True)
    paths = tuple(folder / f"{job.name}.png" for job in jobs)
    if not jobs:
        return PictureResult(())
    if _drawn_by_child([job.scene for job in jobs], paths):
        return PictureResult(paths)
    # Here, so that a machine with OpenGL does not pay for loading it.
    from bracedtop.fem.picture_agg import draw_scene

    for job, path in zip(jobs, paths, strict=True):
        draw_scene(job.scene, path)
    return PictureResult(paths, PLAIN_NOTE)


def _drawn_by_child(scenes: "Sequence[Scene]", paths: Sequence[Path]) -> bool:
    """Whether the process with pyvista drew every picture."""
    with tempfile.TemporaryDirectory(prefix="bracedtop-") as aside:
        job = Path(aside) / "job.pickle"
        with job.open("wb") as file:
            # Written and read by this program alone, in a folder that only this user can open.
            pickle.dump(list(zip(scenes, [path.resolve() for path in paths], strict=True)), file)
        try:
            done = subprocess.run(
                _child_command(job),
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                timeout=CHILD_SECONDS,
                check=False,
            )
        except (OSError, subprocess.TimeoutExpired):
            return False
    return done.returncode == 0 and all(path.is_file() for path in paths)


def _child_command(job: Path) -> list[str]:
    # -P keeps a user's own numpy.py in the current folder from being taken for the real one.
    return [sys.executable, "-P", "-m", "bracedtop.fem.picture_vtk", str(job)]
