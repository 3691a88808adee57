"""The what-if model: a top's modes for other heights, thickness, woods and masses, in milliseconds.

Depends on fem/mac, fem/parameter, fem/plate, fem/reduced_brace, fem/reduced_change, fem/reduced_pairs, fem/reduced_top.

The stiffness of every part is projected on a basis (fem/reduced_basis) once; what a parameter does to it is an exact
function or a polynomial (fem/reduced_top, fem/reduced_brace). A what-if sums a few small matrices and solves a dense
eigenvalue problem; derivatives are exact (those of the reduced model).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from bracedtop.fem.footprint import Points
from bracedtop.fem.locate import Locator
from bracedtop.fem.mac import follow, mac
from bracedtop.fem.parameter import FACTORS, Parameter, drawn_values
from bracedtop.fem.plate import Space, shape_functions
from bracedtop.fem.reduced_brace import BraceTerms
from bracedtop.fem.reduced_change import Slip, brace_change, fibre_motions
from bracedtop.fem.reduced_pairs import lowest_pairs
from bracedtop.fem.reduced_top import CONSTANTS, Coefficients, TopTerms, WoodStiffness, coefficients
from bracedtop.fem.wood import Wood
from bracedtop.geometry.design import Design, Plate
from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.mesh import TopMesh
from bracedtop.geometry.units import GRAM, MM

EXTRA = 4
"""Modes computed behind the last one, so that modes that change places are still found; they are less exact."""

_SLACK = 1e-9


@dataclass(frozen=True, slots=True)
class Reduced:
    """A top reduced to few unknowns.

    Parameters
    ----------
    design, woods : Design and mapping of str to Wood
    parameters : tuple of n Parameter
    mesh, space, locator : TopMesh, Space and Locator
    n_modes : int
        Modes for which it is exact enough.
    n_rigid : int
        The basis begins with so many motions that nothing resists.
    vectors : (n_nodes, r) array, m
        Deflections of the basis at the nodes.
    K, M : (r, r) arrays, N/m and kg
        As drawn.
    own, reach : (n_owners, q_O, q_O) and (n_owners, q_O, r) arrays, N/m
        As drawn: stiffness of the own functions of each brace, and of these with the basis.
    regions : tuple of TopTerms
        The top, and its ring.
    wood : WoodStiffness
    shifts : ((2, r, r), (2, r, r)) arrays
        What patches on the outside and masses add with the first and second power of the change of thickness.
    springs : (r, r) array, N/m
    places : (n_places, r, r) array
        Mass matrices of 1 kg at the places of added mass.
    top_drawn : tuple of Coefficients
        Of the regions as drawn.
    brace_drawn : (n_pieces, n_terms) array
        Values of the pieces' terms as drawn.
    braces : BraceTerms
    top_mass : tuple of (n_M,) arrays
        Of each region, what its mass terms come to.
    drawn_mass : float, kg
        Of the whole.
    """

    design: Design
    woods: Mapping[str, Wood]
    parameters: tuple[Parameter, ...]
    mesh: TopMesh
    space: Space
    locator: Locator
    n_modes: int
    n_rigid: int
    vectors: np.ndarray
    K: np.ndarray
    M: np.ndarray
    own: np.ndarray
    reach: np.ndarray
    regions: tuple[TopTerms, ...]
    wood: WoodStiffness
    shifts: tuple[np.ndarray, np.ndarray]
    springs: np.ndarray
    places: np.ndarray
    braces: BraceTerms
    top_mass: tuple[np.ndarray, ...]
    top_drawn: tuple[Coefficients, ...]
    brace_drawn: np.ndarray
    drawn_mass: float

    @property
    def drawn(self) -> np.ndarray:
        """Values of the parameters in the drawing, (n,)."""
        return drawn_values(self.parameters)


@dataclass(frozen=True, slots=True)
class State:
    """A what-if.

    Parameters
    ----------
    values : (n,) array
        Of the parameters.
    frequencies : (m,) array, Hz
    coordinates : (m, r) array
        Modes in the basis, of modal mass 1 kg.
    fibres : (n_owners, q_O, m) array
        Own motion of each brace's fibres in them.
    mass : float, kg
        Of the whole top.
    """

    values: np.ndarray
    frequencies: np.ndarray
    coordinates: np.ndarray
    fibres: np.ndarray
    mass: float


def check_range(reduced: Reduced, values: np.ndarray) -> None:
    """Refuse values for which the reduced model is not made.

    Raises
    ------
    DesignError
        Naming the first parameter out of range.
    """
    if np.shape(values) != (len(reduced.parameters),) or not np.isfinite(values).all():
        message = f"what-if: {np.shape(values)} values; must be {len(reduced.parameters)} finite numbers"
        raise DesignError(message)
    for parameter, value in zip(reduced.parameters, values, strict=True):
        slack = _SLACK * max(abs(parameter.high), 1e-3)
        if not parameter.low - slack <= value <= parameter.high + slack:
            scale, unit = _shown(parameter)
            message = (
                f"what-if: {parameter.name} = {scale * value:.4g}{unit}; the reduced model holds from "
                f"{scale * parameter.low:.4g} to {scale * parameter.high:.4g}{unit}"
            )
            raise DesignError(message)


def _shown(parameter: Parameter) -> tuple[float, str]:
    if parameter.kind in ("height", "ring"):
        return 1 / MM, " mm"
    return (1 / GRAM, " g") if parameter.kind == "mass" else (1.0, "")


def what_if(reduced: Reduced, values: np.ndarray, *, n_modes: int | None = None) -> State:
    """Modes for other values of the parameters, lowest first.

    Raises
    ------
    DesignError
        If a value is out of the model's range.
    """
    values = np.asarray(values, dtype=float)
    check_range(reduced, values)
    once = _named(reduced, values)
    top = _top(reduced, once)
    terms, _ = reduced.braces.polynomials(values - reduced.drawn)
    K, M, slips = _matrices(reduced, values, once, top, terms)
    lam, Y = lowest_pairs(K, M, reduced.n_rigid, n_modes or reduced.n_modes)
    fibres = fibre_motions(slips, Y, reduced.own.shape[1])
    return State(values, np.sqrt(lam) / (2 * np.pi), Y, fibres, _mass(reduced, values, once, top, terms))


def tracked(reduced: Reduced, values: np.ndarray, reference: State) -> State:
    """As `what_if`, with the modes in the order of those of `reference` from which they grew.

    For large changes track in steps: a pair that mixes on the way has no identity of its own.
    """
    state = what_if(reduced, values, n_modes=len(reference.frequencies) + EXTRA)
    order = list(followed(reduced, state, reference))
    return State(
        state.values, state.frequencies[order], state.coordinates[order], state.fibres[:, :, order], state.mass
    )


def followed(reduced: Reduced, state: State, reference: State) -> tuple[int, ...]:
    """For each mode of `reference` the index of the mode of `state` that it became (modal assurance criterion)."""
    return follow(mac(reference.coordinates.T, state.coordinates.T, reduced.M))


def deflections_at(reduced: Reduced, state: State, points: np.ndarray) -> np.ndarray:
    """Deflection of each mode, scaled to a modal mass of 1 kg, at points (k, 2) in m of the top, (m, k)."""
    element, local = reduced.locator.locate(np.atleast_2d(points))
    space = reduced.space
    values, _ = shape_functions(space, Points(element, local, np.ones(len(element))))
    w = np.einsum("pj,pjr->pr", values, reduced.vectors[space.dofs[element]])
    return np.asarray(state.coordinates @ w.T)


def shapes(reduced: Reduced, state: State) -> np.ndarray:
    """Deflection of each mode at the nodes of the mesh, (m, n_nodes)."""
    return np.asarray(state.coordinates @ reduced.vectors.T)


def _named(reduced: Reduced, values: np.ndarray) -> dict[str, float]:
    """Values of the parameters that come once, with 1 for factors that are missing."""
    once = nominal_factors(reduced.design.plate)
    for parameter, value in zip(reduced.parameters, values, strict=True):
        if parameter.kind in once:
            once[parameter.kind] = float(value)
    return once


def _top(reduced: Reduced, once: Mapping[str, float]) -> list[Coefficients]:
    return top_coefficients(reduced.regions, reduced.wood, once, reduced.design.plate.thickness)


def nominal_factors(plate: Plate) -> dict[str, float]:
    """Factors of a top as drawn, all 1, and the thickness of its ring in m."""
    return {**dict.fromkeys(FACTORS, 1.0), "ring": plate.thickness - plate.ring_reduction}


def top_coefficients(
    regions: Sequence[TopTerms], wood: WoodStiffness, once: Mapping[str, float], nominal: float
) -> list[Coefficients]:
    """What the terms of the top and of its ring are multiplied by."""
    stiffness = wood(np.array([once[key] for key in CONSTANTS]))
    return [coefficients(terms, stiffness, once, once["ring"] - nominal) for terms in regions]


def _matrices(
    reduced: Reduced,
    values: np.ndarray,
    once: Mapping[str, float],
    top: Sequence[Coefficients],
    terms: np.ndarray,
) -> tuple[np.ndarray, np.ndarray, list[Slip]]:
    """Stiffness and mass in the basis, and how the fibres of braces follow it."""
    K, M = reduced.K.copy(), reduced.M.copy()
    for region, here, there in zip(reduced.regions, top, reduced.top_drawn, strict=True):
        if (here.K != there.K).any():
            K += np.tensordot(here.K - there.K, region.stiffness, 1)
        if (here.M != there.M).any():
            M += np.tensordot(here.M - there.M, region.mass, 1)
    s = once["thickness"] - 1
    if s:
        K += s * reduced.shifts[0][0] + s * s * reduced.shifts[0][1]
        M += s * reduced.shifts[1][0] + s * s * reduced.shifts[1][1]
    if once["springs"] != 1:
        K += (once["springs"] - 1) * reduced.springs
    added = np.array([v for p, v in zip(reduced.parameters, values, strict=True) if p.kind == "mass"])
    if added.any():
        M += np.tensordot(added, reduced.places, 1)
    if not len(reduced.braces.U):
        return K, M, []
    factors = once["brace_E"], once["brace_density"]
    stiff, heavy, slips = brace_change(reduced.braces, reduced.own, reduced.reach, terms, reduced.brace_drawn, factors)
    return K + stiff, M + heavy, slips


def _mass(
    reduced: Reduced,
    values: np.ndarray,
    once: Mapping[str, float],
    top: Sequence[Coefficients],
    terms: np.ndarray,
) -> float:
    mass = reduced.drawn_mass
    for m, here, there in zip(reduced.top_mass, top, reduced.top_drawn, strict=True):
        mass += float((here.M - there.M) @ m)
    mass += float(sum(v for p, v in zip(reduced.parameters, values, strict=True) if p.kind == "mass"))
    change = once["brace_density"] * terms - reduced.brace_drawn
    return mass + float((change * reduced.braces.whole_mass).sum())


def mass_rates(reduced: Reduced, state: State) -> np.ndarray:
    """What each parameter does to the top's mass, (n,) in kg per unit."""
    once = _named(reduced, state.values)
    poly, by_input = reduced.braces.polynomials(state.values - reduced.drawn)
    per_input = np.einsum("pit,pt->pi", by_input, reduced.braces.whole_mass)
    out = once["brace_density"] * np.einsum("pi,pin->n", per_input, reduced.braces.inputs)
    top = _top(reduced, once)
    for i, parameter in enumerate(reduced.parameters):
        if parameter.kind == "mass":
            out[i] += 1.0
        elif parameter.kind == "brace_density":
            out[i] += float((poly * reduced.braces.whole_mass).sum())
        else:
            for m, region in zip(reduced.top_mass, top, strict=True):
                if parameter.kind in region.M_rates:
                    out[i] += float(region.M_rates[parameter.kind] @ m)
    return np.asarray(out)


def rates(reduced: Reduced, state: State) -> np.ndarray:
    """What each parameter does to each frequency, (m, n) in Hz per unit: exact derivatives of the reduced model.

    Of modes that share one frequency, derivatives mean those of the vectors at hand.

    References
    ----------
    R. L. Fox, M. P. Kapoor, AIAA J. 6 (1968) 2426, eq. 12.
    """
    Y, lam = state.coordinates, (2 * np.pi * state.frequencies) ** 2
    once = _named(reduced, state.values)
    braces = reduced.braces
    poly, by_input = braces.polynomials(state.values - reduced.drawn)
    Z = np.matmul(braces.U, Y.T)
    at = braces.owner < len(reduced.own)
    Z[at] += np.matmul(braces.O[at], state.fibres[braces.owner[at]])
    D = np.matmul(braces.V, Y.T)
    along, both = _quadratic(braces.along, Z), _quadratic(braces.both, Z)
    heavy = _quadratic(braces.mass, D) * lam
    each = both + (once["brace_E"] - 1) * along - once["brace_density"] * heavy
    out = np.einsum("pin,pim->mn", braces.inputs, np.matmul(by_input, each), optimize=True)
    single: dict[str, np.ndarray] = {
        "brace_E": np.einsum("pt,ptm->m", poly, along),
        "brace_density": -np.einsum("pt,ptm->m", poly, heavy),
        "springs": _squares(reduced.springs[None], Y)[0],
    }
    for terms, region in zip(reduced.regions, _top(reduced, once), strict=True):
        K_t, M_t = _squares(terms.stiffness, Y), _squares(terms.mass, Y) * lam
        for kind, rate in region.K_rates.items():
            single[kind] = single.get(kind, 0.0) + rate @ K_t
        for kind, rate in region.M_rates.items():
            single[kind] = single.get(kind, 0.0) - rate @ M_t
    s = once["thickness"] - 1
    for matrices, sign in zip(reduced.shifts, (np.ones_like(lam), -lam), strict=True):
        first, second = _squares(matrices, Y)
        single["thickness"] = single["thickness"] + sign * (first + 2 * s * second)
    places = iter(-_squares(reduced.places, Y) * lam)
    for i, parameter in enumerate(reduced.parameters):
        if parameter.kind == "mass":
            out[:, i] = next(places)
        elif parameter.kind != "height":
            out[:, i] = single[parameter.kind]
    return np.asarray(out / (8 * np.pi**2 * state.frequencies)[:, None])


def _quadratic(matrices: np.ndarray, Z: np.ndarray) -> np.ndarray:
    """z^T S z for every piece, term and mode, (n, t, m), of S (n, t, q, q) and Z (n, q, m)."""
    n, t, q, _ = matrices.shape
    Z = Z.astype(matrices.dtype)
    square = (Z[:, :, None, :] * Z[:, None, :, :]).reshape(n, q * q, Z.shape[2])
    return np.asarray(np.matmul(matrices.reshape(n, t, q * q), square))


def _squares(matrices: np.ndarray, Y: np.ndarray) -> np.ndarray:
    """y^T A y for every matrix (t, r, r) and mode (m, r), (t, m)."""
    return np.asarray(np.einsum("tmr,mr->tm", np.matmul(Y, matrices), Y))
