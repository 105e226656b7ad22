"""The words that commands share: a machine, symptoms, numbers within bounds. Only the standard library."""

from __future__ import annotations

import argparse
import re
import sys
from collections.abc import Callable, Sequence
from difflib import get_close_matches
from typing import NoReturn, TypeAlias

Commands: TypeAlias = "argparse._SubParsersAction[Parser]"  # noqa: SLF001 - it has no public name


class Parser(argparse.ArgumentParser):
    """Complains in the words of the other messages; status 2."""

    given: Sequence[str] = ()
    """The words of the command line, for a complaint about them."""

    def error(self, message: str) -> NoReturn:
        """Say what is wrong with the command line, and leave."""
        self.print_usage(sys.stderr)
        self.exit(2, f"{self.prog}: {_complaint(message, self.given)} ({self.prog} --help tells more)\n")


def _complaint(message: str, given: Sequence[str]) -> str:
    """What is wrong with a command line, and what would be right."""
    choice = _CHOICE.match(message)
    if choice is not None:
        known = re.findall(r"\w+", choice["rest"])
        close = get_close_matches(choice["word"][:40], known, n=1)
        hint = f"; did you mean {close[0]}?" if close else ""
        what = "a command" if choice["what"] == "COMMAND" else f"for {choice['what']} one of"
        return f"found {choice['word']!r}; expected {what}: {', '.join(known)}{hint}"
    if message.startswith("unrecognized arguments: "):
        words = message.removeprefix("unrecognized arguments: ")
        sentences = [option for option in _SENTENCES if option in given]
        if sentences and not words.startswith("-"):
            return f"found {words!r} left over; what follows {sentences[0]} is one sentence: put it in quotes"
        hint = "" if words.startswith("-") else "; names with blanks stand in quotes"
        return f"found {words!r}, which this command does not take{hint}"
    message = message.replace("the following arguments are required:", "missing:")
    return message.removeprefix("argument ")


_CHOICE = re.compile(r"argument (?P<what>\S+): invalid choice: '(?P<word>.*)' \(choose from (?P<rest>.*)")
_SENTENCES = ("--saw", "--correct", "--fault", "--press", "--lamp")


def add_command(
    commands: Commands, name: str, summary: str, about: str, examples: str
) -> argparse.ArgumentParser:
    """A command with its help and examples."""
    return commands.add_parser(
        name,
        help=summary,
        description=about,
        epilog=f"examples:\n{examples}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )


def add_machine(parser: argparse.ArgumentParser) -> None:
    """The machine that a command is about."""
    parser.add_argument(
        "machine", metavar="MACHINE", help="a known machine's name, or the path of a definition"
    )


def add_json(parser: argparse._ActionsContainer, name: str) -> None:
    """``--json``, with the name of its schema."""
    parser.add_argument(
        "--json", action="store_true", help=f"print JSON (its schema: matrixdoc schema {name})"
    )


def number_from(least: int) -> Callable[[str], int]:
    """A reader of whole numbers from ``least`` to 1000."""

    def count(text: str) -> int:
        if not text.isascii() or not text.isdigit() or not least <= int(text[:9]) <= 1000:
            raise argparse.ArgumentTypeError(f"{text!r} is not a number from {least} to 1000")
        return int(text)

    return count


def positive(text: str) -> float:
    """A number above 0, up to 50; raises ``ArgumentTypeError`` for any other text."""
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if not 0.0 < value <= 50.0:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number above 0, up to 50")
    return value


def percent(text: str) -> float:
    """A percentage from 0 to 100; raises ``ArgumentTypeError`` for any other text."""
    try:
        value = float(text)
    except ValueError:
        value = -1.0
    if not 0.0 <= value <= 100.0:
        raise argparse.ArgumentTypeError(f"{text!r} is not a percentage from 0 to 100")
    return value


def add_saw(parser: argparse.ArgumentParser) -> None:
    """Where symptoms come from: a report file, sentences."""
    parser.add_argument(
        "report", metavar="REPORT", nargs="?", default="", help="a report file, or - for stdin"
    )
    parser.add_argument("--report", metavar="FILE", dest="report_file", default="", help="the same")
    parser.add_argument(
        "--saw",
        metavar="SENTENCE",
        action="append",
        default=[],
        help='a symptom in words, such as "press C3R5 reads nothing"; may be given again',
    )
