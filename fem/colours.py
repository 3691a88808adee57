"""Colours of the pictures: ramps of even lightness steps that do not rest on telling red from green."""

import numpy as np

Rgb = tuple[int, int, int]

PAPER: Rgb = (255, 255, 255)
INK: Rgb = (31, 27, 24)
PENCIL: Rgb = (112, 104, 96)
SPRUCE: Rgb = (247, 238, 220)
"""Ground of a top that carries no other colour."""

_FROM_LMS = np.array(
    [
        [4.0767416621, -3.3077115913, 0.2309699292],
        [-1.2684380046, 2.6097574011, -0.3413193965],
        [-0.0041960863, -0.7034186147, 1.7076147010],
    ]
)
_TO_ROOTS = np.array(
    [
        [1.0, 0.3963377774, 0.2158037573],
        [1.0, -0.1055613458, -0.0638541728],
        [1.0, -0.0894841775, -1.2914855480],
    ]
)

Stop = tuple[float, float, float]
"""Lightness 0 to 1, chroma, hue in degrees."""

_STRAW: Stop = (0.965, 0.030, 85.0)
_DEEPEST_BROWN: Stop = (0.33, 0.095, 42.0)
_MIST: Stop = (0.965, 0.015, 240.0)
_DEEPEST_BLUE: Stop = (0.33, 0.105, 262.0)


def srgb(oklab: np.ndarray) -> np.ndarray:
    """Red, green and blue, (n, 3) of 0 to 255, of colours (n, 3) in the OKLab space.

    References
    ----------
    B. Ottosson, "A perceptual color space for image processing", 2020: the two matrices. IEC 61966-2-1: the curve.
    """
    linear = np.clip((np.asarray(oklab) @ _TO_ROOTS.T) ** 3 @ _FROM_LMS.T, 0.0, 1.0)
    coded = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return np.asarray(np.rint(255 * coded), dtype=np.uint8)


def ramp(stops: list[Stop], n: int) -> np.ndarray:
    """Colours (n, 3) of 0 to 255 on the broken line through the stops, in equal steps of perceived difference."""
    L, C, h = np.array(stops).T
    path = np.column_stack([L, C * np.cos(np.radians(h)), C * np.sin(np.radians(h))])
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1))])
    at = np.linspace(0.0, along[-1], n)
    return srgb(np.column_stack([np.interp(at, along, axis) for axis in path.T]))


def inward_outward(n: int) -> np.ndarray:
    """Blue through near white to brown, (n, 3), for a deflection from -1 to 1.

    Blue against brown stays apart under each kind of colour blindness; both ends are equally dark, so neither
    side of a mode looks stronger, and light enough for black lines to show on them.
    """
    blue: list[Stop] = [(0.52, 0.135, 252.0), (0.98, 0.004, 252.0)]
    brown: list[Stop] = [(0.98, 0.010, 75.0), (0.52, 0.125, 50.0)]
    # An odd number has the near white once, in the middle.
    return np.vstack([ramp(blue, (n + 1) // 2), ramp(brown, (n + 1) // 2)[n % 2 :]])


def falling(n: int) -> np.ndarray:
    """Straw to dark brown, (n, 3), lightness falling all the way so that it also reads in black and white."""
    return ramp([_STRAW, (0.68, 0.135, 62.0), _DEEPEST_BROWN], n)


def rising(n: int) -> np.ndarray:
    """Mist to dark blue, (n, 3), as light at every step as `falling`."""
    return ramp([_MIST, (0.68, 0.110, 250.0), _DEEPEST_BLUE], n)


def tuple_of(colour: np.ndarray) -> Rgb:
    """One colour of a ramp as plain integers."""
    red, green, blue = (int(c) for c in colour)
    return red, green, blue
