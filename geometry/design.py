"""The whole drawing of a top in SI units."""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import shapely

from bracedtop.geometry.brace import Brace
from bracedtop.geometry.dome import Dome
from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.mass import PointMass
from bracedtop.geometry.outline import Array, Hole, Outline
from bracedtop.geometry.patch import Patch
from bracedtop.geometry.thickness import ThicknessGrid, ThicknessRegion


@dataclass(frozen=True, slots=True)
class Plate:
    """The plate itself.

    Its wood lies between an inside face half of the nominal thickness below the reference plane and an outside face
    `thickness_at` above that (geometry/thickness).

    Parameters
    ----------
    wood : str
    thickness : float, m
        Nominal, wherever neither a region nor a grid says otherwise.
    grain_angle : float, rad
        Anticlockwise from x.
    ring_width : float, m
        Width of the ring along the rim whose thickness is reduced on the outside; 0 for none.
    ring_reduction : float, m
    regions : tuple of ThicknessRegion
        Where they overlap, the later one counts.
    grid : ThicknessGrid or None
    dome : Dome or None
        None for a flat top.
    ring_angle : float, rad
        Of the growth rings, turned about the grain: 0 quarter-sawn (rings upright to the face), a right angle
        flat-sawn.
    runout : float, rad
        How far the grain dips out of the face.

    Raises
    ------
    DesignError
        If a size is not positive or the ring is thinned through.
    """

    wood: str
    thickness: float
    grain_angle: float = 0.0
    ring_width: float = 0.0
    ring_reduction: float = 0.0
    regions: tuple[ThicknessRegion, ...] = ()
    grid: ThicknessGrid | None = None
    dome: Dome | None = None
    ring_angle: float = 0.0
    runout: float = 0.0

    def __post_init__(self) -> None:
        """Check the sizes once."""
        if not 0 < self.thickness < np.inf:
            message = f"top thickness {1e3 * self.thickness:g} mm; must be > 0"
            raise DesignError(message)
        if not 0 <= self.ring_width < np.inf or not 0 <= self.ring_reduction < self.thickness:
            message = (
                f"edge ring of width {1e3 * self.ring_width:g} mm thinned by {1e3 * self.ring_reduction:g} mm; "
                f"the width must be >= 0 and the reduction from 0 to below {1e3 * self.thickness:g} mm"
            )
            raise DesignError(message)


@dataclass(frozen=True, slots=True)
class Edge:
    """How the rim is held.

    Parameters
    ----------
    kind : {"free", "clamped", "hinged", "springs"}
    deflection, inplane : float, N/m per m of rim
    rotation : float, N m/rad per m of rim
        Spring stiffnesses, for kind "springs" only.

    Raises
    ------
    DesignError
        If a stiffness is negative.
    """

    kind: Literal["free", "clamped", "hinged", "springs"] = "clamped"
    deflection: float = 0.0
    rotation: float = 0.0
    inplane: float = 0.0

    def __post_init__(self) -> None:
        """Check the springs once."""
        for key in ("deflection", "rotation", "inplane"):
            value = getattr(self, key)
            if not 0 <= value < np.inf:
                message = f"edge: {key} stiffness {value:g}; must be >= 0"
                raise DesignError(message)


@dataclass(frozen=True, slots=True)
class Joint:
    """A crossing of two braces.

    Parameters
    ----------
    under, over : str
        Names: `under` keeps its wood next to the top, `over` is notched to pass across it.
    kept : float or None, m
        Height of `under` left at the crossing. None: half of the lower brace there (half lap). As much as
        the taller brace or more: `under` is whole and `over` is cut and glued to its flanks.
    cap, cap_length : float, m
        Thickness and length of a piece of the wood of `under`, as wide as it, glued along it over the crossing, so
        that its cut fibres have a bridge; 0 for none.
    """

    under: str
    over: str
    kept: float | None = None
    cap: float = 0.0
    cap_length: float = 0.0


@dataclass(frozen=True, slots=True)
class Design:
    """A braced top as drawn.

    Axes: x along the body's centreline from the tail end towards the neck, z out of the top's outside,
    y completing a right-handed frame: seen from the inside with the neck up, y points to the right.
    Braces lie at z < 0.
    """

    outline: Outline
    plate: Plate
    holes: tuple[Hole, ...] = ()
    braces: tuple[Brace, ...] = ()
    patches: tuple[Patch, ...] = ()
    joints: tuple[Joint, ...] = ()
    edge: Edge = Edge()
    bridge_point: tuple[float, float] | None = None
    masses: tuple[PointMass, ...] = ()

    @property
    def region(self) -> shapely.Polygon:
        """The top's area: inside the outline, outside the holes."""
        return shapely.Polygon(self.outline.points, [hole.outline().points for hole in self.holes])

    @property
    def driving_point(self) -> Array:
        """Where the bridge drives the top, (2,) in m.

        The point named in the drawing; else the centre of the bridge; else the centroid of the outline.
        """
        if self.bridge_point is not None:
            return np.array(self.bridge_point)
        for patch in self.patches:
            if patch.is_bridge:
                return np.array(patch.polygon.centroid.coords[0])
        return np.array(self.outline.polygon.centroid.coords[0])

    def brace(self, name: str) -> Brace:
        """The brace of that name.

        Raises
        ------
        DesignError
            If there is none.
        """
        for brace in self.braces:
            if brace.name == name:
                return brace
        known = ", ".join(brace.name for brace in self.braces) or "none"
        message = f'no brace is named "{name}"; the braces are: {known}'
        raise DesignError(message)

    def with_brace(self, changed: Brace) -> "Design":
        """Copy in which `changed` replaces the brace of the same name."""
        self.brace(changed.name)
        return replace(self, braces=tuple(changed if b.name == changed.name else b for b in self.braces))
