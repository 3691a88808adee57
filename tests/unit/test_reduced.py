"""The what-if model against full solutions, its derivatives, its range, and the file in which it is kept.

Outside the project: sums that any linear elastic top obeys (frequencies scale with the root of stiffness over density).
The full solutions themselves are checked in tests/published.
"""

from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from shutil import copytree

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reference.tapped_top import in_double

from bracedtop.fem.case import read_case
from bracedtop.fem.model import build_model, deflections, solve
from bracedtop.fem.parameter import drawing_at, parameters_of
from bracedtop.fem.reduced import (
    Reduced,
    deflections_at,
    followed,
    mass_rates,
    rates,
    shapes,
    tracked,
    what_if,
)
from bracedtop.fem.reduced_build import build_reduced
from bracedtop.fem.reduced_file import FILE, FOLDER, case_reduced, fingerprint, read_reduced
from bracedtop.geometry.design import Edge
from bracedtop.geometry.errors import DesignError

CHECKS = Path(__file__).resolve().parents[2] / "cases" / "checks"
N = 8
SIZE = 35e-3


@lru_cache(maxsize=2)
def _small(kind: str) -> Reduced:
    case = read_case(CHECKS / "thinned_edge")
    edge = Edge("springs", 2e5, 30.0, 2e7) if kind == "springs" else Edge("free")
    return build_reduced(replace(case.design, edge=edge), case.woods, N, size=SIZE, basis=110, snapshots=28)


def small(kind: str = "springs") -> Reduced:
    """A small braced top with an edge ring, on springs or free."""
    return _small(kind)


def full(reduced: Reduced, values: np.ndarray) -> tuple[np.ndarray, float]:
    """Frequencies and mass of the full model."""
    design, woods = drawing_at(reduced.design, reduced.woods, reduced.parameters, values)
    model = build_model(design, woods, mesh=reduced.mesh)
    return solve(model, N).frequencies, model.mass()


def changed(reduced: Reduced, kind: str, factor: float) -> np.ndarray:
    """Values of the drawing with all parameters of a kind times a factor (added mass: 10 g), inside the range."""
    values = reduced.drawn
    for i, p in enumerate(reduced.parameters):
        if p.kind == kind:
            values[i] = 10e-3 if kind == "mass" else np.clip(factor * p.drawn, p.low, p.high)
    return values


def random_heights(reduced: Reduced, rng: np.random.Generator) -> np.ndarray:
    return np.array([rng.uniform(p.low, p.drawn) if p.kind == "height" else p.drawn for p in reduced.parameters])


@pytest.mark.parametrize("kind", ["ring", "thickness", "E_L", "E_R", "G_LR", "density", "brace_E", "springs", "mass"])
def test_one_kind_of_parameter_as_a_full_solution(kind: str) -> None:
    reduced = small()
    values = changed(reduced, kind, 0.9)
    state = what_if(reduced, values)
    hz, mass = full(reduced, values)
    np.testing.assert_allclose(state.frequencies, hz, rtol=5e-4)
    assert state.mass == pytest.approx(mass, rel=1e-7)


@pytest.mark.parametrize("kind", ["springs", "free"])
def test_heights_at_random_as_full_solutions(kind: str) -> None:
    reduced = small(kind=kind)
    rng = np.random.default_rng(3)
    for values in [reduced.drawn, *(random_heights(reduced, rng) for _ in range(4))]:
        state = what_if(reduced, values)
        hz, mass = full(reduced, values)
        np.testing.assert_allclose(state.frequencies, hz, rtol=1e-3)
        assert state.mass == pytest.approx(mass, rel=1e-4)


def test_derivatives_are_exact() -> None:
    reduced = in_double(small())
    rng = np.random.default_rng(1)
    values = changed(reduced, "thickness", 0.97)
    for i, p in enumerate(reduced.parameters):
        values[i] = np.clip(values[i] * rng.uniform(0.92, 0.98), p.low, p.high) if p.kind != "mass" else 2e-3
    state = what_if(reduced, values)
    slopes, grams = rates(reduced, state), mass_rates(reduced, state)
    for i, p in enumerate(reduced.parameters):
        step = 1e-4 * max(p.drawn, 0.01)
        up, down = values.copy(), values.copy()
        up[i], down[i] = min(values[i] + step, p.high), max(values[i] - step, p.low)
        a, b = what_if(reduced, up), what_if(reduced, down)
        width = up[i] - down[i]
        if min(p.high - values[i], values[i] - p.low) < step:
            # At the border of the range the difference is one-sided and only of first order.
            continue
        size = np.abs(slopes[:, i]).max()
        np.testing.assert_allclose((a.frequencies - b.frequencies) / width, slopes[:, i], atol=1e-5 * size)
        assert (a.mass - b.mass) / width == pytest.approx(grams[i], rel=1e-6, abs=1e-9)


def test_stiffer_or_heavier_wood_scales_all_modes() -> None:
    """A free top of one wood without patches: f ~ sqrt(E / rho) if every modulus grows alike."""
    case = read_case(CHECKS / "bare")
    design = replace(case.design, edge=Edge("free"))
    reduced = build_reduced(design, case.woods, N, size=SIZE, basis=60)
    at = {p.kind: i for i, p in enumerate(reduced.parameters)}
    values = reduced.drawn
    values[at["density"]] = 1.21
    drawn = what_if(reduced, reduced.drawn)
    np.testing.assert_allclose(what_if(reduced, values).frequencies, drawn.frequencies / 1.1, rtol=1e-9)
    assert rates(reduced, drawn)[:, at["density"]] == pytest.approx(-drawn.frequencies / 2, rel=1e-9)


def test_shapes_and_masses_of_modes() -> None:
    reduced = small(kind="free")
    model = build_model(reduced.design, reduced.woods, mesh=reduced.mesh)
    modes, state = solve(model, N), what_if(reduced, reduced.drawn)
    points = np.array([[0.05, 0.02], [0.1, -0.05], [0.2, 0.03]])
    expected, found = deflections(model, modes, points), deflections_at(reduced, state, points)
    sign = np.sign((expected * found).sum(axis=1))
    np.testing.assert_allclose(sign[:, None] * found, expected, atol=0.02 * np.abs(expected).max())
    whole = shapes(reduced, state)
    at = model.space.basis.doflocs.T
    nearest = np.hypot(*(at - points[0]).T).argmin()
    np.testing.assert_allclose(deflections_at(reduced, state, at[nearest][None])[:, 0], whole[:, nearest], atol=1e-6)


def test_modes_are_followed() -> None:
    reduced = small()
    start = what_if(reduced, reduced.drawn)
    assert followed(reduced, what_if(reduced, reduced.drawn, n_modes=N + 2), start) == tuple(range(N))
    rng = np.random.default_rng(0)
    values = 0.9 * reduced.drawn + 0.1 * random_heights(reduced, rng)
    state = tracked(reduced, values, start)
    assert sorted(state.frequencies) == pytest.approx(sorted(what_if(reduced, values).frequencies), rel=1e-6)


@given(st.integers(0, 10**6), st.sampled_from([-1.0, 1.0]))
@settings(max_examples=30, deadline=None)
def test_outside_its_range_it_refuses(pick: int, side: float) -> None:
    reduced = small()
    i = pick % len(reduced.parameters)
    p = reduced.parameters[i]
    values = reduced.drawn
    values[i] = p.high * 1.02 + 1e-3 if side > 0 else p.low - 0.02 * max(p.drawn, 1e-3)
    with pytest.raises(DesignError, match=r"the reduced model holds from .* to ") as raised:
        what_if(reduced, values)
    assert p.name in str(raised.value)
    assert "\n" not in str(raised.value)


def test_values_that_are_no_numbers_are_refused() -> None:
    reduced = small()
    for bad in (reduced.drawn[:-1], np.full(len(reduced.drawn), np.nan)):
        with pytest.raises(DesignError, match="finite numbers"):
            what_if(reduced, bad)


def test_range_at_joints_and_low_ends() -> None:
    case = read_case(CHECKS / "half_lap")
    parameters = parameters_of(case.design)
    for joint in case.design.joints:
        for name in (joint.under, joint.over):
            nearest = [p for p in parameters if p.part == name and p.kind == "height"]
            assert max(p.low for p in nearest) > (joint.kept or 0)
    for p in parameters:
        assert p.low <= p.drawn <= p.high


@pytest.fixture
def few_snapshots(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("bracedtop.fem.reduced_build.SNAPSHOTS", 3)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("kept") / "case"
    copytree(CHECKS / "one_brace", path)
    return path


def test_kept_beside_the_case_and_dropped_when_the_drawing_changes(folder: Path, few_snapshots: None) -> None:
    case = replace(read_case(folder), mesh_size=60e-3)
    first = case_reduced(case, 4)
    file = folder / FOLDER / FILE
    written = file.stat().st_mtime_ns
    again = case_reduced(case, 4)
    assert file.stat().st_mtime_ns == written
    values = 0.98 * first.drawn + 0.02 * np.array([p.low for p in first.parameters])
    a, b = what_if(first, values), what_if(again, values)
    np.testing.assert_array_equal(a.frequencies, b.frequencies)
    np.testing.assert_array_equal(rates(first, a), rates(again, b))
    point = first.design.driving_point[None]
    np.testing.assert_array_equal(deflections_at(first, a, point), deflections_at(again, b, point))
    brace = case.design.braces[0]
    thinner = case.design.with_brace(replace(brace, width=brace.width - 1e-6))
    assert fingerprint(thinner, case.woods, 4, None) != fingerprint(case.design, case.woods, 4, None)
    other = case_reduced(replace(case, design=thinner), 4)
    assert file.stat().st_mtime_ns != written
    assert what_if(other, values).frequencies[0] != a.frequencies[0]


@pytest.mark.parametrize("rubbish", [b"", b"PK\x03\x04 broken", b"\x93NUMPY"])
def test_a_broken_file_is_not_read(tmp_path: Path, rubbish: bytes) -> None:
    case = read_case(CHECKS / "one_brace")
    file = tmp_path / FILE
    assert read_reduced(file, "mark", case.design, case.woods, None) is None
    file.write_bytes(rubbish)
    assert read_reduced(file, "mark", case.design, case.woods, None) is None


def test_a_broken_file_is_made_anew(folder: Path, few_snapshots: None) -> None:
    case = replace(read_case(folder), mesh_size=60e-3)
    file = folder / FOLDER / FILE
    file.parent.mkdir(exist_ok=True)
    file.write_bytes(b"broken")
    reduced = case_reduced(case, 4)
    assert len(what_if(reduced, reduced.drawn).frequencies) == 4
    assert file.stat().st_size > 1000
