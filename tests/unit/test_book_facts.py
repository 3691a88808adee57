"""Tables and drawings of the instrument's book, read back against the drawing."""

from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest

from bracedtop.fem.as_built import as_built_tables
from bracedtop.fem.book_data import BookTable
from bracedtop.fem.book_drawing import plan_figure, sides_figure, thickness_figure, widths
from bracedtop.fem.book_facts import box_tables, brace_tables, facts, mm, plate_tables, string_tables, wood_tables
from bracedtop.fem.case import read_case
from bracedtop.geometry.cut import Cut, cut_design

WREN = Path(__file__).parents[2] / "cases" / "wren"


@pytest.fixture(scope="module")
def wren():
    return read_case(WREN)


def cells(tables: tuple[BookTable, ...]) -> str:
    for table in tables:
        assert all(len(row) == len(table.head) for row in table.rows), table.caption
    return "\n".join(" ; ".join(row) for table in tables for row in table.rows)


def test_lengths_in_mm() -> None:
    assert [mm(v) for v in (0.12, -1e-9, 0.00251, 0.1234)] == ["120", "0", "2.5", "123.4"]


def test_strings(wren) -> None:
    """The masses were chosen for a sum of 742 N, see the case."""
    text = cells(string_tables(wren))
    assert "pull in all ; 742 N" in text
    assert "E2 ; " in text
    assert "scale length ; 632 mm" in text


def test_box(wren) -> None:
    text = cells(box_tables(wren))
    assert "sides ; rosewood_indian, 2.2 mm" in text
    assert "depth inside the rim at x = 480 mm ; 108 mm" in text
    assert "saw cuts 1.2 wide and 4.5 deep every 8 mm" in text
    assert "finish of the top ; 70 g/m², film 0.06 mm, 2 GPa, loss factor 0.05" in text
    assert "radius 4.50 m along the grain, 4.50 m across it" in text
    assert "back 4" in text


def test_woods_plate_and_facts(wren) -> None:
    text = cells(wood_tables(wren))
    assert all(wood in text for wood in wren.woods)
    assert f"{wren.woods['spruce_sitka'].density:.0f}" in text
    plate = cells(plate_tables(wren.design))
    assert "thickness ; 2.8 mm" in plate
    assert "hole 1 ; 96 by 96 mm about [334, 0] mm" in plate
    said = dict(facts(wren, wren.design))
    assert said["Glue of the braces"] == "not recorded"
    assert said["Top"].startswith("480 by 372 mm")


def test_heights_drawn_and_built(wren) -> None:
    built = cut_design(wren.design, [Cut("x bass", 0.1, 0.2, 0.5e-3, 0.5e-3)])
    tables = brace_tables(wren.design, built)
    assert tables[0].rows[0][:5] == ("1", "x bass", "spruce_sitka", "rounded", "402.5")
    heights = {row[0]: row[1:] for row in tables[1].rows}
    assert heights["150"] == ("10.5", "10")
    # A step at the end of the cut: both heights stand there.
    drawn = 10.5 + 3.5 * 50 / 80
    assert heights["200"] == (mm(drawn * 1e-3, 2), f"{mm((drawn - 0.5) * 1e-3, 2)} | {mm(drawn * 1e-3, 2)}")


def test_widest_and_narrowest_places() -> None:
    """Of a curve whose half width is 100 + 20 cos y: widest where y is 0 and 2 pi, narrowest between."""
    y = np.linspace(-2, 8.3, 2000)
    x = 100 + 20 * np.cos(y)
    outline = np.vstack([np.column_stack([x, 50 * y]), np.column_stack([-x, 50 * y])[::-1]])
    found = widths(outline)
    assert [what for _, _, what in found] == ["widest", "narrowest", "widest"]
    assert [at for at, _, _ in found] == pytest.approx([0, 50 * np.pi, 100 * np.pi], abs=2)
    assert [w for _, w, _ in found] == pytest.approx([240, 160, 240], abs=0.1)


def test_drawings_are_whole_svg(wren) -> None:
    plan = plan_figure(wren.design, "a <b> & c")
    root = ElementTree.fromstring(str(plan.content))
    words = [text.text for text in root.iter("{http://www.w3.org/2000/svg}text")]
    # Sizes of the drawing: body length, both bouts and the waist, the hole.
    assert {"480.0", "372.0", "232.0", "276.0", "⌀ 96.0"} <= set(words)
    assert {str(k) for k in range(1, 10)} <= set(words)
    assert thickness_figure(wren.design) is None
    sides = sides_figure(wren.design, wren.design)
    assert sides is not None
    ElementTree.fromstring(str(sides.content))


def test_tables_of_an_uncut_drawing_stay(wren) -> None:
    tables = {"brace": [{"name": b.name, "stations_mm": [[0, 1], [2, 3]]} for b in wren.design.braces], "top": {}}
    assert as_built_tables(tables, wren.design, wren.design) == tables
