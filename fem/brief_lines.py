"""Lines for top.toml that a brief comes to: [closed] for the ring, [[target]] for the braces.

Depends on fem/brief, fem/case, fem/closed_modes, fem/closed_target, fem/closed_writer, fem/deflection, fem/model.
"""

from collections.abc import Mapping

import numpy as np
import shapely

from bracedtop.fem.box_parts import BoxModel
from bracedtop.fem.box_values import BoxValues
from bracedtop.fem.brief import BriefAnswer, blocked_after
from bracedtop.fem.case import Case
from bracedtop.fem.closed_modes import closed_modes
from bracedtop.fem.closed_target import frequency
from bracedtop.fem.closed_writer import closed_text
from bracedtop.fem.face_terms import face_deflections
from bracedtop.fem.mac import mac
from bracedtop.fem.model import build_model, deflections, solve

N_MODES = 12
"""Modes of the loose top among which the one most like the closed top's note is looked for."""

LIKE = 0.4
"""Least likeness (modal assurance criterion) of the two; chosen."""

_GRID = 30
"""Points along the top at which shapes are compared; chosen."""

_PLANNED = ("ring",)
"""Ways that are carried out by bracedtop ring."""

_BEFORE = ("ring", "top")
"""Ways that lower or raise the top's own note by its wood, which braces can do too."""


def target_lines(
    case: Case, model: BoxModel, values: BoxValues, answer: BriefAnswer, true: Mapping[str, float] | None = None
) -> str:
    """Text with [closed] and [[target]], explained in comments.

    Parameters
    ----------
    case : Case
    model : BoxModel
    values : BoxValues
        The instrument as it is.
    answer : BriefAnswer
    true : mapping of str to float, optional
        Tapped over modelled frequency of each note, where the box was tapped.

    Raises
    ------
    DesignError, MeshError, AccuracyError
    """
    closed = closed_modes(model, values)
    now = float(closed.blocked.frequencies[closed.top_blocked])
    ring = values
    wood = values
    for way, amount in answer.together.amounts:
        if way.name in _PLANNED:
            ring = way.change(model, ring, amount)
        if way.name in _BEFORE:
            wood = way.change(model, wood, amount)
    after_ring, after_wood = blocked_after(closed, ring), blocked_after(closed, wood)
    blocks = [f"# From bracedtop brief: {_words(answer)}.\n"]
    if abs(after_ring - now) > 0.05:
        blocks.append(
            "# For bracedtop ring: the top's note, hole blocked, with the ring as thin as above.\n"
            + closed_text(frequency("top blocked", round(after_ring * (true or {}).get("top blocked", 1.0), 1)))
        )
    if abs(after_wood - now) > 0.05:
        blocks.append(_target(case, model, closed.blocked.vectors[closed.top_blocked], now, after_wood))
    if len(blocks) == 1:
        blocks.append("# No line: nothing of it is done by the ring or by the braces.\n")
    return "\n".join(blocks)


def _words(answer: BriefAnswer) -> str:
    return ", ".join(f"{name} = {amount}" for name, amount in answer.wish.items())


def _target(case: Case, model: BoxModel, vector: np.ndarray, now: float, after: float) -> str:
    """A target of the loose top's mode that is most like the closed top's note."""
    loose = build_model(case.design, case.woods, size=case.mesh_size)
    modes = solve(loose, N_MODES)
    points = _points(model)
    own = vector[model.parts["top"]] @ face_deflections(model.top, points).T
    shapes = deflections(loose, modes, points)
    # A loose top may heave and tilt as well; what is left is how it bends.
    alike = mac(_bent(points, own[:, None]), _bent(points, np.asarray(shapes).T))[0]
    k = int(alike.argmax())
    if alike[k] < LIKE:
        return (
            "# For bracedtop plan: no line; no mode of the loose top is like the closed top's note (at best mode "
            f"{k + 1}, likeness {alike[k]:.2f}).\n"
        )
    hz = float(modes.frequencies[k]) * after / now
    return (
        f"# For bracedtop plan: mode {k + 1} of the loose top, at {modes.frequencies[k]:.1f} Hz, is most like the "
        f"closed top's note (likeness {alike[k]:.2f});\n# it is moved in proportion: {now:.1f} to {after:.1f} Hz.\n"
        f"[[target]]\nmode = {k + 1}\nhz = {hz:.1f}\n"
    )


def _bent(points: np.ndarray, shapes: np.ndarray) -> np.ndarray:
    """Shapes (k, n) at points (k, 2) without their heave and tilts."""
    plane = np.column_stack([np.ones(len(points)), points])
    return np.asarray(shapes - plane @ np.linalg.lstsq(plane, shapes, rcond=None)[0])


def _points(model: BoxModel) -> np.ndarray:
    x0, y0, x1, y1 = model.design.outline.polygon.bounds
    step = (x1 - x0) / _GRID
    X, Y = np.meshgrid(np.arange(x0 + step / 2, x1, step), np.arange(y0 + step / 2, y1, step), indexing="ij")
    inside = shapely.contains_xy(model.design.region, X.ravel(), Y.ravel())
    return np.asarray(np.column_stack([X.ravel(), Y.ravel()])[inside])
