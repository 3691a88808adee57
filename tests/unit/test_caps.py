"""Caps over crossings and patches under braces: their wood, their stiffness by hand, and the shaving table."""

from dataclasses import replace

import numpy as np
import pytest
from reference.plates import TRIAL_WOOD, WOOD, rectangle

from bracedtop.fem.joint_section import cap_stiffness
from bracedtop.fem.laminate import SHEAR_CORRECTION, fibre
from bracedtop.fem.model import build_model, solve
from bracedtop.fem.sensitivity import shaving_table
from bracedtop.fem.stretches import stretches
from bracedtop.fem.what_if import resolved, shaved_design
from bracedtop.geometry.brace import Brace
from bracedtop.geometry.design import Design, Edge, Joint, Plate
from bracedtop.geometry.outline import polygon_outline
from bracedtop.geometry.patch import Patch

WOODS = {WOOD: TRIAL_WOOD}
SIZE = 0.06
WIDTH, HEIGHT, CAP, LENGTH = 7e-3, 12e-3, 2e-3, 50e-3


def brace(name, degrees, height=HEIGHT):
    middle, half = np.array([0.15, 0.11]), 0.1 * np.array([np.cos(np.radians(degrees)), np.sin(np.radians(degrees))])
    heights = np.array([[0.0, height], [0.2, height]])
    return Brace(name, WOOD, np.array([middle - half, middle + half]), WIDTH, heights)


def capped(cap=CAP, length=LENGTH, over=HEIGHT):
    joints = (Joint("a", "b", None, cap, length),)
    pair = (brace("a", 40), brace("b", -40, over))
    return Design(rectangle(0.3, 0.22), Plate(WOOD, 2.8e-3), braces=pair, joints=joints, edge=Edge("free"))


def over_a_pad():
    corners = np.array([[0.12, 0.08], [0.18, 0.08], [0.18, 0.14], [0.12, 0.14]])
    pad = Patch("pad", WOOD, polygon_outline(corners), 1.8e-3, grain_angle=np.pi / 2, under_braces=True)
    return replace(capped(0.0, 0.0), braces=(brace("a", 40),), joints=(), patches=(pad,))


def test_wood_of_a_cap_is_counted_once():
    with_cap, without = (build_model(top, WOODS, size=SIZE).mass() for top in (capped(), capped(0.0, 0.0)))
    assert with_cap - without == pytest.approx(TRIAL_WOOD.density * WIDTH * CAP * LENGTH, rel=1e-6)


def test_wood_of_a_brace_over_a_patch_is_counted_once():
    top = over_a_pad()
    model = build_model(top, WOODS, size=SIZE)
    pad = TRIAL_WOOD.density * 0.06**2 * 1.8e-3
    # The mesh draws borders that meet to within its tolerance; here 1.5 square millimetres.
    assert model.mass("patch pad") == pytest.approx(pad, rel=1e-3)
    # The brace crosses the pad's middle at 40 degrees: from side to side in x.
    across = 0.06 / np.cos(np.radians(40))
    expected = TRIAL_WOOD.density * WIDTH * (0.2 * HEIGHT - across * 1.8e-3)
    assert model.mass("brace a") == pytest.approx(expected, rel=1e-3)


def test_patch_under_braces_weighs_more_than_one_let_in_by_what_stands_in_it():
    top = over_a_pad()
    (pad,) = top.patches
    whole = build_model(top, WOODS, size=SIZE).mass()
    let_in = build_model(replace(top, patches=(replace(pad, under_braces=False),)), WOODS, size=SIZE).mass()
    # Of one wood, what the patch gains the brace loses.
    assert whole == pytest.approx(let_in, rel=1e-4)


@pytest.mark.parametrize("degrees", [0.0, 90.0])
def test_stiffness_of_a_cap(degrees):
    wood = fibre(TRIAL_WOOD)
    bottom, top = -0.0154, -0.0134
    C = cap_stiffness(wood, np.radians(degrees), np.array([bottom]), np.array([top]))[0]
    i, shear = (0, 6) if degrees == 0 else (1, 7)
    expected = [(top**k - bottom**k) / k * wood.E for k in (1, 2, 3)]
    np.testing.assert_allclose([C[i, i], C[i, i + 3], C[i + 3, i + 3]], expected, rtol=1e-9)
    assert C[shear, shear] == pytest.approx(SHEAR_CORRECTION * wood.G_upright * (top - bottom), rel=1e-9)
    # Nothing across it, and no twist.
    rest = np.delete(np.arange(9), [i, i + 3, shear])
    assert np.abs(C[rest]).max() < 1e-9 * np.abs(C).max()


def test_cap_stiffens_and_longer_ones_more():
    found = [solve(build_model(capped(*cap), WOODS, size=SIZE), 6).frequencies for cap in ((0, 0), (CAP, 0.03), (CAP,))]
    assert found[1][1] > 1.01 * found[0][1]
    assert found[2][1] > found[1][1]


@pytest.mark.parametrize("top", [capped(), capped(over=0.010), capped(over=0.014), over_a_pad()])
def test_hz_per_mm_is_what_solving_again_gives(top):
    step = 2e-6
    model = build_model(top, WOODS, size=SIZE)
    modes = solve(model, 6)
    rows = shaving_table(model, modes)
    for part in top.braces:
        piece = stretches(part)[0]
        change = resolved(model, modes, shaved_design(top, part.name, piece.start, piece.stop, step))
        expected = (change.modes.frequencies[list(change.successor)] - modes.frequencies) / (step / 1e-3)
        found = [row for row in rows if row.brace == part.name and row.start == piece.start]
        np.testing.assert_allclose(
            [row.hz_per_mm for row in found], expected, atol=5e-3 * np.abs(expected).max(), rtol=5e-3
        )
        assert found[0].grams_per_mm == pytest.approx(1e3 * change.mass_removed / (step / 1e-3), rel=2e-3)
