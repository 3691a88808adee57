"""From the text of a TOML file to checked tables.

Depends on geometry/errors, fem/toml_table. Every complaint is one line that names the file and the line or key.
"""

import difflib
import re
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn, TypeVar

from pydantic import ValidationError

from bracedtop.fem.toml_table import LINE_PATTERN, Table
from bracedtop.geometry.errors import FileError

_TOO_DEEP = 50
# A key of thousands of dotted parts takes the TOML reader quadratic time. Possessive, so that the scan is linear.
_KEY = r"""(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')"""
_DOTTED = re.compile(rf"(?<![\w-])(?:{_KEY}[ \t]*+\.[ \t]*+){{{_TOO_DEEP}}}")
_UNITS = (
    "mm",
    "deg",
    "gpa",
    "hz",
    "kg_per_m3",
    "n_per_mm2",
    "n_mm2",
    "n_per_rad",
    "g",
    "g_per_m2",
    "s",
    "percent",
    "c",
)

Whole = TypeVar("Whole", bound=Table)


@dataclass(frozen=True, slots=True)
class Layout:
    """What a kind of file holds, and how messages call it.

    Parameters
    ----------
    tables : mapping of str to a table's model
        By name in the file; "" is the file itself.
    max_bytes : int
    what : str
        One such file, such as "a drawing".
    least : str
        What it holds at least.
    """

    tables: Mapping[str, type[Table]]
    max_bytes: int
    what: str
    least: str


def read_layout(content: bytes, file: str, layout: Layout, whole: type[Whole]) -> Whole:
    """Checked tables of a file's content.

    Parameters
    ----------
    content : bytes
        At most one byte more than the layout allows.
    file : str
        Name in messages.
    layout : Layout
    whole : type
        Model of the file itself.

    Raises
    ------
    FileError
        If the content is no such file, or a line, key or value in it is wrong.
    """
    raw = _toml(_text(content, file, layout), file)
    try:
        return whole.model_validate(raw)
    except ValidationError as error:
        message = f"{file}: {_complaint(error, raw, layout)}"
        raise FileError(message) from None


def regular_bytes(path: Path, most: int, what: str) -> bytes:
    """Content of a file, cut after `most` bytes.

    Raises
    ------
    FileError
        If it cannot be read or is no regular file; `what` says what it has to be.
    """
    try:
        # A pipe or a device would make reading wait for ever.
        if not path.is_file():
            reason = "is not a regular file" if path.exists() else "no such file"
            message = f"{shown_text(str(path))}: {reason}; {what}"
            raise FileError(message)
        with path.open("rb") as stream:
            return stream.read(most)
    except OSError as error:
        message = f"{shown_text(str(path))}: cannot be read ({error.strerror}); {what}"
        raise FileError(message) from None


def refuse_value(file: str, where: str, found: str, allowed: str) -> NoReturn:
    """Refuse a value that cannot be used, in one line.

    Raises
    ------
    FileError
    """
    message = f"{file}: {where} = {found}: {allowed}"
    raise FileError(message)


def _text(content: bytes, file: str, layout: Layout) -> str:
    if len(content) > layout.max_bytes:
        message = f"{file}: is larger than {layout.max_bytes // 1000} kB; {layout.what} has to be smaller"
        raise FileError(message)
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        message = f"{file}: line {line}: byte 0x{content[error.start]:02x} is not UTF-8 text; save it as UTF-8"
        raise FileError(message) from None
    if not text.strip():
        message = f"{file}: is empty; it has to hold at least {layout.least}"
        raise FileError(message)
    return text


def _toml(text: str, file: str) -> dict[str, Any]:
    deep = _DOTTED.search(text)
    if deep is not None:
        line = text.count("\n", 0, deep.start()) + 1
        message = f"{file}: line {line}: more than {_TOO_DEEP} names joined by dots; keys here have at most 3"
        raise FileError(message)
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        message = f"{file}: {_syntax(str(error), text)}"
        raise FileError(message) from None
    except RecursionError:
        message = f"{file}: brackets are nested too deeply; lists here are nested twice at most"
        raise FileError(message) from None
    except ValueError as error:
        # The reader leaves numbers of thousands of digits and impossible dates to Python's own complaints.
        message = f"{file}: a value cannot be read: {shown_text(str(error))}"
        raise FileError(message) from None


def _syntax(message: str, text: str) -> str:
    found = re.fullmatch(r"(.*) \(at (?:line (\d+), column (\d+)|end of document)\)", message, re.DOTALL)
    if found is None:
        return shown_text(message)
    what, line, column = found.groups()
    where = f"line {line}, column {column}" if line else f"line {text.rstrip().count(chr(10)) + 1} (the last)"
    return f"{where}: not TOML: {shown_text(what)}"


def _complaint(error: ValidationError, raw: Mapping[str, Any], layout: Layout) -> str:
    details = error.errors(include_url=False)
    # A misspelt key shows up as one unknown key and one missing key; only the first helps.
    first = next((d for d in details if d["type"] == "extra_forbidden"), details[0])
    loc, kind, found = first["loc"], first["type"], first["input"]
    context = first.get("ctx", {})
    if kind == "extra_forbidden":
        return _unknown_key(str(loc[-1]), place(loc[:-1], raw), _model_keys(loc[:-1], layout))
    if kind == "missing":
        where = place(loc[:-1], raw)
        allowed = ", ".join(_model_keys(loc[:-1], layout))
        return f'key "{loc[-1]}" is missing{f" in {where}" if where else ""}; it is required; allowed: {allowed}'
    if kind == "case":
        where = place(loc, raw)
        return f"{where}: {context['text']}" if where else str(context["text"])
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


def _model_keys(loc: tuple[int | str, ...], layout: Layout) -> list[str]:
    inner = ".".join(str(step) for step in loc[:2])
    return list(layout.tables[inner if inner in layout.tables else str(loc[0]) if loc else ""].model_fields)


def place(loc: tuple[int | str, ...], raw: Mapping[str, Any]) -> str:
    """Where a value stands, in the maker's words: ``brace "x1".stations_mm row 2 number 1``."""
    if not loc:
        return ""
    table, *rest = loc
    words = str(table)
    if rest and isinstance(rest[0], int):
        rows = raw[str(table)]
        # A single number may stand for a list of one.
        words = f"{table} {_called(rows, rest[0])}" if isinstance(rows, list) else words
        rest = rest[1:]
    elif rest and table == "wood":
        words = f"wood {shown(rest[0])}"
        rest = rest[1:]
    labels = iter((" row ", " number "))
    for step in _written(rest, loc, raw):
        words += f"{next(labels, ' ')}{step + 1}" if isinstance(step, int) else f".{step}"
    return words


def _written(rest: Sequence[int | str], loc: tuple[int | str, ...], raw: Mapping[str, Any]) -> Sequence[int | str]:
    """The last steps to a value without the index that a single number in place of a list has not got."""
    found: Any = raw
    for step in loc[:-1]:
        if isinstance(found, list) and isinstance(step, int):
            found = found[step]
        else:
            found = found.get(step) if isinstance(found, dict) else None
    return rest[:-1] if rest and isinstance(rest[-1], int) and not isinstance(found, list) else rest


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
        is_line = context["pattern"] == LINE_PATTERN
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
