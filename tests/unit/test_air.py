"""The air in a closed box."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from reference.air_boxes import WOOD, closed, cuboid, drum, guitar

from bracedtop.fem.air import at_back, at_top, build_air, mid_plane
from bracedtop.fem.air_field import applied
from bracedtop.fem.gas import air_gas
from bracedtop.fem.helmholtz import helmholtz
from bracedtop.fem.hole_air import hole_resistance
from bracedtop.geometry.box import Block, Lining
from bracedtop.geometry.brace import Brace
from bracedtop.geometry.dome import Dome
from bracedtop.geometry.errors import DesignError, MeshError
from bracedtop.geometry.outline import Hole, rectangle
from bracedtop.geometry.patch import Patch

LOW = 900.0
"""Highest frequency of boxes whose modes are not looked at, for speed."""


def test_uniform_pressure_and_compliance() -> None:
    air = build_air(*guitar(), highest=LOW)
    stiffness = air.density * air.speed**2
    assert air.frequencies[0] == 0
    assert (np.diff(air.frequencies) >= 0).all()
    assert air.frequencies[air.n_resonant - 1] < LOW <= air.frequencies[air.n_resonant]
    for pressures in (air.top, air.back, air.middle):
        assert pressures[:, 0] == pytest.approx(np.sqrt(stiffness / air.volume), rel=1e-6)
    assert air.at_holes[:, 0] == pytest.approx(air.hole_area * np.sqrt(stiffness / air.volume), rel=1e-4)


def test_scaled_to_unit_compliance() -> None:
    sides = (0.48, 0.37, 0.10)
    air = build_air(*cuboid(*sides), highest=LOW)
    # Of cos(pi x / L): the mean square is a half, whatever the sign.
    expected = np.sqrt(2 * air.density * air.speed**2 / np.prod(sides))
    xy = np.array([[0.0, 0.1], [0.24, 0.2], [0.12, 0.3]])
    found = at_top(air, xy)[:, 1] * np.sign(at_top(air, xy)[0, 1])
    assert found == pytest.approx(expected * np.cos(np.pi * xy[:, 0] / sides[0]), rel=2e-3, abs=1e-3 * expected)


@pytest.mark.parametrize("order", [2, 4, 6, 8])
def test_mass_that_a_bending_plate_feels(order: int) -> None:
    """Air moved by cos(k x) on the top of a rigid box: density coth(k d) / k per area, exactly."""
    sides = (0.48, 0.37, 0.10)
    air = build_air(*cuboid(*sides))
    k = order * np.pi / sides[0]
    x, w = np.polynomial.legendre.leggauss(40)
    X, Y = np.meshgrid(sides[0] * (x + 1) / 2, sides[1] * (x + 1) / 2, indexing="ij")
    weight = (np.outer(w, w) * sides[0] * sides[1] / 4).ravel()
    xy = np.column_stack([X.ravel(), Y.ravel()])
    C = (weight * np.cos(k * xy[:, 0])) @ at_top(air, xy)
    mass = ((C[1:] / (2 * np.pi * air.frequencies[1:])) ** 2).sum()
    exact = air.density / (k * np.tanh(k * sides[2])) * sides[0] * sides[1] / 2
    assert mass == pytest.approx(exact, rel=3e-3)
    # Through the box to the back: 1 / sinh instead of 1 / tanh.
    B = (weight * np.cos(k * xy[:, 0])) @ at_back(air, xy)
    through = (B[1:] * C[1:] / (2 * np.pi * air.frequencies[1:]) ** 2).sum()
    across = air.density / (k * np.sinh(k * sides[2])) * sides[0] * sides[1] / 2
    assert through == pytest.approx(across, abs=3e-3 * exact)


def test_volume_of_flat_and_domed_boxes() -> None:
    radius, depth, curvature = 0.2, 0.1, 3.0
    flat = build_air(*drum(radius, depth), highest=LOW)
    # Quadratic sides as long as a radius.
    assert flat.volume == pytest.approx(np.pi * radius**2 * depth, rel=3e-4)
    outline = Hole((0.0, 0.0), (radius, radius)).outline(720)
    domed = build_air(*closed(outline, [[0.0, depth], [0.1, depth]], dome=Dome(curvature, curvature)), highest=LOW)
    # The rim of a round dome is level: the whole cap lies above it.
    cap = np.pi * radius**4 / (4 * curvature)
    assert domed.volume - flat.volume == pytest.approx(cap, rel=2e-3)


def test_wood_takes_air_away() -> None:
    brace = Brace("bar", WOOD, np.array([[0.1, 0.05], [0.1, 0.32]]), 8e-3, np.array([[0.0, 12e-3], [0.27, 12e-3]]))
    lining = Lining("back", WOOD, 6e-3, 14e-3, kerf_pitch=5e-3, kerf_width=1e-3, kerf_depth=5e-3)
    block = Block("tail", WOOD, 0.03, 0.08)
    outline, stations = rectangle((0.24, 0.185), (0.48, 0.37)), [[0.0, 0.1], [0.48, 0.1]]
    outline = replace(outline, points=outline.points - [0.0, 0.185])
    brace = replace(brace, path=brace.path - [0.0, 0.185])
    plain = build_air(*closed(outline, stations), highest=LOW)
    full = build_air(*closed(outline, stations, braces=(brace,), linings=(lining,), blocks=(block,)), highest=LOW)
    kerfed = 1 - 1e-3 * 5e-3 / (5e-3 * 6e-3)
    rim = 2 * (0.48 + 0.37) - 8 * 3e-3
    taken = 0.27 * 8e-3 * 12e-3 + kerfed * 6e-3 * 14e-3 * (rim - 0.08) + 0.03 * 0.08 * 0.1
    assert plain.volume - full.volume == pytest.approx(taken, rel=0.01)


def test_pressure_on_the_faces() -> None:
    air = build_air(*guitar(), highest=LOW)
    over_block, free = np.array([[0.01, 0.0], [0.47, 0.02]]), np.array([[0.2, 0.1], [0.3, 0.0]])
    assert (at_top(air, over_block) == 0).all()
    assert (at_back(air, free)[:, 0] > 0).all()
    with pytest.raises(MeshError):
        at_top(air, np.array([[0.2, 0.5]]))


def test_mid_plane() -> None:
    air = build_air(*guitar(), highest=LOW)
    xy, triangles, values = mid_plane(air)
    assert values.shape == (len(xy), len(air.frequencies))
    assert triangles.max() < len(xy)
    # The lowest mode sloshes along the box.
    low, high = xy[:, 0] < 0.1, xy[:, 0] > 0.42
    assert (values[low, 1] * values[high, 1].mean() < 0).all()


def test_mirrored_box() -> None:
    design, box = closed(
        Hole((0.2, 0.03), (0.2, 0.15)).outline(720),
        [[0.0, 0.1], [0.4, 0.08]],
        holes=(Hole((0.25, 0.05), (0.04, 0.04)),),
    )
    mirrored = closed(
        Hole((0.2, -0.03), (0.2, 0.15)).outline(720),
        [[0.0, 0.1], [0.4, 0.08]],
        holes=(Hole((0.25, -0.05), (0.04, 0.04)),),
    )
    one, other = build_air(design, box, highest=LOW), build_air(*mirrored, highest=LOW)
    n = one.n_resonant
    assert one.frequencies[:n] == pytest.approx(other.frequencies[:n], rel=3e-4)
    assert helmholtz(one).frequency == pytest.approx(helmholtz(other).frequency, rel=1e-3)


@hypothesis_settings(max_examples=3)
@given(st.floats(0.5, 2.0))
def test_scaled_box(scale: float) -> None:
    def made(s: float) -> np.ndarray:
        box = cuboid(0.4 * s, 0.3 * s, 0.09 * s, Hole((0.25 * s, 0.16 * s), (0.04 * s, 0.03 * s)), thickness=3e-3 * s)
        air = build_air(*box, highest=1200.0 / s)
        return np.append(air.frequencies[1:8], helmholtz(air).frequency)

    assert made(scale) * scale == pytest.approx(made(1.0), rel=1e-3)


def test_two_holes() -> None:
    # Far apart in a large box, two holes move twice the air of one on the same spring.
    pair = (Hole((0.4, 0.3), (0.03, 0.03)), Hole((0.8, 0.7), (0.03, 0.03)))
    one = helmholtz(build_air(*cuboid(1.2, 1.0, 0.9, pair[0]), highest=400.0))
    two = build_air(*cuboid(1.2, 1.0, 0.9, *pair), highest=400.0)
    assert helmholtz(two).frequency == pytest.approx(np.sqrt(2) * one.frequency, rel=0.03)
    apart = np.hypot(0.4, 0.4)
    shared = two.density * (np.pi * 0.03**2) ** 2 / (2 * np.pi * apart)
    assert two.holes.mass == pytest.approx(np.diag(two.hole_mass) + shared * (1 - np.eye(2)))


def test_reinforcement_makes_the_edge_thicker() -> None:
    design, box = cuboid(0.48, 0.37, 0.1, Hole((0.3, 0.2), (0.045, 0.045)))
    ring = Patch("ring", WOOD, Hole((0.3, 0.2), (0.055, 0.055)).outline(90), 2e-3)
    bare = build_air(design, box, highest=LOW)
    thick = build_air(replace(design, patches=(ring,)), box, highest=LOW)
    assert thick.holes.thickness - bare.holes.thickness == pytest.approx(2e-3)
    assert helmholtz(thick).frequency < helmholtz(bare).frequency


def test_losses() -> None:
    air = build_air(*guitar())
    # Boundary layer alone: a cavity's Q is near its size over the layer, hundreds; Jansson (1973) measured a third.
    assert (air.loss > 1e-3).all()
    assert (air.loss[: air.n_resonant] < 0.02).all()
    # Uniform pressure: (gamma - 1) thermal layer times walls over volume, halved and times three.
    field = air.field
    layer = np.sqrt(2 * air.gas.viscosity / (air.density * 2 * np.pi * 100.0 * air.gas.prandtl))
    rim = field.cavity.design.outline.polygon.difference(field.cavity.blocks).length
    walls = 2 * field.area + 0.1 * rim
    assert air.loss[0] == pytest.approx(3 * 0.4 * layer * walls / (2 * air.volume), rel=0.03)


def test_friction_in_the_hole() -> None:
    air = build_air(*guitar(), highest=LOW)
    resistance = hole_resistance(air.holes, air.gas, 120.0)
    moving = air.hole_mass + air.density * air.hole_area * helmholtz(air).inside
    # Friction alone leaves a Q near 200 at 120 Hz; sound and walls take the rest.
    assert 100 < (2 * np.pi * 120.0 * moving / resistance)[0] < 400
    assert hole_resistance(air.holes, air.gas, 480.0) == pytest.approx(2 * resistance)


def test_matrices_of_a_sloping_cavity() -> None:
    """Stiffness of a linear pressure is the volume, whatever the shape: grad p = (1, 0, 0) and (0, 0, 1)."""
    air = build_air(*guitar(dome=Dome(2.0, 2.0, (0.2, 0.0))), highest=LOW)
    field = air.field
    xy = field.space.basis.doflocs.T
    depth, bottom = field.cavity.faces(xy)
    z = bottom[:, None] + depth[:, None] * field.heights.nodes
    along = np.repeat(xy[:, :1], len(field.heights.nodes), axis=1)
    for p in (along, z):
        assert (p * applied(field.stiffness, p)).sum() == pytest.approx(field.volume, rel=2e-3)
    assert abs((along * applied(field.stiffness, z)).sum()) < 2e-3 * field.volume
    assert np.abs(applied(field.stiffness, np.ones_like(z))).max() < 1e-10


def test_impossible_boxes() -> None:
    design, box = guitar()
    under = replace(box, blocks=(Block("neck", WOOD, 0.12, 0.07),))
    with pytest.raises(DesignError, match="hole 1 does not lie wholly over the air"):
        build_air(design, under, highest=LOW)
    with pytest.raises(DesignError, match="blocks fill the whole box"):
        build_air(replace(design, holes=()), replace(box, blocks=(Block("neck", WOOD, 1.0, 1.0),)), highest=LOW)
    hollow = replace(box.back, plate=replace(box.back.plate, dome=Dome(0.1, 0.05)))
    assert build_air(replace(design, holes=()), replace(box, back=hollow), highest=LOW).volume > 0
    with pytest.raises(DesignError, match="temperature"):
        build_air(design, replace(box, temperature=99.0), highest=LOW)
    with pytest.raises(DesignError, match="no sound hole"):
        helmholtz(build_air(replace(design, holes=()), box, highest=LOW))


def test_warm_air() -> None:
    design, box = guitar()
    cold, warm = (build_air(design, box, highest=LOW, gas=air_gas(t)) for t in (10.0, 30.0))
    ratio = warm.speed / cold.speed
    assert warm.frequencies[1] / cold.frequencies[1] == pytest.approx(ratio, rel=1e-4)
    assert helmholtz(warm).frequency / helmholtz(cold).frequency == pytest.approx(ratio, rel=1e-4)
