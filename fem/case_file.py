"""From the bytes of top.toml to checked tables.

Depends on geometry/errors, fem/case_schema, fem/toml_file.
"""

from pathlib import Path

from bracedtop.fem.case_schema import TABLES, CaseTable
from bracedtop.fem.toml_file import Layout, read_layout, shown
from bracedtop.geometry.errors import FileError

FILE_NAME = "top.toml"
MAX_BYTES = 500_000
"""Largest top.toml; chosen: ten times what 200 braces of 40 stations need."""

LAYOUT = Layout(TABLES, MAX_BYTES, "a drawing", "[outline] and [top]")


def read_tables(folder: Path) -> CaseTable:
    """Tables of the drawing in a case folder.

    Raises
    ------
    FileError
        If the file is missing or unreadable, or a line, key or value in it is wrong.
    """
    path = folder / FILE_NAME
    try:
        content = _content(folder, path)
    except OSError as error:
        message = f"{shown(path)}: cannot be read ({error.strerror}); it has to be a readable text file"
        raise FileError(message) from None
    return read_layout(content, FILE_NAME, LAYOUT, CaseTable)


def _content(folder: Path, path: Path) -> bytes:
    if not folder.exists():
        message = f"{shown(folder)}: no such folder; a case is a folder that holds {FILE_NAME}"
        raise FileError(message)
    if not folder.is_dir():
        message = f"{shown(folder)}: is a file; give the case's folder, the one that holds {FILE_NAME}"
        raise FileError(message)
    if not path.exists():
        message = f"{shown(path)}: no such file; a case is a folder that holds {FILE_NAME}"
        raise FileError(message)
    # A pipe or a device would make reading wait for ever.
    if not path.is_file():
        message = f"{shown(path)}: is not a regular file; {FILE_NAME} has to be a text file"
        raise FileError(message)
    with path.open("rb") as stream:
        return stream.read(MAX_BYTES + 1)
