"""What is known before the taps.

Scatter of woods: Forest Products Laboratory, "Wood Handbook", FPL-GTR-282, Madison 2021, ch. 5, Table 5-6 (coefficients
of variation: 22 % of modulus of elasticity in static bending, 10 % of specific gravity) and Table 5-11a (modulus of
elasticity of softwoods at 12 % goes with specific gravity to the power 0.84); both recalled, to be looked up.
"""

from dataclasses import replace

import numpy as np
import pytest
from reference.plates import TRIAL_WOOD, WOOD, trial_top

from bracedtop.fem.board_fit import BoardFit
from bracedtop.fem.parameter import parameters_of
from bracedtop.fem.prior import WHOLE_BOARD, Prior, default_prior
from bracedtop.geometry.design import Edge
from bracedtop.geometry.errors import DesignError

WOODS = {WOOD: TRIAL_WOOD}
RING = {"ring_width": 20e-3, "ring_reduction": 0.6e-3}


@pytest.fixture(name="top")
def top_case():
    top = replace(trial_top(2), edge=Edge("springs", 2e5, 5.0, 1e6))
    return replace(top, plate=replace(top.plate, **RING))


def at(prior, kind):
    return next(i for i, parameter in enumerate(prior.parameters) if parameter.kind == kind)


def test_scatter_of_woods_is_the_handbooks(top):
    prior = default_prior(top, WOODS, parameters_of(top))
    sd = np.sqrt(np.diag(prior.covariance))
    for kind, expected in [
        ("E_L", 0.22),
        ("brace_E", 0.22),
        ("density", 0.10),
        ("brace_density", 0.10),
        ("E_R", 0.25),
        ("G_LR", 0.25),
        ("thickness", 0.015),
        ("springs", np.log(2)),
        ("ring", 0.015 * 2.8e-3),
        ("mass", 0.0),
    ]:
        assert sd[at(prior, kind)] == pytest.approx(expected), kind
    np.testing.assert_allclose(prior.mean, [parameter.drawn for parameter in prior.parameters])


def test_stiffer_wood_is_denser(top):
    prior = default_prior(top, WOODS, parameters_of(top))
    C = prior.covariance
    for modulus, density in (("E_L", "density"), ("brace_E", "brace_density")):
        i, j = at(prior, modulus), at(prior, density)
        # Slope of ln E by ln density.
        assert C[i, j] / C[j, j] == pytest.approx(0.84)


def test_heights_of_one_brace_belong_together(top):
    prior = default_prior(top, WOODS, parameters_of(top))
    one = [i for i, p in enumerate(prior.parameters) if p.kind == "height" and p.part == "x1"]
    other = [i for i, p in enumerate(prior.parameters) if p.kind == "height" and p.part == "x2"]
    C = prior.covariance / 0.2e-3**2
    gap = prior.parameters[one[1]].at - prior.parameters[one[0]].at
    assert C[one[0], one[0]] == pytest.approx(1.0)
    assert C[one[0], one[1]] == pytest.approx(np.exp(-gap / 60e-3))
    assert (C[np.ix_(one, other)] == 0).all()


def test_biases_belong_together_in_part(top):
    C = default_prior(top, WOODS, parameters_of(top)).bias_covariance(4)
    assert np.sqrt(C[0, 0]) == pytest.approx(0.01)
    assert C[0, 1] / C[0, 0] == pytest.approx(0.3)
    assert np.linalg.eigvalsh(C).min() > 0


class Constant:
    """Stands for a constant of a board fit, which has a name."""

    def __init__(self, name):
        self.name = name


def board(names, covariance):
    fit = object.__new__(BoardFit)
    object.__setattr__(fit, "constants", tuple(map(Constant, names)))
    object.__setattr__(fit, "covariance", covariance)
    return fit


def test_a_tapped_board_takes_the_place_of_its_species(top):
    names = ("E_L", "E_R", "G_LR", "nu_LR", "density")
    rng = np.random.default_rng(2)
    root = 0.02 * rng.normal(size=(5, 5))
    woods = {"board": TRIAL_WOOD, WOOD: TRIAL_WOOD}
    own = replace(top, plate=replace(top.plate, wood="board"))
    prior = default_prior(own, woods, parameters_of(own), board={"board": board(names, root @ root.T)})
    rows = [at(prior, kind) for kind in ("E_L", "E_R", "G_LR", "density")]
    of = [0, 1, 2, 4]
    expected = (root @ root.T)[np.ix_(of, of)] + WHOLE_BOARD**2 * np.eye(4)
    np.testing.assert_allclose(prior.covariance[np.ix_(rows, rows)], expected)
    # The braces are of other wood.
    assert np.sqrt(prior.covariance[at(prior, "brace_E"), at(prior, "brace_E")]) == pytest.approx(0.22)
    with pytest.raises(DesignError, match='a board for wood "maple", which is none of the drawing: board, '):
        default_prior(own, woods, parameters_of(own), board={"maple": board(names, root @ root.T)})


def test_a_covariance_must_be_one(top):
    prior = default_prior(top, WOODS, parameters_of(top))
    C = prior.covariance.copy()
    C[0, 1] = C[1, 0] = 2 * C[0, 0]
    for changed, words in [
        ({"covariance": C}, "symmetric without negative directions"),
        ({"covariance": prior.covariance[1:, 1:]}, "do not fit together"),
        ({"mean": prior.mean * np.nan}, "must be finite"),
        ({"bias_sd": 0.0}, "its bias_sd > 0"),
    ]:
        with pytest.raises(DesignError, match=words):
            replace(prior, **changed)
    assert isinstance(prior, Prior)
