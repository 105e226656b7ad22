"""What to do next so that finishing is expected to cost least: rollout over several base policies.

For every action that is open now, each outcome is finished by whichever base policy (see
:mod:`matrixdoc.diagnosis.policy_bases`) is cheapest from there; the action with the least total is
taken, and after its outcome the same is done again. That is one step of policy improvement, over
several policies at once (D. P. Bertsekas, J. N. Tsitsiklis and C. Wu, "Rollout algorithms for
combinatorial optimization", Journal of Heuristics 3 (1997) 245-262; H. S. Chang, R. Givan and
E. K. P. Chong, "Parallel rollout for online solution of partially observable Markov decision
processes", Discrete Event Dynamic Systems 14 (2004) 309-341; both from memory). No clock is read:
the work is bounded by the number of states that are looked at.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from matrixdoc.diagnosis.policy_bases import (
    BASES,
    Base,
    base_values,
)
from matrixdoc.diagnosis.policy_problem import (
    TELLING,
    Array,
    Ints,
    Problem,
    States,
    allowed,
    costs,
    every_step,
    gains,
    keys,
)

BUDGET = 20_000
"""States that one decision may look at."""
TIE = 1e-9
USEFUL = 1e-7
"""A repair that cures less often than this, or a check that tells fewer bits, is not offered."""


@dataclass(frozen=True, slots=True)
class Choice:
    """An action as the next one: ``finish``, expected minutes until the job is done when starting
    with it; ``minutes`` it takes now, set-ups included; ``bits`` of information.
    """

    action: int
    finish: float
    minutes: float
    bits: float


def useful(problem: Problem, state: States) -> Ints:
    """Actions that may be done in this one state and change anything."""
    if not problem.actions:
        return np.zeros(0, dtype=np.intp)
    told = gains(problem, state.belief)[0]
    cures = (state.belief @ problem.success)[0]
    return np.nonzero(allowed(problem, state)[0] & ((told > USEFUL) | (cures > USEFUL)))[0]


def giving_up(problem: Problem, state: States) -> float:
    """Expected minutes of giving up in this one state."""
    return float((state.belief @ problem.stopping)[0])


def finished(problem: Problem, state: States) -> bool:
    """Whether a pure test sequence is at its end."""
    return problem.identify and bool(state.belief.max() >= 1.0 - TELLING)


def state_values(problem: Problem, states: States, weight: Array, budget: int = BUDGET) -> Array:
    """(N,) expected minutes to finish from each state by the cheapest base policy."""
    # Several checks often come to the same state: it is looked at once, with its whole weight.
    number: dict[bytes, int] = {}
    place = np.array([number.setdefault(key, len(number)) for key in keys(problem, states)], dtype=np.intp)
    first = np.unique(place, return_index=True)[1]
    weights = np.bincount(place, weight, minlength=len(number)).astype(float)
    distinct = states.take(first)
    best = distinct.belief @ problem.stopping
    for base in BASES:
        values, _ = base_values(problem, distinct, weights, base, budget // len(BASES))
        best = np.minimum(best, values)
    result: Array = best[place]
    return result


def decide(problem: Problem, state: States, budget: int = BUDGET) -> tuple[Choice, ...]:
    """Every useful action with its expected minutes to finish, the cheapest first.

    Args:
        problem: what may be wrong and what can be done.
        state: one state.
        budget: how many states may be looked at.

    Returns:
        The choices; empty when nothing helps any more (or a test sequence is at its end).
    """
    actions = useful(problem, state)
    if finished(problem, state) or not len(actions):
        return ()
    step = every_step(problem, state, actions)
    values = state_values(problem, step.states, step.probability, budget)
    price = costs(problem, state)[0, actions]
    onward = np.bincount(step.parent, step.probability * values, minlength=len(actions))
    told = gains(problem, state.belief)[0, actions]
    found = [
        Choice(int(a), float(c + v), float(c), float(b))
        for a, c, v, b in zip(actions, price, onward, told, strict=True)
    ]
    return tuple(sorted(found, key=lambda c: (round(c.finish / TIE), c.action)))


def base_cost(problem: Problem, base: Base, budget: int = BUDGET) -> float:
    """Expected minutes to finish from the start by one base policy alone."""
    values, _ = base_values(problem, problem.start(), np.ones(1), base, budget)
    return float(values[0])
