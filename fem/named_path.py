"""Files that a file names: relative, and not out of its surroundings.

Depends on geometry/errors, fem/toml_file.
"""

import re
from pathlib import Path

from bracedtop.fem.toml_file import shown
from bracedtop.geometry.errors import FileError


def named_path(text: str, folder: Path, root: Path, where: str) -> Path:
    """Path of a file that is named relative to `folder`.

    Drawings and boards are passed on from hand to hand, so what they name must not reach for the rest of the disk, and
    has to mean the same file on every system.

    Parameters
    ----------
    text : str
        As written, with / between folders.
    folder : Path
        Folder of the naming file.
    root : Path
        `folder` or its parent; the file has to lie inside, also when links are followed.
    where : str
        What names it, for the message.

    Raises
    ------
    FileError
        If it is absolute, has a backslash, or leads out of `root`.
    """
    steps = text.split("/")
    inside = "the folder of this file" if root == folder else "the folder beside it or its own"
    if "\\" in text or text.startswith("/") or re.match(r"[A-Za-z]:", text) or ".." in steps[1:]:
        allowed = "must be relative, with / between folders and .. at most once and first"
        message = f"{where} = {shown(text)}: {allowed}"
        raise FileError(message)
    try:
        path = folder / text
        out = not path.resolve().is_relative_to(root.resolve())
    except (OSError, RuntimeError, ValueError) as error:
        # Links that go round in a circle, names that the system cannot hold.
        message = f"{where} = {shown(text)}: cannot be looked up ({type(error).__name__}); must be the name of a file"
        raise FileError(message) from None
    if out:
        message = f"{where} = {shown(text)}: leads out of {inside}; must stay there"
        raise FileError(message)
    return path
