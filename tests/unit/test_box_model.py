"""A small closed box: top, back, rim, hole and air together."""

from dataclasses import replace

import numpy as np
import pytest
from reference.plates import TRIAL_WOOD, WOOD, rectangle

from bracedtop.fem.box_basis import narrowed_box
from bracedtop.fem.box_coupling import coupled_matrices, lowest
from bracedtop.fem.box_lumped import lumped_of
from bracedtop.fem.box_matrices import hole_friction
from bracedtop.fem.box_model import (
    BoxModel,
    BoxValues,
    box_matrices,
    closed_box,
    loss_matrices,
    loss_parts,
    solve_box,
    with_radiation,
)
from bracedtop.fem.box_names import box_names
from bracedtop.fem.box_rates import box_rates
from bracedtop.fem.box_values import box_parameters
from bracedtop.fem.face_terms import FaceValues, face_matrices, face_modes
from bracedtop.fem.helmholtz import helmholtz
from bracedtop.fem.lumped import coupled, split
from bracedtop.geometry.box import Block, Box, Finish, Lining, Sides
from bracedtop.geometry.brace import Brace
from bracedtop.geometry.design import Design, Plate
from bracedtop.geometry.outline import Hole

WOODS = {WOOD: TRIAL_WOOD}
BRACE = Brace("bar", WOOD, np.array([[0.1, 0.02], [0.1, 0.28]]), 8e-3, np.array([[0.0, 0.012], [0.26, 0.012]]))


CHECKED = (
    "top ring",
    "top E_R",
    "top thickness",
    "top added mass",
    "back density",
    "back rim rotation",
    "top rim rotation loss",
    "top finish thickness",
    "volume",
    "hole mass",
    "temperature",
)


@pytest.fixture(scope="module")
def whole() -> BoxModel:
    """A rectangular box, invented, in the whole bases of its faces."""
    hole = Hole(np.array([0.30, 0.15]), np.array([0.03, 0.03]))
    top = Design(rectangle(0.4, 0.3), Plate(WOOD, 5e-3), holes=(hole,), braces=(BRACE,), bridge_point=(0.16, 0.14))
    box = Box(
        Sides(WOOD, 2e-3, np.array([[0.0, 0.1], [0.4, 0.09]])),
        Design(rectangle(0.4, 0.3), Plate(WOOD, 6e-3), braces=(replace(BRACE, name="back bar"),)),
        linings=(Lining("top", WOOD, 6e-3, 15e-3), Lining("back", WOOD, 6e-3, 15e-3)),
        blocks=(Block("neck", WOOD, 0.04, 0.07),),
        finishes=(Finish("top", 0.08, 5e-5, 2e9, 0.05),),
        neck_mass=0.6,
    )
    return closed_box(top, box, WOODS, {}, size=70e-3, narrow=False)


@pytest.fixture(scope="module")
def small(whole: BoxModel) -> BoxModel:
    """The same in fewer vectors."""
    return narrowed_box(whole)


@pytest.mark.parametrize(
    "values", [BoxValues(), BoxValues(hole_blocked=True), BoxValues(held=True), BoxValues(held=True, hole_blocked=True)]
)
def test_energies_and_matrices(small: BoxModel, values: BoxValues) -> None:
    """Matrices are symmetric, energies of motion and deformation each sum to 1, what is held stands still."""
    m = box_matrices(small, values)
    for matrix in (m.K, m.H, m.M):
        assert np.allclose(matrix, matrix.T, rtol=0, atol=1e-12 * np.abs(matrix).max())
    modes = solve_box(small, values)
    assert modes.kinetic.sum(axis=1) == pytest.approx(np.ones(24), abs=1e-9)
    assert modes.potential.sum(axis=1) == pytest.approx(np.ones(24), abs=1e-6)
    assert modes.shares.min() > -1e-3
    assert (modes.vectors[:, small.parts["hole"]] == 0).all() == values.hole_blocked
    assert (modes.vectors[:, small.parts["rim"]] == 0).all() == bool(values.held)
    assert (np.diff(modes.frequencies) >= 0).all()


def test_free_box_moves_without_resistance(small: BoxModel) -> None:
    """Faces, rim, and the air in the hole together, up and tilted: no stiffness, and the mass of the whole."""
    m = box_matrices(small)
    n, rim, top, back = small.parts["cavity"].start, *(small.parts[key] for key in ("rim", "top", "back"))
    move = np.zeros((small.size, 3))
    move[rim] = np.eye(3)
    for at, K in ((top, m.K_faces["top"]), (back, m.K_faces["back"])):
        move[at] = -np.linalg.solve(K[at, at], K[at, rim])
    move[small.parts["hole"]] = [1.0, 0.30, 0.15]
    # Air that sloshes as the box tilts is moved along.
    there = m.K[n:, n:]
    move[n:] = -np.linalg.solve(there, m.K[n:, :n] @ move[:n])
    stiff = np.einsum("ik,ij,jk->k", move, m.K, move)
    assert np.abs(stiff).max() < 1.0


def test_reciprocity(small: BoxModel) -> None:
    """A force at the bridge moves the air in the hole as a force there moves the bridge."""
    m = box_matrices(small)
    dynamic = m.K + 1j * m.H - (2 * np.pi * 180.0) ** 2 * m.M
    bridge = np.zeros(small.size)
    bridge[small.parts["top"]] = small.drive
    hole = np.zeros(small.size)
    hole[small.parts["hole"]] = 1.0
    assert hole @ np.linalg.solve(dynamic, bridge) == pytest.approx(bridge @ np.linalg.solve(dynamic, hole), rel=1e-8)


def test_without_air_faces_are_alone(small: BoxModel) -> None:
    """In hardly any air a held box has the modes that its faces have by themselves."""
    thin = replace(small.air, at_holes=0 * small.air.at_holes)
    empty = replace(
        small,
        air=thin,
        at_top=0 * small.at_top,
        at_back=0 * small.at_back,
        front=0 * small.front,
        behind=0 * small.behind,
    )
    found = solve_box(empty, BoxValues(held=True, hole_blocked=True), n_modes=8).frequencies
    alone = np.concatenate([face_modes(face_matrices(face), 8)[0] for face in (small.top, small.back)])
    cavity = small.air.frequencies[small.air.frequencies > 0]
    assert found == pytest.approx(np.sort(np.concatenate([alone, cavity]))[:8], rel=1e-6)


def test_fewer_vectors_hardly_change_a_mode(whole: BoxModel, small: BoxModel) -> None:
    """0.1 %, as drawn and with rings, films, rims and woods that are not among the snapshots."""
    rim, film = whole.top.rim, whole.top.finish
    assert film is not None
    for values in (
        BoxValues(),
        BoxValues(FaceValues(ring=1.5e-4, E_R=1.1, finish=replace(film, mass=0.15))),
        BoxValues(FaceValues(rim=replace(rim, rotation=rim.rotation / 3), added_mass=0.01), FaceValues(density=1.05)),
        BoxValues(back=FaceValues(thickness=0.93, E_L=1.1), volume=1.05, hole_blocked=True),
    ):
        ours, full = (solve_box(model, values, n_modes=18).frequencies for model in (small, whole))
        assert ours == pytest.approx(full, rel=1e-3)


def test_losses_add_up(small: BoxModel) -> None:
    """Parts sum to the whole; Q and T60 follow; radiation is added once."""
    modes = solve_box(small)
    assert sum(loss_parts(small, modes).values()) == pytest.approx(modes.loss, rel=1e-9)
    total = sum(loss_matrices(small).values())
    hole = small.parts["hole"]
    without = box_matrices(small).H
    assert np.delete(np.delete(total - without, hole, 0), hole, 1) == pytest.approx(0.0, abs=1e-9 * np.abs(total).max())
    louder = with_radiation(with_radiation(modes, np.full(24, 0.5)), np.full(24, 0.01))
    assert louder.loss == pytest.approx(modes.loss + 0.01, rel=1e-12)
    assert louder.t60 == pytest.approx(2.1987 / (louder.frequencies * louder.loss), rel=1e-4)
    assert louder.q == pytest.approx(1 / louder.loss)
    assert (hole_friction(small, small.air.gas, modes.vectors.T, modes.frequencies) > 0).all()


def test_rates_are_derivatives(small: BoxModel) -> None:
    """Against differences of solutions, extrapolated (L. F. Richardson, 1911)."""
    modes = solve_box(small, n_modes=8)
    rates = box_rates(small, modes)
    parameters = box_parameters(modes.values, small.top, small.back, small.box.temperature)
    assert rates.names == tuple(one.name for one in parameters)
    for name in CHECKED:
        j = rates.names.index(name)
        one = parameters[j]
        slopes = []
        for h in (0.2 * one.step, 0.1 * one.step):
            a, b = (solve_box(small, one.changed(one.value + s * h), n_modes=8) for s in (1, -1))
            slopes.append([(a.frequencies - b.frequencies) / (2 * h), (a.loss - b.loss) / (2 * h)])
        by_frequency, by_loss = (4 * np.array(slopes[1]) - np.array(slopes[0])) / 3
        floor = 1e-6 / one.step
        assert rates.frequency[:, j] == pytest.approx(by_frequency, rel=1e-3, abs=floor), one.name
        assert rates.loss[:, j] == pytest.approx(by_loss, rel=5e-3, abs=1e-3 * floor), one.name
    some = box_rates(small, modes, ["top ring", "volume"])
    assert some.frequency == pytest.approx(rates.frequency[:, [rates.names.index(n) for n in some.names]])


def test_two_oscillators_are_met(small: BoxModel) -> None:
    """The box in finite elements, cut down to two motions on the uniform pressure, is the lumped model exactly.

    O. Christensen, B. B. Vistisen, J. Acoust. Soc. Am. 68 (1980) 758: sum and product of squares.
    """
    lumped = lumped_of(small, BoxValues(held=True), with_back=False)
    uniform = np.sqrt(lumped.bulk / lumped.volume)
    C = np.array([[piston.area * uniform] for piston in lumped.pistons])
    K, M = (np.diag([getattr(p, key) for p in lumped.pistons]) for key in ("stiffness", "mass"))
    pair = np.sqrt(lowest(*coupled_matrices(K, M, C, np.zeros(1)), 2, 0).values) / (2 * np.pi)
    seen = split(lumped)
    assert pair == pytest.approx([seen.low, seen.high], rel=1e-9)
    assert (pair**2).sum() == pytest.approx(seen.closed**2 + seen.hole**2, rel=1e-9)
    assert pair.prod() == pytest.approx(seen.in_vacuo * seen.hole, rel=1e-9)


def test_three_oscillators_are_near_the_lowest_modes(small: BoxModel) -> None:
    """They lack what moves beside: the hole's mode comes out within 5 %, common practice, no source."""
    values = BoxValues(held=True)
    full = solve_box(small, values).frequencies[0]
    assert coupled(lumped_of(small, values)).frequencies[0] == pytest.approx(full, rel=0.05)


def test_names(small: BoxModel) -> None:
    modes = solve_box(small)
    names = [one.name for one in box_names(small, modes)]
    assert names[0] == "hole air"
    assert "main top" in names
    assert "main back" in names
    assert len(set(names)) == len(names)
    assert "hole air" not in [one.name for one in box_names(small, solve_box(small, BoxValues(hole_blocked=True)))]


def test_deeper_and_warmer(small: BoxModel) -> None:
    """More air lowers the hole's mode; warmer air raises the cavity's by its speed of sound."""
    drawn = solve_box(small).frequencies[0]
    more, less = (solve_box(small, BoxValues(volume=v)).frequencies[0] for v in (1.2, 0.8))
    assert more < drawn < less
    assert solve_box(small, BoxValues(hole_mass=1.2)).frequencies[0] < drawn
    m = [box_matrices(small, BoxValues(temperature=t)) for t in (20.0, 30.0)]
    at = slice(small.parts["cavity"].start, None)
    assert np.diag(m[1].K)[at] / np.diag(m[0].K)[at] == pytest.approx((m[1].gas.speed / m[0].gas.speed) ** 2, rel=1e-9)


@pytest.mark.parametrize("held", [False, True])
def test_two_holes_sound_as_in_stiff_walls(held):
    """What goes in at one hole and out at the other is no mode; the lowest is that of the air's own solution."""
    holes = tuple(Hole(np.array([0.30, y]), np.array([0.02, 0.02])) for y in (0.08, 0.22))
    stiff = Plate(WOOD, 40e-3)
    top = Design(rectangle(0.4, 0.3), stiff, holes=holes, bridge_point=(0.16, 0.14))
    sides = Sides(WOOD, 20e-3, np.array([[0.0, 0.1], [0.4, 0.09]]))
    box = Box(sides, Design(rectangle(0.4, 0.3), stiff), held=held, neck_mass=20.0)
    model = closed_box(top, box, WOODS, {}, size=100e-3, what_if=False)
    found = solve_box(model, n_modes=3).frequencies
    assert found[0] == pytest.approx(helmholtz(model.air).frequency, rel=0.02)
    assert lumped_of(model).hole is not None
    assert found[1] > 1.5 * found[0]
