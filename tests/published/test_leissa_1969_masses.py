"""A hinged plate with a mass at a point.

C. L. Amba-Rao, On the vibration of a rectangular plate carrying a concentrated mass, J. Appl. Mech. 31 (1964) 550-551;
A. W. Leissa, Vibration of Plates, NASA SP-160 (1969), chapter 6 (both recalled): with the bare plate's modes phi_n of
unit modal mass, the loaded plate's omega solves 1 = m omega^2 sum phi_n(x)^2 / (omega_n^2 - omega^2), which is summed
here over 160 by 160 half waves. Bare modes that stand still at the mass keep their frequency.
"""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from reference.plates import WOOD, isotropic, plate, rectangle
from scipy.optimize import brentq

from bracedtop.fem.model import build_model, solve
from bracedtop.geometry.mass import PointMass

A, B, H = 0.4, 0.3, 1.5e-3
METAL = isotropic(70e9, 0.3, 2700.0)
PLATE_MASS = METAL.density * A * B * H
N_MODES = 6


def unloaded(m: np.ndarray, n: np.ndarray) -> np.ndarray:
    """Angular frequencies of the bare thin plate for m by n half waves."""
    D = METAL.E_L * H**3 / (12 * (1 - METAL.nu_LR**2))
    return np.sqrt(D / (METAL.density * H)) * np.pi**2 * ((m / A) ** 2 + (n / B) ** 2)


def loaded(place: tuple[float, float], mass: float) -> np.ndarray:
    """Frequencies of the loaded thin plate, lowest first, Hz."""
    m, n = np.meshgrid(np.arange(1, 161), np.arange(1, 161), indexing="ij")
    bare = unloaded(m, n).ravel()
    phi2 = (4 / PLATE_MASS * (np.sin(m * np.pi * place[0] / A) * np.sin(n * np.pi * place[1] / B)) ** 2).ravel()
    moves = phi2 > 1e-9 * phi2.max()

    def secular(omega: float) -> float:
        return float(1 - mass * omega**2 * (phi2[moves] / (bare[moves] ** 2 - omega**2)).sum())

    # One root below the lowest frequency and one between each two.
    poles = np.unique(np.sort(bare[moves])[: 3 * N_MODES].round(9))
    ends = np.concatenate([[0.0], poles])
    found = [brentq(secular, a * (1 + 1e-9), b * (1 - 1e-9)) for a, b in pairwise(ends)]
    return np.sort(np.concatenate([found, bare[~moves]]))[:N_MODES] / (2 * np.pi)


# Thin-plate series against shear-deformable triangles, which bend less than a point pushes: 0.1 % at 15 mm (0.44 % at
# 30 mm, 0.06 % at 10 mm); a disc of 4 mm for a point.
@pytest.mark.parametrize("place", [(0.2, 0.15), (0.11, 0.09)], ids=["centre", "off centre"])
@pytest.mark.parametrize("ratio", [0.02, 0.1, 0.5])
def test_frequencies_with_a_mass(place, ratio):
    bare = plate(rectangle(A, B), H, "hinged")
    mass = PointMass("m", ratio * PLATE_MASS, place, diameter=4e-3, height=-H / 2)
    model = build_model(replace(bare, masses=(mass,)), {WOOD: METAL}, size=0.015)
    np.testing.assert_allclose(model.mass("mass m"), ratio * PLATE_MASS)
    np.testing.assert_allclose(solve(model, N_MODES).frequencies, loaded(place, ratio * PLATE_MASS), rtol=1e-3)


def test_bare_plate_is_met_closer():
    found = solve(build_model(plate(rectangle(A, B), H, "hinged"), {WOOD: METAL}, size=0.03), N_MODES).frequencies
    m, n = np.meshgrid(np.arange(1, 9), np.arange(1, 9))
    np.testing.assert_allclose(found, np.sort(unloaded(m, n).ravel())[:N_MODES] / (2 * np.pi), rtol=5e-4)
