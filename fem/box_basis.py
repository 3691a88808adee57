"""The faces of a box in as few vectors as its own modes need, whatever may change on it.

Depends on fem/box_modes, fem/box_parts, fem/box_values, fem/face_terms, fem/face_wood.

A face's basis (fem/face_basis) serves any rim and many modes by themselves. On the box the same what-ifs are solved
many times over and only for the lowest modes. These, as drawn and with every value changed, span a smaller basis: what
they have of each face, with its motions as a stiff body and its responses to the bridge and to the air's pressures.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import scipy.linalg

from bracedtop.fem.box_modes import N_MODES, solve_box
from bracedtop.fem.box_parts import BoxModel
from bracedtop.fem.box_values import BoxValues
from bracedtop.fem.face_terms import FaceModel, face_matrices
from bracedtop.fem.face_values import FaceValues
from bracedtop.fem.face_wood import packed, unpacked
from bracedtop.geometry.box import Finish

SIZE = 64
"""Vectors of a face; chosen: 24 modes of the starter box as drawn are then within 0.02 % of those in the whole basis;
with everything changed at random see scripts/benchmarks/box.py."""

AHEAD = 6
"""Modes above the last one wanted that the basis is made of too; chosen."""

PRESSED = 4
"""Pressures of the air whose static responses are kept; chosen."""

RING = 0.12
"""Thickness of the face that is taken off its ring in a snapshot, over the whole; chosen: a deep secondary tuning."""

FACTOR = {"E_L": 1.3, "E_R": 1.4, "G_LR": 1.4, "density": 1.2, "thickness": 1.15}
"""Factors on a face's wood in snapshots, and their inverse; chosen: as far as woods of a kind differ."""

RIM = (1 / 8, 8.0)
"""Factors on the rim's springs; chosen: from foam to a solid lining."""

SPRINGS = ("deflection", "rotation", "inplane")

FILM = 0.25
"""Mass per area of a heavy film, kg/m^2, with a stiffness of `FILM_THICKNESS` and `FILM_MODULUS`; chosen."""

FILM_THICKNESS, FILM_MODULUS = 0.2e-3, 3e9

MIXED, SEED = 20, 7
"""Snapshots with everything changed at random, and where chance begins; chosen."""

ADDED = 0.05
"""Mass at the driving point, kg; chosen."""


def narrowed_box(model: BoxModel, *, size: int = SIZE, n_modes: int = N_MODES) -> BoxModel:
    """The box with its faces in `size` vectors each, as exact for `n_modes` modes and for all that may change.

    Raises
    ------
    AccuracyError
        If a snapshot's eigenvalue problem does not pass its checks.
    """
    states = [BoxValues(), BoxValues(hole_blocked=True), BoxValues(held=not model.box.held), BoxValues(volume=0.85)]
    under = model.back or model.top
    rng = np.random.default_rng(SEED)
    states += [BoxValues(a, b) for a, b in zip(_changes(model.top), _changes(under), strict=True)]
    states += [BoxValues(_mixed(model.top, rng), _mixed(under, rng)) for _ in range(MIXED)]
    snapshots = [_snapshot(model, values, n_modes + AHEAD) for values in states]
    loads = np.column_stack([model.drive, model.at_top[:, :PRESSED]])
    top = _basis(model.top, snapshots, model.parts["top"], loads, size)
    both = scipy.linalg.block_diag(top, np.eye(len(model.front) - len(top)))
    narrow = replace(
        model,
        top=narrowed(model.top, top),
        at_top=top.T @ model.at_top,
        plug=top.T @ model.plug,
        drive=top.T @ model.drive,
        front=both.T @ model.front @ both,
    )
    if model.back is None:
        return narrow
    back = _basis(model.back, snapshots, model.parts["back"], model.at_back[:, :PRESSED], size)
    return replace(
        narrow,
        back=narrowed(model.back, back),
        at_back=back.T @ model.at_back,
        behind=back.T @ model.behind @ back,
    )


def narrowed(face: FaceModel, mix: np.ndarray) -> FaceModel:
    """The face in the vectors V T of its basis V, for a mix T (r, k)."""
    r = face.size

    def pressed(upper: np.ndarray) -> np.ndarray:
        return packed(mix.T @ unpacked(upper, r) @ mix)

    return replace(
        face,
        vectors=face.vectors @ mix,
        fixed=pressed(face.fixed),
        wood=replace(face.wood, stiffness=pressed(face.wood.stiffness), mass=pressed(face.wood.mass)),
        springs=pressed(face.springs),
        spring_rigid=np.einsum("rk,srj->skj", mix, face.spring_rigid),
        point=pressed(face.point),
    )


def _changes(face: FaceModel) -> list[FaceValues]:
    """One thing changed at a time, from the drawing."""
    plate, rim = face.model.design.plate, face.rim
    found = [FaceValues(ring=RING * (plate.thickness - plate.ring_reduction)), FaceValues(added_mass=ADDED)]
    for key, factor in FACTOR.items():
        for x in (factor, 1 / factor):
            changed: dict[str, Any] = {key: x}
            found.append(FaceValues(**changed))
    for key in SPRINGS:
        found += [FaceValues(rim=replace(rim, **{key: factor * getattr(rim, key)})) for factor in RIM]
    bare, heavy = Finish(face.side, 0.0), Finish(face.side, FILM, FILM_THICKNESS, FILM_MODULUS)
    return [*found, FaceValues(finish=bare), FaceValues(finish=heavy)]


def _mixed(face: FaceModel, rng: np.random.Generator) -> FaceValues:
    """Everything changed at once, at random within the same bounds."""

    def factor(most: float) -> float:
        return float(most ** rng.uniform(-1, 1))

    plate, rim = face.model.design.plate, face.rim
    woods: dict[str, Any] = {key: factor(most) for key, most in FACTOR.items()}
    return FaceValues(
        ring=rng.uniform(0, RING) * (plate.thickness - plate.ring_reduction),
        rim=replace(rim, **{key: getattr(rim, key) * factor(RIM[1]) for key in SPRINGS}),
        finish=Finish(face.side, rng.uniform(0, FILM), rng.uniform(0, FILM_THICKNESS), FILM_MODULUS),
        added_mass=rng.uniform(0, ADDED),
        **woods,
    )


def _snapshot(model: BoxModel, values: BoxValues, n_modes: int) -> np.ndarray:
    """Coupled modes of a what-if with energies of one, (N, n)."""
    modes = solve_box(model, values, n_modes=n_modes)
    return np.asarray(modes.vectors.T / (2 * np.pi * modes.frequencies))


def _basis(face: FaceModel, snapshots: Sequence[np.ndarray], at: slice, loads: np.ndarray, size: int) -> np.ndarray:
    """Mix (r, size) of a face's vectors, of energies one as drawn: stiff motions, responses to loads, snapshots."""
    m = face_matrices(face)
    root = scipy.linalg.cholesky(m.K)
    fixed = scipy.linalg.cho_solve((root, False), np.column_stack([-m.K_rigid, loads]))
    first = scipy.linalg.orth(_scaled(root @ fixed))
    rest = np.column_stack([root @ one[at] for one in snapshots])
    rest = rest - first @ (first.T @ rest)
    _, more = np.linalg.eigh(rest @ rest.T)
    kept = np.column_stack([first, more[:, ::-1][:, : max(size - first.shape[1], 0)]])
    return np.asarray(scipy.linalg.solve_triangular(root, kept))


def _scaled(vectors: np.ndarray) -> np.ndarray:
    return np.asarray(vectors / np.linalg.norm(vectors, axis=0))
