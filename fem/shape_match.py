"""How well each predicted shape explains a measured one.

Depends on fem/tap_shape.

The predicted shape phi is scaled by the least squares of what is left,

    chi^2 = sum_k (m_k - a phi_k)^2 / (e_k^2 + s^2),

over the k points, with e_k the error of the measured value m_k and s the model's own scatter. With W the weights,
this is sum_k W m^2 (1 - MAC): the modal assurance criterion, weighed by how sure it is. What the errors alone leave is
taken off; the rest, a point, times the evidence of that many points is the cost. Where all predicted shapes look the
same at the points, it is the same for all of them and settles nothing.
"""

import numpy as np
from numpy.typing import NDArray

from bracedtop.fem.tap_shape import Shape
from bracedtop.geometry.errors import AccuracyError

Real = NDArray[np.float64]

SCATTER = 0.5
"""The model's own scatter at a point, over the measured shape's root mean square; chosen: wide, because two modes close
in frequency mix, and a shape of a MAC of 0.9 is a good one and of 0.5 still may be the same."""

EVIDENCE = 3.0
"""Points that many ones are worth at most, as a wrong model is wrong over whole areas; chosen: an orthogonal shape then
costs 3 at two points, 6 at four, 9 at twelve (the same as 450 cents), and a MAC of 0.9 at twelve costs 1."""

STANDSTILL = 0.05
"""Motion, over the mode's largest, that a shape's errors may make out of none; chosen, as in fem/describe."""

TELLING = 0.1
"""Largest motion at the points, over the modes' largest, from which the points tell anything; chosen: below it all
modes stand still there and what was measured is noise."""


def shape_fit(shape: Shape, predicted: Real) -> tuple[Real, Real]:
    """Cost of each predicted shape for the measured one, and their MAC.

    Parameters
    ----------
    shape : Shape
        At k points; an error that is not a number counts as none.
    predicted : (n, k) array
        Deflection at the same points relative to the largest |w| of each mode.

    Returns
    -------
    cost : (n,) array
        0 for a shape that agrees within the errors or where nothing can be told, as at one point.
    mac : (n,) array
        Between 0 and 1, weighed by the errors; NaN for a shape that stands still at all points.

    Raises
    ------
    AccuracyError
        If the shape has another number of points than the predicted ones.

    References
    ----------
    R. J. Allemang, "The modal assurance criterion - twenty years of use and abuse", Sound and Vibration 37
    (2003) no. 8, 14-23, eq. 2, with the weights W.
    """
    m, phi = shape.values, np.asarray(predicted, dtype=float)
    if phi.ndim != 2 or phi.shape[1] != len(m):
        message = f"measured shape of {len(m)} points against predicted ones of size {phi.shape}; must be (n, {len(m)})"
        raise AccuracyError(message)
    n, k = phi.shape
    square = float(np.mean(m**2)) if k else 0.0
    if square == 0.0:
        return np.zeros(n), np.full(n, np.nan)
    errors = np.nan_to_num(shape.errors, nan=0.0)
    W = 1.0 / (errors**2 + SCATTER**2 * square)
    shared = (phi @ (W * m)) ** 2
    own, moved = float(W @ m**2), phi**2 @ W
    # A mode that stands still at all points explains nothing, whatever the ratios of its small numbers are.
    left = own * (1.0 - shared / (own * (moved + STANDSTILL**2 * W.sum())))
    noise = float(W @ errors**2) * (k - 1) / k
    evidence = EVIDENCE * (k - 1) / (k - 1 + EVIDENCE)
    told = min(1.0, float(np.abs(phi).max(initial=0.0)) / TELLING) ** 2
    cost = told * evidence * np.maximum(left - noise, 0.0) / k
    still = moved == 0.0
    mac = np.where(still, np.nan, np.minimum(shared / (own * np.where(still, 1.0, moved)), 1.0))
    return cost, mac
