"""What the page holds: the drawing as drafted, and all else that was changed on it.

Depends on scripts/page/draft, scripts/page/journal. A `Document` is a pure function of the journal: the drawing that
the draft began from is its first entry, so that a top.toml changed from outside does not change what was drafted.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from bracedtop.scripts.page.draft import Tables, drafted, is_drawing, keys_words, value_at
from bracedtop.scripts.page.journal import Change, Journal, Json, history, told, values_of

DRAWING = "drawing"
"""Key of the drawing that the draft begins from: ``{"sha256": ..., "tables": ...}``. A new one ends the draft."""


@dataclass(frozen=True, slots=True)
class Document:
    """State of the page at a revision.

    Parameters
    ----------
    revision : int
    sha256 : str
        Of the top.toml that the draft began from.
    drawing : dict
        Tables of that top.toml.
    tables : dict
        The same with the draft's changes.
    values : dict
        All other keys: ``units``, ``pairing/...``, ``notes/...``, ``photographs/...`` and those of views.
    drafted : tuple of str
        Keys of the drawing that the draft has changed.
    undo, redo : Change or None
        What the next undo takes back, and the next redo makes again.
    """

    revision: int
    sha256: str
    drawing: Tables
    tables: Tables
    values: dict[str, Json]
    drafted: tuple[str, ...]
    undo: Change | None
    redo: Change | None

    def value(self, key: str) -> Json:
        """What a key holds; None if nothing."""
        return value_at(self.tables, key) if is_drawing(key) else self.values.get(key)

    def under(self, head: str) -> dict[str, Json]:
        """What is kept under a head such as "notes", by the rest of the key."""
        return told(self.values, head)

    @property
    def is_drafted(self) -> bool:
        """Whether the draft differs from the drawing."""
        return self.tables != self.drawing

    def message(self) -> dict[str, Any]:
        """The document for the page, as JSON."""
        return {
            "revision": self.revision,
            "drawing": self.drawing,
            "tables": self.tables,
            "values": self.values,
            "is_drafted": self.is_drafted,
            "undo": _named(self.undo),
            "redo": _named(self.redo),
        }


def document(journal: Journal) -> Document:
    """What the page holds after all changes of a journal that has the drawing as an entry.

    Raises
    ------
    DesignError
        If a key of the drawing names a place that no drawing has.
    """
    values = values_of(journal.changes, {DRAWING: is_drawing})
    base = values.pop(DRAWING)
    changed = {key: value for key, value in values.items() if is_drawing(key)}
    done, undone = history(journal.changes)
    return Document(
        revision=journal.revision,
        sha256=base["sha256"],
        drawing=base["tables"],
        tables=drafted(base["tables"], changed),
        values={key: value for key, value in values.items() if not is_drawing(key)},
        drafted=tuple(changed),
        undo=done[-1] if done else None,
        redo=undone[-1] if undone else None,
    )


def change_words(change: Change) -> str:
    """What a change is about, in few words."""
    return "the whole draft" if DRAWING in change.keys else keys_words(change.keys)


def _named(change: Change | None) -> Mapping[str, Json] | None:
    return None if change is None else {"id": change.id, "words": change_words(change), "keys": list(change.keys)}
