"""Faces of the box in a small basis against full matrices and full solutions of the same mesh.

Outside the project: what any linear plate obeys (a body that moves as a whole strains nothing; mass on the outside
lowers frequencies as the root of the whole mass; frequencies lie between those of a hinged and of a clamped edge). The
full solutions themselves are checked in tests/published.
"""

from dataclasses import replace
from functools import lru_cache
from itertools import pairwise

import numpy as np
import pytest
from reference.plates import TRIAL_WOOD, WOOD, trial_top

from bracedtop.fem.face_changes import changed_matrices
from bracedtop.fem.face_terms import (
    FaceModel,
    FaceValues,
    build_face,
    face_deflections,
    face_loss,
    face_matrices,
    face_modes,
    surface,
)
from bracedtop.fem.loss_factors import LossFactors
from bracedtop.fem.model import build_model, solve
from bracedtop.fem.rim import Rim
from bracedtop.geometry.box import Finish
from bracedtop.geometry.design import Edge
from bracedtop.geometry.errors import DesignError

WOODS = {WOOD: TRIAL_WOOD}
RIM = Rim(3e7, 400.0, 2e7, 0.03, 0.04, 0.05)
FILM = Finish("top", 0.2, 0.1e-3, 3e9, 0.05)
SIZE = 60e-3

CHANGED = {
    "ring": FaceValues(ring=0.3e-3),
    "rim": FaceValues(rim=Rim(1e7, 60.0, 1e7)),
    "woods": FaceValues(E_L=1.2, E_R=0.8, G_LR=1.1, density=1.15),
    "thickness": FaceValues(thickness=0.9, ring=0.2e-3),
    "finish": FaceValues(finish=FILM, ring=0.2e-3),
    "load": FaceValues(added_mass=0.03),
    "much at once": FaceValues(finish=FILM, ring=0.2e-3, thickness=0.95, E_L=1.1, rim=Rim(2e7, 60.0, 1e7)),
}


@lru_cache(maxsize=1)
def face() -> FaceModel:
    """A small braced top on springs, with a ring."""
    return build_face(trial_top(1), WOODS, {}, side="top", ring_width=25e-3, rim=RIM, size=SIZE)


def difference(found: np.ndarray, full: np.ndarray, drawn: np.ndarray) -> float:
    """Error over what a change comes to."""
    return float(np.linalg.norm(found - full) / max(np.linalg.norm(full - drawn), 1e-6 * np.linalg.norm(full)))


@pytest.mark.parametrize("name", ["drawn", *CHANGED])
def test_matrices_are_projections_of_the_full_ones(name: str) -> None:
    values = CHANGED.get(name, FaceValues())
    one, V = face(), face().vectors
    K, M = changed_matrices(one.model, values)
    found, drawn = face_matrices(one, values), face_matrices(one)
    assert difference(found.K, V.T @ (K @ V), drawn.K) < 1e-6
    # A film's mass lies on the face in both, its thickness counts in stiffness only.
    assert difference(found.M, V.T @ (M @ V), drawn.M) < 1e-6


@pytest.mark.parametrize("name", ["drawn", *CHANGED])
def test_frequencies_of_the_full_model(name: str) -> None:
    """From above; ten modes within 0.1 % for one change, 0.3 % for many at once."""
    values = CHANGED.get(name, FaceValues())
    K, M = changed_matrices(face().model, values)
    full = solve(replace(face().model, K=K, M=M), 10).frequencies
    found = face_modes(face_matrices(face(), values), 10)[0]
    assert (found > full * (1 - 1e-7)).all()
    assert found == pytest.approx(full, rel={"drawn": 1e-5, "much at once": 3e-3}.get(name, 1e-3))


def test_moving_as_a_whole_strains_nothing() -> None:
    """Face and rim together, up or tilted: no force on either; the face alone pulls the rim."""
    one, m = face(), face_matrices(face())
    xy = surface(one).xy
    motions = np.column_stack([np.ones(len(xy)), xy])
    at = np.linalg.lstsq(surface(one).deflection, motions, rcond=None)[0]
    assert surface(one).deflection @ at == pytest.approx(motions, abs=1e-9)
    scale = np.abs(m.K_rim).max()
    assert np.abs(m.K_rim + m.K_rigid.T @ at).max() < 1e-6 * scale
    assert np.abs(at.T @ (m.K @ at + m.K_rigid)).max() < 1e-6 * scale
    rim = 2 * (0.4 + 0.3)
    assert m.K_rim[0, 0] == pytest.approx(RIM.deflection * rim, rel=1e-9)
    assert m.H_rim[0, 0] == pytest.approx(RIM.deflection_loss * RIM.deflection * rim, rel=1e-9)
    assert at[:, 0] @ m.M @ at[:, 0] == pytest.approx(one.model.mass(), rel=1e-9)


def test_surface_and_deflections_agree() -> None:
    one = face()
    points = surface(one)
    assert points.weight.sum() == pytest.approx(0.4 * 0.3, rel=1e-9)
    assert face_deflections(one, points.xy[::50]) == pytest.approx(points.deflection[::50], abs=1e-12)


def test_mass_on_the_outside() -> None:
    """As much again on the outside as the bare plate has: frequencies over the root of two, but for its turning."""
    bare = build_face(trial_top(0), WOODS, {}, side="top", ring_width=0.0, rim=RIM, what_if=False, size=SIZE)
    heavy = Finish("top", TRIAL_WOOD.density * 2.8e-3)
    plain, loaded = (face_modes(face_matrices(bare, v), 6)[0] for v in (FaceValues(), FaceValues(finish=heavy)))
    assert loaded == pytest.approx(plain / np.sqrt(2), rel=3e-3)


def test_between_hinged_and_clamped() -> None:
    """A rim that hardly yields lets a face ring as it resists turning."""
    design = trial_top(1)
    hinged, clamped = (
        solve(build_model(replace(design, edge=Edge(kind)), WOODS, size=SIZE), 6).frequencies  # type: ignore[arg-type]
        for kind in ("hinged", "clamped")
    )
    found = [
        face_modes(face_matrices(face(), FaceValues(rim=Rim(1e11, rotation, 1e11))), 6)[0]
        for rotation in (1e-3, 30.0, 1e3, 1e8)
    ]
    for one in found[1:3]:
        assert (one > hinged * (1 - 1e-3)).all()
        assert (one < clamped * (1 + 1e-3)).all()
    for soft, hard in pairwise(found):
        assert (hard > soft).all()


def test_soft_and_stiff_rims_are_free_and_clamped() -> None:
    """Limits of the springs, on a mesh so fine that holding nodes and holding by springs come to the same."""
    design = trial_top(1)
    for rim, kind in ((Rim(2.0, 1e-5, 2.0), "free"), (Rim(1e12, 1e9, 1e12), "clamped")):
        edge = Edge(kind)  # type: ignore[arg-type]
        expected = solve(build_model(replace(design, edge=edge), WOODS, size=SIZE / 2), 6).frequencies
        one = build_face(design, WOODS, {}, side="top", ring_width=0.0, rim=rim, what_if=False, size=SIZE / 2)
        found = face_modes(face_matrices(one), 12)[0]
        # A free plate's motions as a whole come first, at about a hertz.
        assert found[found > 0.3 * expected[0]][:6] == pytest.approx(expected, rel=1e-3)


def test_equal_losses_come_out() -> None:
    """Where all woods, the rim and the film lose alike, so does every mode."""
    losses = {WOOD: LossFactors(0.02, 0.02, 0.02)}
    rim = Rim(3e7, 400.0, 2e7, 0.02, 0.02, 0.02)
    one = build_face(trial_top(2), WOODS, losses, side="back", ring_width=25e-3, rim=rim, what_if=False, size=SIZE)
    values = FaceValues(finish=replace(FILM, loss=0.02), ring=0.2e-3, E_L=1.2, thickness=0.95)
    assert face_loss(one, n_modes=12) == pytest.approx(0.02, rel=1e-4)
    assert face_loss(one, values, n_modes=12) == pytest.approx(0.02, rel=1e-4)


def test_a_lossy_film_and_a_lossy_rim_cost_sustain() -> None:
    plain = face_loss(face(), n_modes=6)
    assert (face_loss(face(), FaceValues(finish=replace(FILM, loss=0.2)), n_modes=6) > plain).all()
    lossy = Rim(3e7, 400.0, 2e7, 0.1, 0.1, 0.1)
    assert (face_loss(face(), FaceValues(rim=lossy), n_modes=6) > plain).all()


def test_springs_have_to_hold() -> None:
    with pytest.raises(DesignError, match="must be > 0"):
        build_face(trial_top(0), WOODS, {}, side="top", ring_width=0.0, rim=Rim(1e7, 0.0, 1e7))
