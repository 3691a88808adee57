"""The page's Book: what the maker tells, notes, photographs, and the book made of them."""

import io
import urllib.error
import urllib.request
from pathlib import Path

import pytest
from commands.command_line import call
from PIL import Image

playwright = pytest.importorskip("playwright.sync_api", reason="no Playwright; .[test] brings it")
expect = playwright.expect

MAKING_MS = 90_000
"""A book takes seconds; a busy machine loads the libraries of its process for most of a minute."""


def jpeg() -> bytes:
    out = io.BytesIO()
    exif = Image.Exif()
    exif[306] = "2026:02:03 10:11:12"
    Image.new("RGB", (800, 600), (170, 120, 70)).save(out, "JPEG", exif=exif)
    return out.getvalue()


@pytest.fixture
def book(page):
    page.get_by_role("tab", name="Book").click()
    expect(page.get_by_role("heading", name="The instrument's book")).to_be_visible()
    return page


def test_facts_notes_and_photographs_make_a_book(book, bench, open_page, accessible) -> None:
    book.get_by_role("textbox", name="Maker").fill("Invented Workshop")
    book.get_by_label("Cautions for the restorer, one a line").fill("Dry heat first.\nKeep water off.")
    book.get_by_label("A note for the book").fill("Strung <b>up</b>.")
    book.get_by_label("Day").first.fill("2026-03-01")
    book.get_by_role("button", name="Keep the note").click()
    expect(book.get_by_text("Strung <b>up</b>.")).to_be_visible()
    book.get_by_label("Add photographs").set_input_files(
        {"name": "bridge.jpg", "mimeType": "image/jpeg", "buffer": jpeg()}
    )
    expect(book.locator("#view-book figure img")).to_have_count(1)
    expect(book.locator("#view-book figure").get_by_label("Day")).to_have_value("2026-02-03")
    book.get_by_label("Words").fill("The bridge, before the strings")
    book.get_by_label("Words").press("Tab")
    expect(book.locator("#state")).to_have_text("Everything is kept")
    accessible(book)
    book.get_by_role("button", name="Make the book").click()
    link = book.get_by_role("link", name="Open the book")
    expect(link).to_be_visible(timeout=MAKING_MS)
    with book.context.expect_page() as opened:
        link.click()
    read = opened.value
    for words in (
        "The book of small",
        "Invented Workshop",
        "Keep water off.",
        "Strung <b>up</b>.",
        "before the strings",
    ):
        expect(read.get_by_text(words).first).to_be_attached()
    # Its own style counts, also under the server's policy.
    assert read.evaluate("getComputedStyle(document.querySelector('dl.facts')).display") == "grid"
    assert (bench.folder / "book" / "photographs" / "bridge.jpg").read_bytes() == jpeg()


def test_what_is_told_can_be_undone(book, bench) -> None:
    maker = book.get_by_role("textbox", name="Maker")
    maker.fill("Somebody")
    maker.press("Tab")
    expect(book.get_by_role("button", name="Undo: build: maker")).to_be_enabled()
    book.get_by_role("button", name="Undo: build: maker").click()
    expect(maker).to_have_value("")
    book.get_by_label("A note for the book").fill("A wrong note")
    book.get_by_role("button", name="Keep the note").click()
    book.get_by_role("button", name="Take out the note").click()
    expect(book.get_by_text("A wrong note")).to_have_count(0)
    book.locator("#undo").click()
    expect(book.get_by_text("A wrong note")).to_be_visible()


def test_a_wrong_date_is_told_and_not_kept(book) -> None:
    date = book.get_by_label("Built (2026")
    date.fill("14.3.2026")
    date.press("Tab")
    expect(book.get_by_text("The date must be a year")).to_be_visible()
    assert date.get_attribute("aria-invalid") == "true"
    date.fill("2026-03")
    date.press("Tab")
    assert date.get_attribute("aria-invalid") is None
    expect(book.locator("#undo")).to_be_enabled()


def test_the_log_is_shown_pass_by_pass(small: Path, serve, open_page) -> None:
    assert call("cut", small, "--brace", "long", "--from", 40, "--to", 200, "--depth", 1, "--quiet").code == 0
    (small / "pass-1" / "taps.csv").write_text("hz\n103.5\n189\n")
    assert call("log", small, "--note", "A dry week.").code == 0
    page = open_page(serve(small).address, viewport={"width": 390, "height": 844})
    page.get_by_role("tab", name="Book").click()
    expect(page.get_by_role("heading", name="Pass 1")).to_be_visible()
    expect(page.get_by_role("region", name="Cut: depths off the free side")).to_contain_text("200.0")
    expect(page.get_by_text("A dry week.")).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth") <= 390


def test_the_book_is_served_so_that_nothing_runs(bench) -> None:
    (bench.folder / "book").mkdir()
    (bench.folder / "book" / "book.html").write_text("<!doctype html><title>x</title><p>a book")
    with urllib.request.urlopen(f"{bench.address}book/book.html") as answer:
        policies = answer.headers.get_all("content-security-policy")
        assert len(policies) == 1
        assert "default-src 'none'" in policies[0]
        assert "sandbox" in policies[0]
        assert answer.headers["referrer-policy"] == "no-referrer"
    for name in ("..%2Ftop.toml", "none.jpg", "%2e%2e%2ftop.toml"):
        with pytest.raises(urllib.error.HTTPError) as refused:
            urllib.request.urlopen(f"{bench.address}book/small/{name}")
        assert refused.value.code == 404
