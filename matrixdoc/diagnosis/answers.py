"""Causes for people: those of all complaints in one list."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from matrixdoc.diagnosis.analysis import outside_share
from matrixdoc.diagnosis.evidence import OUTSIDE
from matrixdoc.diagnosis.explain import build_causes, explained
from matrixdoc.diagnosis.jobs import Job
from matrixdoc.diagnosis.mended import MendedAnalysis
from matrixdoc.diagnosis.results import Cause, Diagnosis
from matrixdoc.faults.priors import Fault

SAFETY = (
    "switched off is not unplugged; let capacitors discharge and measure; fuses only of the marked type; "
    "mains work only by qualified people under local codes; this program never says a circuit is safe"
)


def _leader(cause: Cause) -> tuple[Fault, ...]:
    return tuple(Fault(name.part, name.mode) for name in cause.faults)


def diagnosis_of(
    analysis: MendedAnalysis, jobs: Sequence[Job], repaired: Mapping[str, str], cautions: tuple[str, ...] = ()
) -> Diagnosis:
    """Causes of all complaints, most probable first."""
    causes: list[Cause] = []
    for job in jobs:
        causes.extend(build_causes(analysis, job.groups, repaired, job.background))
    numbers = numbers_of(jobs)
    causes = [c for c in causes if numbers.get(_leader(c)) is not None]
    causes = sorted({_leader(c): c for c in reversed(causes)}.values(), key=lambda c: numbers[_leader(c)])
    ranked = tuple(replace(c, rank=rank) for rank, c in enumerate(causes, start=1))
    best = analysis.posterior.sets[0][0] if analysis.posterior.sets else frozenset()
    inside = tuple(sorted(f for f in best if f.part != OUTSIDE))
    rows = explained(analysis, inside)
    contradictions = tuple(
        f"the leading cause does not explain: {row.words}" for row in rows if row.verdict == "not explained"
    )
    return Diagnosis(
        causes=ranked,
        outside_model=outside_share(analysis),
        discarded_mass=analysis.posterior.discarded,
        healthy=_healthy(analysis),
        findings=rows,
        marginals={(f.part, f.mode): p for f, p in analysis.posterior.marginals.items() if f.part != OUTSIDE},
        cautions=(*cautions, SAFETY),
        contradictions=contradictions,
    )


def numbers_of(jobs: Sequence[Job]) -> dict[tuple[Fault, ...], int]:
    """Number of each cause in the list, by its leading faults: by probability; a fault that
    explains two complaints is told once.
    """
    groups = [g for job in jobs for g in job.groups]
    groups.sort(key=lambda g: (-sum(s.probability for s in g), g[0].faults))
    seen: set[tuple[Fault, ...]] = set()
    numbers: dict[tuple[Fault, ...], int] = {}
    for group in groups:
        members = {s.faults for s in group}
        if not members <= seen:
            numbers.setdefault(group[0].faults, len(numbers) + 1)
        seen |= members
    return numbers


def _healthy(analysis: MendedAnalysis) -> float:
    """Share of "nothing that the findings bear on is wrong"."""
    for faults, share in analysis.posterior.sets:
        if not faults:
            return share
    return 0.0
