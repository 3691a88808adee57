"""The template at full size: measured in the written PDF and SVG files by readers that did not write them.

Sizes of paper are those of ISO 216 (A4 210 x 297 mm, A3 297 x 420 mm) and 8.5 x 11 inches; a point is 1/72 inch
(ISO 32000-1, 8.3.2.3, default user space).
"""

import io
from itertools import pairwise
from xml.etree import ElementTree

import numpy as np
import pytest
import shapely

from bracedtop.fem.sheet import PAPERS, Line, Words
from bracedtop.fem.template import BAR, FOOT, MARGIN, template_pdf, template_sheets, template_svg
from bracedtop.fem.template_marks import STATION_WIDTH, depths_shown, station_places
from bracedtop.fem.template_plan import AROUND, OUTLINE, tiles
from bracedtop.geometry.brace import Brace
from bracedtop.geometry.cut import EDGE_RING, Cut
from bracedtop.geometry.design import Design, Plate
from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.outline import polygon_outline

pypdf = pytest.importorskip("pypdf", reason="pypdf measures the written PDF")

MM = 1e-3
POINT = 25.4 / 72


def brace(name: str, path: list[list[float]], stations: list[list[float]], width: float = 8) -> Brace:
    return Brace(name, "spruce_sitka", MM * np.array(path), width * MM, MM * np.array(stations))


LONG = brace("long", [[40, -90], [360, 110]], [[0, 4], [120, 12], [250, 9], [377, 4]])
SHORT = brace("short", [[60, -60], [60, 61.5]], [[0, 5], [30, 9.5], [121.5, 6]], width=6)
TOP = Design(
    outline=polygon_outline(MM * np.array([[0, -190], [480, -130], [480, 130], [0, 190]])),
    plate=Plate("spruce_sitka", 3 * MM, ring_width=20 * MM),
    braces=(LONG, SHORT),
)
CUTS = (
    Cut("short", 30 * MM, 100 * MM, 0.6 * MM, 0.6 * MM),
    Cut("long", 50 * MM, 120 * MM, 0.2 * MM, 0.9 * MM),
    Cut(EDGE_RING, 0, 0, 0.3 * MM, 0.3 * MM),
)


def segments(page) -> list[tuple[float, np.ndarray]]:
    """Straight pieces of a PDF's page: width of the pen and both ends, mm."""
    found: list[tuple[float, np.ndarray]] = []
    at, width, start = np.zeros(2), 1.0, np.zeros(2)

    def visit(operator, operands, matrix, _):
        nonlocal at, width, start
        a, b, c, d, e, f = (float(v) for v in matrix)
        if operator == b"w":
            width = float(operands[0])
        elif operator in (b"m", b"l"):
            x, y = (float(v) for v in operands[:2])
            to = POINT * np.array([a * x + c * y + e, b * x + d * y + f])
            if operator == b"m":
                start = to
            else:
                found.append((POINT * width * np.hypot(a, b), np.array([at, to])))
            at = to
        elif operator == b"h":
            found.append((POINT * width * np.hypot(a, b), np.array([at, start])))

    page.extract_text(visitor_operand_before=visit)
    return found


@pytest.fixture(scope="module", params=sorted(PAPERS))
def printed(request):
    content = template_pdf(CUTS, TOP, request.param, title="measured top")
    return request.param, pypdf.PdfReader(io.BytesIO(content))


def test_every_page_has_its_size_and_a_bar_of_100_mm(printed) -> None:
    paper, document = printed
    for page in document.pages:
        size = POINT * np.array([float(page.mediabox.width), float(page.mediabox.height)])
        assert sorted(size) == pytest.approx(sorted(PAPERS[paper]), abs=0.01)
        assert "/UserUnit" not in page
        bars = [
            float(np.hypot(*(line[1] - line[0])))
            for width, line in segments(page)
            if width == pytest.approx(0.5, abs=1e-3) and line[0][1] == pytest.approx(line[1][1])
        ]
        assert bars == pytest.approx([100.0], abs=0.01)
        text = " ".join(page.extract_text().split())
        assert "Measure this bar before use: 100 mm" in text
        assert "Print at 100 % (actual size), no fitting to the page" in text
        assert "measured top" in text


def test_station_marks_of_a_side_are_at_their_distances(printed) -> None:
    """Marks under the sides are the only upright ones of their width; the short brace is whole on any paper."""
    _, document = printed
    sides = [page for page in document.pages if "glued face down" in page.extract_text()]
    rows: dict[float, list[float]] = {}
    for width, line in segments(sides[0]):
        if width == pytest.approx(STATION_WIDTH, abs=1e-3) and line[0][0] == pytest.approx(line[1][0]):
            rows.setdefault(round(float(line[:, 1].max()), 2), []).append(float(line[0][0]))
    marks = sorted(rows.values(), key=len)
    expected = [0, 30, 100, 121.5]
    assert any(len(m) == 4 and np.allclose(np.sort(m) - min(m), expected, atol=0.05) for m in marks)


def test_a_brace_in_the_plan_is_as_long_as_drawn(printed) -> None:
    """The short brace lies across the top, so that its marks stand upright; wherever the paper has it whole."""
    _, document = printed
    found = []
    for page in document.pages:
        if "from the inside" not in page.extract_text():
            continue
        xs = [
            float(line[0][0])
            for width, line in segments(page)
            if width == pytest.approx(STATION_WIDTH, abs=1e-3)
            and line[0][0] == pytest.approx(line[1][0], abs=1e-6)
            and abs(line[0][1] - line[1][1]) == pytest.approx(8.0, abs=0.05)
        ]
        if len(xs) == 4:
            found.append(np.sort(xs) - min(xs))
    for marks in found:
        assert marks == pytest.approx([0, 30, 100, 121.5], abs=0.05)
    assert found or printed[0] != "A3"


@pytest.mark.parametrize("paper", sorted(PAPERS))
def test_sheets_cover_the_outline(paper: str) -> None:
    """The pieces of the outline, put back by their windows, are the outline."""
    sheets = [s for s in template_sheets(CUTS, TOP, paper) if "from the inside" in s.title]
    outline = shapely.Polygon(1e3 * TOP.outline.points[:, ::-1])
    left, bottom, right, top = outline.bounds
    around = (left - AROUND, bottom - AROUND, right + AROUND, top + AROUND)
    width, height = sheets[0].width - 2 * MARGIN, sheets[0].height - 2 * MARGIN - FOOT
    used = [t for t in tiles(around, width, height) if outline.intersects(shapely.box(*t.window))]
    assert len(used) == len(sheets)
    pieces = []
    for sheet, tile in zip(sheets, used, strict=True):
        shift = np.array([MARGIN, MARGIN + FOOT]) - np.array(tile.window[:2])
        for item in sheet.items:
            if isinstance(item, Line):
                assert (item.points > -1e-9).all()
                assert (item.points < [sheet.width + 1e-9, sheet.height + 1e-9]).all()
                if item.role == OUTLINE:
                    pieces.append(shapely.LineString(item.points - shift))
    assert shapely.hausdorff_distance(shapely.union_all(pieces), outline.exterior) < 1e-6
    assert shapely.union_all([shapely.box(*t.window) for t in used]).covers(outline)


@pytest.mark.parametrize("paper", sorted(PAPERS))
def test_crosses_of_neighbours_lie_on_each_other(paper: str) -> None:
    sheets = [s for s in template_sheets(CUTS, TOP, paper) if "from the inside" in s.title]
    outline = shapely.Polygon(1e3 * TOP.outline.points[:, ::-1])
    left, bottom, right, top = outline.bounds
    around = (left - AROUND, bottom - AROUND, right + AROUND, top + AROUND)
    width, height = sheets[0].width - 2 * MARGIN, sheets[0].height - 2 * MARGIN - FOOT
    places = []
    for sheet, tile in zip(sheets, tiles(around, width, height), strict=True):
        shift = np.array([MARGIN, MARGIN + FOOT]) - np.array(tile.window[:2])
        centres = {
            tuple(np.round((i.points.mean(axis=0) - shift), 6))
            for i in sheet.items
            if getattr(i, "role", "") == "cross"
        }
        places.append(centres)
    every = [c for centres in places for c in centres]
    assert all(every.count(c) == 2 for c in every)


def test_svg_is_in_millimetres() -> None:
    pages = template_svg(CUTS, TOP, "A4", title="a < b & c")
    assert len(pages) == len(template_sheets(CUTS, TOP, "A4"))
    for page in pages:
        root = ElementTree.fromstring(page)
        width, height = (float(root.get(key).removesuffix("mm")) for key in ("width", "height"))
        assert root.get("viewBox") == f"0 0 {width:g} {height:g}"
        (bar,) = root.findall(f".//{{http://www.w3.org/2000/svg}}path[@class='{BAR}']")
        ends = [np.array(point.split(), dtype=float) for point in bar.get("d").removeprefix("M").split("L")]
        assert np.hypot(*(ends[1] - ends[0])) == pytest.approx(100, abs=0.01)
        assert "http" not in page.replace("http://www.w3.org/2000/svg", "")
        assert "a < b & c" in "".join(root.itertext())


def test_the_same_cuts_give_the_same_bytes() -> None:
    assert template_pdf(CUTS, TOP, "A3", title="x") == template_pdf(CUTS, TOP, "A3", title="x")


def test_depths_are_written_in_tenths() -> None:
    words = [item.text for s in template_sheets(CUTS, TOP) for item in s.items if isinstance(item, Words) and item.bold]
    assert words.count("0.6") >= 2
    assert words.count("0.9") >= 2
    assert any(text == "edge ring: 0.3 off the outside, all round" for text in words)
    assert [(d.text, d.at) for d in depths_shown(SHORT, CUTS[:1])] == [("0.6", pytest.approx(65))]


def test_depths_of_a_piece() -> None:
    """Half way down a slope from 0.2 to 0.9 mm it is 0.55 mm."""
    shown = depths_shown(LONG, CUTS[1:2], 85, 377)
    assert [(d.at, d.depth) for d in shown] == [
        (pytest.approx(85), pytest.approx(0.55)),
        (pytest.approx(120), pytest.approx(0.9)),
    ]


def test_stations_that_are_marked() -> None:
    places = station_places(SHORT, CUTS[:1])
    assert [s for s, _ in places] == pytest.approx([0, 30, 100, 121.5])
    assert all(sure for _, sure in places)
    assert [s for s, sure in station_places(LONG, ()) if not sure] == pytest.approx([120, 250])


def test_windows_of_tiles() -> None:
    for tile in tiles((0, 0, 150, 90), 200, 100):
        assert tile.window == pytest.approx((-25, -5, 175, 95))
    xs = sorted({t.window[0] for t in tiles((0, 0, 500, 90), 200, 100)})
    assert [b - a for a, b in pairwise(xs)] == pytest.approx([188, 188])
    assert xs[0] <= 0
    assert xs[-1] + 200 >= 500


def test_what_is_refused() -> None:
    with pytest.raises(DesignError, match="paper B5; must be one of A4, A3, letter"):
        template_sheets(CUTS, TOP, "B5")
    with pytest.raises(DesignError, match='no brace is named "none"'):
        template_sheets([Cut("none", 0, 0.1, 1e-3, 1e-3)], TOP)


def test_a_top_without_braces_or_cuts() -> None:
    bare = Design(outline=TOP.outline, plate=TOP.plate)
    assert all("from the inside" in s.title for s in template_sheets((), bare))
