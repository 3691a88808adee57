"""Plans of a small top with its what-if model: derivatives, limits, cut lists, string load, words, pictures."""

import dataclasses
import math
import re

import numpy as np
import pytest
from commands.command_line import TOP

from bracedtop.fem.calibration import after_taps, start
from bracedtop.fem.case import read_case
from bracedtop.fem.model import build_model, solve
from bracedtop.fem.parameter import drawing_at
from bracedtop.fem.plan import make_plan, tones_of, with_patch
from bracedtop.fem.plan_limits import Limits
from bracedtop.fem.plan_load import GROWN, LoadCheck
from bracedtop.fem.plan_picture import plan_pictures
from bracedtop.fem.plan_problem import places_of
from bracedtop.fem.plan_reach import Unreachable
from bracedtop.fem.plan_words import CAUTIONS, state_words, stop_rules, unreachable_words
from bracedtop.fem.prior import default_prior
from bracedtop.fem.reduced import what_if
from bracedtop.fem.reduced_build import build_reduced
from bracedtop.fem.strings import String, StringSet
from bracedtop.fem.target import Target, goal_of, settled, sustain_limit
from bracedtop.geometry.cut import cut_design
from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.mass import PointMass


@pytest.fixture(scope="module")
def case(tmp_path_factory):
    folder = tmp_path_factory.mktemp("small")
    (folder / "top.toml").write_text(TOP, encoding="utf-8")
    return read_case(folder)


@pytest.fixture(scope="module")
def reduced(case):
    return build_reduced(case.design, case.woods, size=case.mesh_size, basis=80, snapshots=8)


@pytest.fixture(scope="module")
def posterior(case, reduced):
    known = start(reduced, default_prior(case.design, case.woods, reduced.parameters))
    hz = np.exp(tones_of(reduced, known)(reduced.drawn)[0])
    return after_taps(reduced, known, list(enumerate(hz[:6] * 1.01)), 0.1 * np.ones(6))


@pytest.fixture(scope="module")
def now(reduced, posterior):
    return np.exp(tones_of(reduced, posterior)(posterior.values)[0])


def below(now, mode, part, **keys):
    """A target a part of the frequency below where the mode is."""
    hz = float(now[mode - 1]) * (1 - part)
    return Target(mode, hz, f"{hz:.1f} Hz", **keys)


def test_slopes_are_those_of_differences(reduced, posterior):
    tones = tones_of(reduced, posterior)
    _, slopes = tones(posterior.values)
    for place in places_of(reduced.design, reduced.parameters, Limits())[::3]:
        step = np.zeros(len(posterior.values))
        step[place.index] = 0.02e-3
        difference = (tones(posterior.values + step)[0] - tones(posterior.values - step)[0]) / 0.04e-3
        np.testing.assert_allclose(slopes()[:, place.index], difference, rtol=2e-3, atol=2e-4 * np.abs(slopes()).max())


@pytest.fixture(scope="module")
def plan(reduced, posterior, now):
    return make_plan(reduced, posterior, [below(now, 1, 0.02), below(now, 2, 0.015)])


def test_pass_takes_wood_off_only_and_leaves_the_least_height(plan, reduced):
    assert plan.cuts
    taken = plan.problem.present - plan.values_after
    assert (taken >= -1e-12).all()
    low = np.array([parameter.low for parameter in reduced.parameters])
    assert (plan.problem.values(plan.whole_depths) >= low - 1e-9).all()
    assert (plan.depths <= Limits().largest_step + 1e-12).all()
    assert (plan.depths <= plan.whole_depths + 1e-9).all()
    assert plan.chance <= 0.05
    assert plan.grams > 0


def test_corners_are_in_tenths(plan):
    for cut in plan.cuts:
        for depth in (cut.depth_start, cut.depth_stop):
            assert depth * 1e4 == pytest.approx(round(depth * 1e4), abs=1e-6)


def test_cut_list_makes_the_heights_of_the_plan(plan, reduced, posterior):
    before, _ = drawing_at(reduced.design, reduced.woods, reduced.parameters, posterior.values)
    after = cut_design(before, plan.cuts)
    for place in plan.problem.places:
        height = float(after.brace(place.part).height(np.array([place.at]))[0])
        assert height == pytest.approx(plan.values_after[place.index], abs=1e-8)


def test_expected_is_the_model_after_the_cut(plan, reduced, posterior):
    hz = np.exp(tones_of(reduced, posterior)(plan.values_after)[0])
    np.testing.assert_allclose(plan.expected, hz, rtol=1e-12)
    assert (plan.low < plan.expected).all()
    assert (plan.expected < plan.high).all()


def test_least_heights_and_braces_that_are_left(reduced, posterior, now):
    limits = Limits(least_heights={"long": 9e-3}, left=("cross",))
    plan = make_plan(reduced, posterior, [below(now, 1, 0.05)], limits)
    assert {place.part for place in plan.problem.places} == {"long"}
    end = plan.problem.values(plan.whole_depths)
    for place in plan.problem.places:
        assert end[place.index] >= min(9e-3, plan.problem.present[place.index]) - 1e-9
    (lost,) = plan.unreachable
    assert lost.miss > 0
    words = unreachable_words(lost, plan.final)
    assert "above its band" in words
    assert "1 g more at the bridge lowers mode 1" in words


def test_target_above_says_what_a_taller_brace_would_do(reduced, posterior, now):
    plan = make_plan(reduced, posterior, [below(now, 2, -0.05)])
    (lost,) = plan.unreachable
    assert lost.miss < 0
    assert "1 mm more height on" in unreachable_words(lost, plan.final)
    assert plan.cuts == () or plan.expected[1] >= plan.now[1]


def test_stop_when_all_is_in_its_band(reduced, posterior, now):
    plan = make_plan(reduced, posterior, [below(now, 1, 0.005)])
    assert plan.done
    assert plan.cuts == ()
    assert state_words(plan) == "Stop here: all targets are in their bands."


def test_words_name_the_stop_and_only_one_pass(plan):
    assert state_words(plan).startswith("One pass, then re-tap")
    rules = " ".join(stop_rules(plan))
    assert "mode 1 is heard below" in rules
    stop = float(rules.split("mode 1 is heard below ")[1].split(" Hz")[0])
    assert math.exp(plan.goals[0].low) - 0.05 <= stop < plan.now[0]
    assert any("dust mask" in caution for caution in CAUTIONS)


def test_pictures_show_the_cut_braces(plan, case):
    jobs = {job.name: job for job in plan_pictures(case.design, plan, 1)}
    assert set(jobs) == {"way", "cuts", "braces"}
    cut = {c.part for c in plan.cuts}
    written = " ".join(label.text for label in jobs["braces"].scene.labels)
    assert all(name in written for name in cut)
    for job in jobs.values():
        scene = job.scene
        for label in scene.labels:
            left, bottom, right, top = label.box
            assert left >= -1
            assert right <= scene.width + 1
            assert bottom >= -1
            assert top <= scene.height + 1


STRINGS = StringSet(tuple(String("", 70.0) for _ in range(6)), saddle_height=12e-3, spread=50e-3, held="hinged")


def test_string_load_holds_the_plan_back(reduced, posterior, now, case):
    targets = [below(now, 1, 0.03)]
    check = LoadCheck(reduced, STRINGS, case.strengths, Limits(largest_stress_share=1.0))
    free = make_plan(reduced, posterior, targets)
    turn = check.state(posterior.values).turn
    far = check.state(free.problem.values(free.whole_depths)).turn
    assert far > turn
    limit = turn + 0.4 * (far - turn)
    # Below what it is already, so that the limit itself counts and not what it may grow by.
    held = dataclasses.replace(check, limits=Limits(largest_stress_share=1.0, largest_turn=max(limit, 0.0)))
    plan = make_plan(reduced, posterior, targets, narrowed=held.narrowed)
    allowed = max(limit, GROWN * turn)
    assert held.state(plan.problem.values(plan.whole_depths)).turn <= allowed * 1.001
    assert held.state(plan.values_after).turn <= allowed * 1.001


def test_sustain_is_a_bound_on_the_frequency():
    # The amplitude exp(-pi f eta t) has fallen by 60 dB, a factor of 1000, at T60.
    hz = sustain_limit(1.5, 0.01)
    assert math.exp(-math.pi * hz * 0.01 * 1.5) == pytest.approx(1e-3)
    log_hz = np.log([100.0, 500.0])
    (target,) = settled([Target(2, math.nan, "", kind="sustain", seconds=1.5)], np.exp(log_hz), {2: 0.01})
    assert goal_of(target, log_hz).high == pytest.approx(math.log(hz))
    with pytest.raises(DesignError, match="sustain_s needs"):
        settled([Target(2, math.nan, "", kind="sustain", seconds=1.5)], np.exp(log_hz))


@pytest.mark.parametrize(
    ("hz", "risky", "low", "high"), [(210, (-1,), 36.2, None), (199, (), None, -30), (190, (1,), None, -30)]
)
def test_a_gap_is_kept_on_the_side_where_the_mode_is(hz, risky, low, high):
    goal = goal_of(Target(1, 200.0, "", kind="gap", cents=30 if low is None else 36.2), np.log([float(hz)]))
    assert goal.risky == risky
    cent = math.log(2) / 1200
    if low is None:
        assert (goal.high - math.log(200)) / cent == pytest.approx(high)
    else:
        assert (goal.low - math.log(200)) / cent == pytest.approx(low)


def test_a_mode_that_cannot_be_planned_is_refused(reduced, posterior):
    with pytest.raises(DesignError, match="modes 1 to"):
        make_plan(reduced, posterior, [Target(99, 100.0, "")])


def test_a_patch_is_offered_where_the_mode_moves_most(reduced):
    """Against full solutions with a fiftieth of a gram there and without."""
    state = what_if(reduced, reduced.drawn)
    lost = Unreachable(Target(1, 1.0, "1 Hz"), 0.01, "", ())
    words = with_patch(lost, reduced, state).additions[-1]
    found = re.search(r"\[(-?\d+), (-?\d+)\] mm, .* lowers mode 1 by ([\d.]+) Hz", words)
    x, y, fall = (float(part) for part in found.groups())
    design = dataclasses.replace(reduced.design, masses=(PointMass("patch", 2e-5, (1e-3 * x, 1e-3 * y)),))
    heavier = solve(build_model(design, reduced.woods, mesh=reduced.mesh), 1).frequencies[0]
    bare = solve(build_model(reduced.design, reduced.woods, mesh=reduced.mesh), 1).frequencies[0]
    assert 50 * (bare - heavier) == pytest.approx(fall, rel=0.05)
    assert not with_patch(dataclasses.replace(lost, miss=-0.01), reduced, state).additions
