"""Node lines of plates whose modes have names: A. W. Leissa, Vibration of Plates, NASA SP-160 (1969), ch. 4."""

import numpy as np
import pytest
from reference.plates import TRIAL_WOOD, WOOD, plate, rectangle

from bracedtop.fem.describe import mode_name, summarise
from bracedtop.fem.model import build_model, solve


def test_clamped_plate_has_the_grid_of_a_rectangle():
    model = build_model(plate(rectangle(0.4, 0.3), 2.8e-3, "clamped"), {WOOD: TRIAL_WOOD}, size=0.03)
    found = [s.nodal_lines for s in summarise(model, solve(model, 8))]
    # In the order of the frequencies of this orthotropic plate; every (across, along) appears once.
    assert found == [(0, 0), (0, 1), (1, 0), (0, 2), (1, 1), (1, 2), (0, 3), (2, 0)]


def test_free_plate_twists_first_and_bends_next():
    model = build_model(plate(rectangle(0.4, 0.3), 2.8e-3, "free"), {WOOD: TRIAL_WOOD}, size=0.03)
    summaries = summarise(model, solve(model, 4))
    assert [s.name for s in summaries[:2]] == ["twists", "bends crosswise"]
    assert summaries[3].name == "bends lengthwise"


def test_modal_mass_of_a_rigidly_moving_point():
    # A hinged plate's first mode is sin sin: its modal mass at the middle is a quarter of the plate (Navier).
    design = plate(rectangle(0.4, 0.3), 2.8e-3, "hinged")
    model = build_model(design, {WOOD: TRIAL_WOOD}, size=0.03)
    first = summarise(model, solve(model, 2))[0]
    assert first.modal_mass == pytest.approx(0.4 * 0.3 * 2.8e-3 * 400 / 4, rel=2e-3)


def test_standing_still_is_an_infinite_modal_mass():
    model = build_model(plate(rectangle(0.4, 0.3), 2.8e-3, "clamped"), {WOOD: TRIAL_WOOD}, size=0.03)
    second = summarise(model, solve(model, 2))[1]
    assert second.modal_mass > 1e3 or np.isinf(second.modal_mass)


def test_names_are_plain_words():
    assert mode_name((0, 0), free=False) == "whole top moves as one"
    assert mode_name((2, 1), free=False) == "2 lines across, 1 along"
    assert mode_name((1, 1), free=True) == "twists"
