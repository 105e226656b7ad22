"""Which faults cannot explain a finding, told at a fraction of the work of a likelihood."""

from __future__ import annotations

from collections.abc import Sequence

from matrixdoc.checks.glance import Asked, cannot_show, worth_a_glance
from matrixdoc.checks.likelihood import report_probability, slip_probability
from matrixdoc.checks.situation import NO_LOGIC
from matrixdoc.diagnosis.evidence import Evidence
from matrixdoc.faults.priors import Fault

ABNORMAL = 0.3
"""A finding less likely than this on the healthy machine is part of a complaint."""
HELPS = 1.01
"""A fault helps with a finding that it makes this many times likelier than the healthy machine."""

Wanted = tuple[int, tuple[Fault, ...]]
"""A finding, by its number, and faults that may explain it."""


def promising(evidence: Evidence, wanted: Sequence[Wanted], healthy: Sequence[float]) -> list[Wanted]:
    """Those (finding, faults) that may make their finding likelier than the healthy machine does.

    The others are told by bounds that cost less than the likelihood itself: a dark lamp is not
    explained by what leaves it lit in its own phases, nor a switch that does not read by what lets it
    read in its own column. Only findings that the healthy machine does not explain are bounded: what
    a fault contradicts has to be known.
    """
    lamps: list[Wanted] = []
    scans: list[Wanted] = []
    for index, faults in wanted:
        finding = evidence.findings[index]
        if not finding.situation.power or healthy[index] >= ABNORMAL ** evidence.weights[index]:
            continue
        if len(evidence.acting(index, faults)) != 1:
            continue
        if finding.look.kind == "lamp" and finding.outcome == "off":
            lamps.append((index, faults))
        elif finding.look.kind == "reads" and isinstance(finding.outcome, frozenset):
            scans.append((index, faults))
    hopeless = _stays_lit(evidence, lamps, healthy) | _cannot_read(evidence, scans, healthy)
    return [one for one in wanted if one not in hopeless]


def _stays_lit(evidence: Evidence, wanted: Sequence[Wanted], healthy: Sequence[float]) -> set[Wanted]:
    questions = [
        (
            evidence.findings[index].situation,
            evidence.findings[index].look,
            evidence.acting(index, faults)[0][1],
        )
        for index, faults in wanted
    ]
    found = set()
    for (index, faults), off in zip(wanted, evidence.predictor.brightest_off(questions), strict=True):
        finding = evidence.findings[index]
        prediction = (("off", off), ("normal", 1.0 - off))
        most = report_probability(finding.look, prediction, finding.outcome, evidence.slip(index))
        if most ** evidence.weights[index] <= HELPS * healthy[index]:
            found.add((index, faults))
    return found


def _cannot_read(evidence: Evidence, wanted: Sequence[Wanted], healthy: Sequence[float]) -> set[Wanted]:
    usual = evidence.usual()
    worth: dict[int, bool] = {}
    kept: list[Wanted] = []
    asked: list[Asked] = []
    for index, faults in wanted:
        finding = evidence.findings[index]
        situation, seen = finding.situation, finding.outcome
        if not isinstance(seen, frozenset) or NO_LOGIC in seen:
            continue
        if index not in worth:
            slip = evidence.slip(index) * slip_probability(finding.look, seen, situation.held, usual)
            no_help = slip ** evidence.weights[index] <= HELPS * healthy[index]
            worth[index] = no_help and worth_a_glance(evidence.predictor, situation)
        if worth[index]:
            about = frozenset(situation.held) | (seen ^ usual)
            kept.append((index, faults))
            asked.append(Asked(situation, evidence.acting(index, faults)[0][1], seen, about))
    gone = cannot_show(evidence.predictor, asked)
    return {one for one, out in zip(kept, gone, strict=True) if out}
