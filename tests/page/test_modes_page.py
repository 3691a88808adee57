"""Modes: the ladder, shapes, what governs a mode and its shaving map are those of the commands."""

import json
import re

import pytest
from commands.command_line import call

from bracedtop.scripts.page.scene import viewer_script

playwright = pytest.importorskip("playwright.sync_api")
expect = playwright.expect

PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True}
SOLVED = 60_000
"""For a full solution in a process of its own on a busy machine, ms."""


@pytest.fixture
def modes(small, stand, open_page):
    stood = stand(small)
    page = open_page(f"{stood.address}#modes")
    expect(page.get_by_text("solved in full")).to_be_visible(timeout=SOLVED)
    return stood, page


def test_the_ladder_is_what_the_commands_say(modes):
    stood, page = modes
    told = json.loads(call("modes", stood.folder, "--json", "--modes", 12).out)
    rows = page.locator("#view-modes .rungs tbody tr")
    expect(rows).to_have_count(12)
    assert [float(text) for text in page.locator("#view-modes td.as-drawn").all_inner_texts()] == pytest.approx(
        [row["hz"] for row in told["modes"]], abs=0.051
    )
    # F#3 + 20 cents: 440 Hz * 2^(-15/12) * 2^(20/1200) (equal temperament from A4 = 440 Hz, ISO 16).
    expect(rows.nth(1).locator(".wanted")).to_have_text(f"{440 * 2 ** (-15 / 12 + 20 / 1200):.1f}")
    paired = {
        pair["mode"]: pair["measured_hz"] for pair in json.loads(call("compare", stood.folder, "--json").out)["pairs"]
    }
    for mode, hz in paired.items():
        expect(rows.nth(mode - 1).locator(".heard")).to_have_text(f"{hz:.1f}")
    # Mode 2 of the commands in the page's words.
    page.get_by_role("button", name="Mode 2,").click()
    heading = page.get_by_role("heading", name=f"Mode 2: {told['modes'][1]['looks_like']}")
    expect(heading).to_be_visible()


def test_the_ladder_follows_pairs_that_were_set_by_hand(modes):
    stood, page = modes
    first = json.loads(call("compare", stood.folder, "--json").out)["pairs"][0]
    heard = page.locator("#view-modes .rungs tbody tr").nth(first["mode"] - 1).locator(".heard")
    expect(heard).to_have_text(f"{first['measured_hz']:.1f}")
    stood.session.change(["pairing/0/1"], [{"mode": 0, "hz": first["measured_hz"]}])
    expect(heard).not_to_have_text(f"{first['measured_hz']:.1f}")


def test_what_governs_a_mode_adds_up_and_its_map_has_every_stretch(modes):
    _, page = modes
    shares = page.locator("#view-modes .shares tbody td.number").all_inner_texts()
    assert sum(float(text.replace("%", "")) for text in shares) == pytest.approx(100, abs=1)
    assert page.locator("#view-modes .falls, #view-modes .rises").count() > 4
    expect(page.locator("#view-modes .places tbody tr").first).to_be_visible()
    sand = page.locator("#view-modes .sand").first
    first = sand.get_attribute("d")
    assert first.count("M") > 100
    page.get_by_role("button", name="Mode 3,").click()
    expect(sand).not_to_have_attribute("d", first)


def test_the_shape_moves_in_3d_or_says_why_it_does_not(modes):
    _, page = modes
    assert viewer_script() is not None
    ready = page.locator("#view-modes .three[data-ready], #view-modes p:has-text('3-D picture cannot be shown')")
    expect(ready.first).to_be_visible(timeout=SOLVED)
    if page.locator("#view-modes .three[data-ready]").count():
        expect(page.locator("#view-modes .three canvas")).to_have_count(1)
        page.get_by_role("button", name="Hold still").click()
        expect(page.get_by_role("button", name="Let it move")).to_be_visible()


def test_with_less_motion_it_stands_still(small, stand, open_page):
    page = open_page(f"{stand(small).address}#modes", reduced_motion="reduce")
    expect(page.get_by_role("button", name="Let it move")).to_be_visible(timeout=SOLVED)


def test_without_3d_the_sand_remains(small, stand, open_page):
    stood = stand(small)
    stood.session.memory["modes/viewer"] = None
    page = open_page(f"{stood.address}#modes")
    expect(page.get_by_text("The 3-D picture cannot be shown")).to_be_visible(timeout=SOLVED)
    assert page.locator("#view-modes .sand").first.get_attribute("d")


def test_the_viewer_asks_nothing_of_the_internet_and_brings_no_style():
    script = viewer_script()
    assert "OfflineLocalView" in script
    assert not re.search(r"[\"'`]https://kitware", script)
    assert not re.search(r"createElement\([\"']style[\"']\)", script)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("options", [{}, PHONE], ids=["desk", "phone"])
def test_modes_is_accessible(small, stand, open_page, accessible, options, scheme):
    page = open_page(f"{stand(small).address}#modes", color_scheme=scheme, **options)
    expect(page.get_by_text("solved in full")).to_be_visible(timeout=SOLVED)
    accessible(page)
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
