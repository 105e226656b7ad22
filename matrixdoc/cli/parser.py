"""The words of the command line. Only the standard library is imported here."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from typing import NoReturn, TypeAlias

Commands: TypeAlias = "argparse._SubParsersAction[_Parser]"  # noqa: SLF001 - it has no public name

SCHEMAS = (
    "machine",
    "report",
    "machines",
    "validate",
    "show",
    "chart",
    "path",
    "diagnose",
    "tree",
    "simulate",
    "hold",
    "spice",
)

_ABOUT = """\
Reason backward from what an old coin-operated game shows to the part that
failed.

Without a command the bench opens: the matrices of a machine, what was seen on
them, the likely causes and the next checks. The other commands do one thing
each; --json prints their results as data."""

_EXAMPLES = """\
examples:
  matrixdoc                                open the bench
  matrixdoc machines                       list the machines that are known
  matrixdoc diagnose MACHINE seen.yaml     causes and next checks for a report
  matrixdoc diagnose MACHINE --saw "press C3R5 reads nothing"
  matrixdoc path MACHINE "switch C3R5"     every part of one place's circuit
  matrixdoc COMMAND --help                 more about one command

exit status: 0 done, 1 an input is wrong, 2 the command line is wrong"""


class _Parser(argparse.ArgumentParser):
    """Complains in the words of the other messages; status 2."""

    def error(self, message: str) -> NoReturn:
        self.print_usage(sys.stderr)
        self.exit(2, f"{self.prog}: {message} ({self.prog} --help tells more)\n")


class _Version(argparse.Action):
    """Looks the version up only when it is asked for."""

    def __call__(self, parser: argparse.ArgumentParser, *_: object) -> None:
        from importlib.metadata import PackageNotFoundError, version

        try:
            number = version("matrixdoc")
        except PackageNotFoundError:
            number = "(run from its source folder, not installed)"
        print(f"matrixdoc {number}")
        parser.exit(0)


def build_parser() -> argparse.ArgumentParser:
    """The parser of the whole command line. Its result has ``command`` and the command's words."""
    parser = _Parser(
        prog="matrixdoc",
        description=_ABOUT,
        epilog=_EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action=_Version, nargs=0, help="print the version and leave")
    parser.set_defaults(command="bench", machine="", report="")
    commands = parser.add_subparsers(
        dest="command", metavar="COMMAND", title="commands", parser_class=_Parser
    )
    for add in (
        _bench,
        _machines,
        _validate,
        _show,
        _chart,
        _path,
        _diagnose,
        _tree,
        _simulate,
        _hold,
        _spice,
        _schema,
    ):
        add(commands)
    return parser


def _command(
    commands: Commands, name: str, summary: str, about: str, examples: str
) -> argparse.ArgumentParser:
    return commands.add_parser(
        name,
        help=summary,
        description=about,
        epilog=f"examples:\n{examples}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )


def _machine(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "machine", metavar="MACHINE", help="a known machine's name, or the path of a definition"
    )


def _json(parser: argparse._ActionsContainer, name: str) -> None:
    parser.add_argument(
        "--json", action="store_true", help=f"print JSON (its schema: matrixdoc schema {name})"
    )


def _number(least: int) -> Callable[[str], int]:
    def count(text: str) -> int:
        if not text.isascii() or not text.isdigit() or not least <= int(text[:9]) <= 1000:
            raise argparse.ArgumentTypeError(f"{text!r} is not a number from {least} to 1000")
        return int(text)

    return count


def _positive(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if not 0.0 < value <= 50.0:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number above 0, up to 50")
    return value


def _percent(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = -1.0
    if not 0.0 <= value <= 100.0:
        raise argparse.ArgumentTypeError(f"{text!r} is not a percentage from 0 to 100")
    return value


def _bench(commands: Commands) -> None:
    parser = _command(
        commands,
        "bench",
        "open the bench (the same as no command)",
        "Open the bench: matrices, findings, causes and next checks on one screen.",
        "  matrixdoc bench\n  matrixdoc bench MACHINE\n  matrixdoc bench MACHINE --report seen.yaml",
    )
    parser.add_argument("machine", metavar="MACHINE", nargs="?", default="", help="a machine's name or path")
    parser.add_argument("--report", metavar="FILE", default="", help="start with the findings of this report")


def _machines(commands: Commands) -> None:
    parser = _command(
        commands,
        "machines",
        "list the machines that are known",
        "List the shipped definitions and those in your own folder.",
        "  matrixdoc machines\n  matrixdoc machines --json",
    )
    _json(parser, "machines")


def _validate(commands: Commands) -> None:
    parser = _command(
        commands,
        "validate",
        "check definitions and reports",
        "Check files: every error is told with its line, what was found and what would be\n"
        "right. A file with a findings list is a report, any other a machine definition.",
        "  matrixdoc validate my_game.yaml\n  matrixdoc validate *.yaml --json",
    )
    parser.add_argument("files", metavar="FILE", nargs="+", help="a definition or a report")
    _json(parser, "validate")


def _show(commands: Commands) -> None:
    parser = _command(
        commands,
        "show",
        "print a machine's resolved wiring",
        "Print the wiring that a definition resolves to, every default filled in.",
        "  matrixdoc show MACHINE\n  matrixdoc show MACHINE --parts\n  matrixdoc show MACHINE --json",
    )
    _machine(parser)
    parser.add_argument(
        "--parts", action="store_true", help="list every part: reference, kind, where, colour"
    )
    _json(parser, "show")


def _chart(commands: Commands) -> None:
    parser = _command(
        commands,
        "chart",
        "print a machine's matrix charts",
        "Print the matrices as the paper chart is laid out: columns across, rows down.",
        "  matrixdoc chart MACHINE\n  matrixdoc chart MACHINE --matrix switch --csv > switches.csv",
    )
    _machine(parser)
    parser.add_argument("--matrix", metavar="NAME", default="", help="one matrix only")
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--csv", action="store_true", help="print comma-separated values")
    _json(form, "chart")


def _path(commands: Commands) -> None:
    parser = _command(
        commands,
        "path",
        "list every part on the path of one place",
        "List every part from the supply to ground, and the signal parts that command it:\n"
        "reference, pin, wire, place.",
        '  matrixdoc path MACHINE "switch C3R5"\n'
        '  matrixdoc path MACHINE "lamp C2R1"\n'
        '  matrixdoc path MACHINE "coil 7"',
    )
    _machine(parser)
    parser.add_argument("place", metavar="PLACE", help="a switch, lamp or coil; a cell; a part")
    _json(parser, "path")


def _saw(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "report", metavar="REPORT", nargs="?", default="", help="a report file, or - for stdin"
    )
    parser.add_argument(
        "--saw",
        metavar="SENTENCE",
        action="append",
        default=[],
        help='a symptom in words, such as "press C3R5 reads nothing"; may be given again',
    )


def _diagnose(commands: Commands) -> None:
    parser = _command(
        commands,
        "diagnose",
        "rank the causes and the next checks",
        "Rank the causes of what was seen, and the checks worth doing next.\n\n"
        "Symptoms come from a report file, from standard input (-), from --saw, or from\n"
        "several of these. Sentences for --saw:\n"
        "  press C3R5 reads nothing            hold C1R1, C1R2 reads C1R1, C1R2, C2R2\n"
        "  resting reads C4R4                  walk C3R5 reads nothing; others fine\n"
        "  lamp C2R1 off                       lamp C2R1 dim commanded itself\n"
        "  coil 7 nothing                      power up locked 7\n"
        "  fuse coil supply open               volts rail/coil to ground 48 V\n"
        "  ohms PART.a to PART.b 4.1 ohm       diode PART.anode to PART.cathode 0.56 V\n"
        "  replaced PART                       smoke",
        "  matrixdoc diagnose MACHINE seen.yaml --top 3\n"
        "  matrixdoc diagnose MACHINE - --json < seen.yaml\n"
        '  matrixdoc diagnose MACHINE --saw "walk C3R5 reads nothing; others fine"',
    )
    _machine(parser)
    _saw(parser)
    parser.add_argument("--top", metavar="N", type=_number(1), default=5, help="causes and checks shown (5)")
    parser.add_argument(
        "--correct",
        metavar="SENTENCE",
        action="append",
        default=[],
        help='put the chart right first: "swap switch C3R2 C2R3", "chain switch C1 1 3 2"',
    )
    _conditions(parser)
    _json(parser, "diagnose")


def _conditions(parser: argparse.ArgumentParser) -> None:
    """How the game arrived and what is open: the same for every command that reasons."""
    parser.add_argument(
        "--expected-faults",
        metavar="X",
        type=_positive,
        default=None,
        help="the number of faults to expect on arrival (1.5)",
    )
    for name, words in (
        ("recent-repair", "a place, board or part that somebody worked at lately"),
        ("battery-leak", "a place, board or part that battery residue reached"),
        ("open-place", "a door or panel that is open now"),
    ):
        parser.add_argument(
            f"--{name}", metavar="PLACE", action="append", default=[], help=f"{words}; repeatable"
        )
    parser.add_argument("--sat-for-years", action="store_true", help="the machine stood unused for years")


def _tree(commands: Commands) -> None:
    parser = _command(
        commands,
        "tree",
        "print the fault tree of a symptom: what to check, and then",
        "Print the whole plan for what was seen: what to check first, and after each\n"
        "outcome what to check or mend then, with minutes, cautions and readings, down to\n"
        "a depth or until a branch is improbable. Symptoms are given as for diagnose.\n\n"
        "Fault tree is the trade's word; IEC 61025 uses it for the analysis of an event by\n"
        "AND and OR, which this is not.",
        '  matrixdoc tree MACHINE --saw "coil 7 nothing"\n'
        "  matrixdoc tree MACHINE seen.yaml --depth 8 --mass 1 --html tree.html\n"
        "  matrixdoc tree MACHINE seen.yaml --dot > tree.dot",
    )
    _machine(parser)
    _saw(parser)
    parser.add_argument(
        "--depth", metavar="N", type=_number(0), default=5, help="steps from the first to the deepest (5)"
    )
    parser.add_argument(
        "--mass",
        metavar="P",
        type=_percent,
        default=2.0,
        help="leave out branches that fewer than P percent of cases come to (2)",
    )
    parser.add_argument(
        "--complaint", metavar="N", type=_number(1), default=1, help="which complaint, likeliest first (1)"
    )
    _conditions(parser)
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--dot", action="store_true", help="print the graph in the DOT language")
    form.add_argument("--html", metavar="FILE", default="", help="write a page for the printer (-: print it)")
    _json(form, "tree")


def _simulate(commands: Commands) -> None:
    parser = _command(
        commands,
        "simulate",
        "show what would be seen with given faults",
        "Show what would be seen if exactly these faults were there, beside what a\n"
        "healthy machine shows. With a report (or --saw): what its findings would show.\n"
        "Without one: power-up, the switches at rest and pressed one by one, lamps all,\n"
        "alone, and all but one line, each coil; only what differs is printed, unless\n"
        "--all is given.",
        "  matrixdoc simulate MACHINE --fault switch/C3R5/diode=shorted\n"
        '  matrixdoc simulate MACHINE --fault coil/7/driver=shorted --saw "coil 7 fires"',
    )
    _machine(parser)
    _saw(parser)
    parser.add_argument(
        "--fault",
        metavar="PART=MODE",
        action="append",
        default=[],
        help="a part and its failure mode; may be given again; none: a healthy machine",
    )
    parser.add_argument("--all", action="store_true", help="print what is as on a healthy machine, too")
    _json(parser, "simulate")


def _hold(commands: Commands) -> None:
    parser = _command(
        commands,
        "hold",
        "find the fewest switches to hold that tell suspects apart",
        "Find the smallest set of switches that, held together, makes the switch scan\n"
        "read differently under the suspects: those of a report (or --saw), or the\n"
        "faults given (beside nothing wrong). The circuit of this machine decides: three\n"
        "corners of a rectangle, a fourth, another rectangle, or one press.",
        '  matrixdoc hold MACHINE --saw "hold C1R1, C1R2, C2R1 reads C2R2"\n'
        "  matrixdoc hold MACHINE --fault switch/C1R1/diode=shorted \\\n"
        "    --fault switch/C2R2/diode=shorted",
    )
    _machine(parser)
    _saw(parser)
    parser.add_argument(
        "--fault",
        metavar="PART=MODE",
        action="append",
        default=[],
        help="a suspect: a part and its failure mode; may be given again",
    )
    _json(parser, "hold")


def _spice(commands: Commands) -> None:
    parser = _command(
        commands,
        "spice",
        "print a situation as a circuit deck",
        "Print the circuit of one situation as a SPICE deck that a stock simulator runs\nunchanged.",
        "  matrixdoc spice MACHINE --press C1R1 --press C1R2 --phase C1 > deck.cir\n"
        "  matrixdoc spice MACHINE --lamp C2R1 --phase C2\n"
        "  matrixdoc spice MACHINE --pulse 7 --fault coil/7/diode=shorted",
    )
    _machine(parser)
    repeatable = (
        ("--press", "SWITCH", "a switch that is held"),
        ("--lamp", "LAMP", "a lamp that is commanded (all: every lamp)"),
        ("--fault", "PART=MODE", "a part and its failure mode"),
    )
    for name, words, told in repeatable:
        parser.add_argument(name, metavar=words, action="append", default=[], help=f"{told}; repeatable")
    parser.add_argument("--pulse", metavar="COIL", default="", help="a coil that is pulsed")
    parser.add_argument(
        "--phase", metavar="LINE", default="", help='the line that is active: C3, or "lamp C3"'
    )
    _json(parser, "spice")


def _schema(commands: Commands) -> None:
    parser = _command(
        commands,
        "schema",
        "print the JSON Schema of a file or a result",
        "Print a JSON Schema: of the definition file (machine), of the report file\n"
        "(report), or of what a command prints with --json.",
        "  matrixdoc schema machine > machine.schema.json\n  matrixdoc schema diagnose",
    )
    parser.add_argument("name", metavar="NAME", choices=SCHEMAS, help=", ".join(SCHEMAS))
