"""All that is said of a closed box in one state: coupled modes, what they lose, its response, its voice, its notes.

Depends on fem/box_lumped, fem/box_modes, fem/box_parts, fem/box_sound, fem/box_values, fem/case_strings, fem/lumped,
fem/response, fem/sound_field, fem/strings, fem/sustain_map, fem/voice.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from bracedtop.fem.box_lumped import lumped_of
from bracedtop.fem.box_modes import N_MODES, BoxModes, loss_parts, solve_box
from bracedtop.fem.box_parts import BoxModel
from bracedtop.fem.box_sound import LOWEST, TOP_FREQUENCY, box_field, driven_box, radiating
from bracedtop.fem.box_values import BoxValues
from bracedtop.fem.case_strings import lossy_strings
from bracedtop.fem.lumped import Lumped
from bracedtop.fem.response import Response, bridge_admittance, bridge_pressure, frequency_grid, respond
from bracedtop.fem.sound_field import SoundField
from bracedtop.fem.strings import StringSet
from bracedtop.fem.sustain_map import N_FRETS, SustainMap, sustain_map
from bracedtop.fem.voice import Voice, voice_of


@dataclass(frozen=True, slots=True, eq=False)
class BoxState:
    """A closed box in one state.

    Parameters
    ----------
    modes : BoxModes
        With radiation.
    losses : mapping of str to (n,) array
        Loss factor of each mode by what it goes to, as `loss_parts`.
    lumped : Lumped
        Top, back and hole as three oscillators.
    response : Response
        From 70 to 1130 Hz.
    voice : Voice
        Its sustain is that of the notes if there are any, else that of one usual string.
    notes : SustainMap or None
        None without strings.
    """

    modes: BoxModes
    losses: Mapping[str, np.ndarray]
    lumped: Lumped
    response: Response
    voice: Voice
    notes: SustainMap | None


def box_state(
    model: BoxModel,
    values: BoxValues | None = None,
    strings: StringSet | None = None,
    *,
    field: SoundField | None = None,
    n_modes: int = N_MODES,
) -> BoxState:
    """Everything about a box as drawn, or with other values.

    Parameters
    ----------
    model : BoxModel
    values : BoxValues, optional
    strings : StringSet, optional
        With notes and a scale length, see `has_notes`.
    field : SoundField, optional
        As for `driven_box`; one serves all states with the same air and holes.
    n_modes : int

    Raises
    ------
    AccuracyError
        If a solution does not pass its checks.
    DesignError, FileError
        If a string's figures cannot be.
    """
    values = values or BoxValues()
    if field is None:
        field = box_field(model, values)
    modes = radiating(model, solve_box(model, values, n_modes=n_modes), field)
    driven = driven_box(model, values, field)
    grid = frequency_grid(LOWEST, TOP_FREQUENCY, resonances=(modes.frequencies, modes.loss))
    response = respond(driven, grid)
    notes = None
    if strings is not None and strings.scale_length is not None and has_notes(strings):
        notes = sustain_map(
            lossy_strings(strings),
            bridge_admittance(driven),
            scale_length=strings.scale_length,
            n_frets=N_FRETS if strings.frets is None else strings.frets,
            highest=field.highest,
            pressure=bridge_pressure(driven),
        )
    return BoxState(
        modes,
        loss_parts(model, modes),
        lumped_of(model, values),
        response,
        voice_of(response, None if notes is None else notes.decay_time),
        notes,
    )


def has_notes(strings: StringSet | None) -> bool:
    """Whether decay times of notes can be told of these strings."""
    if strings is None or strings.scale_length is None:
        return False
    return all(string.frequency is not None for string in strings.strings)
