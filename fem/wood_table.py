"""Woods of the Wood Handbook at 12 % moisture content.

Depends on fem/wood.

References
----------
Forest Products Laboratory, "Wood handbook: wood as an engineering material", General Technical Report
FPL-GTR-282, Madison 2021, ch. 4 and 5: Table 5-1 (elastic ratios), Table 5-2 (Poisson's ratios), Table 5-3a
(modulus of elasticity in static bending, specific gravity). The same tables stand in FPL-GTR-190 (2010).
"""

from dataclasses import dataclass

from bracedtop.fem.wood import Wood
from bracedtop.geometry.errors import DesignError

BENDING_TO_TENSION = 1.1
"""E_L over the bending modulus, which contains the shear deflection (note to Table 5-1)."""

DENSITY_AT_12 = 1000.0 * 1.12
"""Density at 12 % moisture over specific gravity (ovendry mass, volume at 12 %), kg/m^3: Handbook, ch. 4."""

G_RT_OVER_E_R = 0.20
"""Rolling shear where Table 5-1 has none; chosen: the median of G_RT / E_R over the hardwoods that have one."""


@dataclass(frozen=True, slots=True)
class _Row:
    """One species as printed; ratios are to E_L, the modulus in GPa."""

    name: str
    E_T: float
    E_R: float
    G_LR: float
    G_LT: float
    G_RT: float | None
    nu_LR: float
    nu_LT: float
    nu_RT: float
    bending_modulus: float
    specific_gravity: float
    note: str = ""


_TABLES = "Wood Handbook FPL-GTR-282 (2021), Tables 5-1, 5-2, 5-3a"
_RECALLED = "modulus and specific gravity from memory of Table 5-5a"

# fmt: off
_ROWS = (
    _Row("spruce_sitka",         .043, .078, .064, .061, .003, .372, .467, .435, 10.8, .40),
    _Row("spruce_engelmann",     .059, .128, .124, .120, .010, .422, .462, .530,  8.9, .35),
    _Row("cedar_western_red",    .055, .081, .087, .086, .005, .378, .296, .484,  7.7, .32),
    _Row("cedar_northern_white", .081, .183, .210, .187, .015, .337, .340, .458,  5.5, .31),
    _Row("douglas_fir",          .050, .068, .064, .078, .007, .292, .449, .390, 13.4, .48, "coast type"),
    _Row("maple_sugar",          .065, .132, .111, .063, None, .424, .476, .774, 12.6, .63),
    _Row("maple_red",            .067, .140, .133, .074, None, .434, .509, .762, 11.3, .54),
    _Row("mahogany_honduras",    .064, .107, .066, .086, .028, .314, .533, .600, 10.3, .45, _RECALLED),
    _Row("mahogany_african",     .050, .111, .088, .059, .021, .297, .641, .604,  9.7, .42, _RECALLED),
    _Row("walnut_black",         .056, .106, .085, .062, .021, .495, .632, .718, 11.6, .55),
    _Row("cherry_black",         .086, .197, .147, .097, None, .392, .428, .695, 10.3, .50),
    _Row("birch_yellow",         .050, .078, .074, .068, .017, .426, .451, .697, 13.9, .62),
    _Row("basswood",             .027, .066, .056, .046, None, .364, .406, .912, 10.1, .37),
    _Row("yellow_poplar",        .043, .092, .075, .069, .011, .318, .392, .703, 10.9, .42),
)
# fmt: on


def _wood(row: _Row) -> Wood:
    E_L = BENDING_TO_TENSION * row.bending_modulus * 1e9
    rolling = G_RT_OVER_E_R * row.E_R if row.G_RT is None else row.G_RT
    notes = [_TABLES, row.note, "" if row.G_RT else f"G_RT not printed, assumed {G_RT_OVER_E_R:g} E_R"]
    return Wood(
        name=row.name,
        E_L=E_L,
        E_R=row.E_R * E_L,
        E_T=row.E_T * E_L,
        G_LR=row.G_LR * E_L,
        G_LT=row.G_LT * E_L,
        G_RT=rolling * E_L,
        nu_LR=row.nu_LR,
        nu_LT=row.nu_LT,
        nu_RT=row.nu_RT,
        density=DENSITY_AT_12 * row.specific_gravity,
        source="; ".join(note for note in notes if note),
    )


def wood_names() -> tuple[str, ...]:
    """Names of the built-in woods."""
    return tuple(row.name for row in _ROWS)


def handbook_wood(name: str) -> Wood:
    """Built-in wood of that name, at 12 % moisture content.

    Raises
    ------
    DesignError
        If there is none.
    """
    for row in _ROWS:
        if row.name == name:
            return _wood(row)
    message = f'no built-in wood is named "{name}"; there are: {", ".join(wood_names())}'
    raise DesignError(message)
