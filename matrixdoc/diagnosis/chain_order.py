"""The hypothesis that a line is wired in another order than the definition says, and broken somewhere.

A chain that is broken leaves dead what lies beyond the break: its last places, or those of a branch. Where
the dead places of a line are not such in the order that is told, either several things are broken, or one
thing is and the order is wrong: nobody reads the order of a harness off a chart. Any set of ``k`` of ``n``
places is as likely as any other to be the far end of a chain whose order is unknown.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from matrixdoc.checks.chart import reordered, stub_of, stubs_of
from matrixdoc.checks.model import MachineModel
from matrixdoc.checks.situation import Finding
from matrixdoc.definition.chains import beyond, straight
from matrixdoc.definition.wiring import Line, Matrix
from matrixdoc.diagnosis.evidence import Evidence
from matrixdoc.faults.priors import Fault

WRONG = {"unknown": 1.0, "assumed": 0.5, "known": 0.02}
"""Chance that the order of a line is not what is told: nobody told it, assumed from the chart, or written
down by somebody (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Reordered:
    """One such hypothesis: its stand-in fault, its odds, and the findings that it touches."""

    fault: Fault
    odds: float
    touches: frozenset[int]


def order_hypotheses(
    evidence: Evidence, healthy: Sequence[float], limits: Sequence[float]
) -> list[Reordered]:
    """Hypotheses for every line whose dead places no single break of its chain leaves dead.

    Args:
        evidence: the findings.
        healthy: likelihood of each finding on a healthy machine.
        limits: below which of these a finding is abnormal.
    """
    looked: dict[str, list[tuple[int, bool]]] = {}
    for index, finding in enumerate(evidence.findings):
        place = _place(finding)
        if place:
            looked.setdefault(place, []).append((index, healthy[index] < limits[index]))
    wiring = evidence.predictor.model.circuit.wiring
    found: list[Reordered] = []
    for matrix in wiring.matrices.values():
        for line in (*matrix.columns, *matrix.rows):
            found.extend(_of_line(evidence, matrix, line, looked))
    return found


def _place(finding: Finding) -> str:
    """The place that a finding is about, if it is one place looked at by itself and seen dead or alive."""
    situation, look = finding.situation, finding.look
    if situation.altered or not situation.power:
        return ""
    if look.kind == "lamp":
        return look.target if finding.outcome in ("off", "normal", "dim") else ""
    if look.kind != "reads" or len(situation.held) != 1 or not isinstance(finding.outcome, frozenset):
        return ""
    return situation.held[0]


def _of_line(
    evidence: Evidence, matrix: Matrix, line: Line, looked: dict[str, list[tuple[int, bool]]]
) -> Iterator[Reordered]:
    model = evidence.predictor.model
    if line.verified or matrix.device not in ("switch", "lamp"):
        return
    along = [c.reference for c in matrix.cells if line.key in (c.column, c.row)]
    order = _chain(model, line, along)
    dead = [r for r in order if looked.get(r) and all(bad for _, bad in looked[r])]
    alive = [r for r in order if looked.get(r) and not any(bad for _, bad in looked[r])]
    if len(dead) < 2 or not alive or _one_break(model, line, dead, alive):
        return  # nothing to explain, or the order that is told explains it
    name = f"{matrix.name}/{line.key}"
    fault = reordered(name, dead)
    if not all(stub in model.effects for stub in stubs_of(fault)):
        return
    opens = [
        entry.odds
        for f, entry in model.possible.items()
        if f.part in line.parts and f.mode == "open" and "/segment" in f.part
    ]
    if not opens:
        return
    odds = WRONG[line.chain_order] * (sum(opens) / len(opens)) / math.comb(len(order), len(dead))
    touched = frozenset(index for r in order for index, _ in looked.get(r, ()))
    yield Reordered(fault, odds, touched)


def _one_break(model: MachineModel, line: Line, dead: Sequence[str], alive: Sequence[str]) -> bool:
    """Whether one break of the line, in the order that is told, leaves all these dead and none of those."""
    before = line.lugs_before or straight(len(line.lug_nets))
    cut_off, reached = ({_lug(model, line, place) for place in places} for places in (dead, alive))
    beyonds = (beyond(before, start) for start in range(len(before)))
    return any(cut_off <= some and not some & reached for some in beyonds)


def _lug(model: MachineModel, line: Line, place: str) -> int:
    """Position of the lug of the line that a place hangs on; one past the last if it hangs on none."""
    stub = model.circuit.wiring.parts.get(stub_of(place, line.key))
    number = {net: n for n, net in enumerate(line.lug_nets)}
    found = [number[net] for net in stub.nets if net in number] if stub else []
    return min(found, default=len(number))


def _chain(model: MachineModel, line: Line, along: Sequence[str]) -> list[str]:
    """The places of a line in the order of its chain: by the lugs that their stubs hang on."""
    return sorted(along, key=lambda place: _lug(model, line, place))
