"""Own motion of glued parts: how they slip along the glue and turn by themselves.

Depends on fem/plate, fem/sampling. A part that kept its section plane with the plate would be too stiff: its stress
enters through the glue, over a length in which it shears, and a thick one is soft in shear. So patches, and the fibres
of braces, have four fields of their own on the triangles that they cover: a slip s_x, s_y of the glued face along the
top's, and rotations gamma_x, gamma_y. With the glued face at height z_f the displacement at height z is

    u + z_f beta + s + (z - z_f) gamma,

and the deflection is the plate's. The slip is resisted by the shear of both woods beside the glue (fem/sampling).
At a part's border nothing is prescribed: there its stress runs out. Where it is glued to another part's flank or tucked
in at a held rim, it is held to the plate's motion: s = 0, gamma = beta. The fibres of a brace slip and turn along it
only: across it they are held.

References
----------
M. Di Sciuva, J. Appl. Mech. 54 (1987) 589 and J. N. Reddy, Mechanics of Laminated Composite Plates and Shells, 2nd ed.
(2004), ch. 12 (layerwise displacement, continuous through the thickness).
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from scipy import sparse

from bracedtop.fem.plate import N_FIELDS, Space, shape_functions, slopes, strain_operator
from bracedtop.fem.sampling import Group

N_OWN = 4
"""Own fields of a layer: s_x, s_y, gamma_x, gamma_y."""


@dataclass(frozen=True, slots=True)
class Layer:
    """Where a part's own unknowns stand.

    Parameters
    ----------
    part : str
    elements : (m,) int array
        Triangles that it covers, sorted.
    nodes : (k,) int array
        Their nodes, sorted.
    first : int
        Own field f of its j-th node is the unknown `first` + 4 j + f, behind those of the plate.
    held : (k,) bool array
        Nodes at which it has no motion of its own.
    direction : (k,) array, rad
        The only direction of its motion at each node; not a number where it moves either way.
    """

    part: str
    elements: np.ndarray
    nodes: np.ndarray
    first: int
    held: np.ndarray
    direction: np.ndarray

    @property
    def end(self) -> int:
        """Number of the unknown behind its last one."""
        return self.first + N_OWN * len(self.nodes)

    def unknowns(self, dofs: np.ndarray) -> np.ndarray:
        """Numbers of the plate's and the layer's own unknowns of nodes (n, n_local) of its triangles, (.., 9)."""
        plate = N_FIELDS * dofs[..., None] + np.arange(N_FIELDS)
        own = self.first + N_OWN * np.searchsorted(self.nodes, dofs)[..., None] + np.arange(N_OWN)
        return np.concatenate([plate, own], axis=-1)


def own_layers(space: Space, groups: Iterable[Group], rim: np.ndarray) -> dict[str, Layer]:
    """Layers of all parts that move by themselves, by their names, numbered one behind the other.

    Parameters
    ----------
    groups : iterable of Group
    rim : int array
        Nodes of a clamped or hinged rim, which holds what reaches it too: the ends of braces are tucked in there.
    """
    found: dict[str, list[Group]] = {}
    for group in groups:
        if group.face is not None and len(group.points.element):
            found.setdefault(group.part, []).append(group)
    layers: dict[str, Layer] = {}
    first = N_FIELDS * space.n_nodes
    for part, members in found.items():
        elements = np.unique(np.concatenate([group.points.element for group in members]))
        nodes = np.unique(space.dofs[elements])
        bonds = np.concatenate([group.bonds for group in members])
        held = np.isin(nodes, space.dofs[bonds]) | np.isin(nodes, rim)
        layers[part] = Layer(part, elements, nodes, first, held, _directions(space, nodes, members))
        first = layers[part].end
    return layers


def _directions(space: Space, nodes: np.ndarray, members: Iterable[Group]) -> np.ndarray:
    """The direction of fibres at nodes; not a number where they have none or several, as at the bend of a brace."""
    least, most = np.full(space.n_nodes, np.inf), np.full(space.n_nodes, -np.inf)
    for group in members:
        if group.angle is None:
            return np.full(len(nodes), np.nan)
        at, angle = space.dofs[group.points.element], group.angle[:, None]
        np.minimum.at(least, at, np.broadcast_to(angle, at.shape))
        np.maximum.at(most, at, np.broadcast_to(angle, at.shape))
    return np.where(least[nodes] == most[nodes], least[nodes], np.nan)


def own_space(layers: Mapping[str, Layer]) -> tuple[sparse.csc_matrix, sparse.csc_matrix]:
    """How the own unknowns follow from the plate's and from those that are free.

    Returns
    -------
    follow : sparse (n_own, n_plate)
        Their part that goes with the plate; n_plate is the number of the plate's unknowns.
    free : sparse (n_own, n_free)
        Columns of length one.
    """
    rows, columns, values = [], [], []
    moves, places, weights = [], [], []
    n_free = 0
    start = min((layer.first for layer in layers.values()), default=0)
    for layer in layers.values():
        own = layer.first - start + N_OWN * np.arange(len(layer.nodes))
        one_way = ~np.isnan(layer.direction) & ~layer.held
        c, s = np.cos(layer.direction), np.sin(layer.direction)
        # gamma follows beta wholly where the part is held, and across the fibres where these have one direction.
        one = np.ones(len(own))
        for i, j, value in (
            (2, 3, np.where(layer.held, one, s * s)),
            (2, 4, np.where(layer.held, 0.0, -s * c)),
            (3, 3, np.where(layer.held, 0.0, -s * c)),
            (3, 4, np.where(layer.held, one, c * c)),
        ):
            at = layer.held | one_way
            rows.append(own[at] + i)
            columns.append(N_FIELDS * layer.nodes[at] + j)
            values.append(value[at])
        for first in (0, 2):
            number = n_free + np.arange(int(one_way.sum()))
            for i, value in ((0, c), (1, s)):
                moves.append(own[one_way] + first + i)
                places.append(number)
                weights.append(value[one_way])
            n_free += len(number)
        every_way = np.isnan(layer.direction) & ~layer.held
        for i in range(N_OWN):
            number = n_free + np.arange(int(every_way.sum()))
            moves.append(own[every_way] + i)
            places.append(number)
            weights.append(one[every_way])
            n_free += len(number)
    n_own = sum(N_OWN * len(layer.nodes) for layer in layers.values())
    follow = sparse.csc_matrix(
        (np.concatenate(values), (np.concatenate(rows), np.concatenate(columns))), shape=(n_own, start)
    )
    free = sparse.csc_matrix(
        (np.concatenate(weights), (np.concatenate(moves), np.concatenate(places))), shape=(n_own, n_free)
    )
    return follow, free


def n_unknowns(space: Space, layers: Mapping[str, Layer]) -> int:
    """Number of unknowns of the plate and of all layers."""
    return max((layer.end for layer in layers.values()), default=N_FIELDS * space.n_nodes)


def layer_operator(plate: np.ndarray, values: np.ndarray, face: np.ndarray) -> np.ndarray:
    """Strains of a layer and its slip, from the plate's and its own unknowns, (n, 11, 9 n_local).

    Parameters
    ----------
    plate : (n, 9, 5 n_local) array
        `strain_operator` at the points.
    values : (n, n_local) array
    face : (n,) array, m
        Height of the glued face.

    Returns
    -------
    B : (n, 11, 9 n_local) array
        The nine strains, measured from the reference plane as the plate's are, and the slip s_x, s_y in m.
    """
    n, n_local = values.shape
    B5 = plate.reshape(n, 9, n_local, N_FIELDS)
    B = np.zeros((n, 11, n_local, N_FIELDS + N_OWN))
    B[:, :9, :, :3] = B5[..., :3]
    B[:, 3:9, :, 7:] = B5[:, 3:, :, 3:]
    carried = face[:, None, None, None] * B5[:, 3:6, :, 3:]
    B[:, :3, :, 3:5], B[:, :3, :, 7:] = carried, -carried
    B[:, :3, :, 5:7] = B5[:, :3, :, :2]
    B[:, 9, :, 5] = B[:, 10, :, 6] = values
    return B.reshape(n, 11, -1)


def part_operator(space: Space, group: Group) -> tuple[np.ndarray, np.ndarray]:
    """Strain operator of a part at its points, (n, 9, 5 n_local) or (n, 11, 9 n_local), and its functions' values."""
    values, gradients = shape_functions(space, group.points)
    B = strain_operator(values, gradients, slopes(space, group.points))
    return (B if group.face is None else layer_operator(B, values, group.face)), values


def part_strains(space: Space, layers: Mapping[str, Layer], group: Group, vectors: np.ndarray) -> np.ndarray:
    """Strains of a part in modes at its points, (n_modes, n, 9), or (n_modes, n, 11) with the slip of a layer.

    Parameters
    ----------
    vectors : (n_modes, n_unknowns) array
        All unknowns, held ones included.
    """
    B, _ = part_operator(space, group)
    numbers = part_unknowns(space, layers, group)
    return np.asarray(np.einsum("pij,mpj->mpi", B, vectors[:, numbers], optimize=True))


def part_unknowns(space: Space, layers: Mapping[str, Layer], group: Group) -> np.ndarray:
    """Numbers of the unknowns that `part_operator` and `motion_operator` take, (n, 5 n_local) or (n, 9 n_local)."""
    dofs = space.dofs[group.points.element]
    if group.face is None:
        numbers = N_FIELDS * dofs[..., None] + np.arange(N_FIELDS)
    else:
        numbers = layers[group.part].unknowns(dofs)
    return np.asarray(numbers.reshape(len(dofs), -1))


def motion_operator(space: Space, group: Group) -> np.ndarray:
    """Operator to u, v at z = 0, w, and the rotations by which a part moves, (n, 5, 5 n_local) or (n, 5, 9 n_local).

    In the part u(z) = u + z rotation.
    """
    values, _ = shape_functions(space, group.points)
    n, n_local = values.shape
    n_fields = N_FIELDS if group.face is None else N_FIELDS + N_OWN
    F = np.zeros((n, N_FIELDS, n_local, n_fields))
    F[:, 0, :, 0] = F[:, 1, :, 1] = F[:, 2, :, 2] = values
    if group.face is None:
        F[:, 3, :, 3] = F[:, 4, :, 4] = values
    else:
        carried = group.face[:, None] * values
        for a in range(2):
            F[:, a, :, 5 + a] = F[:, 3 + a, :, 7 + a] = values
            F[:, a, :, 3 + a], F[:, a, :, 7 + a] = carried, -carried
    return F.reshape(n, N_FIELDS, -1)


def mass_moments(group: Group) -> tuple[np.ndarray, np.ndarray]:
    """Moments of a part's mass for the plate's fields and for its own, (n, 3) and (n, 5).

    With I0, I1, I2 about z = 0 and the glued face at z_f. Plate: shift with shift, shift with turn, turn with turn.
    Own: slip with shift and slip (I0), slip with the plate's turn, own turn with shift and slip, with the plate's turn,
    with own turn.
    """
    if group.face is None:
        return group.mass, np.zeros((len(group.mass), 0))
    I0, I1, I2 = group.mass.T
    z = group.face
    about = I1 - z * I0
    plate = np.column_stack([I0, z * I0, z * z * I0])
    own = np.column_stack([I0, z * I0, about, z * about, I2 - 2 * z * I1 + z * z * I0])
    return plate, own


def own_mass(S: np.ndarray) -> np.ndarray:
    """Mass of a layer's own unknowns with all of theirs and the plate's, (m, n_local, 4, n_local, 9).

    Parameters
    ----------
    S : (5, m, n_local, n_local) array
        Integrals of products of two functions times the own moments of `mass_moments`.
    """
    m, n = S.shape[1:3]
    M = np.zeros((m, n, N_OWN, n, N_FIELDS + N_OWN))
    for a in range(2):
        slip, turn = a, 2 + a
        M[:, :, slip, :, a] = M[:, :, slip, :, 5 + a] = S[0]
        M[:, :, slip, :, 3 + a] = S[1]
        M[:, :, slip, :, 7 + a] = M[:, :, turn, :, 5 + a] = M[:, :, turn, :, a] = S[2]
        M[:, :, turn, :, 3 + a] = S[3]
        M[:, :, turn, :, 7 + a] = S[4]
    return M
