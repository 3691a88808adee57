"""A face of the box, a braced plate on its rim, in a small basis: stiffness, loss stiffness and mass.

Depends on fem/face_basis, fem/face_loss, fem/face_wood, fem/model, fem/rim, geometry/box.

All matrices are sums of fixed ones: of the wood by exact polynomials in thickness and moduli (fem/face_wood), of the
rim's springs linearly, of braces and patches as drawn. Displacements are outwards. The rim may move as one stiff body
along the normal; the springs then pull by their length's change: K x + K_rigid a on the face, K_rigid^T x + K_rim a on
the rim. What a body's tilt moves along the plan is left out.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import scipy.linalg
from scipy import sparse
from skfem.quadrature import get_quadrature

from bracedtop.fem.attached import mass_groups
from bracedtop.fem.face_basis import face_basis, rim_motions
from bracedtop.fem.face_changes import rim_stiffness
from bracedtop.fem.face_loss import STEP, lossy_woods
from bracedtop.fem.face_values import FaceValues
from bracedtop.fem.face_wood import WoodTerms, packed, unpacked, wood_terms
from bracedtop.fem.film import film_moduli
from bracedtop.fem.footprint import Points
from bracedtop.fem.loss_factors import LossFactors
from bracedtop.fem.model import Model, build_model
from bracedtop.fem.parameter import driving_mass
from bracedtop.fem.plate import N_FIELDS, shape_functions
from bracedtop.fem.reduced_sample import form, mass_form, motion_rows, seen
from bracedtop.fem.rim import Rim
from bracedtop.fem.wood import Wood
from bracedtop.geometry.box import Face, Finish
from bracedtop.geometry.design import Design, Edge
from bracedtop.geometry.errors import DesignError

QUADRATURE = 3
"""Degree of the rule over the face; chosen: six points a triangle."""

N_MODES = 25
"""Modes for which the basis is made."""


@dataclass(frozen=True, slots=True)
class FaceMatrices:
    """Matrices of a face in its basis.

    Parameters
    ----------
    K, H, M : (r, r) arrays, N/m, N/m and kg
        K + i H is the stiffness at a steady tone.
    K_rim, H_rim : (3, 3) arrays
        Of the rim moving as a stiff body: along the normal (m), tilted along x and y (m/m).
    K_rigid, H_rigid : (r, 3) arrays
        Between both.
    """

    K: np.ndarray
    H: np.ndarray
    M: np.ndarray
    K_rim: np.ndarray
    H_rim: np.ndarray
    K_rigid: np.ndarray
    H_rigid: np.ndarray


@dataclass(frozen=True, slots=True)
class Surface:
    """Points over a face for integrals.

    Parameters
    ----------
    xy : (n, 2) array, m
    weight : (n,) array, m^2
    deflection : (n, r) array
        Of the basis, outwards.
    """

    xy: np.ndarray
    weight: np.ndarray
    deflection: np.ndarray


@dataclass(frozen=True, slots=True)
class FaceModel:
    """A face on its rim in a basis of size r.

    Parameters
    ----------
    model : Model
        As drawn.
    side : {"top", "back"}
    vectors : (n_unknowns, r) array
        The basis.
    rim : Rim
    finish : Finish or None
    fixed : (3, q) array, q = r (r + 1) / 2
        Upper triangles of K, H and M of all that does not change.
    wood : WoodTerms
    springs : (3, q) array
        Of deflection, rotation and stretch of the rim per unit of stiffness per length.
    spring_rigid, spring_rim : (3, r, 3) and (3, 3, 3) arrays
        The same between face and stiff rim, and of the stiff rim.
    point : (q,) array
        Mass of 1 kg at the driving point.
    """

    model: Model
    side: Face
    vectors: np.ndarray
    rim: Rim
    finish: Finish | None
    fixed: np.ndarray
    wood: WoodTerms
    springs: np.ndarray
    spring_rigid: np.ndarray
    spring_rim: np.ndarray
    point: np.ndarray

    @property
    def size(self) -> int:
        """Number of basis vectors."""
        return int(self.vectors.shape[1])


def build_face(
    design: Design,
    woods: Mapping[str, Wood],
    losses: Mapping[str, LossFactors],
    *,
    side: Face,
    ring_width: float,
    rim: Rim,
    finish: Finish | None = None,
    what_if: bool = True,
    size: float | None = None,
) -> FaceModel:
    """A face on its rim in a small basis.

    Parameters
    ----------
    design : Design
        Its edge condition is replaced by the rim's springs.
    woods : mapping of str to Wood
    losses : mapping of str to LossFactors
        Of woods that are not in it, the usual ones.
    side : {"top", "back"}
    ring_width : float, m
        Of the ring along the rim that may be thinned, unless the design has one.
    rim : Rim
    finish : Finish, optional
    what_if : bool
        Whether the basis holds for changed faces; without, for the drawn one and small changes, and is made sooner.
    size : float, m, optional
        Of the triangles.

    Raises
    ------
    DesignError, MeshError, AccuracyError
    """
    if not (rim.springs > 0).all():
        message = f"{side}: the rim's springs are {rim.springs}; every one must be > 0"
        raise DesignError(message)
    edge = Edge("springs", rim.deflection, rim.rotation, rim.inplane)
    width = design.plate.ring_width or ring_width
    design = replace(design, edge=edge, plate=replace(design.plate, ring_width=width))
    model = build_model(design, woods, size=size)
    springs = [rim_stiffness(model, Rim(*unit)) for unit in np.eye(3)]
    V = face_basis(model, rim if what_if else None)
    lossy = build_model(design, lossy_woods(woods, losses), mesh=model.mesh)
    wood = wood_terms(model, V, losses.get(design.plate.wood, LossFactors()))
    R = rim_motions(model)
    projected = packed(np.array([V.T @ (S @ V) for S in springs]))
    K, M = _projected(model.K, V), _projected(model.M, V)
    H = (_projected(lossy.K, V) - K) / STEP
    at = driving_mass(design, 1.0)
    (group,) = mass_groups(replace(design, masses=(at,)), model.locator)
    d = seen(motion_rows(model.space, model.layers, group), V, len(group.points.weight))
    own = _own(wood, FaceValues())
    return FaceModel(
        model,
        side,
        V,
        rim,
        finish,
        packed(np.array([K, H, M])) - own - np.stack([rim.springs @ projected, *np.zeros((2, projected.shape[1]))]),
        wood,
        projected,
        np.array([-(V.T @ (S @ R)) for S in springs]),
        np.array([R.T @ (S @ R) for S in springs]),
        packed(form(d, mass_form(group.mass), np.asarray(group.points.weight))),
    )


def _projected(matrix: sparse.csc_matrix, V: np.ndarray) -> np.ndarray:
    return np.asarray(V.T @ (matrix @ V))


def _own(wood: WoodTerms, values: FaceValues) -> np.ndarray:
    """K, H and M of the face's own wood, (3, q)."""
    Q, lossy = wood.moduli({"E_L": values.E_L, "E_R": values.E_R, "G_LR": values.G_LR})
    ring = wood.drawn - values.ring
    layer = wood.layer(values.thickness, ring)
    mass = wood.density * values.density * wood.mass_layer(values.thickness, ring)
    stiff = np.stack([Q[wood.constant] * layer, lossy[wood.constant] * layer]) @ wood.stiffness
    return np.concatenate([stiff, (mass @ wood.mass)[None]])


def face_matrices(face: FaceModel, values: FaceValues | None = None) -> FaceMatrices:
    """Matrices of a face as it is drawn, or with other values.

    Parameters
    ----------
    face : FaceModel
    values : FaceValues, optional
    """
    values = values or FaceValues()
    wood, rim = face.wood, values.rim or face.rim
    finish = values.finish or face.finish
    Q, lossy = wood.moduli({"E_L": values.E_L, "E_R": values.E_R, "G_LR": values.G_LR})
    ring = wood.drawn - values.ring
    layer = wood.layer(values.thickness, ring)
    own, heat = Q[wood.constant] * layer, lossy[wood.constant] * layer
    mass = wood.density * values.density * wood.mass_layer(values.thickness, ring)
    if finish is not None:
        if finish.thickness * finish.modulus:
            film = wood.layer(values.thickness, ring, finish.thickness) - layer
            film *= film_moduli(finish)[wood.constant]
            own, heat = own + film, heat + finish.loss * film
        mass = mass + finish.mass * wood.outside_mass(values.thickness, ring)
    stiff = np.stack([own, heat]) @ wood.stiffness
    k, h = rim.springs, rim.springs * rim.losses
    K = face.fixed[0] + stiff[0] + k @ face.springs
    H = face.fixed[1] + stiff[1] + h @ face.springs
    M = face.fixed[2] + mass @ wood.mass + values.added_mass * face.point
    K, H, M = unpacked(np.stack([K, H, M]), face.size)
    return FaceMatrices(
        K,
        H,
        M,
        K_rim=np.tensordot(k, face.spring_rim, 1),
        H_rim=np.tensordot(h, face.spring_rim, 1),
        K_rigid=np.tensordot(k, face.spring_rigid, 1),
        H_rigid=np.tensordot(h, face.spring_rigid, 1),
    )


def surface(face: FaceModel, degree: int = QUADRATURE) -> Surface:
    """Points over the face and the deflection of the basis there, for integrals of deflection times pressure."""
    space = face.model.space
    X, w = get_quadrature(space.basis.elem, degree)
    n = space.dofs.shape[0]
    detDF = np.abs(space.basis.mapping.detDF(X))
    points = Points(np.repeat(np.arange(n), X.shape[1]), np.tile(X, n), (detDF * w).ravel())
    return Surface(
        face.model.locator.positions(points.element, points.local), points.weight, _deflections(face, points)
    )


def face_deflections(face: FaceModel, xy: np.ndarray) -> np.ndarray:
    """Deflection of the basis at points (q, 2) in m, (q, r)."""
    element, local = face.model.locator.locate(np.atleast_2d(xy))
    return _deflections(face, Points(element, local, np.ones(len(element))))


def _deflections(face: FaceModel, points: Points) -> np.ndarray:
    space = face.model.space
    values, _ = shape_functions(space, points)
    w = face.vectors[2 : N_FIELDS * space.n_nodes : N_FIELDS]
    return np.asarray(np.einsum("pj,pjr->pr", values, w[space.dofs[points.element]], optimize=True))


def face_loss(face: FaceModel, values: FaceValues | None = None, n_modes: int = N_MODES) -> np.ndarray:
    """Loss factors of a face's own lowest modes, its rim standing still, (n_modes,).

    Energy that a cycle turns into heat, over 2 pi times the greatest elastic energy: phi^T H phi / phi^T K phi.
    """
    m = face_matrices(face, values)
    _, phi = face_modes(m, n_modes)
    return np.asarray(np.einsum("in,ij,jn->n", phi, m.H, phi) / np.einsum("in,ij,jn->n", phi, m.K, phi))


def face_modes(matrices: FaceMatrices, n_modes: int = N_MODES) -> tuple[np.ndarray, np.ndarray]:
    """Frequencies (n,) in Hz and modes (r, n) of mass 1 of a face whose rim stands still."""
    last = len(matrices.K) - 1
    mu, y = scipy.linalg.eigh(matrices.M, matrices.K, subset_by_index=[last - n_modes + 1, last])
    return 1 / (2 * np.pi * np.sqrt(mu[::-1])), y[:, ::-1] / np.sqrt(mu[::-1])
