"""The loss factors of a drawing's woods: keys loss_along, loss_across, loss_shear and loss of [wood.NAME].

Depends on fem/case_schema, fem/loss_factors, fem/wood, fem/wood_losses; on fem/board_losses for woods of boards.
"""

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from bracedtop.fem.case_schema import LOSS_KEYS, CaseTable, WoodTable
from bracedtop.fem.loss_factors import LossFactors
from bracedtop.fem.wood import Wood
from bracedtop.fem.wood_losses import WITHOUT_GRAIN, handbook_losses

if TYPE_CHECKING:
    from bracedtop.fem.board_fit import BoardFit


def losses_of(
    tables: CaseTable, woods: Mapping[str, Wood], fits: Mapping[str, "BoardFit"]
) -> Mapping[str, LossFactors]:
    """Loss factors of woods by their names in the drawing.

    What the drawing says counts first, then what a board's taps determine, then what is usual for the species.

    Parameters
    ----------
    tables : CaseTable
    woods : mapping of str to Wood
    fits : mapping of str to BoardFit
        Of the woods that the drawing names by a board file.
    """
    return {name: losses_of_wood(wood, tables.wood.get(name), fits.get(name)) for name, wood in woods.items()}


def losses_of_wood(wood: Wood, table: WoodTable | None, fit: "BoardFit | None" = None) -> LossFactors:
    """Loss factors of one wood, with its table and its board's fit if there are any."""
    if table is not None and table.E_gpa is not None:
        value = WITHOUT_GRAIN if table.loss is None else table.loss
        return LossFactors(value, value, value)
    known = handbook_losses(wood.species)
    if fit is not None:
        # Loaded here for the same reason as boards are in fem/case.
        from bracedtop.fem.board_losses import fit_losses

        known = replace(known, **{loss.name: loss.value for loss in fit_losses(fit) if loss.determined})
    if table is None:
        return known
    own = {key.removeprefix("loss_"): getattr(table, key) for key in LOSS_KEYS if getattr(table, key) is not None}
    return replace(known, **own)
