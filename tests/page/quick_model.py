"""A small what-if model of the small case, kept beside it as the page finds it: made in seconds instead of a minute."""

import functools
import tempfile
from pathlib import Path

from commands.command_line import TOP

from bracedtop.fem.case import read_case
from bracedtop.fem.reduced_build import build_reduced
from bracedtop.fem.reduced_file import FILE, FOLDER, fingerprint, write_reduced
from bracedtop.scripts.page.solved import N_MODES


def keep_quick_model(folder: Path) -> None:
    """Put the model beside a folder that holds the small case."""
    place = folder / FOLDER
    place.mkdir(exist_ok=True)
    (place / FILE).write_bytes(_content())


@functools.cache
def _content() -> bytes:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "top.toml").write_text(TOP)
        case = read_case(folder)
        reduced = build_reduced(case.design, case.woods, N_MODES, size=case.mesh_size, basis=60, snapshots=4)
        mark = fingerprint(case.design, case.woods, N_MODES, case.mesh_size)
        write_reduced(folder / FILE, reduced, mark)
        return (folder / FILE).read_bytes()
