"""[climate] and the moisture of own woods in top.toml."""

from dataclasses import replace

import pytest

from bracedtop.fem.case import read_case
from bracedtop.fem.case_writer import case_text
from bracedtop.fem.moisture import Climate, equilibrium_moisture, wood_at
from bracedtop.fem.wood_table import handbook_wood
from bracedtop.geometry.errors import FileError

TOP = """\
[outline]
points_mm = [[0, -180], [480, -180], [480, 180], [0, 180]]
[top]
wood = "own"
thickness_mm = 2.8
[[brace]]
name = "bar"
wood = "spruce_sitka"
path_mm = [[30, -100], [270, 100]]
width_mm = 7.5
stations_mm = [[0, 8], [200, 15]]
[wood.own]
based_on = "spruce_engelmann"
E_L_gpa = 11
moisture_percent = 8
[wood.metal]
E_gpa = 70
nu = 0.3
density_kg_per_m3 = 2700
"""


def read(folder, text):
    (folder / "top.toml").write_text(text, encoding="utf-8")
    return read_case(folder)


def test_woods_are_taken_to_the_climate(tmp_path):
    case = read(tmp_path, TOP + "[climate]\nhumidity_percent = 30\n")
    assert case.climate.moisture == equilibrium_moisture(0.30, 20.0)
    assert case.woods["spruce_sitka"] == wood_at(handbook_wood("spruce_sitka"), case.climate)
    # What the maker measured at 8 % is stiffer at 6.2 %, by eq. 5-3 of the base; the rest is the base's from 12 %.
    engelmann = handbook_wood("spruce_engelmann")
    own = case.woods["own"]
    dry, drawn = wood_at(engelmann, case.climate), wood_at(engelmann, Climate(0.08))
    for key, expected in (("E_L", 11e9 * dry.E_L / drawn.E_L), ("E_R", dry.E_R)):
        assert getattr(own, key) == pytest.approx(expected)
    assert own.moisture == case.climate.moisture
    assert case.woods["metal"].E_L == 70e9
    assert "6.2 % moisture content (30 % relative humidity, 20 degrees Celsius)" in own.source


def test_without_a_climate_woods_are_as_given(tmp_path):
    case = read(tmp_path, TOP)
    assert case.climate is None
    assert case.woods["spruce_sitka"] == handbook_wood("spruce_sitka")
    assert (case.woods["own"].E_L, case.woods["own"].moisture) == (11e9, 0.08)


def test_moisture_of_twelve_per_cent_changes_nothing(tmp_path):
    case = read(tmp_path, TOP + "[climate]\nmoisture_percent = 12\n")
    assert case.woods["spruce_sitka"] == handbook_wood("spruce_sitka")


@pytest.mark.parametrize(
    "climate", ["", "[climate]\nmoisture_percent = 6.5\n", "[climate]\nhumidity_percent = 70\ntemperature_c = 28\n"]
)
def test_written_climate_reads_back(tmp_path, climate):
    case = read(tmp_path, TOP + climate)
    again = read(tmp_path, case_text("x", "", case.design, woods=case.woods, climate=case.climate))
    assert (again.climate is None) == (case.climate is None)
    if case.climate is not None:
        for key in ("moisture", "temperature"):
            assert getattr(again.climate, key) == pytest.approx(getattr(case.climate, key), rel=1e-9)
    for name, wood in case.woods.items():
        found = replace(again.woods[name], source=wood.source)
        assert found.species == wood.species
        for key in ("E_L", "E_T", "G_RT", "nu_LR", "density", "moisture"):
            assert getattr(found, key) == pytest.approx(getattr(wood, key), rel=1e-9), (name, key)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[climate]\n", "climate"),
        ("[climate]\nhumidity_percent = 45\nmoisture_percent = 8\n", "either moisture_percent, or humidity_percent"),
        ("[climate]\nhumidity_percent = 0.45\n", "climate.humidity_percent = 0.45: must be >= 5"),
        ("[climate]\nhumidity_percent = 100\n", "climate.humidity_percent = 100: must be <= 95"),
        ("[climate]\nmoisture_percent = 40\n", "climate.moisture_percent = 40: must be <= 25"),
        ("[climate]\nhumidity_percent = 45\ntemperature_c = 293\n", "climate.temperature_c = 293: must be <= 50"),
        ("[climate]\nhumidity = 45\n", "humidity_percent"),
        ("[climate]\ntemperature_c = 20\n", "climate"),
        ("[wood.brass]\nE_gpa = 100\nnu = 0.3\ndensity_kg_per_m3 = 8500\nmoisture_percent = 8\n", "takes up no water"),
    ],
)
def test_bad_climates_are_refused_in_one_line(tmp_path, text, says):
    with pytest.raises(FileError) as refusal:
        read(tmp_path, TOP + text)
    assert says in str(refusal.value)
    assert "\n" not in str(refusal.value)
