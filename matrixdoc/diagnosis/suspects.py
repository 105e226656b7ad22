"""The suspects of one complaint: single faults and joint ones, with their probabilities."""

from __future__ import annotations

from dataclasses import dataclass

from matrixdoc.diagnosis.analysis import Analysis, Complaint
from matrixdoc.diagnosis.evidence import OUTSIDE
from matrixdoc.faults.priors import Fault

LEAST_PROBABILITY = 2e-3
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
    found: list[Suspect] = []
    spent: dict[Fault, float] = {}
    for inside, share in sorted(joint.items(), key=lambda j: (-j[1], sorted(j[0]))):
        chance = 1.0
        for fault in inside:
            chance *= marginals.get(fault, 0.0)
        alone = all(_explains_alone(analysis, f, complaint) for f in inside)
        if share >= LEAST_PROBABILITY and share > LIFT * chance and not alone:
            found.append(Suspect(tuple(sorted(inside)), share))
            for fault in inside:
                spent[fault] = spent.get(fault, 0.0) + share
    for fault, share in marginals.items():
        left = share - spent.get(fault, 0.0)
        if fault.part == OUTSIDE or left < LEAST_PROBABILITY:
            continue
        if fault in able:
            found.append(Suspect((fault,), left))
    found.sort(key=lambda s: (-s.probability, s.faults))
    return found[:MOST_SUSPECTS]


def _bears(analysis: Analysis, fault: Fault, complaint: Complaint) -> bool:
    """Whether the fault can change a finding of the complaint at all."""
    touched = analysis.single.get(fault)
    return touched is not None and any(f in touched for f in complaint.findings)


def _explains_alone(analysis: Analysis, fault: Fault, complaint: Complaint) -> bool:
    values = analysis.single.get(fault, {})
    return all(values.get(f, 0.0) > 0.3 for f in complaint.findings)
