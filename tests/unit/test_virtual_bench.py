"""The virtual bench: errors of hand and ear as they are told, the usual way's rules, shares and their intervals."""

import json

import numpy as np
import pytest
from scipy.stats import binomtest

from bracedtop.fem.sensitivity import ShavingRow
from bracedtop.geometry.cut import Cut
from bracedtop.scripts.benchmarks import virtual_bench, virtual_table
from bracedtop.scripts.benchmarks.usual_way import PART, UsualWay
from bracedtop.scripts.benchmarks.virtual_target import Drawn, Wanted
from bracedtop.scripts.benchmarks.virtual_top import (
    CALIPER,
    DEPTH_ERROR,
    END_ERROR,
    N_HEARD,
    RealTop,
    Ring,
    cut_by_hand,
    drawn_from,
    grid,
    hidden_top,
    pattern_prior,
    patterns,
    tap_points,
    taps,
)


def ring_of_numbers(name: str, n: int = 12) -> Ring:
    points = grid(name)
    x = (points[:, 0] - points[:, 0].min()) / np.ptp(points[:, 0])
    shapes = np.array([np.cos((k + 1) * np.pi * x) for k in range(n)])
    return Ring(100.0 * 1.1 ** np.arange(n), shapes, np.full(n, 0.5), 0.2)


@pytest.mark.parametrize("name", ["x", "fan", "ladder"])
def test_tapped_points_lie_on_the_top(name):
    import shapely

    design = patterns()[name].design
    assert shapely.contains_xy(design.region, *tap_points(patterns()[name]).T).all()


def test_hidden_values_scatter_as_the_prior():
    prior = pattern_prior("fan")
    rng = np.random.default_rng(1)
    values = np.array([drawn_from(prior, rng) for _ in range(300)])
    state = np.where(prior.is_factor, np.log(np.maximum(values, 1e-9)), values)
    sd = np.sqrt(np.diag(prior.covariance))
    varying = sd > 0
    # A normal cut off at 2.5 standard deviations scatters 5 % less; 300 samples tell the rest to 4 % each.
    ratio = state.std(axis=0)[varying] / sd[varying]
    assert 0.90 < ratio.mean() < 1.0
    assert (np.abs(state - np.where(prior.is_factor, 0.0, prior.mean)) <= 2.5 * sd + 1e-12).all()


def test_a_hidden_top_is_the_drawing_with_other_heights_and_woods():
    pattern = patterns()["x"]
    a = hidden_top(pattern, np.random.default_rng(3))
    b = hidden_top(pattern, np.random.default_rng(3))
    drawn = pattern.design.brace("x1").stations[:, 1].max()
    assert a.design.brace("x1").stations[:, 1].max() == b.design.brace("x1").stations[:, 1].max() != drawn
    assert a.design.brace("x1").stations[:, 1].max() == pytest.approx(drawn, abs=1.5e-3)
    assert a.design.brace("x1").wood != a.design.brace("x2").wood
    assert a.design.joints[0].kept != pattern.design.brace("x1").stations[:, 1].max() / 2


def test_cuts_err_by_hand_as_told():
    pattern = patterns()["ladder"]
    top = RealTop(pattern.design, pattern.woods, None)
    asked = [Cut("bar 2", 80e-3, 160e-3, 1e-3, 1e-3), Cut("bar 2", 160e-3, 240e-3, 1e-3, 1e-3)]
    rng = np.random.default_rng(5)
    made, measured = [], []
    for _ in range(200):
        after, told = cut_by_hand(top, asked, rng)
        lost = pattern.design.brace("bar 2").height(np.array([0.1])) - after.design.brace("bar 2").height(
            np.array([0.1])
        )
        made.append(float(lost[0]))
        measured.append([told[0].depth_start, told[0].start, told[0].stop, told[1].start])
    told = np.array(measured)
    assert np.mean(made) == pytest.approx(1e-3, abs=0.05e-3)
    assert told[:, 0].std() == pytest.approx(np.hypot(DEPTH_ERROR, CALIPER), rel=0.15)
    assert np.abs(told[:, 1] - 80e-3).max() <= END_ERROR
    assert (told[:, 2] == told[:, 3]).all()


def test_no_cut_goes_through_its_brace():
    pattern = patterns()["fan"]
    top = RealTop(pattern.design, pattern.woods, None)
    length = pattern.design.brace("fan 4").length
    height = pattern.design.brace("fan 4").stations[0, 1]
    for seed in range(20):
        after, _ = cut_by_hand(top, [Cut("fan 4", 0.0, length, height, height)], np.random.default_rng(seed))
        assert after.design.brace("fan 4").stations[:, 1].min() >= 0


def test_taps_err_by_as_much_as_they_say():
    pattern, sounds = patterns()["fan"], ring_of_numbers("fan")
    rng = np.random.default_rng(7)
    score, heard = [], 0
    for _ in range(100):
        measured = taps(pattern, sounds, rng, [1])
        heard += len(measured)
        assert [mode.number for mode in measured] == list(range(1, len(measured) + 1))
        for mode in measured:
            true = sounds.frequencies[np.abs(sounds.frequencies - mode.hz).argmin()]
            score.append((mode.hz - true) / mode.std_error_hz)
    assert 0.95 < heard / (100 * N_HEARD) < 0.99
    # Student's t with 5 degrees of freedom: standard deviation sqrt(5 / 3).
    assert np.std(score) == pytest.approx(np.sqrt(5 / 3), rel=0.15)


def test_nodes_are_where_the_mode_is_still():
    pattern, sounds = patterns()["fan"], ring_of_numbers("fan")
    points = grid("fan")
    x0, length = points[:, 0].min(), np.ptp(points[:, 0])
    measured = taps(pattern, sounds, np.random.default_rng(9), [0])
    nodes = np.array(next(mode for mode in measured if mode.nodes).nodes)
    # cos(pi x) is still halfway along, to a point of the grid.
    assert np.abs(nodes[:, 0] - (x0 + length / 2)).max() < 30e-3


def usual(targets: tuple[Wanted, ...], second_by_a: float = -2.0) -> UsualWay:
    """Two braces of one stretch each: "a" lowers both modes, "b" only the second one, Hz a millimetre."""
    sounds = Ring(np.array([100.0, 200.0]), np.ones((2, len(grid("fan")))), np.ones(2), 0.2)
    rates = {("a", 1): -4.0, ("a", 2): second_by_a, ("b", 1): 0.0, ("b", 2): -4.0}
    rows = tuple(ShavingRow(b, 0.0, 0.1, 8e-3, mode, rate, 0.1) for (b, mode), rate in rates.items())
    maker = UsualWay(patterns()["fan"], Drawn(sounds, ((0, 0), (1, 0)), rows), targets)
    maker.now = {0: 100.0, 1: 200.0}
    return maker


def test_the_usual_way_goes_part_of_the_worst_modes_way():
    (cut,) = usual((Wanted(0, 0, 96.0), Wanted(1, 1, 190.0))).cuts()
    # The second mode is worst, 10 Hz of 200 against 4 of 100: more than 1.5 mm of brace "b" at 4 Hz a millimetre.
    assert cut == Cut("b", 0.0, 0.1, 1.5e-3, 1.5e-3)
    (cut,) = usual((Wanted(0, 0, 98.0), Wanted(1, 1, 190.0 + 8.0))).cuts()
    # 100/98 - 1 of way at 4 % a millimetre; brace "a" may not take the other mode to its target.
    assert cut.part == "a"
    assert cut.depth_start == pytest.approx(PART * (100 / 98 - 1) / 40.0)


def test_the_usual_way_takes_the_next_brace_where_another_mode_would_pass():
    at_its_target, above = Wanted(0, 0, 100.0), Wanted(1, 1, 196.0)
    assert usual((Wanted(0, 0, 96.0), above), -6.0).cuts()[0].part == "a"
    assert usual((at_its_target, above), -6.0).cuts()[0].part == "b"
    assert usual((Wanted(0, 0, 96.0), Wanted(1, 1, 200.0))).cuts() == ()


def test_the_usual_way_stops_when_all_have_arrived():
    assert usual((Wanted(0, 0, 99.5), Wanted(1, 1, 198.6))).cuts() == ()


def test_the_usual_way_takes_note_of_cuts():
    maker = usual((Wanted(0, 0, 96.0), Wanted(1, 1, 190.0)))
    maker.made([Cut("b", 0.0, 0.05, 1e-3, 1e-3)])
    assert maker.now == pytest.approx({0: 100.0, 1: 200.0 * (1 - 0.5 * 0.02)})


@pytest.mark.parametrize(("k", "n"), [(0, 20), (1, 40), (95, 100), (100, 100)])
def test_interval_as_in_scipy(k, n):
    exact = binomtest(k, n).proportion_ci(0.95, method="exact")
    assert virtual_table.interval(k, n) == pytest.approx((exact.low, exact.high))


def one(reached: bool, passed: bool, passes: int) -> dict:
    return {"reached": reached, "passed": passed, "passes": passes, "grams": 2.0, "steps": [], "end": ""}


def test_table_counts_what_failed_as_missed():
    records = [
        {"pattern": "fan", "plan": one(True, False, 2), "usual": one(False, True, 4)},
        {"pattern": "fan", "error": "one line"},
        {"pattern": "x", "plan": one(True, False, 3), "usual": one(False, False, 4)},
        {"pattern": "x", "plan": one(True, False, 3), "usual": one(True, False, 4)},
    ]
    rows = virtual_table.table(records)[2:]
    assert len(rows) == 6
    assert rows[0].startswith("| crossed X, free rim, 2 | plan | 100 % (16 to 100) | 0 % (0 to 84) | 3 / 3 | 2.0 g |")
    assert rows[2].startswith("| fan of seven struts, hinged rim, 2 | plan | 50 % (1 to 99) |")
    assert rows[4].startswith("| all, 4 | plan | 75 %")


def test_titles_are_the_patterns():
    assert {name: pattern.title for name, pattern in patterns().items()} == virtual_table.TITLES
    assert tuple(virtual_table.TITLES) == virtual_bench.PATTERNS


def test_a_stopped_run_goes_on(tmp_path):
    path = tmp_path / "tops.jsonl"
    record = {"schema": virtual_bench.SCHEMA, "seed": 4, "pattern": "x", "top": 0}
    lines = [
        json.dumps(record),
        json.dumps(record | {"seed": 5}),
        json.dumps(record | {"schema": 0}),
        '{"schema": 1, "se',
    ]
    path.write_text("\n".join(lines), encoding="utf-8")
    assert virtual_bench.results(path, 4) == [record]
    assert virtual_bench.results(tmp_path / "none", 4) == []


def test_readme_keeps_the_rest(tmp_path):
    path = tmp_path / "README.md"
    path.write_text("before\n<!-- bench -->\nold\n<!-- /bench -->\nafter\n", encoding="utf-8")
    virtual_table.written(path, [{"pattern": "x", "plan": one(True, False, 3), "usual": one(False, False, 4)}])
    text = path.read_text(encoding="utf-8")
    assert text.startswith("before\n<!-- bench -->\n| tops |")
    assert text.endswith("|\n<!-- /bench -->\nafter\n")
