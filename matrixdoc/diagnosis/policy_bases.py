"""Base policies: simple rules for what to do next, and what it costs to follow each to the end.

- *information*: most information per minute.
- *probability*: repairs in order of probability over cost, the cheapest order for independent
  repairs and a single fault (J. B. Kadane and H. A. Simon, "Optimal strategies for a class of
  constrained sequential problems", Annals of Statistics 5 (1977) 237-255).
- *half*: the check that comes closest to halving the probability per minute, as along a path.

Their expected costs are worked out, not sampled: a batch of states is followed level by level. A
state that has become improbable, or has no telling check left, is finished by repairs in order of
probability over cost; so is any other state from which that is cheaper. Every figure is thus the
exact expected cost of a rule that a person could follow.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from matrixdoc.diagnosis.policy_actions import Array
from matrixdoc.diagnosis.policy_problem import (
    ENDLESS,
    TELLING,
    Bools,
    Ints,
    Problem,
    States,
    Step,
    allowed,
    costs,
    follow,
    gains,
    joined,
    product,
)

Base = Literal["information", "probability", "half"]
BASES: tuple[Base, ...] = ("information", "probability", "half")

DONE_MASS = 1e-12
LEAST_WEIGHT = 3e-3
"""States less probable than this are not followed any further: they are finished by repairs."""
LIKELY = 0.5
"""Halving stops at a repair that cures with at least this chance."""


def _best(index: Array, names: Ints) -> Ints:
    """First best column of each row, as an action; -1 where no index is positive."""
    if not index.shape[1]:
        return np.full(len(index), -1, dtype=np.intp)
    # Equal up to rounding counts as equal: then the first one is taken, on any machine.
    top = index.max(axis=1, keepdims=True)
    column = (index >= top * (1.0 - 1e-9)).argmax(axis=1)
    return np.where(top[:, 0] > 0.0, names[column], -1)


def repair_picks(problem: Problem, states: States) -> tuple[Ints, Array]:
    """(N,) the repair with the best probability over cost in each state, -1 where there is none, and
    (N, repairs) what each costs. ``states.belief`` need not sum to 1.
    """
    repairs = problem.repairs
    cured = product(states.belief, problem.cures)
    price = problem.prices[:, repairs][states.setup]
    usable = (cured > DONE_MASS) & (states.left[:, repairs] > 0)
    if problem.hazard is not None:
        usable &= allowed(problem, states)[:, repairs]
    return _best(np.where(usable, cured / price, -1.0), np.arange(len(repairs))), price


def repair_run(problem: Problem, states: States) -> Array:
    """(N,) expected minutes of repairing in order of probability over cost, stopped where best.

    A repair that costs more than it is expected to save of giving up ends the run.
    """
    best = states.belief @ problem.stopping
    repairs = problem.repairs
    if not len(repairs):
        return best
    fails = 1.0 - problem.cures.T
    rows, now = np.arange(len(states)), states
    mass, spent, stop = np.ones(len(states)), np.zeros(len(states)), best
    while len(rows):
        pick, price = repair_picks(problem, now)
        line = np.arange(len(rows))
        due = price[line, pick]
        alive = now.belief * fails[pick]
        after = alive.sum(axis=1)
        alive[after < DONE_MASS] = 0.0
        after[after < DONE_MASS] = 0.0
        stopped = alive @ problem.stopping
        going = (pick >= 0) & (mass > DONE_MASS) & (stop - stopped > due * mass)
        if not going.any():
            break
        rows, line, pick, alive = rows[going], line[going], pick[going], alive[going]
        spent = spent[going] + mass[going] * due[going]
        mass, stop = after[going], stopped[going]
        done = repairs[pick]
        left = now.left[line]
        left[np.arange(len(rows)), done] -= 1
        now = States(alive, left, problem.after[now.setup[line], done])
        best[rows] = np.minimum(best[rows], spent + stop)
    return best


def choose(problem: Problem, states: States, base: Base) -> Ints:
    """(N,) what ``base`` does next; -1: no check tells anything (or repairs come first)."""
    free = allowed(problem, states)
    price = costs(problem, states)
    told = gains(problem, states.belief)
    checks = free & (told > TELLING) & ~problem.is_repair
    every = np.arange(len(problem.actions))
    if base == "information":
        useful = free & (told > TELLING)
        pick = _best(np.where(useful, told / price, -1.0), every)
    else:
        chance = product(states.belief, problem.stacked)
        if base == "half":
            split = 1.0 - np.maximum.reduceat(chance, problem.starts, axis=1)
        else:
            split = 1.0 - chance[:, problem.starts]
        pick = _best(np.where(checks, np.maximum(split, DONE_MASS) / price, -1.0), every)
        if len(problem.repairs):
            cured = product(states.belief, problem.cures).max(axis=1)
            pick = np.where(cured >= LIKELY, -1, pick)
    return np.where(checks.any(axis=1), pick, -1)


@dataclass
class _Level:
    states: States
    going: Ints
    price: Array
    step: Step


def base_values(
    problem: Problem, states: States, weight: Array, base: Base, budget: int
) -> tuple[Array, int]:
    """(N,) expected minutes to finish from each state by ``base``, and the number of states looked at.

    ``weight`` (N,) is how probable each state is; ``budget`` bounds the number of states.
    """
    if base == "probability" and len(problem.repairs):
        return repair_run(problem, states), len(states)
    levels: list[_Level] = []
    now, count = states, len(states)
    while True:
        going = _worth_following(problem, now, weight, budget - count)
        here = now.take(going)
        pick = choose(problem, here, base)
        going, pick, here = going[pick >= 0], pick[pick >= 0], here.take(pick >= 0)
        price = costs(problem, here)[np.arange(len(pick)), pick]
        step = follow(problem, here, pick)
        levels.append(_Level(now, going, price, step))
        if not len(step.states):
            break
        weight = weight[going][step.parent] * step.probability
        now = step.states
        count += len(now)
    ends = _ending(problem, joined([level.states for level in levels]))
    stop = len(ends)
    values = np.zeros(0)
    for level in reversed(levels):
        start = stop - len(level.states)
        own = ends[start:stop]
        stop = start
        onward = level.price.copy()
        np.add.at(onward, level.step.parent, level.step.probability * values)
        own[level.going] = np.minimum(own[level.going], onward)
        values = own
    return values, count


def _worth_following(problem: Problem, states: States, weight: Array, room: int) -> Ints:
    """Rows that are followed further: uncertain ones, the probable ones first while there is room."""
    uncertain = states.belief.max(axis=1) < 1.0 - TELLING
    if problem.identify:
        return np.nonzero(uncertain)[0]
    rows = np.nonzero(uncertain & (weight >= LEAST_WEIGHT))[0]
    if len(rows) > max(room, 0):
        order = np.argsort(-weight[rows], kind="stable")[: max(room, 0)]
        rows = np.sort(rows[order])
    return rows


def _ending(problem: Problem, states: States) -> Array:
    """(N,) minutes of ending here without another check."""
    if not problem.identify:
        return repair_run(problem, states)
    told: Bools = (gains(problem, states.belief) > TELLING) & allowed(problem, states)
    return np.where(told.any(axis=1), ENDLESS, 0.0)
