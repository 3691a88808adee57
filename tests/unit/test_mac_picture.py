"""The MAC matrix: every figure stands in its cell, legible; and what the ladder says of possible and missing partners.

Contrast: W3C, Web Content Accessibility Guidelines 2.1 (2018), success criterion 1.4.3, 4.5 to 1 for text and 3 to 1
for large text.
"""

import numpy as np
import pytest

from bracedtop.fem.colours import INK, PAPER, falling, tuple_of
from bracedtop.fem.ladder_picture import Rung, ladder_picture
from bracedtop.fem.mac_picture import ShapeColumn, _cell_look, mac_picture
from bracedtop.fem.picture import draw_pictures
from bracedtop.fem.scene import Area, Stroke

MODES = [(1, 81.1), (2, 114.1), (3, 157.7)]
COLUMNS = [ShapeColumn(1, 82.0, 12), ShapeColumn(2, 113.0, 3)]
MAC = np.array([[0.971, 0.0], [0.05, np.nan], [0.333, 1.0]])


def job(n=3, m=2):
    rng = np.random.default_rng(0)
    if (n, m) == (3, 2):
        return mac_picture(MODES, COLUMNS, MAC, [(1, 1), (3, 2)], [(2, 2)])
    columns = [ShapeColumn(j, 50.0 * j, 16) for j in range(1, m + 1)]
    return mac_picture([(i, 50.0 * i) for i in range(1, n + 1)], columns, rng.uniform(0, 1, (n, m)), [])


def luminance(colour):
    c = np.array(colour) / 255
    linear = np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def contrast(a, b):
    high, low = sorted((luminance(a), luminance(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def cells(scene):
    return [s for s in scene.shapes if isinstance(s, Area)]


def test_every_figure_stands_in_its_cell():
    scene = job().scene
    areas = cells(scene)
    assert len(areas) == MAC.size
    by_text = {label.text: label for label in scene.labels}
    for text, value in (("0.97", 0.971), ("0.05", 0.05), ("0.33", 0.333), ("1.00", 1.0), ("0.00", 0.0)):
        label = by_text[text]
        inside = [
            a for a in areas if (a.points.min(axis=0) < (label.x, label.y)).all() and
            (a.points.max(axis=0) > (label.x, label.y)).all()
        ]  # fmt: skip
        assert len(inside) == 1
        assert inside[0].colour == tuple_of(falling(101)[round(100 * value)])
    # Predicted upwards, tapped to the right.
    assert by_text["0.97"].y < by_text["0.05"].y < by_text["0.33"].y
    assert by_text["0.97"].x < by_text["0.00"].x
    assert "–" in by_text


def test_pairs_are_framed_and_possible_ones_thinly():
    strokes = [s for s in job().scene.shapes if isinstance(s, Stroke) and s.colour == INK]
    # With those of the key.
    assert sorted(s.width for s in strokes) == [2.5, 2.5, 6, 6, 6]


@pytest.mark.parametrize("value", np.linspace(0, 1, 101))
def test_figures_are_legible_on_every_shade(value):
    ramp = [tuple_of(c) for c in falling(101)]
    _, ground, ink = _cell_look(float(value), ramp)
    # Where the shade is midway neither ink has 4.5.
    assert contrast(ground, ink) >= min(4.5, max(contrast(ground, INK), contrast(ground, PAPER)))
    assert contrast(ground, ink) > 4


def test_shades_are_told_by_lightness_alone():
    light = [luminance(c) for c in falling(101)]
    assert light == sorted(light, reverse=True)


def test_few_points_are_marked():
    texts = [label.text for label in job().scene.labels]
    assert "2*" in texts
    assert "1" in texts
    assert any(text.startswith("* fewer than 4 points") for text in texts)
    assert not any("fewer" in label.text for label in job(4, 4).scene.labels)


@pytest.mark.parametrize(("n", "m"), [(3, 2), (1, 1), (12, 12), (20, 20), (24, 3)])
def test_all_stays_inside_and_apart(n, m):
    scene = job(n, m).scene
    boxes = np.array([label.box for label in scene.labels])
    assert (boxes[:, :2] >= 0).all()
    assert (boxes[:, 2] <= scene.width).all()
    assert (boxes[:, 3] <= scene.height).all()
    for i, a in enumerate(boxes):
        over = (boxes[:i, 0] < a[2]) & (boxes[:i, 2] > a[0]) & (boxes[:i, 1] < a[3]) & (boxes[:i, 3] > a[1])
        assert not over.any(), [scene.labels[i].text, *(scene.labels[k].text for k in np.flatnonzero(over))]


def test_it_is_drawn(tmp_path):
    drawn = draw_pictures([job()], tmp_path)
    assert drawn.paths[0].name == "mac.png"
    assert drawn.paths[0].stat().st_size > 5_000


RUNGS = [
    Rung(1, 100.0, "bends", 104.0, (2,)),
    Rung(2, 108.0, "twists", 109.0, (1,)),
    Rung(3, 200.0, "2 lines across"),
]


def test_ladder_names_possible_and_missing_partners():
    texts = [label.text for label in ladder_picture(RUNGS, [333.0]).scene.labels]
    assert "mode 1 or 2, +68 cents" in texts
    assert "mode 2 or 1, +16 cents" in texts
    assert "fits no predicted mode" in texts
    assert {"could also belong together", "has no partner"} <= set(texts)
    assert "what the drawing asks for" not in texts


def test_ladder_keeps_its_key_to_what_is_shown():
    texts = [label.text for label in ladder_picture([Rung(1, 100.0, "bends", 100.06)], [], [(1, 99.0)]).scene.labels]
    assert "mode 1, +1 cent" in texts
    assert "what the drawing asks for" in texts
    assert not {"could also belong together", "has no partner"} & set(texts)


def test_a_missing_partner_is_hollow():
    def hollow(scene):
        return sum(isinstance(s, Stroke) and s.colour == PAPER for s in scene.shapes)

    # Mode 3, the stranger, and the key.
    assert hollow(ladder_picture(RUNGS, [333.0]).scene) == 3
    assert hollow(ladder_picture(RUNGS[:2]).scene) == 0
