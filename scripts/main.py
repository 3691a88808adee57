"""The program ``bracedtop``: finds the command, runs it, and turns errors into one line."""

import argparse
import importlib
import io
import os
import sys
from collections.abc import Sequence
from typing import NoReturn

from bracedtop.geometry.errors import BracedTopError

COMMANDS = {
    "new": "write a case folder to begin from",
    "bench": "open the bench page of a case in the browser: the whole job without typing",
    "pattern": "print braces of a common family for a case's outline",
    "mesh": "triangulate a case and write it for other tools",
    "modes": "the modes that the drawing should have",
    "taps": "read the taps: frequencies, decays, shapes, sustain",
    "compare": "predicted against tapped, and what a millimetre off each brace does",
    "shave": "take wood off one brace in the model and see before and after",
    "calibrate": "fit the model to the taps: what this top really is, and how sure that is",
    "plan": "one safe pass toward the targets: where to cut, what the re-tap should show",
    "template": "the cut list at full size, to print and lay on the top",
    "cut": "record what was really cut, as the next pass",
    "log": "the record of a top: what was cut, when, and what it did",
    "book": "the instrument's book: how it was drawn, built and tuned, for whoever restores it",
    "load": "what the strings do to the top: turn of the bridge, dip and belly, stresses",
    "box": "the closed box: coupled modes, losses, sound, and how long each note sounds",
    "rims": "several linings side by side: sustain, projection, presence",
    "finish": "before and after a finish: hertz, decay, projection",
    "ring": "thin the edge of the closed box's top: what it does, how much is safe, one pass",
    "brief": "what a customer would like more of, against two instruments: figures, ways, costs",
    "season": "the modes in dry air and in damp air",
    "wood": "constants of your own wood from the taps of a board",
    "check": "run the published checks",
}

DESCRIPTION = """\
Finite elements for the wooden braced top of a stringed instrument.

A case is a folder with the drawing (top.toml), the taps (taps.csv, taps.toml, taps/*.wav) and the results (out/).
Begin with:

  bracedtop new my-top
  bracedtop compare my-top
"""

THREADS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")
"""Read by the linear algebra libraries when they load. The matrices here are small: with one thread a comparison
takes a quarter of the processor time that it takes with two, and no longer on an idle machine."""

GONE = 141
"""Exit code when the reader of the output has gone, as shells have it."""


class CommandLineError(BracedTopError):
    """An argument is missing or wrong."""


class Parser(argparse.ArgumentParser):
    """Parser whose complaints are one line like every other."""

    def error(self, message: str) -> NoReturn:
        """Refuse the command line."""
        text = f"{message}; see {self.prog} --help"
        raise CommandLineError(text)


def parser() -> Parser:
    """The command line with all its commands."""
    top = Parser(prog="bracedtop", description=DESCRIPTION, formatter_class=argparse.RawDescriptionHelpFormatter)
    top.add_argument("--version", action="store_true", help="print the version and stop")
    commands = top.add_subparsers(dest="command", metavar="COMMAND")
    for name, line in COMMANDS.items():
        module = importlib.import_module(f"bracedtop.scripts.{name}")
        command = commands.add_parser(
            name, help=line, description=module.__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
        )
        module.add_arguments(command)
        command.set_defaults(run=module.run)
    return top


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command.

    Parameters
    ----------
    argv : sequence of str, optional
        Arguments behind the program's name, those of the process if not given.

    Returns
    -------
    int
        0 for done, 1 for a check that missed, 2 for bad input, 130 when interrupted, 141 when the reader of the
        output has gone.
    """
    for name in THREADS:
        os.environ.setdefault(name, "1")
    for stream in (sys.stdout, sys.stderr):
        # File names may hold what the terminal cannot show.
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    try:
        code = _run(argv)
        if sys.stdout is not None:
            # Here, so that a full disk or a gone reader is seen before the process ends.
            sys.stdout.flush()
    except BracedTopError as error:
        return _refuse(str(error))
    except BrokenPipeError:
        _drop_output()
        return GONE
    except OSError as error:
        _drop_output()
        return _refuse(f"{error.filename or 'output'}: {error.strerror or error}")
    except MemoryError:
        return _refuse("out of memory; a larger size_mm under [mesh] in top.toml, or fewer --modes, need less")
    except KeyboardInterrupt:
        print("bracedtop: interrupted; no half-written results were left", file=sys.stderr)
        return 130
    return code


def _run(argv: Sequence[str] | None) -> int:
    top = parser()
    args = top.parse_args(argv)
    if args.version:
        from importlib.metadata import version

        print(version("braced-top"))
        return 0
    if args.command is None:
        top.print_help()
        return 0
    return int(args.run(args))


def _refuse(message: str) -> int:
    print(f"bracedtop: {' '.join(message.split())}", file=sys.stderr)
    return 2


def _drop_output() -> None:
    """Let what is still buffered for standard output go nowhere, as it cannot be written."""
    if isinstance(sys.stdout, io.TextIOWrapper):
        try:
            sys.stdout.flush()
        except OSError:
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


if __name__ == "__main__":
    sys.exit(main())
