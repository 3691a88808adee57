"""Stiffness of a film of finish. Depends on geometry/box."""

import numpy as np

from bracedtop.geometry.box import Finish


def film_lamina(film: Finish) -> tuple[np.ndarray, np.ndarray]:
    """Plane-stress stiffness (3, 3) and transverse shear stiffness (2, 2) of an isotropic film, Pa.

    References
    ----------
    S. Timoshenko, S. Woinowsky-Krieger, Theory of Plates and Shells (1959), art. 21: E / (1 - nu^2), and
    G = E / 2 (1 + nu).
    """
    nu = film.poisson
    G = film.modulus / (2 * (1 + nu))
    Q = film.modulus / (1 - nu**2) * np.array([[1.0, nu, 0.0], [nu, 1.0, 0.0], [0.0, 0.0, (1 - nu) / 2]])
    return Q, G * np.eye(2)


def film_moduli(film: Finish) -> np.ndarray:
    """The same in the order Q 11, 12, 16, 22, 26, 66, G 44, 45, 55, (9,)."""
    Q, G = film_lamina(film)
    return np.concatenate([Q[np.triu_indices(3)], G[np.triu_indices(2)]])
