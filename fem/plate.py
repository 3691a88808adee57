"""Strain operators and assembly of the shear-deformable plate in scikit-fem's triangles.

Unknown f of node i has the number 5 i + f; fields u, v, w, beta_x, beta_y. All fields are of equal order, cubic
or higher, integrated in full: no shear locking for tops (see tests/rates).
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
from scipy import sparse
from skfem import Basis, ElementTriP1, ElementTriP2, ElementTriP3, ElementTriP4

from bracedtop.fem.footprint import Points
from bracedtop.fem.sampling import Group
from bracedtop.geometry.mesh import TopMesh

ELEMENTS = {1: ElementTriP1, 2: ElementTriP2, 3: ElementTriP3, 4: ElementTriP4}
N_FIELDS = 5
_CHUNK = 2048


@dataclass(frozen=True, slots=True)
class Space:
    """The finite-element space of one field.

    Parameters
    ----------
    basis : skfem.Basis
        On the curved triangles; rule exact for the mass of straight ones.
    order : int
    """

    basis: Basis
    order: int

    @property
    def n_nodes(self) -> int:
        """Number of unknowns of one field."""
        return int(self.basis.N)

    @property
    def dofs(self) -> np.ndarray:
        """Nodes of each triangle, (n_elements, n_local)."""
        return np.asarray(self.basis.element_dofs.T)


def plate_space(mesh: TopMesh, order: int) -> Space:
    """Space of Lagrange triangles of the given order, 1 to 4, on a mesh."""
    return Space(Basis(mesh.curved, ELEMENTS[order](), intorder=2 * order), order)


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


def strain_operator(values: np.ndarray, gradients: np.ndarray) -> np.ndarray:
    """Generalised strains of a triangle's unknowns at its points, (n, 9, 5 n_local).

    Parameters
    ----------
    values : (n, n_local) array
    gradients : (n, 2, n_local) array, 1/m

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
    return B.reshape(n, 9, n_local * N_FIELDS)


@dataclass(frozen=True, slots=True)
class Pattern:
    """Places of the 5 x 5 blocks of a matrix, and where each pair of a triangle's nodes goes.

    Parameters
    ----------
    indptr, indices : int arrays
        Block rows, compressed.
    place : (n_elements, n_local, n_local) int array
    """

    indptr: np.ndarray
    indices: np.ndarray
    place: np.ndarray


def block_pattern(space: Space) -> Pattern:
    """Sparsity of stiffness and mass."""
    dofs, n = space.dofs, space.n_nodes
    n_local = dofs.shape[1]
    key = (dofs[:, :, None] * n + dofs[:, None, :]).ravel()
    unique, place = np.unique(key, return_inverse=True)
    indptr = np.searchsorted(unique, np.arange(n + 1) * n)
    return Pattern(indptr, unique % n, place.reshape(-1, n_local, n_local))


def assemble(space: Space, groups: Iterable[Group]) -> tuple[sparse.csc_matrix, sparse.csc_matrix]:
    """Stiffness and consistent mass of all groups, (5 n_nodes, 5 n_nodes) each, N/m and kg."""
    pattern = block_pattern(space)
    n_local = space.dofs.shape[1]
    n_elements = len(space.dofs)
    K = np.zeros((n_elements, N_FIELDS * n_local, N_FIELDS * n_local))
    S = np.zeros((3, n_elements, n_local, n_local))
    for group in groups:
        for elements, counts, part in _by_element(group):
            values, gradients = shape_functions(space, part.points)
            B = strain_operator(values, gradients)
            CB = (part.stiffness * part.points.weight[:, None, None]) @ B
            for at, n_points in _equal_counts(counts):
                m = len(at) // n_points
                B_e = B[at].reshape(m, n_points * 9, -1)
                K[elements[counts == n_points]] += B_e.transpose(0, 2, 1) @ CB[at].reshape(m, n_points * 9, -1)
                N_e = values[at].reshape(m, n_points, n_local)
                for k in range(3):
                    weight = (part.mass[at, k] * part.points.weight[at]).reshape(m, n_points, 1)
                    S[k, elements[counts == n_points]] += N_e.transpose(0, 2, 1) @ (weight * N_e)
    blocks = K.reshape(n_elements, n_local, N_FIELDS, n_local, N_FIELDS).transpose(0, 1, 3, 2, 4)
    M = np.zeros(blocks.shape)
    for field in range(3):
        M[..., field, field] = S[0]
    for turn, shift in ((3, 0), (4, 1)):
        M[..., turn, turn] = S[2]
        M[..., turn, shift] = M[..., shift, turn] = S[1]
    return _matrix(space, pattern, blocks), _matrix(space, pattern, M)


def strains(space: Space, points: Points, shapes: np.ndarray) -> np.ndarray:
    """Generalised strains of modes at points, (n_modes, n, 9).

    Parameters
    ----------
    shapes : (n_modes, n_nodes, 5) array, m and rad
    """
    values, gradients = shape_functions(space, points)
    local = shapes[:, space.dofs[points.element]]
    flat = local.reshape(len(shapes), len(points.element), -1)
    return np.asarray(np.einsum("pij,mpj->mpi", strain_operator(values, gradients), flat, optimize=True))


def displacements(space: Space, points: Points, shapes: np.ndarray) -> np.ndarray:
    """The five fields of modes at points, (n_modes, n, 5)."""
    values, _ = shape_functions(space, points)
    return np.asarray(np.einsum("pj,mpjf->mpf", values, shapes[:, space.dofs[points.element]], optimize=True))


def _matrix(space: Space, pattern: Pattern, blocks: np.ndarray) -> sparse.csc_matrix:
    n_blocks = len(pattern.indices)
    flat = blocks.reshape(-1, N_FIELDS * N_FIELDS)
    gather = sparse.csr_matrix(
        (np.ones(flat.shape[0]), (pattern.place.ravel(), np.arange(flat.shape[0]))), shape=(n_blocks, flat.shape[0])
    )
    data = (gather @ flat).reshape(n_blocks, N_FIELDS, N_FIELDS)
    size = N_FIELDS * space.n_nodes
    rows = sparse.bsr_matrix((data, pattern.indices, pattern.indptr), shape=(size, size)).tocsr()
    # Where nothing is eccentric, stretching and bending do not meet: two thirds of a block are exactly zero.
    rows.eliminate_zeros()
    # Symmetric, so the compressed rows are the compressed columns.
    return sparse.csc_matrix((rows.data, rows.indices, rows.indptr), shape=rows.shape)


def _by_element(group: Group) -> Iterator[tuple[np.ndarray, np.ndarray, Group]]:
    """Pieces of a group of bounded size, sorted by element: elements, points in each, the piece."""
    order = np.argsort(group.points.element, kind="stable")
    elements, counts = np.unique(group.points.element, return_counts=True)
    ends = np.cumsum(counts)
    start = 0
    while start < len(elements):
        base = ends[start - 1] if start else 0
        stop = max(int(np.searchsorted(ends, base + _CHUNK, side="right")), start + 1)
        at = order[base : ends[stop - 1]]
        points = Points(group.points.element[at], group.points.local[:, at], group.points.weight[at])
        yield elements[start:stop], counts[start:stop], Group(group.part, points, group.stiffness[at], group.mass[at])
        start = stop


def _equal_counts(counts: np.ndarray) -> Iterator[tuple[np.ndarray, int]]:
    """Point indices of the elements that hold an equal number of points, and that number."""
    owner = np.repeat(np.arange(len(counts)), counts)
    for n_points in np.unique(counts):
        yield np.flatnonzero((counts == n_points)[owner]), int(n_points)
