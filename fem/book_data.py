"""What the instrument's book holds, in words and the maker's units; laid out by `fem/book`.

Depends on nothing inside the project.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class BookTable:
    """A table of texts.

    Parameters
    ----------
    caption : str
    head : tuple of str
    rows : tuple of tuple of str
        Each as long as `head`; the first cell names the row.
    left : int
        So many columns hold words and stand flush left; the others hold figures.
    """

    caption: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    left: int = 1


@dataclass(frozen=True, slots=True)
class Figure:
    """A picture inside the page.

    Parameters
    ----------
    content : str or bytes
        Text of an SVG, or the bytes of a PNG or JPEG file.
    alt : str
        What it shows, for who cannot see it.
    caption : str
    file : str
        Its name beside the book; empty if it has none.
    is_wide : bool
        Whether it needs the page's whole width.
    """

    content: str | bytes
    alt: str
    caption: str = ""
    file: str = ""
    is_wide: bool = False


@dataclass(frozen=True, slots=True)
class DatedWords:
    """Words of the maker with the day on which they were written, as in ISO 8601 or empty."""

    date: str
    words: str


@dataclass(frozen=True, slots=True)
class BookPass:
    """One pass: what was planned, cut, expected and found; number 0 is the top before the first cut."""

    number: int
    title: str
    date: str
    words: tuple[str, ...] = ()
    tables: tuple[BookTable, ...] = ()
    notes: tuple[DatedWords, ...] = ()


@dataclass(frozen=True, slots=True)
class BookFile:
    """A file beside the book: name, size, SHA-256 of its content, and what it is."""

    name: str
    n_bytes: int
    sha256: str
    words: str


@dataclass(frozen=True, slots=True)
class BookData:
    """All that the book shows.

    Parameters
    ----------
    name, note : str
        From the drawing. A note that says "invented" is shown as a banner.
    date : str
        Day on which the book was made.
    facts : tuple of (str, str)
        What it is, in short: maker, serial, date, sizes, glues, finish.
    cautions : tuple of str
        Of the maker for the restorer; nothing that the maker did not write.
    words : tuple of str
        Paragraphs of the maker.
    drawings : tuple of Figure
    braces, plate, woods, box, strings : tuples of BookTable
    passes : tuple of BookPass
    modes : tuple of BookTable
    mode_pictures : tuple of Figure
    notes : tuple of DatedWords
    photographs : tuple of Figure
    how : tuple of str
        How the figures were made, a sentence or more each.
    doubts : tuple of str
        What does not fit together, such as files that changed since they were recorded.
    files : tuple of BookFile
    program : str
        Name and version.
    """

    name: str
    note: str
    date: str
    facts: tuple[tuple[str, str], ...]
    cautions: tuple[str, ...]
    words: tuple[str, ...]
    drawings: tuple[Figure, ...]
    braces: tuple[BookTable, ...]
    plate: tuple[BookTable, ...]
    woods: tuple[BookTable, ...]
    box: tuple[BookTable, ...]
    strings: tuple[BookTable, ...]
    passes: tuple[BookPass, ...]
    modes: tuple[BookTable, ...]
    mode_pictures: tuple[Figure, ...]
    notes: tuple[DatedWords, ...]
    photographs: tuple[Figure, ...]
    how: tuple[str, ...]
    doubts: tuple[str, ...]
    files: tuple[BookFile, ...]
    program: str
