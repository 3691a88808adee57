"""The dome's surface, its strains and its rigid motions."""

from dataclasses import replace

import meshio
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reference.plates import rectangle
from skfem import Basis, ElementTriP3, MeshTri

from bracedtop.fem.modes import rigid_motions
from bracedtop.fem.shell import membrane_rows
from bracedtop.geometry.design import Design, Plate
from bracedtop.geometry.dome import Dome
from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.layout import check_layout
from bracedtop.geometry.mesh import mesh_top, write_mesh

radii = st.one_of(st.floats(0.5, 50), st.just(np.inf))
crowns = st.tuples(st.floats(-0.5, 0.5), st.floats(-0.5, 0.5))


@settings(deadline=None)
@given(radii, radii, crowns, st.tuples(st.floats(-0.5, 0.5), st.floats(-0.5, 0.5)))
def test_slope_is_the_derivative_of_the_height(along, across, crown, place):
    dome = Dome(along, across, crown)
    xy, step = np.array([place]), 1e-4
    steps = step * np.eye(2)
    # Central differences are exact for a paraboloid.
    by_differences = [(dome.height(xy + e) - dome.height(xy - e)) / (2 * step) for e in steps]
    np.testing.assert_allclose(dome.slope(xy)[0], np.ravel(by_differences), atol=1e-9)
    np.testing.assert_allclose(dome.height(np.array([crown])), 0.0)


def test_shallow_dome_is_near_the_sphere():
    dome = Dome(7.6, 7.6, (0.1, 0.0))
    r = np.array([0.05, 0.2])
    sphere = np.sqrt(7.6**2 - r**2) - 7.6
    np.testing.assert_allclose(dome.height(np.column_stack([0.1 + r, 0 * r])), sphere, rtol=2e-4)


@settings(max_examples=20, deadline=None)
@given(radii, radii, crowns)
def test_rigid_motions_strain_nothing(along, across, crown):
    """Zero membrane strain, transverse shear and curvature to rounding, in any combination of radii."""
    dome = Dome(along, across, crown)
    basis = Basis(MeshTri().refined(2), ElementTriP3(), intorder=4)
    xy = basis.doflocs
    motions = rigid_motions(xy, dome.height(xy.T)).reshape(-1, 5, 6)
    dofs = basis.element_dofs.T
    points = np.asarray(basis.mapping.F(basis.X))
    for q in range(basis.X.shape[1]):
        values = np.stack([np.asarray(b[0])[:, q] for b in basis.basis], axis=-1)
        gradients = np.stack([np.asarray(b[0].grad)[:, :, q].T for b in basis.basis], axis=-1)
        u, v, w, bx, by = (np.moveaxis(motions[dofs, f], 1, -1) for f in range(5))
        dx, dy = gradients[:, None, 0], gradients[:, None, 1]
        rows = membrane_rows(gradients, dome.slope(points[:, :, q].T))
        bent = np.einsum("nij,nmj->nmi", rows, w)
        xx = (u * dx).sum(axis=-1) + bent[..., 0]
        yy = (v * dy).sum(axis=-1) + bent[..., 1]
        xy_ = (u * dy + v * dx).sum(axis=-1) + bent[..., 2]
        shear = (w * dx + bx * values[:, None]).sum(axis=-1), (w * dy + by * values[:, None]).sum(axis=-1)
        curvature = (bx * dx).sum(axis=-1), (by * dy).sum(axis=-1), (bx * dy + by * dx).sum(axis=-1)
        for strain in (xx, yy, xy_, *shear, *curvature):
            np.testing.assert_allclose(strain, 0.0, atol=1e-12 * 40)


def test_flat_motions_are_those_of_a_dome_of_infinite_radius():
    xy = np.random.default_rng(3).random((2, 7))
    flat = Dome(np.inf, np.inf)
    assert flat.is_flat
    np.testing.assert_array_equal(rigid_motions(xy, flat.height(xy.T)), rigid_motions(xy))
    np.testing.assert_array_equal(flat.slope(xy.T), 0.0)


@pytest.mark.parametrize("radius", [0.0, -1.0, np.nan])
def test_radius_has_to_be_positive(radius):
    with pytest.raises(DesignError, match="must be > 0"):
        Dome(radius, 1.0)


def test_steep_domes_are_refused():
    flat = Design(rectangle(0.4, 0.3), Plate("wood", 2.8e-3))

    def domed(*dome):
        return replace(flat, plate=replace(flat.plate, dome=Dome(*dome)))

    check_layout(domed(0.3, 0.3, (0.2, 0.15)))
    # A rise of a fifth of 0.3 m about the middle needs a radius of 0.15^2 / (2 * 0.06) = 0.1875 m.
    check_layout(domed(np.inf, 0.19, (0.2, 0.15)))
    with pytest.raises(DesignError, match=r"radius 185 mm across with its crown at .* the dome has to be shallow"):
        check_layout(domed(np.inf, 0.185, (0.2, 0.15)))
    with pytest.raises(DesignError, match="radius 500 mm along"):
        check_layout(domed(0.5, np.inf, (0.0, 0.15)))


def test_mesh_file_is_domed(tmp_path):
    design = Design(rectangle(0.4, 0.3), Plate("wood", 2.8e-3, dome=Dome(4.0, 3.0, (0.2, 0.15))))
    mesh = mesh_top(design, 0.1)
    write_mesh(mesh, tmp_path / "mesh.vtu", design.plate.dome)
    points = meshio.read(tmp_path / "mesh.vtu").points
    expected = -((points[:, 0] - 0.2) ** 2) / 8 - (points[:, 1] - 0.15) ** 2 / 6
    np.testing.assert_allclose(points[:, 2], expected, atol=1e-12)
