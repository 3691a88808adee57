"""bracedtop ring and bracedtop brief from outside, on a small invented box."""

import json

import pytest
from commands.command_line import TOP, call, contents

from bracedtop.fem import box_model, closed_case
from bracedtop.fem.box_calibration import begun, box_predicted
from bracedtop.fem.case import read_case
from bracedtop.fem.closed_modes import HOLES, closed_modes
from bracedtop.fem.closed_prior import TopKnown

BOX = """
[[hole]]
centre_mm = [228, -50]
diameter_mm = 46

[sides]
wood = "mahogany_honduras"
thickness_mm = 2.2
depth_mm = [[0, 80], [300, 70]]

[back]
wood = "mahogany_honduras"
thickness_mm = 4

[[lining]]
face = "top"
wood = "basswood"
width_mm = 6
height_mm = 12
"""

BRIEF = """
note = "Invented."

[theirs]
name = "old one"
bass_db = 80
air_hz = 150
air_q = 30

[wish]
bass = "a little more"
sustain = "more"
"""


@pytest.fixture(scope="module")
def model(tmp_path_factory):
    folder = tmp_path_factory.mktemp("once") / "small"
    folder.mkdir()
    (folder / "top.toml").write_text(TOP + BOX)
    return box_model.build_box(read_case(folder))


@pytest.fixture
def boxed(case, model, monkeypatch):
    """The case with its box; the model is built once, and the loose top's taps are left out, tested elsewhere."""
    (case / "top.toml").write_text(TOP + BOX)
    monkeypatch.setattr(box_model, "build_box", lambda case: model)
    monkeypatch.setattr(closed_case, "closed_box", lambda *given, **named: model)

    def top_known(case):
        prior = begun(closed_modes(model)).covariance[:5, :5]
        return TopKnown(model.top.model.design, model.top.model.woods, {}, prior, {}, tapped=False)

    monkeypatch.setattr(closed_case, "top_known", top_known)
    return case


@pytest.fixture
def tapped(boxed, model):
    """Taps of both states of the hole, a little off the drawing."""
    closed = closed_modes(model)
    for hole in HOLES:
        folder = boxed / "closed" / hole
        folder.mkdir(parents=True)
        hz, _ = box_predicted(begun(closed), hole)
        rows = [f"{0.99 * f:.2f},{40 + k}" for k, f in enumerate(hz[:7])]
        (folder / "taps.csv").write_text("hz,q\n" + "\n".join(rows) + "\n")
    return boxed


def _wish(model, cents):
    """A frequency some cents below the tapped note of the blocked top."""
    closed = closed_modes(model)
    return f"top blocked = {0.99 * closed.blocked.frequencies[closed.top_blocked] * 2 ** (-cents / 1200):.3f}"


def test_ring_of_an_untapped_box_plans_nothing(boxed):
    outcome = call("ring", boxed, "--quiet", "--target", "air = 50")
    assert outcome.code == 0, outcome
    assert "has not been tapped" in outcome.out
    assert "Pass 1" not in outcome.out
    assert outcome.last.startswith("Written: ")


def test_ring_of_a_tapped_box(tapped, model):
    before = contents(tapped)
    outcome = call("ring", tapped, "--target", _wish(model, 25), "--take", "0.15")
    assert outcome.code == 0, outcome
    for words in ("Taps of the closed box", "Hz per 0.01 mm", "0.15 mm", "ring width", "Pass 1: take", "--took"):
        assert words in outcome.out, words
    assert "wear a mask" in outcome.out
    assert "common practice, no source" in outcome.out
    after = contents(tapped)
    assert {"out/ring/ring.json", "out/ring/ring-where.png"} <= set(after)
    assert {name: after[name] for name in before} == before
    data = json.loads((tapped / "out" / "ring" / "ring.json").read_text())
    assert data["state"] == "pass"
    assert all(row["chance_of_passing"] <= 0.05 for row in data["passes"])
    assert sum(row["share"] for row in data["sectors"]) == pytest.approx(1)
    assert all(abs(row["cents_after"]) < 10 for row in data["calibration"]["taps"])


def test_ring_says_what_would_help_where_thinning_does_not(tapped, model):
    outcome = call("ring", tapped, "--quiet", "--json", "--no-pictures", "--target", _wish(model, 400))
    data = json.loads(outcome.out)
    assert data["state"] == "too far"
    assert data["unreachable_by_cents"] > 100
    assert data["passes"] == []
    assert any("at the bridge" in line for line in data["would_help"])


def test_a_pass_is_recorded_once_and_before_the_next_tap_no_other(tapped):
    outcome = call("ring", tapped, "--took", "0.05")
    assert outcome.code == 0, outcome
    assert (tapped / "closed" / "pass-1" / "cut.csv").exists()
    assert (tapped / "closed" / "pass-1" / "blocked" / "taps").is_dir()
    assert "pass 1 over the ring: 0.05 mm off" in (tapped / "log.jsonl").read_text()
    again = call("ring", tapped, "--took", "0.05")
    assert again.code == 2
    assert "not tapped" in again.err
    shown = call("ring", tapped, "--quiet", "--no-pictures", "--target", "air = 50")
    assert "has not been tapped" in shown.out


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--target", "octaves"], "allowed are"),
        (["--width", "-3"], "--width"),
        (["--took", "9"], "mm"),
    ],
)
def test_ring_refuses_in_one_line(tapped, arguments, said):
    outcome = call("ring", tapped, *arguments)
    assert outcome.code == 2
    assert len(outcome.err.strip().splitlines()) == 1
    assert said in outcome.err


def test_ring_and_brief_need_a_box(case):
    for name, more in (("ring", []), ("brief", ["--wish", "bass = more"])):
        outcome = call(name, case, *more)
        assert outcome.code == 2
        assert "no box" in outcome.err


def test_brief_from_its_file(boxed):
    (boxed / "brief.toml").write_text(BRIEF)
    outcome = call("brief", boxed)
    assert outcome.code == 0, outcome
    for words in (
        "old one",
        "81.0 dB",
        "a little more",
        "Put together",
        "Lines for top.toml",
        "How loud it is in front",
    ):
        assert words in outcome.out, words
    assert "sustain: the other instrument's figure is not known" in outcome.out
    data = json.loads((boxed / "out" / "brief" / "brief.json").read_text())
    assert {row["word"] for row in data["wish"]} == {"bass", "sustain"}
    assert (boxed / "out" / "brief" / "brief.png").exists()
    # The lines read back in the drawing.
    lines = (boxed / "out" / "brief" / "lines.toml").read_text()
    (boxed / "top.toml").write_text(TOP + BOX + lines)
    assert read_case(boxed).box is not None


def test_brief_against_another_case(boxed, model, tmp_path):
    other = tmp_path / "other"
    other.mkdir()
    (other / "top.toml").write_text(TOP + BOX)
    outcome = call(
        "brief", boxed, "--against", other, "--wish", "presence = the same", "--json", "--quiet", "--no-pictures"
    )
    assert outcome.code == 0, outcome
    data = json.loads(outcome.out)
    theirs, ours = data["instruments"]
    assert theirs["figures"] == pytest.approx(ours["figures"])
    assert data["together"]["ways"] == []
    assert data["together"]["share_of_wish"] == 1


@pytest.mark.parametrize(("wish", "said"), [("bass = lots", "a little more"), ("bass", "allowed")])
def test_brief_refuses_in_one_line(boxed, wish, said):
    outcome = call("brief", boxed, "--wish", wish)
    assert outcome.code == 2
    assert len(outcome.err.strip().splitlines()) == 1
    assert said in outcome.err
