"""Samples of a recording, and what is wrong with the file.

Depends on geometry/errors.
"""

import struct
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

from bracedtop.geometry.errors import FileError

LOWEST_RATE = 4000
HIGHEST_RATE = 768_000
LONGEST_S = 600.0
MOST_CHANNELS = 64
SILENT = 10 ** (-80 / 20)
"""Largest magnitude of a silent recording; chosen: three steps of 16 bits."""

FORMATS = ("WAV", "WAVEX", "RF64", "FLAC")


@dataclass(frozen=True, slots=True)
class Sound:
    """One channel of a recording.

    Parameters
    ----------
    samples : (n,) array
        Between -1 and 1 in the file's full scale.
    rate : int
        Samples per second.
    clipped : (m,) array of int
        Samples in stretches of two or more at full scale.
    n_channels, channel : int
        Number of channels in the file and the one taken, counted from 1.
    """

    samples: NDArray[np.float64]
    rate: int
    clipped: NDArray[np.intp]
    n_channels: int
    channel: int


def read_sound(path: Path, channel: int | None = None) -> Sound:
    """Read one channel of a WAV or FLAC file.

    Parameters
    ----------
    path : Path
    channel : int, optional
        Counted from 1. If not given, of several channels the loudest that is not clipped is taken: two microphones
        hear a mode with different phases, and their average may cancel it.

    Raises
    ------
    FileError
        If the file is not a whole WAV or FLAC file, is empty, silent or longer than ten minutes, has samples that
        are not numbers, fewer than 4000 samples a second, or no such channel.
    """
    values, rate = _read(path)
    n_channels = values.shape[1]
    if channel is not None and not 1 <= channel <= n_channels:
        message = f"{path}: channel {channel} is asked for; the file has {n_channels}"
        raise FileError(message)
    channels = [(len(_clipped(values[:, k])) > 0, -float((values[:, k] ** 2).sum()), k) for k in range(n_channels)]
    k = min((c for c in channels if c[1] < 0.01 * min(d[1] for d in channels)), default=min(channels))[2]
    if channel is not None:
        k = channel - 1
        if np.abs(values[:, k]).max() < SILENT:
            message = f"{path}: channel {channel} is silent; check its microphone and gain"
            raise FileError(message)
    return _channel(values, rate, k, float(np.abs(values[:, k]).max()))


def read_channels(path: Path) -> tuple[Sound, ...]:
    """Every channel of a WAV or FLAC file, in the file's order and to one scale.

    Raises
    ------
    FileError
        As `read_sound`.
    """
    values, rate = _read(path)
    largest = float(np.abs(values).max())
    return tuple(_channel(values, rate, k, largest) for k in range(values.shape[1]))


def _channel(values: NDArray[np.float64], rate: int, k: int, largest: float) -> Sound:
    samples = values[:, k].copy()
    clipped = _clipped(samples)
    # Floating-point files may go beyond full scale; the shapes of decays do not depend on the unit.
    return Sound(samples / max(1.0, largest), rate, clipped, values.shape[1], k + 1)


def _read(path: Path) -> tuple[NDArray[np.float64], int]:
    """All channels (n, n_channels) of a sound file that can be used, and its rate."""
    _check_whole(path)
    try:
        with soundfile.SoundFile(path) as file:
            rate, n_channels = int(file.samplerate), int(file.channels)
            if file.format not in FORMATS:
                message = f"{path}: is {file.format}; must be a WAV or FLAC file"
                raise FileError(message)
            if not LOWEST_RATE <= rate <= HIGHEST_RATE:
                message = (
                    f"{path}: {rate} samples a second; must be {LOWEST_RATE} to {HIGHEST_RATE} to hold a top's modes"
                )
                raise FileError(message)
            if n_channels > MOST_CHANNELS:
                message = f"{path}: {n_channels} channels; at most {MOST_CHANNELS} are read"
                raise FileError(message)
            if not 0 < file.frames <= LONGEST_S * rate:
                length = f"{file.frames / rate:.0f} s long" if file.frames > 0 else "holds no samples"
                message = f"{path}: {length}; must be a recording of at most {LONGEST_S:.0f} s"
                raise FileError(message)
            values = file.read(dtype="float64", always_2d=True)
    except (soundfile.SoundFileError, TypeError, ValueError) as error:
        reason = getattr(error, "error_string", str(error))
        message = f"{path}: is not a readable WAV or FLAC file ({' '.join(reason.split())})"
        raise FileError(message) from error
    except MemoryError as error:
        message = f"{path}: its header promises more samples than fit into memory; record or copy it again"
        raise FileError(message) from error
    if not len(values):
        message = f"{path}: holds no samples; must be a recording of at most {LONGEST_S:.0f} s"
        raise FileError(message)
    if not np.isfinite(values).all():
        message = f"{path}: sample {int(np.flatnonzero(~np.isfinite(values).all(axis=1))[0])} is not a number"
        raise FileError(message)
    largest = np.abs(values).max()
    if largest < SILENT:
        message = f"{path}: is silent (largest sample {largest:.1g} of full scale); check the microphone and its gain"
        raise FileError(message)
    return values, rate


def _clipped(samples: NDArray[np.float64]) -> NDArray[np.intp]:
    """Samples in stretches of two or more at full scale; one alone is how a normalised recording looks."""
    at_limit = np.abs(samples) >= 1.0 - 1e-4
    flat = np.zeros_like(at_limit)
    same = at_limit[1:] & at_limit[:-1] & (np.sign(samples[1:]) == np.sign(samples[:-1]))
    flat[1:] |= same
    flat[:-1] |= same
    return np.flatnonzero(flat)


def _check_whole(path: Path) -> None:
    """Refuse a WAV file that ends before its header says; the reading library would take what is left."""
    try:
        with path.open("rb") as file:
            head = file.read(12)
            size = file.seek(0, 2)
            if not size:
                message = f"{path}: is empty; must be a WAV or FLAC file"
                raise FileError(message)
            if head[:4] != b"RIFF" or head[8:12] != b"WAVE":
                return
            place = 12
            while place + 8 <= size:
                file.seek(place)
                name, length = struct.unpack("<4sI", file.read(8))
                # Programs that write to a pipe leave the length at its largest value.
                if name == b"data" and length != 0xFFFFFFFF and place + 8 + length > size:
                    message = (
                        f"{path}: is cut short: its header promises {length} bytes of sound, the file holds "
                        f"{size - place - 8}; record or copy it again"
                    )
                    raise FileError(message)
                if name == b"data":
                    return
                place += 8 + length + length % 2
    except OSError as error:
        message = f"{path}: cannot be read ({error.strerror})"
        raise FileError(message) from error
