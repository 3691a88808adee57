"""`taps.toml`: where each recording was tapped, where the microphones were, and which channel is the hammer.

Depends on geometry/units, fem/named_path, fem/toml_file, fem/toml_table.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from pydantic import Field, model_validator

from bracedtop.fem.named_path import named_path
from bracedtop.fem.toml_file import Layout, read_layout, refuse_value, regular_bytes, shown, shown_text
from bracedtop.fem.toml_table import Line, Table, one_form, refuse
from bracedtop.geometry.units import MM

FILE_NAME = "taps.toml"

FARTHEST_MM = 3000.0
MOST_RECORDINGS = 400
MOST_POINTS = 400
MOST_CHANNELS = 64

Point = tuple[float, float]
Coordinate = Annotated[float, Field(ge=-FARTHEST_MM, le=FARTHEST_MM)]
Place = Annotated[list[Coordinate], Field(min_length=2, max_length=2)]
Channel = Annotated[int, Field(ge=1, le=MOST_CHANNELS)]
HitsEach = Annotated[int, Field(ge=1, le=100)]
FullScale = Annotated[float, Field(gt=0, le=1e6)]


class _Setup(Table):
    """Keys that may stand at the top for all recordings, or in one of them for itself."""

    microphone_mm: Place | None = None
    hammer_channel: Channel | None = None
    hammer_full_scale_n: FullScale | None = None
    microphone_full_scale_pa: FullScale | None = None
    accelerometer_full_scale_m_per_s2: FullScale | None = None

    @model_validator(mode="after")
    def _one_sensor(self) -> "_Setup":
        if self.microphone_full_scale_pa is not None and self.accelerometer_full_scale_m_per_s2 is not None:
            refuse("found microphone_full_scale_pa, accelerometer_full_scale_m_per_s2; a channel is one or the other")
        return self


class RecordingTable(_Setup):
    """[[recording]]: one file."""

    wav: Line
    tap_mm: Place | None = None
    points_mm: Annotated[list[Place], Field(min_length=1, max_length=MOST_POINTS)] | None = None
    hits_each: HitsEach | None = None
    microphones_mm: Annotated[list[Place], Field(min_length=1, max_length=MOST_CHANNELS)] | None = None

    @model_validator(mode="after")
    def _check(self) -> "RecordingTable":
        if {"tap_mm", "points_mm", "hits_each"} & self.model_fields_set:
            one_form(self, [({"tap_mm"}, set()), ({"points_mm"}, {"hits_each"})], "a recording")
        if self.microphone_mm is not None and self.microphones_mm is not None:
            refuse("found microphone_mm, microphones_mm; one microphone or a list of them, one a channel")
        return self


class TapsTable(_Setup):
    """The whole file."""

    hits_each: HitsEach | None = None
    recording: Annotated[list[RecordingTable], Field(min_length=1, max_length=MOST_RECORDINGS)]


TABLES: dict[str, type[Table]] = {"": TapsTable, "recording": RecordingTable}

LAYOUT = Layout(TABLES, 200_000, FILE_NAME, "one [[recording]]")


@dataclass(frozen=True, slots=True)
class Placement:
    """Where one recording was tapped and heard.

    Parameters
    ----------
    path : Path
    points : tuple of (float, float), m
        Tapped in this order; a single one for all hits; none if not known.
    hits_each : int or None
        Hits at each of several points, one after the other; as many as there are if None.
    microphones : tuple of (float, float), m
        One a channel, the hammer's left out; a single one if `channel` says which; none if not known.
    hammer_channel : int or None
        Counted from 1.
    hammer_newtons : float or None
        Force at full scale, N.
    sensor_full_scale : float or None
        Pressure in Pa, or acceleration in m/s^2, at full scale.
    is_accelerometer : bool
    """

    path: Path
    points: tuple[Point, ...] = ()
    hits_each: int | None = None
    microphones: tuple[Point, ...] = ()
    hammer_channel: int | None = None
    hammer_newtons: float | None = None
    sensor_full_scale: float | None = None
    is_accelerometer: bool = False

    def channels(self, n_channels: int) -> tuple[int, ...]:
        """Channels that hear the top, counted from 1."""
        return tuple(k for k in range(1, n_channels + 1) if k != self.hammer_channel)


def read_placements(path: Path) -> tuple[Placement, ...]:
    """Recordings that a `taps.toml` names, in its order.

    Raises
    ------
    FileError
        If the file cannot be read, a key or value in it is wrong, or a recording is named twice or does not exist.
    """
    path = Path(path)
    file = shown_text(str(path))
    content = regular_bytes(path, LAYOUT.max_bytes + 1, "must be a text file (TOML)")
    table = read_layout(content, file, LAYOUT, TapsTable)
    placements: list[Placement] = []
    for number, row in enumerate(table.recording, start=1):
        where = f"recording {number}.wav"
        source = named_path(row.wav, path.parent, path.parent, f"{file}: {where}")
        if not source.is_file():
            refuse_value(file, where, shown(row.wav), f"no such file beside {FILE_NAME}; write taps/NAME.wav")
        if any(source == placed.path for placed in placements):
            refuse_value(file, where, shown(row.wav), "stands twice; a recording takes one [[recording]]")
        placements.append(_placement(source, row, table))
    return tuple(placements)


def _placement(source: Path, row: RecordingTable, whole: TapsTable) -> Placement:
    def key(name: str) -> float | None:
        own: float | None = getattr(row, name)
        common: float | None = getattr(whole, name)
        return common if own is None else own

    points = row.points_mm or ([row.tap_mm] if row.tap_mm else [])
    place = row.microphone_mm or whole.microphone_mm
    microphones = row.microphones_mm or ([place] if place else [])
    # What a recording says of its own sensor goes before what the file says of all.
    own = row.microphone_full_scale_pa, row.accelerometer_full_scale_m_per_s2
    pascals, acceleration = (
        own if own != (None, None) else (whole.microphone_full_scale_pa, whole.accelerometer_full_scale_m_per_s2)
    )
    hammer = row.hammer_channel or whole.hammer_channel
    return Placement(
        path=source,
        points=tuple(_metres(point) for point in points),
        hits_each=row.hits_each or whole.hits_each,
        microphones=tuple(_metres(point) for point in microphones),
        hammer_channel=hammer,
        hammer_newtons=key("hammer_full_scale_n") if hammer else None,
        sensor_full_scale=acceleration if pascals is None else pascals,
        is_accelerometer=acceleration is not None,
    )


def _metres(point: list[float]) -> Point:
    return (point[0] * MM, point[1] * MM)
