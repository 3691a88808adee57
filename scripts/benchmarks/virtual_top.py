"""Tops that exist in numbers only: what is hidden of them, how they ring when tapped, and what a cut does to them.

Depends on fem/model, fem/prior, fem/taps, geometry/cut, geometry/pattern.

Hidden of each top are the woods, the thicknesses and the heights of all braces along their lengths, drawn from the
prior of fem/prior; besides, what no parameter of the calibration stands for: every brace's own stiffness about the
others', constants that matter little, and the heights of the notches. The top itself is a full solution on a mesh of
other and smaller triangles than those of the model that is calibrated. All drawings are invented.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import shapely
from scipy.spatial import cKDTree

from bracedtop.fem.mac import follow, mac
from bracedtop.fem.model import Model, Modes, build_model, deflections, solve
from bracedtop.fem.parameter import drawing_at, parameters_of
from bracedtop.fem.prior import Prior, default_prior
from bracedtop.fem.taps import Measured
from bracedtop.fem.wood import Wood
from bracedtop.fem.wood_table import handbook_wood
from bracedtop.geometry.cut import Cut, cut_design
from bracedtop.geometry.design import Design, Edge, Plate
from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.mesh import TopMesh, mesh_top
from bracedtop.geometry.outline import Hole, body_outline
from bracedtop.geometry.pattern import crossed_x, fan, ladder
from bracedtop.geometry.units import MM

REAL_MESH = 18 * MM
"""Size of the triangles of the real top; the model's is 22 mm."""

N_SOLVED = 14
"""Modes of a real top; a few more than are heard, so that they can be followed."""

N_HEARD = 10
"""Lowest modes that a tap is analysed for."""

FARTHEST = 2.5
"""Hidden values beyond so many standard deviations are drawn again; chosen: a board like that is not bought."""

OWN_STIFFNESS = 0.03
"""Standard deviation of ln E_L of one brace about all braces'; chosen: they are split from one billet."""

OTHER_CONSTANTS = 0.10
"""Of ln of E_T, G_LT and G_RT, and of the braces' E_R and G_LR; chosen."""

NOTCH = 0.3 * MM
"""Of the height left of the lower brace under a crossing, m; chosen: a joint cut by hand."""

TAP_ERROR = (0.0005, 0.0015)
"""Standard errors of a frequency, relative: each drawn between these; as the fit of several hits gives them."""

N_HITS = 6
"""The error that is told beside a frequency is itself estimated from the spread over so many hits."""

TAPPED_AT = ((0.30, 0.02), (0.22, 0.55), (0.75, 0.4))
"""Points that are tapped and listened to: part of the body's length from the tail end, and of the half width there."""

WEAK, WEAK_MISSED, MISSED = 0.10, 0.6, 0.03
"""A mode that moves at none of the tapped points by this part of its largest motion is missed so often, another one
that often; chosen."""

TOO_CLOSE = 0.008
"""Of two modes closer than this, relative, only the stronger one is heard; chosen: 1.6 Hz at 200 Hz."""

NODE_STILL, NODE_SEEN = 0.03, 8 * MM
"""A node is seen at a point that moves less than this part of the largest motion, give or take this distance."""

DEPTH_ERROR = 0.2 * MM
"""Standard deviation of the depth of a cut, m."""

END_ERROR = 3 * MM
"""Largest error of the end of a cut, m."""

CALIPER = 0.07 * MM
"""Standard deviation of a depth as it is measured afterwards, m."""

GRID = 24 * MM
"""Distance of the points by which shapes are told apart, m."""


@dataclass(frozen=True, slots=True)
class Pattern:
    """A drawing that is built many times."""

    name: str
    title: str
    design: Design
    woods: dict[str, Wood]


@dataclass(frozen=True, slots=True)
class RealTop:
    """A top as it lies on the bench; only taps and a caliper tell of it."""

    design: Design
    woods: dict[str, Wood]
    mesh: TopMesh


@dataclass(frozen=True, slots=True)
class Ring:
    """How a top rings.

    Parameters
    ----------
    frequencies : (n,) array, Hz
    shapes : (n, k) array
        Deflections at the pattern's points, the largest of each mode 1.
    tapped : (n,) array
        Largest motion at the tapped points, relative to the largest anywhere.
    mass : float, kg
    """

    frequencies: np.ndarray
    shapes: np.ndarray
    tapped: np.ndarray
    mass: float


@cache
def patterns() -> dict[str, Pattern]:
    """The three patterns by name."""
    outline = body_outline(480 * MM, 370 * MM, 123 * MM, 236 * MM, 288 * MM, 280 * MM, 400 * MM)
    hole = Hole(np.array([335 * MM, 0.0]), np.array([46 * MM, 46 * MM]))
    woods = {name: handbook_wood(name) for name in ("spruce_sitka", "spruce_engelmann", "cedar_western_red")}
    wood = "spruce_sitka"
    free, hinged = Edge("free"), Edge("hinged")
    made = (
        ("x", "crossed X, free rim", wood, 2.8, crossed_x(outline, hole, wood), free),
        ("fan", "fan of seven struts, hinged rim", "cedar_western_red", 2.5, fan(outline, hole, wood), hinged),
        ("ladder", "ladder of five bars, hinged rim", "spruce_engelmann", 2.7, ladder(outline, hole, wood), hinged),
    )
    return {
        name: Pattern(
            name,
            title,
            Design(outline, Plate(top, thickness * MM), (hole,), braces, edge=edge),
            {key: woods[key] for key in dict.fromkeys((top, wood))},
        )
        for name, title, top, thickness, braces, edge in made
    }


@cache
def pattern_prior(name: str) -> Prior:
    """What is known of a top of the pattern before it is tapped, and what hidden values are drawn from."""
    pattern = patterns()[name]
    return default_prior(pattern.design, pattern.woods, parameters_of(pattern.design))


@cache
def real_mesh(name: str, size: float = REAL_MESH) -> TopMesh:
    """Mesh of the real tops of the pattern."""
    return mesh_top(patterns()[name].design, size)


@cache
def grid(name: str) -> np.ndarray:
    """Points (k, 2) of the pattern at which shapes are compared, m."""
    region = patterns()[name].design.region.buffer(-2 * MM)
    x0, y0, x1, y1 = region.bounds
    X, Y = np.meshgrid(np.arange(x0, x1, GRID), np.arange(y0, y1, GRID), indexing="ij")
    inside = shapely.contains_xy(region, X.ravel(), Y.ravel())
    return np.column_stack([X.ravel(), Y.ravel()])[inside]


def hidden_top(pattern: Pattern, rng: np.random.Generator, size: float = REAL_MESH) -> RealTop:
    """A top built to the pattern's drawing, with everything in it that a maker does not know."""
    prior = pattern_prior(pattern.name)
    design, woods = drawing_at(pattern.design, pattern.woods, prior.parameters, drawn_from(prior, rng))
    others = {"top": ("E_T", "G_LT", "G_RT")}
    woods = {
        name: _scattered(wood, others.get(name, ("E_R", "E_T", "G_LR", "G_LT", "G_RT")), rng)
        for name, wood in woods.items()
    }
    braces = []
    for brace in design.braces:
        own = f"{brace.name} itself"
        woods[own] = replace(woods[brace.wood], name=own, E_L=woods[brace.wood].E_L * _factor(OWN_STIFFNESS, rng))
        braces.append(replace(brace, wood=own))
    joints = tuple(
        replace(joint, kept=joint.kept + float(rng.normal(0.0, NOTCH))) if joint.kept is not None else joint
        for joint in design.joints
    )
    return RealTop(replace(design, braces=tuple(braces), joints=joints), woods, real_mesh(pattern.name, size))


def drawn_from(prior: Prior, rng: np.random.Generator) -> np.ndarray:
    """Values of all parameters, (n,), at random."""
    sd = np.sqrt(np.diag(prior.covariance))
    values, vectors = np.linalg.eigh(prior.covariance)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    while True:
        off = root @ rng.standard_normal(len(sd))
        if (np.abs(off) <= FARTHEST * sd + 1e-15).all():
            break
    return np.where(prior.is_factor, prior.mean * np.exp(off), prior.mean + off)


def ring(pattern: Pattern, top: RealTop) -> Ring:
    """How the real top rings: a full solution on its own mesh."""
    model = build_model(top.design, top.woods, mesh=top.mesh)
    return ring_of(pattern, model, solve(model, N_SOLVED))


def ring_of(pattern: Pattern, model: Model, modes: Modes) -> Ring:
    """What of a solution can be heard and seen."""
    points = grid(pattern.name)
    tapped = tap_points(pattern)
    w = deflections(model, modes, np.vstack([points, tapped]))
    largest = np.abs(w).max(axis=1, keepdims=True)
    w = w / largest
    return Ring(modes.frequencies, w[:, : len(points)], np.abs(w[:, len(points) :]).max(axis=1), model.mass())


def tap_points(pattern: Pattern) -> np.ndarray:
    """Points that are tapped, (3, 2) in m."""
    outline = pattern.design.outline
    found = []
    for part, aside in TAPPED_AT:
        x = part * outline.length
        half = float(outline.points[np.abs(outline.points[:, 0] - x).argmin(), 1])
        found.append((x, aside * abs(half)))
    return np.array(found)


def motion_at(pattern: Pattern, shapes: np.ndarray) -> Callable[[np.ndarray], np.ndarray]:
    """Relative motion |w| of modes, (n, k), at any points (k, 2) in m, out of shapes at the pattern's points."""
    tree = cKDTree(grid(pattern.name))

    def motion(points: np.ndarray) -> np.ndarray:
        distance, near = tree.query(points, k=3)
        weight = 1.0 / np.maximum(distance, 1e-6)
        return np.abs(np.einsum("npk,pk->np", shapes[:, near], weight / weight.sum(axis=1, keepdims=True)))

    return motion


def became(before: Ring, after: Ring) -> np.ndarray:
    """For each mode before, as many as can be, the index of the mode that it became, (n - 2,)."""
    n = len(before.frequencies) - 2
    return np.array(follow(mac(before.shapes[:n].T, after.shapes.T)))


def likeness(before: Ring, after: Ring) -> np.ndarray:
    """MAC of each mode before with the one that it became, (n - 2,)."""
    successor = became(before, after)
    return mac(before.shapes[: len(successor)].T, after.shapes.T)[np.arange(len(successor)), successor]


def taps(pattern: Pattern, sounds: Ring, rng: np.random.Generator, watched: Sequence[int] = ()) -> tuple[Measured, ...]:
    """Measured modes: frequencies with errors, some missing; where nodes were looked for, two points of them.

    Parameters
    ----------
    pattern : Pattern
    sounds : Ring
    rng : Generator
    watched : sequence of int
        Modes (from 0) of the real top that matter to the maker: tapped until they are heard, if a neighbour does not
        drown them, and made visible with powder.
    """
    heard = []
    f = sounds.frequencies
    for k in range(N_HEARD):
        beside = [j for j in (k - 1, k + 1) if j >= 0 and abs(f[k] - f[j]) < TOO_CLOSE * f[k]]
        drowned = any(sounds.tapped[j] > sounds.tapped[k] for j in beside)
        missed = rng.random() < (0.0 if k in watched else WEAK_MISSED if sounds.tapped[k] < WEAK else MISSED)
        relative = rng.uniform(*TAP_ERROR)
        hz = f[k] * (1.0 + relative * rng.standard_normal())
        told = relative * f[k] * np.sqrt(rng.chisquare(N_HITS - 1) / (N_HITS - 1))
        q = rng.uniform(35.0, 90.0)
        nodes = _nodes(pattern, sounds.shapes[k], rng) if k in watched else ()
        if not (drowned or missed):
            heard.append((float(hz), float(told), float(q), nodes))
    heard.sort(key=lambda mode: mode[0])
    return tuple(
        Measured(
            number=number,
            hz=hz,
            spread_hz=told * np.sqrt(N_HITS),
            decay_time=float(np.log(1000.0) * q / (np.pi * hz)),
            q=q,
            nodes=nodes,
            std_error_hz=told,
        )
        for number, (hz, told, q, nodes) in enumerate(heard, start=1)
    )


def _nodes(pattern: Pattern, shape: np.ndarray, rng: np.random.Generator) -> tuple[tuple[float, float], ...]:
    """Two points, well apart, at which a mode was seen to stand still."""
    points = grid(pattern.name)
    still = np.flatnonzero(np.abs(shape) < NODE_STILL * np.abs(shape).max())
    if len(still) < 2:
        still = np.argsort(np.abs(shape))[:4]
    first = int(rng.choice(still))
    away = np.hypot(*(points[still] - points[first]).T)
    second = int(rng.choice(still[away >= np.median(away)]))
    seen = points[[first, second]] + rng.uniform(-NODE_SEEN, NODE_SEEN, (2, 2)) / np.sqrt(2.0)
    region = pattern.design.region
    return tuple((float(x), float(y)) for x, y in seen if shapely.contains_xy(region, x, y))


def cut_by_hand(top: RealTop, cuts: Sequence[Cut], rng: np.random.Generator) -> tuple[RealTop, tuple[Cut, ...]]:
    """The top after cuts that were asked for, and these as a caliper finds them to have been made.

    Half of the error's variance is a whole cut's, half that of each of its ends, so that cuts taper; neighbours that
    share an end share its error.
    """
    made, measured = [], []
    shift: dict[tuple[str, float], float] = {}
    own: dict[tuple[str, float], float] = {}
    for cut in cuts:
        whole = rng.normal(0.0, DEPTH_ERROR / np.sqrt(2.0))
        if cut.is_ring:
            deep = max(cut.depth_start + rng.normal(0.0, DEPTH_ERROR), 0.0)
            made.append(replace(cut, depth_start=deep, depth_stop=deep))
            told = max(deep + rng.normal(0.0, CALIPER), 0.0)
            measured.append(replace(cut, depth_start=told, depth_stop=told))
            continue
        length = top.design.brace(cut.part).length
        for end in (cut.start, cut.stop):
            at_end = end < 1 * MM or end > length - 1 * MM
            shift.setdefault((cut.part, end), 0.0 if at_end else float(rng.uniform(-END_ERROR, END_ERROR)))
            own.setdefault((cut.part, end), float(rng.normal(0.0, DEPTH_ERROR / np.sqrt(2.0))))
        ends = [min(max(end + shift[cut.part, end], 0.0), length) for end in (cut.start, cut.stop)]
        # Where a cut runs out to nothing, the blade leaves the wood: that end errs in place only.
        depths = [
            max(depth + whole + own[cut.part, end], 0.0) if depth > 0 else 0.0
            for depth, end in ((cut.depth_start, cut.start), (cut.depth_stop, cut.stop))
        ]
        if ends[1] - ends[0] < 1 * MM:
            continue
        done = Cut(cut.part, ends[0], ends[1], depths[0], depths[1])
        told_depths = [max(depth + rng.normal(0.0, CALIPER), 0.0) if depth > 0 else 0.0 for depth in depths]
        made.append(done)
        measured.append(replace(done, depth_start=told_depths[0], depth_stop=told_depths[1]))
    return replace(top, design=_as_deep_as_it_goes(top.design, made)), tuple(measured)


def _as_deep_as_it_goes(design: Design, cuts: Sequence[Cut]) -> Design:
    """The design after cuts; where all of them would go through a brace, one by one, each as deep as it can."""
    try:
        return cut_design(design, cuts)
    except DesignError:
        pass
    for cut in cuts:
        for part in (1.0, 0.7, 0.4, 0.2):
            shallower = replace(cut, depth_start=part * cut.depth_start, depth_stop=part * cut.depth_stop)
            try:
                design = cut_design(design, [shallower])
            except DesignError:
                continue
            break
    return design


def _scattered(wood: Wood, keys: Iterable[str], rng: np.random.Generator) -> Wood:
    return replace(wood, **{key: getattr(wood, key) * _factor(OTHER_CONSTANTS, rng) for key in keys})


def _factor(sd: float, rng: np.random.Generator) -> float:
    return float(np.exp(sd * rng.standard_normal()))
