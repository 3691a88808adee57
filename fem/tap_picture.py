"""Spectra of the recordings with the modes that were found in them.

Depends on fem/taps, fem/colours.
"""

from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from bracedtop.fem.colours import INK, PENCIL, falling, rising, tuple_of
from bracedtop.fem.recording import Recording
from bracedtop.fem.taps import Measured, Taps
from bracedtop.geometry.errors import FileError

WIDTH_IN, HEIGHT_IN, DPI = 10.0, 3.2, 150
FLOOR_DB = -60.0
MOST_STRIPS = 24
"""Chosen: more make a picture that no program shows whole."""


def plot_spectra(taps: Taps) -> Figure:
    """One strip a recording: its mean spectrum in dB over frequency, each mode marked and numbered.

    Of more than `MOST_STRIPS` recordings the first ones are drawn, and the last strip says so.

    Raises
    ------
    FileError
        If there is no recording.
    """
    if not taps.recordings:
        message = "taps.csv alone has no spectrum; a picture needs a recording in taps/"
        raise FileError(message)
    shown = taps.recordings[:MOST_STRIPS]
    n = len(shown)
    figure = Figure(figsize=(WIDTH_IN, HEIGHT_IN * n), dpi=DPI, layout="constrained")
    FigureCanvasAgg(figure)
    strips = figure.subplots(n, 1, squeeze=False, sharex=True)[:, 0]
    highest = max((peak.hz for recording in shown for peak in recording.peaks), default=1000.0)
    for strip, recording in zip(strips, shown, strict=True):
        _strip(strip, recording, taps.measured)
        strip.set_xlim(recording.frequency[0], min(1.15 * highest, recording.frequency[-1]))
    more = f"; {len(taps.recordings) - n} more recordings are not drawn" if len(taps.recordings) > n else ""
    strips[-1].set_xlabel(f"frequency, Hz{more}")
    return figure


def write_spectra(path: Path, taps: Taps) -> None:
    """Draw the spectra into a PNG file."""
    plot_spectra(taps).savefig(path)


def _strip(strip: Axes, recording: Recording, measured: tuple[Measured, ...]) -> None:
    line, mark = (tuple(c / 255 for c in tuple_of(ramp(5)[k])) for ramp, k in ((rising, 3), (falling, 3)))
    ink, pencil = (tuple(c / 255 for c in colour) for colour in (INK, PENCIL))
    strip.set_title(f"{recording.path.name}, {recording.n_hits} hits", loc="left", color=ink, fontsize=11)
    strip.plot(recording.frequency, np.maximum(recording.level, FLOOR_DB), color=line, linewidth=1.1)
    for hz in recording.steady_hz:
        strip.axvline(hz, color=pencil, linewidth=0.8, linestyle=":")
    for peak in recording.peaks:
        level = float(np.interp(peak.hz, recording.frequency, recording.level))
        number = min(measured, key=lambda mode: abs(mode.hz - peak.hz)).number
        strip.plot(peak.hz, level, marker="v", color=mark, markersize=6)
        strip.annotate(
            f"{number}", (peak.hz, level), xytext=(0, 6), textcoords="offset points", ha="center", color=ink, fontsize=9
        )
    strip.set_ylim(FLOOR_DB, 9)
    strip.set_ylabel("level, dB")
    strip.grid(visible=True, color="0.9", linewidth=0.6)
    strip.set_axisbelow(True)
