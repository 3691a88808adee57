"""Own motion of glued parts: rigid motions, structure of the unknowns, mass, and the limits of stiff and of no glue.

Limits, exact for two thin isotropic layers t1 and t2 that deflect together: glued rigidly they are one plate of
D = E (t1 + t2)^3 / (12 (1 - nu^2)), sliding freely they add up, D = E (t1^3 + t2^3) / (12 (1 - nu^2)) (Reddy, Mechanics
of Laminated Composite Plates and Shells, 2nd ed. (2004), ch. 3 and 12).
"""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from reference.plates import TRIAL_WOOD, WOOD, isotropic, plate, rectangle
from scipy.sparse.linalg import norm

from bracedtop.fem import sampling
from bracedtop.fem.describe import energy_shares
from bracedtop.fem.layer import N_OWN, part_strains
from bracedtop.fem.model import build_model, free_matrix, solve, whole_motions
from bracedtop.fem.reduced_sample import motion_rows
from bracedtop.geometry.brace import Brace
from bracedtop.geometry.design import Design, Edge, Joint, Plate
from bracedtop.geometry.dome import Dome
from bracedtop.geometry.outline import polygon_outline
from bracedtop.geometry.patch import Patch

WOODS = {WOOD: TRIAL_WOOD}
SIZE = 0.08
DOME = Dome(3.0, 2.0, (0.15, 0.1))
KINDS = ("free", "clamped", "hinged")


def brace(name, *path, height=0.012, width=7e-3):
    return Brace(name, WOOD, np.array(path), width, np.array([[0.0, 0.002], [0.05, height]]))


def pad(name, low, high, side="inside", **more):
    (x0, y0), (x1, y1) = low, high
    outline = polygon_outline(np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]]))
    return Patch(name, WOOD, outline, 1.5e-3, side, grain_angle=1.0, **more)


def full_top(kind="free", dome=None):
    """Every kind of glued part: straight, bent, crossing, capped and butted braces; patches on both sides."""
    braces = (
        brace("a", [0.03, 0.03], [0.27, 0.17]),
        brace("b", [0.03, 0.17], [0.27, 0.03], height=0.010),
        brace("bent", [0.05, 0.06], [0.04, 0.10], [0.05, 0.14], height=0.006),
        brace("butted", [0.21, 0.19], [0.21, 0.135], height=0.008, width=6e-3),
    )
    patches = (
        pad("around", (0.07, 0.03), (0.12, 0.09)),
        pad("under", (0.06, 0.13), (0.1, 0.17), under_braces=True),
        pad("outside", (0.12, 0.05), (0.19, 0.15), "outside"),
    )
    joints = (Joint("a", "b", None, 1.5e-3, 0.03),)
    top = Plate(WOOD, 2.6e-3, 0.1, dome=dome)
    return Design(rectangle(0.3, 0.2), top, braces=braces, patches=patches, joints=joints, edge=Edge(kind))


@pytest.fixture(scope="module", params=[None, DOME], ids=["flat", "domed"])
def model(request):
    return build_model(full_top(dome=request.param), WOODS, size=SIZE, order=2)


def test_all_parts_are_there(model):
    assert set(model.layers) == {
        "brace a", "brace b", "brace bent", "brace butted", "patch around", "patch under", "patch outside",
    }  # fmt: skip
    assert {"joint a|b", "joint a|butted"} & {group.part for group in model.groups}
    own = sum(len(layer.nodes) for layer in model.layers.values())
    assert model.K.shape[0] == 5 * model.space.n_nodes + N_OWN * own


def test_rigid_motions_strain_no_part(model):
    motions = whole_motions(model).T
    for group in model.groups:
        strains = part_strains(model.space, model.layers, group, motions)
        # Of a unit tilt's own slope, 1, and of curvatures it might have by the size of its triangles, 1 / size.
        assert np.abs(strains).max() < 1e-10 / SIZE, group.part
    assert np.abs(model.K @ motions.T).max() < 1e-10 * np.abs(model.K).max()


def test_rigid_motions_lie_in_the_free_unknowns(model):
    motions = whole_motions(model)
    np.testing.assert_allclose(model.expand @ (model.shrink @ motions), motions, atol=1e-12)


def test_parts_go_along_in_rigid_motions(model):
    # u + z beta at every height is the rigid body's: a part's own fields are the plate's.
    motions = whole_motions(model)
    for group in model.groups:
        assert np.isfinite(motion_rows(model.space, model.layers, group) @ motions).all()
        if group.face is not None:
            own = motion_rows(model.space, model.layers, group) @ motions
            held = motion_rows(model.space, model.layers, replace(group, face=None)) @ motions
            np.testing.assert_allclose(own, held, atol=1e-12)


@pytest.mark.parametrize("kind", KINDS)
def test_shrink_undoes_expand(kind):
    found = build_model(full_top(kind), WOODS, size=SIZE, order=2)
    product = found.shrink @ found.expand
    identity = product - product.multiply(product > 0.5).sign()
    assert product.shape == (found.n_unknowns, found.n_unknowns)
    np.testing.assert_allclose(product.diagonal(), 1.0, atol=1e-12)
    assert np.abs(identity).max() < 1e-12


@pytest.mark.parametrize("kind", KINDS)
def test_fibres_move_along_their_brace_only(kind):
    # Whatever the free unknowns are, the fibres slip along it alone and turn across it with the plate.
    found = build_model(full_top(kind), WOODS, size=SIZE, order=2)
    vector = found.expand @ np.random.default_rng(3).standard_normal(found.n_unknowns)
    for part, layer in found.layers.items():
        own = vector[layer.first : layer.end].reshape(-1, N_OWN)
        turn = vector[: 5 * found.space.n_nodes].reshape(-1, 5)[layer.nodes, 3:]
        np.testing.assert_allclose(own[layer.held, :2], 0.0, atol=1e-12)
        np.testing.assert_allclose(own[layer.held, 2:], turn[layer.held], atol=1e-12)
        at = ~layer.held & ~np.isnan(layer.direction)
        assert at.any() == part.startswith("brace")
        across = np.column_stack([-np.sin(layer.direction[at]), np.cos(layer.direction[at])])
        np.testing.assert_allclose((own[at, :2] * across).sum(axis=1), 0.0, atol=1e-12)
        np.testing.assert_allclose(((own[at, 2:] - turn[at]) * across).sum(axis=1), 0.0, atol=1e-12)


def test_mass_of_rigid_motions_is_that_of_the_wood(model):
    motions = whole_motions(model)
    M = motions.T @ (model.M @ motions)
    np.testing.assert_allclose(np.diag(M)[:3], model.mass(), rtol=1e-10)
    dome = model.space.dome
    expected = np.zeros(3)
    for group in model.groups:
        x, y = model.locator.positions(group.points.element, group.points.local).T
        z0 = 0.0 if dome is None else dome.height(np.column_stack([x, y]))
        I0, I1, I2 = (group.points.weight[:, None] * group.mass).T
        turned = I2 + 2 * z0 * I1 + z0 * z0 * I0
        expected += [(I0 * (x * x + y * y)).sum(), (I0 * x * x + turned).sum(), (I0 * y * y + turned).sum()]
    np.testing.assert_allclose(np.diag(M)[3:], expected, rtol=1e-8)


def test_matrices_are_symmetric_and_not_negative():
    small = Design(
        rectangle(0.16, 0.12),
        Plate(WOOD, 2.6e-3),
        braces=(brace("a", [0.02, 0.05], [0.14, 0.07]),),
        patches=(pad("around", (0.04, 0.04), (0.1, 0.08)), pad("outside", (0.03, 0.02), (0.08, 0.1), "outside")),
        edge=Edge("free"),
    )
    found = build_model(small, WOODS, size=SIZE, order=1)
    for matrix in (found.K, found.M):
        assert norm(matrix - matrix.T) < 1e-12 * norm(matrix)
        values = np.linalg.eigvalsh(free_matrix(found, matrix).toarray())
        assert values[0] > -1e-12 * values[-1]
    stiff = free_matrix(found, found.K).toarray()
    scale = 1 / np.sqrt(stiff.diagonal())
    values = np.linalg.eigvalsh(stiff * scale * scale[:, None])
    # Six rigid motions and no other without strain.
    assert np.abs(values[:6]).max() < 1e-9
    assert values[6] > 1e-7


def test_energy_shares_add_up(model):
    shares = energy_shares(model, solve(model, 4))
    np.testing.assert_allclose(sum(shares.values()), 1.0, atol=1e-6)
    assert all((share > -0.02).all() for share in shares.values())


METAL = isotropic(70e9, 0.3, 2700.0)
T1, T2 = 1.2e-3, 0.8e-3


def doubled(slip, monkeypatch):
    monkeypatch.setattr(sampling, "SLIP", slip)
    whole = Patch("whole", WOOD, rectangle(0.3, 0.2), T2, "outside")
    top = Design(rectangle(0.3, 0.2), Plate(WOOD, T1), patches=(whole,), edge=Edge("clamped"))
    return solve(build_model(top, {WOOD: METAL}, size=0.05, order=4), 5).frequencies


def single(thickness):
    top = plate(rectangle(0.3, 0.2), thickness, "clamped")
    return solve(build_model(top, {WOOD: METAL}, size=0.05, order=4), 5).frequencies


def test_layer_on_rigid_glue_makes_one_plate(monkeypatch):
    np.testing.assert_allclose(doubled(1e-6, monkeypatch), single(T1 + T2), rtol=1e-3)


def test_layer_that_slides_adds_its_own_stiffness(monkeypatch):
    # From the thinner plate, which is as soft in shear as the layers are.
    expected = single(T1) * np.sqrt((T1**3 + T2**3) / T1**3 * T1 / (T1 + T2))
    np.testing.assert_allclose(doubled(1e8, monkeypatch), expected, rtol=1e-3)


def test_softer_glue_raises_nothing(monkeypatch):
    found = [doubled(slip, monkeypatch) for slip in (1e-3, 0.05, 5.0, 500.0)]
    for stiff, soft in pairwise(found):
        assert (soft <= stiff * (1 + 1e-9)).all()
