"""What a maker can change on a box, or on the next one, to give a customer more of this and less of that.

Depends on fem/box_parts, fem/box_values, fem/closed_levers, fem/face_values, fem/rim, geometry/box.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

from bracedtop.fem.box_parts import BoxModel
from bracedtop.fem.box_values import BoxValues
from bracedtop.fem.closed_levers import with_hole, with_mass, with_volume
from bracedtop.fem.face_values import FaceValues
from bracedtop.fem.rim import Rim
from bracedtop.geometry.box import Face, Finish

Change = Callable[[BoxModel, BoxValues, float], BoxValues]


@dataclass(frozen=True, slots=True)
class Way:
    """Something that can be changed.

    Parameters
    ----------
    name : str
    step : float
        By which it is tried, in what `change` takes.
    low, high : float
        Range, in steps; 0 is as it is.
    when : str
        "now", "before gluing", "before finishing" or "next box".
    change : callable
        The what-if with an amount of it.
    words : callable
        An amount in words.
    """

    name: str
    step: float
    low: float
    high: float
    when: str
    change: Change
    words: Callable[[float], str]


def _ring(model: BoxModel, values: BoxValues, depth: float) -> BoxValues:
    return replace(values, top=replace(values.top, ring=values.top.ring + depth))


def _rim(model: BoxModel, values: BoxValues, doublings: float) -> BoxValues:
    """The top's rim stiffer by doublings of its springs."""
    rim = values.top.rim or model.top.rim
    factor = 2.0**doublings
    stiffer = replace(
        rim, deflection=factor * rim.deflection, rotation=factor * rim.rotation, inplane=factor * rim.inplane
    )
    return replace(values, top=replace(values.top, rim=stiffer))


def _rim_loss(model: BoxModel, values: BoxValues, doublings: float) -> BoxValues:
    """Both rims lossier by doublings of their loss factors."""
    factor = 2.0**doublings

    def lossier(rim: Rim) -> Rim:
        return replace(
            rim,
            deflection_loss=factor * rim.deflection_loss,
            rotation_loss=factor * rim.rotation_loss,
            inplane_loss=factor * rim.inplane_loss,
        )

    top = replace(values.top, rim=lossier(values.top.rim or model.top.rim))
    if model.back is None:
        return replace(values, top=top)
    back = replace(values.back, rim=lossier(values.back.rim or model.back.rim))
    return replace(values, top=top, back=back)


def _finish(model: BoxModel, values: BoxValues, part: float) -> BoxValues:
    """Films on top and back thicker by a part."""

    def thicker(own: FaceValues, drawn: Finish | None) -> FaceValues:
        film = own.finish or drawn
        if film is None:
            return own
        return replace(own, finish=replace(film, mass=film.mass * (1 + part), thickness=film.thickness * (1 + part)))

    back = values.back if model.back is None else thicker(values.back, model.back.finish)
    return replace(values, top=thicker(values.top, model.top.finish), back=back)


def _thickness(side: Face) -> Change:
    def change(model: BoxModel, values: BoxValues, part: float) -> BoxValues:
        own = getattr(values, side)
        return replace(values, **{side: replace(own, thickness=own.thickness * (1 + part))})

    return change


def _more(unit: str, scale: float, more: str, less: str, digits: int = 0) -> Callable[[float], str]:
    def words(amount: float) -> str:
        return f"{abs(amount) / scale:.{digits}f} {unit} {more if amount >= 0 else less}"

    return words


def _rim_words(doublings: float) -> str:
    factor = 2.0 ** abs(doublings)
    return f"linings {factor:.1f} times {'stiffer' if doublings >= 0 else 'softer'}"


def _loss_words(doublings: float) -> str:
    factor = 2.0 ** abs(doublings)
    return f"linings that lose {factor:.1f} times {'more' if doublings >= 0 else 'less'}"


def ways(model: BoxModel, room: float) -> tuple[Way, ...]:
    """All ways of a box.

    Parameters
    ----------
    model : BoxModel
    room : float, m
        What may be taken off the ring.
    """
    ring = 0.1e-3
    found = [
        Way("ring", ring, 0.0, room / ring, "now", _ring, _more("mm", 1e-3, "off the ring", "on the ring", 2)),
        Way("bridge", 2e-3, -2.0, 5.0, "now", with_mass, _more("g", 1e-3, "heavier bridge", "lighter bridge", 1)),
        Way("rim", 1.0, -2.0, 2.0, "before gluing", _rim, _rim_words),
        Way("rim loss", 1.0, -1.0, 2.0, "before gluing", _rim_loss, _loss_words),
        Way("top", 0.02, -4.0, 4.0, "before gluing", _thickness("top"), _more("%", 0.01, "thicker top", "thinner top")),
    ]
    if model.top.finish is not None:
        words = _more("%", 0.01, "more finish", "less finish")
        found.append(Way("finish", 0.2, -4.0, 4.0, "before finishing", _finish, words))
    if model.back is not None:
        words = _more("%", 0.01, "thicker back", "thinner back")
        found.append(Way("back", 0.03, -4.0, 4.0, "before gluing", _thickness("back"), words))
    if model.design.holes:
        words = _more("%", 0.01, "wider hole", "narrower hole")
        found.append(Way("hole", 0.04, -4.0, 4.0, "next box", with_hole, words))
    words = _more("%", 0.01, "more air (deeper sides)", "less air (shallower sides)")
    return (*found, Way("air", 0.03, -4.0, 4.0, "next box", with_volume, words))
