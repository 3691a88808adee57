"""What may change on a closed box after it is drawn. Depends on fem/face_terms, geometry/errors."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

from bracedtop.fem.face_terms import FaceModel
from bracedtop.fem.face_values import FaceValues
from bracedtop.geometry.errors import DesignError

FACTORS = ("E_L", "E_R", "G_LR", "density", "thickness")
SPRINGS = ("deflection", "rotation", "inplane", "deflection_loss", "rotation_loss", "inplane_loss")
FILM = ("mass", "thickness", "modulus", "loss")
WHOLE = ("volume", "hole_mass", "rim_mass", "temperature")

_STEP = {"ring": 2e-5, "added_mass": 1e-3, "temperature": 0.5}
"""Least steps in which matrices are differenced, m, kg and degrees; of factors and losses `_SMALL`."""

_SMALL = 1e-3
"""Steps of factors and losses, and of springs and moduli over their values."""


@dataclass(frozen=True, slots=True)
class BoxValues:
    """A what-if of a closed box.

    Parameters
    ----------
    top, back : FaceValues
        What is taken off the ring, springs and losses of the rim, finish, factors on wood, mass at the driving point.
    hole_blocked : bool
        Plugs in the holes move as the top around them.
    held : bool or None
        Whether the rim is held in a heavy rig; None: as drawn.
    volume : float
        Factor on the volume of the air, as by deeper sides.
    hole_mass : float
        Factor on the mass of the air in and outside the holes.
    rim_mass : float
        Factor on the mass of sides, linings, blocks and neck.
    temperature : float or None, degrees Celsius
        Of the air; None: as drawn.

    Raises
    ------
    DesignError
        If a factor is not positive.
    """

    top: FaceValues = field(default_factory=FaceValues)
    back: FaceValues = field(default_factory=FaceValues)
    hole_blocked: bool = False
    held: bool | None = None
    volume: float = 1.0
    hole_mass: float = 1.0
    rim_mass: float = 1.0
    temperature: float | None = None

    def __post_init__(self) -> None:
        """Check the factors once."""
        for key in ("volume", "hole_mass", "rim_mass"):
            value = getattr(self, key)
            if not 0 < value < np.inf:
                message = f"box: factor {value:g} on {key.replace('_', ' ')}; must be > 0"
                raise DesignError(message)


@dataclass(frozen=True, slots=True)
class BoxParameter:
    """One number of a what-if.

    Parameters
    ----------
    name : str
        Such as "top ring", "back rim rotation", "top finish mass", "volume".
    value : float
        In the what-if at hand; SI, or a factor.
    step : float
        In which matrices may be differenced.
    changed : callable
        The what-if with another value.
    """

    name: str
    value: float
    step: float
    changed: Callable[[float], BoxValues]


def box_parameters(
    values: BoxValues, top: FaceModel, back: FaceModel | None, temperature: float
) -> tuple[BoxParameter, ...]:
    """All numbers of a what-if that frequencies and losses depend on smoothly.

    Parameters
    ----------
    values : BoxValues
    top, back : FaceModel
        As drawn, for what the what-if leaves alone.
    temperature : float, degrees Celsius
        As drawn.
    """
    found = []
    for side, face in (("top", top), ("back", back)):
        if face is not None:
            found += _of_face(values, side, face)
    for name in WHOLE:
        value = getattr(values, name)
        found.append(
            BoxParameter(
                name.replace("_", " "),
                temperature if value is None else value,
                _STEP.get(name, _SMALL),
                lambda x, name=name: replace(values, **{name: x}),  # type: ignore[misc]
            )
        )
    return tuple(found)


def _of_face(values: BoxValues, side: str, face: FaceModel) -> list[BoxParameter]:
    own: FaceValues = getattr(values, side)
    rim, finish = own.rim or face.rim, own.finish or face.finish

    def with_face(**changes: object) -> BoxValues:
        return replace(values, **{side: replace(own, **changes)})  # type: ignore[arg-type]

    found = [
        BoxParameter(
            f"{side} {name.replace('added_mass', 'added mass')}",
            getattr(own, name),
            _STEP.get(name, _SMALL),
            lambda x, name=name: with_face(**{name: x}),  # type: ignore[misc]
        )
        for name in ("ring", *FACTORS, "added_mass")
    ]
    found += [
        BoxParameter(
            f"{side} rim {name.replace('_', ' ')}",
            getattr(rim, name),
            _SMALL if name.endswith("loss") else _SMALL * getattr(rim, name),
            lambda x, name=name: with_face(rim=replace(rim, **{name: x})),  # type: ignore[misc]
        )
        for name in SPRINGS
    ]
    if finish is not None:
        found += [
            BoxParameter(
                f"{side} finish {name}",
                getattr(finish, name),
                {"mass": 1e-3, "thickness": 2e-6, "loss": _SMALL, "modulus": _SMALL * (finish.modulus + 1e9)}[name],
                lambda x, name=name: with_face(finish=replace(finish, **{name: x})),  # type: ignore[misc]
            )
            for name in FILM
        ]
    return found
