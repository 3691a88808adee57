"""The instrument as built in tables for its book: plate, braces, woods, box, strings, and what the maker says of it.

Depends on fem/book_data, fem/case, geometry.
"""

import math

import numpy as np

from bracedtop.fem.book_data import BookTable
from bracedtop.fem.case import Case
from bracedtop.geometry.box import Finish
from bracedtop.geometry.brace import Brace
from bracedtop.geometry.design import Design
from bracedtop.geometry.units import DEGREE, GPA, GRAM, MM, note

NOT_SAID = "not recorded"

_EDGES = {
    "free": "free: the top was tapped lying loose",
    "clamped": "clamped along the rim",
    "hinged": "hinged along the rim",
    "springs": "on springs along the rim",
}


def mm(value: float, digits: int = 1) -> str:
    """A length in m as a text in mm, without needless zeros."""
    # Adding zero turns minus zero into zero.
    text = f"{round(value / MM, digits) + 0.0:.{digits}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def facts(case: Case, built: Design) -> tuple[tuple[str, str], ...]:
    """What the instrument is, in short; what the maker did not say is said not to be recorded."""
    build = case.build
    left, bottom, right, top = built.outline.polygon.bounds
    said = [
        ("Maker", build.maker),
        ("Serial", build.serial),
        ("Built", build.date),
        ("Glue of the braces", build.glue_of_braces),
        ("Glue of the bridge", build.glue_of_bridge),
        ("Glue of the rim", build.glue_of_rim),
        ("Finish", build.finish_kind),
    ]
    return (
        *((term, words or NOT_SAID) for term, words in said),
        ("Top", f"{mm(right - left)} by {mm(top - bottom)} mm, {built.plate.wood}"),
        ("Edge while the top was tuned", _EDGES[built.edge.kind]),
    )


def plate_tables(built: Design, face: str = "top") -> tuple[BookTable, ...]:
    """Thickness of a plate, its grain, holes, and what is glued to it beside braces."""
    plate = built.plate
    rows = [
        ("wood", plate.wood),
        ("thickness", f"{mm(plate.thickness, 2)} mm"),
        ("grain", f"{plate.grain_angle / DEGREE:.1f} degrees from the centreline, anticlockwise"),
    ]
    if plate.ring_width > 0:
        taken, width = mm(plate.ring_reduction, 2), mm(plate.ring_width)
        rows.append(("edge ring", f"{width} mm wide along the rim, thinned by {taken} mm on the outside"))
    if plate.ring_angle:
        rows.append(("growth rings", f"{plate.ring_angle / DEGREE:.0f} degrees from quarter-sawn"))
    if plate.runout:
        rows.append(("run-out of the grain", f"{plate.runout / DEGREE:.1f} degrees"))
    if plate.dome is not None and not plate.dome.is_flat:
        radii = {"along the grain": plate.dome.radius_along, "across it": plate.dome.radius_across}
        bent = [f"{radius:.2f} m {way}" for way, radius in radii.items() if math.isfinite(radius)]
        rows.append(("dome", f"radius {', '.join(bent)}"))
    if plate.grid is not None:
        h = plate.grid.points[:, 2]
        rows.append(("measured", f"{len(h)} places, {mm(h.min(), 2)} to {mm(h.max(), 2)} mm; all in the CSV file"))
    for k, region in enumerate(plate.regions, start=1):
        rows.append((f"area {k} of its own", f"{mm(region.thickness, 2)} mm; its border is in top-as-built.toml"))
    for k, hole in enumerate(built.holes, start=1):
        low, high = hole.outline().points.min(axis=0), hole.outline().points.max(axis=0)
        x, y = (low + high) / 2
        rows.append((f"hole {k}", f"{mm(high[0] - low[0])} by {mm(high[1] - low[1])} mm about [{mm(x)}, {mm(y)}] mm"))
    tables = [BookTable(f"The plate of the {face}", ("what", "as built"), tuple(rows), left=2)]
    if built.patches:
        tables.append(_patches(built, face))
    if built.masses:
        own = tuple(
            (mass.name, f"{mass.mass / GRAM:.1f}", f"[{mm(mass.at[0])}, {mm(mass.at[1])}]") for mass in built.masses
        )
        tables.append(BookTable(f"Small parts on the {face}", ("part", "g", "at x, y mm"), own))
    return tuple(tables)


def _patches(built: Design, face: str) -> BookTable:
    rows = []
    for patch in built.patches:
        x, y = patch.polygon.centroid.coords[0]
        thick = f"{mm(patch.thickness, 2)}{' at most' if patch.profile is not None else ''}"
        grain = f"{patch.grain_angle / DEGREE:.0f}"
        rows.append((patch.name, patch.wood, patch.side, thick, grain, f"[{mm(x)}, {mm(y)}]"))
    head = ("patch", "wood", "side", "thick mm", "grain degrees", "centre x, y mm")
    return BookTable(f"Bridge and patches on the {face}", head, tuple(rows), left=3)


def brace_tables(drawn: Design, built: Design, first: int = 1, kind: str = "Brace") -> tuple[BookTable, ...]:
    """Every brace: what it is, then heights along it as drawn and as built; joints last."""
    if not built.braces:
        return ()
    rows = [
        (
            str(number),
            brace.name,
            brace.wood,
            {"square": "square", "rounded": "rounded", "peaked": "peaked"}[brace.shape],
            mm(brace.length),
            mm(brace.width, 2),
            f"[{mm(brace.path[0, 0])}, {mm(brace.path[0, 1])}]",
            f"[{mm(brace.path[-1, 0])}, {mm(brace.path[-1, 1])}]",
        )
        for number, brace in enumerate(built.braces, start=first)
    ]
    head = ("no.", "brace", "wood", "free side", "long mm", "wide mm", "from x, y mm", "to x, y mm")
    tables = [BookTable(f"{kind}s; x runs from the tail end to the neck, y to the right", head, tuple(rows), left=4)]
    for number, brace in enumerate(built.braces, start=first):
        tables.append(_heights(number, drawn.brace(brace.name), brace, kind))
    if built.joints:
        crossed: tuple[tuple[str, ...], ...] = tuple(
            (joint.under, joint.over, "half of the lower" if joint.kept is None else mm(joint.kept), mm(joint.cap))
            for joint in built.joints
        )
        titles = ("whole below", "notched over it", "left of the lower one mm", "cap mm")
        tables.append(BookTable("Crossings", titles, crossed, left=2))
    return tuple(tables)


def _heights(number: int, drawn: Brace, built: Brace, kind: str) -> BookTable:
    places: list[float] = []
    for s in np.unique(np.concatenate([[0.0, built.length], drawn.stations[:, 0], built.stations[:, 0]])):
        if not places or s - places[-1] > 0.05 * MM:
            places.append(float(s))
    rows = tuple((mm(s), _height(drawn, s), _height(built, s)) for s in places)
    caption = f"{kind} {number}, {built.name}: height along it"
    return BookTable(caption, ("at mm", "drawn mm", "built mm"), rows, left=0)


def _height(brace: Brace, s: float) -> str:
    """Height at a place; at a step both sides of it."""
    before, behind = (mm(float(h), 2) for h in (brace.height_before(np.array(s)), brace.height(np.array(s))))
    return before if before == behind or s <= 0 or s >= brace.length else f"{before} | {behind}"


def wood_tables(case: Case) -> tuple[BookTable, ...]:
    """Constants of every wood, and where they come from."""
    head = ("wood", "density kg/m³", "E_L GPa", "E_R GPa", "E_T GPa", "G_LR GPa", "G_LT GPa", "G_RT GPa", "moisture %")
    rows: list[tuple[str, ...]] = []
    origins: list[tuple[str, ...]] = []
    for name, wood in sorted(case.woods.items()):
        moduli = (wood.E_L, wood.E_R, wood.E_T, wood.G_LR, wood.G_LT, wood.G_RT)
        rows.append((name, f"{wood.density:.0f}", *(f"{v / GPA:.3g}" for v in moduli), f"{100 * wood.moisture:.1f}"))
        loss = case.losses.get(name)
        damped = "" if loss is None else f"{loss.along:.4f}, {loss.across:.4f}, {loss.shear:.4f}"
        nu = f"{wood.nu_LR:.3f}, {wood.nu_LT:.3f}, {wood.nu_RT:.3f}"
        origins.append((name, wood.source or NOT_SAID, nu, damped or NOT_SAID))
    more = ("wood", "where the values come from", "ν LR, LT, RT", "loss along, across, shear")
    return (
        BookTable("Woods", head, tuple(rows)),
        BookTable("Origin of these values", more, tuple(origins), left=2),
    )


def box_tables(case: Case) -> tuple[BookTable, ...]:
    """Sides, linings, blocks, finish, and the back with its braces; nothing for a top alone."""
    box = case.box
    if box is None:
        return ()
    rows = [("sides", f"{box.sides.wood}, {mm(box.sides.thickness, 2)} mm")]
    rows += [
        (f"depth inside the rim at x = {mm(x)} mm", f"{mm(depth)} mm") for x, depth in np.asarray(box.sides.stations)
    ]
    for lining in box.linings:
        kerf = (
            f"; saw cuts {mm(lining.kerf_width)} wide and {mm(lining.kerf_depth)} deep every {mm(lining.kerf_pitch)} mm"
            if lining.kerf_pitch
            else "; solid"
        )
        where = "the face rests on it alone" if lining.alone else "the face rests on it and on the sides"
        size = f"{mm(lining.width)} wide, {mm(lining.height)} high"
        rows.append((f"lining of the {lining.face}", f"{lining.wood}, {size}{kerf}; {where}"))
    for block in box.blocks:
        rows.append((f"{block.end} block", f"{block.wood}, {mm(block.length)} long, {mm(block.width)} wide"))
    rows += [(f"finish of the {finish.face}", _finish(finish)) for finish in box.finishes]
    if box.neck_mass:
        rows.append(("neck, head and machines", f"{box.neck_mass / GRAM:.0f} g"))
    return (
        BookTable("The box", ("what", "as built"), tuple(rows), left=2),
        *plate_tables(box.back, "back"),
        *brace_tables(box.back, box.back, kind="Back brace"),
    )


def _finish(finish: Finish) -> str:
    words = [f"{finish.mass / GRAM:.0f} g/m²"]
    if finish.thickness:
        words.append(f"film {finish.thickness / MM:.3g} mm")
    if finish.modulus:
        words.append(f"{finish.modulus / GPA:.3g} GPa")
    if finish.loss:
        words.append(f"loss factor {finish.loss:.3g}")
    return ", ".join(words)


def string_tables(case: Case) -> tuple[BookTable, ...]:
    """Strings and how they meet the bridge."""
    strings = case.strings
    if strings is None:
        return ()
    rows = tuple(
        (
            string.name,
            f"{string.tension:.1f}",
            "" if string.frequency is None else f"{string.frequency:.2f}",
            "" if string.frequency is None else note(string.frequency)[0],
            string.material or "",
            "" if string.diameter is None else mm(string.diameter, 3),
        )
        for string in strings.strings
    )
    facts = [
        ("pull in all", f"{sum(string.tension for string in strings.strings):.0f} N"),
        ("height over the top at the saddle", f"{mm(strings.saddle_height)} mm"),
        ("anchored at", strings.anchor),
        ("spread at the saddle", f"{mm(strings.spread)} mm"),
    ]
    if strings.scale_length is not None:
        facts.append(("scale length", f"{mm(strings.scale_length)} mm"))
    head = ("string", "pull N", "Hz", "note", "make", "diameter mm")
    return (
        BookTable("Strings, from the bass side", head, rows),
        BookTable("How they meet the bridge", ("what", "as built"), tuple(facts), left=2),
    )


def paragraphs(text: str) -> tuple[str, ...]:
    """Words of the maker, parted where a line is blank."""
    parts = "\n".join(line.strip() for line in text.splitlines()).split("\n\n")
    return tuple(" ".join(part.split()) for part in parts if part.strip())
