"""Whether sides, back, linings and blocks make a box around their top. Depends on geometry/box, check_region."""

from bracedtop.geometry.box import Box
from bracedtop.geometry.design import Design


def check_box(design: Design, box: Box) -> None:
    """Refuse a box whose parts do not fit together, at the first fault found."""
