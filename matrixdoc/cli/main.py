"""The ``matrixdoc`` command: reads the words on the command line and hands them to one command.

Results go to standard output, talk about them to standard error. The exit status is 0 when the
work was done, 1 when an input was wrong, 2 when the command itself was. Nothing heavy is imported
before a command is chosen, so that ``--help`` comes at once.
"""

from __future__ import annotations

import argparse
import gc
import os
import sys
import textwrap
from collections.abc import Sequence

from matrixdoc.cli.parser import build_parser
from matrixdoc.definition.errors import MatrixdocError, printable

DONE = 0
WRONG_INPUT = 1
WRONG_USAGE = 2
INTERRUPTED = 130


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; the exit status is returned.

    Raises:
        SystemExit: ``--help`` (status 0) or a command line that cannot be read (status 2).
    """
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            # A terminal without the letters of a name shows an escape, never a traceback.
            reconfigure(errors="backslashreplace")
    parser = build_parser()
    parser.given = list(sys.argv[1:] if argv is None else argv)
    arguments = parser.parse_args(argv)
    collect_seldom()
    try:
        status = _run(arguments)
        sys.stdout.flush()
    except MatrixdocError as error:
        print("\n".join(_told(line) for line in str(error).splitlines()), file=sys.stderr)
        return WRONG_INPUT
    except BrokenPipeError:
        # The reader had enough (head, a pager that was left): nothing is wrong.
        _silence_stdout()
        return DONE
    except KeyboardInterrupt:
        print("matrixdoc: stopped", file=sys.stderr)
        return INTERRUPTED
    except OSError as error:
        told = f"{error.filename}: {error.strerror}" if error.filename and error.strerror else error
        print(f"matrixdoc: {printable(told, 400)}", file=sys.stderr)
        return WRONG_INPUT
    return status


def _told(line: str) -> str:
    """One thing that is wrong, at most 80 columns wide; what runs on is set in."""
    from matrixdoc.cli.text import WIDTH

    return textwrap.fill(
        f"matrixdoc: {line}",
        WIDTH,
        subsequent_indent=" " * 4,
        break_long_words=False,
        break_on_hyphens=False,
    )


def collect_seldom() -> None:
    """Let the collector of reference cycles run a hundredth as often.

    Nearly everything here is an immutable value without cycles; looking through all of it time and
    again costs an eighth of a diagnosis (measured) and frees nothing.
    """
    gc.set_threshold(500_000, 20, 20)


def _run(arguments: argparse.Namespace) -> int:
    from matrixdoc.cli.commands import COMMANDS

    return COMMANDS[arguments.command](arguments)


def _silence_stdout() -> None:
    """Let the interpreter's own last flush go nowhere, where standard output is a real file."""
    try:
        descriptor = sys.stdout.fileno()
    except (OSError, ValueError):
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, descriptor)
    os.close(nowhere)
