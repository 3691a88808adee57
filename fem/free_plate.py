"""A rectangular board free at all edges: its modes and their derivatives, for fitting a wood to taps.

Depends on fem/laminate, fem/modes, fem/plate, geometry. Same elements as a top; as the board is even, stiffness is a
sum of a few fixed matrices, each times a constant, so that a new wood costs one small eigenvalue problem and its
derivatives nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import sparse
from scipy.optimize import linear_sum_assignment

from bracedtop.fem.laminate import SHEAR_CORRECTION
from bracedtop.fem.modes import eigenpairs
from bracedtop.fem.plate import N_FIELDS, Space, own_points, plate_space, shape_functions, strain_operator
from bracedtop.geometry.design import Design, Edge, Plate
from bracedtop.geometry.errors import AccuracyError
from bracedtop.geometry.mesh import mesh_top
from bracedtop.geometry.outline import polygon_outline

PARAMETERS = ("E_L", "E_R", "G_LR", "nu_LR", "G_LT", "G_RT", "length", "width", "thickness", "mass")
"""What a board's frequencies depend on, in the order of `Response.slopes`; length is along the grain."""

BENDING = ("D11", "D12", "D22", "D66", "along", "across")
_ENTRIES = {"D11": (3, 3), "D12": (3, 4), "D22": (4, 4), "D66": (5, 5), "along": (6, 6), "across": (7, 7)}

FREE_FREE = (0.0, 0.0, 4.730040744862704, 7.853204624095838, 10.995607838001671, 14.137165491257464, 17.27875965739948)
"""beta L of a bar free at both ends, the first two its rigid motions; cos x cosh x = 1."""

LEAST_LIKENESS = 0.35
"""Least MAC with the wanted shape; chosen: where two shapes mix in equal parts, each mode has a half of either."""

MOST_MODES = 48
"""Modes among which a wanted one has to be; chosen: a board with six lines either way has it among them."""


@dataclass(frozen=True, slots=True)
class PlateMode:
    """A free board's mode by its still lines.

    Parameters
    ----------
    across, along : int
        Lines that run across the grain, and along it.
    mix : {0, -1, 1}
        For the modes of a board whose (2, 0) and (0, 2) fall together: -1 for their difference, whose lines make an
        X, 1 for their sum, whose lines make a ring.
    """

    across: int
    along: int
    mix: int = 0


@dataclass(frozen=True, slots=True)
class Response:
    """Frequencies of wanted modes and how they depend on everything.

    Parameters
    ----------
    hz : (n,) array
    slopes : (n, 10) array
        d ln f / d ln p, for nu_LR d ln f / d nu_LR, in the order of `PARAMETERS`.
    likeness : (n,) array
        MAC of each mode with the shape that was asked for, 0 to 1.
    """

    hz: np.ndarray
    slopes: np.ndarray
    likeness: np.ndarray


@dataclass(frozen=True, slots=True)
class FreePlate:
    """The fixed matrices of a board of given length and width.

    Parameters
    ----------
    length, width : float, m
        Along the grain and across it.
    stiffness : dict of str to sparse (3 n_nodes, 3 n_nodes)
        By `BENDING`, for a stiffness of one; fields w, beta_x, beta_y.
    inertia : tuple of three sparse matrices
        Of w, beta_x and beta_y, for an areal mass of one.
    xy : (2, n_nodes) array, m
        From the middle of the board.
    """

    length: float
    width: float
    stiffness: dict[str, sparse.csc_matrix]
    inertia: tuple[sparse.csc_matrix, sparse.csc_matrix, sparse.csc_matrix]
    xy: np.ndarray

    def response(self, values: Sequence[float], modes: Sequence[PlateMode]) -> Response:
        """Frequencies of some modes.

        Parameters
        ----------
        values : (10,) sequence
            In the order of `PARAMETERS`, SI units. Length and width may differ from those of the mesh, which is
            stretched then.
        modes : sequence of PlateMode

        Raises
        ------
        AccuracyError
            If the eigenvalues fail their checks, or no mode looks like a wanted one.
        """
        p = np.asarray(values, dtype=float)
        k, dk = self._stiffness_factors(p)
        m, dm = self._inertia_factors(p)
        K = sparse.csc_matrix(sum(k[i] * self.stiffness[name] for i, name in enumerate(BENDING)))
        M = sparse.csc_matrix(sum(m[i] * self.inertia[i] for i in range(3)))
        wanted = np.array([self.shape(mode) for mode in modes])
        lam, vectors, likeness = self._found(K, M, wanted, max(sum((q.across, q.along)) for q in modes))
        if likeness.min() < LEAST_LIKENESS:
            lost = modes[int(likeness.argmin())]
            message = (
                f"no low mode of this board has {lost.across} still lines across the grain and {lost.along} along it"
            )
            raise AccuracyError(message)
        energy = np.array([np.einsum("im,im->m", vectors, self.stiffness[n] @ vectors) for n in BENDING])
        kinetic = np.array([np.einsum("im,im->m", vectors, part @ vectors) for part in self.inertia])
        # lambda = phi^T K phi with phi^T M phi = 1: Fox and Kapoor (1968), and f goes with the root of lambda.
        slopes = 0.5 * ((dk.T @ energy).T / lam[:, None] - (dm.T @ kinetic).T)
        return Response(np.sqrt(lam) / (2 * np.pi), slopes, likeness)

    def shape(self, mode: PlateMode) -> np.ndarray:
        """Product of two free bars' shapes at the nodes, (n_nodes,), or the sum or difference of two."""
        x, y = self.xy[0] / self.length, self.xy[1] / self.width
        if mode.mix:
            return np.asarray(bar_shape(2, x) + mode.mix * bar_shape(2, y))
        return np.asarray(bar_shape(mode.across, x) * bar_shape(mode.along, y))

    def _stiffness_factors(self, p: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Factors of the matrices of `BENDING`, (6,), and their derivatives, (6, 10)."""
        E_L, E_R, G_LR, nu, G_LT, G_RT, a, b, h, _ = p
        s, t = a / self.length, b / self.width
        part = nu**2 * E_R / E_L
        rest = 1.0 - part
        shear = SHEAR_CORRECTION * h
        bend = h**3 / 12
        # Stretched coordinates with beta_x / s and beta_y / t for the rotations keep every term a pure power.
        k = np.array(
            [
                bend * E_L / rest * t / s**3,
                bend * nu * E_R / rest / (s * t),
                bend * E_R / rest * s / t**3,
                bend * G_LR / (s * t),
                shear * G_LT * t / s,
                shear * G_RT * s / t,
            ]
        )
        common = part / rest
        # Columns: E_L, E_R, G_LR, nu, G_LT, G_RT, length, width, thickness, mass.
        log = np.array(
            [
                [1 - common, common, 0, 2 * common / nu if nu else 0, 0, 0, -3, 1, 3, 0],
                [-common, 1 + common, 0, (2 * common + 1) / nu if nu else 0, 0, 0, -1, -1, 3, 0],
                [-common, 1 + common, 0, 2 * common / nu if nu else 0, 0, 0, 1, -3, 3, 0],
                [0, 0, 1, 0, 0, 0, -1, -1, 3, 0],
                [0, 0, 0, 0, 1, 0, -1, 1, 1, 0],
                [0, 0, 0, 0, 0, 1, 1, -1, 1, 0],
            ]
        )
        dk = k[:, None] * log
        if not nu:
            dk[1, 3] = bend * E_R / (s * t)
        return k, dk

    def _inertia_factors(self, p: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Factors of the inertia's matrices, (3,), and their derivatives, (3, 10)."""
        a, b, h, mass = p[6:]
        areal = mass / (self.length * self.width)
        turn = areal * h**2 / 12
        m = np.array([areal, turn * (self.length / a) ** 2, turn * (self.width / b) ** 2])
        log = np.zeros((3, 10))
        log[:, 9] = 1
        log[1:, 8] = 2
        log[1, 6] = log[2, 7] = -2
        return m, m[:, None] * log

    def _found(
        self, K: sparse.csc_matrix, M: sparse.csc_matrix, wanted: np.ndarray, n_lines: int
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Eigenvalues, vectors and likeness of the modes that look like the wanted shapes."""
        rigid = self._rigid()
        mass = self.inertia[0][::3, ::3]
        norm = np.einsum("ki,ik->k", wanted, mass @ wanted.T)
        most = min(MOST_MODES, (K.shape[0] - 3) // 3)
        n = min(max(8, 3 * n_lines, len(wanted) + 4), most)
        while True:
            pairs = eigenpairs(K, M, n, rigid)
            w = pairs.vectors[::3]
            cross = wanted @ (mass @ w)
            mac = cross**2 / norm[:, None] / np.einsum("im,im->m", w, mass @ w)
            rows, columns = linear_sum_assignment(mac, maximize=True)
            best = mac[rows, columns]
            if best.min() >= LEAST_LIKENESS or n == most:
                return pairs.values[columns], pairs.vectors[:, columns], best
            n = min(2 * n, most)

    def _rigid(self) -> np.ndarray:
        x, y = self.xy
        motions = np.zeros((len(x), 3, 3))
        motions[:, 0] = np.column_stack([np.ones_like(x), x, y])
        # As in fem/modes: a tilt turns the section with it.
        motions[:, 1, 1] = motions[:, 2, 2] = -1.0
        return motions.reshape(-1, 3)


def free_plate(length: float, width: float, size: float) -> FreePlate:
    """Matrices of a board of the given length along the grain and width across it, in triangles of `size`, all in m.

    Raises
    ------
    MeshError
        If it cannot be meshed.
    """
    corners = np.array([[0, 0], [length, 0], [length, width], [0, width]])
    design = Design(polygon_outline(corners), Plate("board", min(length, width) / 100), edge=Edge("free"))
    space = plate_space(mesh_top(design, size), 3)
    points, _ = own_points(space)
    values, gradients = shape_functions(space, points)
    n, n_local = values.shape
    # w, beta_x, beta_y: in an even board stretching and bending do not meet.
    B = strain_operator(values, gradients).reshape(n, 9, n_local, N_FIELDS)[:, :, :, 2:].reshape(n, 9, -1)
    N = np.einsum("pi,fg->pfig", values, np.eye(3)).reshape(n, 3, -1)
    weight = points.weight[:, None]
    stiffness = {name: _matrix(space, B[:, i] * weight, B[:, j]) for name, (i, j) in _ENTRIES.items()}
    # The coupling stands twice in the energy.
    stiffness["D12"] = sparse.csc_matrix(stiffness["D12"] + stiffness["D12"].T)
    inertia = [_matrix(space, N[:, f] * weight, N[:, f]) for f in range(3)]
    xy = space.basis.doflocs - np.array([[length / 2], [width / 2]])
    return FreePlate(length, width, stiffness, (inertia[0], inertia[1], inertia[2]), xy)


def _matrix(space: Space, left: np.ndarray, right: np.ndarray) -> sparse.csc_matrix:
    """Sum over points of the products of two operators (n_points, 3 n_local), assembled."""
    n_elements, n_local = space.dofs.shape
    blocks = np.einsum("epi,epj->eij", *(x.reshape(n_elements, -1, 3 * n_local) for x in (left, right)), optimize=True)
    dofs = (3 * space.dofs[:, :, None] + np.arange(3)).reshape(n_elements, -1)
    rows, columns = np.broadcast_arrays(dofs[:, :, None], dofs[:, None, :])
    size = 3 * space.n_nodes
    return sparse.csc_matrix((blocks.ravel(), (rows.ravel(), columns.ravel())), shape=(size, size))


def bar_shape(n_lines: int, x: np.ndarray) -> np.ndarray:
    """Shape of a bar free at both ends with so many nodes, at places `x` from -1/2 to 1/2, largest value 1 at the ends.

    References
    ----------
    R. D. Blevins, Formulas for Natural Frequency and Mode Shape (1979), Table 8-1, free-free, written for the middle.
    """
    if n_lines == 0:
        return np.ones_like(x)
    if n_lines == 1:
        return np.asarray(2 * x)
    k = FREE_FREE[n_lines]
    if n_lines % 2 == 0:
        return np.asarray((np.cos(k * x) / np.cos(k / 2) + np.cosh(k * x) / np.cosh(k / 2)) / 2)
    return np.asarray((np.sin(k * x) / np.sin(k / 2) + np.sinh(k * x) / np.sinh(k / 2)) / 2)
