"""What may not change a frequency: mirror, rotation of the frame, units of length; and what must leave no trace."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reference.plates import TRIAL_WOOD, WOOD, frequencies, plate, rectangle, trial_top

from bracedtop.fem.model import build_model, solve
from bracedtop.geometry.brace import Brace
from bracedtop.geometry.design import Design, Edge, Hole, Plate
from bracedtop.geometry.mesh import mesh_top
from bracedtop.geometry.outline import Outline, polygon_outline
from bracedtop.geometry.patch import Patch

N_MODES = 6
SIZE = 0.03

SAME_MESH = 2e-6
"""On the moved triangles of the same mesh the strip of a tapered brace is cut into the same pieces, but split into
other triangles for its integration rule, which the taper's cube of the height exceeds; without braces: 1e-12."""

OTHER_MESH = 2e-3
"""A moved drawing gets other triangles; each result is converged to about half of this at `SIZE`."""


def skew_top(kind: str = "clamped", grain: float = 10.0) -> Design:
    """A lopsided top with a tapered brace, a hole and a patch: nothing in it is symmetric."""
    outline = polygon_outline(np.array([[0.0, 0.0], [0.4, 0.03], [0.37, 0.28], [0.05, 0.3]]))
    path = np.array([[0.08, 0.08], [0.3, 0.2]])
    length = float(np.hypot(*(path[1] - path[0])))
    stations = np.array([[0.0, 0.004], [0.05, 0.014], [length, 0.008]])
    patch = Patch("plate", WOOD, polygon_outline([[0.2, 0.06], [0.26, 0.06], [0.26, 0.1], [0.2, 0.1]]), 2e-3)
    return Design(
        outline,
        Plate(WOOD, 2.8e-3, np.deg2rad(grain)),
        holes=(Hole(np.array([0.12, 0.22]), np.array([0.03, 0.025])),),
        braces=(Brace("a", WOOD, path, 7e-3, stations),),
        patches=(patch,),
        edge=Edge(kind),  # type: ignore[arg-type]
    )


def moved(design: Design, matrix: np.ndarray) -> Design:
    """The drawing under a linear map that keeps shapes: rotation, mirror, scaling."""
    scale = float(np.sqrt(abs(np.linalg.det(matrix))))
    turned_over = np.linalg.det(matrix) < 0

    def direction(angle: float) -> float:
        image = matrix @ np.array([np.cos(angle), np.sin(angle)])
        return float(np.arctan2(image[1], image[0]))

    def curve(outline: Outline) -> Outline:
        return Outline(outline.points @ matrix.T, outline.corners)

    p = design.plate
    return replace(
        design,
        outline=curve(design.outline),
        plate=replace(p, thickness=scale * p.thickness, grain_angle=direction(p.grain_angle)),
        holes=tuple(
            Hole(matrix @ h.centre, scale * h.semi_axes, -h.angle if turned_over else direction(h.angle))
            for h in design.holes
        ),
        braces=tuple(
            replace(b, path=b.path @ matrix.T, width=scale * b.width, stations=scale * b.stations)
            for b in design.braces
        ),
        patches=tuple(
            replace(q, outline=curve(q.outline), thickness=scale * q.thickness, grain_angle=direction(q.grain_angle))
            for q in design.patches
        ),
    )


def turn(degrees: float) -> np.ndarray:
    """Rotation matrix."""
    c, s = np.cos(np.deg2rad(degrees)), np.sin(np.deg2rad(degrees))
    return np.array([[c, -s], [s, c]])


MIRROR = np.diag([1.0, -1.0])


def on_moved_mesh(design: Design, matrix: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Frequencies of a design and of the moved one on the moved triangles of the same mesh."""
    mesh = mesh_top(design, SIZE)
    same = replace(
        mesh,
        flat=replace(mesh.flat, doflocs=matrix @ mesh.flat.doflocs),
        curved=replace(mesh.curved, doflocs=matrix @ mesh.curved.doflocs),
    )
    woods = {WOOD: TRIAL_WOOD}
    before = solve(build_model(design, woods, mesh=mesh), N_MODES)
    after = solve(build_model(moved(design, matrix), woods, mesh=same), N_MODES)
    return before.frequencies, after.frequencies


@pytest.mark.parametrize("kind", ["clamped", "hinged", "free"])
def test_mirrored_mesh(kind: str) -> None:
    before, after = on_moved_mesh(skew_top(kind), MIRROR)
    np.testing.assert_allclose(after, before, rtol=SAME_MESH)


@pytest.mark.parametrize("matrix", [MIRROR, turn(53.0)], ids=["mirrored", "turned"])
def test_moved_bare_plate(matrix: np.ndarray) -> None:
    before, after = on_moved_mesh(replace(skew_top(), braces=()), matrix)
    np.testing.assert_allclose(after, before, rtol=1e-10)


@settings(max_examples=6, deadline=None, derandomize=True)
@given(st.floats(1.0, 359.0), st.sampled_from(["clamped", "hinged", "free"]))
def test_turned_mesh(angle: float, kind: str) -> None:
    before, after = on_moved_mesh(skew_top(kind), turn(angle))
    np.testing.assert_allclose(after, before, rtol=SAME_MESH)


@settings(max_examples=4, deadline=None, derandomize=True)
@given(st.floats(0.5, 2.0))
def test_scaled_mesh(scale: float) -> None:
    before, after = on_moved_mesh(skew_top(), scale * np.eye(2))
    np.testing.assert_allclose(scale * after, before, rtol=SAME_MESH)


@pytest.mark.parametrize(
    "matrix", [MIRROR, turn(53.0), turn(200.0), 1.3 * np.eye(2)], ids=["mirrored", "53", "200", "scaled"]
)
def test_meshed_anew(matrix: np.ndarray) -> None:
    design = skew_top("hinged")
    scale = np.sqrt(abs(np.linalg.det(matrix)))
    before = frequencies(design, TRIAL_WOOD, N_MODES, size=SIZE)
    after = frequencies(moved(design, matrix), TRIAL_WOOD, N_MODES, size=scale * SIZE)
    np.testing.assert_allclose(scale * after, before, rtol=OTHER_MESH)


def test_brace_of_no_height_is_no_brace() -> None:
    top = trial_top(1)
    low = replace(top.braces[0], stations=np.array([[0.0, 0.0], [0.26, 0.0]]))
    # The brace's strip still steers the mesh, so the plates differ by their discretisation.
    np.testing.assert_allclose(
        frequencies(top.with_brace(low), TRIAL_WOOD, N_MODES, size=SIZE),
        frequencies(plate(rectangle(0.4, 0.3), 2.8e-3, "clamped"), TRIAL_WOOD, N_MODES, size=SIZE),
        rtol=1e-3,
    )


def test_height_to_nothing_is_continuous() -> None:
    top = trial_top(1)
    found = []
    for height in (1e-5, 0.0):
        low = replace(top.braces[0], stations=np.array([[0.0, height], [0.26, height]]))
        found.append(frequencies(top.with_brace(low), TRIAL_WOOD, N_MODES, size=SIZE))
    np.testing.assert_allclose(found[0], found[1], rtol=1e-3)


@pytest.mark.parametrize(("kind", "tolerance"), [("free", 1.2e-3), ("clamped", 4e-3)])
def test_patch_of_the_same_wood_on_both_faces_is_a_thicker_plate(kind: str, tolerance: float) -> None:
    # Not exactly: the glue's surroundings give (fem/layer), which a plate in one piece does not count a second time.
    # Measured: 0.11 % too low at most when free, 0.37 % when clamped, where more is sheared.
    outline = rectangle(0.4, 0.3)
    layers = tuple(Patch(side, WOOD, outline, 0.4e-3, side) for side in ("inside", "outside"))  # type: ignore[arg-type]
    thick = frequencies(plate(outline, 2.8e-3, kind), TRIAL_WOOD, N_MODES, size=SIZE)
    built = replace(plate(outline, 2.0e-3, kind), patches=layers)
    np.testing.assert_allclose(frequencies(built, TRIAL_WOOD, N_MODES, size=SIZE), thick, rtol=tolerance)
