"""Which single faults are worth a place in the sum, found without working out every one of them.

A fault contends when it makes an abnormal finding likelier than the healthy machine does, and when it is
not hopelessly less than the best explanation: by itself, or together with a fault that explains other
findings. Two burnt lamps may well be as likely as the one wire that would darken both; and a wire that
would darken more than is dark is no measure for anything, so whoever sets the measure has answered for
the findings that are as they should be, too.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from matrixdoc.diagnosis.bounds import HELPS, promising
from matrixdoc.diagnosis.evidence import Evidence
from matrixdoc.faults.priors import Fault

FIRST_BATCH, FIRST_FINDINGS = 100, 2
"""Faults worked out together at first (every further batch is twice as large), and the findings that
each is tried on before the others."""

Helped = frozenset[int]


@dataclass
class _Field:
    """What has been worked out so far. ``best``: score of the best fault by the findings it helps with."""

    evidence: Evidence
    healthy: Sequence[float]
    single: dict[Fault, dict[int, float]] = field(default_factory=dict)
    best: dict[Helped, float] = field(default_factory=dict)
    no_help: dict[Fault, set[int]] = field(default_factory=dict)
    """Findings that a bound ruled out for a fault, by fault."""

    def odds(self, fault: Fault) -> float:
        return math.log(self.evidence.predictor.model.possible[fault].odds + 1e-300)

    def score(self, fault: Fault) -> float:
        """Logarithm of the odds of the fault alone against a healthy machine, by what was worked out."""
        values = self.single.get(fault, {})
        return self.odds(fault) + sum(math.log(value / self.healthy[f]) for f, value in values.items())

    def helped(self, fault: Fault) -> Helped:
        values = self.single.get(fault, {})
        return frozenset(f for f, value in values.items() if value > HELPS * self.healthy[f])

    def work_out(self, wanted: Iterable[tuple[int, Fault]]) -> None:
        """Likelihoods of (finding, fault) pairs, but for those that a cheaper bound rules out."""
        pairs = [(f, (fault,)) for f, fault in wanted]
        left: list[tuple[int, tuple[Fault, ...]]] = promising(self.evidence, pairs, self.healthy)
        for f, (fault,) in set(pairs).difference(left):
            self.no_help.setdefault(fault, set()).add(f)
        self.evidence.prepare(left)
        for f, (fault,) in left:
            self.single.setdefault(fault, {})[f] = self.evidence.likelihood(f, (fault,))

    def measure(self, findings: Iterable[int]) -> float:
        """Score of the best explanation of any of these findings so far; 0 for a healthy machine."""
        some = set(findings)
        return max((score for helped, score in self.best.items() if helped & some), default=0.0)

    def beside(self, findings: Iterable[int]) -> float:
        """Score of the best fault that explains none of these findings: what may be there as well."""
        some = set(findings)
        return max((score for helped, score in self.best.items() if not helped & some), default=0.0)

    def contends(self, score: float, findings: Iterable[int], floor: float) -> bool:
        """Whether a fault of this score is not hopeless, alone or beside another one."""
        some = list(findings)
        return score + max(0.0, self.beside(some)) >= self.measure(some) + floor


def contending_singles(
    evidence: Evidence,
    touches: Mapping[Fault, set[int]],
    healthy: Sequence[float],
    abnormal: set[int],
) -> dict[Fault, dict[int, float]]:
    """Likelihoods of the contending single faults, for every finding that they touch.

    The most promising come first: at best a fault makes everything it touches certain, and one for which
    even that is hopeless is not worked out at all.
    """
    state = _Field(evidence, healthy)
    floor = math.log(evidence.settings.least_share)
    most: list[tuple[float, Fault, list[int]]] = []
    for fault, touched in touches.items():
        here = sorted(touched & abnormal)
        if here:
            most.append((state.odds(fault) - sum(math.log(healthy[f]) for f in here), fault, here))
    most.sort(key=lambda row: (-row[0], row[1]))
    kept: dict[Fault, Helped] = {}
    start, size = 0, FIRST_BATCH
    while start < len(most):
        batch = [
            (fault, here)
            for limit, fault, here in most[start : start + size]
            if state.contends(limit, here, floor)
        ]
        start, size = start + size, 2 * size
        # A fault that fails its first findings is not asked about the others.
        for some in (slice(0, FIRST_FINDINGS), slice(FIRST_FINDINGS, None)):
            state.work_out(
                (f, fault)
                for fault, here in batch
                if state.contends(_limit(state, fault, here), here, floor)
                for f in here[some]
            )
        helping = {fault: state.helped(fault) for fault, _ in batch}
        helping = {
            fault: helped
            for fault, helped in helping.items()
            if helped and state.contends(state.score(fault), helped, floor)
        }
        state.work_out((f, fault) for fault in helping for f in sorted(touches[fault] - abnormal))
        for fault, helped in helping.items():
            score = state.score(fault)
            state.best[helped] = max(state.best.get(helped, score), score)
        kept.update(helping)
    return {
        fault: dict(state.single[fault])
        for fault, helped in kept.items()
        if state.contends(state.score(fault), helped, floor)
    }


def _limit(state: _Field, fault: Fault, here: Sequence[int]) -> float:
    """The best score that a fault can still have: whatever was not worked out is taken as certain."""
    values, out = state.single.get(fault, {}), state.no_help.get(fault, set())
    left = (f for f in here if f not in out)
    return state.odds(fault) + sum(math.log(values.get(f, 1.0) / state.healthy[f]) for f in left)
