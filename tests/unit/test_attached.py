"""Masses on the top: their weight, their moments, and where they may sit."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reference.plates import rectangle

from bracedtop.fem.attached import mass_groups
from bracedtop.fem.locate import Locator
from bracedtop.geometry.design import Design, Plate
from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.layout import check_layout
from bracedtop.geometry.mass import PointMass
from bracedtop.geometry.mesh import mesh_top
from bracedtop.geometry.outline import Hole
from bracedtop.geometry.thickness import ThicknessGrid

TOP = Design(rectangle(0.4, 0.3), Plate("wood", 2.8e-3), holes=(Hole([0.3, 0.15], [0.04, 0.04]),))
LOCATOR = Locator.from_mesh(mesh_top(TOP, 0.05))


@settings(max_examples=40, deadline=None)
@given(st.floats(1e-4, 0.1), st.floats(0.05, 0.2), st.floats(0.05, 0.25), st.floats(1e-3, 0.05), st.floats(-0.02, 0.02))
def test_mass_moment_and_centre_are_those_of_a_point_at_its_height(mass, x, y, diameter, height):
    design = replace(TOP, masses=(PointMass("m", mass, (x, y), diameter, height),))
    (group,) = mass_groups(design, LOCATOR)
    assert group.part == "mass m"
    assert not group.stiffness.any()
    weighted = group.mass * group.points.weight[:, None]
    z = 1.4e-3 + height
    np.testing.assert_allclose(weighted.sum(axis=0), mass * np.array([1, z, z * z]), rtol=1e-9, atol=1e-18)
    xy = LOCATOR.positions(group.points.element, group.points.local)
    np.testing.assert_allclose(weighted[:, 0] @ xy / mass, [x, y], atol=1e-9)
    # A disc's second moment about its centre is m d^2 / 8 (both axes); the polygon has 48 corners.
    spread = weighted[:, 0] @ ((xy - [x, y]) ** 2).sum(axis=1)
    np.testing.assert_allclose(spread, mass * diameter**2 / 8, rtol=3e-3)


def test_height_counts_from_the_outside_face_where_the_top_is_graduated():
    grid = ThicknessGrid(np.array([[0, 0, 2e-3], [0.4, 0, 4e-3], [0, 0.3, 2e-3], [0.4, 0.3, 4e-3]]))
    mass = PointMass("m", 1e-3, (0.1, 0.1), 4e-3, 5e-3)
    (group,) = mass_groups(replace(TOP, plate=replace(TOP.plate, grid=grid), masses=(mass,)), LOCATOR)
    z = group.mass[:, 1] / group.mass[:, 0]
    # 2.5 mm thick there, on an inside face 1.4 mm below the reference plane.
    np.testing.assert_allclose(z.mean(), 5e-3 + 2.5e-3 - 1.4e-3, atol=1e-5)


@pytest.mark.parametrize(
    ("masses", "expected"),
    [
        ([PointMass("m", 1e-3, (0.5, 0.1))], 'mass "m" at [500.0, 100.0] mm: lies off the top or in a hole'),
        ([PointMass("m", 1e-3, (0.3, 0.15))], "lies off the top or in a hole"),
        ([PointMass("m", 1e-3, (0.01, 0.15), 0.03)], "the diameter must be at most 20.0 mm there"),
        ([PointMass("m", 1e-3, (0.1, 0.1)), PointMass("m", 1e-3, (0.2, 0.1))], 'mass "m": 2 have this name'),
    ],
)
def test_masses_off_the_wood_are_refused(masses, expected):
    with pytest.raises(DesignError) as caught:
        check_layout(replace(TOP, masses=tuple(masses)))
    assert expected in str(caught.value)
    assert len(str(caught.value).splitlines()) == 1


@pytest.mark.parametrize("changes", [{"mass": 0.0}, {"mass": -1e-3}, {"diameter": 0.0}, {"height": np.nan}])
def test_values_of_a_mass_are_checked(changes):
    with pytest.raises(DesignError, match='mass "m": '):
        PointMass(**({"name": "m", "mass": 1e-3, "at": (0.0, 0.0)} | changes))
