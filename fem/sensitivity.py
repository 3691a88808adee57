"""What shaving a stretch of a brace does to each mode: exact first derivatives."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from bracedtop.fem.brace_points import block_sections, brace_groups
from bracedtop.fem.layer import part_strains
from bracedtop.fem.model import Model, Modes
from bracedtop.fem.plate import displacements
from bracedtop.fem.sampling import Group
from bracedtop.fem.stretches import Stretch, stretches
from bracedtop.geometry.brace import Brace
from bracedtop.geometry.units import MM

PAIR_GAP = 5e-4
"""Modes closer than this, relative, are treated as one degenerate group; chosen: a tenth of a
hertz at 200 Hz, closer than a tap resolves."""

_IMAGINARY = 1e-20


@dataclass(frozen=True, slots=True)
class ShavingRow:
    """Effect of the first shavings off one stretch on one mode.

    Parameters
    ----------
    brace : str
    start, stop : float, m
    least_height : float, m
    mode : int
    hz_per_mm : float
        Change of frequency per millimetre removed; mostly negative.
    grams_per_mm : float
        Mass removed by a millimetre.
    """

    brace: str
    start: float
    stop: float
    least_height: float
    mode: int
    hz_per_mm: float
    grams_per_mm: float


def shaving_table(model: Model, modes: Modes, pieces: Sequence[Stretch] | None = None) -> tuple[ShavingRow, ...]:
    """Hertz per millimetre removed for every stretch of every brace and every mode.

    Parameters
    ----------
    model : Model
    modes : Modes
    pieces : sequence of Stretch, optional
        All stretches of all braces if not given.

    References
    ----------
    R. L. Fox, M. P. Kapoor, AIAA J. 6 (1968) 2426, eq. 12: d lambda = phi^T (dK - lambda dM) phi. Repeated
    frequencies: I. U. Ojalvo, AIAA J. 26 (1988) 361, the eigenvalues of that matrix over the repeated modes.
    """
    if pieces is None:
        pieces = [piece for brace in model.design.braces for piece in stretches(brace)]
    densities = {brace.name: _Densities(model, modes, brace) for brace in model.design.braces}
    lam = modes.eigenvalues
    rows = []
    for piece in pieces:
        change, mass = densities[piece.brace].over(piece)
        rates = -_split(change, modes.frequencies) / (2 * np.sqrt(lam) * 2 * np.pi)
        rows += [
            ShavingRow(
                piece.brace,
                piece.start,
                piece.stop,
                piece.least_height,
                k + 1,
                float(rate * MM),
                float(mass * MM / 1e-3),
            )
            for k, rate in enumerate(rates)
        ]
    return tuple(rows)


def _split(change: np.ndarray, frequencies: np.ndarray) -> np.ndarray:
    """Derivatives of the eigenvalues from the matrix of mode pairs (n, n), degenerate groups diagonalised."""
    result = np.diag(change).copy()
    start = 0
    while start < len(frequencies):
        stop = start + 1
        while stop < len(frequencies) and frequencies[stop] - frequencies[stop - 1] < PAIR_GAP * frequencies[stop]:
            stop += 1
        if stop - start > 1:
            result[start:stop] = np.linalg.eigvalsh(change[start:stop, start:stop])
        start = stop
    return result


class _Densities:
    """Per point of a brace: what a change of height there does to phi_i^T (K - lambda M) phi_j and to the mass."""

    def __init__(self, model: Model, modes: Modes, brace: Brace) -> None:
        lam = modes.eigenvalues
        mean = (lam[:, None] + lam[None, :]) / 2
        distance, change, mass = [], [], []
        for s, rates in _rates(model, brace):
            per_area = _energy_rates(model, modes, rates)
            if rates.face is None:
                # Fibres that slip have no mass of their own: it is with the brace's sides.
                d = displacements(model.space, rates.points, modes.shapes)
                per_area = per_area - mean * _mass_products(d, rates.mass)
            distance.append(s)
            change.append(per_area * rates.points.weight[:, None, None])
            mass.append(rates.mass[:, 0] * rates.points.weight)
        self.distance = np.concatenate(distance) if distance else np.zeros(0)
        self.change = np.concatenate(change) if change else np.zeros((0, len(lam), len(lam)))
        self.mass = np.concatenate(mass) if mass else np.zeros(0)

    def over(self, piece: Stretch) -> tuple[np.ndarray, float]:
        """Sums over the points of a stretch: (n_modes, n_modes) in 1/(s^2 m), and kg/m."""
        at = (self.distance >= piece.start) & (self.distance < piece.stop)
        return self.change[at].sum(axis=0), float(self.mass[at].sum())


def _mass_products(d: np.ndarray, m: np.ndarray) -> np.ndarray:
    """Inertia of mode pairs at points, (n, n_modes, n_modes)."""
    shift, turn = d[:, :, :3], d[:, :, 3:]
    mixed = np.einsum("ipa,jpa->pij", shift[:, :, :2], turn, optimize=True)
    return np.asarray(
        m[:, 0, None, None] * np.einsum("ipa,jpa->pij", shift, shift, optimize=True)
        + m[:, 1, None, None] * (mixed + mixed.transpose(0, 2, 1))
        + m[:, 2, None, None] * np.einsum("ipa,jpa->pij", turn, turn, optimize=True)
    )


def _energy_rates(model: Model, modes: Modes, rates: Group) -> np.ndarray:
    e = part_strains(model.space, model.layers, rates, modes.vectors)
    return np.asarray(np.einsum("ipa,pab,jpb->pij", e, rates.stiffness, e, optimize=True))


def _rates(model: Model, brace: Brace) -> list[tuple[np.ndarray, Group]]:
    """Distances along a brace, and the derivatives of its groups by the height at each point, by a complex step."""
    wood = model.woods[brace.wood]
    found: list[tuple[np.ndarray, Group]] = []
    for glued in model.glued:
        if glued.brace == brace.name and len(glued.height):
            groups = brace_groups(glued, brace, wood, glued.height + 1j * _IMAGINARY)
            found += [
                (s, _imaginary(group))
                for s, group in zip((glued.distance, glued.distance[glued.slips]), groups, strict=False)
            ]
    for block in model.blocks:
        names = (block.crossing.under, block.crossing.over)
        if brace.name in names and block.offset.size:
            which = names.index(brace.name)
            heights = block.heights.astype(complex)
            heights[which] += 1j * _IMAGINARY
            braces = (model.design.brace(names[0]), model.design.brace(names[1]))
            C, mass = block_sections(block, braces, (model.woods[braces[0].wood], model.woods[braces[1].wood]), heights)
            found.append((block.distances[which], _imaginary(Group("joint", block.points, C, mass))))
    return found


def _imaginary(group: Group) -> Group:
    C, mass = np.imag(group.stiffness) / _IMAGINARY, np.imag(group.mass) / _IMAGINARY
    return replace(group, stiffness=C, mass=mass)
