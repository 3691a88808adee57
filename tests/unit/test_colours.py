"""The pictures' colours against published colour science.

Values in OKLab: W3C, CSS Color Module Level 4 (2022), conversions of the sRGB primaries; from memory.
Colour blindness: G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, "A physiologically-based model for simulation of
color vision deficiency", IEEE Trans. Vis. Comput. Graph. 15 (2009) 1291-1298, matrices for severity 1.0; from memory
(each row sums to 1, which is checked). Differences: CIE 1976 L*a*b*, ISO/CIE 11664-4.
"""

import numpy as np
import pytest

from bracedtop.fem.colours import falling, inward_outward, ramp, rising, srgb

PRIMARIES = {
    "red": ((0.62796, 0.22486, 0.12585), (255, 0, 0)),
    "green": ((0.86644, -0.23389, 0.17950), (0, 255, 0)),
    "blue": ((0.45201, -0.03246, -0.31153), (0, 0, 255)),
    "white": ((1.0, 0.0, 0.0), (255, 255, 255)),
}

MACHADO = {
    "normal": np.eye(3),
    "protanopia": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deuteranopia": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "tritanopia": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
}

CLEAR = 10.0
"""Difference in CIE 1976 L*a*b* that is seen at a glance: several times the just noticeable 2.3 (Mahy et al. 1994)."""


def linear(rgb):
    coded = np.asarray(rgb) / 255
    return np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)


def lab(linear_rgb):
    to_xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    t = np.clip(linear_rgb, 0, 1) @ to_xyz.T / to_xyz.sum(axis=1)
    f = np.where(t > (6 / 29) ** 3, np.cbrt(t), t / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.column_stack([116 * f[:, 1] - 16, 500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2])])


def seen(rgb, vision):
    return lab(linear(rgb) @ np.array(MACHADO[vision]).T)


@pytest.mark.parametrize("name", PRIMARIES)
def test_primaries(name):
    oklab, rgb = PRIMARIES[name]
    assert np.abs(srgb(np.array([oklab]))[0].astype(int) - rgb).max() <= 1


@pytest.mark.parametrize("vision", MACHADO)
def test_matrices_keep_white(vision):
    np.testing.assert_allclose(np.array(MACHADO[vision]).sum(axis=1), 1, atol=2e-6)


@pytest.mark.parametrize("vision", MACHADO)
def test_out_and_in_differ_for_everybody(vision):
    colours = seen(inward_outward(20), vision)
    # The two faintest bands on either side are near white on purpose.
    apart = np.linalg.norm(colours[::-1][:8] - colours[:8], axis=1)
    assert apart.min() > CLEAR


@pytest.mark.parametrize("vision", MACHADO)
def test_neighbouring_bands_differ_for_everybody(vision):
    colours = seen(inward_outward(20), vision)
    assert np.linalg.norm(np.diff(colours, axis=0), axis=1).min() > 2.3


def test_neither_side_looks_stronger():
    lightness = seen(inward_outward(20), "normal")[:, 0]
    np.testing.assert_allclose(lightness, lightness[::-1], atol=4)


@pytest.mark.parametrize("vision", MACHADO)
@pytest.mark.parametrize("colours", [falling, rising])
def test_effects_darken_all_the_way(colours, vision):
    lightness = seen(colours(101), vision)[:, 0]
    # A step of 1 in a channel of 8 bits may turn back by a fraction of a unit.
    assert np.diff(lightness).max() < 0.4
    assert lightness[0] - lightness[-1] > 55


def test_ramp_steps_are_even():
    colours = lab(linear(falling(12)))
    steps = np.linalg.norm(np.diff(colours, axis=0), axis=1)
    # Even in OKLab; CIE 1976 judges strong colours differently by up to half.
    assert steps.max() / steps.min() < 2


def test_ramp_meets_its_ends():
    ends = [(0.9, 0.02, 80.0), (0.4, 0.1, 40.0)]
    colours = ramp(ends, 7)
    assert colours.shape == (7, 3)
    np.testing.assert_array_equal(colours[[0, -1]], [ramp([stop, stop], 2)[0] for stop in ends])


@pytest.mark.parametrize("n", [3, 8, 21])
def test_count(n):
    assert inward_outward(n).shape == (n, 3)
