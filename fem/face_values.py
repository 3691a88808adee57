"""What may change on a face of the box after it is drawn. Depends on fem/rim, geometry/box."""

from dataclasses import dataclass

from bracedtop.fem.rim import Rim
from bracedtop.geometry.box import Finish


@dataclass(frozen=True, slots=True)
class FaceValues:
    """A face's ring, rim, finish, wood and load.

    Parameters
    ----------
    ring : float, m
        Taken off the outside of the ring, beside what the drawing takes off.
    rim : Rim or None
        None: as drawn.
    finish : Finish or None
        None: as drawn. A bare face has a finish of mass 0.
    E_L, E_R, G_LR, density, thickness : float
        Factors on the face's own wood.
    added_mass : float, kg
        At the driving point.
    """

    ring: float = 0.0
    rim: Rim | None = None
    finish: Finish | None = None
    E_L: float = 1.0
    E_R: float = 1.0
    G_LR: float = 1.0
    density: float = 1.0
    thickness: float = 1.0
    added_mass: float = 0.0
