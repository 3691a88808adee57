"""Loads on patches, and closed solutions of plates and beams under them."""

from collections.abc import Callable

import numpy as np

from bracedtop.fem.footprint import points_in
from bracedtop.fem.laminate import SHEAR_CORRECTION, lamina
from bracedtop.fem.model import Model
from bracedtop.fem.static import Static, Traction, force_vector, solve_static
from bracedtop.fem.wood import Wood

Box = tuple[float, float, float, float]
"""x0, y0, x1, y1 in m."""


def box_corners(box: Box) -> np.ndarray:
    x0, y0, x1, y1 = box
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])


def box_traction(
    model: Model,
    box: Box,
    *,
    along: float = 0.0,
    out: float | Callable[[np.ndarray], np.ndarray] = 0.0,
    height: float = 0.0,
) -> Traction:
    """Traction over a rectangle: `along` even at `height`, `out` even or a function of points (n, 2); Pa and m."""
    points, xy = points_in([box_corners(box)], model.locator)
    push = out(xy) if callable(out) else np.full(len(xy), out)
    return Traction(points, np.full(len(xy), along), push, np.full(len(xy), height))


def loaded(model: Model, *tractions: Traction) -> Static:
    return solve_static(model, force_vector(model, list(tractions)))


def navier(
    wood: Wood,
    size: tuple[float, float],
    h: float,
    box: Box,
    at: tuple[float, float],
    *,
    q: float = 0.0,
    m: float = 0.0,
    n_terms: int = 400,
) -> dict[str, float]:
    """Simply supported orthotropic shear-deformable plate under a load on a rectangle, by Navier's series.

    Parameters
    ----------
    q : float, Pa
        Even load out of the plate.
    m : float, N m/m^2
        Even couple on beta_x.

    Returns
    -------
    dict
        Deflection "w" in m, rotation "beta_x" in rad, moments "M_x" and "M_y" in N m/m at the point.

    References
    ----------
    J. N. Reddy, Theory and Analysis of Elastic Plates and Shells, 2nd ed. (2007), section 10.3 (Navier's solution of
    the first-order theory), here for an orthotropic plate with the shear factor 5/6.
    """
    a, b = size
    Q, G = lamina(wood)
    D = Q * h**3 / 12
    S = SHEAR_CORRECTION * h * np.diag(G)
    i, j = np.meshgrid(np.arange(1, n_terms + 1), np.arange(1, n_terms + 1), indexing="ij")
    p, s = i * np.pi / a, j * np.pi / b
    x0, y0, x1, y1 = box
    sin_x = (np.cos(p * x0) - np.cos(p * x1)) / p
    cos_x = (np.sin(p * x1) - np.sin(p * x0)) / p
    sin_y = (np.cos(s * y0) - np.cos(s * y1)) / s
    scale = 4 / (a * b)
    K = np.empty((*i.shape, 3, 3))
    K[..., 0, 0] = S[0] * p**2 + S[1] * s**2
    K[..., 0, 1] = K[..., 1, 0] = S[0] * p
    K[..., 0, 2] = K[..., 2, 0] = S[1] * s
    K[..., 1, 1] = D[0, 0] * p**2 + D[2, 2] * s**2 + S[0]
    K[..., 2, 2] = D[2, 2] * p**2 + D[1, 1] * s**2 + S[1]
    K[..., 1, 2] = K[..., 2, 1] = (D[0, 1] + D[2, 2]) * p * s
    F = np.stack([scale * q * sin_x * sin_y, scale * m * cos_x * sin_y, 0 * p], axis=-1)
    W, X, Y = np.moveaxis(np.linalg.solve(K, F[..., None])[..., 0], -1, 0)
    x, y = at
    both = np.sin(p * x) * np.sin(s * y)
    return {
        "w": float((W * both).sum()),
        "beta_x": float((X * np.cos(p * x) * np.sin(s * y)).sum()),
        "M_x": float((-(D[0, 0] * X * p + D[0, 1] * Y * s) * both).sum()),
        "M_y": float((-(D[0, 1] * X * p + D[1, 1] * Y * s) * both).sum()),
    }
