"""Fields and strain operators of the shear-deformable plate in scikit-fem's triangles.

Depends on fem/footprint, fem/shell, geometry/dome, geometry/mesh. Unknown f of node i has the number 5 i + f; fields
u, v, w, beta_x, beta_y. All fields are of equal order, cubic or higher, integrated in full: no shear locking for tops
(see tests/rates).
"""

from dataclasses import dataclass

import numpy as np
from skfem import Basis, ElementTriP1, ElementTriP2, ElementTriP3, ElementTriP4

from bracedtop.fem.footprint import Points
from bracedtop.fem.shell import membrane_rows
from bracedtop.geometry.dome import Dome
from bracedtop.geometry.mesh import TopMesh

ELEMENTS = {1: ElementTriP1, 2: ElementTriP2, 3: ElementTriP3, 4: ElementTriP4}
N_FIELDS = 5


@dataclass(frozen=True, slots=True)
class Space:
    """The finite-element space of one field.

    Parameters
    ----------
    basis : skfem.Basis
        On the curved triangles; rule exact for the mass of straight ones.
    order : int
    dome : Dome or None
        Shape of the middle surface; None for a flat top.
    """

    basis: Basis
    order: int
    dome: Dome | None = None

    @property
    def n_nodes(self) -> int:
        """Number of unknowns of one field."""
        return int(self.basis.N)

    @property
    def dofs(self) -> np.ndarray:
        """Nodes of each triangle, (n_elements, n_local)."""
        return np.asarray(self.basis.element_dofs.T)


def plate_space(mesh: TopMesh, order: int, dome: Dome | None = None) -> Space:
    """Space of Lagrange triangles of the given order, 1 to 4, on a mesh."""
    basis = Basis(mesh.curved, ELEMENTS[order](), intorder=2 * order)
    return Space(basis, order, None if dome is None or dome.is_flat else dome)


def own_points(space: Space) -> tuple[Points, np.ndarray]:
    """The triangles' own integration points, element by element, and their number in each triangle."""
    X, dx = space.basis.X, space.basis.dx
    n_elements, n_points = dx.shape
    element = np.repeat(np.arange(n_elements), n_points)
    return Points(element, np.tile(X, n_elements), dx.ravel()), np.full(n_elements, n_points)


def shape_functions(space: Space, points: Points) -> tuple[np.ndarray, np.ndarray]:
    """Values (n, n_local) and gradients (n, 2, n_local) of a triangle's functions at its points."""
    mapping = space.basis.mapping
    X = points.local[:, :, None]
    fields = [space.basis.elem.gbasis(mapping, X, i, points.element)[0] for i in range(space.dofs.shape[1])]
    values = np.stack([np.asarray(f)[:, 0] for f in fields], axis=-1)
    gradients = np.stack([np.asarray(f.grad)[:, :, 0].T for f in fields], axis=-1)
    return values, gradients


def slopes(space: Space, points: Points) -> np.ndarray | None:
    """Slope of the dome at points, (n, 2); None for a flat top."""
    if space.dome is None:
        return None
    xy = space.basis.mapping.F(points.local[:, :, None], points.element)[:, :, 0].T
    return space.dome.slope(xy)


def strain_operator(values: np.ndarray, gradients: np.ndarray, slope: np.ndarray | None = None) -> np.ndarray:
    """Generalised strains of a triangle's unknowns at its points, (n, 9, 5 n_local).

    Parameters
    ----------
    values : (n, n_local) array
    gradients : (n, 2, n_local) array, 1/m
    slope : (n, 2) array, optional
        Of a dome.

    References
    ----------
    J. N. Reddy, Theory and Analysis of Elastic Plates and Shells, 2nd ed. (2007), eq. 10.1.5.
    """
    n, n_local = values.shape
    dx, dy = gradients[:, 0], gradients[:, 1]
    B = np.zeros((n, 9, n_local, N_FIELDS))
    B[:, 0, :, 0] = B[:, 2, :, 1] = B[:, 3, :, 3] = B[:, 5, :, 4] = B[:, 6, :, 2] = dx
    B[:, 1, :, 1] = B[:, 2, :, 0] = B[:, 4, :, 4] = B[:, 5, :, 3] = B[:, 7, :, 2] = dy
    B[:, 6, :, 3] = B[:, 7, :, 4] = values
    B[:, 8, :, 3], B[:, 8, :, 4] = -dy, dx
    if slope is not None:
        B[:, :3, :, 2] = membrane_rows(gradients, slope)
    return B.reshape(n, 9, n_local * N_FIELDS)


def strains(space: Space, points: Points, shapes: np.ndarray) -> np.ndarray:
    """Generalised strains of the plate in modes at points, (n_modes, n, 9).

    Parameters
    ----------
    shapes : (n_modes, n_nodes, 5) array, m and rad
    """
    B = strain_operator(*shape_functions(space, points), slopes(space, points))
    flat = shapes[:, space.dofs[points.element]].reshape(len(shapes), len(points.element), -1)
    return np.asarray(np.einsum("pij,mpj->mpi", B, flat, optimize=True))


def displacements(space: Space, points: Points, shapes: np.ndarray) -> np.ndarray:
    """The five fields of modes at points, (n_modes, n, 5)."""
    values, _ = shape_functions(space, points)
    return np.asarray(np.einsum("pj,mpjf->mpf", values, shapes[:, space.dofs[points.element]], optimize=True))
