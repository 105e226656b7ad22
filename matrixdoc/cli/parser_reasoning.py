"""The words of the commands that reason about faults: diagnose, tree, simulate, hold, spice."""

from __future__ import annotations

import argparse

from matrixdoc.cli.parser_words import (
    Commands,
    add_command,
    add_json,
    add_machine,
    add_saw,
    number_from,
    percent,
    positive,
)


def add_diagnose(commands: Commands) -> None:
    """The words of ``matrixdoc diagnose``."""
    parser = add_command(
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
    add_machine(parser)
    add_saw(parser)
    parser.add_argument("--top", metavar="N", type=number_from(1), default=5, help="causes and checks (5)")
    parser.add_argument(
        "--correct",
        metavar="SENTENCE",
        action="append",
        default=[],
        help='put the chart right first: "swap switch C3R2 C2R3", "chain switch C1 1 3 2"',
    )
    _conditions(parser)
    add_json(parser, "diagnose")


def _conditions(parser: argparse.ArgumentParser) -> None:
    """How the game arrived and what is open: the same for every command that reasons."""
    parser.add_argument(
        "--expected-faults",
        metavar="X",
        type=positive,
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


def add_tree(commands: Commands) -> None:
    """The words of ``matrixdoc tree``."""
    parser = add_command(
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
    add_machine(parser)
    add_saw(parser)
    parser.add_argument(
        "--depth", metavar="N", type=number_from(0), default=5, help="steps from the first to the deepest (5)"
    )
    parser.add_argument(
        "--mass",
        metavar="P",
        type=percent,
        default=2.0,
        help="leave out branches that fewer than P percent of cases come to (2)",
    )
    parser.add_argument(
        "--complaint",
        metavar="N",
        type=number_from(1),
        default=1,
        help="which complaint, the likeliest is 1",
    )
    _conditions(parser)
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--dot", action="store_true", help="print the graph in the DOT language")
    form.add_argument("--html", metavar="FILE", default="", help="write a page for the printer (-: print it)")
    add_json(form, "tree")


def add_simulate(commands: Commands) -> None:
    """The words of ``matrixdoc simulate``."""
    parser = add_command(
        commands,
        "simulate",
        "show what would be seen with given faults",
        "Show what would be seen if exactly these faults were there: what is different\n"
        "from a healthy machine, by fuse, switch, lamp, coil and supply; what behaves\n"
        "alike is one line. With a report (or --saw): what its findings would show.\n"
        "--all lists every look. --list-modes tells which failure modes a part can have.",
        "  matrixdoc simulate MACHINE --list-modes switch/C3R5/diode\n"
        "  matrixdoc simulate MACHINE --fault switch/C3R5/diode=shorted\n"
        '  matrixdoc simulate MACHINE --fault "F5=blown"\n'
        '  matrixdoc simulate MACHINE --fault coil/7/driver=shorted --saw "coil 7 fires"',
    )
    add_machine(parser)
    add_saw(parser)
    parser.add_argument(
        "--fault",
        metavar="PART=MODE",
        action="append",
        default=[],
        help="a part and its failure mode; may be given again; none: a healthy machine",
    )
    parser.add_argument(
        "--list-modes",
        metavar="PART",
        default="",
        help="list the failure modes of a part, or of all of a device",
    )
    parser.add_argument("--all", action="store_true", help="list every look, healthy or not, one by one")
    add_json(parser, "simulate")


def add_hold(commands: Commands) -> None:
    """The words of ``matrixdoc hold``."""
    parser = add_command(
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
    add_machine(parser)
    add_saw(parser)
    parser.add_argument(
        "--fault",
        metavar="PART=MODE",
        action="append",
        default=[],
        help="a suspect: a part and its failure mode; may be given again",
    )
    add_json(parser, "hold")


def add_spice(commands: Commands) -> None:
    """The words of ``matrixdoc spice``."""
    parser = add_command(
        commands,
        "spice",
        "print a situation as a circuit deck",
        "Print the circuit of one situation as a SPICE deck that a stock simulator runs\nunchanged.",
        "  matrixdoc spice MACHINE --press C1R1 --press C1R2 --phase C1 > deck.cir\n"
        "  matrixdoc spice MACHINE --lamp C2R1 --phase C2\n"
        "  matrixdoc spice MACHINE --pulse 7 --fault coil/7/diode=shorted",
    )
    add_machine(parser)
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
    add_json(parser, "spice")
