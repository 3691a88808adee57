"""Sound of a closed box: what its faces and holes radiate, its response at the bridge, its voice.

Depends on fem/box_matrices, fem/box_modes, fem/box_parts, fem/box_values, fem/face_terms, fem/mode_sound,
fem/radiation, fem/response, fem/sound_field, fem/voice.

The back is seen through the box; it lies below the top by the depth of the sides. Rim, linings and sides have no
surface of their own: they are heard as what they let the back and the whole box do.
"""

import numpy as np

from bracedtop.fem.box_matrices import box_matrices, loss_matrices
from bracedtop.fem.box_modes import BoxModes, solve_box, with_radiation
from bracedtop.fem.box_parts import BoxModel, hole_points
from bracedtop.fem.box_values import BoxValues
from bracedtop.fem.face_terms import Surface, surface
from bracedtop.fem.mode_sound import ModeSound, mode_sounds
from bracedtop.fem.radiation import Real
from bracedtop.fem.response import Driven, Response, frequency_grid, radiation_loss, respond
from bracedtop.fem.sound_field import HIGHEST, Radiator, SoundField, of_unknowns, sound_field
from bracedtop.fem.voice import Voice, voice_of

DEGREE = 2
"""Of the rule over the faces; chosen: three points a triangle."""

LOWEST = 70.0
"""Where a curve begins, Hz; chosen: below the third-octave band of 80 Hz."""

TOP_FREQUENCY = 1130.0
"""Where it ends, Hz; chosen: above the band of 1 kHz."""


def box_field(model: BoxModel, values: BoxValues | None = None, highest: float = HIGHEST) -> SoundField:
    """What all unknowns of a box radiate, up to `highest` in Hz.

    Of the values only the temperature and whether the holes are blocked matter: one table serves all rings, rims, films
    and woods.
    """
    values = values or BoxValues()
    gas = box_matrices(model, values).gas
    front = _front(model, values.hole_blocked)
    return sound_field(front, _back(model, front), gas, highest)


def driven_box(model: BoxModel, values: BoxValues | None = None, field: SoundField | None = None) -> Driven:
    """A box whose bridge is driven outwards.

    Parameters
    ----------
    model : BoxModel
    values : BoxValues, optional
    field : SoundField, optional
        Of the same model at the same temperature, holes open or blocked as in the values; made if not given.
    """
    values = values or BoxValues()
    m = box_matrices(model, values)
    if field is None:
        field = box_field(model, values)
    free = np.ix_(m.free, m.free)
    losses = {name: H[free] for name, H in loss_matrices(model, values).items()}
    return Driven(m.K[free], m.M[free], losses, _force(model)[m.free], of_unknowns(field, m.free))


def radiating(model: BoxModel, modes: BoxModes, field: SoundField | None = None) -> BoxModes:
    """The same modes with their loss by radiation.

    Parameters
    ----------
    model : BoxModel
    modes : BoxModes
    field : SoundField, optional
        As for `driven_box`.
    """
    if field is None:
        field = box_field(model, modes.values)
    M = box_matrices(model, modes.values).M
    return with_radiation(modes, radiation_loss(field, modes.frequencies, modes.vectors.T, M))


def box_response(
    model: BoxModel,
    values: BoxValues | None = None,
    hz: Real | None = None,
    *,
    field: SoundField | None = None,
    modes: BoxModes | None = None,
) -> Response:
    """Answer of a box to a force at its bridge.

    Parameters
    ----------
    model : BoxModel
    values : BoxValues, optional
    hz : (f,) array, Hz, optional
        From `LOWEST` to `TOP_FREQUENCY`, finer around the modes, if not given.
    field : SoundField, optional
        As for `driven_box`.
    modes : BoxModes, optional
        Around which the frequencies are finer.

    Raises
    ------
    AccuracyError
        If the matrices cannot be reduced, or a frequency lies beyond the field's.
    """
    if hz is None:
        resonances = None if modes is None else (modes.frequencies, modes.loss)
        hz = frequency_grid(LOWEST, TOP_FREQUENCY, resonances=resonances)
    return respond(driven_box(model, values, field), hz)


def box_voice(
    model: BoxModel,
    values: BoxValues | None = None,
    *,
    field: SoundField | None = None,
    decay_times: Real | None = None,
) -> Voice:
    """What is said of the sound of a box.

    Parameters
    ----------
    model : BoxModel
    values : BoxValues, optional
    field : SoundField, optional
        As for `driven_box`.
    decay_times : array, s, optional
        Of all notes; of one string on all of them if not given.
    """
    if field is None:
        field = box_field(model, values)
    modes = radiating(model, solve_box(model, values), field)
    return voice_of(box_response(model, values, field=field, modes=modes), decay_times)


def box_mode_sounds(model: BoxModel, modes: BoxModes, field: SoundField | None = None) -> tuple[ModeSound, ...]:
    """Sound of each mode of a box at its own frequency, per newton at the bridge.

    Parameters
    ----------
    model : BoxModel
    modes : BoxModes
        With radiation, see `radiating`.
    field : SoundField, optional
        As for `driven_box`.
    """
    if field is None:
        field = box_field(model, modes.values)
    M = box_matrices(model, modes.values).M
    return mode_sounds(field, modes.frequencies, modes.vectors.T, M, _force(model), modes.loss)


def _front(model: BoxModel, blocked: bool) -> Radiator:
    """The top and the air, or the plugs, in its holes."""
    over = surface(model.top, DEGREE)
    xy, weight, shapes = [over.xy], [over.weight], [_among(model, "top", over.deflection)]
    for k, hole in enumerate(model.design.holes):
        points, area = hole_points(hole)
        moved = np.zeros(model.size)
        if blocked:
            moved[model.parts["top"]] = model.plug[:, k]
        else:
            moved[model.parts["hole"].start + k] = 1.0
        xy.append(points)
        weight.append(area)
        shapes.append(np.tile(moved, (len(points), 1)))
    points = np.concatenate(xy)
    is_hole = np.arange(len(points)) >= len(over.xy)
    flat = np.column_stack([points, np.zeros(len(points))])
    return Radiator(flat, np.concatenate(weight), np.concatenate(shapes), is_hole)


def _back(model: BoxModel, front: Radiator) -> Radiator:
    """The back; a rigid one lies behind the top and stands still."""
    if model.back is None:
        under = Surface(front.xyz[:, :2], front.weight, np.zeros((len(front.weight), 0)))
    else:
        under = surface(model.back, DEGREE)
    xyz = np.column_stack([under.xy, -model.box.sides.depth(under.xy[:, 0])])
    return Radiator(xyz, under.weight, _among(model, "back", under.deflection), np.zeros(len(xyz), dtype=bool))


def _among(model: BoxModel, part: str, deflection: Real) -> Real:
    """A part's deflections (n, r) among all unknowns, (n, N)."""
    out = np.zeros((len(deflection), model.size))
    out[:, model.parts[part]] = deflection
    return out


def _force(model: BoxModel) -> Real:
    out = np.zeros(model.size)
    out[model.parts["top"]] = model.drive
    return out
