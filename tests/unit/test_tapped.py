"""Taps as the page knows them: its places beside those of taps.toml, and pairs that find their tap again."""

from dataclasses import replace

from bracedtop.fem.taps import Measured
from bracedtop.fem.taps_file import Placement
from bracedtop.scripts.page.tapped import chosen_pairs, merged, pair_keys, passes_cut, places_of, session_folder

MEASURED = tuple(Measured(k, hz, None, None, None) for k, hz in enumerate((106.0, 190.0, 236.0), start=1))


def test_places_of_the_file_come_before_those_of_the_page(tmp_path):
    one, two, three = (tmp_path / "taps" / name for name in ("one.wav", "two.wav", "three.wav"))
    own = (Placement(one, points=((0.1, 0.2),)),)
    tapped = {"one.wav": [1, 2], "two.wav": [80.0, -40.0], "gone.wav": [0, 0]}
    found = merged(own, [one, two, three], tapped, [50, 60])
    assert found[0] is own[0]
    assert found[1:] == (Placement(two, points=((0.08, -0.04),), microphones=((0.05, 0.06),)),)
    assert merged(own, [one, two], tapped, None)[1].microphones == ()


def test_places_belong_to_their_pass():
    tapped = {"0/a.wav": [1, 2], "1/a.wav": [3, 4], "10/a.wav": [5, 6]}
    assert places_of(tapped, 1) == {"a.wav": [3, 4]}


def test_a_choice_follows_its_tap_when_more_is_recorded():
    pairing = {"0/2": {"mode": 3, "hz": 190.4}, "1/1": {"mode": 1, "hz": 106.0}}
    assert chosen_pairs(pairing, 0, MEASURED) == {2: 3}
    lower = Measured(1, 80.0, None, None, None)
    more = (lower, *(replace(mode, number=mode.number + 1) for mode in MEASURED))
    assert chosen_pairs(pairing, 0, more) == {3: 3}
    keys = pair_keys(pairing, 0, more)
    assert keys[3] == "pairing/0/2"
    assert len(set(keys.values())) == len(more)


def test_a_choice_without_its_tap_counts_for_nothing():
    assert chosen_pairs({"0/2": {"mode": 3, "hz": 195.0}}, 0, MEASURED) == {}
    assert chosen_pairs({"0/2": {"mode": 3, "hz": 195.0}}, 0, ()) == {}


def test_of_two_choices_of_one_mode_the_later_counts():
    pairing = {"0/1": {"mode": 3, "hz": 106.0}, "0/2": {"mode": 3, "hz": 190.0}}
    assert chosen_pairs(pairing, 0, MEASURED) == {2: 3}
    both_none = {"0/1": {"mode": 0, "hz": 106.0}, "0/2": {"mode": 0, "hz": 190.0}}
    assert chosen_pairs(both_none, 0, MEASURED) == {1: 0, 2: 0}


def test_a_folder_made_ready_is_no_pass_yet(tmp_path):
    assert passes_cut(tmp_path) == 0
    (tmp_path / "pass-1").mkdir()
    assert passes_cut(tmp_path) == 0
    (tmp_path / "pass-1" / "cut.csv").write_text("brace\n")
    assert passes_cut(tmp_path) == 1
    assert session_folder(tmp_path, 1) == tmp_path / "pass-1"
    assert session_folder(tmp_path, 0) == tmp_path
