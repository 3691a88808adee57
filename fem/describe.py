"""What a mode looks like and what governs it."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import shapely

from bracedtop.fem.bridge_motion import BridgeMotion, bridge_motions
from bracedtop.fem.laminate import lamina, layer_stiffness, rotated
from bracedtop.fem.layer import part_strains
from bracedtop.fem.model import Model, Modes, deflections
from bracedtop.fem.sampling import Group
from bracedtop.geometry.design import Design

_GRID = 64
"""Lines per body length on which the nodes are counted; chosen: a node line is missed only near a node's end."""

_STILL = 0.05
"""Part of the largest deflection below which a point counts as standing still; chosen."""

_SPAN = 0.7
"""Least length of a line that is counted on, over the longest one; chosen: through the waist, not one bout alone."""

_TURNED_CONSTANTS = {key: f"top {key}" for key in ("E_L", "E_R", "E_T", "G_LR", "G_LT", "G_RT")}
"""Of a top whose rings or grain are turned: each of its wood's constants then governs more than one motion."""

TOP_CONSTANTS = {"E_L": "top E_L", "E_R": "top E_R", "G_LR": "top G_LR", "G_LT": "top shear", "G_RT": "top shear"}


@dataclass(frozen=True, slots=True)
class ModeSummary:
    """A mode in a maker's terms.

    Parameters
    ----------
    mode : int
        Identifier, 1 for the lowest.
    hz : float
    modal_mass : float, kg
        At the driving point; infinite where that point stands still.
    nodal_lines : (int, int)
        Lines across the grain and along it.
    name : str
        What it looks like.
    shares : dict of str to float
        Shares of the strain energy, summing to 1: "top E_L", "top E_R", "top G_LR", "top shear",
        "brace NAME", "joint UNDER|OVER", "patch NAME", "edge". On a top that is not quarter-sawn "top E_T", "top G_LT"
        and "top G_RT" stand in place of "top shear".
    bridge : BridgeMotion
        What it does at the bridge.
    """

    mode: int
    hz: float
    modal_mass: float
    nodal_lines: tuple[int, int]
    name: str
    shares: dict[str, float]
    bridge: BridgeMotion


def summarise(model: Model, modes: Modes) -> tuple[ModeSummary, ...]:
    """One summary a mode."""
    drive = deflections(model, modes, model.design.driving_point[None, :])[:, 0]
    peak = np.abs(modes.shapes[:, :, 2]).max(axis=1)
    lines = nodal_lines(model, modes)
    shares = energy_shares(model, modes)
    bridge = bridge_motions(model, modes)
    return tuple(
        ModeSummary(
            k + 1,
            float(modes.frequencies[k]),
            float(1 / drive[k] ** 2) if abs(drive[k]) > 1e-6 * peak[k] else float("inf"),
            lines[k],
            mode_name(lines[k], free=modes.n_rigid > 0),
            {part: float(value[k]) for part, value in shares.items()},
            bridge[k],
        )
        for k in range(len(modes.frequencies))
    )


def mode_name(lines: tuple[int, int], *, free: bool) -> str:
    """Plain words for a mode with so many nodal lines (across, along)."""
    across, along = lines
    if not free:
        known = {
            (0, 0): "whole top moves as one",
            (1, 0): "rocks lengthwise",
            (0, 1): "rocks from side to side",
            (1, 1): "quarters move in turn",
        }
    else:
        known = {(1, 1): "twists", (2, 0): "bends lengthwise", (0, 2): "bends crosswise"}
    if lines in known:
        return known[lines]
    return f"{across} line{'s' * (across != 1)} across, {along} along"


def nodal_lines(model: Model, modes: Modes) -> list[tuple[int, int]]:
    """Node lines of each mode, counted across the grain and along it."""

    def deflection(points: np.ndarray) -> np.ndarray:
        return deflections(model, modes, points)

    return node_lines(model.design, deflection)


def node_lines(design: Design, deflection: Callable[[np.ndarray], np.ndarray]) -> list[tuple[int, int]]:
    """Node lines across the grain and along it of every mode, by its deflection (n, k) at points (k, 2) in m.

    The deflection's changes of sign are counted on many lines parallel to x, and to y, that run through most of
    the top, and averaged over the lines by how much each of them moves.
    """
    x0, y0, x1, y1 = design.outline.polygon.bounds
    step = (x1 - x0) / _GRID
    x, y = np.arange(x0 + step / 2, x1, step), np.arange(y0 + step / 2, y1, step)
    X, Y = np.meshgrid(x, y, indexing="ij")
    inside = shapely.contains_xy(design.region, X.ravel(), Y.ravel())
    seen = deflection(np.column_stack([X.ravel(), Y.ravel()])[inside])
    w = np.zeros((len(seen), X.size))
    w[:, inside] = seen
    fields = w.reshape(-1, *X.shape)
    on_top = inside.reshape(X.shape)
    return [(_changes(field.T, on_top.T), _changes(field, on_top)) for field in fields]


def _changes(lines: np.ndarray, on_top: np.ndarray) -> int:
    """Sign changes along the last axis, the mean over the lines weighed by how much each moves."""
    span = on_top.sum(axis=1)
    lines = lines[span >= _SPAN * span.max()]
    sign = np.where(np.abs(lines) > _STILL * np.abs(lines).max(), np.sign(lines), 0)
    counts = [int((np.diff(row[row != 0]) != 0).sum()) for row in sign]
    return round(float(np.average(counts, weights=(lines**2).sum(axis=1))))


def energy_shares(model: Model, modes: Modes) -> dict[str, np.ndarray]:
    """Shares of each mode's strain energy, part name to (n_modes,) array, summing to 1.

    The top's own energy is split by its constants: the share of a constant p is the relative change of the
    energy when p grows with the shape held, p dU/dp / U. The plane-stress stiffness is of degree one in
    (E_L, E_R, E_T, G_LR, G_LT, G_RT) at fixed Poisson's ratio, so these add up to the whole (Euler's theorem).
    """
    lam = modes.eigenvalues
    plate = model.design.plate
    constants = _TURNED_CONSTANTS if plate.ring_angle or plate.runout else TOP_CONSTANTS
    shares: dict[str, np.ndarray] = {}
    for group in model.groups:
        e = part_strains(model.space, model.layers, group, modes.vectors)
        if group.part in ("top", "ring"):
            for constant, part in constants.items():
                C = _top_stiffness_part(model, group, constant)
                shares[part] = shares.get(part, 0.0) + _energy(e, group, C) / lam
        else:
            shares[group.part] = shares.get(group.part, 0.0) + _energy(e, group, group.stiffness) / lam
    if model.springs.nnz:
        shares["edge"] = np.einsum("mi,mi->m", modes.vectors, (model.springs @ modes.vectors.T).T) / lam
    return shares


def _energy(e: np.ndarray, group: Group, C: np.ndarray) -> np.ndarray:
    """Twice the strain energy per mode, (n_modes,)."""
    weighted = e * group.points.weight[:, None]
    return np.asarray((weighted * np.einsum("pij,mpj->mpi", C, e, optimize=True)).sum(axis=(1, 2)))


def _top_stiffness_part(model: Model, group: Group, constant: str) -> np.ndarray:
    """P dC/dp of the top's section stiffness for one of its constants, (n, 9, 9)."""
    plate = model.design.plate
    wood = model.woods[plate.wood]
    faces = model.top.faces(group.points)
    step = 1e-4
    stiffness = []
    for factor in (1 + step, 1 - step):
        changed = replace(wood, **{constant: factor * getattr(wood, constant)})
        Q, G = rotated(*lamina(changed, "quarter", plate.ring_angle, plate.runout), plate.grain_angle)
        stiffness.append(layer_stiffness(Q, G, *faces))
    return np.asarray((stiffness[0] - stiffness[1]) / (2 * step))
