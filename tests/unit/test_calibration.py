"""Calibration by taps and cuts on a small top: tops drawn at random from the prior are found as well as it claims.

Coverage of Bayesian calculations by simulation: S. R. Cook, A. Gelman, D. B. Rubin, "Validation of software for
Bayesian models using posterior quantiles", J. Comput. Graph. Stat. 15 (2006) 675-692; here second moments.
"""

from dataclasses import replace

import numpy as np
import pytest
from reference.tapped_top import drawn_at_random, in_double, small_top, tapped, true_hz

from bracedtop.fem.calibration import after_cut, after_taps, predicted, replayed, start, untapped
from bracedtop.fem.numbering import modelled
from bracedtop.fem.prior import Prior
from bracedtop.fem.reduced import what_if
from bracedtop.geometry.cut import Cut
from bracedtop.geometry.errors import DesignError

CUT = Cut("x1", 0.0, 0.26, 3e-3, 3e-3)
WOOD_KINDS = ("E_L", "E_R", "G_LR", "density", "brace_E", "brace_density", "thickness")
N_TRUTHS = 30


@pytest.fixture(name="top", scope="module")
def top_case():
    return small_top()


def tapped_tops(top, n, seed):
    """True values, biases and what the taps made of them, for n tops."""
    reduced, prior = top
    before, rng = start(reduced, prior), np.random.default_rng(seed)
    rows = []
    for _ in range(n):
        values, bias = drawn_at_random(before, rng)
        after = after_taps(reduced, before, tapped(true_hz(reduced, values, bias), rng), np.zeros(6))
        rows.append((values, bias, after))
    return rows


@pytest.fixture(name="found", scope="module")
def found_tops(top):
    return tapped_tops(top, N_TRUTHS, 1)


def kinds(prior):
    return [parameter.kind for parameter in prior.parameters]


def drawn(reduced):
    return what_if(reduced, reduced.drawn)


def rms(values):
    return float(np.sqrt(np.mean(np.square(values))))


@pytest.mark.slow
def test_errors_are_as_large_as_claimed(top):
    _, prior = top
    found = tapped_tops(top, 200, 1)
    z = errors(prior, found)
    kind = kinds(prior)
    for name in WOOD_KINDS:
        assert 0.8 < rms(z[:, kind.index(name)]) < 1.25, name
    squares = np.array([after.history[0].squares for _, _, after in found])
    # Six degrees of freedom: mean 6, variance 12; four standard errors of the mean.
    assert squares.mean() == pytest.approx(6.0, abs=4 * np.sqrt(12 / 200))


def test_errors_of_a_few_tops_are_as_large_as_claimed(top, found):
    _, prior = top
    z = errors(prior, found)
    kind = kinds(prior)
    for names in (WOOD_KINDS, ("height",)):
        assert 0.8 < rms(z[:, [i for i, name in enumerate(kind) if name in names]]) < 1.25, names
    # The biases, all of them together.
    assert 0.8 < rms(z[:, len(kind) :]) < 1.25


def errors(prior, found):
    """Errors of the state in standard deviations, one row a top."""
    return np.array([(t.mean - np.concatenate([true_state(prior, v), b])) / sd(t) for v, b, t in found])


def true_state(prior, values):
    return np.where(prior.is_factor, np.log(np.where(prior.is_factor, values, 1.0)), values)


def sd(posterior):
    return np.where(posterior.state_sd > 0, posterior.state_sd, 1.0)


def test_residuals_are_chi_squared(found):
    squares = np.array([after.history[0].squares for _, _, after in found])
    # Six degrees of freedom: mean 6, variance 12; four standard errors of the mean.
    assert squares.mean() == pytest.approx(6.0, abs=4 * np.sqrt(12 / N_TRUTHS))
    # A right pair is set aside in few tops; each has six.
    assert sum(after.history[0].set_aside.any() for _, _, after in found) < 0.05 * N_TRUTHS


def test_a_change_is_as_uncertain_as_claimed(top, found):
    reduced, _ = top
    z = []
    for values, bias, after in found:
        fallen = after_cut(after, [CUT], error=0.0)
        true = true_hz(reduced, values - (after.values - fallen.values), bias)
        hz, covariance = predicted(reduced, fallen)
        z.append((hz - true) / np.sqrt(np.diag(covariance)))
    assert 0.8 < rms(z) < 1.25


def test_uncertainty_is_small_here_and_grows_with_a_cut(top, found):
    reduced, prior = top
    _, _, after = found[0]
    here, at_first = predicted(reduced, after)[1], predicted(reduced, start(reduced, prior))[1]
    hz = after.history[0].after
    # What was tapped is known as well as it was tapped; before, to 6 to 8 %.
    np.testing.assert_allclose(np.sqrt(np.diag(here)) / hz, 0.002, rtol=0.1)
    assert (np.sqrt(np.diag(at_first)) / hz > 0.05).all()
    grown = [np.sqrt(np.diag(predicted(reduced, after, lowered(after, depth))[1])).max() for depth in (1e-3, 3e-3)]
    assert np.sqrt(np.diag(here)).max() < grown[0] < grown[1]


def lowered(posterior, depth):
    is_height = np.array([parameter.kind == "height" for parameter in posterior.parameters])
    return posterior.values - depth * is_height


def test_what_is_asked_for_by_values_is_what_a_cut_gives(top, found):
    reduced, _ = top
    _, _, after = found[0]
    cut = after_cut(after, [CUT], error=0.0)
    for a, b in zip(predicted(reduced, cut), predicted(reduced, after, cut.values), strict=True):
        np.testing.assert_allclose(a, b)


def test_tapping_again_after_a_cut_tells_more(top, found):
    reduced, _ = top
    values, bias, after = found[3]
    cut = after_cut(after, [CUT], error=0.2e-3)
    true = true_hz(reduced, values - (after.values - cut.values), bias)
    again = after_taps(reduced, cut, list(enumerate(true.tolist())), np.zeros(6))
    assert (again.state_sd <= cut.state_sd + 1e-12).all()
    kind = kinds(again.prior)
    assert again.sd[kind.index("brace_E")] < cut.sd[kind.index("brace_E")]
    # What a further cut would do is known better.
    before, now = (predicted(reduced, known, lowered(known, 1e-3))[1] for known in (cut, again))
    assert (np.diag(now) < 0.8 * np.diag(before)).all()
    np.testing.assert_allclose(predicted(reduced, again)[0], true, rtol=0.002)


def test_a_wrong_pair_is_set_aside(top):
    reduced, prior = top
    before, rng = start(reduced, prior), np.random.default_rng(4)
    found, spoilt = [], []
    for _ in range(5):
        pairs = tapped(true_hz(reduced, *drawn_at_random(before, rng)), rng)
        found.append(after_taps(reduced, before, pairs, np.zeros(6)))
        # The tap of mode 2 is really something else.
        pairs[1] = (1, 1.18 * pairs[1][1])
        spoilt.append(after_taps(reduced, before, pairs, np.zeros(6)))
    assert sum(after.history[0].set_aside[1] for after in spoilt) >= 4
    for good, bad in zip(found, spoilt, strict=True):
        if bad.history[0].set_aside[1]:
            assert bad.history[0].n_used >= 5
            near = (bad.mean - good.mean)[: len(prior.mean)] / np.where(good.state_sd > 0, good.state_sd, 1)[:-6]
            assert np.abs(near).max() < 3


def test_a_pair_that_changed_since_the_last_taps_is_set_aside(top, found):
    reduced, _ = top
    values, bias, after = found[0]
    pairs = list(enumerate(true_hz(reduced, values, bias).tolist()))
    pairs[4] = (4, 1.03 * pairs[4][1])
    again = after_taps(reduced, after, pairs, np.zeros(6))
    assert again.history[1].set_aside.tolist() == [False, False, False, False, True, False]


def test_modes_keep_their_identity_where_they_cross(top):
    reduced, prior = top
    # Modes 5 and 6 are close as drawn; which is the higher one depends on the wood's ratio of stiffnesses.
    kind = kinds(prior)
    values = [reduced.drawn.copy(), reduced.drawn.copy()]
    values[0][kind.index("E_R")], values[1][kind.index("E_R")] = 0.7, 1.4
    hz = np.array([np.exp(modelled(reduced, v, drawn(reduced)).log_hz) for v in values])
    assert (hz[0, 4] - hz[0, 5]) * (hz[1, 4] - hz[1, 5]) < 0
    assert (np.diff(drawn(reduced).frequencies) > 0).all()
    for v, f in zip(values, hz, strict=True):
        after = after_taps(reduced, start(reduced, prior), list(enumerate(f.tolist())), np.zeros(6))
        np.testing.assert_allclose(after.history[0].after, f, rtol=0.003)
        assert not after.history[0].set_aside.any()
        assert np.log(after.values[kind.index("E_R")]) * np.log(v[kind.index("E_R")]) > 0


def test_values_stay_in_the_range_of_the_model(top):
    reduced, prior = top
    low, high = (np.array([getattr(p, key) for p in prior.parameters]) for key in ("low", "high"))
    hz = np.exp(modelled(reduced, reduced.drawn, drawn(reduced)).log_hz)
    # A top twice as high in pitch is none of this drawing.
    after = after_taps(reduced, start(reduced, prior), list(enumerate((2 * hz).tolist())), np.zeros(6))
    assert (after.values >= low).all()
    assert (after.values <= high).all()
    assert any("reached the range of the what-if model" in note for note in after.notes)


def test_slopes_are_derivatives(top):
    reduced, prior = in_double(top[0]), top[1]
    at = 0.98 * reduced.drawn
    found = modelled(reduced, at, drawn(reduced))
    for name in ("E_L", "thickness", "density", "brace_E"):
        i = kinds(prior).index(name)
        up, down = at.copy(), at.copy()
        up[i] *= np.exp(1e-5)
        down[i] *= np.exp(-1e-5)
        by_step = (modelled(reduced, up, drawn(reduced)).log_hz - modelled(reduced, down, drawn(reduced)).log_hz) / 2e-5
        # Eigenvalues are rounded by some 1e-11.
        np.testing.assert_allclose(by_step, found.slopes[:, i], atol=5e-6)


def test_replayed_and_untapped(top, found):
    reduced, prior = top
    _, _, after = found[0]
    cut = after_cut(after, [CUT], error=0.2e-3)
    again = replayed(reduced, prior, cut.history)
    np.testing.assert_allclose(again.mean, cut.mean, atol=1e-9)
    assert again.log_evidence == pytest.approx(cut.log_evidence)
    heights = [i for i, kind in enumerate(kinds(prior)) if kind == "height" and prior.parameters[i].part == "x1"]
    np.testing.assert_allclose(untapped(cut).values[heights], reduced.drawn[heights] - 3e-3, atol=1e-9)
    np.testing.assert_allclose(untapped(cut).sd[heights], np.hypot(0.2e-3, 0.2e-3), rtol=1e-6)


def test_a_cut_below_the_range_is_said(top):
    reduced, prior = top
    deep = after_cut(start(reduced, prior), [replace(CUT, depth_start=12e-3, depth_stop=12e-3)])
    assert (deep.values >= [p.low for p in prior.parameters]).all()
    assert any("x1 at 0 mm: cut below the range of the what-if model" in note for note in deep.notes)


def test_bad_taps_are_refused(top):
    reduced, prior = top
    before = start(reduced, prior)
    for pairs, errors, words in [
        ([(0, 150.0)], [0.1, 0.2], "1 taps with 2 errors"),
        ([(0, 150.0), (0, 240.0)], [0.1, 0.2], "each must be named once"),
        ([(6, 150.0)], [0.1], "lie in 0 to 5"),
        ([(0, -150.0)], [0.1], "must be above 0 Hz"),
        ([(0, 150.0)], [float("nan")], "must be above 0 Hz"),
    ]:
        with pytest.raises(DesignError, match=words):
            after_taps(reduced, before, pairs, errors)
    assert after_taps(reduced, before, [], []) is before
    with pytest.raises(DesignError, match="not the what-if model's"):
        start(reduced, Prior(prior.parameters[1:], prior.mean[1:], prior.covariance[1:, 1:]))
