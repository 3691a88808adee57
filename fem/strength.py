"""Strengths of the woods of the Wood Handbook at 12 % moisture content, and what years of load take from them.

Depends on fem/wood_table, geometry/errors.

The values are averages of small clear straight-grained pieces broken within minutes. Pieces of one species differ by
16 % (bending) to 25 % (tension across the grain), coefficient of variation (Table 5-6, recalled); knots, run-out and
dents are not in them.

References
----------
Forest Products Laboratory, "Wood handbook", FPL-GTR-282, Madison 2021, Table 5-3a (Table 5-5a for imported woods); the
same values stand in FPL-GTR-190 (2010).
"""

from dataclasses import dataclass

from bracedtop.geometry.errors import DesignError

LONG_TERM_STRENGTH = 0.56
"""Part of the short-term strength that holds a load for good: load duration factors of 0.9 (permanent) over 1.6 (the
ten minutes of a test), National Design Specification for Wood Construction (2018), Table 2.3.2 (factors seen in
quotation). L. W. Wood's curve of 1951, 18.3 + 108.4 t^-0.0464 in % and s (seen in Forests 12 (2021) 1148), gives 0.62
after 10 years and 0.59 after 50."""

CREEP_FACTOR = 2.0
"""Deflection after years of load over that when the strings go on: creep adds about as much again (Wood Handbook,
ch. 5, "Time under load", recalled; the National Design Specification, 3.5.2, has 1.5 for seasoned and 2 for unseasoned
lumber, seen in quotation, with 1 to 3 as the range)."""


@dataclass(frozen=True, slots=True)
class Strength:
    """Short-term strengths of a wood; None where nothing is known.

    Parameters
    ----------
    bending : float or None, Pa
        Modulus of rupture; here for tension along the grain at a face, too.
    compression : float or None, Pa
        Along the grain.
    shear : float or None, Pa
        Along the grain; also for glue lines, as a sound glue joint breaks in the wood (common practice, no source).
    tension_across : float or None, Pa
    source : str

    Raises
    ------
    DesignError
        If a strength is not positive.
    """

    bending: float | None = None
    compression: float | None = None
    shear: float | None = None
    tension_across: float | None = None
    source: str = ""

    def __post_init__(self) -> None:
        """Check the values once."""
        for key in KEYS:
            value = getattr(self, key)
            if value is not None and not value > 0:
                message = f"{key} strength {value:g} Pa; must be > 0"
                raise DesignError(message)


KEYS = ("bending", "compression", "shear", "tension_across")

_SEEN = "seen in transcription"
_RECALLED = "recalled"
_PART = "compression and shear seen in transcription, bending and tension across recalled"
_BENDING = "bending seen in transcription, the rest recalled"
_OLD = "bending and compression (old growth) seen in transcription, the rest recalled"
_TWO = "bending and compression seen in transcription, the rest recalled"
_THREE = "seen in transcription but for tension across, recalled"

# MPa: bending, compression along, shear along, tension across; None where the table has a dash.
# fmt: off
_ROWS: dict[str, tuple[float, float, float, float | None, str]] = {
    "spruce_sitka":         ( 70.0, 38.7,  7.9, 2.6,  _RECALLED),
    "spruce_engelmann":     ( 64.0, 30.9,  8.3, 2.4,  _BENDING),
    "cedar_western_red":    ( 51.7, 31.4,  6.8, 1.5,  _RECALLED),
    "cedar_northern_white": ( 45.0, 27.3,  5.9, 1.7,  _SEEN),
    "redwood":              ( 69.0, 42.4,  6.5, 1.7,  _OLD),
    "douglas_fir":          ( 85.0, 49.9,  7.8, 2.3,  _BENDING),
    "hemlock_western":      ( 78.0, 49.0,  8.6, 2.3,  _RECALLED),
    "maple_sugar":          (109.0, 54.0, 16.1, None, _SEEN),
    "maple_red":            ( 92.0, 45.1, 12.8, None, _RECALLED),
    "mahogany_honduras":    ( 79.3, 46.7,  8.5, None, f"Table 5-5a, {_SEEN}"),
    "mahogany_african":     ( 73.8, 44.5, 10.3, None, f"Table 5-5a, {_SEEN}"),
    "walnut_black":         (101.0, 52.3,  9.4, 4.8,  _TWO),
    "cherry_black":         ( 85.0, 49.0, 11.7, 3.9,  _THREE),
    "birch_yellow":         (114.0, 56.3, 13.0, 6.3,  _PART),
    "ash_white":            (103.0, 51.1, 13.2, 6.5,  _THREE),
    "basswood":             ( 60.0, 32.6,  6.8, 2.4,  _PART),
    "yellow_poplar":        ( 70.0, 38.2,  8.2, 3.7,  _TWO),
    "rosewood_indian":      (116.5, 63.6, 14.4, None, f"Table 5-5a, {_RECALLED}"),
}
# fmt: on


def handbook_strength(name: str) -> Strength:
    """Strengths of a built-in wood at 12 % moisture content.

    Raises
    ------
    DesignError
        If there is no such wood.
    """
    if name not in _ROWS:
        message = f'no built-in strengths for a wood named "{name}"; there are: {", ".join(_ROWS)}'
        raise DesignError(message)
    *values, status = _ROWS[name]
    bending, compression, shear, across = (None if value is None else float(value) * 1e6 for value in values)
    return Strength(bending, compression, shear, across, f"Wood Handbook FPL-GTR-282 (2021), Table 5-3a, {status}")
