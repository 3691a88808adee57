"""The 3-D picture: pyvista's scene of a flat top, and the viewer of it that trame-vtk brings.

Depends on scripts/page/tasks. The scene is written as the bytes that vtk.js' viewer for files reads, without a display
and without a picture being drawn; the page then moves its points. Made in a task, because VTK may end its process.
"""

import io
import json
import zipfile
from html.parser import HTMLParser
from importlib import resources
from importlib.util import find_spec
from typing import Any

import numpy as np

from bracedtop.scripts.page.tasks import Report

COLOURS = ("#2a6590", "#e6cb98", "#a4481f")
"""Inwards, still, outwards; as in look.css."""

OUTSIDE = "https://kitware.github.io"

_DRIVEN = ("OfflineLocalView", "renderWindow")
"""What the page's own script calls in the viewer."""


def viewer_script() -> str | None:
    """The viewer's script out of the wheel of trame-vtk; None if it is not the one that the page can drive."""
    if find_spec("trame_vtk") is None:
        return None
    try:
        html = (resources.files("trame_vtk") / "tools" / "static_viewer.html").read_text("utf-8")
    except OSError:
        return None
    found = _Scripts()
    found.feed(html)
    script = max(found.texts, key=len, default="")
    if not all(word in script for word in _DRIVEN):
        return None
    # The page asks nothing of the internet: the viewer's little icons come from nowhere.
    for quote in "\"'`":
        script = script.replace(f"{quote}{OUTSIDE}", f"{quote}data:,")
    # Nor does it bring a style: the page's policy allows none, and the page does not need it.
    for quote in "'\"":
        script = script.replace(f"createElement({quote}style{quote})", f"createElement({quote}template{quote})")
    return "window.global = window.global || {};\n" + script


def make_scene(report: Report, points: np.ndarray, triangles: np.ndarray) -> bytes:
    """Scene of a flat top of points (n, 2) in m and triangles (m, 3), coloured by a deflection that is still 0."""
    report("the 3-D picture", None)
    import pyvista as pv
    from matplotlib.colors import LinearSegmentedColormap
    from trame_vtk.modules.vtk.serializers import initialize_serializers

    initialize_serializers()
    flat = np.column_stack([points, np.zeros(len(points))]).astype(np.float32)
    mesh = pv.PolyData.from_regular_faces(flat, np.asarray(triangles, dtype=int))
    mesh["w"] = np.zeros(len(points), dtype=np.float32)
    plotter = pv.Plotter(off_screen=True, lighting="none")
    colours = LinearSegmentedColormap.from_list("bench", COLOURS)
    plotter.add_mesh(
        mesh, scalars="w", clim=(-1, 1), cmap=colours, show_scalar_bar=False, smooth_shading=False, ambient=0.35
    )
    plotter.add_light(pv.Light(light_type="headlight"))
    # From the tail's side, a little to the right of the middle, so that the neck points away.
    plotter.camera_position = [(-0.9, -0.45, 0.85), (float(points[:, 0].mean()), 0.0, 0.0), (0.0, 0.0, 1.0)]
    plotter.reset_camera()
    content = _written(plotter)
    plotter.close()
    return content


def _written(plotter: Any) -> bytes:
    from trame_vtk.modules.vtk.serializers import (
        SynchronizationContext,
        extract_array_hash,
        reference_id,
        serialize,
    )

    context = SynchronizationContext()
    context.set_ignore_last_dependencies(True)
    window = plotter.render_window
    scene = serialize(None, window, "1", context, 1)
    camera = plotter.renderer.GetActiveCamera()
    scene["extra"] = {
        "vtkRefId": reference_id(window),
        "centerOfRotation": camera.GetFocalPoint(),
        "camera": reference_id(camera),
    }
    arrays = {
        one["hash"]: {**one, "content": context.get_cached_data_array(one["hash"], False)}
        for one in extract_array_hash(scene)
    }
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as file:
        file.writestr("index.json", json.dumps({"hashes": arrays, "scene": scene}))
    return out.getvalue()


class _Scripts(HTMLParser):
    """Texts of a page's own scripts."""

    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.is_inside = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Begin a script, unless it lies in a file of its own."""
        self.is_inside = tag == "script" and "src" not in dict(attrs)
        if self.is_inside:
            self.texts.append("")

    def handle_endtag(self, tag: str) -> None:
        """End it."""
        if tag == "script":
            self.is_inside = False

    def handle_data(self, data: str) -> None:
        """Take its text."""
        if self.is_inside:
            self.texts[-1] += data
