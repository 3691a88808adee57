"""A hinged rim without corners has none on a coarse mesh either: there the plate would be clamped at single points."""

import numpy as np
import pytest

from bracedtop.fem.boundary import _rim_nodes, rim_facets
from bracedtop.fem.model import build_model, solve
from bracedtop.fem.plate import plate_space
from bracedtop.fem.wood_table import handbook_wood
from bracedtop.geometry.design import Design, Edge, Plate
from bracedtop.geometry.mesh import mesh_top
from bracedtop.geometry.outline import body_outline


def waisted() -> Design:
    outline = body_outline(0.48, 0.372, 0.125, 0.232, 0.288, 0.276, 0.398)
    return Design(outline, Plate("spruce_sitka", 2.8e-3), edge=Edge("hinged"))


@pytest.mark.parametrize("size", [30e-3, 22e-3, 19e-3, 15e-3])
def test_a_waisted_body_has_no_corners(size: float) -> None:
    mesh = mesh_top(waisted(), size)
    space = plate_space(mesh, 3, None)
    _, _, corner = _rim_nodes(space, rim_facets(mesh, None))
    assert not corner.any()


def test_hinged_modes_do_not_step_with_the_mesh() -> None:
    woods = {"spruce_sitka": handbook_wood("spruce_sitka")}
    coarse, fine = (solve(build_model(waisted(), woods, size=size), 6).frequencies for size in (24e-3, 15e-3))
    np.testing.assert_allclose(coarse, fine, rtol=4e-3)
