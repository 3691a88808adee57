"""Air that braces and linings take the place of.

Depends on fem/cavity, fem/footprint, fem/locate, fem/plate, fem/section.

A brace or a lining is counted as less depth of air where it stands: air that it displaces is neither compressed nor
moved along it. What is missing is that air has to flow round a brace that lies across its way. Patches, a few thousandths
of the volume, are left out.
"""

import numpy as np
import shapely

from bracedtop.fem.cavity import CavityMesh
from bracedtop.fem.footprint import Points
from bracedtop.fem.locate import Locator
from bracedtop.fem.plate import Space
from bracedtop.fem.section import section_moments
from bracedtop.geometry.box import Lining
from bracedtop.geometry.brace import Brace
from bracedtop.geometry.outline import Array

_STEP = 10e-3
"""Distance of the points along a brace or a lining, m; chosen: a third of a triangle."""


def wooden_parts(cavity: CavityMesh, space: Space) -> tuple[Points, float]:
    """Points on braces and linings, weighted by the volume that each takes, and the sum.

    Returns
    -------
    points : Points
        Weights in m^3.
    volume : float, m^3
    """
    parts = [_brace(brace) for face in (cavity.design, cavity.box.back) for brace in face.braces]
    rim = cavity.design.outline.polygon
    parts += [_lining(lining, rim) for lining in cavity.box.linings]
    xy = np.concatenate([np.zeros((0, 2)), *(place for place, _ in parts)])
    volume = np.concatenate([np.zeros(0), *(taken for _, taken in parts)])
    inside = rim.difference(cavity.blocks)
    kept = shapely.contains_xy(inside, xy[:, 0], xy[:, 1])
    xy, volume = xy[kept], volume[kept]
    if not len(xy):
        return Points(np.zeros(0, dtype=int), np.zeros((2, 0)), np.zeros(0)), 0.0
    element, local = Locator.from_mesh(cavity.plan).locate(xy)
    return Points(element, local, volume), float(volume.sum())


def _brace(brace: Brace) -> tuple[Array, Array]:
    """Points along a brace and the volumes there."""
    n = max(int(np.ceil(brace.length / _STEP)), 2)
    distance = (np.arange(n) + 0.5) * brace.length / n
    xy, _ = brace.position(distance)
    area = section_moments(brace.shape, brace.width, brace.height(distance), np.zeros(n))[:, 0]
    return xy, np.asarray(area * brace.length / n)


def _lining(lining: Lining, rim: shapely.Polygon) -> tuple[Array, Array]:
    """Points along a lining's middle and the volumes there; a lining's section counts as a rectangle."""
    line = rim.buffer(-lining.width / 2)
    rings = [part.exterior for part in shapely.get_parts(line)]
    share = (
        1.0
        if lining.kerf_pitch == 0
        else 1 - lining.kerf_width * lining.kerf_depth / (lining.kerf_pitch * lining.width)
    )
    places, volumes = [np.zeros((0, 2))], [np.zeros(0)]
    for ring in rings:
        n = max(int(np.ceil(ring.length / _STEP)), 8)
        places.append(
            shapely.get_coordinates(shapely.line_interpolate_point(ring, (np.arange(n) + 0.5) * ring.length / n))
        )
        volumes.append(np.full(n, share * lining.width * lining.height * ring.length / n))
    return np.concatenate(places), np.concatenate(volumes)
