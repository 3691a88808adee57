"""Pictures are there, have their size, show what they should, and come out without OpenGL too."""

import sys
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from bracedtop.fem import picture, picture_agg, picture_vtk
from bracedtop.fem.colours import inward_outward
from bracedtop.fem.ladder_picture import Rung, ladder_picture, spread
from bracedtop.fem.mode_picture import mode_picture
from bracedtop.fem.picture import DeflectionMap, draw_pictures
from bracedtop.fem.placement import beside
from bracedtop.fem.scene import Area, Field, Label, Scene, Stroke, box, dashes, fitted, printable, text_width
from bracedtop.fem.shaving_picture import StretchShape, nice_limit, plan_picture, shaving_picture, stretch_shapes
from bracedtop.fem.top_view import HEIGHT, frame_of, strip, top_view
from bracedtop.geometry.brace import Brace
from bracedtop.geometry.design import Design, Plate
from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.outline import Hole, polygon_outline
from bracedtop.geometry.patch import Patch

NASTY = [
    "<script>alert(1)</script>",
    "$\\frac{1}{2}$",
    "a|b",
    "long " * 60,
    "line\nbreak\ttab",
    "\N{SNOWMAN}\U0001f3b8 中",
]


def brace(name, path, width=0.01):
    length = float(np.hypot(*np.diff(np.array(path), axis=0).T).sum())
    return Brace(name, "spruce", np.array(path), width, np.array([[0, 0.01], [length, 0.01]]))


def design(names=("long bar", "cross bar")):
    """A rectangle of 400 by 300 mm with a hole, a patch and two braces."""
    return Design(
        polygon_outline([[0, -0.15], [0.4, -0.15], [0.4, 0.15], [0, 0.15]]),
        Plate("spruce", 0.003),
        holes=(Hole(np.array([0.3, 0.0]), np.array([0.04, 0.04])),),
        braces=(brace(names[0], [[0.02, 0.06], [0.38, 0.1]]), brace(names[1], [[0.1, -0.12], [0.12, 0.12]])),
        patches=(
            Patch("plate", "maple", polygon_outline([[0.05, -0.05], [0.1, -0.05], [0.1, 0.05], [0.05, 0.05]]), 0.002),
        ),
    )


def deflection(n=40):
    """One lobe out, near the neck and on the right, one in; the second mode is all out."""
    x, y = np.meshgrid(np.linspace(0, 0.4, n + 1), np.linspace(-0.15, 0.15, n + 1), indexing="ij")
    corner = (np.arange(n)[:, None] * (n + 1) + np.arange(n)).ravel()
    a, b, c, d = corner, corner + n + 1, corner + n + 2, corner + 1
    triangles = np.vstack([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    points = np.column_stack([x.ravel(), y.ravel()])
    hills = [np.exp(-(((points - centre) / 0.05) ** 2).sum(axis=1)) for centre in ((0.32, 0.1), (0.08, -0.1))]
    return DeflectionMap(points, triangles, np.array([hills[0] - hills[1], hills[0] + 0.1]))


def summary(mode=1, name="twists", lines=(1, 1)):
    return SimpleNamespace(mode=mode, hz=187.43, modal_mass=0.1, nodal_lines=lines, name=name, shares={})


def rows(mode=1):
    return [
        SimpleNamespace(brace=b.name, start=k * b.length / 3, stop=(k + 1) * b.length / 3, mode=m, hz_per_mm=v)
        for b in design().braces
        for k, v in enumerate((-1.5, -0.2, 0.1))
        for m in (mode, mode + 1)
    ]


@pytest.fixture(scope="module")
def jobs():
    view, field = top_view(design()), deflection()
    shapes = stretch_shapes(design(), rows(), 1)
    return [
        mode_picture(view, field, summary()),
        mode_picture(view, field, summary(2, "whole top moves as one", (0, 0))),
        shaving_picture(view, field, summary(), shapes),
        plan_picture(view),
        ladder_picture([Rung(1, 187.43, "twists", 190.0), Rung(2, 240.0, "bends")], [300.0], [(1, 185.0)]),
    ]


@pytest.fixture(scope="module")
def drawn(jobs, tmp_path_factory):
    return draw_pictures(jobs, tmp_path_factory.mktemp("pictures") / "made")


def pixels(path):
    with Image.open(path) as image:
        return np.asarray(image.convert("RGB")).astype(int)


def check_files(jobs, result):
    assert [path.name for path in result.paths] == [f"{job.name}.png" for job in jobs]
    for job, path in zip(jobs, result.paths, strict=True):
        image = pixels(path)
        assert image.shape == (job.scene.height, job.scene.width, 3)
        assert (image[0, 0] == 255).all()
        assert len(np.unique(image @ np.array([65536, 256, 1]))) > 20
        assert path.stat().st_size < 200_000


def test_files(jobs, drawn):
    check_files(jobs, drawn)
    assert drawn.note in (None, picture.PLAIN_NOTE)


@pytest.mark.parametrize(
    "command",
    [
        [sys.executable, "-c", f"raise SystemExit({picture_vtk.NO_OPENGL})"],
        [sys.executable, "-c", "import time; time.sleep(60)"],
        ["no-such-program-anywhere"],
    ],
    ids=["no OpenGL", "hangs", "cannot start"],
)
def test_matplotlib_draws_when_the_process_fails(jobs, tmp_path, monkeypatch, command):
    monkeypatch.setattr(picture, "_child_command", lambda job: command)
    monkeypatch.setattr(picture, "CHILD_SECONDS", 0.5)
    result = draw_pictures(jobs[:1], tmp_path)
    check_files(jobs[:1], result)
    assert result.note == picture.PLAIN_NOTE
    assert "\n" not in result.note


def test_both_renderers_draw_the_same(jobs, drawn, tmp_path):
    if drawn.note is not None:
        pytest.skip("no OpenGL library on this machine")
    for job, path in zip(jobs, drawn.paths, strict=True):
        picture_agg.draw_scene(job.scene, tmp_path / "agg.png")
        apart = np.abs(pixels(path) - pixels(tmp_path / "agg.png")).max(axis=2)
        # Edges are smoothed differently; whole areas would differ by more than a hundredth of the picture.
        assert (apart > 60).mean() < 0.01


def test_nothing_to_draw(tmp_path):
    assert draw_pictures([], tmp_path).paths == ()


def test_neck_is_up_and_y_is_right(drawn):
    image = pixels(drawn.paths[0])
    brown, blue = (inward_outward(20)[k].astype(int) for k in (-1, 0))
    at = [np.argwhere(np.abs(image - colour).max(axis=2) < 12).mean(axis=0) for colour in (brown, blue)]
    assert at[0][0] < at[1][0], "out, near the neck, lies above"
    assert at[0][1] > at[1][1], "out, at positive y, lies on the right"


def test_scale_is_true():
    view = top_view(design())
    frame = frame_of(view)
    low, high = frame.place(view.outline).min(axis=0), frame.place(view.outline).max(axis=0)
    np.testing.assert_allclose(high - low, np.array([0.3, 0.4]) * frame.scale)
    job = plan_picture(view)
    bar = next(s for s in job.scene.shapes if isinstance(s, Area) and s.points[:, 1].max() < 60)
    assert np.ptp(bar.points[:, 0]) == pytest.approx(0.1 * frame.scale)
    assert "100 mm" in [label.text for label in job.scene.labels]
    assert frame.place(view.outline).min() >= 0
    assert frame.place(view.outline)[:, 1].max() < HEIGHT


def test_words_of_a_mode(jobs):
    words = [label.text for label in jobs[0].scene.labels]
    assert "Mode 1: 187.4 Hz" in words
    # 187.43 Hz lies between F#3 (185.00 Hz) and G3; 1200 log2(187.43 / 184.997) = 22.6 cents.
    assert "F#3 +23 cents" in words
    assert "twists; node lines: 1 across, 1 along the grain" in words
    assert "seen from inside, neck up" in words
    assert {"+ moves out", "\N{MINUS SIGN} moves in", "stands still"} <= set(words)
    assert words.count("+") == 1
    assert words.count("\N{MINUS SIGN}") == 1
    assert "1 area moves out while 1 area moves in" in jobs[0].alt
    assert "1 area moves out while no area moves in" in jobs[1].alt


def test_words_of_a_shaving_map(jobs):
    words = [label.text for label in jobs[2].scene.labels]
    assert words.count("\N{MINUS SIGN}1.5") >= 2
    assert "Hz per mm" in words
    assert "+0.1" in words


@pytest.mark.parametrize("job", range(5))
def test_no_text_is_clipped(jobs, job):
    scene = jobs[job].scene
    for label in scene.labels:
        left, bottom, right, top = label.box
        assert left >= 0
        assert bottom >= 0
        assert right <= scene.width
        assert top <= scene.height


@pytest.mark.parametrize("name", NASTY)
def test_names_are_only_words(name, tmp_path, recwarn):
    view, field = top_view(design((name, "other"))), deflection()
    job = mode_picture(view, field, summary(name=name))
    ladder = ladder_picture([Rung(1, 100.0, name, 120.0)])
    for scene in (job.scene, plan_picture(view).scene, ladder.scene):
        for label in scene.labels:
            assert label.box[0] >= 0
            assert label.box[2] <= scene.width
    picture_agg.draw_scene(plan_picture(view).scene, tmp_path / "plan.png")
    assert not [w for w in recwarn if issubclass(w.category, UserWarning)]


def test_a_top_without_braces_and_holes():
    bare = Design(polygon_outline([[0, 0], [0.2, 0], [0.2, 0.2], [0, 0.2]]), Plate("spruce", 0.003))
    field = DeflectionMap(
        np.array([[0, 0], [0.2, 0], [0.2, 0.2], [0, 0.2]]), np.array([[0, 1, 2], [0, 2, 3]]), np.ones((1, 4))
    )
    view = top_view(bare)
    assert "no brace" in shaving_picture(view, field, summary(), ()).alt
    assert mode_picture(view, field, summary()).scene.height == HEIGHT
    assert plan_picture(view).alt.endswith("none.")


@pytest.mark.parametrize("size", [(0.03, 0.02), (0.5, 1.6), (2.0, 0.1)])
def test_any_proportions_fit(size):
    length, breadth = size
    outline = polygon_outline([[0, 0], [length, 0], [length, breadth], [0, breadth]])
    view = top_view(Design(outline, Plate("spruce", 0.003)))
    frame = frame_of(view)
    places = frame.place(view.outline)
    assert places.min() > 0
    assert places[:, 0].max() < frame.width
    assert places[:, 1].max() < HEIGHT


def test_strip_of_a_bent_brace():
    bent = brace("bent", [[0.0, 0.0], [0.1, 0.0], [0.1, 0.1]])
    border = strip(bent, 0.05, 0.15)
    np.testing.assert_allclose(border.min(axis=0), [0.05, -0.005], atol=1e-9)
    np.testing.assert_allclose(border.max(axis=0), [0.105, 0.05], atol=1e-9)


def test_stretches_take_one_mode():
    shapes = stretch_shapes(design(), rows(4), 5)
    assert len(shapes) == 6
    assert all(isinstance(shape, StretchShape) for shape in shapes)


@pytest.mark.parametrize(("value", "limit"), [(0.0, 1.0), (0.011, 0.015), (1.0, 1.0), (2.6, 3.0), (98.0, 100.0)])
def test_nice_limit(value, limit):
    assert nice_limit(value) == pytest.approx(limit)


@given(st.lists(st.floats(0, 1000), min_size=1, max_size=14))
@settings(max_examples=50, deadline=None)
def test_spread_keeps_order_and_distance(wanted):
    wanted = sorted(wanted)
    at = np.array(spread(wanted, 50.0, 0.0, 1000.0))
    assert (np.diff(at) >= 50 - 1e-6).all()
    assert at[0] >= 0
    assert at[-1] <= 1000 + 1e-6


def test_spread_leaves_alone_what_fits():
    assert spread([10.0, 100.0, 400.0], 50.0, 0.0, 1000.0) == [10.0, 100.0, 400.0]


@given(st.lists(st.tuples(st.floats(50, 750), st.floats(50, 1100)), min_size=1, max_size=25))
@settings(max_examples=25, deadline=None)
def test_labels_do_not_cover_each_other(middles):
    wanted = [("−1.2", box(x - 40, y - 8, x + 40, y + 8)) for x, y in middles]
    boxes = [label.box for label in beside(wanted, 23, 820)]
    assert boxes
    for i, a in enumerate(boxes):
        for b in boxes[:i]:
            assert a[2] < b[0] or b[2] < a[0] or a[3] < b[1] or b[3] < a[1]


def test_fitted_text():
    assert fitted("short", 30, 500) == ("short", 30)
    text, size = fitted("a much longer line of words", 30, 200)
    assert size == 20
    assert text.endswith("…")
    assert text_width(text, size) <= 200
    assert printable("a\nb\x07 \N{GREEK SMALL LETTER ALPHA}") == "a b? \N{GREEK SMALL LETTER ALPHA}"


def test_dashes_cover_their_share():
    pieces = list(dashes(np.array([[0.0, 0.0], [30.0, 0.0], [30.0, 70.0]]), 10.0, 10.0))
    assert sum(np.hypot(*np.diff(piece, axis=0).T).sum() for piece in pieces) == pytest.approx(50)


def test_concave_areas_and_strokes_have_their_size():
    shape = np.array([[10, 10], [110, 10], [110, 110], [60, 60], [10, 110]], dtype=float)
    scene = Scene(200, 200, (Area(shape, (0, 0, 0)), Stroke(np.array([[20, 160], [180, 160]]), 10, (0, 0, 0))), ())
    dark = picture_agg.drawn(scene)[:, :, 0] < 128
    # 7500 px^2 of area and a bar of 160 by 10 with round ends.
    assert dark.sum() / 4 == pytest.approx(7500 + 1600 + np.pi * 25, rel=0.01)


def test_bands_meet_at_zero():
    points = np.array([[0, 0], [200, 0], [200, 100], [0, 100]], dtype=float)
    field = Field(points, np.array([[0, 1, 2], [0, 2, 3]]), np.array([-1, 1, 1, -1]), (-1, 1), inward_outward(2))
    image = picture_agg.drawn(Scene(200, 100, (field,), ()))
    colours = inward_outward(2)
    np.testing.assert_array_equal(image[100, 190], colours[0])
    np.testing.assert_array_equal(image[100, 210], colours[1])


def test_blank_is_noticed():
    white = np.full((20, 20, 3), 255, dtype=np.uint8)
    assert picture_vtk.is_blank(white)
    assert picture_vtk.is_blank(np.zeros_like(white))
    white[5, 5] = 0
    assert not picture_vtk.is_blank(white)


def test_deflections_that_do_not_fit_are_refused():
    with pytest.raises(DesignError, match="do not fit"):
        DeflectionMap(np.zeros((3, 2)), np.array([[0, 1, 2]]), np.zeros((1, 4)))


def test_label_box_follows_its_alignment():
    left, centre, right = (Label(100, 50, "word", 20, align=align).box for align in ("left", "centre", "right"))
    assert left[0] == pytest.approx(100)
    assert right[2] == pytest.approx(100)
    assert (centre[0] + centre[2]) / 2 == pytest.approx(100)
