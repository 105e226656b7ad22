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

from matrixdoc.diagnosis.policy_actions import Array
from matrixdoc.diagnosis.policy_bases import (
    BASES,
    Base,
    base_values,
)
from matrixdoc.diagnosis.policy_problem import (
    TELLING,
    Ints,
    Problem,
    States,
    Step,
    allowed,
    costs,
    every_step,
    follow,
    gains,
    keys,
    product,
)

BUDGET = 20_000
"""States that one decision may look at."""
DEEPER_BUDGET = 4_000
"""States that looking one step deeper may cost; small, since it is done within a person's patience."""
LEADERS = 4
"""Choices that are looked at one step deeper."""
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


def state_values(problem: Problem, states: States, weight: Array, budget: int = BUDGET) -> tuple[Array, int]:
    """(N,) expected minutes to finish from each state by the cheapest base policy, and the number of
    states that were looked at. ``weight`` (N,) says how probable each is.
    """
    # Several checks often come to the same state: it is looked at once, with its whole weight.
    number: dict[bytes, int] = {}
    place = np.array([number.setdefault(key, len(number)) for key in keys(problem, states)], dtype=np.intp)
    first = np.unique(place, return_index=True)[1]
    weights = np.bincount(place, weight, minlength=len(number)).astype(float)
    distinct = states.take(first)
    best = distinct.belief @ problem.stopping
    total = 0
    for base in BASES:
        values, count = base_values(problem, distinct, weights, base, budget // len(BASES))
        best = np.minimum(best, values)
        total += count
    result: Array = best[place]
    return result, total


def decide(problem: Problem, state: States, budget: int = BUDGET) -> tuple[Choice, ...]:
    """Every useful action with its expected minutes to finish, the cheapest first.

    Where the problem is small enough, the leading choices are looked at one step deeper.

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
    price = costs(problem, state)[0, actions]
    values, count = state_values(problem, step.states, step.probability, budget)
    onward = _onward(step, values, len(actions))
    leaders = np.argsort(price + onward, kind="stable")[:LEADERS]
    rows = np.nonzero(np.isin(step.parent, leaders))[0]
    # Each of these states costs about as much as this one did.
    if len(rows) * count <= min(budget, DEEPER_BUDGET):
        deeper = _step_deeper(problem, step.states.take(rows), step.probability[rows], budget)
        values[rows] = np.minimum(values[rows], deeper)
        onward = _onward(step, values, len(actions))
    told = gains(problem, state.belief)[0, actions]
    found = [
        Choice(int(a), float(c + v), float(c), float(b))
        for a, c, v, b in zip(actions, price, onward, told, strict=True)
    ]
    return tuple(sorted(found, key=lambda c: (round(c.finish / TIE), c.action)))


def _onward(step: Step, values: Array, count: int) -> Array:
    """(actions,) expected minutes after each action."""
    return np.bincount(step.parent, step.probability * values, minlength=count).astype(float)


def _step_deeper(problem: Problem, states: States, weight: Array, budget: int) -> Array:
    """(N,) expected minutes to finish from each state by its best action, then a base policy."""
    best = np.full(len(states), np.inf)
    told = gains(problem, states.belief)
    cures = product(states.belief, problem.success)
    row, action = np.nonzero(allowed(problem, states) & ((told > USEFUL) | (cures > USEFUL)))
    if not len(row):
        return best
    step = follow(problem, states.take(row), action)
    reached = weight[row][step.parent] * step.probability
    values, _ = state_values(problem, step.states, reached, budget)
    found = costs(problem, states)[row, action] + _onward(step, values, len(row))
    np.minimum.at(best, row, found)
    return best


def base_cost(problem: Problem, base: Base, budget: int = BUDGET) -> float:
    """Expected minutes to finish from the start by one base policy alone."""
    values, _ = base_values(problem, problem.start(), np.ones(1), base, budget)
    return float(values[0])
