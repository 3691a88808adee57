"""Woods of the Wood Handbook at 12 % moisture content.

Depends on fem/wood, geometry/errors.

E_L is the bending modulus raised by a tenth, because a bending test's deflection contains shear (note to Table 5-1).
Poisson's ratios nu_RL, nu_TL and nu_TR follow by reciprocity; the printed ones are poorly measured (text to
Table 5-2). The density is 1000 kg/m^3 times specific gravity times 1.12 (ch. 4, density from specific gravity and
moisture content). Rows marked "recalled" were written from memory and still want a look into the printed table.

References
----------
Forest Products Laboratory, "Wood handbook: wood as an engineering material", General Technical Report
FPL-GTR-282, Madison 2021, ch. 4 and 5: Table 5-1 (elastic ratios), Table 5-2 (Poisson's ratios), Table 5-3a
(modulus of elasticity in static bending, specific gravity), Table 5-5a (imported woods). The same tables stand in
FPL-GTR-190 (2010).
M. Chudnoff, "Tropical timbers of the world", Agriculture Handbook 607, Madison 1984 (modulus of mahogany; modulus,
air-dry density of Indian rosewood; shrinkage).
"""

from dataclasses import dataclass

from bracedtop.fem.wood import Wood
from bracedtop.geometry.errors import DesignError

BENDING_TO_TENSION = 1.1
"""E_L over the bending modulus, which contains the shear deflection (note to Table 5-1)."""

WATER = 1000.0
"""Density of water, kg/m^3."""

MOISTURE = 0.12
"""Moisture content of all values, mass of water over ovendry mass."""

FIBRE_SATURATION = 0.30
"""Moisture content below which wood shrinks (ch. 4)."""

G_RT_OVER_E_R = 0.20
"""Rolling shear modulus over E_R where Table 5-1 leaves it out, all of them hardwoods; chosen: the median, 0.198,
of the five hardwoods below that have one. It only enters the shear deflection across the grain, which is small in
thin plates."""


@dataclass(frozen=True, slots=True)
class Row:
    """One species as printed.

    Parameters
    ----------
    name : str
    E_T, E_R, G_LR, G_LT, G_RT : float
        Ratios to E_L (Table 5-1); G_RT None where the table has a dash.
    nu_LR, nu_LT, nu_RT : float
        Table 5-2.
    bending_modulus : float, GPa
    specific_gravity : float
        Ovendry mass over the volume at 12 %; over the green volume if `shrinkage` is given.
    shrinkage : float
        Volumetric shrinkage from green to ovendry, for woods with a basic specific gravity.
    note : str
        What is not from Tables 5-1, 5-2 and 5-3a.
    """

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
    shrinkage: float = 0.0
    note: str = ""


_COAST = "modulus and specific gravity of the coast type"
_OLD = "old growth; elastic and Poisson's ratios recalled"
_RATIOS = "elastic and Poisson's ratios recalled"
_ASH = "elastic ratios recalled"
_HONDURAS = "specific gravity (basic) recalled from Table 5-5a; modulus and shrinkage after Chudnoff (1984)"
_AFRICAN = "modulus, specific gravity (basic) and shrinkage recalled from Table 5-5a and ch. 4"
_ROSEWOOD = "assumed ratios: those of sugar maple; modulus and air-dry density (53 lb/ft3) after Chudnoff (1984)"
# The rosewood's specific gravity is 849 kg/m^3 over 1120 kg/m^3.

# fmt: off
ROWS = (
    #   name                    E_T   E_R   G_LR  G_LT  G_RT  nu_LR nu_LT nu_RT GPa   SG
    Row("spruce_sitka",         .043, .078, .064, .061, .003, .372, .467, .435, 10.8, .40),
    Row("spruce_engelmann",     .059, .128, .124, .120, .010, .422, .462, .530,  8.9, .35),
    Row("cedar_western_red",    .055, .081, .087, .086, .005, .378, .296, .484,  7.7, .32),
    Row("cedar_northern_white", .081, .183, .210, .187, .015, .337, .340, .458,  5.5, .31),
    Row("redwood",              .089, .087, .066, .077, .011, .360, .346, .373,  9.2, .40, note=_OLD),
    Row("douglas_fir",          .050, .068, .064, .078, .007, .292, .449, .390, 13.4, .48, note=_COAST),
    Row("hemlock_western",      .031, .058, .038, .032, .003, .485, .423, .442, 11.3, .45, note=_RATIOS),
    Row("maple_sugar",          .065, .132, .111, .063, None, .424, .476, .774, 12.6, .63),
    Row("maple_red",            .067, .140, .133, .074, None, .434, .509, .762, 11.3, .54),
    Row("mahogany_honduras",    .064, .107, .066, .086, .028, .314, .533, .600, 10.3, .45, .078, _HONDURAS),
    Row("mahogany_african",     .050, .111, .088, .059, .021, .297, .641, .604,  9.7, .42, .088, _AFRICAN),
    Row("walnut_black",         .056, .106, .085, .062, .021, .495, .632, .718, 11.6, .55),
    Row("cherry_black",         .086, .197, .147, .097, None, .392, .428, .695, 10.3, .50),
    Row("birch_yellow",         .050, .078, .074, .068, .017, .426, .451, .697, 13.9, .62),
    Row("ash_white",            .080, .125, .109, .077, None, .371, .440, .684, 12.0, .60, note=_ASH),
    Row("basswood",             .027, .066, .056, .046, None, .364, .406, .912, 10.1, .37),
    Row("yellow_poplar",        .043, .092, .075, .069, .011, .318, .392, .703, 10.9, .42),
    Row("rosewood_indian",      .065, .132, .111, .063, None, .424, .476, .774, 12.3, .758, note=_ROSEWOOD),
)
# fmt: on


def wood_names() -> tuple[str, ...]:
    """Names of the built-in woods."""
    return tuple(row.name for row in ROWS)


def handbook_wood(name: str) -> Wood:
    """Built-in wood of that name, at 12 % moisture content.

    Raises
    ------
    DesignError
        If there is none.
    """
    for row in ROWS:
        if row.name == name:
            return _wood(row)
    message = f'no built-in wood is named "{name}"; there are: {", ".join(wood_names())}'
    raise DesignError(message)


def _wood(row: Row) -> Wood:
    E_L = BENDING_TO_TENSION * row.bending_modulus * 1e9
    rolling = G_RT_OVER_E_R * row.E_R if row.G_RT is None else row.G_RT
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
        density=_density(row),
        source=_source(row),
        moisture=MOISTURE,
        species=row.name,
    )


def _density(row: Row) -> float:
    # Shrinkage is in proportion to the moisture lost below fibre saturation (ch. 4).
    shrunk = 1.0 - row.shrinkage * (FIBRE_SATURATION - MOISTURE) / FIBRE_SATURATION
    return WATER * row.specific_gravity / shrunk * (1.0 + MOISTURE)


def _source(row: Row) -> str:
    tables = "Wood Handbook FPL-GTR-282 (2021), Tables 5-1, 5-2, 5-3a; E_L = 1.1 x bending modulus"
    rolling = f"G_RT not printed, assumed {G_RT_OVER_E_R:g} E_R" if row.G_RT is None else ""
    return "; ".join(part for part in (tables, rolling, row.note) if part)
