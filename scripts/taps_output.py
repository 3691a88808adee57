"""What the taps command writes and prints for other programs: tables as rows, and JSON."""

from typing import Any

import numpy as np

from bracedtop.fem.strike import modal_mass, responses
from bracedtop.fem.sustain import BandDecay
from bracedtop.fem.taps import Taps
from bracedtop.geometry.units import GRAM, MM, note


def modes_rows(taps: Taps) -> list[list[object]]:
    """Measured modes, a line each below the header."""
    rows: list[list[object]] = [
        ["tap", "hz", "std_error_hz", "spread_hz", "note", "cents", "t60_s", "q", "points", "label", "source"]
    ]
    for mode in taps.measured:
        name, deviation = note(mode.hz)
        rows.append(
            [mode.number, digits(mode.hz, 3), digits(mode.std_error_hz, 4), digits(mode.spread_hz, 4), name,
             digits(deviation, 1), digits(mode.decay_time, 4), digits(mode.q, 2),
             len(mode.shape.points) if mode.shape else None, mode.label, mode.source]
        )  # fmt: skip
    return rows


def shapes_rows(taps: Taps) -> list[list[object]]:
    """Points of all shapes, a line each below the header."""
    rows: list[list[object]] = [["tap", "hz", "x_mm", "y_mm", "value", "std_error"]]
    for mode in taps.measured:
        if mode.shape is not None:
            rows += [
                [mode.number, digits(mode.hz, 3), digits(x / MM, 2), digits(y / MM, 2), digits(v, 4), digits(e, 4)]
                for (x, y), v, e in zip(mode.shape.points, mode.shape.values, mode.shape.errors, strict=True)
            ]
    return rows


def sustain_rows(bands: tuple[BandDecay, ...]) -> list[list[object]]:
    """Decay times by bands, a line each below the header."""
    rows: list[list[object]] = [
        [
            "band",
            "from_hz",
            "to_hz",
            "t60_s",
            "spread_s",
            "evaluated",
            "bent_percent",
            "range_db",
            "hits",
            "remark",
        ]
    ]
    rows += [
        [d.band.name, digits(d.band.low, 1), digits(d.band.high, 1), digits(d.decay_time, 4), digits(d.spread, 4),
         d.kind, digits(d.curvature, 1), digits(d.range_db, 1), d.n_hits, d.remark]
        for d in bands
    ]  # fmt: skip
    return rows


def response_rows(taps: Taps) -> dict[str, list[list[object]]]:
    """Frequency responses up to 2.5 kHz, a table a channel."""
    tables = {}
    for placement in taps.placements:
        if placement.hammer_channel is None:
            continue
        for k, one in enumerate(responses(placement), start=1):
            rows: list[list[object]] = [["hz", f"real, {one.unit}", f"imaginary, {one.unit}", "coherence"]]
            inside = np.flatnonzero(one.frequency <= 2500)
            rows += [
                [digits(one.frequency[i], 3), f"{one.response[i].real:.5g}", f"{one.response[i].imag:.5g}",
                 None if one.coherence is None else digits(one.coherence[i], 4)]
                for i in inside
            ]  # fmt: skip
            tables[f"response-{placement.path.stem}-{k}.csv"] = rows
    return tables


def digits(value: float | None, places: int) -> str | None:
    """Number with so many decimal places; None stays None."""
    return None if value is None else f"{value:.{places}f}"


def taps_json(taps: Taps) -> dict[str, Any]:
    """What was measured, for other programs."""
    return {
        "taps": [
            {
                "number": mode.number,
                "hz": mode.hz,
                "std_error_hz": mode.std_error_hz,
                "spread_hz": mode.spread_hz,
                "decay_time_s": mode.decay_time,
                "q": mode.q,
                "label": mode.label,
                "source": mode.source,
                "nodal_lines": list(mode.nodal_lines),
                "tap_point_mm": None if mode.tap_point is None else [value / MM for value in mode.tap_point],
                "node_points_mm": [[value / MM for value in point] for point in mode.nodes],
                "shape": None
                if mode.shape is None
                else {
                    "points_mm": (mode.shape.points / MM).tolist(),
                    "values": mode.shape.values.tolist(),
                    "std_errors": mode.shape.errors.tolist(),
                    "complexity": mode.shape.complexity,
                },
            }
            for mode in taps.measured
        ],
        "recordings": [
            {
                "file": str(recording.path),
                "rate": recording.rate,
                "hits": recording.n_hits,
                "steady_hz": list(recording.steady_hz),
                "peaks": [
                    {
                        "hz": peak.hz,
                        "std_error_hz": peak.std_error_hz,
                        "spread_hz": peak.spread_hz,
                        "decay_time_s": peak.decay_time,
                        "q": peak.q,
                        "level_db": peak.level_db,
                        "hits": peak.n_hits,
                    }
                    for peak in recording.peaks
                ],
                "warnings": list(recording.warnings),
            }
            for recording in taps.recordings
        ],
        "warnings": list(taps.warnings),
    }


def sustain_json(bands: tuple[BandDecay, ...]) -> list[dict[str, Any]]:
    """Decay times by bands, for other programs."""
    return [
        {
            "band": decay.band.name,
            "from_hz": decay.band.low,
            "to_hz": decay.band.high,
            "decay_time_s": decay.decay_time,
            "spread_s": decay.spread,
            "evaluated": decay.kind or None,
            "curvature_percent": decay.curvature,
            "range_db": decay.range_db,
            "hits": decay.n_hits,
            "remark": decay.remark,
        }
        for decay in bands
    ]


def hammer_json(taps: Taps) -> list[dict[str, Any]]:
    """What each recording with a hammer says, for other programs."""
    modes = [taps.measured[number - 1] for number in taps.struck_numbers]
    omega = 2 * np.pi * np.array([mode.hz for mode in modes])
    found = []
    for struck in taps.struck:
        if not struck.by_hammer:
            continue
        masses = modal_mass(struck, omega)
        for channel, response in enumerate(responses(struck.placement)):
            size = np.abs(struck.amplitude[:, channel]).mean(axis=0)
            coherence = response.coherence
            at = np.searchsorted(response.frequency, omega / (2 * np.pi))
            found.append(
                {
                    "file": str(struck.placement.path),
                    "channel": channel + 1,
                    "unit": response.unit,
                    "hits": response.n_hits,
                    "added_decay_per_s": response.window_rate,
                    "modes": [
                        {
                            "number": mode.number,
                            "hz": mode.hz,
                            "after_unit_impulse": float(size[k]),
                            "coherence": None if coherence is None else float(coherence[at[k]]),
                            "modal_mass_g": None if masses is None else float(masses[k]) / GRAM,
                        }
                        for k, mode in enumerate(modes)
                    ],
                }
            )
    return found
