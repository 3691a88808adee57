"""A top before and after a change: wood taken off, or other air."""

from dataclasses import dataclass, replace

from bracedtop.fem.mac import follow, mac
from bracedtop.fem.model import Model, Modes, build_model, solve
from bracedtop.fem.plate import N_FIELDS
from bracedtop.geometry.design import Design, Joint
from bracedtop.geometry.layout import crossings


@dataclass(frozen=True, slots=True)
class Change:
    """A re-solved change.

    Parameters
    ----------
    model, modes : Model and Modes
        After the change.
    successor : tuple of int
        For each mode before (counted from 0), the index of the mode after that it became.
    mass_removed : float, kg
    mac : tuple of float
        Modal assurance criterion of each mode before with its successor, in the mass matrix before.
    """

    model: Model
    modes: Modes
    successor: tuple[int, ...]
    mass_removed: float
    mac: tuple[float, ...]


def shaved_design(design: Design, brace: str, start: float, stop: float, depth: float) -> Design:
    """Copy of a design with `depth` m taken off a brace from `start` to `stop`, m along it.

    The joints keep the notches that they were cut with.

    Raises
    ------
    DesignError
        If there is no such brace or not that much wood.
    """
    joints = tuple(Joint(c.under, c.over, c.kept, c.cap, c.cap_length) for c in crossings(design))
    return replace(design, joints=joints).with_brace(design.brace(brace).shaved(start, stop, depth))


def resolved(before: Model, modes: Modes, design: Design) -> Change:
    """Solve `design`, which differs from the model's in heights only, on the same mesh, and follow the modes.

    Raises
    ------
    AccuracyError
        If the eigenpairs fail their checks.
    """
    return followed(before, modes, build_model(design, before.woods, mesh=before.mesh, order=before.space.order))


def followed(before: Model, modes: Modes, after: Model) -> Change:
    """Solve a changed model on the same mesh and follow the modes.

    Raises
    ------
    AccuracyError
        If the eigenpairs fail their checks.
    """
    n = len(modes.frequencies)
    # A few more modes, so that one that drops below its neighbours is still found.
    changed = solve(after, n + 4)
    # By the plate's own motion: where shavings are left of a brace, its fibres have none of their own any more.
    size = before.space.n_nodes * N_FIELDS
    alike = mac(modes.vectors[:, :size].T, changed.vectors[:, :size].T, before.M[:size, :size])
    successor = follow(alike)
    likeness = tuple(float(alike[k, after_k]) for k, after_k in enumerate(successor))
    return Change(after, changed, successor, before.mass() - after.mass(), likeness)
