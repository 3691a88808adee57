"""Pictures and the report page of a comparison."""

import math
from collections.abc import Sequence
from importlib.metadata import version
from pathlib import Path

from bracedtop.fem.case import Case
from bracedtop.fem.deflection import deflection_map, write_deflections
from bracedtop.fem.describe import ModeSummary
from bracedtop.fem.ladder_picture import Rung, ladder_picture
from bracedtop.fem.mac_picture import ShapeColumn, mac_picture
from bracedtop.fem.mode_picture import mode_picture
from bracedtop.fem.model import Model, Modes
from bracedtop.fem.picture import PictureJob, PictureResult, draw_pictures
from bracedtop.fem.report import report_html
from bracedtop.fem.report_data import (
    BraceLine,
    Drawing,
    ModeLine,
    ReportData,
    ReportPicture,
    ShavingLine,
    TapLine,
)
from bracedtop.fem.shaving_picture import plan_picture, shaving_picture, stretch_shapes
from bracedtop.fem.taps import Measured
from bracedtop.fem.top_view import top_view
from bracedtop.geometry.design import Plate
from bracedtop.geometry.units import DEGREE, MM
from bracedtop.scripts.comparison import MOVED_CENTS, RIGHT_CENTS, Comparison

EDGES = {
    "free": "free, lying loose",
    "clamped": "clamped along the rim",
    "hinged": "hinged along the rim",
    "springs": "on its sides: springs along the rim",
}


def draw_modes(case: Case, model: Model, modes: Modes, summaries: Sequence[ModeSummary], folder: Path) -> PictureResult:
    """Draw every mode into ``pictures`` and write the shapes as modes.vtu."""
    fields = deflection_map(model, modes)
    write_deflections(fields, modes, folder / "modes.vtu", case.design.plate.dome)
    view = top_view(case.design)
    return draw_pictures([mode_picture(view, fields, summary) for summary in summaries], folder / "pictures")


def write_report(found: Comparison, folder: Path) -> str | None:
    """Draw all pictures and write report.html; returns a note about the pictures, if there is one."""
    fields = deflection_map(found.model, found.modes)
    view = top_view(found.case.design)
    paired = {p.mode: p for p in found.pairing.pairs}
    measured = {m.number: m for m in found.taps.measured}
    targets = {t.mode: t for t in found.case.targets}
    rungs = [
        Rung(s.mode, s.hz, s.name, paired[s.mode].measured_hz, paired[s.mode].ambiguous_with)
        if s.mode in paired
        else Rung(s.mode, s.hz, s.name)
        for s in found.summaries
    ]
    jobs = [
        plan_picture(view),
        ladder_picture(
            rungs,
            [measured[k].hz for k in found.pairing.unpaired_measured],
            [(t.mode, t.hz) for t in found.case.targets],
        ),
        *_likeness(found),
        *(mode_picture(view, fields, summary) for summary in found.summaries),
        *(
            shaving_picture(
                view, fields, found.summaries[mode - 1], stretch_shapes(found.case.design, found.shaving, mode)
            )
            for mode in sorted(paired)
        ),
    ]
    drawn = draw_pictures(jobs, folder / "pictures")
    pictures = {job.name: ReportPicture.from_file(path, job.alt) for job, path in zip(jobs, drawn.paths, strict=True)}
    lines = tuple(
        ModeLine(
            s.mode,
            s.hz,
            s.name,
            s.nodal_lines,
            1e3 * s.modal_mass,
            s.shares,
            tap=_tap(measured[paired[s.mode].number]) if s.mode in paired else None,
            wanted_hz=targets[s.mode].hz if s.mode in targets else None,
            wanted_words=targets[s.mode].text if s.mode in targets else "",
            is_right=s.mode in found.right,
            picture=pictures.get(f"mode-{s.mode:02d}"),
            shaving_map=pictures.get(f"shaving-{s.mode:02d}"),
            bridge=s.bridge.name,
            mac=paired[s.mode].mac if s.mode in paired else None,
        )
        for s in found.summaries
    )
    data = ReportData(
        found.case.name,
        found.case.note,
        _drawing(found),
        lines,
        tuple(_tap(measured[k]) for k in found.pairing.unpaired_measured),
        tuple(
            ShavingLine(r.brace, r.start / MM, r.stop / MM, r.mode, r.hz_per_mm, r.grams_per_mm) for r in found.shaving
        ),
        RIGHT_CENTS,
        MOVED_CENTS,
        _mesh_facts(found),
        (*found.warnings, *([drawn.note] if drawn.note else [])),
        pictures["plan"],
        pictures["ladder"],
        f"bracedtop {version('braced-top')}",
        pictures.get("mac"),
        tuple(_sentence(close.words) for close in found.ambiguous),
    )
    (folder / "report.html").write_text(report_html(data), encoding="utf-8")
    return drawn.note


def _likeness(found: Comparison) -> list[PictureJob]:
    """The matrix of the MAC, if a shape was measured."""
    pairing = found.pairing
    if pairing.mac is None:
        return []
    shapes = [(j, m.shape) for j, m in enumerate(found.taps.measured) if m.shape is not None]
    measured = [found.taps.measured[j] for j, _ in shapes]
    return [
        mac_picture(
            [(s.mode, s.hz) for s in found.summaries],
            [ShapeColumn(m.number, m.hz, len(shape.points)) for m, (_, shape) in zip(measured, shapes, strict=True)],
            pairing.mac[:, [j for j, _ in shapes]],
            [(p.mode, p.number) for p in pairing.pairs],
            [(other, p.number) for p in pairing.pairs for other in p.ambiguous_with],
        )
    ]


def _sentence(words: str) -> str:
    """With a capital, a stop and the sign for minus."""
    return f"{words[:1].upper()}{words[1:]}.".replace(" -", " \N{MINUS SIGN}")


def _tap(measured: Measured) -> TapLine:
    return TapLine(measured.hz, measured.spread_hz, measured.decay_time, measured.q, measured.label)


def _drawing(found: Comparison) -> Drawing:
    design, model = found.case.design, found.model
    plate = design.plate
    x0, y0, x1, y1 = design.outline.polygon.bounds
    used = {plate.wood, *(b.wood for b in design.braces), *(p.wood for p in design.patches)}
    return Drawing(
        (x1 - x0) / MM,
        (y1 - y0) / MM,
        plate.thickness / MM,
        _thickness_words(plate),
        plate.wood,
        EDGES[design.edge.kind],
        1e3 * (model.mass("top") + model.mass("ring")),
        1e3 * (model.mass("brace") + model.mass("joint")),
        1e3 * (model.mass("patch") + model.mass("mass")),
        tuple(
            BraceLine(b.name, b.wood, b.length / MM, b.width / MM, float(b.stations[:, 1].max()) / MM)
            for b in design.braces
        ),
        tuple((name, found.case.woods[name].source) for name in sorted(used)),
    )


def _thickness_words(plate: Plate) -> str:
    words = []
    if plate.grid is not None:
        low, high = plate.grid.points[:, 2].min() / MM, plate.grid.points[:, 2].max() / MM
        words.append(f"measured at {len(plate.grid.points)} points, {low:.2f} to {high:.2f} mm")
    if plate.regions:
        listed = " and ".join(f"{region.thickness / MM:g}" for region in plate.regions)
        words.append(f"{listed} mm in {'an area of its' if len(plate.regions) == 1 else 'areas of their'} own")
    if plate.ring_width > 0:
        words.append(f"{plate.ring_reduction / MM:g} mm less in a ring {plate.ring_width / MM:g} mm wide along the rim")
    if plate.dome is not None and not plate.dome.is_flat:
        radii = {"along": plate.dome.radius_along, "across": plate.dome.radius_across}
        bent = [f"{radius:g} m {way}" for way, radius in radii.items() if math.isfinite(radius)]
        words.append(f"domed to a radius of {' and '.join(bent)}")
    return "; ".join(words)


def _mesh_facts(found: Comparison) -> tuple[tuple[str, str], ...]:
    mesh, modes = found.model.mesh, found.modes
    return (
        ("triangles", f"{mesh.flat.t.shape[1]} of {mesh.size / MM:g} mm"),
        ("smallest angle", f"{mesh.min_angle / DEGREE:.0f} degrees"),
        ("unknowns", str(found.model.n_unknowns)),
        ("largest residual of a mode", f"{modes.residual:.0e}"),
        ("rigid motions set apart", str(modes.n_rigid)),
    )
