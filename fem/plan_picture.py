"""Pictures of a plan: where to cut, seen from the inside; the cut braces from the side; where the modes go.

Depends on fem/colours, fem/picture, fem/placement, fem/plan, fem/scene, fem/shaving_picture, fem/top_view, geometry.
"""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import shapely
import shapely.ops

from bracedtop.fem.colours import INK, PAPER, PENCIL, Rgb, falling, rising, tuple_of
from bracedtop.fem.picture import PictureJob
from bracedtop.fem.placement import beside
from bracedtop.fem.plan import BAND, Plan
from bracedtop.fem.scene import Align, Area, Label, Scene, Shape, Stroke, box, dashes, fitted, printable
from bracedtop.fem.shaving_picture import nice_limit
from bracedtop.fem.target import CENT
from bracedtop.fem.top_view import (
    MARGIN,
    SMALL,
    Frame,
    TopView,
    borders,
    frame_of,
    ground,
    heading,
    part_lines,
    scene,
    strip,
    top_view,
)
from bracedtop.geometry.brace import Brace
from bracedtop.geometry.cut import EDGE_RING, Cut, cut_brace
from bracedtop.geometry.design import Design

_BRACE_WOOD: Rgb = (235, 216, 184)
_STEPS = 101
_PIECE = 4e-3
"""Length of the coloured pieces of a cut, m; chosen: below what the eye tells apart."""

_TITLE, _WORDS, _FIGURE = 38, 25, 23
_WIDTH = 1000


def _strip(brace: Brace, cuts: Sequence[Cut]) -> np.ndarray:
    """Border of the part of a brace's strip that is cut, (n, 2) in m."""
    path = shapely.LineString(brace.path)
    whole = shapely.ops.substring(path, min(cut.start for cut in cuts), max(cut.stop for cut in cuts))
    return np.asarray(whole.buffer(brace.width / 2, cap_style="flat", join_style="mitre").exterior.coords)


def cut_map(design: Design, cuts: Sequence[Cut], title: str) -> PictureJob:
    """The top from the inside with the cuts of a pass in the colour of their depth, named ``cuts``.

    Parameters
    ----------
    design : Design
        The top before the pass.
    cuts : sequence of Cut
    title : str
    """
    view = top_view(design)
    frame = frame_of(view)
    deepest = max((max(cut.depth_start, cut.depth_stop) for cut in cuts), default=0.0)
    top = nice_limit(1e3 * deepest)
    shapes: list[Shape] = [*ground(view, frame)]
    shapes += [Area(frame.place(border), _BRACE_WOOD) for _, border, _ in view.braces]
    colours = falling(_STEPS)
    for cut in cuts:
        if not cut.is_ring:
            shapes += _coloured(design.brace(cut.part), cut, frame, colours, top)
    shapes += part_lines(view, frame)
    shapes += _marks(design, cuts, frame)
    shapes += _first_ends(view, cuts, frame)
    wanted = []
    for name, _, _ in view.braces:
        own = [cut for cut in cuts if cut.part == name]
        if own:
            border = _strip(design.brace(name), own)
            depth = 1e3 * max(max(cut.depth_start, cut.depth_stop) for cut in own)
            wanted.append(
                (f"{fitted(name, SMALL, 0.4 * frame.width, smallest=SMALL)[0]}: {depth:.1f}", frame.place(border))
            )
    ring = next((cut for cut in cuts if cut.is_ring), None)
    words = "figures: deepest place, mm; bars: corners; dot: distances start here"
    if ring is not None:
        words = f"edge ring: {1e3 * ring.depth_start:.1f} mm off the outside all round"
    labels = [*heading(frame, title, "", words), *beside(wanted, SMALL, frame.width, borders(view, frame))]
    bar, bar_labels = _depth_bar(frame, top)
    names = ", ".join(dict.fromkeys(printable(cut.part) for cut in cuts)) or "none"
    alt = f"Map of the cuts, seen from inside, neck up; cut are: {names}."
    return PictureJob("cuts", scene(frame, [*shapes, *bar], [*labels, *bar_labels]), alt)


def _coloured(brace: Brace, cut: Cut, frame: Frame, colours: np.ndarray, top: float) -> list[Shape]:
    n = max(1, round((cut.stop - cut.start) / _PIECE))
    edges = np.linspace(cut.start, min(cut.stop, brace.length), n + 1)
    found: list[Shape] = []
    for a, b in pairwise(edges):
        depth = 1e3 * float(cut.depth(np.array([(a + b) / 2]))[0])
        # A hair of overlap, or the ground shines through between the pieces.
        border = strip(brace, float(a), float(min(b + 0.3e-3, brace.length)))
        found.append(Area(frame.place(border), tuple_of(colours[round(min(depth / top, 1.0) * (_STEPS - 1))])))
    return found


def _marks(design: Design, cuts: Sequence[Cut], frame: Frame) -> list[Shape]:
    """Bars across a brace at the corners of its cuts."""
    found: list[Shape] = []
    for cut in cuts:
        if cut.is_ring:
            continue
        brace = design.brace(cut.part)
        for s in (cut.start, min(cut.stop, brace.length)):
            (middle,), (along,) = brace.position(np.array([s]))
            across = 0.9 * brace.width * np.array([-along[1], along[0]])
            found.append(Stroke(frame.place(np.array([middle - across, middle + across])), 3.0, INK))
    return found


def _first_ends(view: TopView, cuts: Sequence[Cut], frame: Frame) -> list[Shape]:
    turn = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    circle = 9 * np.column_stack([np.cos(turn), np.sin(turn)])
    found: list[Shape] = []
    for name, border, start in view.braces:
        if any(cut.part == name for cut in cuts):
            end, middle = frame.place(start)[0], frame.place(border).mean(axis=0)
            outward = (end - middle) / max(float(np.hypot(*(end - middle))), 1.0)
            found.append(Area(end + 14 * outward + circle, INK))
    return found


def _depth_bar(frame: Frame, top: float) -> tuple[list[Shape], list[Label]]:
    """Scale of the depths above the lowest line of the picture."""
    left, right, y = MARGIN, MARGIN + 0.45 * (frame.width - 2 * MARGIN), 96.0
    edges = np.linspace(left, right, _STEPS + 1)
    bar: list[Shape] = [
        Area(box(a, y - 12, b + 0.5, y + 12), tuple_of(colour))
        for a, b, colour in zip(edges[:-1], edges[1:], falling(_STEPS), strict=True)
    ]
    bar.append(Stroke(box(left, y - 12, right, y + 12), 1.5, PENCIL, closed=True))
    return bar, [
        Label(left, y - 30, "0", SMALL - 3, PENCIL),
        Label(right, y - 30, f"{top:g} mm deep", SMALL - 3, PENCIL, align="right"),
    ]


def side_views(design: Design, cuts: Sequence[Cut], title: str) -> PictureJob:
    """Each cut brace from the side, before and after, heights drawn larger than lengths; named ``braces``.

    Parameters
    ----------
    design : Design
        The top before the pass.
    cuts : sequence of Cut
    title : str
    """
    names = [name for name in dict.fromkeys(cut.part for cut in cuts) if name != EDGE_RING]
    braces = [design.brace(name) for name in names]
    room = _WIDTH - 2 * MARGIN
    scale = room / max((brace.length for brace in braces), default=1.0)
    taller = _tallness(braces, scale)
    shapes: list[Shape] = []
    labels: list[Label] = []
    heights = [taller * scale * float(brace.stations[:, 1].max()) + 150.0 for brace in braces]
    total = int(np.ceil(150.0 + sum(heights)))
    y = total - 150.0
    for brace, height in zip(braces, heights, strict=True):
        base = y - height + 62.0
        own = [cut for cut in cuts if cut.part == brace.name]
        more_shapes, more_labels = _side(brace, own, base, scale, taller)
        shapes += more_shapes
        labels += [*more_labels, Label(MARGIN, y - 22, *fitted(brace.name, _WORDS, 0.6 * room, bold=True), bold=True)]
        y -= height
    labels += [
        Label(MARGIN, total - 42, *fitted(title, _TITLE, room, bold=True), bold=True),
        Label(
            MARGIN,
            total - 88,
            *fitted(
                f"below: mm along the brace; above: mm to take off (dark); heights drawn {taller:g} times larger",
                _WORDS,
                room,
            ),
            PENCIL,
        ),
    ]
    ground_ = Area(box(0, 0, _WIDTH, total), PAPER)
    alt = f"Side views of the braces to cut, before and after: {', '.join(printable(n) for n in names) or 'none'}."
    return PictureJob("braces", Scene(_WIDTH, total, (ground_, *shapes), tuple(labels)), alt)


def _tallness(braces: Sequence[Brace], scale: float) -> float:
    """How much larger heights are drawn than lengths: so that the tallest brace is 120 px tall."""
    tallest = max((float(brace.stations[:, 1].max()) for brace in braces), default=1.0)
    return float(max(1.0, np.round(120.0 / (scale * tallest))))


def _side(
    brace: Brace, cuts: Sequence[Cut], base: float, scale: float, taller: float
) -> tuple[list[Shape], list[Label]]:
    after = cut_brace(brace, cuts)
    ends = [min(end, brace.length) for cut in cuts for end in (cut.start, cut.stop)]
    dark = tuple_of(falling(5)[3])
    s = np.unique(np.concatenate([np.linspace(0, brace.length, 200), brace.stations[:, 0], ends]))
    x = MARGIN + scale * s
    before_y, after_y = (base + scale * taller * b.height(s) for b in (brace, after))
    foot = np.column_stack([x[[-1, 0]], [base, base]])
    wood = np.vstack([np.column_stack([x, after_y]), foot])
    # In upright pieces: a polygon that is a mere line in places is not filled by every renderer.
    taken = [
        Area(np.column_stack([x[[k, k + 1, k + 1, k]], [*after_y[k : k + 2], *before_y[k : k + 2][::-1]]]), dark)
        for k in range(len(s) - 1)
        if before_y[k] + before_y[k + 1] > after_y[k] + after_y[k + 1] + 1e-6
    ]
    shapes: list[Shape] = [
        Area(wood, _BRACE_WOOD),
        *taken,
        Stroke(np.column_stack([x, before_y]), 1.5, PENCIL),
        Stroke(np.column_stack([x, after_y]), 2.5, INK),
        Stroke(np.column_stack([x[[0, -1]], [base, base]]), 2.5, INK),
    ]
    labels: list[Label] = []
    corners = _corners(cuts)
    # Figures that would touch go to a second line.
    last = [-np.inf, -np.inf]
    for at, depth in corners:
        px = MARGIN + scale * min(at, brace.length)
        top = base + scale * taller * float(brace.height(np.array([min(at, brace.length)]))[0])
        shapes += [Stroke(dash, 1.2, PENCIL) for dash in dashes(np.array([[px, base - 8], [px, top + 10]]), 5.0, 5.0)]
        line = 0 if px - last[0] > 52 else 1
        last[line] = px
        align: Align = "left" if px < MARGIN + 20 else "right" if px > _WIDTH - MARGIN - 20 else "centre"
        labels.append(Label(px, base - 24 - 22 * line, f"{1e3 * at:.0f}", _FIGURE - 3, PENCIL, align=align))
        labels.append(Label(px, top + 24 + 22 * line, f"{1e3 * depth:.1f}", _FIGURE, INK, bold=True, align=align))
    return shapes, labels


def _corners(cuts: Sequence[Cut]) -> list[tuple[float, float]]:
    """Places and depths at the ends of cuts, each place once; the deeper one at a step."""
    found: dict[float, float] = {}
    for cut in cuts:
        for at, depth in ((cut.start, cut.depth_start), (cut.stop, cut.depth_stop)):
            key = round(at, 6)
            found[key] = max(found.get(key, 0.0), depth)
    return sorted(found.items())


def way_picture(plan: Plan, title: str) -> PictureJob:
    """For each target where it is, where the re-tap should find it, and its band, in cents; named ``way``.

    Parameters
    ----------
    plan : Plan
    title : str
    """
    rows = list(zip(plan.goals, plan.targets, strict=True))
    points = [[goal.value(np.log(hz)) / CENT for hz in (plan.now, plan.expected, plan.final)] for goal, _ in rows]
    zero = [(goal.low if np.isfinite(goal.low) else goal.high) / CENT for goal, _ in rows]
    away = np.array(points).reshape(-1, 3) - np.array(zero)[:, None]
    most = nice_limit(max(float(np.abs(away).max(initial=0.0)) + 10.0, 25.0))
    low = -most if (away < -8).any() or any(not np.isfinite(goal.low) for goal, _ in rows) else -0.25 * most
    left, right, pitch = MARGIN + 12.0, _WIDTH - MARGIN - 12.0, 150.0
    height = int(165 + pitch * len(rows) + 60)

    def x(value: float) -> float:
        return float(left + (np.clip(value, low, most) - low) / (most - low) * (right - left))

    shapes: list[Shape] = [Area(box(0, 0, _WIDTH, height), PAPER)]
    labels: list[Label] = [
        Label(MARGIN, height - 42, *fitted(title, _TITLE, _WIDTH - 2 * MARGIN, bold=True), bold=True),
        Label(
            MARGIN,
            height - 88,
            *fitted("cents from the target; shaded: its band; bars: 95 %", _WORDS, _WIDTH - 2 * MARGIN),
            PENCIL,
        ),
    ]
    band_colour, expected_colour = tuple_of(rising(9)[2]), tuple_of(falling(5)[3])
    log_sd = np.log(plan.high / plan.expected) / BAND
    for k, ((goal, target), values) in enumerate(zip(rows, away, strict=True)):
        y = height - 185.0 - pitch * k
        high = (goal.high / CENT - zero[k]) if np.isfinite(goal.high) else most
        start = 0.0 if np.isfinite(goal.low) else low
        shapes.append(Area(box(x(start), y - 62, x(high), y + 10), band_colour))
        shapes.append(Stroke(np.array([[x(0), y - 66], [x(0), y + 14]]), 3.0, INK))
        name, size = fitted(f"{target.words}{'' if target.is_must else ' (wanted)'}", _WORDS, _WIDTH - 2 * MARGIN - 24)
        labels.append(Label(left, y + 32, name, size, bold=True))
        now_sd = float(np.abs(goal.row) @ (plan.now_sd / plan.now))
        after_sd = float(np.abs(goal.row) @ log_sd)
        for line, (value, sd, colour, words) in enumerate(
            ((values[0], now_sd, INK, "now"), (values[1], after_sd, expected_colour, "after this pass"))
        ):
            at = y - 10 - 32 * line
            reach = BAND * sd / CENT
            shapes.append(Stroke(np.array([[x(value - reach), at], [x(value + reach), at]]), 4.0, colour))
            shapes.append(Area(_disc(x(value), at, 9.0), colour))
            beyond = x(value + reach) + 14
            side: Align = "left" if beyond < right - 190 else "right"
            place = beyond if side == "left" else x(value - reach) - 14
            hz = plan.now if line == 0 else plan.expected
            figure = f"{words} {hz[target.mode - 1]:.1f} Hz" if not target.other else f"{words} {value:+.0f} cents"
            labels.append(Label(place, at, figure, _FIGURE - 2, colour, align=side, halo=True))
    bottom = height - 185.0 - pitch * (len(rows) - 1) - 84.0
    shapes.append(Stroke(np.array([[left, bottom], [right, bottom]]), 2.0, PENCIL))
    step = next((s for s in (5, 10, 25, 50, 100, 200) if (most - low) / s <= 10), 500)
    for tick in np.arange(np.ceil(low / step), np.floor(most / step) + 1) * step:
        shapes.append(Stroke(np.array([[x(tick), bottom], [x(tick), bottom - 8]]), 2.0, PENCIL))
        labels.append(Label(x(tick), bottom - 26, f"{tick:+.0f}" if tick else "0", _FIGURE - 3, PENCIL, align="centre"))
    words = "; ".join(target.words for target in plan.targets)
    return PictureJob(
        "way", Scene(_WIDTH, height, tuple(shapes), tuple(labels)), f"Where the modes go, in cents: {words}."
    )


def _disc(x: float, y: float, radius: float) -> np.ndarray:
    turn = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    return np.column_stack([x + radius * np.cos(turn), y + radius * np.sin(turn)])


def plan_pictures(design: Design, plan: Plan, number: int) -> list[PictureJob]:
    """All pictures of a plan; those of cuts only if there are any.

    Parameters
    ----------
    design : Design
        The top before the pass.
    plan : Plan
    number : int
        Of the pass.
    """
    jobs = [way_picture(plan, f"Pass {number}: where the modes go")] if plan.targets else []
    if plan.cuts:
        jobs.append(cut_map(design, plan.cuts, f"Pass {number}: where to cut"))
        if any(not cut.is_ring for cut in plan.cuts):
            jobs.append(side_views(design, plan.cuts, f"Pass {number}: the braces from the side"))
    return jobs
