"""Loss factors of the built-in woods.

Depends on fem/loss_factors.

RECALLED, all of them: rounded from memory of the sources below and not looked up. They spread by a quarter from board
to board, and shear along the grain was hardly measured: it is taken as across it. Softwoods are taken as spruce. Dense
tropical woods such as rosewood ring longest; maple and other hardwoods of the north somewhat less long than spruce.

References
----------
D. W. Haines, "On musical instrument wood", Catgut Acoustical Society Newsletter 31 (1979) 23-32.
T. Ono, M. Norimoto, "On physical criteria for the selection of wood for soundboards of musical instruments",
Rheologica Acta 23 (1984) 652-656.
I. Bremaud, "Acoustical properties of wood in string instruments soundboards and tuned idiophones", J. Acoust. Soc. Am.
131 (2012) 807-818.
"""

from bracedtop.fem.loss_factors import LossFactors

SPRUCE = LossFactors()
HARDWOOD = LossFactors(along=0.009, across=0.020, shear=0.020)

LOSSES = {
    "maple_sugar": LossFactors(along=0.010, across=0.020, shear=0.020),
    "maple_red": LossFactors(along=0.010, across=0.020, shear=0.020),
    "mahogany_honduras": LossFactors(along=0.008, across=0.018, shear=0.018),
    "mahogany_african": LossFactors(along=0.008, across=0.018, shear=0.018),
    "walnut_black": HARDWOOD,
    "cherry_black": HARDWOOD,
    "birch_yellow": HARDWOOD,
    "ash_white": HARDWOOD,
    "basswood": HARDWOOD,
    "yellow_poplar": HARDWOOD,
    "rosewood_indian": LossFactors(along=0.006, across=0.014, shear=0.014),
}
"""Of the built-in woods that differ from spruce."""

WITHOUT_GRAIN = 0.02
"""Loss factor of a material without grain that names none; chosen: plastics and foams lie at it and above, metals far
below."""


def handbook_losses(name: str | None) -> LossFactors:
    """Loss factors of the built-in wood of that name, those of spruce for any other wood."""
    return LOSSES.get(name or "", SPRUCE)
