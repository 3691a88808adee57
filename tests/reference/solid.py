"""Orthotropic three-dimensional solid of a top: the reference that shares nothing with the plate theory.

The top, its braces and patches are solids drawn with Netgen's OpenCASCADE kernel, glued face to face, meshed with
tetrahedra and solved with NGSolve's H1 elements of high order. Each part has its wood's full stiffness in its own
axes: L along the grain, R across it in the plane and T through the plate for the top and patches (quarter-sawn);
L along, R upright, T across for a brace (quarter-sawn on edge).

Rim conditions. Clamped: the plate's side face does not move. Hinged: on the side face the deflection and the
displacement along the rim are zero (hard hinge; the exact three-dimensional counterpart of Navier's solution), and the
midline of the face does not move outwards either. Free: nothing is held.

A dome is drawn flat and meshed flat; the mesh is then moved by z0(x, y), and every part's axes turn with it, as boards
and braces do that are bent onto a dome. A thinned edge is cut from the outside face; the inside stays flat.

Lengths are in millimetres inside this file, because OpenCASCADE's tolerances are absolute; with N, MPa, tonne and
second the equations keep their form.

References
----------
J. Schoeberl, C++11 implementation of finite elements in NGSolve, ASC report 30/2014, TU Wien; Netgen: J. Schoeberl,
Comput. Visual. Sci. 1 (1997) 41-52. T. C. T. Ting, Anisotropic Elasticity (1996), eq. 2.3-3 for the rotated stiffness.
"""

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import netgen.occ as occ
import ngsolve as ng
import numpy as np
import shapely
from scipy.sparse.linalg import LinearOperator, eigsh

from bracedtop.fem.wood import Wood
from bracedtop.geometry.brace import Brace
from bracedtop.geometry.design import Design
from bracedtop.geometry.layout import crossings
from bracedtop.geometry.mesh_lines import ring_border
from bracedtop.geometry.outline import Outline

MM = 1e3
"""Millimetres in a metre."""

TONNE_PER_MM3 = 1e-12
"""kg/m^3 to tonne/mm^3."""

MPA = 1e-6
"""Pa to N/mm^2."""

VOIGT = ((0, 0), (1, 1), (2, 2), (1, 2), (0, 2), (0, 1))

SHIFT_HZ = 20.0
"""A free solid's stiffness is singular; the shift -(2 pi 20 Hz)^2 makes it definite."""

HINGE = 10.0
"""Stiffness that holds a hinged rim's displacement along itself, in units of E_L per mm of thickness.

Between 1 and 100 no frequency moves by 0.1 %; far stiffer ones lock on a curved rim, whose direction no polynomial
displacement can follow.
"""

LOWEST = 0.1
"""A lofted brace that runs out to nothing ends this high, mm; a loft needs all its faces at both ends."""

CAP_SIDES = 5
"""Sides of the polygon that stands for a rounded brace's half ellipse."""

Where = Callable[[float, float], bool]


@dataclass(frozen=True, slots=True)
class Solid:
    """Modes of a solid.

    Parameters
    ----------
    frequencies : (n,) array, Hz
        Elastic modes, ascending.
    deflections : (n, k) array
        Deflection at the asked points of the midplane, phi^T M phi = 1 kg.
    n_rigid : int
    n_unknowns, n_elements : int
    seconds : dict of str to float
        Wall time of "draw", "mesh", "assembly" and "modes".
    """

    frequencies: np.ndarray
    deflections: np.ndarray
    n_rigid: int
    n_unknowns: int
    n_elements: int
    seconds: dict[str, float]


def solve_solid(
    design: Design,
    woods: Mapping[str, Wood],
    *,
    size: float = 20e-3,
    brace_size: float | None = None,
    order: int = 4,
    graded: int = 0,
    coarse: bool = False,
    n_modes: int = 10,
    points: np.ndarray | None = None,
    where: Where | None = None,
    hold_brace_ends: bool = False,
    threads: int = 2,
) -> Solid:
    """Modes of the top as an orthotropic solid.

    Parameters
    ----------
    size, brace_size : float, m
        Largest element in the plate, and in the braces if smaller.
    order : int
        Polynomial order of the displacement.
    graded : int
        Layers of elements, each an eighth as wide as the one before, that close in on the borders of glued faces,
        where the stress is singular.
    coarse : bool
        Elements as large as fit along short and curved edges; halves their number in a top with many rounded braces.
    points : (k, 2) array, m, optional
        Where the deflection of the midplane is wanted.
    where : callable, optional
        Limits the edge condition to side faces whose centre (x, y) in m satisfies it.
    hold_brace_ends : bool
        Whether end faces of braces that lie in the rim are held like it.
    """
    clock = [time.perf_counter()]
    shape, woods_of = _draw(design, where, brace_size, hold_brace_ends=hold_brace_ends)
    clock.append(time.perf_counter())
    # closeedgefac would refine the whole plate to its thickness; flat tetrahedra of order 3 and more do not lock.
    if graded:
        _mark_glued_borders(shape, design)
    fit = {"curvaturesafety": 0.5, "segmentsperedge": 0.2} if coarse else {}
    generated = occ.OCCGeometry(shape).GenerateMesh(maxh=MM * size, closeedgefac=None, grading=0.9, **fit)
    mesh = ng.Mesh(generated)
    if graded:
        mesh.RefineHP(graded, factor=0.125)
    # Of no higher order than the displacement, or a rotation could not follow the curve.
    mesh.Curve(min(order, 3))
    clock.append(time.perf_counter())
    held = design.edge.kind
    clamped = {"dirichlet": "rim"} if held == "clamped" else {}
    midline = {"dirichletz": "rim", "dirichlet_bbnd": "midline"} if held == "hinged" else {}
    space = ng.VectorH1(mesh, order=order, **clamped, **midline)
    at = None if points is None else mesh(*(MM * np.atleast_2d(points).T), np.zeros(len(np.atleast_2d(points))))
    slope = _bend_to_dome(mesh, design)
    shift = (2 * np.pi * SHIFT_HZ) ** 2 if held == "free" else 0.0
    ng.SetNumThreads(threads)
    with ng.TaskManager():
        K, M, inverse = _matrices(mesh, space, woods, woods_of, held, shift, slope)
        clock.append(time.perf_counter())
        n_rigid = 6 if held == "free" else 0
        values, vectors = _eigenpairs(space, K, M, inverse, shift, n_modes + n_rigid)
    elastic = np.sqrt(np.maximum(values[n_rigid:], 0.0)) / (2 * np.pi)
    if n_rigid and np.sqrt(np.abs(values[:n_rigid])).max() > 0.01 * elastic[0]:
        message = f"six rigid motions expected, eigenvalues {values[:n_rigid]}"
        raise AssertionError(message)
    w = _deflections(space, vectors[:, n_rigid:], at)
    clock.append(time.perf_counter())
    seconds = dict(zip(("draw", "mesh", "assembly", "modes"), np.diff(clock).tolist(), strict=True))
    return Solid(elastic, w, n_rigid, int(sum(space.FreeDofs())), mesh.ne, seconds)


def stiffness(wood: Wood, axes: np.ndarray) -> np.ndarray:
    """Stiffness of a wood in the global axes, (6, 6) in Pa, order xx, yy, zz, yz, xz, xy (engineering shear).

    Parameters
    ----------
    axes : (3, 3) array
        Columns: the unit vectors of L, R and T in global axes.
    """
    own = np.linalg.inv(wood.compliance())
    place = {pair: k for k, (i, j) in enumerate(VOIGT) for pair in ((i, j), (j, i))}
    tensor = np.zeros((3, 3, 3, 3))
    for (i, j), a in place.items():
        for (k, m), b in place.items():
            tensor[i, j, k, m] = own[a, b]
    tensor = np.einsum("ia,jb,kc,ld,abcd->ijkl", axes, axes, axes, axes, tensor)
    return np.array([[tensor[i, j, k, m] for k, m in VOIGT] for i, j in VOIGT])


def plate_axes(angle: float, rings: float = 0.0, runout: float = 0.0) -> np.ndarray:
    """Axes of a flat quarter-sawn layer with its grain at `angle`, rad: R in the plane, T through it.

    With the rings turned about the grain by `rings`, and the grain tipped upwards by `runout`, rad.
    """
    c, s = np.cos(angle), np.sin(angle)
    flat = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    return _turned(_turned(flat, 0, rings), 1, -runout, about=flat)


def brace_axes(angle: float, rings: float = 0.0, runout: float = 0.0) -> np.ndarray:
    """Axes of a brace quarter-sawn on edge: R upright, T across; its rings turned towards those of a flat layer."""
    c, s = np.cos(angle), np.sin(angle)
    upright = np.array([[c, 0.0, s], [s, 0.0, -c], [0.0, 1.0, 0.0]])
    return _turned(_turned(upright, 0, -rings), 2, runout, about=upright)


def _turned(axes: np.ndarray, k: int, angle: float, about: np.ndarray | None = None) -> np.ndarray:
    """Axes (columns) turned by `angle` about column `k` of them, or of `about` (O. Rodrigues's formula)."""
    n = (axes if about is None else about)[:, k]
    cross = np.array([[0.0, -n[2], n[1]], [n[2], 0.0, -n[0]], [-n[1], n[0], 0.0]])
    return axes + np.sin(angle) * cross @ axes + (1 - np.cos(angle)) * cross @ cross @ axes


Part = tuple[str, np.ndarray]


def _draw(
    design: Design, where: Where | None, brace_size: float | None, *, hold_brace_ends: bool
) -> tuple[occ.TopoDS_Shape, dict[str, Part]]:
    plate = design.plate
    t = MM * plate.thickness
    solids = []
    parts: dict[str, Part] = {"top": (plate.wood, plate_axes(plate.grain_angle, plate.ring_angle, plate.runout))}
    for low, high in ((-t / 2, 0.0), (0.0, t / 2)) if design.edge.kind == "hinged" else ((-t / 2, t / 2),):
        solids.append(_plate(design, low, high, where))
    braces = _braces(design, t)
    for patch in design.patches:
        low = t / 2 if patch.side == "outside" else -t / 2 - MM * patch.thickness
        solid = _prism(patch.outline, low, low + MM * patch.thickness)
        if not design.region.covers(patch.polygon):
            solid = solid * _column(design)
        if patch.under_braces:
            braces = {name: brace - solid for name, brace in braces.items()}
        elif patch.side == "inside":
            # Patches inside are let in around the braces, which are glued to the top itself.
            for brace in braces.values():
                solid = solid - brace
        name = f"patch {patch.name}"
        parts[name] = (patch.wood, plate_axes(patch.grain_angle, patch.ring_angle, patch.runout))
        solids.append(_named(solid, name))
    for brace in design.braces:
        name = f"brace {brace.name}"
        parts[name] = (brace.wood, brace_axes(_angle(brace), brace.ring_angle, brace.runout))
        solid = _named(braces[brace.name], name)
        if brace_size is not None:
            solid.maxh = MM * brace_size
        for face in solid.faces:
            here = shapely.Point(face.center.x / MM, face.center.y / MM)
            if hold_brace_ends and design.outline.polygon.exterior.distance(here) < 0.05 * brace.width:
                face.name = "rim"
        solids.append(solid)
    solids += _caps(design, t)
    return (occ.Glue(solids) if len(solids) > 1 else solids[0]), parts


def _mark_glued_borders(shape: occ.TopoDS_Shape, design: Design) -> None:
    """Mark edges in the plate's faces, off the rim and the holes, for refinement towards them."""
    border = design.region.boundary
    t = MM * design.plate.thickness
    faces = (-t / 2, t / 2, t / 2 - MM * design.plate.ring_reduction)
    for edge in shape.edges:
        first, last = edge.parameter_interval
        point = edge.Value(0.5 * (first + last))
        in_face = min(abs(point.z - z) for z in faces) < 1e-6
        if in_face and border.distance(shapely.Point(point.x / MM, point.y / MM)) > 1e-4:
            edge.hpref = 1


def _named(solid: occ.TopoDS_Shape, name: str) -> occ.TopoDS_Shape:
    solid.mat(name)
    return solid


def _wire(outline: Outline, z: float) -> occ.TopoDS_Shape:
    """Closed wire: straight between neighbouring corners, splines through the points of smooth stretches."""
    points = [occ.Pnt(*(MM * p), z) for p in outline.points]
    n = len(points)
    corners = np.flatnonzero(outline.corners)
    if not len(corners):
        every = max(1, n // 90)
        return occ.Wire([occ.SplineInterpolation(points[::every], periodic=True)])
    edges = []
    for a, b in zip(corners, np.append(corners[1:], corners[0] + n), strict=True):
        run = [points[k % n] for k in range(a, b + 1)]
        edges.append(occ.Segment(*run) if len(run) == 2 else occ.SplineInterpolation(run))
    return occ.Wire(edges)


def _prism(outline: Outline, low: float, high: float) -> occ.TopoDS_Shape:
    return occ.Face(_wire(outline, low)).Extrude(occ.Vec(0, 0, high - low))


def _column(design: Design) -> occ.TopoDS_Shape:
    """The top's area, holes out, as a column far beyond any part."""
    column = _prism(design.outline, -200.0, 200.0)
    for hole in design.holes:
        column = column - _prism(hole.outline(), -201.0, 201.0)
    return column


def _plate(design: Design, low: float, high: float, where: Where | None) -> occ.TopoDS_Shape:
    solid = _prism(design.outline, low, high)
    solid.faces.name = "inner"
    middle = (low + high) / 2
    for face in solid.faces:
        centre = face.center
        if abs(centre.z - middle) < 0.01 * (high - low) and (where is None or where(centre.x / MM, centre.y / MM)):
            face.name = "rim"
            for edge in face.edges:
                if abs(edge.center.z) < 1e-6 and min(abs(low), abs(high)) < 1e-9:
                    edge.name = "midline"
    for hole in design.holes:
        cutter = _prism(hole.outline(), low - 1.0, high + 1.0)
        cutter.faces.name = "inner"
        solid = solid - cutter
    if design.plate.ring_width > 0 and design.plate.ring_reduction > 0:
        solid = solid - _thinned(design)
    return _named(solid, "top")


def _thinned(design: Design) -> occ.TopoDS_Shape:
    """What a thinned edge loses: the outside of the plate around the ring's inner border."""
    inner = ring_border(design)
    beside = [p.polygon for p in design.patches if p.side == "outside"]
    if inner.geom_type != "Polygon" or design.edge.kind == "hinged" or not all(inner.covers(p) for p in beside):
        message = "the solid reference draws a ring of one piece, without patches on it, on an edge that is not hinged"
        raise NotImplementedError(message)
    t = MM * design.plate.thickness
    low, high = t / 2 - MM * design.plate.ring_reduction, t / 2 + 1.0
    smooth = not design.outline.corners.any()
    points = shapely.get_coordinates((inner if smooth else inner.simplify(1e-6)).exterior)[:-1]
    border = Outline(points, np.full(len(points), not smooth))
    cutter = occ.Box(occ.Pnt(-2e3, -2e3, low), occ.Pnt(2e3, 2e3, high)) - _prism(border, low - 1.0, high + 1.0)
    cutter.faces.name = "inner"
    return cutter


def _angle(brace: Brace) -> float:
    d = np.diff(brace.path, axis=0)
    angles = np.arctan2(d[:, 1], d[:, 0])
    if np.ptp(angles) > 1e-6:
        message = f'brace "{brace.name}": the solid reference draws straight braces'
        raise NotImplementedError(message)
    return float(angles[0])


def _brace(brace: Brace, t: float) -> occ.TopoDS_Shape:
    solids = _extruded(brace, t) if brace.shape == "square" else _lofted(brace, t)
    solid = solids[0] if len(solids) == 1 else occ.Fuse(solids)
    turned = solid.Rotate(occ.Axis(occ.Pnt(0, 0, 0), occ.Z), float(np.rad2deg(_angle(brace))))
    return turned.Move(occ.Vec(*(MM * brace.path[0]), 0))


def _extruded(brace: Brace, t: float) -> list[occ.TopoDS_Shape]:
    """Side views of a square-topped brace, extruded over its width."""
    width = MM * brace.width
    solids = []
    for polygon in _side_view(brace):
        corners = [occ.Pnt(s, -width / 2, -t / 2 - depth) for s, depth in polygon]
        edges = [occ.Segment(a, b) for a, b in zip(corners, [*corners[1:], corners[0]], strict=True)]
        solids.append(occ.Face(occ.Wire(edges)).Extrude(occ.Vec(0, width, 0)))
    return solids


def _profile(brace: Brace) -> tuple[np.ndarray, np.ndarray]:
    """Distances and heights of the corners of the side view, mm."""
    s, h = MM * brace.stations.T
    return np.concatenate([[0.0], s, [MM * brace.length]]), np.concatenate([h[:1], h, h[-1:]])


def _side_view(brace: Brace) -> list[np.ndarray]:
    """Closed polygons (s, depth) of the brace seen from the side, mm; stretches of no height fall out."""
    s, h = _profile(brace)
    area = shapely.Polygon([*zip(s, h, strict=True), (s[-1], 0.0), (0.0, 0.0)]).buffer(0)
    pieces = shapely.get_parts(area)
    return [shapely.get_coordinates(p.normalize().simplify(1e-9).exterior)[:-1] for p in pieces if p.area > 1e-6]


def _lofted(brace: Brace, t: float) -> list[occ.TopoDS_Shape]:
    """Pieces of a rounded or peaked brace, each ruled from the section at one station to that at the next."""
    width = MM * brace.width
    s, h = _profile(brace)
    if brace.shape == "rounded":
        # Where the height passes half the width the cap stops growing with it: a corner of the side view.
        span = np.flatnonzero((h[:-1] - width / 2) * (h[1:] - width / 2) < 0)
        at = s[span] + (width / 2 - h[span]) / (h[span + 1] - h[span]) * (s[span + 1] - s[span])
        s, h = np.insert(s, span + 1, at), np.insert(h, span + 1, width / 2)
    return [
        occ.ThruSections([_section(brace.shape, width, h[j], s[j], t) for j in (k, k + 1)])
        for k in range(len(s) - 1)
        if s[k + 1] - s[k] > 1e-6
    ]


def _section(shape: str, width: float, height: float, s: float, t: float) -> occ.TopoDS_Shape:
    """Closed wire of a section at distance s, mm."""
    height = max(height, LOWEST)
    cap = min(height, width / 2) if shape == "rounded" else height / 2
    cap = min(cap, height - LOWEST / 2)
    half, body = width / 2, height - cap
    points = [(-half, 0.0), (-half, body)]
    if shape == "rounded":
        a = np.linspace(0, np.pi, CAP_SIDES + 1)[1:-1]
        # Corners moved out of the ellipse so that the cap's area is the ellipse's.
        grow = np.sqrt(np.pi / (CAP_SIDES * np.sin(np.pi / CAP_SIDES)))
        points += [(-grow * half * np.cos(x), body + min(grow * np.sin(x), 1.0) * cap) for x in a]
    else:
        points.append((0.0, height))
    points += [(half, body), (half, 0.0)]
    corners = [occ.Pnt(s, y, -t / 2 - z) for y, z in points]
    return occ.Wire([occ.Segment(a, b) for a, b in zip(corners, [*corners[1:], corners[0]], strict=True)])


def _braces(design: Design, t: float) -> dict[str, occ.TopoDS_Shape]:
    """Brace solids, notched at their crossings and trimmed to the top's area."""
    solids = {brace.name: _brace(brace, t) for brace in design.braces if brace.stations[:, 1].max() > 0}
    region = design.region
    for brace in design.braces:
        if not region.covers(shapely.LineString(brace.path).buffer(brace.width / 2, cap_style="flat")):
            solids[brace.name] = solids[brace.name] * _column(design)
    for crossing in crossings(design):
        under, over = solids[crossing.under], solids[crossing.over]
        notch = under * over
        kept = MM * crossing.kept
        if -t / 2 - kept > notch.bounding_box[0].z + 1e-6:
            floor = occ.Box(occ.Pnt(-2e3, -2e3, -500.0), occ.Pnt(2e3, 2e3, -t / 2 - kept))
            # The over brace's strip is cut out of the under brace to its full depth, or wood would hang below.
            strip = _brace_strip(design.brace(crossing.over), t)
            under = under - strip * floor
        solids[crossing.under] = under
        solids[crossing.over] = over - under
    return _butted(design, solids)


def _butted(design: Design, solids: dict[str, occ.TopoDS_Shape]) -> dict[str, occ.TopoDS_Shape]:
    """Braces that end on another one, cut at its flank."""
    for brace in design.braces:
        ends = [shapely.Point(brace.path[k]) for k in (0, -1)]
        for other in design.braces:
            strip = shapely.LineString(other.path).buffer(other.width / 2, cap_style="flat")
            if other.name != brace.name and any(strip.covers(end) for end in ends):
                solids[brace.name] = solids[brace.name] - solids[other.name]
    return solids


def _caps(design: Design, t: float) -> list[occ.TopoDS_Shape]:
    """Pieces glued along the under brace over a crossing, flat on the higher of the two braces."""
    caps = []
    for crossing in crossings(design):
        if crossing.cap == 0:
            continue
        under, at = design.brace(crossing.under), shapely.Point(crossing.point)
        pair = (under, design.brace(crossing.over))
        top = max(float(b.height(np.array([shapely.LineString(b.path).project(at)]))[0]) for b in pair)
        half = MM / 2 * np.array([crossing.cap_length, under.width])
        z = -t / 2 - MM * top
        box = occ.Box(occ.Pnt(*-half, z - MM * crossing.cap), occ.Pnt(*half, z))
        box = box.Rotate(occ.Axis(occ.Pnt(0, 0, 0), occ.Z), float(np.rad2deg(_angle(under))))
        caps.append(_named(box.Move(occ.Vec(*(MM * crossing.point), 0)), f"brace {under.name}"))
    return caps


def _brace_strip(brace: Brace, t: float) -> occ.TopoDS_Shape:
    tall = np.array([[0.0, 0.2], [brace.length, 0.2]])
    return _brace(Brace(brace.name, brace.wood, brace.path, brace.width, tall), t)


def _bend_to_dome(mesh: ng.Mesh, design: Design) -> ng.CoefficientFunction | None:
    """Move a flat mesh onto the dome; the slope of the dome (2,), None if it is flat."""
    dome = design.plate.dome
    if dome is None or dome.is_flat:
        return None
    x0, y0 = MM * np.array(dome.crown)
    x, y = ng.x - x0, ng.y - y0
    along, across = dome.curvatures / MM
    height = ng.GridFunction(ng.VectorH1(mesh, order=2))
    height.Set(ng.CF((0.0, 0.0, -(along * x * x + across * y * y) / 2)))
    mesh.SetDeformation(height)
    return ng.CF((-along * x, -across * y))


def _matrices(
    mesh: ng.Mesh,
    space: ng.FESpace,
    woods: Mapping[str, Wood],
    parts: Mapping[str, Part],
    held: str,
    shift: float,
    slope: ng.CoefficientFunction | None,
) -> tuple[ng.BaseMatrix, ng.BaseMatrix, ng.BaseMatrix]:
    present = set(mesh.GetMaterials())
    # On a dome the strains are turned into each wood's own axes, which differ from place to place.
    own = {name: np.eye(3) if slope is not None else axes for name, (_, axes) in parts.items()}
    C = {name: MPA * stiffness(woods[wood], own[name]) for name, (wood, _) in parts.items()}
    turn = None
    if slope is not None:
        turn = mesh.MaterialCF(
            {name: _axes_on_dome(axes, slope) for name, (_, axes) in parts.items() if name in present}
        )
    law = mesh.MaterialCF({k: ng.CF(tuple(v.ravel()), dims=(6, 6)) for k, v in C.items() if k in present})
    density = mesh.MaterialCF({k: TONNE_PER_MM3 * woods[w].density for k, (w, _) in parts.items() if k in present})
    u, v = space.TnT()
    stored = ng.InnerProduct(law * _strain(u, turn), _strain(v, turn)).Compile() * ng.dx
    mass = density * ng.InnerProduct(u, v) * ng.dx
    K = ng.BilinearForm(space, symmetric=True, symmetric_storage=True)
    K += stored + shift * mass
    if held == "hinged":
        n = ng.specialcf.normal(3)
        along = ng.CF((-n[1], n[0], 0.0))
        size = HINGE * MPA * max(wood.E_L for wood in woods.values())
        K += size * (along * u.Trace()) * (along * v.Trace()) * ng.ds("rim")
    M = ng.BilinearForm(mass, symmetric=True, symmetric_storage=True)
    K.Assemble()
    M.Assemble()
    inverse = K.mat.Inverse(space.FreeDofs(), inverse="sparsecholesky")
    return K.mat, M.mat, inverse


def _axes_on_dome(axes: np.ndarray, slope: ng.CoefficientFunction) -> ng.CoefficientFunction:
    """Axes (3, 3) of a flat part as the dome carries them along: L stays tangent, R stays in the plane of both."""

    def carried(v: np.ndarray) -> ng.CoefficientFunction:
        return ng.CF((v[0], v[1], v[2] + v[0] * slope[0] + v[1] * slope[1]))

    L, R = carried(axes[:, 0]), carried(axes[:, 1])
    L = L / ng.Norm(L)
    R = R - (L * R) * L
    R = R / ng.Norm(R)
    T = ng.Cross(L, R)
    return ng.CF((L[0], R[0], T[0], L[1], R[1], T[1], L[2], R[2], T[2]), dims=(3, 3))


def _strain(u: ng.CoefficientFunction, turn: ng.CoefficientFunction | None) -> ng.CoefficientFunction:
    G = ng.Grad(u)
    if turn is not None:
        G = turn.trans * G * turn
    return ng.CF((G[0, 0], G[1, 1], G[2, 2], G[1, 2] + G[2, 1], G[0, 2] + G[2, 0], G[0, 1] + G[1, 0]))


def _eigenpairs(
    space: ng.FESpace, K: ng.BaseMatrix, M: ng.BaseMatrix, inverse: ng.BaseMatrix, shift: float, n: int
) -> tuple[np.ndarray, np.ndarray]:
    """Lowest eigenvalues in 1/s^2 and vectors (n_unknowns, n), by shift-invert Lanczos."""
    x = K.CreateColVector()
    y = K.CreateColVector()

    def operator(matrix: ng.BaseMatrix) -> LinearOperator:
        def product(z: np.ndarray) -> np.ndarray:
            x.FV().NumPy()[:] = z.ravel()
            y.data = matrix * x
            return y.FV().NumPy().copy()

        return LinearOperator((space.ndof, space.ndof), matvec=product, dtype=float)

    free = np.array(space.FreeDofs(), dtype=bool)
    start = np.where(free, np.random.default_rng(1).standard_normal(space.ndof), 0.0)
    # K holds the shift already: the shifted problem's eigenvalues are lambda + shift.
    values, vectors = eigsh(
        operator(K), k=n, M=operator(M), sigma=0.0, OPinv=operator(inverse), v0=start, tol=1e-8, ncv=2 * n + 4
    )
    order = np.argsort(values)
    return values[order] - shift, vectors[:, order]


def _deflections(space: ng.FESpace, vectors: np.ndarray, at: np.ndarray | None) -> np.ndarray:
    """Deflections (n, k); vectors come in tonne and mm, so w carries 1/sqrt(tonne)."""
    if at is None:
        return np.zeros((vectors.shape[1], 0))
    field = ng.GridFunction(space)
    rows = []
    for vector in vectors.T:
        field.vec.FV().NumPy()[:] = vector
        rows.append(np.asarray(field(at))[:, 2])
    return np.array(rows) / np.sqrt(MM)
