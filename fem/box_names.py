"""Plain words for what a coupled mode of a box does.

Depends on fem/box_modes, fem/box_parts, fem/describe, fem/face_terms, fem/air.

A name says who moves most (by energy of motion) and how: the lines across and along that stand still against the rim.
The mode that moves most in the hole is the hole's, and of those of top and back the one that pushes out most air, for
the force that it takes, is the main one.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from bracedtop.fem.air import at_top
from bracedtop.fem.box_matrices import box_matrices
from bracedtop.fem.box_modes import BoxModes
from bracedtop.fem.box_parts import PARTS, BoxModel
from bracedtop.fem.describe import node_lines
from bracedtop.fem.face_terms import FaceModel, face_deflections, surface

WITH = 0.25
"""Share of a mode's energy of motion from which a second part is named beside the first; chosen."""

STILL = 0.05
"""Share below which a part counts as standing still; chosen."""

HOLE = 0.15
"""Share of the air in the hole from which a mode is one of the hole's, if it breathes more than any other; chosen."""

_SHAPES = {
    (0, 0): "{} as one",
    (1, 0): "long {}",
    (0, 1): "cross {}",
    (1, 1): "quartered {}",
    (2, 0): "three-part long {}",
    (0, 2): "three-part cross {}",
}
"""How a face moves, by its node lines across and along."""

_AIR = {
    (1, 0): "air lengthwise",
    (0, 1): "air crosswise",
    (1, 1): "air in quarters",
    (2, 0): "air lengthwise, three parts",
    (0, 2): "air crosswise, three parts",
}


@dataclass(frozen=True, slots=True)
class BoxName:
    """What a mode looks like.

    Parameters
    ----------
    name : str
        Such as "hole air", "main top", "cross back with top".
    mover : str
        The one of `PARTS` that moves most.
    top_lines, back_lines, air_lines : (int, int) or None
        Lines across the grain and along it that stand still; None where that part hardly moves.
    phase : float
        Volume that the back pushes out over that of the top; positive: both breathe together. 0 without a back.
    """

    name: str
    mover: str
    top_lines: tuple[int, int] | None
    back_lines: tuple[int, int] | None
    air_lines: tuple[int, int] | None
    phase: float


def box_names(model: BoxModel, modes: BoxModes) -> tuple[BoxName, ...]:
    """Names of coupled modes, each different."""
    rim = modes.vectors[:, model.parts["rim"]]
    top = _lines(model.top, modes.vectors[:, model.parts["top"]], rim)
    back = None if model.back is None else _lines(model.back, modes.vectors[:, model.parts["back"]], -rim)
    air = _air_lines(model, modes)
    pushed = _volume(model.top, modes.vectors[:, model.parts["top"]], rim)
    drawn = np.zeros(len(rim))
    if model.back is not None:
        drawn = _volume(model.back, modes.vectors[:, model.parts["back"]], -rim)
    names: list[BoxName] = []
    for k, energy in enumerate(modes.kinetic):
        share = dict(zip(PARTS, energy.tolist(), strict=True))
        faces = {"top": top[k], "cavity": air[k]}
        if back is not None:
            faces["back"] = back[k]
        seen = {part: lines for part, lines in faces.items() if share[part] > STILL}
        order = sorted(seen, key=lambda part: -share[part])
        mover = order[0] if order else max(share, key=lambda part: share[part])
        name = _shape(mover, seen[mover]) if order else mover
        second = next((part for part in order[1:] if share[part] > WITH), None)
        if second is not None:
            name += f" with {'air' if second == 'cavity' else second}"
        phase = float(drawn[k] / pushed[k]) if pushed[k] else 0.0
        names.append(BoxName(name, mover, seen.get("top"), seen.get("back"), seen.get("cavity"), phase))
    breath = _hole_mode(model, modes)
    if breath is not None:
        names[breath] = replace(names[breath], name="hole air", mover="hole")
    for part, volume in (("top", pushed), ("back", drawn)):
        own = [k for k, one in enumerate(names) if one.mover == part]
        if own:
            main = max(own, key=lambda k: abs(volume[k]) / modes.frequencies[k] ** 2)
            names[main] = replace(names[main], name=f"main {part}")
    return _distinct(names)


def _hole_mode(model: BoxModel, modes: BoxModes) -> int | None:
    """The mode of the air in the holes: the one in which most of the moving energy is there."""
    share = modes.kinetic[:, PARTS.index("hole")]
    if modes.values.hole_blocked or not len(model.air.hole_area) or share.max() < HOLE:
        return None
    return int(share.argmax())


def _shape(part: str, lines: tuple[int, int]) -> str:
    table, what = (_AIR, "air") if part == "cavity" else (_SHAPES, part)
    if lines in table:
        return table[lines].format(part)
    counted = [f"{n} {way}" for n, way in zip(lines, ("across", "along"), strict=True) if n]
    return f"{what} ({', '.join(counted) or 'as one'})"


def _distinct(names: Sequence[BoxName]) -> tuple[BoxName, ...]:
    """The same with numbers behind names that come again, from the second one on."""
    found: list[BoxName] = []
    times: dict[str, int] = {}
    for one in names:
        times[one.name] = times.get(one.name, 0) + 1
        found.append(replace(one, name=f"{one.name} no. {times[one.name]}") if times[one.name] > 1 else one)
    return tuple(found)


def _lines(face: FaceModel, coordinates: np.ndarray, rim: np.ndarray) -> list[tuple[int, int]]:
    """Node lines of a face in modes (n, r), as it moves against its rim (n, 3)."""

    def deflection(xy: np.ndarray) -> np.ndarray:
        carried = rim @ np.column_stack([np.ones(len(xy)), xy]).T
        return np.asarray(coordinates @ face_deflections(face, xy).T - carried)

    return node_lines(face.model.design, deflection)


def _volume(face: FaceModel, coordinates: np.ndarray, rim: np.ndarray) -> np.ndarray:
    """What a face pushes out against its rim in each mode, (n,) in m^3."""
    over = surface(face)
    carried = rim @ np.column_stack([np.ones(len(over.xy)), over.xy]).T
    return np.asarray((coordinates @ over.deflection.T - carried) @ over.weight)


def _air_lines(model: BoxModel, modes: BoxModes) -> list[tuple[int, int]]:
    """Node lines of the pressure under the top."""
    amplitudes = box_matrices(model, modes.values).pressures @ modes.vectors.T

    def pressure(xy: np.ndarray) -> np.ndarray:
        return np.asarray((at_top(model.air, xy)[:, model.near] @ amplitudes).T)

    return node_lines(model.design, pressure)
