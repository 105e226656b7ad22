"""``matrixdoc spice``: one situation of a machine as a circuit deck for a stock simulator."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

from matrixdoc.case.case import Case
from matrixdoc.case.names import Names, NameTrouble
from matrixdoc.checks.model import CONTACT_KINDS
from matrixdoc.checks.signals import active_outputs
from matrixdoc.checks.situation import ALL_LAMPS, Situation
from matrixdoc.circuit.deck import spice_deck
from matrixdoc.circuit.netlist import Instant
from matrixdoc.cli.faults import read_faults
from matrixdoc.cli.inputs import engine_of, load, possible_of
from matrixdoc.definition.errors import InputError, Problem, choice, quoted
from matrixdoc.definition.wiring import Cell, Line, Matrix, Wiring
from matrixdoc.diagnosis.engine import Engine
from matrixdoc.faults.priors import Fault

_T = TypeVar("_T")


@dataclass(frozen=True, slots=True)
class Phase:
    """The strobed line that is active at the instant, and its matrix."""

    matrix: Matrix
    line: Line


def spice(arguments: argparse.Namespace) -> int:
    """Print the deck.

    Raises:
        MatrixdocError: the machine, a name or a fault is wrong.
    """
    wiring = load(arguments.machine)
    case = Case.start(wiring)
    faults = read_faults(arguments.fault, wiring, possible_of(case))
    situation = read_situation(wiring, arguments)
    phase = read_phase(wiring, arguments.phase, situation)
    engine = engine_of(case)
    title = deck_title(wiring, situation, phase, faults)
    deck = spice_deck(engine.circuit, instant_of(engine, situation, phase, faults), title)
    if arguments.json:
        from matrixdoc.cli.results import SpiceResult

        print(SpiceResult(machine=wiring.title, title=title, deck=deck).model_dump_json(indent=2))
    else:
        print(deck, end="" if deck.endswith("\n") else "\n")
    return 0


def read_situation(wiring: Wiring, arguments: argparse.Namespace) -> Situation:
    """What is held, commanded and pulsed.

    Raises:
        InputError: every name that this machine does not have.
    """
    names = Names(wiring)
    problems: list[Problem] = []

    def found(option: str, find: Callable[[str], _T], given: list[str]) -> list[_T]:
        hits = []
        for words in given:
            try:
                hits.append(find(words))
            except NameTrouble as trouble:
                problems.append(
                    Problem(option, 0, 0, "", quoted(words), trouble.expected, trouble.suggestion)
                )
        return hits

    held = found("--press", names.switch, arguments.press)
    everything = any(words.casefold() == ALL_LAMPS for words in arguments.lamp)
    lamps = [] if everything else found("--lamp", names.lamp, arguments.lamp)
    pulsed = found("--pulse", names.coil, [arguments.pulse] if arguments.pulse else [])
    if problems:
        raise InputError(problems)
    return Situation(
        held=tuple(sorted(set(held))),
        lamps=(ALL_LAMPS,) if everything else tuple(sorted(set(lamps))),
        pulsed=pulsed[0] if pulsed else "",
    )


def read_phase(wiring: Wiring, words: str, situation: Situation) -> Phase | None:
    """The active line: the one named, else the first that the situation involves.

    Raises:
        InputError: no strobed line of that name.
    """
    lines = [Phase(matrix, line) for matrix in wiring.matrices.values() for line in strobed_lines(matrix)]
    involved = _involved(wiring, situation)
    if not words:
        return next((p for p in lines if (p.matrix.name, p.line.key) in involved), None)
    name, _, key = words.strip().rpartition(" ")
    fitting = [p for p in lines if p.line.key == key.upper() and name.strip() in ("", p.matrix.name)]
    spoken_of = [p for p in fitting if p.matrix.name in {matrix for matrix, _ in involved}]
    if len(fitting) > 1 and len(spoken_of) == 1:
        return spoken_of[0]
    if len(fitting) == 1:
        return fitting[0]
    expected = (
        choice([f"{p.matrix.name} {p.line.key}" for p in (fitting or lines)])
        or "no phase: nothing is strobed"
    )
    raise InputError([Problem("--phase", 0, 0, "", quoted(words), expected)])


def strobed_lines(matrix: Matrix) -> tuple[Line, ...]:
    """Lines that are active one at a time."""
    return matrix.columns if matrix.strobed == "columns" else matrix.rows


def _keys(matrix: Matrix, cell: Cell) -> tuple[str, str]:
    """Keys of the strobed and of the other line of a cell."""
    return (cell.column, cell.row) if matrix.strobed == "columns" else (cell.row, cell.column)


def _involved(wiring: Wiring, situation: Situation) -> set[tuple[str, str]]:
    """(matrix, strobed line) of every cell that is held or commanded."""
    wanted = {wiring.switches[r].contact for r in situation.held}
    if ALL_LAMPS in situation.lamps:
        wanted |= {lamp.element for lamp in wiring.lamps.values()}
    else:
        wanted |= {wiring.lamps[r].element for r in situation.lamps}
    return {
        (matrix.name, _keys(matrix, cell)[0])
        for matrix in wiring.matrices.values()
        for cell in matrix.cells
        if cell.element in wanted
    }


def instant_of(
    engine: Engine, situation: Situation, phase: Phase | None, faults: tuple[Fault, ...]
) -> Instant:
    """The instant that the solver would be asked about: what conducts, what is patched, the rails."""
    wiring = engine.wiring
    effects = engine.predictor.effects(situation, faults)
    commanded, parts, nets = set[str](), list[str](), list[str]()
    if phase is not None:
        commanded.add(phase.line.drive)
        nets = [line.board_net for line in (*phase.matrix.columns, *phase.matrix.rows)]
    if phase is not None and phase.matrix.device == "lamp":
        others = {line.key: line.drive for line in (*phase.matrix.columns, *phase.matrix.rows)}
        lamp_elements = {wiring.lamps[r].element for r in engine.predictor.lamps.commanded(situation.lamps)}
        for cell in phase.matrix.cells:
            strobed, other = _keys(phase.matrix, cell)
            if strobed == phase.line.key and cell.element in lamp_elements:
                commanded.add(others[other])
                parts.append(cell.element)
    contacts = set(engine.predictor.reads.contacts(situation.held, effects))
    if situation.pulsed:
        coil = wiring.coils[situation.pulsed]
        commanded.add(coil.drive)
        parts.append(coil.element)
        contacts |= {r for r in coil.parts if r in wiring.parts and wiring.parts[r].kind in CONTACT_KINDS}
        contacts -= {e.part.reference for e in effects if e.contact is False}
    active = active_outputs(engine.model, wiring.drives, commanded, effects)
    return Instant(
        active=frozenset(active | contacts),
        patches={e.part.reference: e.patch for e in effects if e.analog and e.lead is None},
        nets=tuple(dict.fromkeys(nets)) or tuple(s.rail for s in wiring.supplies.values()),
        parts=tuple(dict.fromkeys(parts)),
        opened=frozenset(situation.opened),
        leads=tuple(e.lead for e in effects if e.lead is not None),
        rails={net: (volts, ohms) for net, volts, ohms in engine.predictor.points.rails(effects, power=True)},
    )


def deck_title(wiring: Wiring, situation: Situation, phase: Phase | None, faults: tuple[Fault, ...]) -> str:
    """One line that says what the deck shows."""
    told = [wiring.title]
    if situation.held:
        told.append("held " + " ".join(situation.held))
    if situation.lamps:
        told.append("commanded " + " ".join(situation.lamps))
    if situation.pulsed:
        told.append(f"pulsed {situation.pulsed}")
    if phase is not None:
        told.append(f"phase {phase.matrix.name} {phase.line.key}")
    told.extend(f"fault {fault.part} {fault.mode}" for fault in faults)
    return "; ".join(told)
