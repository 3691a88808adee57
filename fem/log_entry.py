"""What one line of the bench log holds: the entries of the instrument's record, and how they are made.

Depends on geometry/cut, fem/case, fem/model, fem/taps. Lines outlive the program that wrote them, so that they are in
the maker's units, carry the version of their form, and name files by content (SHA-256).
"""

import datetime
import hashlib
import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import numpy as np
from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, JsonValue, TypeAdapter

from bracedtop.fem.case_file import FILE_NAME as DRAWING
from bracedtop.fem.case_file import read_tables
from bracedtop.geometry.cut import Cut
from bracedtop.geometry.errors import FileError
from bracedtop.geometry.units import GRAM, MM

if TYPE_CHECKING:
    # Reading a log needs no solver.
    from bracedtop.fem.case import Case
    from bracedtop.fem.model import Model, Modes
    from bracedtop.fem.taps import Taps

SCHEMA = 1
"""Version of the form. A change that an older program would misread raises it."""

LAST_PASS = 999
"""Highest number of a pass; as in fem/session."""

Sha = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
Hertz = Annotated[float, Field(gt=0)]


class Part(BaseModel):
    """A piece of an entry; nothing else may stand in it."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, populate_by_name=True, allow_inf_nan=False)


class OpenPart(BaseModel):
    """A piece of an entry that may hold further values."""

    model_config = ConfigDict(frozen=True, extra="allow", strict=True, populate_by_name=True, allow_inf_nan=False)
    __pydantic_extra__: dict[str, JsonValue] = Field(init=False)


class LoggedFile(Part):
    """A file that was read: its name within the case folder, and the SHA-256 of its content."""

    name: str
    sha256: Sha


class LoggedTap(Part):
    """A measured mode."""

    number: int
    hz: Hertz
    std_error_hz: float | None = None
    spread_hz: float | None = None
    t60_s: float | None = None
    q: float | None = None
    label: str = ""


class LoggedMode(OpenPart):
    """A mode of the model: its number in the drawing, its frequency, and the standard deviation that it had."""

    mode: int
    hz: Hertz
    std_hz: float | None = None


class LoggedCut(Part):
    """A cut, as in cut.csv, with the wood that it takes."""

    brace: str
    from_mm: float
    to_mm: float
    depth_from_mm: float
    depth_to_mm: float
    grams: float | None = None


class _Entry(BaseModel):
    # Beside these, values from outside are taken as they are: numbers stay numbers, text stays text.
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, populate_by_name=True, allow_inf_nan=False)

    version: Literal[1] = Field(default=1, validation_alias="schema", serialization_alias="schema")
    time: AwareDatetime = Field(default_factory=lambda: datetime.datetime.now().astimezone())
    number: int = Field(validation_alias="pass", serialization_alias="pass", ge=0, le=LAST_PASS)


class DrawingEntry(_Entry):
    """The drawing: its files, what its parts weigh, and the modes that it should have."""

    stage: Literal["drawing"] = "drawing"
    name: str
    files: tuple[LoggedFile, ...]
    grams: dict[str, float] = {}
    modes: tuple[LoggedMode, ...] = ()


class TapsEntry(_Entry):
    """What the top rang with."""

    stage: Literal["taps"] = "taps"
    modes: tuple[LoggedTap, ...]
    files: tuple[LoggedFile, ...]


class CalibrationEntry(_Entry):
    """The model fitted to the taps; `residuals` and further values as the calibration gives them."""

    model_config = ConfigDict(extra="allow")
    __pydantic_extra__: dict[str, JsonValue] = Field(init=False)

    stage: Literal["calibration"] = "calibration"
    means: dict[str, float | None] = {}
    standard_deviations: dict[str, float | None] = {}
    residuals: tuple[dict[str, JsonValue], ...] = ()


class PlanEntry(_Entry):
    """The plan of a pass; its number is that of the pass to come."""

    model_config = ConfigDict(extra="allow")
    __pydantic_extra__: dict[str, JsonValue] = Field(init=False)

    stage: Literal["plan"] = "plan"
    targets: tuple[dict[str, JsonValue], ...] = ()
    cuts: tuple[LoggedCut, ...] = ()
    expected: tuple[LoggedMode, ...] = ()


class CutEntry(_Entry):
    """What was really cut in a pass."""

    stage: Literal["cut"] = "cut"
    cuts: tuple[LoggedCut, ...]


class NoteEntry(_Entry):
    """The maker's own words."""

    stage: Literal["note"] = "note"
    text: str


Entry = Annotated[
    DrawingEntry | TapsEntry | CalibrationEntry | PlanEntry | CutEntry | NoteEntry, Field(discriminator="stage")
]
ENTRY: TypeAdapter[Entry] = TypeAdapter(Entry)
STAGES = ("drawing", "taps", "calibration", "plan", "cut", "note")


def drawing_entry(case: "Case", model: "Model | None" = None, modes: "Modes | None" = None) -> DrawingEntry:
    """Entry of a drawing, before pass 1.

    Parameters
    ----------
    case : Case
    model : Model, optional
        For the masses.
    modes : Modes, optional
        For the frequencies.

    Raises
    ------
    FileError
        If a file of the drawing cannot be read.
    """
    tables = read_tables(case.folder)
    boards = {wood.board for wood in tables.wood.values() if wood.board is not None}
    named = [name for name in (tables.top.thickness_csv, *sorted(boards)) if name is not None]
    grams = {} if model is None else {"all": model.mass(), **{k: model.mass(k) for k in ("top", "brace", "patch")}}
    hz = [] if modes is None else [float(f) for f in modes.frequencies]
    return DrawingEntry(
        number=0,
        name=case.name,
        files=tuple(logged_file(case.folder, name) for name in (DRAWING, *named)),
        grams={key: round(value / GRAM, 3) for key, value in grams.items()},
        modes=tuple(LoggedMode(mode=k, hz=round(f, 4)) for k, f in enumerate(hz, start=1)),
    )


def taps_entry(taps: "Taps", number: int, folder: Path) -> TapsEntry:
    """Entry of the taps behind a pass.

    Parameters
    ----------
    taps : Taps
    number : int
        Of the pass; 0 before the first.
    folder : Path
        Where they were read: the case folder for 0, else the pass's.

    Raises
    ------
    FileError
        If a file cannot be read again.
    """
    inside = f"{folder.name}/" if number else ""
    case = folder.parent if number else folder
    modes = tuple(
        LoggedTap(
            number=mode.number,
            hz=round(mode.hz, 4),
            std_error_hz=_rounded(mode.std_error_hz, 4),
            spread_hz=_rounded(mode.spread_hz, 4),
            t60_s=_rounded(mode.decay_time, 4),
            q=_rounded(mode.q, 2),
            label=mode.label,
        )
        for mode in taps.measured
    )
    files = tuple(logged_file(case, f"{inside}{name}") for name in taps.sources)
    return TapsEntry(number=number, modes=modes, files=files)


def calibration_entry(data: Mapping[str, Any], number: int) -> CalibrationEntry:
    """Entry of a calibration with the taps of a pass and all before it.

    Parameters
    ----------
    data : mapping
        "means" and "standard_deviations" (name of a parameter to number), "residuals" (a sequence of mappings), and
        whatever else is worth keeping. Arrays become lists, what is not finite becomes null.
    number : int
        Of the last pass whose taps it knows.
    """
    return CalibrationEntry.model_validate({**_plain(data), "pass": number}, strict=False)


def plan_entry(data: Mapping[str, Any], number: int) -> PlanEntry:
    """Entry of the plan of a pass to come.

    Parameters
    ----------
    data : mapping
        "targets" (a sequence of mappings), "cuts" (of Cut, or of mappings as in cut.csv with "grams"), "expected" (a
        sequence of mappings of "mode", "hz" and, if known, "std_hz": what the re-tap should show), and whatever else is
        worth keeping.
    number : int
        Of the pass that it plans: 1 for the first.
    """
    cuts = [logged_cut(cut).model_dump() if isinstance(cut, Cut) else _plain(cut) for cut in data.get("cuts", ())]
    others = {key: value for key, value in data.items() if key != "cuts"}
    return PlanEntry.model_validate({**_plain(others), "cuts": cuts, "pass": number}, strict=False)


def cut_entry(cuts: Sequence[Cut], grams: Sequence[float], number: int) -> CutEntry:
    """Entry of the cuts of a pass with the wood that each took, g."""
    return CutEntry(number=number, cuts=tuple(logged_cut(cut, g) for cut, g in zip(cuts, grams, strict=True)))


def note_entry(text: str, number: int) -> NoteEntry:
    """Entry of the maker's own words about the state after a pass."""
    return NoteEntry(number=number, text=text)


def logged_cut(cut: Cut, grams: float | None = None) -> LoggedCut:
    """A cut in the maker's units."""
    lengths = (cut.start, cut.stop, cut.depth_start, cut.depth_stop)
    start, stop, first, last = (round(value / MM, 4) for value in lengths)
    return LoggedCut(
        brace=cut.part, from_mm=start, to_mm=stop, depth_from_mm=first, depth_to_mm=last, grams=_rounded(grams, 4)
    )


def logged_file(case: Path, name: str) -> LoggedFile:
    """A file of the case with its content's SHA-256.

    Raises
    ------
    FileError
        If it cannot be read.
    """
    try:
        with (case / name).open("rb") as stream:
            digest = hashlib.file_digest(stream, "sha256")
    except OSError as error:
        message = f"{name}: cannot be read ({error.strerror}); the log keeps its SHA-256"
        raise FileError(message) from error
    return LoggedFile(name=name, sha256=digest.hexdigest())


def same_content(first: Entry, second: Entry) -> bool:
    """Whether two entries say the same, apart from when."""
    apart = {"time"}
    return type(first) is type(second) and first.model_dump(exclude=apart) == second.model_dump(exclude=apart)


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None or not math.isfinite(value) else round(float(value), digits)


def _plain(value: Any) -> Any:
    """Value as JSON knows it."""
    if isinstance(value, BaseModel):
        return _plain(value.model_dump(by_alias=True))
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, np.ndarray | np.generic):
        return _plain(value.tolist())
    if isinstance(value, Sequence) and not isinstance(value, str | bytes):
        return [_plain(item) for item in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if isinstance(value, Path):
        return value.as_posix()
    return value
