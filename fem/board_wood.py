"""A wood that a drawing names by its board file.

Depends on fem/board_file, fem/board_fit, fem/named_path.

The fit runs each time that the drawing is read, a second or less a board: nothing is kept that could grow stale, and
drawings without boards pay nothing.
"""

from pathlib import Path

from bracedtop.fem.board_file import read_board
from bracedtop.fem.board_fit import BoardFit, fit_board
from bracedtop.fem.named_path import named_path


def named_fit(text: str, folder: Path, where: str) -> BoardFit:
    """Fit of the board file that a drawing names; its wood has the board's name.

    Parameters
    ----------
    text : str
        Path of the board file relative to the drawing's folder. Boards often lie beside the cases that share them, so
        it may begin with ``../``, and with no more than that.
    folder : Path
        Of the drawing.
    where : str
        What names it, for messages.

    Raises
    ------
    FileError
        If the file is not there, lies elsewhere, or something in it is wrong.
    AccuracyError, DesignError, MeshError
        If no wood comes out of it.
    """
    path = named_path(text, folder, folder / "..", where)
    return fit_board(read_board(path))
