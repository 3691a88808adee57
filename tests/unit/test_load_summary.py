"""What is said about a loaded top: where it dips and bellies, which side is stretched, and its picture.

A plate pulled toward the neck above its face dips in front of the bridge and bellies behind it: the lever of statics.
"""

import numpy as np
import pytest
from reference.plates import TRIAL_WOOD, WOOD, rectangle

from bracedtop.fem.load_picture import load_picture
from bracedtop.fem.load_summary import LoadSummary, StressLine, load_summary
from bracedtop.fem.model import build_model
from bracedtop.fem.scene import Field
from bracedtop.fem.strength import LONG_TERM_STRENGTH, Strength, handbook_strength
from bracedtop.fem.strings import String, StringSet
from bracedtop.fem.top_view import top_view
from bracedtop.geometry.brace import Brace
from bracedtop.geometry.design import Design, Edge, Plate
from bracedtop.geometry.outline import Hole, polygon_outline
from bracedtop.geometry.patch import Patch

BRIDGE = polygon_outline([[0.17, 0.09], [0.20, 0.09], [0.20, 0.21], [0.17, 0.21]])
STRINGS = StringSet((String("a", 50.0), String("b", 60.0)), 12e-3, spread=0.05)


@pytest.fixture(scope="module")
def summary() -> LoadSummary:
    path = np.array([[0.1, 0.05], [0.3, 0.05]])
    design = Design(
        rectangle(0.4, 0.3),
        Plate(WOOD, 2.8e-3),
        holes=(Hole(np.array([0.32, 0.15]), np.array([0.04, 0.04])),),
        braces=(Brace("keel", WOOD, path, 7e-3, np.array([[0.0, 8e-3], [0.2, 8e-3]])),),
        patches=(Patch("bridge", WOOD, BRIDGE, 6e-3, "outside", np.pi / 2, is_bridge=True),),
        edge=Edge("hinged"),
    )
    model = build_model(design, {WOOD: TRIAL_WOOD}, size=0.03)
    return load_summary(model, STRINGS, {WOOD: handbook_strength("spruce_sitka")})


def test_signs_and_places(summary: LoadSummary) -> None:
    assert summary.pull == pytest.approx(110.0)
    assert summary.moment == pytest.approx(110.0 * 12e-3)
    assert summary.push == 0.0
    assert summary.rotation > 0
    assert summary.dip is not None
    assert summary.belly is not None
    assert summary.dip.deflection < 0 < summary.belly.deflection
    assert 0.20 < summary.dip.place[0] < 0.28
    assert summary.belly.place[0] < 0.17
    for spot in (summary.dip, summary.belly):
        assert 0.09 <= spot.place[1] <= 0.21
        assert abs(spot.deflection) <= abs(summary.largest.deflection) * (1 + 1e-12)


def test_lines(summary: LoadSummary) -> None:
    lines = {(line.part, line.kind): line for line in summary.lines}
    shear = lines["bridge", "shear in the glue, mean"]
    assert shear.stress == pytest.approx(110.0 / (0.03 * 0.12), rel=2e-3)
    pull = lines["bridge", "pull on the glue"]
    # 6 M / (b l^2) at the rear edge, of a stiff foot on an even glue line.
    assert pull.stress == pytest.approx(6 * summary.moment / (0.12 * 0.03**2), rel=1e-6)
    assert pull.where.startswith("x 170, ")
    assert {part for part, _ in lines} == {"top", "bridge", "brace keel"}
    assert all(line.share is not None and 0 <= line.share < 1 for line in summary.lines)


def test_shares() -> None:
    line = StressLine("top", "stretched", 2e6, 10e6, "here")
    assert line.share == pytest.approx(0.2)
    assert line.lasting_share == pytest.approx(0.2 / LONG_TERM_STRENGTH)
    unknown = StressLine("top", "stretched", 2e6, Strength().bending, "here")
    assert unknown.share is None
    assert unknown.lasting_share is None


def test_picture(summary: LoadSummary) -> None:
    job = load_picture(top_view(summary.static.model.design), summary)
    assert job.name == "load"
    texts = [label.text for label in job.scene.labels]
    assert any(text.startswith("dip \N{MINUS SIGN}1.") for text in texts)
    assert any(text.startswith("belly +0.") for text in texts)
    assert any("110 N toward the neck" in text for text in texts)
    field = next(shape for shape in job.scene.shapes if isinstance(shape, Field))
    assert np.abs(field.values).max() <= field.limits[1] * (1 + 1e-12)
    assert "the bridge turns" in job.alt
    assert "dip of" in job.alt
