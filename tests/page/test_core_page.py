"""The page's frame in a real browser: changes kept, taken back, found again; two pages; keyboard; axe."""

import json
import re

import pytest
from commands.command_line import TOP
from page.page_work import sleep_long

playwright = pytest.importorskip("playwright.sync_api")
expect = playwright.expect

LONG = "brace/long/stations_mm"
LOWER = [[0, 4], [120, 10], [237, 4]]
MAIN = "(await import('./static/main.js')).bench"
PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True}
SLOW = 20_000
"""For a server that starts anew, ms."""


def change(page, key, value):
    """As a view does, by the page's own bench."""
    page.evaluate(f"async ([key, value]) => {MAIN}.change(key, value)", [key, value])


def kept(page, wait=10_000):
    page.wait_for_function("async () => !(await import('./static/main.js')).bench.store.pending.length")
    expect(page.locator("#state")).to_have_text(re.compile("everything is kept", re.IGNORECASE), timeout=wait)


def test_a_change_is_kept_undone_and_redone_also_after_a_reload(page, bench):
    change(page, LONG, LOWER)
    expect(page.get_by_text("The draft differs from the drawing")).to_be_visible()
    kept(page)
    assert bench.session.document.value(LONG) == LOWER
    page.reload()
    undo = page.get_by_role("button", name="Undo: long: stations")
    expect(undo).to_be_enabled()
    page.keyboard.press("Control+z")
    expect(page.get_by_text("The draft differs from the drawing")).to_have_count(0)
    assert bench.session.document.value(LONG) == [[0, 4], [120, 12], [237, 4]]
    page.reload()
    expect(page.get_by_role("button", name="Redo: long: stations")).to_be_enabled()
    page.keyboard.press("Control+Shift+z")
    expect(page.get_by_text("The draft differs from the drawing")).to_be_visible()
    assert bench.session.document.value(LONG) == LOWER


def test_in_a_text_field_undo_is_the_fields_own(page, bench):
    change(page, "units", "in")
    kept(page)
    page.evaluate("document.querySelector('main').append(Object.assign(document.createElement('textarea'), {id: 't'}))")
    page.locator("#t").press("Control+z")
    page.wait_for_timeout(300)
    assert bench.session.document.values["units"] == "in"


def test_the_draft_is_saved_from_the_page(page, bench, small):
    change(page, LONG, LOWER)
    page.get_by_role("button", name="Save as drawing").click()
    expect(page.get_by_text("Saved as top.toml")).to_be_visible()
    assert "[120, 10]" in (small / "top.toml").read_text()
    assert [path.read_text() for path in (small / "drawings").iterdir()] == [TOP]


def test_starting_again_can_be_undone_on_the_page(page, bench):
    change(page, LONG, LOWER)
    page.get_by_role("button", name="Start again from the drawing").click()
    expect(page.get_by_role("button", name="Undo: the whole draft")).to_be_enabled()
    page.get_by_role("button", name="Undo: the whole draft").click()
    expect(page.get_by_role("button", name="Save as drawing")).to_be_visible()
    assert bench.session.document.value(LONG) == LOWER


def test_a_file_changed_outside_is_a_question(page, bench, small):
    change(page, LONG, LOWER)
    kept(page)
    (small / "top.toml").write_text(TOP.replace("thickness_mm = 3\n", "thickness_mm = 2.5\n"))
    page.get_by_role("button", name="Keep the draft, on the new file").click(timeout=SLOW)
    expect(page.get_by_text("changed outside")).to_have_count(0)
    assert bench.session.document.tables["top"]["thickness_mm"] == 2.5
    assert bench.session.document.value(LONG) == LOWER


def test_a_draft_that_cannot_be_built_is_said(page):
    change(page, "brace/cross/path_mm", [[150, -80], [150, 400]])
    expect(page.get_by_text("As drafted this top cannot be built")).to_be_visible()
    page.get_by_role("button", name="Save as drawing").click()
    expect(page.locator("#toasts p").first).to_contain_text("cross")


def test_a_refused_change_is_said_and_forgotten(page, bench):
    change(page, LONG, "high")
    expect(page.locator("#toasts")).to_contain_text("Not kept")
    kept(page)
    assert page.evaluate("Object.keys(localStorage).filter((key) => key.startsWith('unsent'))") == []


@pytest.mark.parametrize(("answer", "wins"), [("Keep this page's", 7), ("Keep the other page's", 6)])
def test_two_pages_ask_which_counts(bench, open_page, answer, wins):
    first, second = open_page(bench.address), open_page(bench.address)
    key = "brace/long/width_mm"
    # As if the second page had not yet heard of the first one's change when it made its own.
    stale = f"async ([key, seen]) => {MAIN}.store.change([key], [7], seen)"
    seen = second.evaluate(f"async () => {MAIN}.told.revision")
    change(first, key, 6)
    expect(second.get_by_role("button", name="Undo: long: width")).to_be_enabled()
    second.evaluate(stale, [key, seen])
    dialog = second.get_by_role("dialog", name="Two pages changed the same")
    expect(dialog).to_contain_text("long: width on the other page6 mm")
    expect(dialog).to_contain_text("long: width on this page7 mm")
    dialog.get_by_role("button", name=answer).click()
    kept(second)
    assert bench.session.document.value(key) == wins


def test_two_pages_show_the_same(bench, open_page):
    first, second = open_page(bench.address), open_page(bench.address)
    first.get_by_role("button", name=re.compile("Units")).click()
    expect(second.get_by_role("button", name=re.compile("Units"))).to_have_text("in")


def test_the_server_killed_in_the_middle_everything_is_found_again(small, serve, open_page):
    server = serve(small)
    page = open_page(server.address)
    change(page, LONG, LOWER)
    kept(page)
    server.kill()
    expect(page.locator("#state")).to_contain_text("Server away")
    change(page, "brace/cross/width_mm", 7)
    change(page, "units", "in")
    expect(page.locator("#state")).to_have_text("Server away; 2 changes kept in this browser")
    server.start()
    expect(page.locator("#state")).to_have_text("Found again; everything is kept", timeout=SLOW)
    state = page.evaluate(f"async () => {MAIN}.told")
    assert state["tables"]["brace"][0]["stations_mm"] == LOWER
    assert state["tables"]["brace"][1]["width_mm"] == 7
    assert state["values"]["units"] == "in"


def test_a_killed_page_leaves_its_changes_to_the_next(bench, open_page):
    page = open_page(bench.address)
    # The connection is dead, but the page does not know it yet; then the page is closed.
    page.evaluate(f"async () => {{ {MAIN}.store.isOpen = false; }}")
    change(page, LONG, LOWER)
    other = page.context.new_page()
    page.close()
    other.goto(bench.address)
    expect(other.get_by_text("The draft differs from the drawing")).to_be_visible()
    kept(other)
    assert bench.session.document.value(LONG) == LOWER


def test_the_browser_killed_before_the_answer_changes_are_sent_once(bench, open_page):
    page = open_page(bench.address)
    change(page, LONG, LOWER)
    kept(page)
    change_made = bench.session.journal.changes[-1]
    sent_again = {"id": change_made.id, "keys": [LONG], "values": [LOWER], "seen": 1, "page": "gone"}
    keep = "([place, list]) => localStorage.setItem(`unsent:${place}:gone`, list)"
    page.evaluate(keep, [bench.address, json.dumps([sent_again])])
    page.reload()
    kept(page)
    assert bench.session.journal.changes[-1] == change_made


def test_tasks_are_shown_and_stopped(page, bench, tmp_path):
    bench.session.tasks.start("rest", "A long rest", 1, sleep_long, tmp_path / "pid")
    # The views have tasks of their own.
    row = page.locator(".task").filter(has_text="A long rest")
    expect(row).to_contain_text("A long rest: asleep", timeout=SLOW)
    # By key: rows of the views' tasks come and go, and move what a pointer would hit.
    row.get_by_role("button", name="Stop").press("Enter")
    expect(row).to_have_count(0)
    assert "rest" not in [task.name for task in bench.session.tasks.unfinished()]


def test_tabs_by_keyboard(page):
    tabs = page.get_by_role("tab")
    expect(tabs).to_have_text(["Drawing", "Modes", "Taps", "Plan", "Box", "Listen", "Book"])
    tabs.first.focus()
    page.keyboard.press("ArrowLeft")
    expect(page.get_by_role("tab", name="Book")).to_be_focused()
    expect(page.get_by_role("tabpanel", name="Book")).to_be_visible()
    page.keyboard.press("Home")
    page.keyboard.press("ArrowRight")
    expect(page.get_by_role("tabpanel", name="Modes")).to_be_visible()
    assert page.url.endswith("#modes")
    assert page.locator("[role=tab][tabindex='0']").count() == 1
    page.reload()
    expect(page.get_by_role("tab", name="Modes", selected=True)).to_be_visible()


def test_light_and_dark_are_kept(page):
    page.get_by_role("button", name="Dark").click()
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(31, 25, 21)"
    page.reload()
    expect(page.get_by_role("button", name="Light")).to_be_visible()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("options", [{}, PHONE], ids=["desk", "phone"])
def test_the_frame_is_accessible(bench, open_page, accessible, options, scheme):
    page = open_page(bench.address, color_scheme=scheme, **options)
    change(page, LONG, LOWER)
    change(page, "brace/cross/path_mm", [[150, -80], [150, 400]])
    expect(page.get_by_text("cannot be built")).to_be_visible()
    choice = "choose('Which?', [['This', 'that']], [['A', 1], ['B', 2]])"
    page.evaluate(f"async () => {{ const bench = {MAIN}; bench.toast('Kept'); bench.{choice}; }}")
    accessible(page)
    page.keyboard.press("Escape")
    accessible(page)
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    sizes = "(all) => all.filter((one) => one.offsetParent).map((one) => Math.min(one.offsetHeight, one.offsetWidth))"
    assert min(page.locator("button").evaluate_all(sizes)) >= 44


def test_lengths(page):
    found = page.evaluate(
        """import('./static/units.js').then(({ length, millimetres }) => [
            length(25.4, "in").text, length(25.4, "mm").text, length(-0.01, "mm").text, length(2.5, "in", 2).text,
            millimetres("1.5", "in"), millimetres(" 2,5 mm", "in"), millimetres("1 in", "mm"), millimetres("3", "mm"),
            Number.isNaN(millimetres("three", "mm")), Number.isNaN(millimetres("", "mm")),
        ])"""
    )
    # The inch is 25.4 mm exactly (ISO 31-1; international yard and pound, 1959).
    assert found[:4] == ["1.000 in", "25.4 mm", "0.0 mm", "0.0984 in"]
    assert found[4:8] == pytest.approx([38.1, 2.5, 25.4, 3], rel=1e-12)
    assert found[8:] == [True, True]


def test_a_view_is_mounted_with_its_look_and_its_answers(page):
    """Every view that is there mounts without a complaint."""
    for name in ("Modes", "Taps", "Plan", "Box", "Listen", "Book", "Drawing"):
        page.get_by_role("tab", name=name).click()
        expect(page.get_by_role("tabpanel", name=name)).to_be_visible()
    expect(page.get_by_text("cannot be shown")).to_have_count(0)
