"""Sections where braces meet: laps and their notches, caps over them, butted ends."""

import numpy as np

from bracedtop.fem.laminate import Fibre, layer_moments, rotated, stiffness_from_moments
from bracedtop.fem.section import cap_height, part_moments
from bracedtop.geometry.brace import Brace

NOTCH = 0.46
"""Length beside a notch over which the fibres cut by it carry nothing, in heights of the notch's floor above the top;
chosen to fit orthotropic solids of half laps, tests/reference. It rests on the joint alone, so that shaving does not
move it."""

FREE_CUT = 1.2
"""Growth of that length for the fibres of the under brace where the over one is rounded or peaked: its flanks do not
meet all of their cut ends. Chosen to fit orthotropic solids of rounded half laps, tests/reference."""

CROSS_SPREAD = 1.45
"""Growth of the stiffness across the grain in the block of a crossing, where stress spreads beyond the other brace's
width; chosen to fit orthotropic solids of a cut brace, tests/reference."""

BUTT_SPREAD = 2.2
"""The same where a brace is butted against another, whose wood runs on to both sides; chosen to fit an orthotropic
solid, tests/reference."""


def crossing_layers(under: np.ndarray, over: np.ndarray, kept: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Heights at a crossing: top of the under brace's wood, bottom and top of the over brace's, (n,) each, m.

    Where `kept` reaches the under brace's height, that brace is whole and the other one is cut, but for what
    stands above both.
    """
    whole = under.real <= kept
    top_under = np.where(whole, under, kept)
    bottom_over = np.where(whole & (over.real <= kept), over, top_under)
    top_over = np.where(over.real > bottom_over.real, over, bottom_over)
    return top_under, bottom_over, top_over


def idle_beside_notch(
    braces: tuple[Brace, Brace], under: float, over: float, kept: float
) -> tuple[tuple[float, float, float], tuple[float, float, float]]:
    """Heights between which each brace passes through a crossing, and how far beside it cut fibres are idle, m.

    Parameters
    ----------
    braces : pair of Brace
        The under and the over brace.
    under, over, kept : float, m
        Heights of the two braces there, and of the under brace's wood in the notch.

    Returns
    -------
    under, over : (bottom, top, length) each
        The length is 0 for a brace that is not cut, and for one that is cut through and glued to the other's flanks.
    """
    top_under, bottom_over, top_over = (float(z[0]) for z in crossing_layers(np.array([under]), np.array([over]), kept))
    length = NOTCH * top_under
    longer = 1.0 if braces[1].shape == "square" else 1.0 + FREE_CUT
    return (
        (0.0, top_under, length * longer if top_under < under else 0.0),
        (bottom_over, top_over, length if 0 < top_over - bottom_over < over else 0.0),
    )


def _crossing_moments(
    braces: tuple[Brace, Brace], under: np.ndarray, over: np.ndarray, kept: float, offset: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    top_under, bottom_over, top_over = crossing_layers(under, over, kept)
    return (
        part_moments(braces[0].shape, braces[0].width, under, 0 * top_under, top_under, offset),
        part_moments(braces[1].shape, braces[1].width, over, bottom_over, top_over, offset),
    )


def crossing_stiffness(
    braces: tuple[Brace, Brace],
    under: np.ndarray,
    over: np.ndarray,
    kept: float,
    offset: np.ndarray,
    fibres: tuple[Fibre, Fibre],
    angles: tuple[float, float],
) -> np.ndarray:
    """Section stiffness of the block where two braces cross, (n, 9, 9).

    The block is glued on all its flanks, so each brace's wood counts there as a full layer, stiff along its
    own grain and soft across it: the cut brace has to pass its bending through the other one's cross grain.
    A rounded or peaked brace fills its layer only as far as its section does.

    Parameters
    ----------
    braces : pair of Brace
        The under and the over brace.
    under, over : (n,) arrays, m
        Heights of the two braces there.
    kept : float, m
        Height of the under brace left by the notch.
    offset : (n,) array, m
        Distance of the glued face below the midplane, positive.
    fibres, angles : pairs for the under and the over brace; rad
    """
    moments = _crossing_moments(braces, under, over, kept, offset)
    spread = np.diag([1.0, np.sqrt(CROSS_SPREAD), 1.0])
    return np.asarray(
        sum(
            stiffness_from_moments(*rotated(spread @ fibre.Q @ spread, fibre.G, angle), m)
            for fibre, angle, m in zip(fibres, angles, moments, strict=True)
        )
    )


def crossing_mass(
    braces: tuple[Brace, Brace],
    under: np.ndarray,
    over: np.ndarray,
    kept: float,
    offset: np.ndarray,
    densities: tuple[float, float],
) -> np.ndarray:
    """Areal mass of the block where two braces cross, with its moments, (n, 3)."""
    below, above = _crossing_moments(braces, under, over, kept, offset)
    return np.asarray(densities[0] * below + densities[1] * above)


def cap_stiffness(fibre: Fibre, angle: float, bottom: np.ndarray, top: np.ndarray) -> np.ndarray:
    """Section stiffness (n, 9, 9) of a piece glued along a brace, between two heights (n,) above the midplane, m."""
    along = np.diag([fibre.E, 0.0, 0.0])
    return stiffness_from_moments(*rotated(along, np.diag([fibre.G_upright, 0.0]), angle), layer_moments(bottom, top))


def butt_stiffness(
    braces: tuple[Brace, Brace],
    through: np.ndarray,
    butted: np.ndarray,
    offset: np.ndarray,
    fibre: Fibre,
    angle: float,
) -> np.ndarray:
    """Section stiffness that a through brace adds where another one's end is glued to its flank, (n, 9, 9).

    Up to the lower of the two its wood there takes the other's bending across its grain, as in a crossing. Its own
    fibres are counted in `fibre_stiffness`.

    Parameters
    ----------
    braces : pair of Brace
        The through and the butted one.
    through, butted : (n,) arrays, m
        Their heights there.
    offset : (n,) array, m
        Distance of the glued face below the midplane, positive.
    fibre, angle : Fibre and float, rad
        Of the through brace.
    """
    body = through - cap_height(braces[0].shape, braces[0].width, through)
    met = np.where(body.real < butted.real, body, butted)
    spread = np.diag([1.0, np.sqrt(BUTT_SPREAD), 1.0])
    Q = spread @ fibre.Q @ spread
    Q[0, 0] -= fibre.E
    Q[2] = Q[:, 2] = 0.0
    layer = layer_moments(-offset - met, -offset)
    return stiffness_from_moments(*rotated(Q, np.zeros((2, 2)), angle), layer)
