"""``matrixdoc simulate``: what would be seen if exactly the given faults were there."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass, replace

from matrixdoc.case.case import Case
from matrixdoc.case.wording import look_words, outcome_words, short_words, situation_words
from matrixdoc.checks.prediction import Prediction
from matrixdoc.checks.situation import ALL_LAMPS, Look, Situation
from matrixdoc.cli.inputs import load, possible_of, read_faults, read_symptoms, talk
from matrixdoc.cli.text import heading, safe, share, wrapped
from matrixdoc.definition.wiring import Wiring
from matrixdoc.faults.priors import Fault

_NEGLIGIBLE = 1e-6
_SHOWN_OUTCOMES = 4
_NOTICED = 0.05
_MANY = 16


@dataclass(frozen=True, slots=True)
class Seen:
    """What one look shows with the faults, and on a healthy machine."""

    situation: Situation
    look: Look
    outcomes: Prediction
    healthy: Prediction

    @property
    def differs(self) -> bool:
        """Whether a person could see a difference."""
        return not _alike(self.outcomes, self.healthy)


def simulate(arguments: argparse.Namespace) -> int:
    """Print what each look would show.

    Raises:
        MatrixdocError: the machine, a fault or the report is wrong.
    """
    wiring = load(arguments.machine)
    case = Case.start(wiring)
    faults = read_faults(arguments.fault, wiring, possible_of(case))
    report = read_symptoms(arguments, wiring)
    asked = [(finding.situation, finding.look) for finding in report.findings]
    looks = list(dict.fromkeys(asked)) or default_looks(wiring)
    seen = [
        Seen(situation, look, case.simulate(faults, situation, look), case.simulate((), situation, look))
        for situation, look in looks
    ]
    cautions = locked_cautions(seen)
    if arguments.json:
        print(_json(wiring, case, faults, seen, cautions))
        return 0
    print(simulation_text(wiring, faults, seen, cautions, everything=arguments.all or bool(asked)))
    return 0


def default_looks(wiring: Wiring) -> list[tuple[Situation, Look]]:
    """A whole self-test: power-up, at rest, every switch, lamps in patterns, every coil."""
    looks: list[tuple[Situation, Look]] = [(Situation(), Look("resting coils"))]
    sensed = [r for r, switch in wiring.switches.items() if switch.matrix or switch.sensor]
    if sensed:
        looks.append((Situation(), Look("reads")))
    looks.extend((Situation(held=(r,)), Look("reads")) for r in sensed)
    looks.extend((Situation(lamps=(ALL_LAMPS,)), Look("lamp", r)) for r in wiring.lamps)
    looks.extend((Situation(lamps=(r,)), Look("lamp", r)) for r, lamp in wiring.lamps.items() if lamp.matrix)
    # A sneak path shows only while its own line is not commanded: leave out one line at a time.
    for matrix in wiring.matrices.values():
        own = {c.reference: (c.column, c.row) for c in matrix.cells if c.reference in wiring.lamps}
        lines = matrix.rows if matrix.strobed == "columns" else matrix.columns
        for line in lines if matrix.device == "lamp" else ():
            pattern = tuple(sorted(r for r, keys in own.items() if line.key not in keys))
            if 0 < len(pattern) < len(own):
                looks.extend((Situation(lamps=pattern), Look("lamp", r)) for r in own)
    looks.extend((Situation(pulsed=r), Look("coil", r)) for r, coil in wiring.coils.items() if coil.drive)
    return looks


def locked_cautions(seen: Sequence[Seen]) -> tuple[str, ...]:
    """What such a machine would do to itself when switched on."""
    for one in seen:
        locked = one.look.kind == "resting coils" and any(o for o, p in one.outcomes if p > _NEGLIGIBLE)
        if locked or any(o == "locked on" and p > _NEGLIGIBLE for o, p in one.outcomes):
            return ("A machine with these faults locks a coil on: it would have to be switched off at once.",)
    return ()


def simulation_text(
    wiring: Wiring,
    faults: Sequence[Fault],
    seen: Sequence[Seen],
    cautions: Sequence[str],
    *,
    everything: bool,
) -> str:
    """The looks that differ from a healthy machine (or all), grouped by situation."""
    named = ", ".join(f"{fault.part} {fault.mode}" for fault in faults) or "no fault"
    pieces = [heading(f"{wiring.title} with {named}")]
    pieces.extend(wrapped(f"CAUTION: {caution}", 0, 9) for caution in cautions)
    shown = [one for one in seen if everything or one.differs]
    before: Situation | None = None
    for one in shown:
        if one.situation != before:
            pieces.append(wrapped(f"- {_set_up(wiring, one.situation)}", 0, 2))
            before = one.situation
        told = f"{look_words(wiring, one.look)}: {_outcomes(wiring, one.look, one.outcomes)}"
        if one.differs:
            told += f" [healthy: {_outcomes(wiring, one.look, one.healthy)}]"
        pieces.append(wrapped(told, 4, 6))
    if not shown:
        pieces.append(wrapped("Nothing that these looks show differs from a healthy machine."))
    elif not everything:
        pieces.append(
            f"{len(seen) - len(shown)} of {len(seen)} looks show what a healthy machine shows (--all)."
        )
    return "\n".join(pieces)


def _set_up(wiring: Wiring, situation: Situation) -> str:
    """A situation in words; of a pattern that leaves few lamps out, those are named instead."""
    lamps = set(situation.lamps)
    if len(lamps) <= _MANY:
        return situation_words(wiring, situation)
    names = {wiring.lamps[r].matrix for r in lamps}
    left_out = [r for r, lamp in wiring.lamps.items() if lamp.matrix in names and r not in lamps]
    rest = situation_words(wiring, replace(situation, lamps=()))
    return f"{rest}, {len(lamps)} lamps commanded on: all but {short_words(left_out)}"


def _outcomes(wiring: Wiring, look: Look, prediction: Prediction) -> str:
    told = [
        outcome_words(wiring, look, outcome) + (f" ({share(p)})" if p < 0.9995 else "")
        for outcome, p in prediction[:_SHOWN_OUTCOMES]
        if p >= 0.005
    ]
    return "; or ".join(safe(words) for words in told)


def _alike(one: Prediction, two: Prediction) -> bool:
    """Whether two predictions could not be told apart by looking.

    Words and sets: less than 5 % of the probability moves from one outcome to another. Readings:
    within 1 % or 1 mV (or 1 milliohm) of each other.
    """
    numbers = [(o, q) for (o, _), (q, _) in zip(one, two, strict=False) if isinstance(o, float)]
    if numbers:
        return all(isinstance(q, float) and abs(o - q) <= max(0.01 * abs(q), 1e-3) for o, q in numbers)
    first, second = dict(one), dict(two)
    moved = sum(abs(first.get(o, 0.0) - second.get(o, 0.0)) for o in {*first, *second})
    return moved / 2 < _NOTICED


def _json(
    wiring: Wiring, case: Case, faults: Sequence[Fault], seen: Sequence[Seen], cautions: Sequence[str]
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
    if not faults:
        talk("no --fault was given: this is the healthy machine")
    return result.model_dump_json(indent=2)
