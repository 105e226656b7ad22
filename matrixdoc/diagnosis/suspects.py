"""The suspects of one complaint: single faults and joint ones, with their probabilities."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from matrixdoc.diagnosis.analysis import Analysis, Complaint
from matrixdoc.diagnosis.evidence import OUTSIDE
from matrixdoc.faults.priors import Fault, PossibleFault

LEAST_PROBABILITY = 2e-3
"""Share of a complaint from which a suspect of it is told."""
MOST_SUSPECTS = 40
LIFT = 3.0
"""Two faults are one joint hypothesis when they occur together this many times more often than by
chance."""


@dataclass(frozen=True, slots=True)
class Suspect:
    """``faults`` explain the complaint with ``probability``; usually one fault."""

    faults: tuple[Fault, ...]
    probability: float


def suspects_of(analysis: Analysis, complaint: Complaint) -> list[Suspect]:
    """Suspects of a complaint, most probable first.

    A fault that is only ever there together with another one is shown together with it.
    """
    marginals = analysis.posterior.marginals
    able = set(complaint.suspects)
    joint: dict[frozenset[Fault], float] = {}
    for faults, share in analysis.posterior.sets:
        inside = frozenset(f for f in faults if f.part != OUTSIDE and _bears(analysis, f, complaint))
        if len(inside) > 1:
            joint[inside] = joint.get(inside, 0.0) + share
    # Of a report that may well be a slip the suspects are told all the same: by their share of what is left.
    inside_model = sum(marginals.get(f, 0.0) for f in able)
    least = LEAST_PROBABILITY * min(1.0, inside_model)
    found: list[Suspect] = []
    spent: dict[Fault, float] = {}
    for inside, share in sorted(joint.items(), key=lambda j: (-j[1], sorted(j[0]))):
        chance = 1.0
        for fault in inside:
            chance *= marginals.get(fault, 0.0)
        alone = all(_explains_alone(analysis, f, complaint) for f in inside)
        if share >= least and share > LIFT * chance and not alone:
            found.append(Suspect(tuple(sorted(inside)), share))
            for fault in inside:
                spent[fault] = spent.get(fault, 0.0) + share
    for fault, share in marginals.items():
        left = share - spent.get(fault, 0.0)
        if fault.part == OUTSIDE or left < least:
            continue
        if fault in able:
            found.append(Suspect((fault,), left))
    found.sort(key=lambda s: (-s.probability, s.faults))
    return [*found[:MOST_SUSPECTS], *_companions(analysis, found[:MOST_SUSPECTS], able)]


def lasting(possible: Mapping[Fault, PossibleFault], fault: Fault) -> Fault | None:
    """For a fault that comes and goes: the same fault for good, of the same part, that the same
    work cures; None where there is none.
    """
    entry = possible[fault]
    if not entry.duty:
        return None
    same = (entry.patch, entry.action, entry.repair)
    for other, lasts in possible.items():
        if other.part == fault.part and not lasts.duty and (lasts.patch, lasts.action, lasts.repair) == same:
            return other
    return None


def same_work(possible: Mapping[Fault, PossibleFault], faults: Iterable[Fault]) -> tuple[object, ...]:
    """The work that cures a suspect: at which parts, and what is done there."""
    return tuple((f.part, possible[f].action, possible[f].repair) for f in faults)


def _companions(analysis: Analysis, found: Sequence[Suspect], able: set[Fault]) -> list[Suspect]:
    """What comes and goes, however improbable, where the same fault for good is among the suspects."""
    possible = analysis.evidence.predictor.model.possible
    told = {s.faults for s in found}
    loose = [f for f in able if possible[f].duty and (f,) not in told]
    new = [f for f in loose if (lasting(possible, f),) in told]
    shares = [Suspect((f,), analysis.posterior.marginals.get(f, 0.0)) for f in new]
    return sorted((s for s in shares if s.probability > 0.0), key=lambda s: (-s.probability, s.faults))


def _bears(analysis: Analysis, fault: Fault, complaint: Complaint) -> bool:
    """Whether the fault can change a finding of the complaint at all."""
    touched = analysis.single.get(fault)
    return touched is not None and any(f in touched for f in complaint.findings)


def _explains_alone(analysis: Analysis, fault: Fault, complaint: Complaint) -> bool:
    values = analysis.single.get(fault, {})
    return all(values.get(f, 0.0) > 0.3 for f in complaint.findings)
