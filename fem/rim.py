"""How stiffly, and with what loss, sides and lining hold the rim of a face.

Depends on fem/loss_factors, fem/rim_section, fem/wood, geometry/box.

The stiff body that the springs act from is the sides at the middle of their depth. Moduli are complex, E (1 + i eta),
in the same formulas, so that the springs' loss factors come along. Per length of rim, mean of places along it:

- deflection: the upper half of the sides squeezed across their grain; half of the lining's width helps over its height.
  A face that rests on the lining alone shears it first, over half its width;
- rotation: a row of two. What is glued to the face gives as an elastic foundation, as deep as it is wide or high,
  whichever is less. Below it the side bends across its grain, stiffened by the lining, the other face's rim a hinge; on
  a curved rim it cannot bulge without stretching along the grain, nor can the lining turn (fem/rim_section). A straight
  side alone has 3 D / depth. Saw cuts leave the lining only its uncut width along the rim;
- in the plane: the mean of pushing the rim outwards, its section bending, and of shearing the sides along the rim.

Left out: transverse shear of side and lining where they bend, glue, and how the sides' own modes (as of plates between
the faces) let the rim go.

References
----------
S. Timoshenko, S. Woinowsky-Krieger, Theory of Plates and Shells (1959), art. 114-115 (edge of a cylinder).
S. Timoshenko, Strength of Materials, part II (1956), art. 34 (twist of a ring, E I / R^2). W. C. Young, R. G. Budynas,
Roark's Formulas for Stress and Strain (2002), ch. 8 (beams on elastic foundation).
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import shapely

from bracedtop.fem.loss_factors import LossFactors
from bracedtop.fem.rim_section import edge_stiffness
from bracedtop.fem.wood import Wood
from bracedtop.geometry.box import Box, Face, Lining
from bracedtop.geometry.outline import Array

STATIONS = 96
"""Places along the rim at which it is looked at; chosen."""

TIGHTEST = 20e-3
"""Least radius that counts, m; chosen: corners are butted there, not bent."""

_SHEAR = 5 / 6


@dataclass(frozen=True, slots=True)
class Rim:
    """Springs along the rim of a face, with their loss factors.

    Parameters
    ----------
    deflection, inplane : float, N/m per m of rim
    rotation : float, N m/rad per m of rim
    deflection_loss, rotation_loss, inplane_loss : float
    """

    deflection: float
    rotation: float
    inplane: float
    deflection_loss: float = 0.0
    rotation_loss: float = 0.0
    inplane_loss: float = 0.0

    @property
    def springs(self) -> np.ndarray:
        """Stiffness of deflection, rotation and stretch, (3,)."""
        return np.array([self.deflection, self.rotation, self.inplane])

    @property
    def losses(self) -> np.ndarray:
        """Their loss factors, (3,)."""
        return np.array([self.deflection_loss, self.rotation_loss, self.inplane_loss])


@dataclass(frozen=True, slots=True)
class _Moduli:
    """Complex moduli of a wood along the rim, upright, and in shear: in the section and along the rim."""

    along: complex
    across: complex
    rolling: complex
    shear: complex

    @classmethod
    def of(cls, wood: Wood, loss: LossFactors) -> "_Moduli":
        return cls(
            wood.E_L * (1 + 1j * loss.along),
            wood.E_R * (1 + 1j * loss.across),
            wood.G_RT * (1 + 1j * loss.across),
            wood.G_LR * (1 + 1j * loss.shear),
        )


def rim_springs(box: Box, face: Face, woods: Mapping[str, Wood], losses: Mapping[str, LossFactors]) -> Rim:
    """Springs along the rim of a face, from the sections and woods of sides and lining.

    Parameters
    ----------
    box : Box
        The outline of its back is the rim's.
    face : {"top", "back"}
    woods : mapping of str to Wood
    losses : mapping of str to LossFactors
        Of woods that are not in it, the usual ones.

    Returns
    -------
    rim : Rim
    """
    lining = box.lining(face)

    def moduli(name: str) -> _Moduli:
        return _Moduli.of(woods[name], losses.get(name, LossFactors()))

    side = moduli(box.sides.wood)
    strip = side if lining is None else moduli(lining.wood)
    x, curvature = rim_curvature(box.back.outline.points)
    depth = box.sides.depth(x)
    edge = _edge(box.sides.thickness, depth, curvature, side, strip, lining)
    found = np.array(
        [
            _deflection(box.sides.thickness, depth, side, strip, lining),
            _row(_glued(box.sides.thickness, side, strip, lining), edge[:, 1, 1]),
            _inplane(box.sides.thickness, depth, edge, side, strip, lining),
        ]
    ).mean(axis=1)
    return Rim(*map(float, found.real), *map(float, found.imag / found.real))


def rim_curvature(points: Array) -> tuple[Array, Array]:
    """Places x along the centreline, evenly along a closed border (n, 2) in m, and its curvature there, 1/m."""
    line = shapely.LinearRing(points)
    step = line.length / STATIONS
    s = step * np.arange(STATIONS)
    at = shapely.get_coordinates(shapely.line_interpolate_point(line, s))
    chord = np.roll(at, -1, axis=0) - at
    angle = np.arctan2(chord[:, 1], chord[:, 0])
    turn = (angle - np.roll(angle, 1) + np.pi) % (2 * np.pi) - np.pi
    return at[:, 0], np.minimum(np.abs(turn) / step, 1 / TIGHTEST)


def _row(*springs: complex | np.ndarray) -> np.ndarray:
    """Springs in a row, each of which may be infinite."""
    return np.asarray(1 / sum(1 / np.asarray(k, dtype=complex) for k in springs))


def _cut(lining: Lining) -> float:
    """Part of the lining's section that saw cuts leave, on the mean."""
    return 1 - (lining.kerf_width * lining.kerf_depth / (lining.kerf_pitch * lining.width) if lining.kerf_pitch else 0)


def _edge(
    thickness: float, depth: np.ndarray, curvature: np.ndarray, side: _Moduli, strip: _Moduli, lining: Lining | None
) -> np.ndarray:
    """Stiffness of the side's upper edge, (n, 2, 2)."""
    height, width, uncut, left = float(depth.min() / 4), 0.0, 0.0, 1.0
    if lining is not None:
        height, width, uncut, left = lining.height, lining.width, lining.width - lining.kerf_depth, _cut(lining)
    bare = side.across * thickness**3 / 12
    # Two layers glued together, about their common middle.
    A, B = side.across * thickness, strip.across * left * width
    apart = (thickness + width) / 2
    both = bare + strip.across * left * width**3 / 12 + A * B / (A + B) * apart**2
    one = np.ones(len(depth))
    hoop = [(side.along * thickness + strip.along * uncut) * curvature**2, side.along * thickness * curvature**2]
    return edge_stiffness(np.minimum(height, depth / 2), depth, np.array([both * one, bare * one]), np.array(hoop))


def _deflection(
    thickness: float, depth: np.ndarray, side: _Moduli, strip: _Moduli, lining: Lining | None
) -> np.ndarray:
    own = side.across * thickness
    if lining is None:
        return np.asarray(2 * own / depth)
    if lining.alone:
        return _row(_sheared(strip, lining), 2 * own / depth)
    high = np.minimum(lining.height, depth / 4)
    return _row((own + strip.across * _cut(lining) * lining.width / 2) / high, own / (depth / 2 - high))


def _sheared(strip: _Moduli, lining: Lining) -> complex:
    """A lining that holds a face by itself, sheared in its section."""
    return _SHEAR * strip.rolling * _cut(lining) * lining.height / (lining.width / 2)


def _glued(thickness: float, side: _Moduli, strip: _Moduli, lining: Lining | None) -> complex:
    """Rotation of the face against what it is glued to."""
    if lining is None:
        return side.across * thickness**2 / 12
    width, modulus = lining.width, strip.across * _cut(lining)
    if not lining.alone:
        width += thickness
        modulus = (modulus * lining.width + side.across * thickness) / width
    return modulus * width**3 / (12 * min(lining.height, width))


def _inplane(
    thickness: float, depth: np.ndarray, edge: np.ndarray, side: _Moduli, strip: _Moduli, lining: Lining | None
) -> np.ndarray:
    outwards = edge[:, 0, 0] - edge[:, 0, 1] ** 2 / edge[:, 1, 1]
    along = 2 * side.shear * thickness / depth
    if lining is not None and lining.alone:
        outwards, along = _row(_sheared(strip, lining), outwards), _row(_sheared(strip, lining), along)
    return np.asarray((outwards + along) / 2)
