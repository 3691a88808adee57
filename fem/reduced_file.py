"""The what-if model of a case, kept beside the drawing. Depends on fem/case, fem/reduced_build.

It lies in `.bracedtop/what_if.npz` inside the case's folder with a fingerprint of all that it was made of, and is made
anew when the drawing, a wood or the program changed. It can be deleted at any time.
"""

import hashlib
import os
import tempfile
import zipfile
from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from bracedtop.fem.case import Case
from bracedtop.fem.locate import Locator
from bracedtop.fem.model import MESH_SIZE
from bracedtop.fem.parameter import parameters_of
from bracedtop.fem.plate import plate_space
from bracedtop.fem.reduced import Reduced, nominal_factors, top_coefficients
from bracedtop.fem.reduced_brace import BraceTerms
from bracedtop.fem.reduced_build import BASIS, build_reduced
from bracedtop.fem.reduced_top import TopTerms, WoodStiffness
from bracedtop.fem.wood import Wood
from bracedtop.geometry.design import Design
from bracedtop.geometry.mesh import mesh_top

FOLDER = ".bracedtop"
FILE = "what_if.npz"

FORMAT = 6
"""Raised whenever the model or what the file holds changes."""

_PLAIN = ("n_modes", "n_rigid", "vectors", "K", "M", "own", "reach", "springs", "places", "brace_drawn", "drawn_mass")


def case_reduced(case: Case, n_modes: int = 12, *, progress: Callable[[int], None] | None = None) -> Reduced:
    """The what-if model of a case: the one kept beside it if it still holds, else a new one, which is then kept.

    Where the folder cannot be written, nothing is kept.

    Raises
    ------
    DesignError, MeshError, AccuracyError
    """
    path = case.folder / FOLDER / FILE
    mark = fingerprint(case.design, case.woods, n_modes, case.mesh_size)
    kept = read_reduced(path, mark, case.design, case.woods, case.mesh_size)
    if kept is not None:
        return kept
    reduced = build_reduced(case.design, case.woods, n_modes, size=case.mesh_size, progress=progress)
    try:
        write_reduced(path, reduced, mark)
    except OSError:
        return reduced
    return reduced


def fingerprint(design: Design, woods: Mapping[str, Wood], n_modes: int, size: float | None) -> str:
    """Hash of all that a what-if model is made of."""
    try:
        program = version("bracedtop")
    except PackageNotFoundError:
        program = ""
    used = {design.plate.wood, *(b.wood for b in design.braces), *(p.wood for p in design.patches)}
    hashed = hashlib.sha256()
    _feed(hashed, (FORMAT, program, BASIS, n_modes, size or MESH_SIZE, design, {k: woods[k] for k in sorted(used)}))
    return hashed.hexdigest()


def _feed(hashed: Any, value: Any) -> None:
    """Hash a value of the drawing with its type, so that no two drawings look alike."""
    hashed.update(type(value).__name__.encode())
    if is_dataclass(value):
        for item in fields(value):
            _feed(hashed, getattr(value, item.name))
    elif isinstance(value, Mapping):
        for key in value:
            _feed(hashed, key)
            _feed(hashed, value[key])
    elif isinstance(value, (tuple, list)):
        hashed.update(str(len(value)).encode())
        for item in value:
            _feed(hashed, item)
    elif isinstance(value, np.ndarray):
        hashed.update(f"{value.dtype}{value.shape}".encode())
        hashed.update(np.ascontiguousarray(value).tobytes())
    elif isinstance(value, shapely.Geometry):
        hashed.update(shapely.to_wkb(value))
    else:
        hashed.update(repr(value).encode())


def write_reduced(path: Path, reduced: Reduced, mark: str) -> None:
    """Keep a what-if model; written aside and renamed.

    Raises
    ------
    OSError
        If it cannot be written.
    """
    data: dict[str, Any] = {"mark": mark, **{key: getattr(reduced, key) for key in _PLAIN}}
    data |= {f"braces.{item.name}": getattr(reduced.braces, item.name) for item in fields(BraceTerms)}
    data |= {"shifts.K": reduced.shifts[0], "shifts.M": reduced.shifts[1], "n_regions": len(reduced.regions)}
    for k, (region, mass) in enumerate(zip(reduced.regions, reduced.top_mass, strict=True)):
        data |= {f"region{k}.{item.name}": getattr(region, item.name) for item in fields(TopTerms)}
        data[f"top_mass{k}"] = mass
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, aside = tempfile.mkstemp(dir=path.parent, suffix=".npz")
    try:
        with os.fdopen(handle, "wb") as file:
            np.savez(file, **data)
        Path(aside).replace(path)
    finally:
        Path(aside).unlink(missing_ok=True)


def read_reduced(
    path: Path, mark: str, design: Design, woods: Mapping[str, Wood], size: float | None
) -> Reduced | None:
    """A what-if model that was kept; None if there is none, if it cannot be read or was made of something else."""
    try:
        with np.load(path, allow_pickle=False) as file:
            if "mark" not in file or str(file["mark"]) != mark:
                return None
            data = {key: file[key] for key in file.files}
            return _joined(data, design, woods, size)
    except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile):
        return None


def _joined(data: Mapping[str, np.ndarray], design: Design, woods: Mapping[str, Wood], size: float | None) -> Reduced:
    mesh = mesh_top(design, size or MESH_SIZE)
    space = plate_space(mesh, 3, design.plate.dome)
    n = int(data["n_regions"])
    regions = tuple(TopTerms(**{f.name: data[f"region{k}.{f.name}"] for f in fields(TopTerms)}) for k in range(n))
    wood = WoodStiffness.of_plate(design.plate, woods[design.plate.wood])
    plain: dict[str, Any] = {key: data[key] for key in _PLAIN}
    plain |= {
        "n_modes": int(data["n_modes"]),
        "n_rigid": int(data["n_rigid"]),
        "drawn_mass": float(data["drawn_mass"]),
    }
    if len(data["vectors"]) != space.n_nodes:
        message = f"{len(data['vectors'])} nodes kept, {space.n_nodes} in the mesh"
        raise ValueError(message)
    parameters = parameters_of(design)
    braces = BraceTerms(**{f.name: data[f"braces.{f.name}"] for f in fields(BraceTerms)})
    return Reduced(
        design=design,
        woods=woods,
        parameters=parameters,
        mesh=mesh,
        space=space,
        locator=Locator.from_mesh(mesh),
        regions=regions,
        wood=wood,
        shifts=(data["shifts.K"], data["shifts.M"]),
        braces=braces,
        top_mass=tuple(data[f"top_mass{k}"] for k in range(n)),
        top_drawn=tuple(top_coefficients(regions, wood, nominal_factors(design.plate), design.plate.thickness)),
        **plain,
    )
