"""Caps over crossings and patches under braces: good and bad keys, and what is written reads back as the same."""

import pytest

from bracedtop.fem.case import read_case
from bracedtop.fem.case_writer import case_text
from bracedtop.geometry.errors import BracedTopError

TOP = """\
name = "joints"
[outline]
points_mm = [[0, -150], [400, -150], [400, 150], [0, 150]]
[top]
wood = "spruce_sitka"
thickness_mm = 2.8
[[brace]]
name = "x1"
wood = "spruce_sitka"
path_mm = [[60, -100], [340, 100]]
width_mm = 7
stations_mm = [[0, 12], [200, 12]]
[[brace]]
name = "x2"
wood = "spruce_sitka"
path_mm = [[60, 100], [340, -100]]
width_mm = 7
stations_mm = [[0, 12], [200, 12]]
[[brace]]
name = "leg"
wood = "spruce_sitka"
path_mm = [[130, 50], [100, 0]]
width_mm = 6
stations_mm = [[0, 8], [40, 8]]
[[joint]]
under = "x1"
over = "x2"
cap_mm = 1.5
cap_length_mm = 45
[[patch]]
name = "pad"
kind = "graft"
wood = "spruce_sitka"
thickness_mm = 2
centre_mm = [260, 43]
size_mm = [50, 40]
under_braces = true
"""


def read(folder, text=TOP):
    (folder / "top.toml").write_text(text, encoding="utf-8")
    return read_case(folder)


def changed(old, new):
    assert old in TOP
    return TOP.replace(old, new, 1)


def complaint(folder, text):
    with pytest.raises(BracedTopError) as caught:
        read(folder, text)
    assert len(str(caught.value).splitlines()) == 1
    return str(caught.value)


def test_keys_are_read_in_si_units(tmp_path):
    design = read(tmp_path).design
    (joint,) = design.joints
    assert (joint.cap, joint.cap_length) == pytest.approx((1.5e-3, 45e-3))
    (pad,) = design.patches
    assert pad.under_braces
    assert pad.side == "inside"


def test_without_the_keys_there_is_no_cap_and_patches_are_let_in(tmp_path):
    text = changed("cap_mm = 1.5\ncap_length_mm = 45\n", "").replace("under_braces = true\n", "")
    design = read(tmp_path, text).design
    assert (design.joints[0].cap, design.joints[0].cap_length) == (0.0, 0.0)
    assert not design.patches[0].under_braces
    written = case_text("joints", "", design)
    assert "cap" not in written
    assert "under_braces" not in written


def test_written_keys_read_back_as_the_same(tmp_path):
    design = read(tmp_path).design
    again = read(tmp_path, case_text("joints", "", design)).design
    (old,), (new,) = design.joints, again.joints
    assert (new.under, new.over, new.kept) == (old.under, old.over, old.kept)
    assert (new.cap, new.cap_length) == pytest.approx((old.cap, old.cap_length), rel=1e-12)
    assert again.patches[0].under_braces


CENTRE = "centre_mm = [260, 43]"
BAD = [
    ("length missing", "cap_length_mm = 45\n", "", "joint 1: cap_mm alone; a cap over the joint takes cap_mm + cap_le"),
    ("thickness missing", "cap_mm = 1.5\n", "", "joint 1: cap_length_mm alone; a cap over the joint takes cap_mm +"),
    ("no thickness", "cap_mm = 1.5", "cap_mm = 0", "joint 1.cap_mm = 0: must be > 0"),
    ("no length", "cap_length_mm = 45", "cap_length_mm = 0", "joint 1.cap_length_mm = 0: must be > 0"),
    ("below zero", "cap_mm = 1.5", "cap_mm = -1", "joint 1.cap_mm = -1: must be > 0"),
    (
        "within the joint",
        "cap_length_mm = 45",
        "cap_length_mm = 7",
        'joint 1.cap_length_mm = 7: must be > 7, the width of brace "x2", and at most 344.1, where brace "x1" ends',
    ),
    ("beyond the brace", "cap_length_mm = 45", "cap_length_mm = 345", 'at most 344.1, where brace "x1" ends'),
    ("not finite", "cap_mm = 1.5", "cap_mm = inf", "joint 1.cap_mm = inf"),
    ("word", "cap_mm = 1.5", 'cap_mm = "thin"', 'joint 1.cap_mm = "thin"'),
    ("unit", "cap_mm = 1.5", "cap = 1.5", 'key "cap" in joint 1 is missing its unit; write cap_mm'),
    ("no crossing", 'over = "x2"', 'over = "leg"', 'joint 1: braces "x1" and "leg" do not cross'),
    (
        "outside",
        "under_braces = true",
        'side = "outside"\nunder_braces = true',
        'patch "pad": under_braces = true on a patch outside; braces are inside',
    ),
    ("bridge", 'kind = "graft"', 'kind = "bridge"', 'patch "pad": under_braces = true on a patch outside'),
    ("not a switch", "under_braces = true", 'under_braces = "yes"', 'patch "pad".under_braces = "yes"'),
    (
        "under a crossing",
        CENTRE,
        "centre_mm = [210, 10]",
        'patch "pad".under_braces = true, but braces "x1" and "x2" cross over it near [200.0, 0.0] mm',
    ),
    (
        "under a butted end",
        CENTRE,
        "centre_mm = [130, 65]",
        'patch "pad".under_braces = true, but brace "leg" ends on "x2" over it near [130.0, 50.0] mm',
    ),
]


@pytest.mark.parametrize(("old", "new", "expected"), [row[1:] for row in BAD], ids=[row[0] for row in BAD])
def test_bad_key_gets_one_line(tmp_path, old, new, expected):
    assert expected in complaint(tmp_path, changed(old, new))


def test_patch_let_in_may_lie_at_a_crossing(tmp_path):
    text = changed(CENTRE, "centre_mm = [210, 10]").replace("under_braces = true\n", "")
    assert not read(tmp_path, text).design.patches[0].under_braces
