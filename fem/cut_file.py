"""Cut lists: what was planned, or what was really cut, as a CSV file.

Depends on geometry/cut, fem/csv_rows, fem/toml_file. Either depths along stretches of braces, or heights measured
afterwards.
"""

import contextlib
import csv
import io
import os
import tempfile
from collections.abc import Iterable, Sequence
from itertools import pairwise
from pathlib import Path
from typing import Literal

import numpy as np

from bracedtop.fem.csv_rows import Row, read_rows, refuse
from bracedtop.fem.toml_file import did_you_mean, shown, shown_text
from bracedtop.geometry.cut import EDGE_RING, NEAR, Cut, cut_design, placed
from bracedtop.geometry.design import Design
from bracedtop.geometry.errors import DesignError, FileError
from bracedtop.geometry.units import MM

FILE_NAME = "cut.csv"

DEPTHS = ("brace", "from_mm", "to_mm", "depth_from_mm", "depth_to_mm")
HEIGHTS = ("brace", "at_mm", "height_mm")

HIGHER = 0.3e-3
"""A measured height may be above the one that should be there by this and counts as no cut, m; chosen: what a caliper
and a curved free side leave in doubt."""

LARGEST_FILE = 200_000
FARTHEST_MM, DEEPEST_MM = 3000.0, 300.0


def read_cut(path: Path, design: Design) -> tuple[Cut, ...]:
    """Cuts of a file, checked against the top.

    Two forms. With the columns brace, from_mm, to_mm, depth_from_mm and depth_to_mm each line is a stretch; an empty
    depth_to_mm means the same depth throughout; from_mm and to_mm stay empty for the edge ring. With the columns brace,
    at_mm and height_mm each line is a height measured after the cut: between two measured places the depth is linear,
    and beyond the first and the last one of a brace nothing was cut; for the edge ring, at_mm stays empty and height_mm
    is the thickness left.

    Parameters
    ----------
    path : Path
    design : Design
        The top before these cuts.

    Returns
    -------
    cuts : tuple of Cut
        In the order of the file; measured ones by brace and along it.

    Raises
    ------
    FileError
        If the file cannot be read, a line is not of this form or does not fit the top, or there is not that much wood.
    """
    file = shown_name(path)
    rows = read_rows(path, file, (DEPTHS, HEIGHTS), LARGEST_FILE, "a cut list")
    if not rows:
        refuse(file, None, "has a header but no cut; needs one line for each")
    cuts = _measured(rows, design) if "height_mm" in rows[0].fields else tuple(_stretch(row, design) for row in rows)
    if not cuts:
        refuse(file, None, "takes no wood off anywhere; a pass needs a cut")
    try:
        cut_design(design, cuts)
    except DesignError as error:
        refuse(file, None, str(error))
    return cuts


def cut_text(cuts: Iterable[Cut], comments: Sequence[str] = ()) -> str:
    """Text of a cut list, depths along stretches.

    Parameters
    ----------
    cuts : iterable of Cut
        Lengths are rounded to 0.0001 mm.
    comments : sequence of str
        Lines to put in front, without the #.
    """
    out = io.StringIO()
    for comment in comments:
        out.write(f"# {' '.join(comment.split())}\n")
    csv.writer(out, lineterminator="\n").writerow(DEPTHS)
    for cut in cuts:
        # Unquoted, a name that begins with # would make the line a comment.
        quoting: Literal[0, 1] = csv.QUOTE_ALL if cut.part.startswith("#") else csv.QUOTE_MINIMAL
        ends = ["", ""] if cut.is_ring else [_shown_mm(cut.start), _shown_mm(cut.stop)]
        fields = [cut.part, *ends, _shown_mm(cut.depth_start), _shown_mm(cut.depth_stop)]
        csv.writer(out, lineterminator="\n", quoting=quoting).writerow(fields)
    return out.getvalue()


def write_cut(path: Path, text: str) -> None:
    """Write a new cut list: complete or not at all, and never over another one.

    Raises
    ------
    FileError
        If there is a file of that name, or it cannot be written.
    """
    try:
        number, name = tempfile.mkstemp(prefix=".cut-", suffix=".csv", dir=path.parent)
        aside = Path(name)
        try:
            with open(number, "w", encoding="utf-8", newline="") as file:  # noqa: PTH123
                file.write(text)
                file.flush()
                os.fsync(file.fileno())
            _put(aside, path)
        finally:
            with contextlib.suppress(FileNotFoundError):
                aside.unlink()
    except FileExistsError:
        message = f"{shown_text(str(path))}: is there already; a pass is recorded once, and never overwritten"
        raise FileError(message) from None
    except OSError as error:
        message = f"{shown_text(str(path))}: cannot be written ({error.strerror})"
        raise FileError(message) from error


def shown_name(path: Path) -> str:
    """A cut list in messages: with its pass's folder, which tells it from the others."""
    inside = path.parent.name.startswith("pass-") or path.parent.name == "plan"
    return shown_text(f"{path.parent.name}/{path.name}" if inside else path.name)


def _put(aside: Path, path: Path) -> None:
    """Give a file its name unless that is taken."""
    try:
        # Unlike a rename, a second name is refused where there is one.
        os.link(aside, path)
    except FileExistsError:
        raise
    except OSError:
        # File systems without second names.
        if path.exists():
            raise FileExistsError from None
        aside.rename(path)


def _shown_mm(value: float) -> str:
    return f"{round(value / MM, 4) + 0.0:.4f}".rstrip("0").rstrip(".")


def _name(row: Row, design: Design) -> str:
    name = row.fields["brace"]
    known = [brace.name for brace in design.braces]
    if name == EDGE_RING:
        if design.plate.ring_width == 0:
            row.refuse(f'brace = "{EDGE_RING}"; the drawing has no edge ring, see edge_ring_width_mm')
    elif name not in known:
        braces = f'braces: {", ".join(known) or "none"}; or "{EDGE_RING}"'
        row.refuse(f"brace = {shown(name)}; no such brace; {did_you_mean(name, [*known, EDGE_RING])}{braces}")
    return name


def _stretch(row: Row, design: Design) -> Cut:
    name = _name(row, design)
    allowed = f"a number of mm from 0 to {DEEPEST_MM:g}"
    start = stop = 0.0
    if name == EDGE_RING:
        for column in ("from_mm", "to_mm"):
            if row.fields[column]:
                row.number(column, 0.0, 0.0, f'empty for "{EDGE_RING}", which is thinned all round')
    else:
        start, stop = (row.number(c, 0.0, FARTHEST_MM, "a number of mm along the brace, from 0") for c in DEPTHS[1:3])
    first = row.number("depth_from_mm", 0.0, DEEPEST_MM, allowed)
    last = row.number("depth_to_mm", 0.0, DEEPEST_MM, allowed) if row.fields["depth_to_mm"] else first
    if first == last == 0:
        row.refuse("takes no wood off; one of the depths must be > 0")
    try:
        cut = Cut(name, start * MM, stop * MM, first * MM, last * MM)
        if not cut.is_ring:
            placed(design.brace(name), cut)
    except DesignError as error:
        row.refuse(str(error))
    return cut


def _measured(rows: Sequence[Row], design: Design) -> tuple[Cut, ...]:
    by_part: dict[str, list[Row]] = {}
    for row in rows:
        by_part.setdefault(_name(row, design), []).append(row)
    cuts: list[Cut] = []
    for name, own in by_part.items():
        cuts += _measured_ring(own, design) if name == EDGE_RING else _measured_brace(own, design)
    return tuple(cuts)


def _height(row: Row) -> float:
    return row.number("height_mm", 0.0, DEEPEST_MM, f"a number of mm from 0 to {DEEPEST_MM:g}") * MM


def _measured_ring(rows: Sequence[Row], design: Design) -> list[Cut]:
    row, plate = rows[0], design.plate
    if len(rows) > 1:
        rows[1].refuse(f'"{EDGE_RING}" stands on line {row.line} too; one thickness is given for all of it')
    if row.fields["at_mm"]:
        row.refuse(f'at_mm = {shown(row.fields["at_mm"])}; must be empty for "{EDGE_RING}", which is thinned all round')
    if plate.grid is not None or plate.regions:
        row.refuse(f'"{EDGE_RING}" is of several thicknesses in the drawing; give its depth in a list of depths')
    depth = _taken(row, plate.thickness - plate.ring_reduction, _height(row))
    return [Cut(EDGE_RING, 0.0, 0.0, depth, depth)] if depth > 0 else []


def _measured_brace(rows: Sequence[Row], design: Design) -> list[Cut]:
    brace = design.brace(rows[0].fields["brace"])
    places: list[tuple[float, Row]] = []
    for row in rows:
        s = row.number("at_mm", 0.0, FARTHEST_MM, "a number of mm along the brace, from 0") * MM
        try:
            # The cut itself does not matter, only whether the place is on the brace.
            on = placed(brace, Cut(brace.name, 0.0, s, 0.0, 0.0)).stop if s > NEAR else 0.0
        except DesignError:
            row.refuse(f"at_mm = {s / MM:g}; must lie on the brace, from 0 to {brace.length / MM:.1f}")
        for other, earlier in places:
            if abs(on - other) <= NEAR:
                row.refuse(f"{s / MM:g} mm of this brace stands on line {earlier.line} too; a place is given once")
        places.append((on, row))
    if len(places) < 2:
        rows[0].refuse(
            "is the only height of this brace; two or more are needed, at least one on either side of the cut"
        )
    places.sort(key=lambda pair: pair[0])
    cuts = []
    for (start, first), (stop, last) in pairwise(places):
        # At a step of the brace each stretch has its own side of it.
        depths = (
            _taken(first, float(brace.height(np.array(start))), _height(first)),
            _taken(last, float(brace.height_before(np.array(stop))), _height(last)),
        )
        if max(depths) > 0:
            cuts.append(Cut(brace.name, start, stop, *depths))
    return cuts


def _taken(row: Row, before: float, after: float) -> float:
    """Depth from a height before and one after, m, never negative."""
    if after > before + HIGHER:
        what = f"height_mm = {after / MM:g}; must be at most {before / MM:.2f}, what was there before this pass"
        row.refuse(f"{what} (up to {HIGHER / MM:g} mm more count as no cut)")
    return max(before - after, 0.0)
