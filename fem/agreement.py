"""How well computed modes agree with those of a reference, mode by mode: frequency and shape. Depends on fem/mac."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import subspace_angles

from bracedtop.fem.mac import follow, mac

CLOSE = 0.02
"""Neighbours whose frequencies differ by less than this part are compared as a subspace; chosen: a top's two modes mix
freely when their notes are nearer than what woods and glue differ by."""


@dataclass(frozen=True, slots=True)
class Agreement:
    """Modes of a reference and their partners.

    Parameters
    ----------
    partners : (n,) int array
        Computed mode for each mode of the reference, counted from 0.
    errors : (n,) array
        f_computed / f_reference - 1.
    mac : (n,) array
        Modal assurance criterion with the partner; for close modes the squared cosine of the largest principal angle
        between what they and their partners span.
    groups : tuple of tuple of int
        Modes of the reference that are close to each other, counted from 0; a lone mode is a group of one.
    """

    partners: NDArray[np.int_]
    errors: NDArray[np.float64]
    mac: NDArray[np.float64]
    groups: tuple[tuple[int, ...], ...]

    def first(self, n: int) -> "Agreement":
        """The lowest `n` modes of the reference alone; groups keep their members beyond."""
        groups = tuple(group for group in self.groups if group[0] < n)
        return Agreement(self.partners[:n], self.errors[:n], self.mac[:n], groups)

    @property
    def largest(self) -> float:
        """Error of the largest size, with its sign."""
        return float(self.errors[np.abs(self.errors).argmax()])

    @property
    def rms(self) -> float:
        """Root mean square of the errors."""
        return float(np.sqrt(np.mean(self.errors**2)))


def agreement(
    frequencies: NDArray[np.float64],
    shapes: NDArray[np.float64],
    expected_frequencies: NDArray[np.float64],
    expected_shapes: NDArray[np.float64],
) -> Agreement:
    """Pair each mode of a reference with a computed one by shape, and compare.

    Partners are assigned so that the sum of the modal assurance criteria is largest. Where modes of the reference are
    closer than `CLOSE` their shapes may mix, so their partners are taken in the order of frequency and the spaces that
    both span are compared.

    Parameters
    ----------
    frequencies, shapes : (m,) and (m, k) arrays
        Computed, m >= n, ascending; deflections at k points.
    expected_frequencies, expected_shapes : (n,) and (n, k) arrays
        The reference's, ascending, at the same points.

    Raises
    ------
    AccuracyError
        If there are fewer computed modes than expected ones, or the numbers of points differ.

    References
    ----------
    R. J. Allemang, "The modal assurance criterion - twenty years of use and abuse", Sound and Vibration 37 (2003)
    no. 8, 14-23. A. Bjoerck, G. H. Golub, "Numerical methods for computing angles between linear subspaces", Math.
    Comp. 27 (1973) 579-594.
    """
    alike = mac(expected_shapes.T, shapes.T)
    partners = np.array(follow(alike))
    groups = close_groups(expected_frequencies)
    for group in groups:
        members = list(group)
        partners[members] = np.sort(partners[members])
        angle = subspace_angles(expected_shapes[members].T, shapes[partners[members]].T)[0]
        alike[members, partners[members]] = np.cos(angle) ** 2
    errors = frequencies[partners] / expected_frequencies - 1
    return Agreement(partners, errors, alike[np.arange(len(partners)), partners], groups)


def close_groups(frequencies: NDArray[np.float64]) -> tuple[tuple[int, ...], ...]:
    """Indices of ascending frequencies in groups whose neighbours are closer than `CLOSE`."""
    gaps = np.flatnonzero(np.diff(frequencies) >= CLOSE * frequencies[:-1]) + 1
    return tuple(tuple(int(i) for i in group) for group in np.split(np.arange(len(frequencies)), gaps))
