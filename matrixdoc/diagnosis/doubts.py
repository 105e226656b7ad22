"""Which reports may well be wrong: what a person told that the likeliest causes do not explain.

A slip is one of the explanations of every report. Where a look that costs a minute was probably told
wrongly, it is made again before anything is opened; so is a look that speaks against everything that would
explain the rest.
"""

from __future__ import annotations

from matrixdoc.checks.likelihood import slip_probability
from matrixdoc.checks.situation import Finding, Look, Situation
from matrixdoc.diagnosis.analysis import Analysis
from matrixdoc.diagnosis.evidence import OUTSIDE
from matrixdoc.faults.priors import Fault

SETS_ASKED = 40
"""So many of the likeliest sets of faults are asked."""


def doubts(analysis: Analysis) -> tuple[float, ...]:
    """For each finding: the chance that it was told wrongly, if nothing outside the model is behind it."""
    evidence = analysis.evidence
    inside = [
        (tuple(sorted(some)), share)
        for some, share in analysis.posterior.sets
        if all(f.part != OUTSIDE for f in some)
    ][:SETS_ASKED]
    total = sum(share for _, share in inside)
    if total <= 0.0:
        return (0.0,) * len(evidence)
    usual = evidence.predictor.predict(Situation(), Look("reads"), ())[0][0]
    resting = usual if isinstance(usual, frozenset) else frozenset()
    found = []
    for index, finding in enumerate(evidence.findings):
        wrong = evidence.slip(index) * slip_probability(
            finding.look, finding.outcome, finding.situation.held, resting
        )
        found.append(sum(share * _share(analysis, index, some, wrong) for some, share in inside) / total)
    return tuple(found)


def _share(analysis: Analysis, index: int, faults: tuple[Fault, ...], wrong: float) -> float:
    """Share of "told wrongly" in the probability of a finding under a set of faults."""
    evidence = analysis.evidence
    told = sum(p * evidence.report_given(index, acting) for p, acting in evidence.acting(index, faults))
    return min(1.0, wrong / told) if told > 0.0 else 1.0


def repeatable(finding: Finding) -> bool:
    """Whether somebody can look at it again just so: nothing was altered for it, and it is a look."""
    kinds = ("reads", "lamp", "coil", "resting coils")
    return finding.look.kind in kinds and not finding.situation.altered and finding.situation.power
