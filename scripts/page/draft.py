"""The drawing as drafted on the page: the tables of top.toml with the page's changes on them.

Depends on fem/case, fem/case_file, fem/case_schema, fem/part_writer, scripts/page/journal. A key is a path in these
tables: ``top/wood``, ``brace/x bass`` (the whole table), ``brace/x bass/stations_mm``, ``joint`` (the whole list).
"""

import copy
import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path

from bracedtop.fem.case import Case, case_of
from bracedtop.fem.case_file import FILE_NAME, LAYOUT, read_tables
from bracedtop.fem.case_schema import CaseTable
from bracedtop.fem.part_writer import quoted_key, table
from bracedtop.fem.toml_file import read_layout
from bracedtop.geometry.errors import DesignError, FileError
from bracedtop.scripts.page.journal import Json

Tables = dict[str, Json]

NAMED = ("brace", "patch", "mass", "back_brace", "back_patch")
"""Lists whose tables are found by their names."""

LISTS = ("hole", "thickness", "joint", "target", "string", "back_joint", "lining", "block", "finish")
"""Lists that change as a whole."""

KEYED = ("wood",)
"""Tables of tables."""

TEXTS = ("name", "note")

LARGEST = 1e12
"""Largest number; chosen: it can still be written digit for digit."""

HEADS = frozenset(CaseTable.model_fields)
"""First words of the keys that belong to the drawing; those not named above are single tables."""

_JOINTS = {"joint": "brace", "back_joint": "back_brace"}

_AXES = """\
# Lengths in mm, angles in degrees, frequencies in Hz. x runs along the centreline from the tail end to the neck;
# y points to the right as seen from the inside with the neck up. stations_mm are pairs: distance along the brace
# and height there. Written by the bench page; earlier drawings lie in drawings/.
"""


def is_drawing(key: str) -> bool:
    """Whether a key belongs to the drawing."""
    return key.split("/", 1)[0] in HEADS


def drawing_tables(content: bytes) -> Tables:
    """Tables in the content of a top.toml, once they are known to be a drawing's.

    Raises
    ------
    FileError
    """
    read_layout(content, FILE_NAME, LAYOUT, CaseTable)
    return tomllib.loads(content.decode("utf-8-sig"))


def drafted(tables: Mapping[str, Json], changes: Mapping[str, Json]) -> Tables:
    """Copy of a drawing's tables with the drawing's own keys among `changes` put in, in their order.

    A joint of a brace that is no longer there goes with it. What was changed in a part that is no longer there is left
    out.

    Raises
    ------
    DesignError
        If a key names a place that no drawing has.
    """
    found = copy.deepcopy(dict(tables))
    for key, value in changes.items():
        if is_drawing(key):
            _put(found, key, copy.deepcopy(value))
    for head in NAMED:
        if head in found:
            order = [row.get("name") for row in tables.get(head, [])]
            found[head].sort(key=lambda row: order.index(row["name"]) if row.get("name") in order else len(order))
    for joints, braces in _JOINTS.items():
        names = {row.get("name") for row in found.get(braces, [])}
        gone = {row.get("name") for row in tables.get(braces, [])} - names
        found[joints] = [j for j in found.get(joints, []) if not {j.get("under"), j.get("over")} & gone]
    return {head: value for head, value in found.items() if value not in ([], {})}


def value_at(tables: Mapping[str, Json], key: str) -> Json:
    """What a key of the drawing holds, None if nothing.

    Raises
    ------
    DesignError
        If no drawing has such a place.
    """
    head, *rest = _steps(key)
    found = tables.get(head)
    for k, step in enumerate(rest):
        if found is None:
            return None
        if k == 0 and head in NAMED:
            found = next((row for row in found if row.get("name") == step), None)
        else:
            found = found.get(step) if isinstance(found, dict) else None
    return copy.deepcopy(found)


def draft_text(tables: Mapping[str, Json], words: str = _AXES) -> str:
    """Text of a top.toml with these tables, and with some comment lines behind its first ones."""
    plain = {head: value for head, value in tables.items() if not isinstance(value, dict | list)}
    blocks = ["".join(table("x", plain).splitlines(keepends=True)[1:]), words]
    for head, value in tables.items():
        if isinstance(value, list):
            blocks += [table(f"[{head}]", {quoted_key(key): item for key, item in row.items()}) for row in value]
        elif isinstance(value, dict):
            blocks.append(_table_text(head, value))
    return "\n".join(block for block in blocks if block)


def check_tables(tables: Mapping[str, Json]) -> CaseTable:
    """Tables as the drawing reads them.

    Raises
    ------
    FileError
        If a key or value is wrong.
    """
    return read_layout(draft_text(tables).encode(), FILE_NAME, LAYOUT, CaseTable)


def drafted_case(folder: Path, tables: Mapping[str, Json]) -> Case:
    """The case that the drafted drawing describes.

    Raises
    ------
    FileError, DesignError
        If it cannot be built.
    """
    return case_of(check_tables(tables), folder)


def read_drawing(folder: Path) -> tuple[bytes, Tables]:
    """Content of a case's top.toml and its tables.

    Raises
    ------
    FileError
    """
    read_tables(folder)
    try:
        content = (folder / FILE_NAME).read_bytes()
    except OSError as error:
        message = f"{folder / FILE_NAME}: cannot be read ({error.strerror}); it has to be a readable text file"
        raise FileError(message) from None
    return content, drawing_tables(content)


def check_change(tables: Mapping[str, Json], key: str, value: Json) -> None:
    """Refuse a change of the drawing that has no place in it, or a value that no drawing can hold.

    Raises
    ------
    DesignError
    """
    head, *rest = _steps(key)
    if head in NAMED and len(rest) == 2 and value_at(tables, f"{head}/{rest[0]}") is None:
        message = f'there is no {head.replace("_", " ")} "{rest[0]}" in the drawing; it may have been taken out'
        raise DesignError(message)
    if value is not None and not _fits(head, rest, value):
        message = f"{key_words(key)}: the value must be text, a number, a list of numbers, or the whole of the part"
        raise DesignError(message)


def _fits(head: str, rest: list[str], value: Json) -> bool:
    if head in LISTS:
        return isinstance(value, list) and all(_is_row(row) for row in value)
    if head in NAMED + KEYED:
        return _is_row(value) if len(rest) == 1 else _is_plain(value, 2)
    if head in TEXTS:
        return isinstance(value, str)
    parts = [value] if rest else list(value.values()) if isinstance(value, dict) else [None]
    return all(_is_row(part) if isinstance(part, dict) else _is_plain(part, 2) for part in parts)


def _is_row(value: Json) -> bool:
    return isinstance(value, dict) and all(_is_plain(item, 2) for item in value.values())


def _is_plain(value: Json, depth: int) -> bool:
    if isinstance(value, list):
        return depth > 0 and all(_is_plain(item, depth - 1) for item in value)
    return isinstance(value, str) or (isinstance(value, int | float) and -LARGEST <= value <= LARGEST)


def key_words(key: str) -> str:
    """A key in a maker's words: ``x bass: stations``."""
    head, *rest = key.split("/")
    names = [step.removesuffix("_mm").removesuffix("_deg").replace("_", " ") for step in rest]
    if head in NAMED + KEYED and rest:
        return ": ".join([rest[0], *names[1:]])
    return ": ".join([head.replace("_", " "), *names])


def keys_words(keys: Iterable[str]) -> str:
    """Several keys in few words."""
    words = list(dict.fromkeys(key_words(key) for key in keys))
    return ", ".join(words) if len(words) <= 2 else f"{words[0]} and {len(words) - 1} more"


def _steps(key: str) -> list[str]:
    steps = key.split("/")
    head = steps[0]
    if head not in HEADS or "" in steps:
        message = f"{key!r} names nothing in a drawing; its first word must be one of: {', '.join(sorted(HEADS))}"
        raise DesignError(message)
    least, most = (2, 3) if head in NAMED + KEYED else (1, 1) if head in LISTS + TEXTS else (1, 2)
    if not least <= len(steps) <= most:
        message = f"{key!r} names nothing in a drawing; {head} takes {least} to {most} words with slashes between them"
        raise DesignError(message)
    return steps


def _put(tables: Tables, key: str, value: Json) -> None:
    head, *rest = _steps(key)
    if not rest:
        _set(tables, head, value)
    elif head in NAMED:
        _put_row(tables.setdefault(head, []), rest, value)
    else:
        inner = tables.setdefault(head, {})
        if len(rest) == 2:
            if rest[0] not in inner and value is None:
                return
            inner = inner.setdefault(rest[0], {})
        _set(inner, rest[-1], value)


def _put_row(rows: list[Tables], rest: list[str], value: Json) -> None:
    at = next((k for k, row in enumerate(rows) if row.get("name") == rest[0]), None)
    if len(rest) == 1:
        if at is not None:
            del rows[at]
        if isinstance(value, dict):
            rows.insert(len(rows) if at is None else at, {**value, "name": rest[0]})
    elif at is not None:
        _set(rows[at], rest[1], value)


def _set(place: Tables, key: str, value: Json) -> None:
    if value is None:
        place.pop(key, None)
    else:
        place[key] = value


def _table_text(head: str, value: Mapping[str, Json]) -> str:
    own = {quoted_key(key): item for key, item in value.items() if not isinstance(item, dict)}
    inner = [_table_text(f"{head}.{quoted_key(key)}", item) for key, item in value.items() if isinstance(item, dict)]
    return "\n".join(([table(head, own)] if own or not inner else []) + inner)
