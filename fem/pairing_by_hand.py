"""A pairing as the maker has corrected it.

Depends on fem/match, fem/taps, geometry/errors, geometry/units.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from bracedtop.fem.match import Pair, Pairing, Real
from bracedtop.fem.taps import Measured
from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.units import cents


def by_hand(pairing: Pairing, chosen: Mapping[int, int], predicted_hz: Real, measured: Sequence[Measured]) -> Pairing:
    """Pairing in which some measured modes are paired as chosen, and no longer a close call.

    A tap that the pairing had given to a chosen mode stays alone; nothing else is paired anew, so that a choice changes
    what it says and no more.

    Parameters
    ----------
    pairing : Pairing
    chosen : mapping of int to int
        Predicted mode, 1 for the lowest, by the measured mode's number; 0 where it is no mode of the model.
    predicted_hz : (n,) array
    measured : sequence of Measured

    Raises
    ------
    DesignError
        If a mode or a tap does not exist, or a mode is chosen twice.
    """
    number = {mode.number: j for j, mode in enumerate(measured)}
    modes = [mode for mode in chosen.values() if mode]
    for tap, mode in chosen.items():
        if tap not in number or not 0 <= mode <= len(predicted_hz):
            message = (
                f"tap {tap} paired with mode {mode}; taps are numbered from 1 to {len(measured)}, modes from 1 to "
                f"{len(predicted_hz)}, and 0 means none"
            )
            raise DesignError(message)
        if mode and modes.count(mode) > 1:
            message = f"mode {mode} is chosen for two taps; one tap a mode is allowed"
            raise DesignError(message)
    kept = [p for p in pairing.pairs if p.number not in chosen and p.mode not in modes]
    pairs = {p.mode: replace(p, ambiguous_with=tuple(m for m in p.ambiguous_with if m not in modes)) for p in kept}
    known = {(p.mode, p.number): p for p in pairing.pairs}
    for tap, mode in chosen.items():
        if mode:
            own = known.get((mode, tap)) or _pair(pairing, mode, tap, number[tap], predicted_hz, measured)
            pairs[mode] = replace(own, ambiguous_with=())
    taken = {p.number for p in pairs.values()}
    return replace(
        pairing,
        pairs=tuple(pairs[mode] for mode in sorted(pairs)),
        unpaired_predicted=tuple(mode for mode in range(1, len(predicted_hz) + 1) if mode not in pairs),
        unpaired_measured=tuple(mode.number for mode in measured if mode.number not in taken),
    )


def _pair(pairing: Pairing, mode: int, tap: int, j: int, predicted_hz: Real, measured: Sequence[Measured]) -> Pair:
    predicted, heard = float(np.asarray(predicted_hz)[mode - 1]), measured[j].hz
    mac = math.nan if pairing.mac is None else float(pairing.mac[mode - 1, j])
    return Pair(
        mode=mode,
        number=tap,
        predicted_hz=predicted,
        measured_hz=heard,
        difference_hz=heard - predicted,
        difference_cents=cents(heard, predicted),
        # The maker knows better than what was seen.
        cost=0.0,
        ambiguous_with=(),
        mac=None if math.isnan(mac) else mac,
    )
