"""Sound of a closed box of plain boards (invented): what its faces move, what it loses, what is blocked or held."""

from dataclasses import replace

import numpy as np
import pytest
from reference.air_boxes import WOOD, cuboid

from bracedtop.fem.box_model import BoxModel, BoxValues, closed_box, loss_parts, solve_box
from bracedtop.fem.box_sound import (
    box_field,
    box_mode_sounds,
    box_response,
    box_voice,
    driven_box,
    hole_points,
    radiating,
)
from bracedtop.fem.face_terms import face_deflections
from bracedtop.fem.heard import heard_at, heard_box
from bracedtop.fem.response import direct
from bracedtop.fem.sound_field import SoundField, pressures_in
from bracedtop.fem.voice import voice_of
from bracedtop.fem.wood_table import handbook_wood
from bracedtop.geometry.outline import Hole

LENGTH, WIDTH, DEPTH, RADIUS = 0.48, 0.36, 0.10, 0.045
PARTS = {"sound in front", "sound behind", "top wood", "back wood", "rim", "finish", "air"}
HOLE = Hole((0.33, 0.18), (RADIUS, RADIUS))


@pytest.fixture(scope="module")
def box() -> BoxModel:
    design, closed = cuboid(LENGTH, WIDTH, DEPTH, HOLE)
    return closed_box(design, closed, {WOOD: handbook_wood("spruce_sitka")}, {}, size=0.06, narrow=False)


@pytest.fixture(scope="module")
def field(box: BoxModel) -> SoundField:
    return box_field(box)


def test_faces_have_their_areas_and_places(field: SoundField) -> None:
    assert field.front.weight.sum() == pytest.approx(LENGTH * WIDTH, rel=1e-3)
    assert field.front.weight[field.front.is_hole].sum() == pytest.approx(np.pi * RADIUS**2)
    assert field.back.weight.sum() == pytest.approx(LENGTH * WIDTH)
    assert field.back.xyz[:, 2] == pytest.approx(-DEPTH)


def test_whole_box_moves_its_faces_against_each_other(box: BoxModel, field: SoundField) -> None:
    """A heave of everything is in both bases: the top moves outwards, the back inwards."""
    parts = box.parts
    moved = np.zeros(box.size)
    for name, face, way in (("top", field.front.shapes[~field.front.is_hole], 1.0), ("back", field.back.shapes, -1.0)):
        seen = face[:, parts[name]]
        x = np.linalg.lstsq(seen, np.full(len(seen), way), rcond=None)[0]
        assert seen @ x == pytest.approx(way, abs=1e-6)
        moved[parts[name]] = x
    flow = field.front.weight @ field.front.shapes @ moved + field.back.weight @ field.back.shapes @ moved
    assert flow == pytest.approx(-np.pi * RADIUS**2, rel=1e-2)  # The air in the hole stays where it is.


def test_power_is_accounted_for(box: BoxModel, field: SoundField) -> None:
    modes = radiating(box, solve_box(box, n_modes=20), field)
    found = box_response(box, field=field, modes=modes)
    assert set(found.shares) == PARTS
    assert sum(found.shares.values()) == pytest.approx(np.ones(len(found.hz)), abs=1e-6)
    assert (found.power > 0).all()
    assert min(share.min() for share in found.shares.values()) > -1e-6
    voice = voice_of(found)
    assert sum(voice.shares.values()) == pytest.approx(1.0, abs=1e-6)
    assert box_voice(box, field=field).projection == pytest.approx(voice.projection, abs=0.1)


def test_modes_are_the_whole_system(box: BoxModel, field: SoundField) -> None:
    """Modes up to 1.6 times the highest frequency and the sag, against all unknowns: 1 %."""
    driven = driven_box(box, field=field)
    hz = np.array([90.0, 170.0, 333.0, 610.0])
    found = box_response(box, hz=hz, field=field)
    for f, Y in zip(hz, found.admittance, strict=True):
        exact = 2j * np.pi * f * (driven.force @ direct(driven, float(f)))
        assert abs(Y - exact) < 0.01 * abs(exact)


def test_peak_has_the_width_of_all_losses(box: BoxModel, field: SoundField) -> None:
    """The half-power width of a lone peak of Re Y is its mode's loss factor, radiation included."""
    modes = radiating(box, solve_box(box, n_modes=20), field)
    gaps = np.diff(modes.frequencies) / modes.frequencies[:-1] / modes.loss[:-1]
    at_bridge = np.abs(modes.vectors[:, box.parts["top"]] @ box.drive)
    k = 1 + int(np.argmax(np.minimum(gaps[:-1], gaps[1:]) * (at_bridge[1:-1] > 0.3 * at_bridge.max())))
    f, eta = modes.frequencies[k], modes.loss[k]
    hz = f * (1 + eta * np.linspace(-2, 2, 801))
    real = box_response(box, hz=hz, field=field).power
    above = hz[real > real.max() / 2]
    assert (above[-1] - above[0]) / f == pytest.approx(eta, rel=0.05)
    assert loss_parts(box, modes)["radiation"] == pytest.approx(modes.radiation_loss)


def test_sound_of_modes(box: BoxModel, field: SoundField) -> None:
    modes = radiating(box, solve_box(box, n_modes=8), field)
    for k, sound in enumerate(box_mode_sounds(box, modes, field)):
        assert sound.loss == pytest.approx(modes.radiation_loss[k], rel=1e-6)
        assert sound.monopole + sound.along + sound.across + sound.higher == pytest.approx(1.0, abs=1e-6)


def test_plugs_move_with_the_top(box: BoxModel) -> None:
    blocked = BoxValues(hole_blocked=True)
    shut = box_field(box, blocked)
    x = np.zeros(box.size)
    x[box.parts["top"]] = np.linspace(0, 1, box.top.size)
    assert shut.front.shapes[shut.front.is_hole] @ x == pytest.approx(x[box.parts["top"]] @ box.plug[:, 0])
    found = box_response(box, blocked, np.array([100.0, 200.0]), field=shut)
    assert sum(found.shares.values()) == pytest.approx(np.ones(2), abs=1e-6)


def test_held_rim_with_the_same_field(box: BoxModel, field: SoundField) -> None:
    held = driven_box(box, BoxValues(held=True), field)
    assert len(held.K) == box.size - 3
    found = box_response(box, BoxValues(held=True), np.array([100.0, 200.0]), field=field)
    assert sum(found.shares.values()) == pytest.approx(np.ones(2), abs=1e-6)


def test_points_of_an_elliptical_hole() -> None:
    xy, weight = hole_points(Hole((0.1, 0.2), (0.05, 0.03), 0.3))
    assert weight.sum() == pytest.approx(np.pi * 0.05 * 0.03)
    assert weight @ xy / weight.sum() == pytest.approx([0.1, 0.2])
    along = (xy - [0.1, 0.2]) @ [np.cos(0.3), np.sin(0.3)]
    assert weight @ along**2 == pytest.approx(np.pi * 0.05**3 * 0.03 / 4)


@pytest.mark.slow
def test_heard_of_the_bridge_and_of_a_place(box: BoxModel, field: SoundField) -> None:
    """Solved from the ear back, in modes, against all unknowns driven where the force is."""
    place = np.array([0.14, 0.11])
    found = heard_box(box, field=field, places=place[None])
    heard, driven = found.body.heard, driven_box(box, field=field)
    k = np.array([round(f / heard.spacing) for f in (101.0, 187.0, 402.0)])
    on_axis = box_response(box, hz=heard.hz[k], field=field).on_axis
    assert heard.pressure[k] == pytest.approx(on_axis, rel=0.02)
    assert heard.pressure[0] == found.body.admittance[0] == 0
    force = np.zeros(box.size)
    force[box.parts["top"]] = face_deflections(box.top, place[None])[0]
    elsewhere = replace(driven, force=force[: len(driven.force)])
    assert len(driven.force) == box.size  # Nothing of this box is held.
    hz = heard.hz[k[1:2]]
    velocity = 2j * np.pi * hz[0] * direct(elsewhere, float(hz[0]))
    exact = pressures_in(driven.field, hz, np.eye(box.size))[0, 0] @ velocity
    assert heard_at(found, place).pressure[k[1]] == pytest.approx(exact, rel=0.03)
