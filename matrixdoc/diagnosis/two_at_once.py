"""Presses that show two things wrong at once, each by a fault of its own.

Two of three switches held do not read: a fault that takes away one of them explains the press no better than
the healthy machine does, and nor does a fault that takes away the other. Together they explain it. Such pairs
are found from what each fault does to the set that reads, and handed to the sum as pairs.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from matrixdoc.checks.predictor import Predictor
from matrixdoc.checks.situation import NO_LOGIC, Situation
from matrixdoc.diagnosis.anchors import predictor_anchors
from matrixdoc.diagnosis.bounds import ABNORMAL
from matrixdoc.diagnosis.evidence import Evidence
from matrixdoc.faults.priors import Fault

LEAST_ODDS = 1e-3
"""Pairs down to this share of the likeliest pair's odds are taken, for each press."""
LEAST_SINGLE = 0.01
"""Faults down to this share of the likeliest one's odds are paired."""
MOST_WRONG = 4
"""A press with more switches wrong than this is not two faults of single switches."""

Pair = tuple[Fault, Fault]


def two_at_once(
    evidence: Evidence, healthy: Sequence[float], touches: Mapping[Fault, set[int]]
) -> tuple[Pair, ...]:
    """Pairs of faults of two parts that explain a press exactly, and neither of them alone any of it.

    Args:
        evidence: the findings.
        healthy: (findings,) their likelihoods on the healthy machine.
        touches: findings that each fault can change.
    """
    found: dict[Pair, None] = {}
    for index, value in enumerate(healthy):
        if value < ABNORMAL ** evidence.weights[index]:
            found.update(dict.fromkeys(_pairs_of(evidence, index, touches)))
    return tuple(found)


def _pairs_of(evidence: Evidence, index: int, touches: Mapping[Fault, set[int]]) -> list[Pair]:
    finding, predictor = evidence.findings[index], evidence.predictor
    situation, look, seen = finding.situation, finding.look, finding.outcome
    if look.kind != "reads" or not situation.power or not isinstance(seen, frozenset) or NO_LOGIC in seen:
        return []
    usual = predictor.predict(situation, look, ())[0][0]
    wrong = seen ^ usual if isinstance(usual, frozenset) else seen
    if not 2 <= len(wrong) <= MOST_WRONG:
        return []
    possible = predictor.model.possible
    near = {f for switch in wrong for f in _faults_of(predictor, switch)}
    some = sorted(f for f in near if index in touches.get(f, ()) and _stays(evidence, f))
    likeliest = max((possible[f].odds for f in some), default=0.0)
    some = [f for f in some if possible[f].odds >= LEAST_SINGLE * likeliest]
    predictor.prepare([(situation, look, (f,)) for f in some])
    does: dict[frozenset[str], list[Fault]] = {}
    for fault in some:
        outcome = predictor.predict(situation, look, (fault,))[0][0]
        if isinstance(outcome, frozenset) and isinstance(usual, frozenset):
            does.setdefault(outcome ^ usual, []).append(fault)
    pairs = [
        (min(f, g), max(f, g))
        for part in does
        if part and part < wrong and min(part) == min(wrong)
        for f in does[part]
        for g in does.get(wrong - part, ())
        if f.part != g.part
    ]
    odds = {pair: possible[pair[0]].odds * possible[pair[1]].odds for pair in pairs}
    least = LEAST_ODDS * max(odds.values(), default=0.0)
    return [pair for pair in pairs if odds[pair] >= least]


def _stays(evidence: Evidence, fault: Fault) -> bool:
    """Whether a fault acts alike on all looks: of others there are patterns, variables of their own."""
    entry = evidence.predictor.model.possible[fault]
    return not entry.duty or entry.restless


def _faults_of(predictor: Predictor, switch: str) -> frozenset[Fault]:
    """Faults of a switch: of its cell and its two lines, or of what a direct switch is wired to."""
    model = predictor.model
    wiring = model.circuit.wiring
    for matrix in wiring.matrices.values():
        for cell in matrix.cells:
            if cell.reference != switch:
                continue
            parts = {*cell.parts, cell.element, cell.diode}
            opto = wiring.optos.get(switch)
            if opto is not None:
                parts.update((*opto.parts, opto.emitter, opto.receiver, opto.contact))
            for line in (*matrix.columns, *matrix.rows):
                if line.key in (cell.column, cell.row):
                    parts.update(line.parts)
                    if line.drive:
                        parts.update((*wiring.drives[line.drive].path, wiring.drives[line.drive].output))
                    if line.sensor:
                        parts.update(wiring.sensors[line.sensor].path)
            return frozenset(f for f in model.effects if f.part in parts)
    known = wiring.switches.get(switch)
    if known is None or known.matrix:
        return frozenset()
    return predictor_anchors(predictor).near_press(Situation(held=(switch,)))


def gains_together(
    evidence: Evidence, pairs: Sequence[Pair], touches: Mapping[Fault, set[int]]
) -> dict[Pair, dict[int, float]]:
    """For (one, other), either way round: by finding that both can change, the natural logarithm of its
    likelihood under both over that under the first alone; of a finding that the other can change by itself,
    over that of the healthy machine.
    """
    asked = [
        (f, some)
        for one, two in pairs
        for f in sorted(touches[one] | touches[two])
        for some in ((one, two), (one,), (two,))
    ]
    evidence.prepare(asked)
    found: dict[Pair, dict[int, float]] = {}
    for pair in pairs:
        for one, other in (pair, pair[::-1]):
            found[one, other] = {
                f: math.log(evidence.likelihood(f, pair) / evidence.likelihood(f, (one,)))
                for f in sorted(touches[other])
            }
    return found
