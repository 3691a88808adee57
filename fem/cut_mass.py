"""Grams of wood that cuts take.

Depends on geometry/cut, fem/joint_section, fem/section, fem/wood.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from bracedtop.fem.footprint import distance_to
from bracedtop.fem.joint_section import crossing_mass
from bracedtop.fem.section import section_moments
from bracedtop.fem.wood import Wood
from bracedtop.geometry.brace import Brace
from bracedtop.geometry.crossing import Crossing, brace_footprint, butts_of, crossings
from bracedtop.geometry.cut import Cut, cut_brace, cut_design, ring_area
from bracedtop.geometry.design import Design
from bracedtop.geometry.patch import Patch, patch_thickness_at
from bracedtop.geometry.units import GRAM

_ON_PATCH = 5e-3
"""Longest piece of a brace that sits on a patch, m; chosen: the patch's own thickness hardly changes over it."""

_GRID = 32
"""Places along either side of a crossing's block; chosen: the mass of a lap is within 0.01 %."""


@dataclass(frozen=True, slots=True)
class _Site:
    """Where a brace has wood of its own (outside crossings and butted ends), and its crossings."""

    free: shapely.Geometry
    crossings: tuple[Crossing, ...]


def cut_grams(design: Design, woods: Mapping[str, Wood], cuts: Sequence[Cut]) -> tuple[float, ...]:
    """Wood that each cut takes, g.

    Between stations a brace's area is piecewise linear along it in all shapes of section, so that its mass is exact.
    In a crossing's block only wood counts that the notch has left. Of cuts that overlap, each takes what those before
    it leave.

    Parameters
    ----------
    design : Design
        Before the cuts.
    woods : mapping of str to Wood
    cuts : sequence of Cut

    Returns
    -------
    grams : tuple of float
        One a cut.

    Raises
    ------
    DesignError
        If the cuts cannot be made, as from `cut_design`.
    """
    cut_design(design, cuts)
    braces = {brace.name: brace for brace in design.braces}
    sites: dict[str, _Site] = {}
    found = crossings(design)
    taken = []
    for cut in cuts:
        if cut.is_ring:
            kg = woods[design.plate.wood].density * float(ring_area(design).area) * cut.depth_start
        else:
            if cut.part not in sites:
                sites[cut.part] = _site(design, braces[cut.part], found)
            before = _mass(design, woods, braces, cut.part, sites[cut.part])
            braces[cut.part] = cut_brace(braces[cut.part], [cut])
            kg = before - _mass(design, woods, braces, cut.part, sites[cut.part])
        taken.append(kg / GRAM)
    return tuple(taken)


def _site(design: Design, brace: Brace, found: Sequence[Crossing]) -> _Site:
    mine = tuple(crossing for crossing in found if brace.name in (crossing.under, crossing.over))
    free = brace_footprint(brace).intersection(design.region)
    taken = [crossing.polygon for crossing in mine]
    taken += [brace_footprint(design.brace(butt.against)) for butt in butts_of(brace, design)]
    return _Site(free.difference(shapely.union_all(taken)), mine)


def _mass(design: Design, woods: Mapping[str, Wood], braces: Mapping[str, Brace], name: str, site: _Site) -> float:
    """Mass of a brace outside its crossings and of the blocks of these, kg."""
    own = _strip_volume(design, braces[name], site.free) * woods[braces[name].wood].density
    return own + sum(_block_mass(crossing, braces, woods) for crossing in site.crossings)


def _strip_volume(design: Design, brace: Brace, free: shapely.Geometry) -> float:
    under = [p for p in design.patches if p.under_braces and p.polygon.intersects(free)]
    lengths = np.hypot(*np.diff(brace.path, axis=0).T)
    starts = np.concatenate([[0.0], np.cumsum(lengths)])
    knots = np.concatenate([starts, brace.stations[:, 0], _kinks(brace)])
    if under:
        knots = np.concatenate([knots, np.arange(0.0, brace.length, _ON_PATCH)])
    knots = np.unique(np.clip(knots, 0.0, starts[-1]))
    volume = 0.0
    for corner, after, start, length in zip(brace.path[:-1], brace.path[1:], starts[:-1], lengths, strict=True):
        t = (after - corner) / length
        side = brace.width / 2 * np.array([-t[1], t[0]])
        inner = np.unique([0.0, *(knots[(knots > start) & (knots < start + length)] - start), length])
        near, far = (corner + inner[:, None] * t + sign * side for sign in (-1, 1))
        cells = shapely.polygons(np.stack([near[:-1], near[1:], far[1:], far[:-1]], axis=1))
        bare = free.difference(shapely.union_all([patch.polygon for patch in under]))
        pieces: list[tuple[Patch | None, shapely.Geometry]] = [(None, bare)]
        # Patches of one side do not overlap.
        pieces += [(patch, free.intersection(patch.polygon)) for patch in under]
        for patch, place in pieces:
            parts = shapely.intersection(cells, place)
            area = shapely.area(parts)
            xy = shapely.get_coordinates(shapely.centroid(parts[area > 0]))
            # Linear along the cell, so that the value at the centroid times the area is its integral.
            height = brace.height(np.clip((xy - corner) @ t + start, 0.0, brace.length))
            if patch is not None:
                height = np.maximum(height - patch_thickness_at(patch, xy), 0.0)
            section = section_moments(brace.shape, brace.width, height, np.zeros(len(height)))[:, 0]
            volume += float((section * area[area > 0]).sum()) / brace.width
    return volume


def _kinks(brace: Brace) -> np.ndarray:
    """Distances along a rounded brace at which it becomes lower than half its width, m."""
    s, h = brace.stations.T
    low, high = h[:-1] - brace.width / 2, h[1:] - brace.width / 2
    at = (low * high < 0) & (brace.shape == "rounded")
    return np.asarray((s[:-1] + np.diff(s) * low / np.where(at, low - high, 1.0))[at])


def _block_mass(crossing: Crossing, braces: Mapping[str, Brace], woods: Mapping[str, Wood]) -> float:
    pair = (braces[crossing.under], braces[crossing.over])
    middle = [distance_to(brace, np.asarray(crossing.point)) for brace in pair]
    tangents = np.array([brace.position(np.array([s]))[1][0] for brace, s in zip(pair, middle, strict=True)])
    normals = np.column_stack([-tangents[:, 1], tangents[:, 0]])
    unit = (np.arange(_GRID) + 0.5) / _GRID - 0.5
    across = np.stack(np.meshgrid(unit, unit, indexing="ij")).reshape(2, -1) * [[pair[0].width], [pair[1].width]]
    away = np.linalg.solve(normals, across)
    heights = [brace.height(s + t @ away) for brace, s, t in zip(pair, middle, tangents, strict=True)]
    densities = (woods[pair[0].wood].density, woods[pair[1].wood].density)
    areal = crossing_mass(pair, heights[0], heights[1], crossing.kept, np.zeros(_GRID**2), densities)[:, 0]
    return float(areal.mean() * crossing.polygon.area)
