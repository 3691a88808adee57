"""Moisture content from the air, and constants from the moisture content, against the Wood Handbook and ANC-18.

Forest Products Laboratory, "Wood handbook: wood as an engineering material", FPL-GTR-282, Madison 2021: Table 4-2
(equilibrium moisture content, %; seen in a transcription, in which the entry at 110 F and 20 % is misprinted and left
out), eq. 5-3 with its printed example (seen), Table 5-13 (seen), Table 5-14 (recalled), Table 5-15 (seen), Table 4-3
(shrinkage, seen for most species).
ANC-18, "Design of wood aircraft structures", Washington 1951, p. 13: change of the modulus per 1 % of moisture (seen in
quotation).
Wood Handbook, ch. 7 (fastenings; seen in quotation): E_2 / E_1 = (1.857 - 0.0237 M_2) / (1.857 - 0.0237 M_1).
MRS Proceedings 2012 (abstract, seen): a held guitar top in air of 67 % lost at least 11 Hz in each of its six lowest
modes; the reference humidity is not known, so only the direction is held here.
"""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import bracedtop.cases
from bracedtop.fem.case import read_case
from bracedtop.fem.model import build_model, solve
from bracedtop.fem.moisture import Climate, equilibrium_moisture, property_at, wood_at, woods_at
from bracedtop.fem.moisture_table import MOISTURE_ROWS, response
from bracedtop.fem.wood_table import ROWS, handbook_wood, wood_names

CASES = Path(next(iter(bracedtop.cases.__path__)))

FAHRENHEIT = (30, 40, 50, 60, 70, 80, 90, 100, 110, 120, 130)
TABLE_4_2 = {
    5: (1.4, 1.4, 1.4, 1.3, 1.3, 1.3, 1.2, 1.2, 1.1, 1.1, 1.0),
    10: (2.6, 2.6, 2.6, 2.5, 2.5, 2.4, 2.3, 2.3, 2.2, 2.1, 2.0),
    15: (3.7, 3.7, 3.6, 3.6, 3.5, 3.5, 3.4, 3.3, 3.2, 3.0, 2.9),
    20: (4.6, 4.6, 4.6, 4.6, 4.5, 4.4, 4.3, 4.2, None, 3.9, 3.7),
    25: (5.5, 5.5, 5.5, 5.4, 5.4, 5.3, 5.1, 5.0, 4.9, 4.7, 4.5),
    30: (6.3, 6.3, 6.3, 6.2, 6.2, 6.1, 5.9, 5.8, 5.6, 5.4, 5.2),
    35: (7.1, 7.1, 7.1, 7.0, 6.9, 6.8, 6.7, 6.5, 6.3, 6.1, 5.9),
    40: (7.9, 7.9, 7.9, 7.8, 7.7, 7.6, 7.4, 7.2, 7.0, 6.8, 6.6),
    45: (8.7, 8.7, 8.7, 8.6, 8.5, 8.3, 8.1, 7.9, 7.7, 7.5, 7.2),
    50: (9.5, 9.5, 9.5, 9.4, 9.2, 9.1, 8.9, 8.7, 8.4, 8.2, 7.9),
    55: (10.4, 10.4, 10.3, 10.2, 10.1, 9.9, 9.7, 9.5, 9.2, 8.9, 8.7),
    60: (11.3, 11.3, 11.2, 11.1, 11.0, 10.8, 10.5, 10.3, 10.0, 9.7, 9.4),
    65: (12.4, 12.3, 12.3, 12.1, 12.0, 11.7, 11.5, 11.2, 11.0, 10.6, 10.3),
    70: (13.5, 13.5, 13.4, 13.3, 13.1, 12.9, 12.6, 12.3, 12.0, 11.7, 11.3),
    75: (14.9, 14.9, 14.8, 14.6, 14.4, 14.2, 13.9, 13.6, 13.2, 12.9, 12.5),
    80: (16.5, 16.5, 16.4, 16.2, 16.0, 15.7, 15.4, 15.1, 14.7, 14.4, 14.0),
    85: (18.5, 18.5, 18.4, 18.2, 17.9, 17.7, 17.3, 17.0, 16.6, 16.2, 15.8),
}


@pytest.mark.parametrize("percent", TABLE_4_2)
def test_table_4_2(percent):
    """Printed to 0.1, so half of that is rounding; the temperatures are the Fahrenheit ones exactly."""
    for fahrenheit, printed in zip(FAHRENHEIT, TABLE_4_2[percent], strict=True):
        if printed is not None:
            found = 100 * equilibrium_moisture(percent / 100, (fahrenheit - 32) / 1.8)
            assert found == pytest.approx(printed, abs=0.055), fahrenheit


def test_damp_end_of_table_4_2_and_saturation():
    # At 21.1 and 37.8 degrees Celsius, seen; at 100 % the curve ends near the fibre saturation point of about 30 %.
    assert 100 * equilibrium_moisture(0.95, 21.1) == pytest.approx(23.9, abs=0.06)
    assert 100 * equilibrium_moisture(0.90, 37.8) == pytest.approx(19.5, abs=0.06)
    assert 0.27 < equilibrium_moisture(1.0, 20.0) < 0.30


def test_printed_example_of_eq_5_3():
    # White ash, modulus of rupture at 8 %: 119 500 kPa.
    assert property_at(103_000, 66_000, 0.08, 0.24) == pytest.approx(119_500, rel=5e-4)


def test_eq_5_3_meets_its_two_ends():
    assert property_at(10.8, 8.5, 0.12, 0.27) == 10.8
    for moisture in (0.27, 0.30):
        assert property_at(10.8, 8.5, moisture, 0.27) == pytest.approx(8.5)


# Per cent of the modulus at 12 % for 1 % of moisture.
ANC_18 = {"spruce_sitka": 1.7, "cedar_western_red": 1.6, "douglas_fir": 1.8, "birch_yellow": 2.0}


@pytest.mark.parametrize(("name", "printed"), ANC_18.items())
def test_modulus_along_the_grain_against_anc_18(name, printed):
    """Within 0.4 points: another book with other samples; western red cedar is the one that needs it (1.3)."""
    wood = handbook_wood(name)
    change = wood_at(wood, Climate(0.11)).E_L / wood_at(wood, Climate(0.13)).E_L
    assert 100 * np.log(change) / 2 == pytest.approx(printed, abs=0.4)


def test_modulus_along_the_grain_against_chapter_7():
    """A rule for all species; Sitka spruce lies within 2.5 % of it from 6 to 18 %."""
    wood = wood_at(handbook_wood("spruce_sitka"), Climate(0.12))
    for percent in (6, 9, 15, 18):
        expected = (1.857 - 0.0237 * percent) / (1.857 - 0.0237 * 12)
        found = wood_at(wood, Climate(percent / 100)).E_L / wood.E_L
        assert found == pytest.approx(expected, abs=0.025)


def test_table_5_14_across_the_grain_and_in_shear():
    wood = handbook_wood("maple_sugar")
    for moisture, across, shear in ((0.06, 1.20, 1.20), (0.12, 1.0, 1.0), (0.20, 0.77, 0.80)):
        found = wood_at(wood, Climate(moisture))
        for key, expected in (("E_R", across), ("E_T", across), ("G_LR", shear), ("G_LT", shear), ("G_RT", shear)):
            assert getattr(found, key) / getattr(wood, key) == pytest.approx(expected, rel=1e-12)


def test_table_5_14_along_the_grain():
    """MOE parallel to grain: +9 % at 6 %, -13 % at 20 % (recalled), a middle trend: held for the median wood."""
    steep = [response(row.name) for row in MOISTURE_ROWS]
    dry = np.median([property_at(1, 1 / r.stiffening, 0.06, r.intersection) for r in steep])
    damp = np.median([property_at(1, 1 / r.stiffening, 0.20, r.intersection) for r in steep])
    assert dry == pytest.approx(1.09, abs=0.02)
    assert damp == pytest.approx(0.87, abs=0.02)


def test_table_5_15_temperature():
    wood = handbook_wood("spruce_sitka")
    # Linear in temperature (text to the table); -50 degrees is outside what a case may ask for.
    for temperature, key, expected in ((50, "E_L", 0.93), (50, "E_R", 0.65), (0, "E_L", 1 + 0.17 * 20 / 70)):
        found = getattr(wood_at(wood, Climate(0.12, temperature)), key) / getattr(wood, key)
        assert found == pytest.approx(expected)


# Specific gravity, ovendry mass over green volume and over volume at 12 %, Table 5-3a (seen).
GRAVITIES = {
    "spruce_engelmann": (0.33, 0.35),
    "douglas_fir": (0.45, 0.48),
    "hemlock_western": (0.42, 0.45),
    "maple_sugar": (0.56, 0.63),
    "ash_white": (0.55, 0.60),
    "cherry_black": (0.47, 0.50),
    "yellow_poplar": (0.40, 0.42),
}


@pytest.mark.parametrize(("name", "printed"), GRAVITIES.items())
def test_shrinkage_against_the_printed_specific_gravities(name, printed):
    """Volume at 12 % over green volume, from other columns than the shrinkage, within 3 %.

    The gravities have two digits (up to 2.4 % of their ratio) and come from other samples than the shrinkage: sugar
    maple is off by 2.3 %, yellow-poplar by 2.9 %, the others by less than 2 %.
    """
    green, dry = printed
    shrunk = 1 - response(name).shrinkage * (1 - 0.12 / 0.30)
    assert green / dry == pytest.approx(shrunk, abs=0.03)


def test_density_of_the_wet_end_is_that_of_green_volume():
    # Table 5-3a: Douglas-fir, coast, specific gravity 0.45 green: 0.45 (1 + M) at the volume of fibre saturation.
    wood = wood_at(handbook_wood("douglas_fir"), Climate(0.25))
    assert wood.density == pytest.approx(450 * 1.25 / (1 - 0.124 * (1 - 0.25 / 0.30)), rel=0.015)


@given(
    st.sampled_from(wood_names()),
    st.floats(0.02, 0.25),
    st.floats(0.02, 0.25),
    st.floats(0, 50),
    st.floats(0, 50),
)
def test_way_there_and_back(name, first, second, cool, warm):
    """The way does not matter, wetter is softer along and across, and the constants stay those of a solid."""
    wood = handbook_wood(name)
    direct = wood_at(wood, Climate(second, warm))
    detour = wood_at(wood_at(wood, Climate(first, cool)), Climate(second, warm))
    home = wood_at(direct, Climate(0.12))
    for key in ("E_L", "E_R", "E_T", "G_LR", "G_LT", "G_RT", "density"):
        assert getattr(detour, key) == pytest.approx(getattr(direct, key), rel=1e-12)
        assert getattr(home, key) == pytest.approx(getattr(wood, key), rel=1e-12)
    low, high = (wood_at(wood, Climate(moisture)) for moisture in sorted((first, second)))
    for key in ("E_L", "E_R", "G_LR"):
        assert getattr(high, key) <= getattr(low, key)
    assert high.density >= low.density


def test_every_built_in_wood_has_its_row():
    assert [row.name for row in MOISTURE_ROWS] == [row.name for row in ROWS]
    assert {row.name: row.intersection for row in MOISTURE_ROWS if row.intersection != 0.25} == {
        "spruce_sitka": 0.27,
        "redwood": 0.21,
        "douglas_fir": 0.24,
        "hemlock_western": 0.28,
        "birch_yellow": 0.27,
        "ash_white": 0.24,
    }


def test_a_glued_top_falls_in_damp_air():
    # Direction only, see above.
    case = read_case(CASES / "siskin")
    dry, damp = (
        solve(build_model(case.design, woods_at(case.woods, Climate.from_air(h)), size=0.03), 6).frequencies
        for h in (0.45, 0.67)
    )
    assert (damp < dry).all()
