"""The air in a closed box: pressures of the rigid-walled cavity, and what the holes drive.

Depends on fem/air_basis, fem/air_field, fem/air_loss, fem/cavity, fem/gas, fem/hole_air, fem/layers, fem/locate,
fem/plate.

A set of pressures that takes the place of all modes of the cavity. It is made of products of the plan's own modes with
powers of the height, which also hold what plates drive close to themselves, and of each hole's static pressure, which
converges where no sum of modes would: nearly half of a hole's mass is in that field. All are then made modes of the
cavity again, so that each has a frequency. Those far above `highest` have no resonance that matters but a mass: see
`n_resonant`.
"""

from dataclasses import dataclass

import numpy as np
import shapely

from bracedtop.fem.air_basis import products
from bracedtop.fem.air_field import Field, pressure_field
from bracedtop.fem.air_loss import wall_loss
from bracedtop.fem.cavity import CavityMesh, cavity_mesh
from bracedtop.fem.footprint import Points
from bracedtop.fem.gas import Gas, air_gas
from bracedtop.fem.hole_air import HoleAir, hole_air
from bracedtop.fem.layers import layers
from bracedtop.fem.locate import Locator
from bracedtop.fem.plate import shape_functions
from bracedtop.geometry.box import Box
from bracedtop.geometry.design import Design
from bracedtop.geometry.errors import AccuracyError
from bracedtop.geometry.outline import Array

HIGHEST = 2500.0
"""Frequency up to which the cavity's modes are wanted if nothing is said, Hz; chosen: half a wave then is 70 mm, as
short as the bending waves of a top in the range that is shown."""

ORDER = 3
"""Of the triangles; chosen: quadratic ones have six times the error at equal time."""

PER_WAVE = 3.0
"""Triangles to the shortest wave; chosen: the frequencies are then within 0.1 %."""

SHORTER = 1.4
"""Wave number up to which plan modes are taken, over that of the highest frequency; chosen: what bends in waves shorter
than the air's own still carries air with it. With 1 the air on half waves of 60 mm was missing, 2 % of a top's mass."""

POWERS = 5
"""Powers of the height in the products; chosen: the air that a plate carries is then within 0.1 % for waves half as
long again as the box is deep, within 0.3 % for waves a fifth longer; with 4 within 2 %."""

SHIFT = 4.0
"""1/m^2, a wave number of 2 1/m (110 Hz), at which the holes' pressures are taken."""

_LAYER, _GROWTH = 1.5, 2.5
"""Thickness of the layer below the holes over the largest hole's radius, and of each one below over the one above;
chosen: the inner end correction is then within 0.5 %."""

_THICKEST = 0.2
"""Thickness of the highest layer over the depth, at most."""

_DEGREE = 3


@dataclass(frozen=True, slots=True, eq=False)
class Air:
    """Pressures of the air in a rigid-walled box with closed holes, scaled to unit compliance.

    integral of psi_n psi_m / (density speed^2) dV = delta_nm; psi_0 is uniform. Arrays are over the modes, m of them.

    Parameters
    ----------
    frequencies : (m,) array, Hz
        Rising from 0.
    n_resonant : int
        The modes below the highest frequency asked for; the others are kept for the pressure that they add below it. In
        a model they may count as a mass, C Omega^-2 C^T for the coupling C of the walls and holes to them.
    loss : (m,) array
        Loss factor from the boundary layer at the walls, each at its own frequency; of the uniform pressure at the
        frequency of the hole resonance.
    at_holes : (n_holes, m) array, Pa m^2
        Integral of each pressure over each hole.
    hole_area : (n_holes,) array, m^2
    hole_mass : (n_holes,) array, kg
        Of the air in each hole, as thick as its edge, with the end correction outside only.
    holes : HoleAir
        The same with thickness, radius, and the mass that two holes share.
    volume : float, m^3
        Of the air: less braces, linings and blocks.
    gas : Gas
    top, back, middle : (n_nodes, m) arrays, Pa
        At the plan's nodes on the top's inside face, on the back's, and half-way.
    field : Field
        The mesh and its matrices.
    """

    frequencies: Array
    n_resonant: int
    loss: Array
    at_holes: Array
    hole_area: Array
    hole_mass: Array
    holes: HoleAir
    volume: float
    gas: Gas
    top: Array
    back: Array
    middle: Array
    field: Field

    @property
    def density(self) -> float:
        """Of the air, kg/m^3."""
        return self.gas.density

    @property
    def speed(self) -> float:
        """Of sound, m/s."""
        return self.gas.speed

    @property
    def cavity(self) -> CavityMesh:
        """The mesh."""
        return self.field.cavity


def build_air(
    design: Design, box: Box, *, size: float | None = None, highest: float = HIGHEST, gas: Gas | None = None
) -> Air:
    """The air in a box.

    Parameters
    ----------
    design : Design
        The top.
    box : Box
    size : float, m, optional
        Wanted size of the triangles away from the holes; after the shortest wave if not given.
    highest : float, Hz
        Highest frequency at which a mode of the air matters.
    gas : Gas, optional
        Air of the box's temperature if not given.

    Raises
    ------
    DesignError
        If the box holds no air, a hole lies over a block, or the temperature is out of range.
    MeshError
        If the plan cannot be triangulated.
    AccuracyError
        If the modes do not pass their checks.
    """
    gas = gas or air_gas(box.temperature)
    wave = gas.speed / highest
    cavity = cavity_mesh(design, box, size or wave / PER_WAVE)
    field = pressure_field(cavity, layers(_breaks(cavity), _DEGREE), ORDER)
    basis = products(field, SHORTER * 2 * np.pi / wave, POWERS)
    for k in range(field.mouths.shape[1]):
        load = np.zeros(field.shape)
        load[:, -1] = field.mouths[:, k]
        basis = basis.joined(field.solve(load, SHIFT), field.mass)
    squares, modes = _diagonal(basis.gram(field.stiffness))
    modes = modes * (np.sqrt(gas.density) * gas.speed)
    frequencies = gas.speed * np.sqrt(squares) / (2 * np.pi)
    back, middle, top = (basis.at(field.heights.at(t)) @ modes for t in (0.0, 0.5, 1.0))
    holes = hole_air(design, gas)
    return Air(
        frequencies,
        int((frequencies < highest).sum()),
        wall_loss(field, basis, modes, frequencies, gas),
        field.mouths.T @ top,
        holes.area,
        np.diag(holes.mass).copy(),
        holes,
        field.volume,
        gas,
        top,
        back,
        middle,
        field,
    )


def at_top(air: Air, xy: Array) -> Array:
    """Pressures on the top's inside face at points (n, 2) in m, (n, m) in Pa; 0 over the blocks.

    Raises
    ------
    MeshError
        If a point lies off the top.
    """
    return _at(air, air.top, xy)


def at_back(air: Air, xy: Array) -> Array:
    """Pressures on the back's inside face at points (n, 2) in m, (n, m) in Pa; 0 over the blocks.

    Raises
    ------
    MeshError
        If a point lies off the back.
    """
    return _at(air, air.back, xy)


def mid_plane(air: Air) -> tuple[Array, np.ndarray, Array]:
    """Pressures half-way between the faces, for pictures.

    Returns
    -------
    xy : (n, 2) array, m
    triangles : (k, 3) int array
    values : (n, m) array, Pa
    """
    flat = air.cavity.plan.flat
    nodal = air.field.space.basis.nodal_dofs[0]
    return flat.p.T, flat.t.T, air.middle[nodal]


def _at(air: Air, nodal: Array, xy: Array) -> Array:
    xy = np.asarray(xy, dtype=float).reshape(-1, 2)
    out = np.zeros((len(xy), nodal.shape[1]))
    free = ~shapely.contains_xy(air.cavity.blocks, xy[:, 0], xy[:, 1])
    element, local = Locator.from_mesh(air.cavity.plan).locate(xy[free])
    values, _ = shape_functions(air.field.space, Points(element, local, np.ones(len(element))))
    out[free] = np.einsum("pj,pjm->pm", values, nodal[air.field.space.dofs[element]])
    return out


def _breaks(cavity: CavityMesh) -> Array:
    """Ends of the layers over the relative height."""
    depth = cavity.faces(cavity.plan.flat.p.T)[0].mean()
    radii = [np.sqrt(hole.semi_axes.prod()) for hole in cavity.design.holes]
    width = min([_THICKEST, *(_LAYER * radius / depth for radius in radii)])
    ends = [1.0]
    while ends[-1] > 1.4 * width:
        ends.append(ends[-1] - width)
        width *= _GROWTH
    return np.array([0.0, *ends[::-1]])


def _diagonal(K: Array) -> tuple[Array, Array]:
    """Wave numbers squared and modes in an orthonormal basis whose first is uniform, the uniform one exactly."""
    squares, vectors = np.linalg.eigh((K + K.T) / 2)
    share = abs(squares[0] / squares[1])
    if not share < 1e-6 or abs(vectors[0, 0]) < 1 - 1e-6:
        message = f"the uniform pressure of the cavity has {share:.1e} of the first mode's eigenvalue; must be 0"
        raise AccuracyError(message)
    vectors = vectors * np.sign(vectors[0, 0])
    vectors[:, 0] = np.eye(len(K))[0]
    squares[0] = 0.0
    return squares, vectors
