"""What a calibration says of itself, on a top with three unlike braces and hidden faults."""

from dataclasses import replace

import numpy as np
import pytest
from reference.plates import TRIAL_WOOD, WOOD, trial_top
from reference.tapped_top import drawn_at_random, tapped, true_hz

from bracedtop.fem.calibration import after_cut, after_taps, start
from bracedtop.fem.calibration_doubts import (
    calibration_doubts,
    learned,
    n_told,
    overview,
    residuals,
    told_together,
)
from bracedtop.fem.calibration_picture import calibration_picture
from bracedtop.fem.prior import default_prior
from bracedtop.fem.reduced_build import build_reduced
from bracedtop.fem.suspicion import Fault, Suspicion
from bracedtop.geometry.brace import Brace
from bracedtop.geometry.cut import Cut

N_TOPS = 4


def bar(name, start, stop):
    length = float(np.hypot(stop[0] - start[0], stop[1] - start[1]))
    return Brace(name, WOOD, np.array([start, stop]), 7e-3, np.array([[0.0, 0.012], [length, 0.012]]))


@pytest.fixture(name="top", scope="module")
def top_case():
    braces = (
        bar("along", (0.05, 0.1), (0.35, 0.1)),
        bar("across", (0.27, 0.13), (0.27, 0.28)),
        bar("slant", (0.1, 0.2), (0.2, 0.28)),
    )
    top, woods = replace(trial_top(0), braces=braces), {WOOD: TRIAL_WOOD}
    reduced = build_reduced(top, woods, n_modes=8, size=0.06, basis=50, snapshots=8)
    return reduced, default_prior(top, woods, reduced.parameters)


def tops(top, change, seed):
    """Calibrations of tops drawn at random whose values are then changed."""
    reduced, prior = top
    before, rng = start(reduced, prior), np.random.default_rng(seed)
    for _ in range(N_TOPS):
        values, bias = drawn_at_random(before, rng)
        values = np.array([change(p, v) for p, v in zip(prior.parameters, values, strict=True)])
        pairs = tapped(true_hz(reduced, values, bias), rng)
        yield after_taps(reduced, before, pairs, np.zeros(8))


def test_a_sound_top_is_not_suspected(top):
    reduced, _ = top
    found = [calibration_doubts(reduced, after) for after in tops(top, lambda _, value: value, 5)]
    assert sum(bool(doubts.suspicions) for doubts in found) <= 1
    assert sum(bool(doubts.warnings) for doubts in found) <= 2


def test_a_loose_brace_is_named(top):
    reduced, _ = top

    def loose(parameter, value):
        # Heights of three fifths have a fifth of the stiffness.
        return 0.6 * value if parameter.part == "along" and parameter.kind == "height" else value

    named = 0
    for after in tops(top, loose, 6):
        doubts = calibration_doubts(reduced, after)
        if doubts.suspicions and doubts.suspicions[0].fault.part == "along":
            first = doubts.suspicions[0]
            named += 1
            assert first.fault.kind == "brace"
            assert first.amount == pytest.approx(-0.4, abs=4 * first.sd)
            assert any("along seems to hold less than drawn" in words for words in doubts.warnings)
    assert named >= N_TOPS - 1


@pytest.fixture(name="after", scope="module")
def one_top(top):
    return next(tops(top, lambda _, value: value, 7))


def test_what_was_learned(top, after):
    rows = {row.name: row for row in learned(after)}
    assert "mass at bridge" not in rows
    assert rows["E_L of the top"].is_told
    assert rows["E_L of the top"].sd < 0.6 * rows["E_L of the top"].sd_before
    assert not rows["thickness of the top"].is_told
    assert not rows["along at 0 mm"].is_told
    assert all(0 < row.left <= 1 + 1e-9 for row in rows.values())
    means = {row.name: row for row in overview(after) if row.kind == "height"}
    assert list(means) == ["mean height of along", "mean height of across", "mean height of slant"]
    own = [after.values[i] for i, p in enumerate(top[1].parameters) if p.part == "along"]
    assert means["mean height of along"].value == pytest.approx(np.mean(own))


def test_residuals_are_the_models_own_error(after):
    rows = residuals(after)
    assert [row.mode for row in rows] == list(range(1, 9))
    for row, bias in zip(rows, after.bias, strict=True):
        # What the bias does not take up is the error of holding.
        assert row.cents == pytest.approx(1200 / np.log(2) * bias, abs=12)
        assert row.hz == pytest.approx(row.measured_hz - row.model_hz)
        assert abs(row.deviations) < 4


def test_one_tap_tells_a_stiffness_only_against_a_mass(top):
    reduced, prior = top
    kinds = [parameter.kind for parameter in prior.parameters]
    C = np.zeros_like(prior.covariance)
    # Known about as well as the first mode depends on them.
    for kind, sd in (("E_L", 0.2), ("density", 0.1)):
        C[kinds.index(kind), kinds.index(kind)] = sd**2
    before = start(reduced, replace(prior, covariance=C))
    after = after_taps(reduced, before, [(0, float(before.reference.frequencies[0]))], [0.0])
    assert n_told(after) == 1
    (words,) = told_together(after)
    assert words.startswith("E_L of the top and density of the top are told only as their ratio, within ")


def test_taps_that_nothing_explains_are_said(top):
    reduced, prior = top
    before = start(reduced, prior)
    odd = before.reference.frequencies * np.array([1.09, 0.91, 1.09, 0.91, 1.09, 0.91, 1.09, 0.91])
    doubts = calibration_doubts(reduced, after_taps(reduced, before, list(enumerate(odd.tolist())), np.zeros(8)))
    assert any("lie farther from what was expected than woods and tolerances explain" in w for w in doubts.warnings)
    assert any("does not fit what all the others say" in words for words in doubts.warnings)


def test_cuts_are_not_taken_for_errors(top, after):
    reduced, _ = top
    cut = after_cut(after, [Cut("along", 0.0, 0.3, 2e-3, 2e-3)], error=0.2e-3)
    row = next(row for row in learned(cut) if row.name == "along at 0 mm")
    assert row.drawn - row.expected == pytest.approx(2e-3, abs=1e-6)
    assert abs(row.pull) < 1
    assert calibration_doubts(reduced, cut).suspicions == ()


@pytest.mark.parametrize(
    ("kind", "amount", "words"),
    [
        ("brace", -0.4, "x bass seems to hold less than drawn, about 22 % of its stiffness (12 to 1 by these taps)"),
        ("brace", 0.2, "x bass seems stiffer than drawn, as if 20 % higher all along"),
        ("height", -0.6e-3, "x bass near 150 mm seems 0.6 mm lower than drawn (12 to 1 by these taps): measure it"),
        ("thickness", -0.12, "the top seems 12 % thinner than drawn, rather than of other wood"),
    ],
)
def test_words_of_suspicions(kind, amount, words):
    assert Suspicion(Fault(kind, "x bass", 0.15, np.zeros(3)), amount, 0.1, 12.0).words.startswith(words)


def test_picture_shows_every_number_and_mode(after):
    job = calibration_picture(overview(after), residuals(after))
    mode = f"mode 8, {residuals(after)[7].measured_hz:.1f} Hz"
    texts = [label.text for label in job.scene.labels]
    assert {"E_L of the top", "mean height of slant", mode} <= set(texts)
    assert job.alt.startswith("Bars of 10 numbers before and after the taps")
    assert calibration_picture(overview(after), ()).scene.height < job.scene.height
