"""The top as weighted points, each with a section stiffness and a mass: its own wood, and patches.

Depends on fem/footprint, fem/laminate, fem/locate, geometry. Plate and patches are sampled at the triangles' own
integration points; braces are sampled over their glued faces (fem/brace_points), so that they hold the plate over
their width and not along a line.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely

from bracedtop.fem.footprint import Points
from bracedtop.fem.laminate import lamina, layer_mass, layer_stiffness, rotated
from bracedtop.fem.locate import Locator
from bracedtop.fem.wood import Wood
from bracedtop.geometry.design import Design, Plate
from bracedtop.geometry.mesh import TopMesh
from bracedtop.geometry.patch import Patch, patch_thickness_at
from bracedtop.geometry.thickness import thickness_at, triangle_regions

SLIP = 0.065
"""Compliance of the glue's surroundings to slip, in thicknesses over shear moduli of both woods.

For shear entering a layer evenly it would be 2/15 (the quadratic part of the shear that a layer loaded on one face
carries, E. Reissner, J. Appl. Mech. 12 (1945) A69, worked out for one face); near a border, where nearly all of it
enters, the layer is stiffer. Chosen to fit orthotropic solids of bridges and bridge plates, tests/reference."""

MOST = 0.5
"""Part of a triangle under a brace from which on the brace slips in it; chosen: the mesh follows braces, so that
others are splinters along their borders."""

_COVERED = 0.99
"""Part of a triangle under braces from which on it counts as wholly covered; chosen: the rest would be a splinter."""


@dataclass(frozen=True, slots=True)
class TopWood:
    """Where the top's own wood lies, triangle by triangle.

    Parameters
    ----------
    plate : Plate
    locator : Locator
    region : (n_elements,) int array
        Number of the thickness region, -1 for none.
    ring : (n_elements,) bool array
        Whether it belongs to the edge ring.
    """

    plate: Plate
    locator: Locator
    region: np.ndarray
    ring: np.ndarray

    @classmethod
    def from_mesh(cls, design: Design, mesh: TopMesh, locator: Locator) -> "TopWood":
        """The wood of a meshed design."""
        n = mesh.flat.t.shape[1]
        ring = np.zeros(n, dtype=bool)
        ring[np.asarray(mesh.flat.subdomains.get("ring", []), dtype=int)] = True
        return cls(design.plate, locator, triangle_regions(design.plate, mesh.flat.subdomains, n), ring)

    def faces(self, points: Points) -> tuple[np.ndarray, np.ndarray]:
        """Heights of the inside and of the outside face above the reference plane at points, (n,) each, m."""
        plate = self.plate
        inside = np.full(len(points.element), -plate.thickness / 2)
        if plate.grid is None and not plate.regions:
            thickness = np.full(len(inside), plate.thickness)
        else:
            xy = self.locator.positions(points.element, points.local)
            thickness = thickness_at(plate, xy, self.region[points.element])
        return inside, inside + thickness - plate.ring_reduction * self.ring[points.element]


@dataclass(frozen=True, slots=True)
class Group:
    """What one part of the top adds.

    Parameters
    ----------
    part : str
    points : Points
    stiffness : (n, 9, 9) array
        For the plate's strains; (n, 11, 11), with the slip along the glue, for a part that moves by itself.
    mass : (n, 3) array
        Per area, with its moments about the reference plane.
    face : (n,) array or None, m
        Height of the glued face of a part that moves by itself (fem/layer); None: it keeps its section plane with
        the plate.
    angle : (n,) array or None, rad
        Direction of fibres that move by themselves along it only.
    bonds : int array
        Triangles at whose nodes a part that moves by itself is held to the plate's motion.
    """

    part: str
    points: Points
    stiffness: np.ndarray
    mass: np.ndarray
    face: np.ndarray | None = None
    angle: np.ndarray | None = None
    bonds: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=int))


def top_groups(design: Design, wood: Wood, top: TopWood, own: Points) -> list[Group]:
    """The top's own wood at the triangles' own points: "top", and "ring" where it is thinned along the edge."""
    Q, G = rotated(*lamina(wood, "quarter", design.plate.ring_angle, design.plate.runout), design.plate.grain_angle)
    groups = []
    for part, at in (("top", ~top.ring[own.element]), ("ring", top.ring[own.element])):
        points = some(own, at)
        if len(points.weight):
            faces = top.faces(points)
            groups.append(Group(part, points, layer_stiffness(Q, G, *faces), layer_mass(wood.density, *faces)))
    return groups


def patch_groups(
    design: Design,
    woods: Mapping[str, Wood],
    top: TopWood,
    own: Points,
    subdomains: Mapping[str, np.ndarray],
    faces: Sequence[Points],
) -> list[Group]:
    """Patches at the triangles' own points, less what stands under braces.

    Patches inside the top are fitted around the braces, which are glued to the top itself, unless the braces are
    fitted over them (common practice, no source): where a brace stands, the patch is missing, and it is glued to the
    brace's flanks. Triangles wholly under braces are left out; from others the brace's part is taken away again.

    Parameters
    ----------
    own : Points
        The triangles' own, all of them.
    subdomains : mapping of str to int array
        Triangles of each patch, "patch NAME".
    faces : sequence of Points
        Glued faces of all braces and crossings.
    """
    groups = []
    area = np.bincount(own.element, own.weight)
    for patch in design.patches:
        covered = np.zeros(len(area), dtype=bool)
        covered[np.asarray(subdomains[f"patch {patch.name}"], dtype=int)] = True
        missing = []
        bonds = np.zeros(0, dtype=int)
        if patch.side == "inside" and not patch.under_braces:
            missing = [part for points in faces if len((part := some(points, covered[points.element])).weight)]
            missing = [part for part in (_on(patch, part, top.locator) for part in missing) if len(part.weight)]
            taken = sum((np.bincount(part.element, part.weight, len(area)) for part in missing), np.zeros(len(area)))
            bonds = np.flatnonzero(covered & (taken >= MOST * area))
            covered &= taken < _COVERED * area
        for points, sign in ((own, 1.0), *((part, -1.0) for part in missing)):
            part = some(points, covered[points.element])
            if len(part.weight):
                groups.append(_patch_group(design, patch, woods, top, part, sign, bonds))
    return groups


def _on(patch: Patch, points: Points, locator: Locator) -> Points:
    xy = locator.positions(points.element, points.local)
    return some(points, shapely.contains_xy(patch.polygon, xy[:, 0], xy[:, 1]))


def _patch_group(
    design: Design,
    patch: Patch,
    woods: Mapping[str, Wood],
    top: TopWood,
    points: Points,
    sign: float,
    bonds: np.ndarray,
) -> Group:
    plate, wood = design.plate, woods[patch.wood]
    inside, outside = top.faces(points)
    thickness = patch_thickness_at(patch, top.locator.positions(points.element, points.local))
    face = outside if patch.side == "outside" else inside
    low = face if patch.side == "outside" else face - thickness
    Q, G = rotated(*lamina(wood, "quarter", patch.ring_angle, patch.runout), patch.grain_angle)
    own = lamina(woods[plate.wood], "quarter", plate.ring_angle, plate.runout)
    G_top = rotated(*own, plate.grain_angle)[1]
    soft = (outside - inside)[:, None, None] * np.linalg.inv(G_top) + thickness[:, None, None] * np.linalg.inv(G)
    C = np.zeros((len(thickness), 11, 11))
    C[:, :9, :9] = layer_stiffness(Q, G, low, low + thickness)
    C[:, 9:, 9:] = np.linalg.inv(SLIP * soft)
    signed = Points(points.element, points.local, sign * points.weight)
    mass = layer_mass(wood.density, low, low + thickness)
    # One height for all of the patch, or it would jump where the thickness under it does.
    pivot = np.full(len(face), plate.thickness / 2 if patch.side == "outside" else -plate.thickness / 2)
    return Group(f"patch {patch.name}", signed, C, mass, pivot, bonds=bonds)


def slip_stiffness(soft: np.ndarray) -> np.ndarray:
    """Stiffness per area against slip along the glue, (n,) in N/m^3, from thicknesses over shear moduli, m/Pa."""
    return np.asarray(1.0 / (SLIP * soft))


def some(points: Points, at: np.ndarray) -> Points:
    """The points of a selection, by index or mask."""
    return Points(points.element[at], points.local[:, at], points.weight[at])
