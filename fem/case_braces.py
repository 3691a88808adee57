"""The braces and joints of a drawing: [[brace]] and [[joint]], [[back_brace]] and [[back_joint]].

Depends on geometry, fem/case_file, fem/part_schema, fem/toml_file.
"""

from collections.abc import Sequence

import numpy as np

from bracedtop.fem.case_file import FILE_NAME
from bracedtop.fem.part_schema import BraceTable, JointTable
from bracedtop.fem.toml_file import did_you_mean, refuse_value, shown
from bracedtop.geometry.brace import Brace
from bracedtop.geometry.design import Joint
from bracedtop.geometry.units import DEGREE, MM


def brace_of(row: BraceTable) -> Brace:
    """Brace of a [[brace]] in SI units.

    Raises
    ------
    DesignError
        If it is none.
    """
    return Brace(
        name=row.name,
        wood=row.wood,
        path=np.array(row.path_mm, dtype=float) * MM,
        width=row.width_mm * MM,
        stations=np.array(row.stations_mm, dtype=float) * MM,
        shape=row.shape,
        ring_angle=row.ring_angle_deg * DEGREE,
        runout=row.runout_deg * DEGREE,
    )


def joints_of(rows: Sequence[JointTable], names: Sequence[str], table: str = "joint") -> tuple[Joint, ...]:
    """Joints of [[joint]] tables in SI units.

    Parameters
    ----------
    rows : sequence of JointTable
    names : sequence of str
        The braces.
    table : str
        What messages call a row.

    Raises
    ------
    FileError
        If a brace that is named is none of the drawing's.
    """
    for i, row in enumerate(rows, start=1):
        for key, name in (("under", row.under), ("over", row.over)):
            if name not in names:
                allowed = f"no such brace; {did_you_mean(name, names)}braces: {', '.join(names) or 'none'}"
                refuse_value(FILE_NAME, f"{table} {i}.{key}", shown(name), allowed)
    return tuple(
        Joint(
            row.under,
            row.over,
            None if row.kept_mm is None else row.kept_mm * MM,
            (row.cap_mm or 0.0) * MM,
            (row.cap_length_mm or 0.0) * MM,
        )
        for row in rows
    )


def refuse_repeats(kind: str, names: Sequence[str]) -> None:
    """Refuse tables of one kind that share a name.

    Raises
    ------
    FileError
    """
    for i, name in enumerate(names):
        if name in names[:i]:
            first = names.index(name) + 1
            allowed = f"{kind} {first} has this name; names must differ"
            refuse_value(FILE_NAME, f"{kind} {i + 1}.name", shown(name), allowed)
