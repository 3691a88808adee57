"""Tops that are drawn in two ways and are the same: no frequency may tell them apart."""

from dataclasses import replace

import numpy as np
import pytest
from reference.plates import TRIAL_WOOD, WOOD, rectangle, trial_top

from bracedtop.fem.model import build_model, solve
from bracedtop.fem.modes import rigid_motions
from bracedtop.geometry.design import Design, Edge, Plate
from bracedtop.geometry.dome import Dome
from bracedtop.geometry.mass import PointMass
from bracedtop.geometry.outline import rectangle as turned_rectangle
from bracedtop.geometry.patch import Patch
from bracedtop.geometry.thickness import ThicknessGrid, ThicknessRegion

A, B, H = 0.4, 0.3, 2.8e-3
KINDS = ("free", "clamped", "hinged")


def frequencies(design: Design, n_modes: int = 6) -> np.ndarray:
    return solve(build_model(design, {WOOD: TRIAL_WOOD}, size=0.04), n_modes).frequencies


def plain(kind: str, **changes: object) -> Design:
    return Design(rectangle(A, B), Plate(WOOD, H, **changes), edge=Edge(kind))  # type: ignore[arg-type]


def box(margin: float) -> object:
    return turned_rectangle([A / 2, B / 2], [A - 2 * margin, B - 2 * margin])


@pytest.mark.parametrize("kind", KINDS)
def test_infinite_radius_is_flat_to_the_last_digit(kind: str) -> None:
    top = replace(trial_top(2), edge=Edge(kind))  # type: ignore[arg-type]
    domed = replace(top, plate=replace(top.plate, dome=Dome(np.inf, np.inf, (0.1, 0.1))))
    np.testing.assert_array_equal(frequencies(domed), frequencies(top))


@pytest.mark.parametrize("kind", KINDS)
def test_huge_radius_is_as_good_as_flat(kind: str) -> None:
    top = replace(trial_top(1), edge=Edge(kind))  # type: ignore[arg-type]
    domed = replace(top, plate=replace(top.plate, dome=Dome(1e6, 1e6, (0.1, 0.1))))
    np.testing.assert_allclose(frequencies(domed), frequencies(top), rtol=1e-6)


@pytest.mark.parametrize("kind", KINDS)
def test_ring_is_a_region(kind: str) -> None:
    """An edge ring 20 mm wide, and the whole top thinned with its old thickness inside."""
    ring = plain(kind, ring_width=0.02, ring_reduction=0.6e-3)
    regions = (ThicknessRegion(rectangle(A, B), H - 0.6e-3), ThicknessRegion(box(0.02), H))
    np.testing.assert_allclose(frequencies(plain(kind, regions=regions)), frequencies(ring), rtol=1e-9)


@pytest.mark.parametrize("kind", ["free", "clamped"])
def test_one_thickness_throughout_by_region_or_grid(kind: str) -> None:
    """The reference plane lies elsewhere in the wood, which only a hinge at it could feel."""
    other = 3.4e-3
    expected = frequencies(replace(plain(kind), plate=Plate(WOOD, other)))
    region = plain(kind, regions=(ThicknessRegion(rectangle(A, B), other),))
    corners = np.array([[0, 0], [A, 0], [A, B], [0, B]])
    grid = plain(kind, grid=ThicknessGrid(np.column_stack([corners, np.full(4, other)])))
    np.testing.assert_allclose(frequencies(region), expected, rtol=1e-9)
    np.testing.assert_allclose(frequencies(grid), expected, rtol=1e-9)


def test_a_grid_that_is_linear_does_not_depend_on_its_points() -> None:
    def measured(n: int) -> Design:
        x, y = (g.ravel() for g in np.meshgrid(np.linspace(0, A, n), np.linspace(0, B, n + 1)))
        return plain("free", grid=ThicknessGrid(np.column_stack([x, y, 2e-3 + 3e-3 * x - 1e-3 * y])))

    np.testing.assert_allclose(frequencies(measured(2)), frequencies(measured(7)), rtol=1e-9)


def test_steep_step_of_a_grid_comes_near_a_region() -> None:
    """Wood on one side of a step is held on that side's triangles, whichever way it is drawn."""
    region = plain("clamped", regions=(ThicknessRegion(turned_rectangle([0.1, B / 2], [0.2, B]), 2e-3),))
    rows = [[x, y, 2e-3 if x < 0.2 else H] for x in (0, 0.1995, 0.2005, A) for y in (0, B)]
    grid = plain("clamped", grid=ThicknessGrid(np.array(rows)))
    np.testing.assert_allclose(frequencies(grid), frequencies(region), rtol=5e-3)


def bridge(**changes: object) -> Patch:
    given = {"thickness": 6e-3, "side": "outside", "is_bridge": True} | changes
    return Patch("bridge", WOOD, turned_rectangle([0.15, 0.14], [0.03, 0.16], 0.1), **given)  # type: ignore[arg-type]


def test_level_profile_is_a_plain_patch() -> None:
    level = bridge(profile=np.array([[-0.02, 6e-3], [0.05, 6e-3]]), profile_angle=1.7)
    top = plain("free")
    first, second = (frequencies(replace(top, patches=(patch,))) for patch in (bridge(), level))
    np.testing.assert_allclose(first, second, rtol=1e-12)


def test_profile_weighs_what_it_measures() -> None:
    """Wings from 6 to 2 mm over 40 mm at either end of 160 mm: mean thickness 5 mm, exactly."""
    profile = np.array([[-0.08, 2e-3], [-0.04, 6e-3], [0.04, 6e-3], [0.08, 2e-3]])
    patch = bridge(profile=profile, profile_angle=0.1 + np.pi / 2)
    model = build_model(replace(plain("free"), patches=(patch,)), {WOOD: TRIAL_WOOD}, size=0.02)
    # Kinks inside triangles are not integrated exactly.
    np.testing.assert_allclose(model.mass("patch bridge"), 0.03 * 0.16 * 5e-3 * TRIAL_WOOD.density, rtol=5e-3)


def test_masses_move_with_the_top_as_a_whole() -> None:
    """Rigid-body inertia: mass, first and second moments of a mass at its height (any textbook of mechanics)."""
    top = plain("free")
    mass = PointMass("m", 5e-3, (0.13, 0.21), 2e-3, 8e-3)
    bare, loaded = (build_model(t, {WOOD: TRIAL_WOOD}, size=0.05) for t in (top, replace(top, masses=(mass,))))
    motions = rigid_motions(bare.space.basis.doflocs)
    added = motions.T @ (loaded.M @ motions) - motions.T @ (bare.M @ motions)
    x, y, z = 0.13, 0.21, 8e-3 + H / 2
    velocity = np.array([[1, 0, 0], [0, 1, 0], [0, 0, 1], [-y, x, 0], [-z, 0, x], [0, -z, y]])
    spread = 5e-3 * (1e-3**2 / 4)
    expected = 5e-3 * velocity @ velocity.T + np.diag([0, 0, 0, 2 * spread, spread, spread])
    np.testing.assert_allclose(added, expected, atol=1e-10)
