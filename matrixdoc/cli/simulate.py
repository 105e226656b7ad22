"""``matrixdoc simulate``: what would be seen if exactly the given faults were there."""

from __future__ import annotations

import argparse
from collections.abc import Sequence

from matrixdoc.case.case import Case
from matrixdoc.checks.situation import ALL_LAMPS, Look, Situation
from matrixdoc.circuit.paths import current_path
from matrixdoc.cli.faults import modes_text, read_faults
from matrixdoc.cli.inputs import engine_of, load, possible_of, read_symptoms, report_of, talk
from matrixdoc.cli.simulate_page import page_text
from matrixdoc.cli.simulate_seen import Seen, listed_text
from matrixdoc.definition.errors import refusal
from matrixdoc.definition.wiring import GROUND, Wiring
from matrixdoc.diagnosis.holding import smallest_hold
from matrixdoc.faults.priors import Fault

_NEGLIGIBLE = 1e-6


def simulate(arguments: argparse.Namespace) -> int:
    """Print what each look would show.

    Raises:
        MatrixdocError: the machine, a fault or the report is wrong.
    """
    wiring = load(arguments.machine)
    case = Case.start(wiring)
    if arguments.list_modes:
        if arguments.fault or report_of(arguments) or arguments.saw:
            given = "--list-modes beside other words"
            raise refusal(given, "--list-modes PART alone: it only prints", found=given)
        print(modes_text(case, arguments.list_modes))
        return 0
    faults = read_faults(arguments.fault, wiring, possible_of(case))
    report = read_symptoms(arguments, wiring)
    asked = list(dict.fromkeys((finding.situation, finding.look) for finding in report.findings))
    seen = seen_with(case, faults, asked or default_looks(case))
    if not asked and (held := telling_hold(case, faults, seen)):
        seen.extend(seen_with(case, faults, [(Situation(held=held), Look("reads"))]))
    cautions = locked_cautions(seen)
    blown = blown_fuses(case, faults)
    if not faults and not arguments.json:
        talk("no --fault was given: this is the healthy machine")
    if arguments.json:
        print(_json(wiring, case, faults, seen, cautions, blown))
    elif asked or arguments.all:
        print(listed_text(case, faults, seen, cautions, blown))
    else:
        print(page_text(case, faults, seen, cautions, blown))
    return 0


def seen_with(case: Case, faults: Sequence[Fault], looks: Sequence[tuple[Situation, Look]]) -> list[Seen]:
    """What each look shows with the faults, beside the healthy machine."""
    engine = engine_of(case)
    ordered = tuple(sorted(faults))
    engine.predictor.prepare([(s, look, f) for s, look in looks for f in (ordered, ())])
    return [
        Seen(situation, look, case.simulate(faults, situation, look), case.simulate((), situation, look))
        for situation, look in looks
    ]


def blown_fuses(case: Case, faults: Sequence[Fault]) -> tuple[str, ...]:
    """Fuses that the faults have blown as soon as the machine is on."""
    broken = {fault.part for fault in faults}
    parts = case.wiring.parts
    effects = engine_of(case).predictor.effects(Situation(), tuple(sorted(faults)))
    found = dict.fromkeys(e.part.reference for e in effects)
    return tuple(r for r in found if r not in broken and r in parts and parts[r].kind == "fuse")


def telling_hold(case: Case, faults: Sequence[Fault], seen: Sequence[Seen]) -> tuple[str, ...]:
    """For faults of a switch matrix that no single press shows: the switches that show them together."""
    if not faults or any(one.differs for one in seen):
        return ()
    engine = engine_of(case)
    found = smallest_hold(engine.generator, engine.predictor, [(), tuple(sorted(faults))])
    return found.held if found is not None else ()


def default_looks(case: Case) -> list[tuple[Situation, Look]]:
    """A whole self-test: power-up, at rest, every switch, lamps in patterns, every coil, rails, new fuses."""
    wiring = case.wiring
    looks: list[tuple[Situation, Look]] = [(Situation(), Look("resting coils"))]
    sensed = [r for r, switch in wiring.switches.items() if switch.matrix or switch.sensor]
    if sensed:
        looks.append((Situation(), Look("reads")))
    looks.extend((Situation(held=(r,)), Look("reads")) for r in sensed)
    looks.extend((Situation(lamps=(ALL_LAMPS,)), Look("lamp", r)) for r in wiring.lamps)
    looks.extend((Situation(lamps=(r,)), Look("lamp", r)) for r, lamp in wiring.lamps.items() if lamp.matrix)
    looks.extend(_patterns(wiring))
    looks.extend((Situation(pulsed=r), Look("coil", r)) for r, coil in wiring.coils.items() if coil.drive)
    looks.extend(
        (Situation(), Look("meter", "", "volts", supply.rail, GROUND))
        for supply in wiring.supplies.values()
        if not supply.alternating
    )
    looks.extend(_new_fuses(case))
    return looks


def _patterns(wiring: Wiring) -> list[tuple[Situation, Look]]:
    """All lamps but those of one line: a sneak path shows only while its own line is not commanded."""
    looks: list[tuple[Situation, Look]] = []
    for matrix in wiring.matrices.values():
        own = {c.reference: (c.column, c.row) for c in matrix.cells if c.reference in wiring.lamps}
        lines = matrix.rows if matrix.strobed == "columns" else matrix.columns
        for line in lines if matrix.device == "lamp" else ():
            pattern = tuple(sorted(r for r, keys in own.items() if line.key not in keys))
            if 0 < len(pattern) < len(own):
                looks.extend((Situation(lamps=pattern), Look("lamp", r)) for r in own)
    return looks


def _new_fuses(case: Case) -> list[tuple[Situation, Look]]:
    """Each fuse new, with the machine just on, and with each coil behind it pulsed."""
    circuit, wiring = engine_of(case).circuit, case.wiring
    fuses = [part.reference for part in wiring.parts.values() if part.kind == "fuse"]
    looks = [(Situation(), Look("new fuse", fuse)) for fuse in fuses]
    for reference, coil in wiring.coils.items():
        if coil.drive:
            on_the_way = {step.reference for step in current_path(circuit, reference)}
            looks.extend((Situation(pulsed=reference), Look("new fuse", f)) for f in fuses if f in on_the_way)
    return looks


def locked_cautions(seen: Sequence[Seen]) -> tuple[str, ...]:
    """What such a machine would do to itself when switched on."""
    for one in seen:
        locked = one.look.kind == "resting coils" and any(o for o, p in one.outcomes if p > _NEGLIGIBLE)
        if locked or any(o == "locked on" and p > _NEGLIGIBLE for o, p in one.outcomes):
            return ("A machine with these faults locks a coil on: it would have to be switched off at once.",)
    return ()


def _json(
    wiring: Wiring,
    case: Case,
    faults: Sequence[Fault],
    seen: Sequence[Seen],
    cautions: Sequence[str],
    blown: Sequence[str],
) -> str:
    from matrixdoc.cli.convert import (
        chance_results,
        fault_names,
        fault_results,
        look_result,
        situation_result,
    )
    from matrixdoc.cli.results import SeenResult, SimulateResult

    result = SimulateResult(
        machine=wiring.title,
        digest=wiring.digest,
        faults=fault_results(fault_names(case, faults)),
        cautions=list(cautions),
        blown=list(blown),
        seen=[
            SeenResult(
                situation=situation_result(wiring, one.situation),
                look=look_result(wiring, one.look),
                outcomes=chance_results(wiring, one.look, one.outcomes),
                healthy=chance_results(wiring, one.look, one.healthy),
                differs=one.differs,
            )
            for one in seen
        ],
    )
    return result.model_dump_json(indent=2)
