"""Causes for people: grouped, titled, with the word of every finding for and against."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from matrixdoc.checks.model import MachineModel
from matrixdoc.checks.wording import finding_words, part_words
from matrixdoc.diagnosis.mended import MendedAnalysis
from matrixdoc.diagnosis.results import Cause, ExplainedFinding, FaultName, Reason
from matrixdoc.diagnosis.suspects import Suspect
from matrixdoc.faults.priors import Fault

Array = NDArray[np.float64]

LEAST_BITS = 0.1
PROVEN = 0.1
"""A repaired fault that is still there with less probability than this counts as proven gone."""


def fault_name(model: MachineModel, fault: Fault) -> FaultName:
    """The fault as people read it."""
    part = model.part(fault.part)
    return FaultName(fault.part, fault.mode, part.kind, part_words(part), part.place)


def fault_words(model: MachineModel, fault: Fault) -> str:
    """``diode of switch C3R5 left lane: shorted``."""
    return f"{part_words(model.part(fault.part))}: {fault.mode}"


@dataclass(frozen=True, slots=True)
class _Table:
    """Likelihood of every finding under every suspect of some causes, each beside the background.

    ``background`` are the likeliest faults of other complaints, there in any case; ``alone`` holds
    the likelihoods of the findings (findings,) under them, ``given`` (suspects, findings) with each
    suspect, ``share`` (suspects,) the suspects' probabilities.
    """

    words: tuple[str, ...]
    alone: Array
    given: Array
    share: Array

    @staticmethod
    def of(analysis: MendedAnalysis, suspects: Sequence[Suspect], background: tuple[Fault, ...]) -> _Table:
        findings = analysis.evidence.findings
        wiring = analysis.evidence.predictor.model.circuit.wiring
        indices = range(len(findings))
        sets = [_with(suspect.faults, background) for suspect in suspects]
        given = [[analysis.likelihood(index, faults) for index in indices] for faults in sets]
        return _Table(
            tuple(finding_words(wiring, finding) for finding in findings),
            np.array([analysis.likelihood(index, background) for index in indices]),
            np.array(given).reshape(len(suspects), len(findings)),
            np.array([suspect.probability for suspect in suspects]),
        )

    def reasons(self, first: int, last: int) -> tuple[tuple[Reason, ...], tuple[Reason, ...]]:
        """Findings that speak for and against the cause of suspects ``first`` to before ``last``.

        Strongest first. Bits are log2 of the finding's likelihood under its first suspect over its mean
        under all suspects of other causes and the healthy machine, weighted by their probabilities.
        """
        rest = self.share.copy()
        rest[first:last] = 0.0
        total = float(rest.sum())
        healthy = max(0.02, 1.0 - total)
        other = (healthy * self.alone + rest @ self.given) / (healthy + total)
        bits = np.log2(self.given[first] / other).tolist()
        both = list(zip(self.words, bits, strict=True))
        for_ = sorted((Reason(w, b) for w, b in both if b > LEAST_BITS), key=lambda r: -r.bits)
        against = sorted((Reason(w, b) for w, b in both if b < -LEAST_BITS), key=lambda r: r.bits)
        return tuple(for_), tuple(against)


def _proven(analysis: MendedAnalysis, fault: Fault) -> bool:
    """Whether looks since the repair, and not the repair's good name alone, say that it is gone."""
    untested = analysis.mending.untested(fault)
    return analysis.still_there(fault) < min(PROVEN, 0.5 * untested)


def _with(faults: tuple[Fault, ...], background: tuple[Fault, ...]) -> tuple[Fault, ...]:
    """Both together; where they disagree about a part, the faults count."""
    parts = {f.part for f in faults}
    return tuple(sorted({*faults, *(f for f in background if f.part not in parts)}))


def build_causes(
    analysis: MendedAnalysis,
    groups: Sequence[Sequence[Suspect]],
    repaired: Mapping[str, str],
    background: tuple[Fault, ...] = (),
) -> list[Cause]:
    """One :class:`Cause` for each group of suspects that no check separates."""
    model = analysis.evidence.predictor.model
    causes = []
    table = _Table.of(analysis, [s for group in groups for s in group], background)
    start = 0
    for rank, group in enumerate(groups, start=1):
        leader = group[0]
        probability = min(1.0, sum(s.probability for s in group))
        names = tuple(fault_name(model, f) for f in leader.faults)
        title = " together with ".join(fault_words(model, f) for f in leader.faults)
        others = len({tuple(f.part for f in s.faults) for s in group}) - 1
        if others:
            title += f" (or {others} more that no check tells apart)"
        done = [repaired[f.part] for f in leader.faults if f.part in repaired]
        if done:
            proven = all(_proven(analysis, f) for f in leader.faults)
            title += f" [{done[0]}, {'proven by a look since' if proven else 'not yet proven'}]"
        for_, against = table.reasons(start, start + len(group))
        start += len(group)
        entry = model.possible[leader.faults[0]]
        causes.append(
            Cause(
                rank=rank,
                probability=probability,
                title=title,
                faults=names,
                members=tuple((tuple(fault_name(model, f) for f in s.faults), s.probability) for s in group),
                for_=for_,
                against=against,
                repair=entry.repair,
                caution=entry.damage,
            )
        )
    return causes


def explained(analysis: MendedAnalysis, best: tuple[Fault, ...]) -> tuple[ExplainedFinding, ...]:
    """How well the most probable set of faults explains each finding."""
    wiring = analysis.evidence.predictor.model.circuit.wiring
    rows = []
    for index, finding in enumerate(analysis.evidence.findings):
        probability = analysis.likelihood(index, best)
        # Half, for one look; of judgements that count as one, each is drawn towards 1.
        half = 0.5 ** analysis.evidence.weights[index]
        if probability > half:
            verdict = "explained" if analysis.healthy[index] < half else "as expected"
        elif probability > 0.1:
            verdict = "possible"
        else:
            verdict = "not explained"
        rows.append(ExplainedFinding(finding, finding_words(wiring, finding), probability, verdict))
    return tuple(rows)
