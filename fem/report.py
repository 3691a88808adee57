"""The report: one HTML page that needs no other file, no network and no script.

Depends on fem/report_data, geometry/units.
"""

import base64
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import jinja2

from bracedtop.fem.report_data import ModeLine, ReportData, ReportPicture, ShavingLine
from bracedtop.geometry.units import cents, note

SHOWN_STRETCHES = 8
"""Stretches in a mode's own table; chosen: enough to pick from, and the last table has them all."""

SHOWN_PARTS = 6
"""Parts in a mode's table of what governs it; the others are summed up."""

STANDS_STILL_G = 1e5
"""Modal mass above which the bridge counts as standing still, g; chosen: a thousand times that of a top."""

KILOGRAMS_G = 1e4
"""Modal mass from which it is given in kilograms, g."""

FEW_DIGITS = 9.995
"""Hertz per millimetre from which one decimal will do, so that columns stay narrow."""

_PART_WORDS = {
    "top E_L": "top: stiffness along the grain",
    "top E_R": "top: stiffness across the grain",
    "top G_LR": "top: resistance to twisting",
    "top shear": "top: shear through its thickness",
    "top E_T": "top: stiffness along the rings",
    "top G_LT": "top: shear along the grain between the rings",
    "top G_RT": "top: rolling shear",
    "edge": "springs at the rim",
}


@dataclass(frozen=True, slots=True)
class Cell:
    """Effect of a millimetre on one mode, and whether it moves a mode that is right."""

    mode: int
    hz_per_mm: float
    disturbs: bool


@dataclass(frozen=True, slots=True)
class Row:
    """Effects of a millimetre off a stretch, or off a whole brace, on every paired mode."""

    brace: str
    from_mm: float
    to_mm: float
    grams_per_mm: float
    cells: tuple[Cell, ...]
    disturbed: tuple[int, ...]


def report_html(data: ReportData) -> str:
    """The page as one string of HTML.

    Every name out of the user's files is escaped; pictures are embedded.

    Parameters
    ----------
    data : ReportData
    """
    stretch_rows = _rows(data, data.shaving, lambda line: (line.brace, line.from_mm, line.to_mm))
    brace_rows = _rows(data, data.shaving, lambda line: (line.brace,))
    return _template().render(
        data=data,
        invented="invented" in data.note.lower(),
        paired=[mode for mode in data.modes if mode.tap is not None],
        unpaired=[mode for mode in data.modes if mode.tap is None],
        has_targets=any(mode.wanted_hz is not None for mode in data.modes),
        has_spread=any(mode.tap is not None and mode.tap.spread_hz is not None for mode in data.modes),
        has_mac=any(mode.mac is not None for mode in data.modes),
        right=[mode.mode for mode in data.modes if mode.is_right],
        brace_rows=brace_rows,
        stretch_rows=stretch_rows,
        strongest={mode.mode: _strongest(stretch_rows, mode.mode) for mode in data.modes},
    )


def part_words(part: str) -> str:
    """Plain words for a part of the strain energy, such as "top E_L" or "brace x bass"."""
    if part.startswith("joint "):
        return f"crossing of {part.removeprefix('joint ').replace('|', ' and ')}"
    return _PART_WORDS.get(part, part)


def governing(shares: dict[str, float]) -> list[tuple[str, float]]:
    """The largest shares of the strain energy in words, the remaining ones summed up."""
    order = sorted(shares.items(), key=lambda item: -item[1])
    shown = [(part_words(part), share) for part, share in order[:SHOWN_PARTS] if share > 0.005]
    rest = sum(share for _, share in order) - sum(share for _, share in shown)
    return [*shown, ("all the rest", rest)] if rest > 0.005 else shown


def _rows(
    data: ReportData, lines: Iterable[ShavingLine], key: Callable[[ShavingLine], tuple[object, ...]]
) -> tuple[Row, ...]:
    """Shaving lines gathered by stretch or by brace."""
    modes = {mode.mode: mode for mode in data.modes}
    groups: dict[tuple[object, ...], list[ShavingLine]] = {}
    for line in lines:
        groups.setdefault(key(line), []).append(line)
    rows = []
    for group in groups.values():
        rates: dict[int, float] = {}
        pieces: dict[tuple[float, float], float] = {}
        for line in group:
            rates[line.mode] = rates.get(line.mode, 0.0) + line.hz_per_mm
            pieces[line.from_mm, line.to_mm] = line.grams_per_mm
        cells = tuple(
            Cell(mode, rate, modes[mode].is_right and _moves(modes[mode], rate, data.moved_cents))
            for mode, rate in sorted(rates.items())
        )
        rows.append(
            Row(
                group[0].brace,
                min(line.from_mm for line in group),
                max(line.to_mm for line in group),
                sum(pieces.values()),
                cells,
                tuple(cell.mode for cell in cells if cell.disturbs),
            )
        )
    return tuple(rows)


def _moves(mode: ModeLine, hz_per_mm: float, moved_cents: float) -> bool:
    after = mode.hz + hz_per_mm
    return after <= 0 or abs(cents(after, mode.hz)) > moved_cents


def _strongest(rows: Sequence[Row], mode: int) -> list[tuple[Row, Cell]]:
    found = [(row, cell) for row in rows for cell in row.cells if cell.mode == mode]
    return sorted(found, key=lambda pair: -abs(pair[1].hz_per_mm))[:SHOWN_STRETCHES]


@cache
def _template() -> jinja2.Template:
    environment = jinja2.Environment(
        autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    environment.filters.update(
        number=_number,
        signed=_signed,
        note=_note,
        png=data_uri,
        cents_from=_cents_from,
        governing=governing,
        grams=_modal_mass,
        stands_still=lambda grams: not grams < STANDS_STILL_G,
        rate=lambda value: _signed(value, 2 if abs(value) < FEW_DIGITS else 1),
        at_bridge=lambda motion: "stands nearly still" if motion == "nearly still" else motion,
        numbers=lambda values: ", ".join(str(value) for value in values),
    )
    return environment.from_string(files("bracedtop.fem").joinpath("report.html").read_text(encoding="utf-8"))


def _number(value: float | None, decimals: int = 1) -> str:
    if value is None or not math.isfinite(value):
        return "–"
    return f"{value:.{decimals}f}".replace("-", "\N{MINUS SIGN}")


def _signed(value: float, decimals: int = 1) -> str:
    text = f"{value:+.{decimals}f}"
    return _number(0.0, decimals) if float(text) == 0 else text.replace("-", "\N{MINUS SIGN}")


def _note(hz: float) -> str:
    name, deviation = note(hz)
    return f"{name} {_signed(deviation, 0)}"


def _cents_from(hz: float, reference: float) -> str:
    return _signed(cents(hz, reference), 0)


def _modal_mass(grams: float) -> str:
    return f"{grams:.0f} g" if grams < KILOGRAMS_G else f"{grams / 1e3:.0f} kg"


def data_uri(picture: ReportPicture) -> str:
    """A picture as the address of an image in a page."""
    return f"data:image/png;base64,{base64.b64encode(picture.png).decode('ascii')}"
