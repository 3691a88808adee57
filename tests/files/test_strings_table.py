"""[strings], [[string]] and strengths in top.toml: what is read, written back, and refused in one line."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bracedtop.fem.case import Case, read_case
from bracedtop.fem.case_strings import lossy_strings
from bracedtop.fem.case_writer import case_text
from bracedtop.fem.strength import handbook_strength
from bracedtop.fem.string_loss import STEEL_MODULUS
from bracedtop.fem.strings import SPREAD, StringSet, tension
from bracedtop.geometry.errors import BracedTopError, FileError
from bracedtop.geometry.units import note_frequency

TOP = """\
[outline]
points_mm = [[0, -110], [300, -110], [300, 110], [0, 110]]
[top]
wood = "spruce_sitka"
thickness_mm = 3
"""

STRINGS = """\
[strings]
scale_length_mm = 650
saddle_height_mm = 12
[[string]]
note = "E2"
mass_g_per_m = 6.24
[[string]]
tension_n = 71.5
"""


def read(folder: Path, text: str) -> Case:
    (folder / "top.toml").write_text(text, encoding="utf-8")
    return read_case(folder)


def test_without_strings(tmp_path: Path) -> None:
    assert read(tmp_path, TOP).strings is None


def test_strings_in_si(tmp_path: Path) -> None:
    strings = read(tmp_path, TOP + STRINGS).strings
    assert strings is not None
    assert strings.saddle_height == pytest.approx(12e-3)
    assert strings.spread == SPREAD
    assert strings.anchor == "bridge"
    assert strings.held is None
    first, second = strings.strings
    assert first.name == "E2"
    assert first.tension == pytest.approx(tension(note_frequency("E2"), 0.65, 6.24e-3))
    assert (second.name, second.tension) == ("string 2", 71.5)


def test_tailpiece(tmp_path: Path) -> None:
    text = TOP + (
        '[strings]\nsaddle_height_mm = 25\nanchor = "tailpiece"\nbreak_angle_deg = 14\nstring_angle_deg = 5\n'
        'spread_mm = 50\nheld = "clamped"\n[[string]]\ntension_n = 80\nnote = "A4"\n'
    )
    strings = read(tmp_path, text).strings
    assert strings is not None
    assert np.rad2deg([strings.break_angle, strings.fall]) == pytest.approx([14.0, 5.0])
    assert (strings.spread, strings.held, strings.strings[0].name) == (pytest.approx(0.05), "clamped", "A4")


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    tensions=st.lists(st.floats(0.1, 5_000.0), min_size=1, max_size=12),
    height=st.floats(1.0, 100.0),
    spread=st.floats(1.0, 500.0),
    angle=st.none() | st.floats(-5.0, 5.0),
    anchor=st.sampled_from(["bridge", "tailpiece"]),
    held=st.none() | st.sampled_from(["hinged", "clamped"]),
)
def test_written_strings_read_back(
    tmp_path: Path,
    tensions: list[float],
    height: float,
    spread: float,
    angle: float | None,
    anchor: str,
    held: str | None,
) -> None:
    lines = [f"[strings]\nsaddle_height_mm = {height!r}\nspread_mm = {spread!r}\nanchor = '{anchor}'"]
    lines += ["break_angle_deg = 15.5"] if anchor == "tailpiece" else []
    lines += [] if angle is None else [f"string_angle_deg = {angle!r}"]
    lines += [] if held is None else [f"held = '{held}'"]
    lines += [f"[[string]]\ntension_n = {value!r}" for value in tensions]
    case = read(tmp_path, TOP + "\n".join(lines))
    strings = case.strings
    assert strings is not None
    again = read(tmp_path, case_text("x", "", case.design, strings=strings)).strings
    assert again is not None
    assert [s.name for s in again.strings] == [s.name for s in strings.strings]
    assert [s.tension for s in again.strings] == pytest.approx(tensions, rel=1e-9)
    for key in ("saddle_height", "break_angle", "spread", "fall"):
        assert getattr(again, key) == pytest.approx(getattr(strings, key), rel=1e-9, abs=1e-12)
    assert (again.anchor, again.held) == (strings.anchor, strings.held)


MAKE = """\
[strings]
scale_length_mm = 640
saddle_height_mm = 12
frets = 19
[[string]]
note = "E2"
tension_n = 110
diameter_mm = 1.35
core_mm = 0.48
loss_factor = 0.0004
[[string]]
note = "B3"
mass_g_per_m = 1.1
[[string]]
note = "E4"
tension_n = 68
material = "nylon"
bending_stiffness_n_mm2 = 125
"""


def test_make_of_strings(tmp_path: Path) -> None:
    case = read(tmp_path, TOP + MAKE)
    assert case.strings is not None
    written = read(tmp_path, case_text("x", "", case.design, strings=case.strings)).strings
    for strings in (case.strings, written):
        assert strings is not None
        assert (strings.scale_length, strings.frets) == (pytest.approx(0.64), 19)
        wound, plain, nylon = lossy_strings(strings)
        assert (wound.diameter, wound.friction) == (pytest.approx(1.35e-3), pytest.approx(4e-4))
        assert wound.bending_stiffness == pytest.approx(STEEL_MODULUS * np.pi * 0.48e-3**4 / 64)
        assert plain.mass == pytest.approx(1.1e-3)
        assert plain.diameter == pytest.approx(np.sqrt(4 * 1.1e-3 / (np.pi * 7850)))
        assert (nylon.bending_stiffness, nylon.air) == (pytest.approx(125e-6), 1.5)
        assert nylon.mass == pytest.approx(68 / (2 * 0.64 * note_frequency("E4")) ** 2)


@pytest.mark.parametrize(("tensions", "source"), [((114, 138, 108), "Valette"), ((71.6, 58.3, 70.3), "Woodhouse")])
def test_material_by_the_pull(tmp_path: Path, tensions: tuple[float, ...], source: str) -> None:
    text = "[strings]\nsaddle_height_mm = 12\nscale_length_mm = 640\n"
    text += "".join(
        f'[[string]]\nnote = "{n}"\ntension_n = {t}\n' for n, t in zip(("E2", "G3", "E4"), tensions, strict=True)
    )
    strings = read(tmp_path, TOP + text).strings
    assert strings is not None
    assert all(string.source.startswith(source) for string in lossy_strings(strings))


def test_what_the_decay_needs(tmp_path: Path) -> None:
    strings = read(tmp_path, TOP + STRINGS).strings
    assert strings is not None
    with pytest.raises(FileError, match=r"top.toml: string 2.note is missing; the decay of notes needs it"):
        lossy_strings(strings)
    bare = read(tmp_path, TOP + "[strings]\nsaddle_height_mm = 12\n[[string]]\ntension_n = 70\n").strings
    assert bare is not None
    with pytest.raises(FileError, match=r"top.toml: strings.scale_length_mm is missing; the decay of notes needs it"):
        lossy_strings(bare)


BAD = {
    "string without strings": ("[[string]]\ntension_n = 70\n", "[[string]] without [strings]"),
    "strings without string": ("[strings]\nsaddle_height_mm = 12\n", "[strings] without a [[string]]"),
    "no saddle height": ("[strings]\n[[string]]\ntension_n = 70\n", 'key "saddle_height_mm" is missing in strings'),
    "no scale length": (
        STRINGS.replace("scale_length_mm = 650\n", ""),
        "strings.scale_length_mm is missing; strings given by note and mass_g_per_m need it",
    ),
    "no mass": (
        STRINGS.replace("mass_g_per_m = 6.24\n", ""),
        "a string takes either note + mass_g_per_m, or tension_n",
    ),
    "both ways": (
        STRINGS.replace("tension_n", "mass_g_per_m = 1\ntension_n"),
        "string 2: found mass_g_per_m, tension_n",
    ),
    "no note": (STRINGS.replace('"E2"', '"H2"'), 'string 1.note = "H2": must be a letter A to G'),
    "negative": (STRINGS.replace("71.5", "-71.5"), "string 2.tension_n = -71.5: must be > 0"),
    "flat saddle": (STRINGS.replace("= 12", "= 0"), "strings.saddle_height_mm = 0: must be > 0"),
    "without unit": (
        STRINGS.replace("saddle_height_mm", "saddle_height"),
        "is missing its unit; write saddle_height_mm",
    ),
    "no break angle": (
        STRINGS.replace("[[string]]", 'anchor = "tailpiece"\n[[string]]', 1),
        "needs break_angle_deg > 0",
    ),
    "too steep": (
        STRINGS.replace(
            "[[string]]", 'anchor = "tailpiece"\nbreak_angle_deg = 10\nstring_angle_deg = 12\n[[string]]', 1
        ),
        "must not exceed the break angle of 10 degrees",
    ),
    "wrong anchor": (STRINGS.replace("[[string]]", 'anchor = "nail"\n[[string]]', 1), 'strings.anchor = "nail"'),
    "wrong hold": (STRINGS.replace("[[string]]", 'held = "free"\n[[string]]', 1), 'strings.held = "free"'),
    "as table": ("[string]\ntension_n = 70\n", "must be written as [[string]]"),
    "made of gut": (STRINGS + 'material = "gut"\n', 'string 2.material = "gut"'),
    "core of nylon": (STRINGS + 'material = "nylon"\ncore_mm = 0.4\n', "core_mm belongs to a wound steel string"),
    "core too thick": (STRINGS + "diameter_mm = 0.4\ncore_mm = 0.5\n", "core of 0.5 mm in a string of 0.4 mm"),
    "no loss": (STRINGS + "loss_factor = 0\n", "string 2.loss_factor = 0: must be > 0"),
    "core without unit": (STRINGS + "core = 0.4\n", "is missing its unit; write core_mm"),
    "half a fret": (STRINGS.replace("[[string]]", "frets = 20.5\n[[string]]", 1), "strings.frets = 20.5"),
    "strength": ("[wood.own]\nbased_on = 'basswood'\nshear_strength_mpa = 0\n", 'wood "own".shear_strength_mpa = 0'),
}


@pytest.mark.parametrize(("text", "words"), BAD.values(), ids=BAD.keys())
def test_bad_strings_are_refused_in_one_line(tmp_path: Path, text: str, words: str) -> None:
    with pytest.raises(BracedTopError) as error:
        read(tmp_path, TOP + text)
    message = str(error.value)
    assert message.startswith("top.toml: ")
    assert "\n" not in message
    assert words in message


OWN = """\
[wood.mine]
based_on = "spruce_engelmann"
bending_strength_mpa = 61
tension_across_strength_mpa = 1.9
[wood.plain]
based_on = "basswood"
[wood.metal]
E_gpa = 70
nu = 0.33
density_kg_per_m3 = 2700
[wood.alloy]
E_gpa = 70
nu = 0.33
density_kg_per_m3 = 2700
shear_strength_mpa = 200
"""


def test_strengths(tmp_path: Path) -> None:
    case = read(tmp_path, TOP + OWN)
    assert case.strengths["spruce_sitka"] == handbook_strength("spruce_sitka")
    mine, base = case.strengths["mine"], handbook_strength("spruce_engelmann")
    assert (mine.bending, mine.tension_across) == (61e6, 1.9e6)
    assert (mine.compression, mine.shear) == (base.compression, base.shear)
    assert "bending_strength_mpa, tension_across_strength_mpa from top.toml" in mine.source
    assert case.strengths["plain"] == handbook_strength("basswood")
    assert case.strengths["metal"].bending is None
    assert (case.strengths["alloy"].shear, case.strengths["alloy"].bending) == (200e6, None)


def test_written_strengths_read_back(tmp_path: Path) -> None:
    case = read(tmp_path, TOP + OWN)
    text = case_text("x", "", case.design, woods=case.woods, strengths=case.strengths)
    again = read(tmp_path, text).strengths
    for name in ("mine", "alloy", "metal"):
        for key in ("bending", "compression", "shear", "tension_across"):
            assert getattr(again[name], key) == getattr(case.strengths[name], key), (name, key)


def test_starter_case_has_a_light_steel_set() -> None:
    """734 to 801 N: published string tables for light steel sets (seen in string tables)."""
    strings = read_case(Path(__file__).parents[2] / "cases" / "wren").strings
    assert isinstance(strings, StringSet)
    assert 734 < strings.tension < 801
    assert [string.name for string in strings.strings] == ["E2", "A2", "D3", "G3", "B3", "E4"]
