"""Solve a case and list the modes that its drawing should have.

Writes out/modes.csv and, with --pictures, one picture a mode.

example:
  bracedtop modes wren --modes 8 --pictures
  bracedtop modes wren --humidity 30
"""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from bracedtop.fem.case import Case
    from bracedtop.fem.describe import ModeSummary
    from bracedtop.fem.model import Model, Modes

MOST_MODES = 60


def mode_count(text: str) -> int:
    """Number of modes from the command line."""
    value = int(text) if text.isdecimal() else 0
    if not 1 <= value <= MOST_MODES:
        message = f"{text!r} is not a number of modes; give 1 to {MOST_MODES}"
        raise argparse.ArgumentTypeError(message)
    return value


def add_case(parser: argparse.ArgumentParser) -> None:
    """Arguments that every solving command shares."""
    parser.add_argument("case", type=Path, help="case folder that holds top.toml")
    parser.add_argument("--modes", type=mode_count, default=12, metavar="N", help="how many modes (default 12)")
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of a table")
    parser.add_argument("--quiet", action="store_true", help="no progress on standard error")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    from bracedtop.scripts.climate import add_climate

    add_case(parser)
    parser.add_argument(
        "--estimate-error", action="store_true", help="solve again with quartic elements and report the difference"
    )
    parser.add_argument("--pictures", action="store_true", help="draw every mode")
    add_climate(parser)


def run(args: argparse.Namespace) -> int:
    """List the modes of a case."""
    from bracedtop.fem.case import read_case
    from bracedtop.fem.describe import summarise
    from bracedtop.fem.model import build_model, solve
    from bracedtop.geometry.mesh import mesh_top
    from bracedtop.scripts.climate import in_climate
    from bracedtop.scripts.console import Progress, print_json
    from bracedtop.scripts.results import fresh_results

    progress = Progress(quiet=args.quiet)
    case = in_climate(read_case(args.case), args)
    with progress.stage("mesh"):
        mesh = mesh_top(case.design, mesh_size(case))
    with progress.stage("assemble"):
        model = build_model(case.design, case.woods, mesh=mesh)
    with progress.stage("modes"):
        modes = solve(model, args.modes)
    seconds = sum(progress.seconds.values())
    summaries = summarise(model, modes)
    errors = None
    if args.estimate_error:
        with progress.stage("second solve, quartic elements"):
            finer = solve(build_model(case.design, case.woods, mesh=mesh, order=4), args.modes)
            errors = [float(100 * (a / b - 1)) for a, b in zip(modes.frequencies, finer.frequencies, strict=True)]
    result = modes_json(case, model, modes, summaries, seconds)
    if errors is not None:
        for row, error in zip(result["modes"], errors, strict=True):
            row["error_percent"] = error
    note = None
    owned = ("modes.csv", "modes.vtu", "pictures/mode-*.png") if args.pictures else ("modes.csv",)
    with fresh_results(args.case, owned) as folder:
        write_modes_csv(folder / "modes.csv", result["modes"])
        if args.pictures:
            from bracedtop.scripts.drawing import draw_modes

            with progress.stage("pictures"):
                note = draw_modes(case, model, modes, summaries, folder).note
    written = [str(args.case / "out" / name) for name in ("modes.csv", *(["modes.vtu", "pictures"] * args.pictures))]
    if args.json:
        print_json({**result, "written": written})
        return 0
    print_modes(case, model, result, errors)
    if note:
        print(note)
    print(f"Written: {', '.join(written)}")
    return 0


def mesh_size(case: "Case") -> float:
    """Element size of a case, m."""
    from bracedtop.fem.model import MESH_SIZE

    return case.mesh_size or MESH_SIZE


def modes_json(
    case: "Case", model: "Model", modes: "Modes", summaries: "tuple[ModeSummary, ...]", seconds: float
) -> dict[str, Any]:
    """What ``modes --json`` prints."""
    from bracedtop.fem.bridge_motion import bridge_area
    from bracedtop.geometry.units import DEGREE, MM
    from bracedtop.scripts.climate import climate_json

    rows = [
        {
            "mode": s.mode,
            "hz": s.hz,
            "modal_mass_g": 1e3 * s.modal_mass,
            "nodal_lines": list(s.nodal_lines),
            "looks_like": s.name,
            "bridge": s.bridge.name,
            "bridge_shares": s.bridge.shares,
            "bridge_level": s.bridge.level,
            "energy_shares": s.shares,
        }
        for s in summaries
    ]
    mesh = model.mesh
    area, what = bridge_area(model.design)
    return {
        "modes": rows,
        "bridge_area": what,
        "bridge_area_cm2": 1e4 * area.area,
        "unknowns": model.n_unknowns,
        "seconds": seconds,
        "peak_memory_mb": peak_memory_mb(),
        "mesh": {
            "triangles": int(mesh.flat.t.shape[1]),
            "size_mm": mesh.size / MM,
            "min_angle_deg": mesh.min_angle / DEGREE,
        },
        "mass_g": {
            "top": 1e3 * (model.mass("top") + model.mass("ring")),
            "braces": 1e3 * (model.mass("brace") + model.mass("joint")),
            "patches": 1e3 * model.mass("patch"),
        },
        "residual": modes.residual,
        "rigid_modes": modes.n_rigid,
        "warnings": list(case.warnings),
        "climate": climate_json(case.climate),
    }


def peak_memory_mb() -> float | None:
    """Largest memory of this process so far, MB; None where the system does not tell."""
    try:
        import resource
    except ImportError:
        return None
    import sys

    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / (1e6 if sys.platform == "darwin" else 1e3)


def write_modes_csv(path: Path, rows: list[dict[str, Any]]) -> None:
    """Write the modes as a table."""
    import csv

    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(["mode", "hz", "modal_mass_g", "lines_across", "lines_along", "looks_like", "bridge"])
        for row in rows:
            across, along = row["nodal_lines"]
            cells = [row["mode"], f"{row['hz']:.3f}", f"{row['modal_mass_g']:.2f}"]
            writer.writerow([*cells, across, along, row["looks_like"], row["bridge"]])


def print_modes(case: "Case", model: "Model", result: dict[str, Any], errors: list[float] | None) -> None:
    """Print the modes for a reader at the bench."""
    from bracedtop.geometry.units import note
    from bracedtop.scripts.console import print_table, signed

    mass = result["mass_g"]
    print(f"{case.name}: top {mass['top']:.0f} g, braces {mass['braces']:.1f} g, patches {mass['patches']:.1f} g")
    if result["rigid_modes"]:
        print(f"free edge: {result['rigid_modes']} rigid-body motions set apart")
    head = ["mode", "looks like", "bridge", "Hz", "note", "cents", "grams at bridge", "governed by"]
    rows = []
    for k, row in enumerate(result["modes"]):
        name, cents = note(row["hz"])
        shares = sorted(row["energy_shares"].items(), key=lambda item: -item[1])[:3]
        mass_g = row["modal_mass_g"]
        cells = [
            str(row["mode"]),
            row["looks_like"],
            row["bridge"],
            f"{row['hz']:.1f}",
            name,
            signed(cents, 0),
            "stands still" if mass_g > 1e5 else f"{mass_g:.0f}",
            ", ".join(f"{part} {100 * share:.0f} %" for part, share in shares),
        ]
        if errors is not None:
            cells.insert(4, f"{errors[k]:+.2f} %")
        rows.append(cells)
    if errors is not None:
        head.insert(4, "mesh error")
    print_table(head, rows, left=3)
    if "disc" in result["bridge_area"]:
        print(f"no bridge is drawn; {result['bridge_area']} stands for it")
    mesh = result["mesh"]
    print(
        f"{result['unknowns']} unknowns, {mesh['triangles']} triangles of {mesh['size_mm']:g} mm, smallest angle "
        f"{mesh['min_angle_deg']:.0f} degrees; {result['seconds']:.2f} s"
    )
    for warning in result["warnings"]:
        print(f"note: {warning}")
