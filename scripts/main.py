"""The program ``bracedtop``: finds the command, runs it, and turns errors into one line."""

import argparse
import importlib
import os
import sys
from collections.abc import Sequence

from bracedtop.geometry.errors import BracedTopError

COMMANDS = {
    "new": "write a case folder to begin from",
    "pattern": "print braces of a common family for a case's outline",
    "mesh": "triangulate a case and write it for other tools",
    "modes": "the modes that the drawing should have",
    "taps": "read the taps: frequencies, decays, spread",
    "compare": "predicted against tapped, and what a millimetre off each brace does",
    "shave": "take wood off one brace in the model and see before and after",
    "check": "run the published checks",
}

DESCRIPTION = """\
Finite elements for the wooden braced top of a stringed instrument.

A case is a folder with the drawing (top.toml), the taps (taps.csv, taps/*.wav) and the results (out/).
Begin with:

  bracedtop new my-top
  bracedtop compare my-top
"""


def parser() -> argparse.ArgumentParser:
    """The command line with all its commands."""
    top = argparse.ArgumentParser(
        prog="bracedtop", description=DESCRIPTION, formatter_class=argparse.RawDescriptionHelpFormatter
    )
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
    """Run one command; 0 for done, 1 for a check that missed, 2 for bad input, 130 when interrupted."""
    top = parser()
    args = top.parse_args(argv)
    if args.version:
        from importlib.metadata import version

        print(version("braced-top"))
        return 0
    if args.command is None:
        top.print_help()
        return 0
    try:
        return int(args.run(args))
    except BracedTopError as error:
        return _refuse(str(error))
    except BrokenPipeError:
        # The reader of our output has gone; nothing is left to say to it.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1
    except OSError as error:
        return _refuse(f"{error.filename or 'file'}: {error.strerror or error}")
    except KeyboardInterrupt:
        print("bracedtop: interrupted; earlier results are untouched", file=sys.stderr)
        return 130


def _refuse(message: str) -> int:
    print(f"bracedtop: {' '.join(message.split())}", file=sys.stderr)
    return 2


if __name__ == "__main__":
    sys.exit(main())
