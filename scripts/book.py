"""The instrument's book: how it was drawn, built and tuned, for whoever restores it.

One page (book/book.html) that needs neither network nor script and prints well, and beside it the data in open formats:
the drawing as built, modes, taps, cuts, the log, shapes, pictures, photographs, with check sums. Glues, finish and
cautions are told in the table [build] of top.toml; photographs are those in photographs/. An earlier book is replaced
when the new one is complete.

example:
  bracedtop book wren
"""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from bracedtop.scripts.book_maker import Said


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    from bracedtop.scripts.modes import mode_count

    parser.add_argument("case", type=Path, help="case folder that holds top.toml")
    parser.add_argument("--modes", type=mode_count, default=12, metavar="N", help="how many modes (default 12)")
    parser.add_argument("--no-pictures", action="store_true", help="no pictures of the modes")
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of a text")
    parser.add_argument("--quiet", action="store_true", help="no progress on standard error")


def run(args: argparse.Namespace) -> int:
    """Make the book."""
    from bracedtop.scripts.book_maker import make_book
    from bracedtop.scripts.console import Progress, print_json

    with Progress(quiet=args.quiet).stage("book"):
        found = make_book(args.case, said_on_page(args.case), n_modes=args.modes, pictures=not args.no_pictures)
    if args.json:
        print_json(found)
        return 0
    for note in found["notes"]:
        print(f"note: {note}")
    print(
        f"Book of {found['passes']} {'pass' if found['passes'] == 1 else 'passes'}, {found['photographs']} "
        f"{'photograph' if found['photographs'] == 1 else 'photographs'}, {found['files']} files with check sums"
    )
    print(f"Written: {found['book']}")
    return 0


def said_on_page(folder: Path) -> "Said":
    """Notes and words on photographs that the maker left on the bench page; empty without one.

    Raises
    ------
    FileError
        If the page's journal cannot be read.
    """
    from bracedtop.geometry.errors import FileError
    from bracedtop.scripts.book_maker import Said
    from bracedtop.scripts.page.journal import FILE_NAME, change_of, told, values_of

    path = folder / FILE_NAME
    try:
        lines = path.read_bytes().splitlines() if path.is_file() else []
    except OSError as error:
        message = f"{path}: cannot be read ({error.strerror}); the page keeps the maker's notes there"
        raise FileError(message) from error
    changes = []
    for line in lines:
        try:
            changes.append(change_of(line))
        except (ValueError, KeyError, TypeError, RecursionError):
            # A line that broke off was never acknowledged.
            continue
    values = values_of(changes, {})
    return Said(notes=_tables(told(values, "notes")), photographs=_tables(told(values, "photographs")))


def _tables(values: "dict[str, object]") -> "dict[str, object]":
    return {key: value for key, value in values.items() if isinstance(value, dict)}
