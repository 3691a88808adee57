"""What the report page shows, in the user's units; filled by the command, laid out by `fem/report`.

Depends on nothing inside the project.
"""

from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class ReportPicture:
    """A picture's PNG bytes and its words for who cannot see it."""

    png: bytes
    alt: str

    @classmethod
    def from_file(cls, path: Path, alt: str) -> "ReportPicture":
        """Picture read from a PNG file."""
        return cls(path.read_bytes(), alt)


@dataclass(frozen=True, slots=True)
class BraceLine:
    """A brace in the summary of the drawing, mm."""

    name: str
    wood: str
    length_mm: float
    width_mm: float
    tallest_mm: float


@dataclass(frozen=True, slots=True)
class Drawing:
    """Summary of the drawing.

    Parameters
    ----------
    length_mm, width_mm : float
        Extent of the outline.
    thickness_mm : float
    thickness_words : str
        What else the thickness does, such as a thinned edge; may be empty.
    top_wood : str
    edge : str
        Edge condition in words, such as "free, lying loose".
    top_g, braces_g, patches_g : float
    braces : tuple of BraceLine
    woods : tuple of (str, str)
        Each wood that is used and where its values come from.
    """

    length_mm: float
    width_mm: float
    thickness_mm: float
    thickness_words: str
    top_wood: str
    edge: str
    top_g: float
    braces_g: float
    patches_g: float
    braces: tuple[BraceLine, ...] = ()
    woods: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class TapLine:
    """A tapped frequency.

    Parameters
    ----------
    hz : float
    spread_hz : float or None
        Standard deviation over the hits.
    decay_s : float or None
        Time to fall by 60 dB.
    q : float or None
    label : str
        The maker's own words; may be empty.
    """

    hz: float
    spread_hz: float | None = None
    decay_s: float | None = None
    q: float | None = None
    label: str = ""


@dataclass(frozen=True, slots=True)
class ModeLine:
    """A predicted mode, with the tap that belongs to it.

    Parameters
    ----------
    mode : int
    hz : float
    looks_like : str
    nodal_lines : (int, int)
        Across the grain, along it.
    modal_mass_g : float
        At the bridge; infinite where the bridge stands still.
    shares : dict of str to float
        Shares of the strain energy by part, as in `ModeSummary`.
    tap : TapLine or None
    wanted_hz : float or None
    wanted_words : str
        The target as written in the drawing; may be empty.
    is_right : bool
        Whether the tapped frequency is where it should be.
    error_percent : float or None
        Estimated discretisation error of `hz`.
    picture, shaving_map : ReportPicture or None
    bridge : str
        What it does at the bridge, such as "rocks across"; may be empty.
    mac : float or None
        Likeness of its shape to the tapped one.
    """

    mode: int
    hz: float
    looks_like: str
    nodal_lines: tuple[int, int]
    modal_mass_g: float
    shares: dict[str, float]
    tap: TapLine | None = None
    wanted_hz: float | None = None
    wanted_words: str = ""
    is_right: bool = False
    error_percent: float | None = None
    picture: ReportPicture | None = None
    shaving_map: ReportPicture | None = None
    bridge: str = ""
    mac: float | None = None


@dataclass(frozen=True, slots=True)
class ShavingLine:
    """What the first millimetre off one stretch of a brace does to one mode."""

    brace: str
    from_mm: float
    to_mm: float
    mode: int
    hz_per_mm: float
    grams_per_mm: float


@dataclass(frozen=True, slots=True)
class ReportData:
    """All that the report page shows.

    Parameters
    ----------
    case_name, note : str
        From the drawing. A note that says "invented" is shown as a banner.
    drawing : Drawing
    modes : tuple of ModeLine
        In the order of their numbers.
    unpaired_taps : tuple of TapLine
        Tapped, but fitting no predicted mode.
    shaving : tuple of ShavingLine
        For the paired modes; stretches in the order of the braces and along them.
    right_cents, moved_cents : float
        A tapped mode within `right_cents` of where it should be counts as right; a stretch or brace of which a
        millimetre moves a right mode by more than `moved_cents` is flagged.
    mesh_facts : tuple of (str, str)
        Facts about the mesh and the solution, such as ("triangles", "1 204 of 25 mm").
    warnings : tuple of str
    plan, ladder : ReportPicture or None
    program : str
        Name and version for the last line.
    mac : ReportPicture or None
    close_calls : tuple of str
        Pairings that could be otherwise, a sentence each.
    """

    case_name: str
    note: str
    drawing: Drawing
    modes: tuple[ModeLine, ...]
    unpaired_taps: tuple[TapLine, ...]
    shaving: tuple[ShavingLine, ...]
    right_cents: float
    moved_cents: float
    mesh_facts: tuple[tuple[str, str], ...] = ()
    warnings: tuple[str, ...] = ()
    plan: ReportPicture | None = None
    ladder: ReportPicture | None = None
    program: str = "bracedtop"
    mac: ReportPicture | None = None
    close_calls: tuple[str, ...] = ()
