"""Strict reading of small CSV tables: every complaint is one line that names the file, the line and the column.

Depends on geometry/errors, fem/toml_file.
"""

import csv
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import NoReturn

from bracedtop.fem.toml_file import regular_bytes, shown, shown_text
from bracedtop.geometry.errors import FileError

# Plain decimal numbers only: float() would also take "nan", "1_0" and other alphabets' digits.
_NUMBER = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]{1,3})?", re.ASCII)
_DECIMAL_COMMA = re.compile(r"[+-]?[0-9]+,[0-9]+", re.ASCII)
_CONTROL = re.compile(r"[\x00-\x08\x0e-\x1f\x7f]")


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a table.

    Parameters
    ----------
    file : str
        Name of the table in messages.
    line : int
        Counted from 1.
    fields : mapping of str to str
        By column, without blanks around them.
    """

    file: str
    line: int
    fields: Mapping[str, str]

    def refuse(self, what: str) -> NoReturn:
        """Refuse the line.

        Raises
        ------
        FileError
        """
        refuse(self.file, self.line, what)

    def number(self, column: str, low: float, high: float, allowed: str) -> float:
        """The number in a column, from `low` to `high`.

        Raises
        ------
        FileError
            If it is none; `allowed` says what it must be.
        """
        text = self.fields[column]
        if not text:
            self.refuse(f"{column} is empty; must be {allowed}")
        if _DECIMAL_COMMA.fullmatch(text):
            self.refuse(
                f'{column} = "{text}"; has a decimal comma, must be written with a point: {text.replace(",", ".")}'
            )
        value = float(text) if _NUMBER.fullmatch(text) else math.nan
        if not low <= value <= high:
            self.refuse(f"{column} = {shown(text)}; must be {allowed}")
        return value


def refuse(file: str, line: int | None, what: str) -> NoReturn:
    """Refuse a line of a file, or all of it.

    Raises
    ------
    FileError
    """
    where = file if line is None else f"{file}: line {line}"
    message = f"{where}: {what}"
    raise FileError(message)


def read_rows(path: Path, file: str, headers: Sequence[Sequence[str]], most: int, what: str) -> tuple[Row, ...]:
    """Lines of a table below its header.

    Comma or semicolon between fields, as the header shows; lines that begin with # and empty ones are skipped.

    Parameters
    ----------
    path : Path
    file : str
        Its name in messages.
    headers : sequence of sequences of str
        The sets of columns that it may have, each in any order.
    most : int
        Bytes that it may have.
    what : str
        What such a file is, for messages, such as "a cut list".

    Raises
    ------
    FileError
        If it cannot be read, is not UTF-8 text, or its header or a line is not of this form.
    """
    content = regular_bytes(path, most + 1, f"{what} has to be a CSV text file")
    if len(content) > most:
        refuse(file, None, f"is larger than {most // 1000} kB; {what} has to be smaller")
    lines = [
        (number, line)
        for number, line in enumerate(_text(content, file).splitlines(), start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    forms = " or ".join(",".join(header) for header in headers)
    if not lines:
        refuse(file, None, f"is empty; {what} begins with the header {forms}")
    number, header = lines[0]
    if "\t" in header:
        refuse(file, number, "fields are separated by tabs; must be commas or semicolons")
    separator = ";" if ";" in header and "," not in header else ","
    columns = [name.lower() for name in _fields(file, number, header, separator)]
    if sorted(columns) not in [sorted(form) for form in headers]:
        refuse(file, number, f'header "{shown_text(header.strip())}"; must be {forms}')
    rows = []
    for number, line in lines[1:]:
        fields = _fields(file, number, line, separator)
        if len(fields) != len(columns):
            comma = separator == "," and _DECIMAL_COMMA.search(line)
            hint = " (a decimal comma? numbers take a point, as in 0.4)" if comma else ""
            refuse(file, number, f"{len(fields)} fields; must be {len(columns)} as in the header{hint}")
        rows.append(Row(file, number, dict(zip(columns, fields, strict=True))))
    return tuple(rows)


def _text(content: bytes, file: str) -> str:
    try:
        # Spreadsheets put a byte order mark in front.
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        refuse(file, line, f"byte 0x{content[error.start]:02x} is not UTF-8 text; save it as UTF-8")
    control = _CONTROL.search(text)
    if control:
        line = text.count("\n", 0, control.start()) + 1
        refuse(file, line, f"has the control character {control.group()!r}; must be text")
    return text


def _fields(file: str, number: int, line: str, separator: str) -> list[str]:
    try:
        fields = next(csv.reader([line], delimiter=separator, strict=True, skipinitialspace=True))
    except csv.Error as error:
        refuse(file, number, f'{error}; a quoted field must end with " before the separator')
    return [field.strip() for field in fields]
