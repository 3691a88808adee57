"""Where thinning the outside of the top works on a mode: by place, by sector of the rim, by width of a ring.

Depends on fem/box_modes, fem/box_parts, fem/face_terms, fem/film, fem/laminate, fem/reduced_sample,
geometry/design.

A skin of thickness h on the outside at height z gives and takes energy where it lies: of a mode of mass 1 kg,

    d(omega^2) / dh = integral of  e^T dC/dh e - omega^2 d^T dm/dh d  over its area,

with the strains e and motions d of the middle plane and dC/dh = [Q, z Q; z Q, z^2 Q] of the wood there. So each place
has a density, which a sector or a ring sums.
"""

from dataclasses import dataclass, replace

import numpy as np
import shapely

from bracedtop.fem.box_modes import BoxModes
from bracedtop.fem.box_parts import BoxModel
from bracedtop.fem.face_terms import FaceModel
from bracedtop.fem.face_values import FaceValues
from bracedtop.fem.film import film_lamina
from bracedtop.fem.laminate import lamina, rotated, stiffness_from_moments
from bracedtop.fem.reduced_sample import mass_form, motion_rows, seen, strain_rows
from bracedtop.geometry.box import Finish
from bracedtop.geometry.design import Design

N_SECTORS = 16
"""Parts of the circumference; chosen: a hand's breadth each on a guitar."""

WIDTHS = (10e-3, 15e-3, 20e-3, 25e-3, 30e-3, 40e-3, 50e-3)
"""Widths of rings that are compared, m."""


@dataclass(frozen=True, slots=True)
class RingField:
    """What a skin taken off the outside of the top does to some modes, place by place.

    Parameters
    ----------
    xy : (n, 2) array, m
    weight : (n,) array, m^2
        Area that each point stands for.
    inward : (n,) array, m
        Distance from the rim.
    along : (n,) array
        Place along the rim nearest to it, 0 to 1, from the tail end over positive y.
    in_ring : (n,) bool array
    rate : (m, n) array, Hz/m^3
        Change of each mode's frequency for a skin taken off, per thickness and per area; mostly negative.
    density : float, kg/m^3
        Of the wood.
    thickness_factor : float
    """

    xy: np.ndarray
    weight: np.ndarray
    inward: np.ndarray
    along: np.ndarray
    in_ring: np.ndarray
    rate: np.ndarray
    density: float
    thickness_factor: float

    def ring_rate(self, width: float | None = None) -> np.ndarray:
        """Change of each mode's frequency per thickness taken off a ring of this width, or off the model's, Hz/m."""
        inside = self.in_ring if width is None else self.inward <= width
        return np.asarray(self.rate[:, inside] @ self.weight[inside] * self.thickness_factor)

    def ring_area(self, width: float | None = None) -> float:
        """Area of a ring of this width, or of the model's, m^2."""
        inside = self.in_ring if width is None else self.inward <= width
        return float(self.weight[inside].sum())

    def sector_shares(self, mode: int, n: int = N_SECTORS) -> tuple[np.ndarray, np.ndarray]:
        """Parts of the ring's effect on a mode by sector, (n,), and each sector's part of its area, (n,).

        The first sector has the tail end in its middle; the others follow over positive y.
        """
        which = np.floor(self.along * n + 0.5).astype(int) % n
        effect = np.where(self.in_ring, self.rate[mode] * self.weight, 0.0)
        area = np.where(self.in_ring, self.weight, 0.0)
        shares = np.bincount(which, effect, n), np.bincount(which, area, n)
        return shares[0] / shares[0].sum(), shares[1] / shares[1].sum()


def ring_field(model: BoxModel, modes: BoxModes) -> RingField:
    """What a skin taken off the top's outside does to coupled modes, at the values that they were solved for.

    Parameters
    ----------
    model : BoxModel
    modes : BoxModes
    """
    face, values = model.top, modes.values.top
    x = face.vectors @ modes.vectors[:, model.parts["top"]].T
    lam = (2 * np.pi * modes.frequencies) ** 2
    finish = values.finish or face.finish
    Q, G, density = _wood(face, values)
    parts = []
    plate = face.model
    for group in plate.groups:
        if group.part not in ("top", "ring"):
            continue
        inside, outside = plate.top.faces(group.points)
        is_ring, weight = group.part == "ring", np.asarray(group.points.weight)
        z = inside + values.thickness * (outside - inside - (values.ring if is_ring else 0.0))
        moments = np.stack([np.ones_like(z), z, z**2], axis=-1)
        C, mass = stiffness_from_moments(Q, G, moments), density * moments
        if finish is not None:
            film, heavier = _film(finish, z)
            C, mass = C + film, mass + heavier
        e = seen(strain_rows(plate.space, plate.layers, group), x, len(z))
        d = seen(motion_rows(plate.space, plate.layers, group), x, len(z))
        stiff = np.einsum("nsm,nst,ntm->mn", e, C, e, optimize=True)
        heavy = np.einsum("nsm,nst,ntm->mn", d, mass_form(mass), d, optimize=True)
        rate = -(stiff - lam[:, None] * heavy) / (8 * np.pi**2 * modes.frequencies[:, None])
        xy = plate.locator.positions(group.points.element, group.points.local)
        parts.append((xy, weight, np.full(len(z), is_ring), rate.T))
    xy, weight, in_ring, rate = (np.concatenate(part) for part in zip(*parts, strict=True))
    inward, along = rim_places(face.model.design, xy)
    return RingField(xy, weight, inward, along, in_ring, rate.T, density, values.thickness)


def rim_line(design: Design) -> shapely.LineString:
    """The outline from the middle of the tail end over its side of greater y and back to it."""
    line = shapely.LineString(np.vstack([design.outline.points, design.outline.points[:1]]))
    x0, y0, _, y1 = line.bounds
    middle = (y0 + y1) / 2
    start = line.project(shapely.Point(x0 - 1.0, middle))
    n = 2000
    at = (start + line.length * np.arange(n + 1) / n) % line.length
    points = shapely.get_coordinates(shapely.line_interpolate_point(line, at))
    turned = points if points[n // 20, 1] > middle else points[::-1]
    return shapely.LineString(turned)


def rim_places(design: Design, xy: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Distance of points (n, 2) from the rim, (n,) in m, and the place along it nearest to them, (n,) from 0 to 1."""
    line = rim_line(design)
    points = shapely.points(xy)
    return shapely.distance(points, line), shapely.line_locate_point(line, points) / line.length


def _wood(face: FaceModel, values: FaceValues) -> tuple[np.ndarray, np.ndarray, float]:
    plate = face.model.design.plate
    wood = face.model.woods[plate.wood]
    wood = replace(
        wood,
        E_L=wood.E_L * values.E_L,
        E_R=wood.E_R * values.E_R,
        G_LR=wood.G_LR * values.G_LR,
        density=wood.density * values.density,
    )
    Q, G = rotated(*lamina(wood, "quarter", plate.ring_angle, plate.runout), plate.grain_angle)
    return Q, G, wood.density


def _film(finish: Finish, z: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Change of a film's section stiffness (n, 9, 9) and mass moments (n, 3) as the face under it rises."""
    Q, G = film_lamina(finish)
    t = finish.thickness
    moments = np.stack([np.zeros_like(z), np.full_like(z, t), (z + t) ** 2 - z**2], axis=-1)
    mass = finish.mass * np.stack([np.zeros_like(z), np.ones_like(z), 2 * z], axis=-1)
    return stiffness_from_moments(Q, G, moments), mass
