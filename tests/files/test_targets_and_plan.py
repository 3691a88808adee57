"""[[target]] of every kind and [plan] in top.toml: read, written back, refused in one line."""

import math

import pytest

from bracedtop.fem.case import read_case
from bracedtop.fem.case_writer import case_text
from bracedtop.fem.plan_limits import Limits
from bracedtop.geometry.errors import DesignError, FileError
from bracedtop.geometry.units import note_frequency

PLAIN = """\
[outline]
points_mm = [[0, -110], [300, -110], [300, 110], [0, 110]]

[top]
wood = "spruce_sitka"
thickness_mm = 3

[[brace]]
name = "long bar"
wood = "spruce_sitka"
path_mm = [[40, -50], [260, 40]]
width_mm = 8
stations_mm = [[0, 4], [120, 12], [237, 4]]
"""

EVERY = """
[[target]]
mode = 1
hz = 190
weight = "want"
tolerance_percent = 2

[[target]]
mode = 2
note = "F#3"
cents = 10

[[target]]
mode = 3
ratio_to_mode = 2
ratio = 1.5

[[target]]
mode = 4
ratio_to_mode = 1
cents = 700

[[target]]
mode = 2
away_from = "G3"
at_least_cents = 40

[[target]]
mode = 5
keep_within_cents = 12

[[target]]
mode = 5
sustain_s = 0.8

[plan]
largest_step_mm = 1
least_height_mm = 3
brace_least_height_mm = { "long bar" = 5 }
leave_braces = ["long bar"]
thin_edge_ring = false
remove_at_most_g = 10
largest_bridge_turn_deg = 1.5
confidence_percent = 90
"""


def read(folder, text):
    (folder / "top.toml").write_text(text, encoding="utf-8")
    return read_case(folder)


def test_every_kind_of_target_is_read(tmp_path):
    case = read(tmp_path, PLAIN + EVERY)
    assert [(t.mode, t.kind) for t in case.targets] == [(1, "frequency"), (2, "frequency")]
    ratio, fifth, gap, keep, sustain = case.other_targets
    assert case.targets[0].weight == "want"
    assert case.targets[0].tolerance == pytest.approx(0.02)
    assert (ratio.kind, ratio.other) == ("ratio", 2)
    # A ratio of 3 : 2 is a just fifth of 701.955 cents (definition of the cent, ISO 80000-8).
    assert ratio.cents == pytest.approx(701.955, abs=1e-3)
    assert (fifth.other, fifth.cents) == (1, 700)
    assert (gap.kind, gap.hz, gap.cents) == ("gap", note_frequency("G3"), 40)
    assert (keep.kind, keep.cents) == ("keep", 12)
    assert math.isnan(keep.hz)
    assert (sustain.kind, sustain.seconds) == ("sustain", 0.8)


def test_limits_are_read_and_have_defaults(tmp_path):
    assert read(tmp_path, PLAIN).limits == Limits()
    limits = read(tmp_path, PLAIN + EVERY).limits
    assert (limits.largest_step, limits.least_height, limits.left) == (1e-3, 3e-3, ("long bar",))
    assert limits.least_heights == {"long bar": 5e-3}
    assert not limits.cuts_ring
    assert (limits.remove_at_most, limits.largest_turn, limits.confidence) == (10e-3, 1.5, 0.9)


def test_written_targets_and_limits_read_back(tmp_path):
    case = read(tmp_path, PLAIN + EVERY)
    text = case_text("x", "", case.design, targets=(*case.targets, *case.other_targets), limits=case.limits)
    again = read(tmp_path, text)
    assert again.targets == case.targets
    assert again.limits == case.limits
    # nan is not equal to itself, and a ratio loses its words; the numbers stay.
    for a, b in zip(again.other_targets, case.other_targets, strict=True):
        assert (a.mode, a.kind, a.weight, a.other, a.seconds) == (b.mode, b.kind, b.weight, b.other, b.seconds)
        assert a.cents == pytest.approx(b.cents)


TARGET = "[[target]]\nmode = 1\n"
BAD = [
    ("no wish", TARGET, "a target takes either hz"),
    ("two wishes", TARGET + "hz = 100\nsustain_s = 1\n", "a target takes either"),
    ("ratio alone", TARGET + "ratio = 1.5\n", "a target takes either"),
    ("ratio to itself", TARGET + "ratio_to_mode = 1\nratio = 1.5\n", "target's own mode"),
    ("tolerance of a gap", TARGET + 'away_from = "A3"\nat_least_cents = 9\ntolerance_percent = 2\n', "takes either"),
    ("gap without cents", TARGET + 'away_from = "A3"\n', "at_least_cents"),
    ("no note", TARGET + 'away_from = "H3"\nat_least_cents = 9\n', "must be a letter A to G"),
    ("weight", TARGET + 'hz = 100\nweight = "perhaps"\n', "weight"),
    ("twice", TARGET + "hz = 100\n\n" + TARGET + "hz = 101\n", "has a target already"),
    ("step", "[plan]\nlargest_step_mm = 0\n", "largest_step_mm"),
    ("unknown brace", '[plan]\nleave_braces = ["long"]\n', "no such brace"),
    ("height of unknown", '[plan]\nbrace_least_height_mm = { "x" = 3 }\n', "no such brace"),
    ("share", "[plan]\nlargest_stress_share = 2\n", "largest_stress_share"),
    ("key", "[plan]\nlargest_stride_mm = 2\n", "largest_stride_mm"),
]


@pytest.mark.parametrize(("text", "said"), [row[1:] for row in BAD], ids=[row[0] for row in BAD])
def test_bad_tables_are_refused_in_one_line(tmp_path, text, said):
    with pytest.raises((FileError, DesignError)) as caught:
        read(tmp_path, PLAIN + "\n" + text)
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)
    assert str(caught.value).startswith("top.toml")
