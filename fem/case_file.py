"""From the bytes of top.toml to checked tables.

Depends on geometry/errors, fem/case_schema. Every complaint is one line that names the file and the line or key.
"""

import difflib
import re
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from bracedtop.fem.case_schema import TABLES, CaseTable
from bracedtop.geometry.errors import FileError

FILE_NAME = "top.toml"
MAX_BYTES = 500_000
"""Largest top.toml; chosen: ten times what 200 braces of 40 stations need."""

_TOO_DEEP = 50
# A key of thousands of dotted parts takes the TOML reader quadratic time. Possessive, so that the scan is linear.
_KEY = r"""(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')"""
_DOTTED = re.compile(rf"(?<![\w-])(?:{_KEY}[ \t]*+\.[ \t]*+){{{_TOO_DEEP}}}")
_UNITS = ("mm", "deg", "gpa", "hz", "kg_per_m3", "n_per_mm2", "n_per_rad")


def read_tables(folder: Path) -> CaseTable:
    """Tables of the drawing in a case folder.

    Raises
    ------
    FileError
        If the file is missing or unreadable, or a line, key or value in it is wrong.
    """
    raw = _toml(_text(folder))
    try:
        return CaseTable.model_validate(raw)
    except ValidationError as error:
        message = f"{FILE_NAME}: {_complaint(error, raw)}"
        raise FileError(message) from None


def _text(folder: Path) -> str:
    path = folder / FILE_NAME
    try:
        content = _content(folder, path)
    except OSError as error:
        message = f"{shown(path)}: cannot be read ({error.strerror}); it has to be a readable text file"
        raise FileError(message) from None
    if len(content) > MAX_BYTES:
        message = f"{FILE_NAME}: is larger than {MAX_BYTES // 1000} kB; a drawing has to be smaller"
        raise FileError(message)
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        message = f"{FILE_NAME}: line {line}: byte 0x{content[error.start]:02x} is not UTF-8 text; save it as UTF-8"
        raise FileError(message) from None
    if not text.strip():
        message = f"{FILE_NAME}: is empty; it has to hold at least [outline] and [top]"
        raise FileError(message)
    return text


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


def _toml(text: str) -> dict[str, Any]:
    deep = _DOTTED.search(text)
    if deep is not None:
        line = text.count("\n", 0, deep.start()) + 1
        message = f"{FILE_NAME}: line {line}: more than {_TOO_DEEP} names joined by dots; keys here have at most 3"
        raise FileError(message)
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        message = f"{FILE_NAME}: {_syntax(str(error), text)}"
        raise FileError(message) from None
    except RecursionError:
        message = f"{FILE_NAME}: brackets are nested too deeply; lists here are nested twice at most"
        raise FileError(message) from None
    except ValueError as error:
        # The reader leaves numbers of thousands of digits and impossible dates to Python's own complaints.
        message = f"{FILE_NAME}: a value cannot be read: {shown_text(str(error))}"
        raise FileError(message) from None


def _syntax(message: str, text: str) -> str:
    found = re.fullmatch(r"(.*) \(at (?:line (\d+), column (\d+)|end of document)\)", message, re.DOTALL)
    if found is None:
        return shown_text(message)
    what, line, column = found.groups()
    where = f"line {line}, column {column}" if line else f"line {text.rstrip().count(chr(10)) + 1} (the last)"
    return f"{where}: not TOML: {shown_text(what)}"


def _complaint(error: ValidationError, raw: Mapping[str, Any]) -> str:
    details = error.errors(include_url=False)
    # A misspelt key shows up as one unknown key and one missing key; only the first helps.
    first = next((d for d in details if d["type"] == "extra_forbidden"), details[0])
    loc, kind, found = first["loc"], first["type"], first["input"]
    context = first.get("ctx", {})
    if kind == "extra_forbidden":
        return _unknown_key(str(loc[-1]), place(loc[:-1], raw), _model_keys(loc[:-1]))
    if kind == "missing":
        where = place(loc[:-1], raw)
        allowed = ", ".join(_model_keys(loc[:-1]))
        return f'key "{loc[-1]}" is missing{f" in {where}" if where else ""}; it is required; allowed: {allowed}'
    if kind == "case":
        return f"{place(loc, raw)}: {context['text']}"
    if loc[-1] == "[key]":
        return f"{loc[0]} {shown(loc[1])}: {NAMES_ALLOWED}"
    return f"{place(loc, raw)} = {shown(found)}: {_allowed(kind, context, loc)}"


def _unknown_key(key: str, where: str, allowed: Sequence[str]) -> str:
    inside = f" in {where}" if where else ""
    known = ", ".join(allowed)
    with_unit = [name for name in allowed if any(name == f"{key}_{unit}" for unit in _UNITS)]
    if with_unit:
        return f'key "{key}"{inside} is missing its unit; write {with_unit[0]}; allowed: {known}'
    return f"unknown key {shown(key)}{inside}; {did_you_mean(key, allowed)}allowed: {known}"


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """Suggestion such as ``did you mean "width_mm"? `` (with the blank behind it), or nothing."""
    best = max(((_likeness(word[:100], name), name) for name in known), default=(0.0, ""))
    return f'did you mean "{best[1]}"? ' if best[0] >= 0.6 else ""


def _likeness(word: str, name: str) -> float:
    # A part of a name counts a little less than the whole: "cedar" is near "cedar_western_red".
    parts = [part for part in name.split("_") if len(part) > 3]
    whole, *rest = (difflib.SequenceMatcher(None, text, word).ratio() for text in (name, *parts))
    return max(whole, *(0.9 * part for part in rest)) if rest else whole


def _model_keys(loc: tuple[int | str, ...]) -> list[str]:
    return list(TABLES[str(loc[0]) if loc else ""].model_fields)


def place(loc: tuple[int | str, ...], raw: Mapping[str, Any]) -> str:
    """Where a value stands, in the maker's words: ``brace "x1".stations_mm row 2 number 1``."""
    if not loc:
        return ""
    table, *rest = loc
    words = str(table)
    if rest and isinstance(rest[0], int):
        words = f"{table} {_called(raw[str(table)], rest[0])}"
        rest = rest[1:]
    elif rest and table == "wood":
        words = f"wood {shown(rest[0])}"
        rest = rest[1:]
    for label, step in zip((".", " row ", " number "), rest, strict=False):
        words += f"{label}{step + 1 if isinstance(step, int) else step}"
    return words


def _called(rows: Sequence[Any], index: int) -> str:
    """Name of an entry of a list of tables if it has one of its own, else its number from 1."""
    names = [row.get("name") if isinstance(row, dict) else None for row in rows]
    name = names[index]
    return shown(name) if isinstance(name, str) and name and names.count(name) == 1 else str(index + 1)


def shown(value: object) -> str:
    """Found value on one short line."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int):
        return str(value) if value.bit_length() < 64 else f"a whole number of {value.bit_length()} bits"
    if isinstance(value, float):
        return f"{value:g}"
    if isinstance(value, list):
        return f"a list of {len(value)}"
    if isinstance(value, dict):
        return "a table"
    return f'"{shown_text(str(value))}"'


def shown_text(text: str) -> str:
    """Text from outside on one line: unprintable characters escaped, cut after 200."""
    cut = text if len(text) <= 200 else f"{text[:197]}..."
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in cut)


def _allowed(kind: str, context: Mapping[str, Any], loc: tuple[int | str, ...]) -> str:
    """Say what a value must be, from the kind of the complaint."""
    if kind in _BOUNDS:
        sign, key = _BOUNDS[kind]
        return f"must be {sign} {context[key]:.10g}"
    if kind in ("too_short", "too_long"):
        key = "min_length" if kind == "too_short" else "max_length"
        return f"must have {'at least' if kind == 'too_short' else 'at most'} {context[key]} entries"
    if kind == "literal_error":
        return f"must be one of {context['expected'].replace(chr(39), chr(34))}"
    if kind == "string_pattern_mismatch":
        is_line = loc in (("name",), ("note",)) or loc[0] == "target"
        return "must be one printable line of 1 to 200 characters" if is_line else NAMES_ALLOWED
    if kind == "list_type":
        return _list_allowed(loc)
    if kind == "string_too_long":
        return f"must have at most {context['max_length']} characters"
    return _KINDS.get(kind, f"is not allowed here ({kind})")


def _list_allowed(loc: tuple[int | str, ...]) -> str:
    if len(loc) == 1:
        return f"must be written as [[{loc[0]}]], once for each"
    return "must be a pair of numbers like [60, 8]" if isinstance(loc[-1], int) else "must be a list of numbers in [ ]"


NAMES_ALLOWED = "must be 1 to 60 letters, digits, blanks or _ - . + #, without blanks at the ends"

_BOUNDS = {
    "greater_than": (">", "gt"),
    "greater_than_equal": (">=", "ge"),
    "less_than": ("<", "lt"),
    "less_than_equal": ("<=", "le"),
}

_KINDS = {
    "float_type": "must be a number, written without quotes",
    "int_type": "must be a whole number, written without quotes",
    "int_from_float": "must be a whole number",
    "finite_number": "must be a finite number",
    "bool_type": "must be true or false",
    "string_type": "must be text in quotes",
    "dict_type": "must be a table",
    "model_type": "must be a table",
}
