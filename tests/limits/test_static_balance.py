"""What statics demands of every solution: reactions balance the load, mirror images, proportion, reciprocity."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reference.plates import TRIAL_WOOD, WOOD, rectangle
from reference.statics import box_traction

from bracedtop.fem.bridge_load import string_tractions
from bracedtop.fem.load_summary import held_design, load_summary
from bracedtop.fem.model import Model, build_model
from bracedtop.fem.static import deflections_at, force_vector, resultant, solve_static
from bracedtop.fem.strength import Strength
from bracedtop.fem.strings import String, StringSet
from bracedtop.geometry.brace import Brace
from bracedtop.geometry.design import Design, Edge, Plate
from bracedtop.geometry.dome import Dome
from bracedtop.geometry.errors import DesignError
from bracedtop.geometry.outline import Hole, body_outline, polygon_outline
from bracedtop.geometry.patch import Patch

WOODS = {WOOD: TRIAL_WOOD}
EDGES = {
    "clamped": Edge("clamped"),
    "hinged": Edge("hinged"),
    "springs": Edge("springs", deflection=2e6, rotation=20.0, inplane=5e6),
}
SIZE = 0.045


def bridge() -> Patch:
    corners = np.array([[0.13, -0.07], [0.16, -0.07], [0.16, 0.07], [0.13, 0.07]])
    return Patch("bridge", WOOD, polygon_outline(corners), 6e-3, "outside", np.pi / 2, is_bridge=True)


def top(edge: Edge, *, symmetric: bool = True) -> Design:
    outline = body_outline(0.46, 0.36, 0.12, 0.23, 0.27, 0.27, 0.38)
    stations = np.array([[0.0, 4e-3], [0.1, 12e-3], [0.195, 5e-3]])
    path = np.array([[0.08, 0.0], [0.28, 0.0]]) if symmetric else np.array([[0.07, -0.05], [0.24, 0.055]])
    return Design(
        outline,
        Plate(WOOD, 2.8e-3),
        holes=(Hole(np.array([0.33, 0.0]), np.array([0.045, 0.045])),),
        braces=(Brace("a", WOOD, path, 7e-3, stations),),
        patches=(bridge(),),
        edge=edge,
    )


def set_of(tensions: tuple[float, ...] = (110.0, 130.0, 135.0, 125.0, 100.0, 105.0)) -> StringSet:
    return StringSet(tuple(String(f"string {k}", t) for k, t in enumerate(tensions, start=1)), 12e-3)


@pytest.fixture(scope="module", params=list(EDGES))
def held(request: pytest.FixtureRequest) -> Model:
    return build_model(top(EDGES[request.param], symmetric=False), WOODS, size=SIZE)


def test_reactions_balance_the_strings(held: Model) -> None:
    static = solve_static(held, force_vector(held, string_tractions(held, set_of())))
    load, reaction = resultant(held, static.force), resultant(held, static.reaction)
    assert np.abs(load + reaction)[:3].max() < 1e-8 * np.abs(load[:3]).max()
    assert np.abs(load + reaction)[3:].max() < 1e-8 * np.abs(load[3:]).max()
    assert static.residual < 1e-9


def test_held_unknowns_alone_react(held: Model) -> None:
    static = solve_static(held, force_vector(held, string_tractions(held, set_of())))
    # Of springs the reaction is what they push back with; of a held rim nothing is left along the motions it allows.
    allowed = held.expand.T @ (static.reaction + held.springs @ static.vector)
    assert np.abs(allowed).max() < 1e-8 * np.abs(static.reaction).max()


def test_twice_the_tension_twice_everything() -> None:
    model = build_model(top(EDGES["hinged"]), WOODS, size=SIZE)
    strengths = {WOOD: Strength()}
    once = load_summary(model, set_of(), strengths)
    twice = load_summary(model, set_of(tuple(2 * s.tension for s in set_of().strings)), strengths)
    assert np.tan(twice.rotation) == pytest.approx(2 * np.tan(once.rotation), rel=1e-9)
    assert once.belly is not None
    assert twice.belly is not None
    assert twice.belly.deflection == pytest.approx(2 * once.belly.deflection, rel=1e-9)
    for a, b in zip(once.lines, twice.lines, strict=True):
        assert b.stress == pytest.approx(2 * a.stress, rel=1e-9)
    assert once.balance < 1e-8


def test_symmetric_top_under_even_strings() -> None:
    model = build_model(top(EDGES["hinged"]), WOODS, size=0.02)
    static = solve_static(model, force_vector(model, string_tractions(model, set_of((120.0,) * 6))))
    right = np.array([[0.1, 0.08], [0.2, 0.05], [0.06, 0.12], [0.3, 0.09]])
    w = deflections_at(static, right)
    # The mesh is not symmetric, so neither is its error, some thousandths.
    np.testing.assert_allclose(deflections_at(static, right * [1, -1]), w, atol=3e-3 * np.abs(w).max())
    assert abs(resultant(model, static.force)[[1, 3, 5]]).max() < 1e-9


@settings(max_examples=8)
@given(seed=st.integers(0, 10_000))
def test_reciprocity_of_places(seed: int) -> None:
    """Maxwell's theorem: the deflection at b under a push at a is that at a under the same push at b."""
    model = RECIPROCAL
    a, b = np.random.default_rng(seed).uniform([0.03, 0.03], [0.32, 0.24], (2, 2))
    boxes = [(x, y, x + 0.02, y + 0.02) for x, y in (a, b)]
    tractions = [box_traction(model, box, out=1e3) for box in boxes]
    forces = [force_vector(model, [traction]) for traction in tractions]
    vectors = [solve_static(model, force).vector for force in forces]
    assert forces[0] @ vectors[1] == pytest.approx(forces[1] @ vectors[0], rel=1e-8)


RECIPROCAL = build_model(
    Design(rectangle(0.37, 0.29), Plate(WOOD, 2.5e-3), braces=top(EDGES["clamped"]).braces[:0], edge=Edge("hinged")),
    WOODS,
    size=0.06,
)


@given(
    height=st.floats(1e-3, 60e-3),
    spread=st.floats(5e-3, 0.13),
    fall=st.floats(-0.3, 0.3),
    tensions=st.lists(st.floats(1.0, 500.0), min_size=1, max_size=12),
    anchor=st.sampled_from(["bridge", "tailpiece"]),
    domed=st.booleans(),
)
@settings(max_examples=25)
def test_tractions_are_the_strings_free_body(
    height: float, spread: float, fall: float, tensions: list[float], anchor: str, domed: bool
) -> None:
    """Forces and moments of the tractions are those of each string in its own line."""
    strings = StringSet(
        tuple(String(f"{k}", t) for k, t in enumerate(tensions)),
        height,
        anchor,
        0.35,
        fall,
        spread,  # type: ignore[arg-type]
    )
    model = DOMED if domed else FREE_BODY
    found = resultant(model, force_vector(model, string_tractions(model, strings)))
    x, y = model.design.driving_point
    rise = DOME.height(model.design.driving_point)[0] if domed else 0.0
    z = rise + model.design.plate.thickness / 2 + height
    expected = np.zeros(6)
    for (pull, push), offset in zip(strings.forces(), strings.offsets, strict=True):
        place, force = np.array([x, y + offset, z]), np.array([pull, 0.0, push])
        expected += np.concatenate([force, np.cross(place, force)])
    np.testing.assert_allclose(found, expected, rtol=1e-9, atol=1e-9 * sum(tensions))


FREE_BODY = build_model(top(EDGES["clamped"]), WOODS, size=0.06)
DOME = Dome(5.0, 4.0, (0.2, 0.01))
DOMED = build_model(replace(top(EDGES["clamped"]), plate=Plate(WOOD, 2.8e-3, dome=DOME)), WOODS, size=0.06)


def test_without_a_bridge_the_strings_stand_on_feet() -> None:
    design = replace(top(EDGES["hinged"]), patches=(), bridge_point=(0.145, 0.01))
    model = build_model(design, WOODS, size=SIZE)
    found = load_summary(model, set_of(), {WOOD: Strength()})
    assert found.rotation > 0
    assert found.balance < 1e-8
    assert not [line for line in found.lines if line.part == "bridge"]
    load = resultant(model, found.static.force)
    assert load[0] == pytest.approx(705.0)
    assert load[4] == pytest.approx(705.0 * (12e-3 + 1.4e-3))


def test_springs_that_let_the_top_slide_are_refused() -> None:
    model = build_model(top(Edge("springs", deflection=1e6, rotation=10.0)), WOODS, size=0.06)
    with pytest.raises(DesignError, match="springs that resist some motions only"):
        load_summary(model, set_of(), {WOOD: Strength()})


def test_a_free_top_is_refused_and_held_by_default() -> None:
    design = top(Edge("free"))
    model = build_model(design, WOODS, size=0.06)
    with pytest.raises(DesignError, match="edge is free"):
        load_summary(model, set_of(), {WOOD: Strength()})
    assert held_design(design, set_of()).edge.kind == "hinged"
    assert held_design(design, replace(set_of(), held="clamped")).edge.kind == "clamped"
    assert held_design(top(EDGES["springs"]), set_of()).edge.kind == "springs"


def test_strings_beside_the_bridge_are_refused() -> None:
    with pytest.raises(DesignError, match=r"string 1 passes at y = 75\.0 mm beside the bridge"):
        string_tractions(FREE_BODY, replace(set_of(), spread=0.15))
    bare = build_model(replace(top(EDGES["clamped"]), patches=(), bridge_point=(0.145, 0.0)), WOODS, size=0.06)
    with pytest.raises(DesignError, match="beside the wood"):
        string_tractions(bare, replace(set_of(), spread=0.5))


def test_clamped_sides_let_the_bridge_turn_less() -> None:
    turns = [
        load_summary(build_model(top(EDGES[kind]), WOODS, size=SIZE), set_of(), {WOOD: Strength()}).rotation
        for kind in ("clamped", "hinged")
    ]
    assert 0 < turns[0] < turns[1]
