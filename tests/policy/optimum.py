"""The true optimum of small problems by dynamic programming over what can be believed.

Written apart from the package's own stepping: plain tuples, one state at a time, its own Bayes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from matrixdoc.diagnosis.policy_actions import Action
from matrixdoc.diagnosis.policy_problem import Problem

EPS = 1e-12
Key = tuple[tuple[float, ...], tuple[int, ...], frozenset[str], bool]


@dataclass
class Optimum:
    """Least expected minutes to finish; ``states`` counts what was looked at."""

    problem: Problem
    known: dict[Key, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.tables = [[list(map(float, row)) for row in a.table] for a in self.problem.actions]
        # A check whose outcome is certain given the cause tells nothing the second time, and a repair
        # that always cures leaves nothing: only the others need to be counted.
        self.counted = [any(EPS < x < 1.0 - EPS for row in t for x in row) for t in self.tables]

    def start(self) -> float:
        p = self.problem
        belief = tuple(map(float, p.probability))
        return self.value(belief, tuple(a.tries for a in p.actions), frozenset(), p.power)

    def price(self, action: Action, opened: frozenset[str], power: bool) -> float:
        off, on = self.problem.power_minutes
        minutes = action.minutes
        minutes += sum(self.problem.place_minutes.get(p, 0.0) for p in action.places if p not in opened)
        if action.power is not None and action.power != power:
            minutes += on if action.power else off
        if action.power is not None and action.power_after is not None and action.power_after != action.power:
            minutes += on if action.power_after else off
        return minutes

    def value(
        self, belief: tuple[float, ...], left: tuple[int, ...], opened: frozenset[str], power: bool
    ) -> float:
        problem = self.problem
        if problem.identify and max(belief) >= 1.0 - 1e-9:
            return 0.0
        key = (tuple(round(b, 10) for b in belief), left, opened, power)
        known = self.known.get(key)
        if known is not None:
            return known
        due = [0.0] * len(belief) if problem.still_due is None else problem.still_due
        best = problem.give_up + sum(b * float(d) for b, d in zip(belief, due, strict=True))
        held = (
            problem.hazard is not None
            and sum(b * h for b, h in zip(belief, problem.hazard, strict=True)) >= problem.hazard_limit
        )
        for number, action in enumerate(problem.actions):
            if left[number] <= 0 or (held and action.risk):
                continue
            best = min(best, self._start_with(number, action, belief, left, opened, power))
        self.known[key] = best
        return best

    def _start_with(
        self,
        number: int,
        action: Action,
        belief: tuple[float, ...],
        left: tuple[int, ...],
        opened: frozenset[str],
        power: bool,
    ) -> float:
        rows = [[x * b for x, b in zip(row, belief, strict=True)] for row in self.tables[number]]
        sums = [math.fsum(row) for row in rows]
        after = tuple(n - (k == number and self.counted[k]) for k, n in enumerate(left))
        told = any(
            abs(x / s - b) > 1e-11
            for row, s in zip(rows, sums, strict=True)
            if s > EPS
            for x, b in zip(row, belief, strict=True)
        )
        if not told and not (action.mends and sums[-1] > EPS):
            return math.inf
        now_open = opened | {p for p in action.places if self.problem.place_minutes.get(p, 0.0) > 0.0}
        now_power = power if action.power is None else action.power
        now_power = now_power if action.power_after is None else action.power_after
        total = self.price(action, opened, power)
        for outcome, (row, s) in enumerate(zip(rows, sums, strict=True)):
            if s <= EPS or (action.mends and outcome == len(rows) - 1):
                continue
            total += s * self.value(tuple(x / s for x in row), after, now_open, now_power)
        return total
