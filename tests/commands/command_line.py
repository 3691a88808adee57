"""The command line in this process, and a small case that solves in a tenth of a second."""

import contextlib
import io
from dataclasses import dataclass
from pathlib import Path

from bracedtop.scripts.main import main

TOP = """\
name = "small"
note = "Invented for the tests."

[outline]
points_mm = [[0, -110], [300, -110], [300, 110], [0, 110]]

[top]
wood = "spruce_sitka"
thickness_mm = 3

[edge]
kind = "free"

[mesh]
size_mm = 80

[[brace]]
name = "long"
wood = "spruce_sitka"
path_mm = [[40, -50], [260, 40]]
width_mm = 8
stations_mm = [[0, 4], [120, 12], [237, 4]]

[[brace]]
name = "cross"
wood = "spruce_sitka"
path_mm = [[150, -80], [150, 80]]
width_mm = 8
stations_mm = [[0, 8], [160, 8]]
shape = "rounded"

[[joint]]
under = "long"
over = "cross"
kept_mm = 6

[[patch]]
name = "bridge"
kind = "bridge"
wood = "walnut_black"
thickness_mm = 6
grain_angle_deg = 90
centre_mm = [80, 0]
size_mm = [24, 100]

[[target]]
mode = 2
note = "F#3"
cents = 20
"""

TAPS = """\
# Invented for the tests.
hz,q,label,nodes_across,nodes_along
106,55,"long, soft",1,1
190,50,,,
236,45,ring,0,2
"""


@dataclass(frozen=True)
class Outcome:
    """What a command line did."""

    code: int
    out: str
    err: str

    @property
    def last(self) -> str:
        return self.out.splitlines()[-1]

    @property
    def complaint(self) -> str:
        """The one line on standard error of a run that was refused."""
        assert self.code == 2, self
        assert self.out == ""
        lines = self.err.splitlines()
        assert len(lines) == 1, lines
        assert lines[0].startswith("bracedtop: ")
        assert "Traceback" not in self.err
        return lines[0].removeprefix("bracedtop: ")


def call(*arguments: object) -> Outcome:
    """Run the program in this process."""
    with contextlib.redirect_stdout(io.StringIO()) as out, contextlib.redirect_stderr(io.StringIO()) as err:
        code = main([str(argument) for argument in arguments])
    return Outcome(code, out.getvalue(), err.getvalue())


def contents(folder: Path) -> dict[str, bytes]:
    """Every file below a folder."""
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}
