"""Masses without stiffness that are fixed to the top.

Depends on geometry/design, geometry/thickness, fem/footprint, fem/locate, fem/sampling.
"""

import numpy as np

from bracedtop.fem.footprint import points_in
from bracedtop.fem.locate import Locator
from bracedtop.fem.sampling import Group
from bracedtop.geometry.design import Design
from bracedtop.geometry.thickness import thickness_at


def mass_groups(design: Design, locator: Locator) -> list[Group]:
    """Points of every mass of a design: no stiffness, and mass with its moments about the reference plane.

    A mass sits at its height above the outside face of the top as it was before an edge ring was taken off, and turns
    with the section there. The whole of it is
    spread over that part of its disc that lies on the mesh.

    Parameters
    ----------
    design : Design
    locator : Locator

    Returns
    -------
    groups : list of Group, named "mass NAME"
    """
    plate = design.plate
    groups = []
    for mass in design.masses:
        points, xy = points_in([np.array(mass.polygon.exterior.coords)[:-1]], locator)
        face = thickness_at(plate, xy) - plate.thickness / 2
        z = face + mass.height
        moments = np.column_stack([np.ones_like(z), z, z**2]) * (mass.mass / points.weight.sum())
        groups.append(Group(f"mass {mass.name}", points, np.zeros((len(z), 9, 9)), moments))
    return groups
