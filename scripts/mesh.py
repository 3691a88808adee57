"""Triangulate a case and write the mesh as out/mesh.vtu.

The file holds the triangles with their regions (top, ring, patches) and the lines of rim, holes and braces, for
any program that reads VTU.

example:
  bracedtop mesh wren --size-mm 15
"""

import argparse
from pathlib import Path


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("case", type=Path, help="case folder that holds top.toml")
    parser.add_argument("--size-mm", type=element_size, default=None, metavar="MM", help="element size (default 22)")
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of text")
    parser.add_argument("--quiet", action="store_true", help="no progress on standard error")


def element_size(text: str) -> float:
    """Element size from the command line, in m."""
    from bracedtop.geometry.units import MM

    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not 3 <= value <= 200:
        message = f"{text!r} is not an element size; give 3 to 200 mm"
        raise argparse.ArgumentTypeError(message)
    return value * MM


def run(args: argparse.Namespace) -> int:
    """Write the mesh of a case."""
    import numpy as np

    from bracedtop.fem.case import read_case
    from bracedtop.geometry.mesh import mesh_top, write_mesh
    from bracedtop.geometry.units import DEGREE, MM
    from bracedtop.scripts.console import Progress, print_json
    from bracedtop.scripts.modes import mesh_size
    from bracedtop.scripts.results import fresh_results

    progress = Progress(quiet=args.quiet)
    case = read_case(args.case)
    with progress.stage("mesh"):
        mesh = mesh_top(case.design, args.size_mm or mesh_size(case))
    with fresh_results(args.case, ("mesh.vtu",)) as folder:
        write_mesh(mesh, folder / "mesh.vtu", case.design.plate.dome)
    flat = mesh.flat
    ends = flat.p[:, flat.facets]
    edges = np.hypot(*(ends[:, 1] - ends[:, 0]))
    regions = {name: len(cells) for name, cells in flat.subdomains.items()}
    lines = {name: len(facets) for name, facets in flat.boundaries.items()}
    facts = {
        "triangles": int(flat.t.shape[1]),
        "points": int(flat.p.shape[1]),
        "size_mm": mesh.size / MM,
        "shortest_edge_mm": float(edges.min() / MM),
        "longest_edge_mm": float(edges.max() / MM),
        "min_angle_deg": mesh.min_angle / DEGREE,
        "regions": regions,
        "lines": lines,
    }
    written = str(args.case / "out" / "mesh.vtu")
    if args.json:
        print_json({**facts, "written": [written]})
        return 0
    print(
        f"{facts['triangles']} triangles, edges from {facts['shortest_edge_mm']:.1f} to "
        f"{facts['longest_edge_mm']:.1f} mm, smallest angle {facts['min_angle_deg']:.0f} degrees"
    )
    print("regions: " + ", ".join(f"{name} ({count})" for name, count in regions.items()))
    print("lines: " + ", ".join(f"{name} ({count})" for name, count in lines.items()))
    print(f"Written: {written}")
    return 0
