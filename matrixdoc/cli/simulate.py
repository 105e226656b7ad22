"""``matrixdoc simulate``: what would be seen if exactly the given faults were there."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass

from matrixdoc.case.case import Case
from matrixdoc.case.wording import look_words, outcome_words, situation_words
from matrixdoc.checks.prediction import Prediction
from matrixdoc.checks.situation import ALL_LAMPS, Look, Situation
from matrixdoc.cli.inputs import load, possible_of, read_faults, read_symptoms, talk
from matrixdoc.cli.text import heading, safe, share, wrapped
from matrixdoc.definition.wiring import Wiring
from matrixdoc.faults.priors import Fault

_NEGLIGIBLE = 1e-6
_SHOWN_OUTCOMES = 4


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
    """A whole self-test: at rest, every switch, all lamps, every coil, power-up."""
    looks: list[tuple[Situation, Look]] = [(Situation(), Look("resting coils"))]
    sensed = [r for r, switch in wiring.switches.items() if switch.matrix or switch.sensor]
    if sensed:
        looks.append((Situation(), Look("reads")))
    looks.extend((Situation(held=(r,)), Look("reads")) for r in sensed)
    looks.extend((Situation(lamps=(ALL_LAMPS,)), Look("lamp", r)) for r in wiring.lamps)
    looks.extend((Situation(lamps=(r,)), Look("lamp", r)) for r, lamp in wiring.lamps.items() if lamp.matrix)
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
    for one in shown:
        where = f"{situation_words(wiring, one.situation)}: {look_words(wiring, one.look)}"
        pieces.append(wrapped(f"- {where}", 0, 2))
        pieces.append(wrapped(_outcomes(wiring, one.look, one.outcomes), 4, 6))
        if one.differs:
            pieces.append(wrapped(f"(healthy: {_outcomes(wiring, one.look, one.healthy)})", 4, 6))
    if not shown:
        pieces.append(wrapped("Nothing that these looks show differs from a healthy machine."))
    elif not everything:
        pieces.append(
            f"{len(seen) - len(shown)} of {len(seen)} looks show what a healthy machine shows (--all)."
        )
    return "\n".join(pieces)


def _outcomes(wiring: Wiring, look: Look, prediction: Prediction) -> str:
    told = [
        outcome_words(wiring, look, outcome) + (f" ({share(p)})" if p < 0.9995 else "")
        for outcome, p in prediction[:_SHOWN_OUTCOMES]
        if p >= 0.005
    ]
    return "; or ".join(safe(words) for words in told)


def _alike(one: Prediction, two: Prediction) -> bool:
    """Whether two predictions would be told apart: by word, by set, or by 1 % of a reading."""
    if len(one) != len(two):
        return False
    for (outcome, p), (other, q) in zip(one, two, strict=True):
        if isinstance(outcome, float) and isinstance(other, float):
            if abs(outcome - other) > max(0.01 * abs(other), 1e-3):
                return False
        elif outcome != other:
            return False
        if abs(p - q) > 0.05:
            return False
    return True


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
