"""How the built-in woods respond to moisture: modulus when green, intersection moisture content, shrinkage.

Depends on fem/wood_table.

References
----------
Forest Products Laboratory, "Wood handbook", FPL-GTR-282, Madison 2021: Table 5-3a (bending modulus, green), Table 5-13
(intersection moisture content M_p; 25 % for species without one), Table 4-3 (volumetric shrinkage, green to ovendry).
For mahogany and rosewood Table 5-5a and Table 4-4. The same tables stand in FPL-GTR-190 (2010). M_p of all rows and the
columns of `seen` were read in transcriptions; the others are recalled and still want a look into the printed table.
"""

from dataclasses import dataclass
from statistics import median

from bracedtop.fem.wood_table import ROWS

DEFAULT_INTERSECTION = 0.25
"""M_p of a species without one (text to Table 5-13)."""


@dataclass(frozen=True, slots=True)
class MoistureRow:
    """Response of a species.

    Parameters
    ----------
    name : str
    green_modulus : float, GPa
        Bending modulus when green.
    intersection : float
        Moisture content M_p at which the modulus begins to change as green wood dries.
    shrinkage : float
        Volumetric, from green to ovendry, of the green volume.
    seen : str
        What was read in a transcription of the tables: "E" the modulus, "S" the shrinkage. The rest is recalled.
    """

    name: str
    green_modulus: float
    intersection: float
    shrinkage: float
    seen: str = ""


# fmt: off
MOISTURE_ROWS = (
    #           name                    GPa   M_p   shrinkage
    MoistureRow("spruce_sitka",          8.5, .27, .115),
    MoistureRow("spruce_engelmann",      7.1, .25, .110, "E"),
    MoistureRow("cedar_western_red",     6.5, .25, .068, "S"),
    MoistureRow("cedar_northern_white",  4.4, .25, .072, "S"),
    MoistureRow("redwood",               8.1, .21, .068, "E"),
    MoistureRow("douglas_fir",          10.8, .24, .124, "ES"),
    MoistureRow("hemlock_western",       9.0, .28, .124, "E"),
    MoistureRow("maple_sugar",          10.7, .25, .147, "E"),
    MoistureRow("maple_red",             9.6, .25, .126),
    MoistureRow("mahogany_honduras",     9.2, .25, .078),
    MoistureRow("mahogany_african",      7.9, .25, .088),
    MoistureRow("walnut_black",          9.8, .25, .128, "S"),
    MoistureRow("cherry_black",          9.0, .25, .115, "ES"),
    MoistureRow("birch_yellow",         10.3, .27, .168, "S"),
    MoistureRow("ash_white",             9.9, .24, .133, "ES"),
    MoistureRow("basswood",              7.2, .25, .158, "S"),
    MoistureRow("yellow_poplar",         8.4, .25, .127, "ES"),
    MoistureRow("rosewood_indian",       8.2, .25, .085),
)
# fmt: on


@dataclass(frozen=True, slots=True)
class Response:
    """What of a species' row enters the equations: E_12 / E_green, M_p, volumetric shrinkage."""

    stiffening: float
    intersection: float
    shrinkage: float


def response(species: str) -> Response:
    """Response of a built-in wood; of the middle one of all, with the M_p of unlisted species, for any other name."""
    dry = {row.name: row.bending_modulus for row in ROWS}
    every = {
        row.name: Response(dry[row.name] / row.green_modulus, row.intersection, row.shrinkage) for row in MOISTURE_ROWS
    }
    if species in every:
        return every[species]
    return Response(
        median(r.stiffening for r in every.values()), DEFAULT_INTERSECTION, median(r.shrinkage for r in every.values())
    )
