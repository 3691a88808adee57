"""Plates and materials that several checks share."""

from collections.abc import Callable, Mapping

import numpy as np

from bracedtop.fem.laminate import lamina
from bracedtop.fem.model import build_model, solve
from bracedtop.fem.wood import Wood
from bracedtop.geometry.brace import Brace
from bracedtop.geometry.design import Design, Edge, Joint, Plate
from bracedtop.geometry.outline import Outline, polygon_outline

WOOD = "wood"
"""Name by which every design of this file asks for its material."""

TRIAL_WOOD = Wood("trial spruce", 11.0e9, 0.86e9, 0.47e9, 0.70e9, 0.67e9, 0.033e9, 0.372, 0.467, 0.435, 400.0)
"""A spruce for the comparison with solids; values invented near those of the Wood Handbook."""


def isotropic(E: float, nu: float, density: float) -> Wood:
    """A metal, written as an orthotropic material; E in Pa, density in kg/m^3."""
    G = E / (2 * (1 + nu))
    return Wood("isotropic", E, E, E, G, G, G, nu, nu, nu, density)


def rectangle(a: float, b: float) -> Outline:
    """Rectangle from the origin, a along x, b along y, m."""
    return polygon_outline(np.array([[0.0, 0.0], [a, 0.0], [a, b], [0.0, b]]))


def disc(radius: float, n_points: int = 360) -> Outline:
    """Circle about the origin, m."""
    t = np.linspace(0, 2 * np.pi, n_points, endpoint=False)
    return Outline(radius * np.column_stack([np.cos(t), np.sin(t)]), np.zeros(n_points, dtype=bool))


def plate(outline: Outline, thickness: float, kind: str, grain_angle: float = 0.0) -> Design:
    """A bare plate."""
    return Design(outline, Plate(WOOD, thickness, grain_angle), edge=Edge(kind))  # type: ignore[arg-type]


def trial_top(n_braces: int, kept: float | None = None) -> Design:
    """The trial case: 400 by 300 by 2.8 mm, clamped, with up to two braces crossing at plus and minus 37 degrees.

    `kept` is the height that the first brace keeps at the crossing, None for a half lap.
    """
    angles = np.deg2rad([37.0, -37.0][:n_braces])
    centre = np.array([0.2, 0.15])
    braces = []
    for k, angle in enumerate(angles, start=1):
        half = 0.13 * np.array([np.cos(angle), np.sin(angle)])
        heights = np.array([[0.0, 0.015], [0.26, 0.015]])
        braces.append(Brace(f"x{k}", WOOD, np.array([centre - half, centre + half]), 7e-3, heights))
    joints = (Joint("x1", "x2", kept),) if n_braces == 2 else ()
    return Design(rectangle(0.4, 0.3), Plate(WOOD, 2.8e-3), braces=tuple(braces), joints=joints, edge=Edge("clamped"))


def frequencies(
    design: Design,
    wood: Wood,
    n_modes: int,
    *,
    size: float,
    order: int = 3,
    where: Callable[[np.ndarray], np.ndarray] | None = None,
) -> np.ndarray:
    """The lowest elastic frequencies by the program, Hz."""
    woods: Mapping[str, Wood] = {WOOD: wood}
    return solve(build_model(design, woods, size=size, order=order, where=where), n_modes).frequencies


def bending_stiffness(wood: Wood, thickness: float) -> np.ndarray:
    """D of a thin plate with its grain along x, (3, 3) in N m, order xx, yy, xy (engineering twist)."""
    return lamina(wood)[0] * thickness**3 / 12


def rigidity(wood: Wood, thickness: float) -> float:
    """D = E h^3 / (12 (1 - nu^2)) of an isotropic plate, N m."""
    return wood.E_L * thickness**3 / (12 * (1 - wood.nu_LR**2))


def misses(found: np.ndarray, expected: np.ndarray, tolerance: float) -> list[str]:
    """One line for each mode that lies further off than `tolerance` (relative)."""
    found, expected = np.asarray(found), np.asarray(expected)
    return [
        f"mode {k}: {f:.5g} against {e:.5g}, {100 * (f / e - 1):+.2f} %"
        for k, (f, e) in enumerate(zip(found, expected, strict=True), start=1)
        if abs(f / e - 1) > tolerance
    ]
