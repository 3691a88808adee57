"""Stiffness and mass of a top from the points of its parts.

Depends on fem/layer, fem/plate, fem/sampling.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from scipy import sparse

from bracedtop.fem.footprint import Points
from bracedtop.fem.layer import N_OWN, Layer, mass_moments, n_unknowns, own_mass, part_operator
from bracedtop.fem.plate import N_FIELDS, Space
from bracedtop.fem.sampling import Group

_CHUNK = 2048
"""Points looked at together: their operators stay in the processor's cache."""


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
    """Sparsity of the plate's stiffness and mass."""
    dofs, n = space.dofs, space.n_nodes
    n_local = dofs.shape[1]
    key = (dofs[:, :, None] * n + dofs[:, None, :]).ravel()
    unique, place = np.unique(key, return_inverse=True)
    indptr = np.searchsorted(unique, np.arange(n + 1) * n)
    return Pattern(indptr, unique % n, place.reshape(-1, n_local, n_local))


def assemble(
    space: Space, groups: Iterable[Group], layers: Mapping[str, Layer]
) -> tuple[sparse.csc_matrix, sparse.csc_matrix]:
    """Stiffness and consistent mass of all groups, (n_unknowns, n_unknowns) each, N/m and kg."""
    n_elements, n_local = space.dofs.shape
    K = np.zeros((n_elements, n_local, N_FIELDS, n_local, N_FIELDS))
    S = np.zeros((3, n_elements, n_local, n_local))
    K_own = {
        part: np.zeros((len(layer.elements), n_local, N_OWN, n_local, N_FIELDS + N_OWN))
        for part, layer in layers.items()
    }
    S_own = {part: np.zeros((5, len(layer.elements), n_local, n_local)) for part, layer in layers.items()}
    for group in groups:
        for elements, counts, part in _by_element(group):
            B, values = part_operator(space, part)
            CB = (part.stiffness * part.points.weight[:, None, None]) @ B
            plate_mass, layer_mass = (m * part.points.weight[:, None] for m in mass_moments(part))
            n_fields = B.shape[2] // n_local
            for at, n_points in _equal_counts(counts):
                m = len(at) // n_points
                here = elements[counts == n_points]
                B_e = B[at].reshape(m, n_points * B.shape[1], -1).transpose(0, 2, 1)
                K_e = (B_e @ CB[at].reshape(m, n_points * B.shape[1], -1)).reshape(
                    m, n_local, n_fields, n_local, n_fields
                )
                N_e = values[at].reshape(m, n_points, n_local)
                K[here] += K_e[:, :, :N_FIELDS, :, :N_FIELDS]
                for k, weight in enumerate(plate_mass[at].T):
                    S[k, here] += N_e.transpose(0, 2, 1) @ (weight.reshape(m, n_points, 1) * N_e)
                if part.face is None:
                    continue
                row = np.searchsorted(layers[part.part].elements, here)
                K_own[part.part][row] += K_e[:, :, N_FIELDS:]
                for k, weight in enumerate(layer_mass[at].T):
                    S_own[part.part][k, row] += N_e.transpose(0, 2, 1) @ (weight.reshape(m, n_points, 1) * N_e)
    M = np.zeros((n_elements, n_local, n_local, N_FIELDS, N_FIELDS))
    for field in range(3):
        M[..., field, field] = S[0]
    for turn, shift in ((3, 0), (4, 1)):
        M[..., turn, turn] = S[2]
        M[..., turn, shift] = M[..., shift, turn] = S[1]
    pattern = block_pattern(space)
    M_own = {part: own_mass(moments) for part, moments in S_own.items()}
    return (
        _with_own(space, _matrix(space, pattern, K.transpose(0, 1, 3, 2, 4)), layers, K_own),
        _with_own(space, _matrix(space, pattern, M), layers, M_own),
    )


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


def _with_own(
    space: Space, plate: sparse.csc_matrix, layers: Mapping[str, Layer], own: Mapping[str, np.ndarray]
) -> sparse.csc_matrix:
    """The plate's matrix bordered by the layers' own rows and columns."""
    if not layers:
        return plate
    rows, columns, values = [np.zeros(0, dtype=int)], [np.zeros(0, dtype=int)], [np.zeros(0)]
    for part, layer in layers.items():
        if not own[part].any():
            # The fibres of braces have no mass of their own.
            continue
        numbers = layer.unknowns(space.dofs[layer.elements])
        rows.append(np.broadcast_to(numbers[:, :, N_FIELDS:, None, None], own[part].shape).ravel())
        columns.append(np.broadcast_to(numbers[:, None, None], own[part].shape).ravel())
        values.append(own[part].ravel())
    n, size = plate.shape[0], n_unknowns(space, layers)
    places = (np.concatenate(rows) - n, np.concatenate(columns))
    lower = sparse.coo_matrix((np.concatenate(values), places), shape=(size - n, size)).tocsc()
    lower.eliminate_zeros()
    beside = lower[:, :n]
    return sparse.csc_matrix(sparse.bmat([[plate, beside.T], [beside, lower[:, n:]]], format="csc"))


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
        face = None if group.face is None else group.face[at]
        yield (
            elements[start:stop],
            counts[start:stop],
            Group(group.part, points, group.stiffness[at], group.mass[at], face),
        )
        start = stop


def _equal_counts(counts: np.ndarray) -> Iterator[tuple[np.ndarray, int]]:
    """Point indices of the elements that hold an equal number of points, and that number."""
    owner = np.repeat(np.arange(len(counts)), counts)
    for n_points in np.unique(counts):
        yield np.flatnonzero((counts == n_points)[owner]), int(n_points)
