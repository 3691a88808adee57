"""The maker's photographs: their dates and words, and a size that fits a page.

Depends on geometry/errors, fem/toml_file. The originals stay as they are in the folder `photographs/` of the case.
"""

import datetime
import io
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn

from PIL import Image, ImageOps, UnidentifiedImageError

from bracedtop.fem.case_build import is_date
from bracedtop.fem.toml_file import shown_text
from bracedtop.geometry.errors import FileError

FOLDER_NAME = "photographs"

SUFFIXES = (".jpg", ".jpeg", ".png", ".webp", ".tif", ".tiff")

LONGEST_PX = 1400
"""Longest side of a photograph in the book, px; chosen: 12 cm in print at 300 dots an inch."""

QUALITY = 82
"""Of JPEG; chosen: no grain of wood is lost to the eye."""

MOST_PIXELS = 120_000_000
"""Largest photograph that is opened; chosen: above any camera's that a workshop has."""

_TAKEN, _CHANGED, _EXIF = 36867, 306, 0x8769
"""Exif 2.32: DateTimeOriginal, DateTime, and the directory that holds the former."""


@dataclass(frozen=True, slots=True)
class Photograph:
    """A photograph in the book.

    Parameters
    ----------
    name : str
        Its file in `photographs/`.
    date : str
        As in ISO 8601; empty if nothing tells it.
    words : str
    jpeg : bytes
        Upright, at most `LONGEST_PX` long, without what the camera wrote into the file (such as where it was).
    size : (int, int)
        Width and height of `jpeg`, px.
    """

    name: str
    date: str
    words: str
    jpeg: bytes
    size: tuple[int, int]


def photograph_paths(folder: Path) -> tuple[Path, ...]:
    """Photographs of a case, by name."""
    place = Path(folder) / FOLDER_NAME
    if not place.is_dir():
        return ()
    return tuple(sorted(p for p in place.iterdir() if p.suffix.lower() in SUFFIXES and p.is_file()))


def read_photographs(folder: Path, told: Mapping[str, Any] | None = None) -> tuple[Photograph, ...]:
    """Photographs of a case in the order of their dates, those without a date last.

    Parameters
    ----------
    folder : Path
        The case.
    told : mapping, optional
        What the maker said of each by its name: "date", "words", and "left_out" for one that is not for the book.

    Raises
    ------
    FileError
        If one cannot be opened.
    """
    found = []
    for path in photograph_paths(folder):
        said = (told or {}).get(path.name) or {}
        if not said.get("left_out"):
            found.append(_photograph(path, str(said.get("date") or ""), str(said.get("words") or "")))
    return tuple(sorted(found, key=lambda photo: (photo.date == "", photo.date, photo.name)))


def taken_on(path: Path) -> str:
    """Day on which a photograph was taken: by its camera, or by a name that begins with a date; empty if neither tells.

    Raises
    ------
    FileError
        If it cannot be opened.
    """
    try:
        with Image.open(path) as picture:
            return _taken(picture) or _named(path)
    except (OSError, UnidentifiedImageError, Image.DecompressionBombError, ValueError) as error:
        _refuse(path, error)


def _photograph(path: Path, date: str, words: str) -> Photograph:
    try:
        with Image.open(path) as picture:
            if picture.width * picture.height > MOST_PIXELS:
                message = f"{FOLDER_NAME}/{shown_text(path.name)}: is larger than {MOST_PIXELS // 1_000_000} megapixels"
                raise FileError(message)
            date = date or _taken(picture) or _named(path)
            upright = ImageOps.exif_transpose(picture)
            upright.thumbnail((LONGEST_PX, LONGEST_PX))
            plain = _on_white(upright)
    except (OSError, UnidentifiedImageError, Image.DecompressionBombError, ValueError) as error:
        _refuse(path, error)
    out = io.BytesIO()
    plain.save(out, "JPEG", quality=QUALITY, optimize=True)
    return Photograph(path.name, date, words, out.getvalue(), plain.size)


def _on_white(picture: Image.Image) -> Image.Image:
    if picture.mode not in ("RGBA", "LA", "PA") and "transparency" not in picture.info:
        return picture.convert("RGB")
    coloured = picture.convert("RGBA")
    ground = Image.new("RGBA", coloured.size, "white")
    return Image.alpha_composite(ground, coloured).convert("RGB")


def _taken(picture: Image.Image) -> str:
    exif = picture.getexif()
    for value in (exif.get_ifd(_EXIF).get(_TAKEN), exif.get(_CHANGED)):
        try:
            return datetime.datetime.strptime(str(value)[:10], "%Y:%m:%d").date().isoformat()
        except ValueError:
            continue
    return ""


def _named(path: Path) -> str:
    return path.name[:10] if is_date(path.name[:10]) and len(path.stem) >= 10 else ""


def _refuse(path: Path, error: Exception) -> NoReturn:
    message = f"{FOLDER_NAME}/{shown_text(path.name)}: cannot be opened as a photograph ({shown_text(str(error))})"
    raise FileError(message) from error
