"""Write a case folder to begin from.

Without --pattern it holds the starter case: an invented small steel-string flat-top with its drawing and taps. With
--pattern it holds the drawing of a plain body with braces of that family, scaled to the sizes that you give; sizes
that you leave out follow from the body length in the starter case's proportions. An existing folder is only used if
it is empty.

example:
  bracedtop new my-top
  bracedtop new my-fan --pattern fan --body-length-mm 485
"""

import argparse
import contextlib
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from bracedtop.geometry.errors import FileError
from bracedtop.scripts.pattern import FAMILIES

if TYPE_CHECKING:
    from importlib.resources.abc import Traversable

STARTER = "wren"

BRIDGE_PLATE = ((146, -80), (192, -40), (192, 40), (146, 80))
"""Corners of the starter case's bridge plate, mm."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("folder", type=Path, metavar="DIR", help="folder to write; must be new or empty")
    parser.add_argument("--pattern", choices=FAMILIES, help="brace family to draw instead of the starter case")
    sizes = parser.add_argument_group("sizes of the body, with --pattern")
    sizes.add_argument("--body-length-mm", type=body_size, metavar="MM", help="default 480")
    sizes.add_argument("--lower-bout-mm", type=body_size, metavar="MM", help="full width")
    sizes.add_argument("--waist-mm", type=body_size, metavar="MM", help="full width")
    sizes.add_argument("--upper-bout-mm", type=body_size, metavar="MM", help="full width")
    sizes.add_argument("--top-wood", metavar="WOOD", help="default spruce_sitka")
    sizes.add_argument("--brace-wood", metavar="WOOD", help="default spruce_sitka")
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of text")


def body_size(text: str) -> float:
    """Size of a body from the command line, mm."""
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not 50 <= value <= 3000:
        message = f"{text!r} is not a size of a body; give 50 to 3000 mm"
        raise argparse.ArgumentTypeError(message)
    return value


def run(args: argparse.Namespace) -> int:
    """Write the folder."""
    from bracedtop.fem.case import read_case
    from bracedtop.scripts.console import print_json

    folder: Path = args.folder
    _refuse_full(folder)
    sizes = ("body_length_mm", "lower_bout_mm", "waist_mm", "upper_bout_mm", "top_wood", "brace_wood")
    given = {key: getattr(args, key) for key in sizes if getattr(args, key) is not None}
    if args.pattern is None and given:
        option = f"--{next(iter(given)).replace('_', '-')}"
        message = (
            f"{option} without --pattern; the starter case has its own sizes, name a pattern: {', '.join(FAMILIES)}"
        )
        raise FileError(message)
    name = "".join(c for c in folder.resolve().name if c.isprintable())[:100] or "top"
    files = _starter() if args.pattern is None else {Path("top.toml"): _drawing(name, args.pattern, **given).encode()}
    with tempfile.TemporaryDirectory(prefix="bracedtop-") as aside:
        # Whatever is handed out has to be a case that reads.
        _write(Path(aside), files)
        case = read_case(Path(aside))
    folder.mkdir(parents=True, exist_ok=True)
    _write(folder, files)
    written = [str(folder / name) for name in files]
    if args.json:
        print_json({"case": str(folder), "name": case.name, "written": written})
        return 0
    print(f"{f'pattern {args.pattern}' if args.pattern else 'starter case'}: {len(case.design.braces)} braces")
    print(f"Written: {', '.join(written)}")
    return 0


def _refuse_full(folder: Path) -> None:
    if folder.exists() and not folder.is_dir():
        message = f"{folder}: is a file; give a new or an empty folder"
        raise FileError(message)
    if folder.is_dir() and next(folder.iterdir(), None) is not None:
        message = f"{folder}: is not empty; give a new or an empty folder"
        raise FileError(message)


def _write(folder: Path, files: dict[Path, bytes]) -> None:
    with contextlib.ExitStack() as undo:
        for name, content in files.items():
            path = folder / name
            path.parent.mkdir(parents=True, exist_ok=True)
            # "x" fails rather than overwrite a file that appeared meanwhile.
            with path.open("xb") as stream:
                undo.callback(path.unlink, missing_ok=True)
                stream.write(content)
        undo.pop_all()


def _starter() -> dict[Path, bytes]:
    from importlib.resources import files

    root = files("bracedtop.cases") / STARTER
    found = dict(sorted(_walk(root, Path())))
    if Path("top.toml") not in found:
        message = f"the starter case {STARTER!r} is missing from this installation; install the program again"
        raise FileError(message)
    return found


def _walk(folder: "Traversable", inside: Path) -> Iterator[tuple[Path, bytes]]:
    for item in folder.iterdir():
        if item.is_dir():
            if item.name not in ("out", "pictures", "__pycache__") and not item.name.startswith("."):
                yield from _walk(item, inside / item.name)
        # The starter's brief compares it with a case that a copy does not have beside it.
        elif item.name != "brief.toml" and not item.name.endswith((".py", ".pyc")):
            yield inside / item.name, item.read_bytes()


def _drawing(
    name: str,
    family: str,
    *,
    body_length_mm: float = 480.0,
    lower_bout_mm: float | None = None,
    waist_mm: float | None = None,
    upper_bout_mm: float | None = None,
    top_wood: str = "spruce_sitka",
    brace_wood: str = "spruce_sitka",
) -> str:
    """Text of a top.toml: a body in the starter case's proportions with braces of a family."""
    from dataclasses import replace

    import numpy as np

    from bracedtop.fem.case_writer import case_text
    from bracedtop.fem.wood_table import handbook_wood
    from bracedtop.geometry.design import Design, Edge, Plate
    from bracedtop.geometry.outline import Hole, body_outline, polygon_outline, rectangle
    from bracedtop.geometry.patch import Patch
    from bracedtop.geometry.units import DEGREE, MM
    from bracedtop.scripts.pattern import pattern_braces

    def scaled(usual_mm: float) -> float:
        return round(usual_mm * body_length_mm / 480.0, 1)

    sizes = {
        "body_length_mm": body_length_mm,
        "lower_bout_mm": lower_bout_mm or scaled(372),
        "lower_bout_at_mm": scaled(125),
        "waist_mm": waist_mm or scaled(232),
        "waist_at_mm": scaled(288),
        "upper_bout_mm": upper_bout_mm or scaled(276),
        "upper_bout_at_mm": scaled(398),
    }
    outline = body_outline(**{key.removesuffix("_mm"): value * MM for key, value in sizes.items()})
    for wood in (top_wood, brace_wood):
        handbook_wood(wood)
    bridge = rectangle(np.array([scaled(168), 0]) * MM, np.array([scaled(28), scaled(152)]) * MM)
    patches = [Patch("bridge", "walnut_black", bridge, 7.5 * MM, "outside", 90 * DEGREE, is_bridge=True)]
    if family in ("x", "ladder"):
        plate = polygon_outline(np.array([[scaled(x), scaled(y)] for x, y in BRIDGE_PLATE]) * MM)
        patches.append(Patch("bridge plate", "maple_sugar", plate, 2.4 * MM, grain_angle=90 * DEGREE))
    design = Design(
        outline=outline,
        plate=Plate(top_wood, 2.8 * MM),
        holes=(Hole(np.array([scaled(334), 0]) * MM, np.full(2, scaled(96) / 2) * MM),),
        patches=tuple(patches),
        edge=Edge("free"),
    )
    design = replace(design, braces=pattern_braces(design, family, brace_wood, {}, {}))
    note = "Invented proportions: a start to be changed. The top is free, as tapped loose on the bench."
    return case_text(name, note, design, outline=sizes)
