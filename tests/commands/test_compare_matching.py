"""What `compare` says of shapes and of close calls, with taps put in place of recordings."""

import csv
import json
from dataclasses import replace

import numpy as np
import pytest
from commands.command_line import call

from bracedtop.fem.case import read_case
from bracedtop.fem.model import build_model, deflections, solve
from bracedtop.fem.tap_shape import Shape
from bracedtop.fem.taps import Measured, Taps
from bracedtop.scripts.modes import mesh_size

POINTS = np.array([(x, y) for x in (0.03, 0.11, 0.19, 0.27) for y in (-0.08, 0.01, 0.09)])
QUIETLY = ("--modes", 5, "--no-pictures", "--quiet")


def only_json(outcome):
    assert outcome.code == 0, outcome.err
    return json.loads(outcome.out)


@pytest.fixture
def taps(case, monkeypatch):
    """Puts taps in place: modes at factors of the predicted frequencies, with shapes where asked for."""
    read = read_case(case)
    model = build_model(read.design, read.woods, size=mesh_size(read))
    modes = solve(model, 5)
    w = deflections(model, modes, POINTS)

    def put(factors, *, shaped=()):
        hz = modes.frequencies * factors
        order = np.argsort(hz)
        measured = []
        for number, k in enumerate(order, start=1):
            mode = Measured(number, float(hz[k]), None, None, None)
            if k + 1 in shaped:
                mode = replace(mode, shape=Shape(POINTS, w[k] / np.abs(w[k]).max(), np.full(len(POINTS), 0.05)))
            measured.append(mode)
        monkeypatch.setattr("bracedtop.scripts.comparison.read_taps", lambda _: Taps(tuple(measured), (), (), ()))
        return {number: int(k) + 1 for number, k in enumerate(order, start=1)}

    return put


def test_shapes_settle_what_frequencies_would_get_wrong(case, taps):
    # Modes 3 and 4 trade places.
    right = taps(np.array([1.0, 1.0, 1.12, 0.9, 1.0]), shaped=(3, 4))
    result = only_json(call("compare", case, *QUIETLY, "--json"))
    assert {pair["measured"]: pair["mode"] for pair in result["pairs"]} == right
    assert result["mac"]["modes"] == [1, 2, 3, 4, 5]
    assert result["mac"]["points"] == [12, 12]
    assert [right[number] for number in result["mac"]["measured"]] == [4, 3]
    values = np.array(result["mac"]["values"])
    assert values[[3, 2], [0, 1]] == pytest.approx([1, 1])
    assert values.shape == (5, 2)
    by_mode = {pair["mode"]: pair for pair in result["pairs"]}
    assert by_mode[3]["mac"] == pytest.approx(1)
    assert by_mode[1]["mac"] is None
    assert (by_mode[3]["shape_points"], by_mode[1]["shape_points"]) == (12, 0)


def test_the_table_has_mac_only_where_shapes_were_measured(case, taps):
    taps(np.ones(5), shaped=(1, 2, 3, 4, 5))
    out = call("compare", case, *QUIETLY).out
    head = next(line for line in out.splitlines() if "looks like" in line)
    assert "MAC" in head
    assert out.count("1.00") >= 5
    rows = list(csv.DictReader((case / "out" / "pairs.csv").open(encoding="utf-8")))
    assert [row["mac"] for row in rows] == ["1"] * 5
    taps(np.ones(5))
    assert "MAC" not in call("compare", case, *QUIETLY).out
    assert only_json(call("compare", case, *QUIETLY, "--json"))["mac"] is None


def test_close_calls_are_said(case, taps):
    taps(np.ones(5))
    crowded = only_json(call("compare", case, *QUIETLY, "--json"))
    for close in crowded["ambiguities"]:
        assert {"modes", "measured", "apart_hz", "tap_mm", "amplitudes_there", "words"} <= close.keys()
        assert str(close["modes"][0]) in close["words"]
    out = call("compare", case, *QUIETLY).out
    said = [line.removeprefix("close call: ") for line in out.splitlines() if line.startswith("close call: ")]
    assert said == [close["words"] for close in crowded["ambiguities"]]
    taps(np.ones(5), shaped=(1, 2, 3, 4, 5))
    assert only_json(call("compare", case, *QUIETLY, "--json"))["ambiguities"] == []


def test_the_report_has_the_matrix_and_the_close_calls(case, taps):
    taps(np.array([1.0, 1.0, 1.0, 0.98, 1.0]), shaped=(1,))
    assert call("compare", case, "--modes", 5, "--quiet").code == 0
    page = (case / "out" / "report.html").read_text(encoding="utf-8")
    assert "Matrix of the MAC of 5 predicted with 1 tapped shapes" in page
    assert (case / "out" / "pictures" / "mac.png").stat().st_size > 5_000
    assert '<th scope="col">MAC</th>' in page
    assert ("Close calls" in page) == ("could" in page)
    # Gone when there are no shapes any more.
    taps(np.ones(5))
    assert call("compare", case, *QUIETLY).code == 0
    assert not (case / "out" / "pictures" / "mac.png").exists()
