"""The report page: complete, self-contained, safe against names, readable on paper and in the dark.

Contrast: W3C, Web Content Accessibility Guidelines 2.1 (2018), success criterion 1.4.3, 4.5 to 1 for text.
"""

import base64
import re
from dataclasses import replace
from html.parser import HTMLParser
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bracedtop.fem.report import governing, part_words, report_html
from bracedtop.fem.report_data import (
    BraceLine,
    Drawing,
    ModeLine,
    ReportData,
    ReportPicture,
    ShavingLine,
    TapLine,
)

ATTACKS = [
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "'; background: url(http://example.org/x)",
    "</style><svg onload=alert(1)>",
    "{{ 7 * 7 }}{% raw %}",
    "javascript:alert(1)",
    "&lt;b&gt;",
]

PNG = b"\x89PNG\r\n\x1a\n not really"

VOID = {"meta", "link", "img", "br", "hr", "input"}


class Page(HTMLParser):
    """Tags with their attributes, the text, and a check that tags nest."""

    def __init__(self, html):
        super().__init__()
        self.tags, self.open, self.text, self.style = [], [], [], ""
        self.feed(html)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if self.open and self.open[-1] == "style":
            self.style += data
        else:
            self.text.append(data)

    def named(self, *names):
        return [attrs for tag, attrs in self.tags if tag in names]

    @property
    def words(self):
        return " ".join("".join(self.text).split())


def report(name="x bass", case="wren", note="drawn for a test", right=True, pictures=True):
    picture = ReportPicture(PNG, f"picture of {name}") if pictures else None
    modes = (
        ModeLine(1, 98.3, "bends", (2, 0), 210.0, {"top E_L": 0.6, f"brace {name}": 0.3, "edge": 0.1},
                 TapLine(101.2, 0.3, 0.42, 61.0, name), 95.0, name, False, 0.12, picture, picture),
        ModeLine(2, 171.2, name, (1, 1), float("inf"), {"top G_LR": 1.0}, TapLine(171.0), is_right=right,
                 picture=picture),
        ModeLine(3, 250.0, "1 line across, 2 along", (1, 2), 90.0, {"top E_R": 1.0}),
    )  # fmt: skip
    return ReportData(
        case,
        note,
        Drawing(
            480, 372, 2.8, "", name, "free", 118.2, 31.4, 62.0, (BraceLine(name, name, 400, 7, 14),), ((name, name),)
        ),
        modes,
        (TapLine(402.0, label=name),),
        tuple(
            ShavingLine(name, start, start + 80.0, mode, rate, 0.2)
            for start in (0.0, 80.0)
            for mode, rate in ((1, -0.5), (2, -1.5))
        ),
        15.0,
        5.0,
        (("triangles", "1 204"),),
        (f"something about {name}",),
        picture,
        picture,
    )


def test_page_holds_the_figures():
    words = Page(report_html(report())).words
    for expected in (
        "98.3 Hz", "101.2", "+2.9", "+50", "0.42", "−6.2", "Mode 3, 1 line across, 2 along, 250.0 Hz", "402.0 Hz",
        "the bridge stands still", "210 g", "118 g", "60 %", "0–80", "−0.50", "−1.00", "0.40", "1 204", "already right",
        "top: stiffness along the grain", "Estimated mesh error: +0.12 %", "something about x bass",
        "Wood cannot be put back", "first shavings only", "Tap again", "respirator", "Solvents", "strings",
        "Local codes and licensed practice come first",
    ):  # fmt: skip
        assert expected in words, expected
    # 1200 log2(101.2 / 98.3) = 50.3 cents; G#2 is 103.83 Hz, 44.4 cents above 101.2 Hz.
    assert "G#2 −44" in words


def flags(page):
    return [attrs for attrs in page.named("span") if attrs.get("aria-label") == "moves a mode that is right"]


def test_a_millimetre_that_moves_a_right_mode_is_flagged():
    # 3 Hz off 171.2 Hz over the whole brace is 30.6 cents, 1.5 Hz off one stretch 15.2 cents: both above 5.
    assert len(flags(Page(report_html(report())))) == 3
    page = Page(report_html(report(right=False)))
    assert flags(page) == []
    assert not [attrs for attrs in page.named("span") if attrs.get("class") == "flag"]


def test_slow_shaving_is_not_flagged():
    data = report()
    gentle = replace(data, shaving=tuple(replace(line, hz_per_mm=-0.1) for line in data.shaving))
    assert flags(Page(report_html(gentle))) == []


@pytest.mark.parametrize("attack", ATTACKS)
def test_names_cannot_become_markup(attack):
    plain = Page(report_html(report(note="drawn for a test")))
    page = Page(report_html(report(name=attack, case=attack, note=attack)))
    assert [tag for tag, _ in page.tags] == [tag for tag, _ in plain.tags]
    assert page.style == plain.style
    assert " ".join(attack.split()) in page.words
    check_self_contained(page)


@given(st.text(max_size=40))
@settings(max_examples=25, deadline=None)
def test_any_name_makes_a_page(name):
    page = Page(report_html(report(name=name, case=name, pictures=False)))
    check_self_contained(page)


def check_self_contained(page):
    assert not page.named("script", "link", "iframe", "object", "embed", "base", "form", "svg")
    ids = [attrs["id"] for _, attrs in page.tags if "id" in attrs]
    assert len(ids) == len(set(ids))
    for _, attrs in page.tags:
        assert not [key for key in attrs if key.startswith("on")]
        for key in ("src", "href", "srcset", "data", "action", "poster"):
            value = attrs.get(key)
            if value is not None:
                assert value.startswith("data:image/png;base64,") or (value.startswith("#") and value[1:] in ids)
        assert re.fullmatch(r"width: \d+\.\d%", attrs.get("style", "width: 1.0%"))
    assert "url(" not in page.style
    assert "@import" not in page.style


def test_self_contained():
    page = Page(report_html(report()))
    check_self_contained(page)
    sources = [attrs["src"] for attrs in page.named("img")]
    assert len(sources) == 5
    assert base64.b64decode(sources[0].split(",")[1]) == PNG


def test_accessible():
    page = Page(report_html(report()))
    assert page.named("html")[0]["lang"] == "en"
    assert all(attrs["alt"] for attrs in page.named("img"))
    assert all(attrs.get("scope") in ("col", "row") for attrs in page.named("th"))
    levels = [int(tag[1]) for tag, _ in page.tags if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(b - a <= 1 for a, b in pairwise(levels))
    assert len(page.named("caption")) == len(page.named("table"))
    ids = {attrs["id"] for _, attrs in page.tags if "id" in attrs}
    assert {attrs["aria-labelledby"] for attrs in page.named("section")} <= ids


def test_fit_for_phone_and_paper():
    page = Page(report_html(report()))
    viewport = next(attrs for attrs in page.named("meta") if attrs.get("name") == "viewport")
    assert "width=device-width" in viewport["content"]
    paper = page.style.split("@media print")[1]
    for rule in ("@page", "break-inside: avoid", "break-after: avoid", "table-header-group", "overflow: visible"):
        assert rule in paper


def test_invented_data_is_announced():
    assert "Invented data" in Page(report_html(report(note="Invented: no such instrument."))).words
    assert "Invented data" not in Page(report_html(report(note="measured in March"))).words


def test_nothing_paired():
    data = report()
    modes = tuple(
        replace(mode, tap=None, wanted_hz=None, is_right=False, picture=None, shaving_map=None) for mode in data.modes
    )
    page = Page(
        report_html(replace(data, modes=modes, shaving=(), unpaired_taps=(), warnings=(), plan=None, ladder=None))
    )
    assert "No tapped frequency belongs to a predicted mode" in page.words
    check_self_contained(page)


def test_same_data_same_page():
    assert report_html(report()) == report_html(report())


def themes():
    style = Page(report_html(report())).style
    blocks = re.findall(r":root\s*\{([^}]*)\}", style)
    light, dark, paper = (dict(re.findall(r"--([\w-]+):\s*(#[0-9a-f]+)", block)) for block in blocks)
    return {"light": light, "dark": light | dark, "paper": light | paper}


def luminance(colour):
    digits = colour[1:] if len(colour) == 7 else "".join(2 * digit for digit in colour[1:])
    coded = [int(digits[k : k + 2], 16) / 255 for k in (0, 2, 4)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in coded)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


@pytest.mark.parametrize("theme", ["light", "dark", "paper"])
@pytest.mark.parametrize(
    ("text", "ground"),
    [("ink", "paper"), ("ink", "sheet"), ("ink", "flag-paper"), ("soft", "paper"), ("soft", "sheet"),
     ("walnut", "paper"), ("walnut", "sheet"), ("flag", "sheet"), ("flag", "paper"), ("good", "sheet"),
     ("good", "paper")],
)  # fmt: skip
def test_contrast(theme, text, ground):
    colours = themes()[theme]
    light, dark = sorted((luminance(colours[text]), luminance(colours[ground])), reverse=True)
    assert (light + 0.05) / (dark + 0.05) >= 4.5


def test_governing_parts_sum_to_the_whole():
    shares = {f"brace {k}": 0.05 for k in range(20)}
    shown = governing(shares)
    assert sum(share for _, share in shown) == pytest.approx(1)
    assert shown[-1][0] == "all the rest"
    assert part_words("joint a|b") == "crossing of a and b"
    assert part_words("patch bridge") == "patch bridge"
