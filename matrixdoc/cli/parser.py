"""The words of the command line. Only the standard library is imported here."""

from __future__ import annotations

import argparse

from matrixdoc.cli.parser_reasoning import add_diagnose, add_hold, add_simulate, add_spice, add_tree
from matrixdoc.cli.parser_words import Commands, Parser, add_command, add_json, add_machine

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


def build_parser() -> Parser:
    """The parser of the whole command line. Its result has ``command`` and the command's words."""
    parser = Parser(
        prog="matrixdoc",
        description=_ABOUT,
        epilog=_EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action=_Version, nargs=0, help="print the version and leave")
    parser.set_defaults(command="bench", machine="", report="")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", title="commands", parser_class=Parser)
    for add in (
        _bench,
        _machines,
        _validate,
        _show,
        _chart,
        _path,
        add_diagnose,
        add_tree,
        add_simulate,
        add_hold,
        add_spice,
        _schema,
    ):
        add(commands)
    return parser


def _bench(commands: Commands) -> None:
    parser = add_command(
        commands,
        "bench",
        "open the bench (the same as no command)",
        "Open the bench: matrices, findings, causes and next checks on one screen.",
        "  matrixdoc bench\n  matrixdoc bench MACHINE\n  matrixdoc bench MACHINE --report seen.yaml",
    )
    parser.add_argument("machine", metavar="MACHINE", nargs="?", default="", help="a machine's name or path")
    parser.add_argument("--report", metavar="FILE", default="", help="start with the findings of this report")


def _machines(commands: Commands) -> None:
    parser = add_command(
        commands,
        "machines",
        "list the machines that are known",
        "List the shipped definitions and those in your own folder.",
        "  matrixdoc machines\n  matrixdoc machines --json",
    )
    add_json(parser, "machines")


def _validate(commands: Commands) -> None:
    parser = add_command(
        commands,
        "validate",
        "check definitions and reports",
        "Check files: every error is told with its line, what was found and what would be\n"
        "right. A file with a findings list is a report, any other a machine definition.",
        "  matrixdoc validate my_game.yaml\n  matrixdoc validate *.yaml --json",
    )
    parser.add_argument("files", metavar="FILE", nargs="+", help="a definition or a report")
    add_json(parser, "validate")


def _show(commands: Commands) -> None:
    parser = add_command(
        commands,
        "show",
        "print a machine's resolved wiring",
        "Print the wiring that a definition resolves to, every default filled in.",
        "  matrixdoc show MACHINE\n  matrixdoc show MACHINE --parts\n  matrixdoc show MACHINE --json",
    )
    add_machine(parser)
    parser.add_argument(
        "--parts", action="store_true", help="list every part: reference, kind, where, colour"
    )
    add_json(parser, "show")


def _chart(commands: Commands) -> None:
    parser = add_command(
        commands,
        "chart",
        "print a machine's matrix charts, or begin a definition from CSV",
        "Print the matrices as the paper chart is laid out: columns across, rows down.\n\n"
        "With --from-csv: print the beginning of a definition from charts that you keep\n"
        "in a spreadsheet. The first field names the matrix (switch, lamp); the first row\n"
        "and column hold C1, C2 ... and R1, R2 ... (or nothing). Rows and columns called\n"
        "title, wire, pin and drive are taken as that. --csv prints this layout.",
        "  matrixdoc chart MACHINE\n"
        "  matrixdoc chart MACHINE --matrix switch --csv > switches.csv\n"
        "  matrixdoc chart --from-csv switches.csv lamps.csv --title Ferry > ferry.yaml\n"
        "  matrixdoc chart --from-csv switch_list.csv --size 8x8 --along columns",
    )
    parser.add_argument(
        "machine", metavar="MACHINE", nargs="?", default="", help="a known machine's name, or a definition"
    )
    parser.add_argument(
        "--matrix", metavar="NAME", default="", help="one matrix only; or: what the CSV is of"
    )
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--csv", action="store_true", help="print comma-separated values")
    add_json(form, "chart")
    csv = parser.add_argument_group("from a spreadsheet")
    csv.add_argument("--from-csv", metavar="FILE", nargs="+", default=[], help="charts to begin with")
    csv.add_argument("--title", metavar="NAME", default="My machine", help="what the machine is called")
    csv.add_argument(
        "--across",
        choices=("columns", "rows"),
        default="columns",
        help="what stands across in the file (columns)",
    )
    csv.add_argument("--numbered-from", choices=("0", "1"), default=None, help="the first line's number")
    csv.add_argument(
        "--size", metavar="CxR", default="", help="the file is a list of numbers; its columns x rows"
    )
    csv.add_argument(
        "--along",
        choices=("columns", "rows"),
        default="columns",
        help="with --size: how the numbers run (down the columns)",
    )


def _path(commands: Commands) -> None:
    parser = add_command(
        commands,
        "path",
        "list every part on the path of one place",
        "List every part from the supply to ground, and the signal parts that command it:\n"
        "reference, pin, wire, place.",
        '  matrixdoc path MACHINE "switch C3R5"\n'
        '  matrixdoc path MACHINE "lamp C2R1"\n'
        '  matrixdoc path MACHINE "coil 7"\n'
        '  matrixdoc path MACHINE "lower feed"',
    )
    add_machine(parser)
    parser.add_argument(
        "place", metavar="PLACE", help="a switch, lamp or coil; a cell; a part; a feed or illumination string"
    )
    add_json(parser, "path")


def _schema(commands: Commands) -> None:
    parser = add_command(
        commands,
        "schema",
        "print the JSON Schema of a file or a result",
        "Print a JSON Schema: of the definition file (machine), of the report file\n"
        "(report), or of what a command prints with --json.",
        "  matrixdoc schema machine > machine.schema.json\n  matrixdoc schema diagnose",
    )
    parser.add_argument("name", metavar="NAME", choices=SCHEMAS, help=", ".join(SCHEMAS))
