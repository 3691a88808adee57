"""Losses of an orthotropic plate's modes as the mean of its moduli's, weighed by their shares of energy.

M. E. McIntyre, J. Woodhouse, "On measuring the elastic and damping constants of orthotropic sheet materials", Acta
Metallurgica 36 (1988) 1397-1416: 1 / Q = sum of J_i eta_i over the plate's stiffnesses, J_i the share of the mode's
strain energy (RECALLED). For a thin rectangular plate with hinged edges shapes are products of sines, so that the
shares follow from f^2 ~ D11 (m/a)^4 + 2 (D12 + 2 D66) (m n / a b)^2 + D22 (n/b)^4 (S. G. Lekhnitskii, Anisotropic
Plates (1968), eq. 69.7, RECALLED), here by its derivatives.

K. Ege, X. Boutillon, M. Rebillat, "Vibroacoustics of the piano soundboard", J. Sound Vib. 332 (2013) 1288-1305: loss
factors of 1 to 3 %, 2.3 % on the mean, which hold ribs, edges and radiation too (RECALLED).
"""

from dataclasses import replace

import numpy as np
import pytest
from reference.plates import TRIAL_WOOD, WOOD, bending_stiffness, plate, rectangle, trial_top

from bracedtop.fem.face_loss import KINDS
from bracedtop.fem.face_terms import build_face, face_loss, face_matrices, face_modes
from bracedtop.fem.loss_factors import LossFactors
from bracedtop.fem.rim import Rim
from bracedtop.fem.wood import Wood

A, B, H = 0.4, 0.3, 1.2e-3
LOSS = LossFactors(0.007, 0.021, 0.018)
N = 8


def squares(wood: Wood) -> np.ndarray:
    """The lowest (2 pi f)^2 times areal mass, and which they are."""
    D = bending_stiffness(wood, H)
    m, n = np.indices((9, 9))[:, 1:, 1:] * np.pi
    return np.asarray(
        D[0, 0] * (m / A) ** 4 + 2 * (D[0, 1] + 2 * D[2, 2]) * (m * n / A / B) ** 2 + D[1, 1] * (n / B) ** 4
    )


def test_hinged_spruce() -> None:
    """Within 0.5 %: shear through the thickness, which the formula leaves out, carries little of a thin plate."""
    drawn = squares(TRIAL_WOOD)
    expected = np.zeros_like(drawn)
    for key, kind in KINDS.items():
        step = 1e-6
        other = replace(TRIAL_WOOD, **{key: (1 + step) * getattr(TRIAL_WOOD, key)})
        expected += getattr(LOSS, kind) * (squares(other) / drawn - 1) / step
    order = np.argsort(drawn, axis=None)[:N]
    # Springs that hold the rim and let it turn, without loss.
    rim = Rim(1e11, 1e-4, 1e11)
    face = build_face(
        plate(rectangle(A, B), H, "hinged"),
        {WOOD: TRIAL_WOOD},
        {WOOD: LOSS},
        side="top",
        ring_width=0.0,
        rim=rim,
        what_if=False,
        size=40e-3,
    )
    found = face_modes(face_matrices(face), N)[0]
    assert found == pytest.approx(np.sqrt(drawn.ravel()[order] / (TRIAL_WOOD.density * H)) / (2 * np.pi), rel=5e-3)
    assert face_loss(face, n_modes=N) == pytest.approx(expected.ravel()[order], rel=5e-3)


def test_range_of_a_spruce_soundboard() -> None:
    """The usual loss factors put a braced spruce top's own loss within the published range."""
    face = build_face(
        trial_top(2),
        {WOOD: TRIAL_WOOD},
        {},
        side="top",
        ring_width=0.0,
        rim=Rim(3e7, 400.0, 2e7),
        what_if=False,
        size=60e-3,
    )
    loss = face_loss(face, n_modes=15)
    assert (loss > 0.007).all()
    assert (loss < 0.03).all()
    assert np.mean(loss) > 0.01
