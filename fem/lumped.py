"""The closed box as two or three oscillators: top, back and the air in the hole on the spring of the air inside.

Depends on geometry/errors.

Makers and papers think in these: the plate by itself, the hole by itself, the pair that they become, and how far it
splits. Frequencies squared of pistons on one volume of air are the eigenvalues of a diagonal matrix, what each has in a
vacuum, plus one of rank one, what the air's spring adds and how it joins them. So sums and products of squares are
exact both ways: from masses and areas to what is heard, and from what is heard to masses and areas.
"""

from dataclasses import dataclass

import numpy as np

from bracedtop.geometry.errors import DesignError


@dataclass(frozen=True, slots=True)
class Piston:
    """A plate that moves as one, or the air in the hole.

    Parameters
    ----------
    mass : float, kg
        At the place where its motion is measured.
    area : float, m^2
        Volume pushed out of the box for a metre there.
    stiffness : float, N/m
        Without the air's; 0 for the air in the hole.

    Raises
    ------
    DesignError
        If a mass or an area is not positive or a stiffness negative.
    """

    mass: float
    area: float
    stiffness: float = 0.0

    def __post_init__(self) -> None:
        """Check the sizes once."""
        if not (0 < self.mass < np.inf and 0 < self.area < np.inf and 0 <= self.stiffness < np.inf):
            message = (
                f"oscillator of {1e3 * self.mass:g} g, {1e4 * self.area:g} cm2 and {self.stiffness:g} N/m; mass and "
                "area must be > 0, the stiffness >= 0"
            )
            raise DesignError(message)


@dataclass(frozen=True, slots=True)
class Lumped:
    """Pistons on one volume of air.

    Parameters
    ----------
    volume : float, m^3
    bulk : float, Pa
        Of the air, density times the square of the speed of sound.
    top : Piston
    hole : Piston or None
        None where it is blocked.
    back : Piston or None
        None where it is rigid.
    """

    volume: float
    bulk: float
    top: Piston
    hole: Piston | None = None
    back: Piston | None = None

    def __post_init__(self) -> None:
        """Check the sizes once."""
        if not (0 < self.volume < np.inf and 0 < self.bulk < np.inf):
            message = f"air of {1e3 * self.volume:g} litres and {self.bulk:g} Pa; both must be > 0"
            raise DesignError(message)

    @property
    def pistons(self) -> tuple[Piston, ...]:
        """Top, back, hole, as far as there are."""
        return tuple(piston for piston in (self.top, self.back, self.hole) if piston is not None)


def in_vacuo(piston: Piston) -> float:
    """Frequency of a piston without air, Hz."""
    return float(np.sqrt(piston.stiffness / piston.mass) / (2 * np.pi))


def air_spring(piston: Piston, volume: float, bulk: float) -> float:
    """Frequency that a piston has on the spring of the air alone, Hz; of the hole, its resonance in a rigid box."""
    return float(piston.area * np.sqrt(bulk / (volume * piston.mass)) / (2 * np.pi))


def closed_box(piston: Piston, volume: float, bulk: float) -> float:
    """Frequency of a piston on the closed box, everything else held, Hz."""
    return float(np.hypot(in_vacuo(piston), air_spring(piston, volume, bulk)))


@dataclass(frozen=True, slots=True)
class Coupled:
    """What the oscillators become together.

    Parameters
    ----------
    frequencies : (n,) array, Hz
        Rising.
    shares : (n, n) array
        Share of each mode's kinetic energy, mode by mode, in top, back and hole, as far as there are.
    motions : (n, n) array, m
        Each mode's motions outwards, of modal mass 1 kg.
    """

    frequencies: np.ndarray
    shares: np.ndarray
    motions: np.ndarray


def coupled(lumped: Lumped) -> Coupled:
    """Frequencies and motions of the oscillators together."""
    mass = np.array([piston.mass for piston in lumped.pistons])
    area = np.array([piston.area for piston in lumped.pistons])
    own = np.array([piston.stiffness for piston in lumped.pistons]) / mass
    join = area * np.sqrt(lumped.bulk / (lumped.volume * mass))
    lam, v = np.linalg.eigh(np.diag(own) + np.outer(join, join))
    motions = (v / np.sqrt(mass)[:, None]).T
    # The largest motion is outwards.
    motions *= np.sign(motions[np.arange(len(lam)), np.abs(v).argmax(axis=0)])[:, None]
    return Coupled(np.sqrt(np.maximum(lam, 0)) / (2 * np.pi), (v**2).T, motions)


@dataclass(frozen=True, slots=True)
class Split:
    """Top and hole before and after they meet, back held; Hz.

    Parameters
    ----------
    in_vacuo : float
        The top without air.
    air : float
        What the air's spring alone would give the top.
    closed : float
        The top with the hole blocked.
    hole : float
        The hole in a rigid box.
    low, high : float
        The pair that is heard with the hole open.
    """

    in_vacuo: float
    air: float
    closed: float
    hole: float
    low: float
    high: float

    @property
    def apart(self) -> float:
        """How far top (hole blocked) and hole lie apart by themselves, Hz."""
        return self.closed - self.hole

    @property
    def coupling(self) -> float:
        """Share of the blocked top's stiffness that is air, 0 to 1."""
        return (self.air / self.closed) ** 2

    @property
    def pushed(self) -> float:
        """How far each of the two has been pushed away by the other: hole down and top up, mean, Hz."""
        return ((self.hole - self.low) + (self.high - self.closed)) / 2


def split(lumped: Lumped) -> Split:
    """Top and hole before and after they meet, the back held.

    Raises
    ------
    DesignError
        If there is no hole.
    """
    if lumped.hole is None:
        message = "box: no hole; the top and the air in the hole cannot split"
        raise DesignError(message)
    pair = coupled(Lumped(lumped.volume, lumped.bulk, lumped.top, lumped.hole)).frequencies
    air = lumped.volume, lumped.bulk
    return Split(
        in_vacuo(lumped.top),
        air_spring(lumped.top, *air),
        closed_box(lumped.top, *air),
        air_spring(lumped.hole, *air),
        float(pair[0]),
        float(pair[1]),
    )


def split_of_taps(low: float, high: float, *, hole: float | None = None, closed: float | None = None) -> Split:
    """Top and hole by themselves, from the pair that is heard.

    Parameters
    ----------
    low, high : float, Hz
        Hole open.
    hole : float, Hz, optional
        Resonance of the hole with the top held still.
    closed : float, Hz, optional
        The top with the hole blocked; exactly one of the two is needed.

    Raises
    ------
    DesignError
        If the hole's resonance is not between the pair, or, what is the same, the blocked top.

    References
    ----------
    O. Christensen, B. B. Vistisen, J. Acoust. Soc. Am. 68 (1980) 758: f_-^2 + f_+^2 = f_p^2 + f_h^2 with the plate on
    the closed box, and f_- f_+ = f_p0 f_h with the plate in vacuo. G. Caldersmith, J. Acoust. Soc. Am. 63 (1978) 1566.
    """
    if (hole is None) == (closed is None):
        message = "coupled pair: exactly one of the hole's resonance and the top with the hole blocked must be given"
        raise DesignError(message)
    given = hole if hole is not None else closed
    if given is None or not 0 < low < given < high < np.inf:
        message = (
            f"coupled pair of {low:g} and {high:g} Hz: {given:g} Hz for "
            f"{'the hole' if hole is not None else 'the blocked top'}; must lie between them"
        )
        raise DesignError(message)
    other = float(np.sqrt(low**2 + high**2 - given**2))
    h, p = (given, other) if hole is not None else (other, given)
    top = low * high / h
    # Exact: f_a^2 f_h^2 = (f_h^2 - f_-^2) (f_+^2 - f_h^2).
    air = float(np.sqrt((h**2 - low**2) * (high**2 - h**2)) / h)
    return Split(top, air, p, h, low, high)


def pair_of_taps(seen: Split, *, volume: float, bulk: float, mass: float, hole_area: float) -> Lumped:
    """Masses, areas and stiffness of top and hole from what is heard and the top's moving mass.

    Parameters
    ----------
    seen : Split
    volume : float, m^3
    bulk : float, Pa
    mass : float, kg
        Of the top where it is tapped (`moving_mass`).
    hole_area : float, m^2
    """
    top = Piston(mass, _area(seen.air, mass, volume, bulk), mass * (2 * np.pi * seen.in_vacuo) ** 2)
    hole = Piston(bulk / volume * (hole_area / (2 * np.pi * seen.hole)) ** 2, hole_area)
    return Lumped(volume, bulk, top, hole)


def _area(air: float, mass: float, volume: float, bulk: float) -> float:
    return float(2 * np.pi * air * np.sqrt(mass * volume / bulk))


def moving_mass(before: float, after: float, added: float) -> float:
    """Mass of an oscillator from what an added mass does to its frequency, kg.

    Parameters
    ----------
    before, after : float, Hz
        Without and with the mass; of the top, with the hole blocked, so that nothing else moves.
    added : float, kg

    Raises
    ------
    DesignError
        If the added mass does not lower the frequency.
    """
    if not (0 < after < before < np.inf and added > 0):
        message = f"added mass of {1e3 * added:g} g: {before:g} Hz became {after:g} Hz; must become lower"
        raise DesignError(message)
    return added / ((before / after) ** 2 - 1)


@dataclass(frozen=True, slots=True)
class Trio:
    """Top, back and hole by themselves; Hz.

    Parameters
    ----------
    top, back : (float, float)
        Each in vacuo, and what the air's spring alone would give it.
    hole : float
        In a rigid box.
    """

    top: tuple[float, float]
    back: tuple[float, float]
    hole: float


def trio_of_taps(
    opened: tuple[float, float, float], blocked: tuple[float, float], *, back_is_lower: bool = False
) -> Trio:
    """Top, back and hole by themselves, from three notes with the hole open and two with it blocked.

    Parameters
    ----------
    opened : 3 floats, Hz
    blocked : 2 floats, Hz
        Of top and back.
    back_is_lower : bool
        Which of the plates in vacuo is the back cannot be told from frequencies.

    Raises
    ------
    DesignError
        If the notes do not interlace, as those of three such oscillators do.

    References
    ----------
    Own algebra on the model of O. Christensen, J. Guitar Acoustics 6 (1982) 10 (recalled): with
    squares of frequencies t, b in vacuo, h of the hole, a_t, a_b of the air's spring, the invariants of the open and
    the blocked box are h = e1 - e1', t + b = (e2 - e2') / h, t b = e3 / h, a_t + a_b = e1' - t - b and
    t a_b + b a_t = e2' - t b.
    """
    o, c = np.sort(np.square(opened)), np.sort(np.square(blocked))
    if not o[0] < c[0] < o[1] < c[1] < o[2]:
        seen = ", ".join(f"{f:g}" for f in np.sqrt(o))
        message = (
            f"three notes of {seen} Hz with the hole open, {np.sqrt(c[0]):g} and {np.sqrt(c[1]):g} Hz blocked; the "
            "blocked ones must lie between the open ones"
        )
        raise DesignError(message)
    h = o.sum() - c.sum()
    total = (o[0] * o[1] + o[0] * o[2] + o[1] * o[2] - c[0] * c[1]) / h
    product = o.prod() / h
    gap = total**2 - 4 * product
    if not gap > 0:
        message = f"three notes of {np.sqrt(o[0]):g} to {np.sqrt(o[2]):g} Hz: no two plates and a hole have these"
        raise DesignError(message)
    high = (total + np.sqrt(gap)) / 2
    t, b = (high, product / high) if back_is_lower else (product / high, high)
    spring = c.sum() - total
    a_t = (c.prod() - product - t * spring) / (b - t)
    a_b = spring - a_t
    if min(t, b, a_t, a_b) < 0:
        message = f"three notes of {np.sqrt(o[0]):g} to {np.sqrt(o[2]):g} Hz: no two plates and a hole have these"
        raise DesignError(message)
    f = np.sqrt([t, a_t, b, a_b, h])
    return Trio((float(f[0]), float(f[1])), (float(f[2]), float(f[3])), float(f[4]))
