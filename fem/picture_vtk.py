"""Draws scenes with pyvista off screen; run as a process of its own by `fem/picture`.

``python -m bracedtop.fem.picture_vtk JOB``; the exit code is 0 when every picture is drawn and none is blank.

Depends on fem/scene.
"""

import ctypes
import importlib
import os
import pickle
import sys
from collections.abc import Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np

from bracedtop.fem.colours import PAPER, Rgb
from bracedtop.fem.scene import Area, Field, Scene, Stroke, finished, saved

NO_OPENGL = 3
BLANK = 4

_OVERSAMPLING = 2
_ROUND = 16
"""Corners of the polygon that stands for a round line end; chosen: no corner shows at these line widths."""


_PLAIN = {"lighting": False, "show_scalar_bar": False, "reset_camera": False, "render": False}


def off_screen_window() -> str | None:
    """Name of the VTK window that draws without a display; None where VTK's own choice is right.

    Raises
    ------
    OSError
        If a library that it needs is not installed.
    """
    if sys.platform != "linux":
        return None
    for library, window in (("libEGL.so.1", "vtkEGLRenderWindow"), ("libOSMesa.so.8", "vtkOSOpenGLRenderWindow")):
        try:
            ctypes.CDLL(library)
        except OSError:
            continue
        return window
    message = "neither libEGL.so.1 nor libOSMesa.so.8 is installed"
    raise OSError(message)


def main(argv: Sequence[str]) -> int:
    """Draw the scenes of a job file."""
    _no_core_file()
    try:
        window = off_screen_window()
    except OSError:
        return NO_OPENGL
    if window is not None:
        os.environ["VTK_DEFAULT_OPENGL_WINDOW"] = window
    with Path(argv[0]).open("rb") as file:
        jobs: list[tuple[Scene, Path]] = pickle.load(file)
    canvas = Canvas()
    # Lettering and packing of one picture go on while VTK draws the next.
    with ThreadPoolExecutor(1) as desk:
        done: list[Future[None]] = []
        for scene, path in jobs:
            pixels = canvas.drawn(scene)
            if is_blank(pixels):
                return BLANK
            done.append(desk.submit(_finish, pixels, scene, path))
    for picture in done:
        picture.result()
    return 0


def _finish(pixels: np.ndarray, scene: Scene, path: Path) -> None:
    saved(finished(pixels, scene), path)


def is_blank(pixels: np.ndarray) -> bool:
    """Whether nothing was drawn on the paper, or not even the paper, as with a broken OpenGL driver."""
    return bool((pixels[0, 0] != PAPER).any() or (pixels == pixels[0, 0]).all())


class Canvas:
    """An off-screen plotter that serves one scene after another."""

    def __init__(self) -> None:
        # Only now: VTK chooses its window when it is loaded.
        self._pyvista: Any = importlib.import_module("pyvista")
        self._plotter = self._pyvista.Plotter(off_screen=True, lighting="none", window_size=(64, 64))
        # Smoothing by averaging a larger picture is several times as fast without a graphics card.
        self._plotter.render_window.SetMultiSamples(0)
        self._plotter.set_background([c / 255 for c in PAPER])

    def drawn(self, scene: Scene) -> np.ndarray:
        """Pixels of the scene's shapes, (2 height, 2 width, 3) uint8."""
        plotter = self._plotter
        plotter.clear_actors()
        size = [_OVERSAMPLING * scene.width, _OVERSAMPLING * scene.height]
        if plotter.window_size != size:
            # Setting it draws once, needed or not.
            plotter.window_size = size
        flat = _Flat()
        for order, shape in enumerate(scene.shapes, start=1):
            if isinstance(shape, Field):
                self._add_field(shape, order)
            elif isinstance(shape, Area):
                flat.add(shape.points, _ears(shape.points, self._pyvista), shape.colour, order)
            else:
                flat.add(*_stroked(shape), shape.colour, order)
        if flat.points:
            mesh = self._mesh(np.vstack(flat.points), np.vstack(flat.triangles))
            mesh.cell_data["rgb"] = np.vstack(flat.colours)
            plotter.add_mesh(mesh, scalars="rgb", rgb=True, **_PLAIN)
        camera = plotter.camera
        depth = len(scene.shapes) + 2.0
        camera.focal_point = (scene.width / 2, scene.height / 2, 0.0)
        camera.position = (scene.width / 2, scene.height / 2, 2 * depth)
        camera.up = (0.0, 1.0, 0.0)
        camera.parallel_projection = True
        camera.parallel_scale = scene.height / 2
        camera.clipping_range = (0.5 * depth, 2.5 * depth)
        plotter.render()
        return np.asarray(plotter.screenshot(return_img=True))[:, :, :3]

    def _add_field(self, field: Field, order: int) -> None:
        mesh = self._mesh(_raised(field.points, order), field.triangles)
        mesh.point_data["values"] = np.clip(field.values, *field.limits)
        opaque = np.column_stack([field.colours, np.full(len(field.colours), 255, dtype=np.uint8)])
        table = self._pyvista.LookupTable(values=opaque, scalar_range=field.limits)
        self._plotter.add_mesh(
            mesh,
            scalars="values",
            cmap=table,
            interpolate_before_map=True,
            **_PLAIN,
        )

    def _mesh(self, points: np.ndarray, triangles: np.ndarray) -> Any:
        return self._pyvista.PolyData.from_regular_faces(points, triangles)


class _Flat:
    """Triangles of one colour each, gathered so that VTK draws them in one go."""

    def __init__(self) -> None:
        self.points: list[np.ndarray] = []
        self.triangles: list[np.ndarray] = []
        self.colours: list[np.ndarray] = []
        self._n_points = 0

    def add(self, points: np.ndarray, triangles: np.ndarray, colour: Rgb, order: int) -> None:
        self.points.append(_raised(points, order))
        self.triangles.append(np.asarray(triangles) + self._n_points)
        self.colours.append(np.tile(np.array(colour, dtype=np.uint8), (len(triangles), 1)))
        self._n_points += len(points)


def _raised(points: np.ndarray, order: int) -> np.ndarray:
    """Points (n, 3) at a height that puts later shapes in front."""
    return np.column_stack([points, np.full(len(points), float(order))])


def _ears(points: np.ndarray, pyvista: Any) -> np.ndarray:
    """Triangles (m, 3) that fill a simple polygon."""
    if len(points) == 4 and _is_convex(points):
        return np.array([[0, 1, 2], [0, 2, 3]])
    n = len(points)
    polygon = pyvista.PolyData(_raised(points, 0), faces=np.concatenate([[n], np.arange(n)]))
    return np.asarray(polygon.triangulate().regular_faces)


def _is_convex(points: np.ndarray) -> bool:
    along = np.roll(points, -1, axis=0) - points
    following = np.roll(along, -1, axis=0)
    turn = along[:, 0] * following[:, 1] - along[:, 1] * following[:, 0]
    return bool((turn >= 0).all() or (turn <= 0).all())


def _stroked(stroke: Stroke) -> tuple[np.ndarray, np.ndarray]:
    """Points (n, 2) and triangles (m, 3) of a line: a box a piece, and a round at every point."""
    points = np.vstack([stroke.points, stroke.points[:1]]) if stroke.closed else stroke.points
    a, b = points[:-1], points[1:]
    along = b - a
    length = np.maximum(np.hypot(*along.T), 1e-12)[:, None]
    side = stroke.width / 2 * np.column_stack([-along[:, 1], along[:, 0]]) / length
    boxes = np.stack([a - side, b - side, b + side, a + side], axis=1).reshape(-1, 2)
    first = 4 * np.arange(len(a))[:, None]
    box_triangles = np.vstack([first + corners for corners in np.array([[0, 1, 2], [0, 2, 3]])])
    turn = np.linspace(0, 2 * np.pi, _ROUND, endpoint=False)
    circle = stroke.width / 2 * np.column_stack([np.cos(turn), np.sin(turn)])
    rounds = (points[:, None, :] + circle).reshape(-1, 2)
    fan = np.column_stack([np.zeros(_ROUND - 2, dtype=int), np.arange(1, _ROUND - 1), np.arange(2, _ROUND)])
    start = len(boxes) + _ROUND * np.arange(len(points))[:, None, None]
    return np.vstack([boxes, rounds]), np.vstack([box_triangles, (start + fan).reshape(-1, 3)])


def _no_core_file() -> None:
    """A crash of OpenGL must not leave a core file in the user's folder."""
    try:
        import resource
    except ImportError:
        return
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
