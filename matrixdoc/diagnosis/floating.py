"""Inputs that hang in the air: what such an input reads hangs together from look to look.

Nobody can say what an unconnected input reads; but from one look to the next it mostly stays where it is,
held by leakage and stray charge, until a hand or the weather moves it. Taken as a coin tossed anew at each
look, an open link would be less likely with every report of a row that reads all the time. So the fault is
three hypotheses: it floats and reads closed, it floats and reads open, it wanders.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from matrixdoc.checks.model import MachineModel
from matrixdoc.diagnosis.branches import State, Variable
from matrixdoc.diagnosis.composites import Composite
from matrixdoc.diagnosis.evidence import Evidence
from matrixdoc.faults.priors import Fault

STAYS = 0.4
"""Share of floating inputs that stay at one level for as long as somebody looks; the same for the other level
(common practice, no source)."""
SPLIT = 0.3
"""A reading is open when two outcomes have at least this share each."""


def floating_inputs(
    evidence: Evidence, model: MachineModel, faults: Iterable[Fault], touches: Mapping[Fault, set[int]]
) -> dict[Fault, str]:
    """Of these faults, those that leave an input floating, and the sensing part of the input."""
    wiring = model.circuit.wiring
    pulls: dict[str, str] = {}
    for name, sensor in wiring.sensors.items():
        if sensor.floating == "undefined":
            pulls[sensor.net] = name
    found: dict[Fault, str] = {}
    for fault in faults:
        if not model.effects[fault].patch.absent:
            continue
        names = list(model.sensors_of.get(fault.part, ()))
        names += [pulls[net] for net in model.part(fault.part).nets if net in pulls]
        names = [n for n in dict.fromkeys(names) if wiring.sensors[n].floating == "undefined"]
        if len(names) == 1 and _undecided(evidence, fault, touches.get(fault, set())):
            found[fault] = names[0]
    return found


def _undecided(evidence: Evidence, fault: Fault, touched: Iterable[int]) -> bool:
    """Whether any scan of the case could come out in two ways under the fault."""
    for index in touched:
        finding = evidence.findings[index]
        if finding.look.kind == "reads":
            shares = evidence.predictor.predict(finding.situation, finding.look, (fault,))
            if sum(share >= SPLIT for _, share in shares) > 1:
                return True
    return False


def held_variables(
    model: MachineModel, floats: Mapping[Fault, str]
) -> tuple[list[Variable], dict[Fault, Composite]]:
    """One variable for each fault that leaves an input floating: it stays closed, stays open, or wanders."""
    variables: list[Variable] = []
    composites: dict[Fault, Composite] = {}
    for fault, name in sorted(floats.items()):
        odds = model.possible[fault].odds
        sensor = model.circuit.wiring.sensors[name]
        stays = [
            f
            for f, effect in model.effects.items()
            if f.part == sensor.reference and effect.signal and effect.patch.stuck
        ]
        kept = () if fault.part in (sensor.reference, *sensor.path) else (fault,)
        states = []
        for held in stays:
            alias = Fault(fault.part, f"{fault.mode} and {held.mode}")
            composites[alias] = Composite((fault,), acts=tuple(sorted((*kept, held))))
            states.append((alias, STAYS * odds))
        wanders = Fault(fault.part, f"{fault.mode} and wanders")
        composites[wanders] = Composite((fault,))
        states.append((wanders, (1.0 - STAYS * len(stays)) * odds))
        variables.append(Variable(tuple(State(f, o, ((f, o),), opening=False) for f, o in states)))
    return variables, composites
