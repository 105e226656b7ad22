"""The state of a branch of the sum over sets of faults: likelihood rows, and what each variable is worth.

``posterior.py`` conditions on one variable after the other; here is what it asks at each branch: how the
findings' likelihoods stand with some faults assigned, and which of the others can still matter.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from matrixdoc.faults.priors import Fault

Array = npt.NDArray[np.float64]
Indices = npt.NDArray[np.intp]
LikelihoodOf = Callable[[int, tuple[Fault, ...]], float]

_NONE = np.zeros(0, dtype=np.intp)

MOST_SOLVED = 3000
"""Likelihoods of several faults at once that one sum works out; then the rest is bounded (some tens of
seconds where each of them is a whole scan)."""

EXPLAINS = 1.0
"""A state explains a finding that it makes likelier by this much, in natural logarithm."""
MOST_GAIN = 300.0
"""In natural logarithm: more than some faults gain on any findings in earnest, less than overflows."""

SAME = 1e-9
"""Two likelihoods closer than this (relative) count as equal when relevance is decided."""


@dataclass(frozen=True, slots=True)
class State:
    """One way a variable can be faulty. ``members`` are the faults it stands for, with odds."""

    fault: Fault
    odds: float
    members: tuple[tuple[Fault, float], ...]
    opening: bool


@dataclass(frozen=True, slots=True)
class Variable:
    """A part, or a set of parts whose opens are one and the same open. States exclude each other."""

    states: tuple[State, ...]


@dataclass
class Problem:
    """What is summed, and what of it never changes. States are numbered through all variables.

    ``first``: number of each variable's first state, and one past the last; ``state_variable``,
    ``state_of``, ``probability``, ``opening``: by state; ``healthy``: probability that a variable is in none
    of its states; ``touch`` (states, findings): what a state can change, alone or with others; ``pairs``:
    states that matter only together; ``nodes``, ``solved`` and ``cut`` count as the sum goes on; ``unsolved``
    bounds the mass that was left out once ``solved`` had reached :data:`MOST_SOLVED`.
    """

    variables: Sequence[Variable]
    likelihood: LikelihoodOf
    prepare: Callable[[list[tuple[int, tuple[Fault, ...]]]], None]
    findings: int
    touches: Sequence[frozenset[int]]
    pairs: Mapping[int, frozenset[int]]
    least_share: float
    patience: int = 0
    first: list[int] = field(default_factory=list)
    state_variable: list[int] = field(default_factory=list)
    state_of: list[State] = field(default_factory=list)
    probability: Array = field(default_factory=lambda: np.zeros(0))
    healthy: Array = field(default_factory=lambda: np.zeros(0))
    touch: npt.NDArray[np.bool_] = field(default_factory=lambda: np.zeros((0, 0), dtype=bool))
    opening: npt.NDArray[np.bool_] = field(default_factory=lambda: np.zeros(0, dtype=bool))
    together: dict[tuple[int, int], Array] = field(default_factory=dict)
    nodes: int = 0
    solved: int = 0
    cut: float = 0.0
    unsolved: float = 0.0


def set_up(problem: Problem) -> None:
    """Number the states and work out their probabilities."""
    probability = []
    healthy = []
    for number, variable in enumerate(problem.variables):
        total = 1.0 + sum(s.odds for s in variable.states)
        healthy.append(1.0 / total)
        problem.first.append(len(problem.state_of))
        for state in variable.states:
            problem.state_of.append(state)
            problem.state_variable.append(number)
            probability.append(state.odds / total)
    problem.first.append(len(problem.state_of))
    problem.probability = np.array(probability)
    problem.healthy = np.array(healthy)


def rows_beside(
    problem: Problem,
    assigned: tuple[int, ...],
    base: Array,
    parent_rows: Array,
    parent_base: Array,
    variables: Sequence[int],
    new: int,
    weight: float,
) -> Array:
    """Likelihood rows (states x findings) of each free state once state ``new`` is assigned.

    A row keeps its own value where only it acts, takes the new base where only the assigned states
    act, and is computed where both touch a finding and one of them adds a connection or they differ.
    """
    rows = np.array(parent_rows)
    changed = np.abs(base - parent_base) > SAME * np.maximum(base, parent_base)
    faults = tuple(problem.state_of[s].fault for s in assigned)
    exhaustive = problem.least_share <= 0.0
    first = problem.first
    states = np.concatenate([np.arange(first[v], first[v + 1]) for v in variables]) if variables else _NONE
    if not len(states):
        return rows
    own = parent_rows[states]
    acts = np.abs(own - parent_base) > SAME * np.maximum(own, parent_base)
    shared = problem.touch[states] & problem.touch[new][None, :]
    take_base = ~shared & changed[None, :] & ~acts
    both_open = (problem.opening[states] & problem.opening[new] & (not exhaustive))[:, None]
    alike = np.abs(own - base) <= SAME * base
    take_base |= shared & both_open & changed[None, :] & (~acts | alike)
    compute = shared & both_open & changed[None, :] & acts & ~alike
    linked = np.zeros(len(states), dtype=bool)
    partners = problem.pairs.get(new, frozenset())
    if partners:
        linked = np.isin(states, list(partners))
    compute |= shared & ~both_open & (changed[None, :] | acts | linked[:, None] | exhaustive)
    if problem.together:
        # Opens that explain a press in twos change it only side by side.
        twos = np.array([(new, int(s)) in problem.together for s in states])
        compute |= shared & twos[:, None]
        take_base &= ~compute
    if not exhaustive:
        # At best a further fault explains everything it touches; where that is too little to
        # matter the circuit is not solved for the pair, and the fault counts as hidden here.
        best_gain = np.where(shared, -np.log(base)[None, :], 0.0).sum(axis=1)
        small = np.log(problem.probability[states]) + best_gain + np.log(weight) < np.log(problem.least_share)
        take_base |= compute & small[:, None]
        compute &= ~small[:, None]
    if not exhaustive and problem.solved >= MOST_SOLVED and compute.any():
        # What is not worked out any more counts as hidden; at best it would make everything certain.
        at_best = np.where(compute, -np.log(base)[None, :], 0.0).sum(axis=1)
        left = compute.any(axis=1)
        assigned_odds = [
            problem.probability[s] / problem.healthy[problem.state_variable[s]] for s in assigned
        ]
        whole = float(np.log(assigned_odds).sum() + np.log(base).sum())
        problem.unsolved += float(
            np.exp(whole + np.log(problem.probability[states][left]) + at_best[left]).sum()
        )
        take_base |= compute
        compute[:] = False
    target = rows[states]
    target[take_base] = np.broadcast_to(base, target.shape)[take_base]
    rows[states] = target
    wanted = [(int(states[i]), int(f)) for i, f in zip(*np.nonzero(compute), strict=True)]
    if wanted:
        problem.solved += len(wanted)
        asked = [(f, (*faults, problem.state_of[s].fault)) for s, f in wanted]
        problem.prepare(asked)
        for (s, f), (_, some) in zip(wanted, asked, strict=True):
            rows[s, f] = problem.likelihood(f, tuple(sorted(some)))
    return rows


@dataclass
class Worths:
    """What each variable is worth to the findings of a branch.

    ``prior``: states of variables that can change none of them. ``relevant``: findings that each
    other variable touches; ``worth``: its odds times its likelihood ratio; ``alone``: the same, by
    state; ``beside``: how many times as much a state is worth in the best company (see ``_with_company``).
    """

    prior: Array
    alone: Array
    relevant: dict[int, Indices]
    worth: dict[int, float]
    beside: Array


def worths(
    problem: Problem, base: Array, rows: Array, variables: Sequence[int], findings: Sequence[int]
) -> Worths:
    """What ``variables`` are worth to ``findings``: ``base`` (findings,) are the likelihoods with the faults
    assigned so far, ``rows`` (states, findings) those with one more state.
    """
    first = problem.first
    columns = np.array(findings, dtype=np.intp)
    here = set(findings)
    size = len(problem.state_of)
    result = Worths(np.zeros(size), np.zeros(size), {}, {}, np.ones(size))
    if not variables:
        return result
    counts = np.array([first[v + 1] - first[v] for v in variables])
    states = np.concatenate([np.arange(first[v], first[v + 1]) for v in variables])
    starts = np.concatenate(([0], np.cumsum(counts)[:-1]))
    # Ratios are taken in logarithms: with many findings the products underflow.
    some = rows[np.ix_(states, columns)]
    base_here = base[columns]
    differs = np.abs(some - base_here) > SAME * np.maximum(some, base_here)
    log_gain = np.log(some) - np.log(base_here)
    gain = np.exp(log_gain.sum(axis=1))
    probability = problem.probability[states]
    if problem.least_share > 0.0:
        odds = np.add.reduceat(probability * gain, starts) / problem.healthy[list(variables)]
        helps = np.logical_or.reduceat(log_gain > EXPLAINS, starts, axis=0)
        _with_company(problem, result.beside, variables, columns, rows, helps, np.log(odds))
    most = gain * result.beside[states]
    worth = (np.add.reduceat(probability * most, starts) / problem.healthy[list(variables)]).tolist()
    changes: Array = np.add.reduceat(differs.astype(np.float64), starts, axis=0)
    touching = (changes.max(axis=1) > 0.0).tolist()
    linked = problem.least_share <= 0.0 or bool(problem.pairs)
    for place, v in enumerate(variables):
        forced = _forced(problem, v, variables) & here if linked else set()
        touched = columns[changes[place] > 0.0] if touching[place] else _NONE
        if forced:
            touched = np.array(sorted(set(map(int, touched)) | forced), dtype=np.intp)
        span = slice(first[v], first[v + 1])
        if len(touched) == 0:
            result.prior[span] = problem.probability[span]
            continue
        own = slice(int(starts[place]), int(starts[place] + counts[place]))
        best = worth[place]
        if forced and problem.least_share > 0.0 and not _in_twos(problem, v):
            unexplained = np.prod(1.0 / np.minimum(1.0, base[sorted(forced)] + 0.05))
            raised = np.maximum(gain[own], 0.02 * unexplained)
            best = float((probability[own] * raised).sum()) / float(problem.healthy[v])
        result.relevant[v] = touched
        result.worth[v] = best
        result.alone[span] = probability[own] * gain[own] / problem.healthy[v]
    return result


def _with_company(
    problem: Problem,
    beside: Array,
    variables: Sequence[int],
    columns: Indices,
    rows: Array,
    helping: npt.NDArray[np.bool_],
    log_worth: Array,
) -> None:
    """What each state is worth in the best company, into ``beside``: together with the best of its partners,
    and with whatever else explains best the findings that it does not explain. A fault that explains half of
    what another one does is no worse for that, where a second one explains the other half.

    ``helping`` (variables, columns): what each variable explains; ``log_worth`` (variables,).
    """
    first = problem.first
    here = set(variables)
    helps = dict.fromkeys(variables, frozenset[int]())
    best: dict[frozenset[int], float] = {}
    patterns: dict[bytes, frozenset[int]] = {}
    for place in np.flatnonzero(helping.any(axis=1)).tolist():
        key = helping[place].tobytes()
        if key not in patterns:
            patterns[key] = frozenset(np.flatnonzero(helping[place]).tolist())
        some = helps[variables[place]] = patterns[key]
        if log_worth[place] > 0.0:
            best[some] = max(best.get(some, 0.0), float(log_worth[place]))
    ordered = sorted(best.items(), key=lambda entry: (-entry[1], sorted(entry[0])))
    known: dict[frozenset[int], float] = {}

    def company(explained: frozenset[int]) -> float:
        if explained not in known:
            taken, total = set(explained), 0.0
            for some, value in ordered:
                if not taken & some:
                    taken |= some
                    total += value
            known[explained] = total
        return known[explained]

    most = {v: company(helps[v]) for v in variables if helps[v]}
    by_state: dict[int, float] = {}
    for (one, other), gain in problem.together.items():
        v, w = problem.state_variable[one], problem.state_variable[other]
        if v in here and w in here:
            left = np.minimum(gain[columns], -np.log(rows[one, columns]))
            odds = float(np.log(problem.probability[other] / problem.healthy[w]))
            total = odds + float(left.sum())
            total += company(helps[v] | helps[w] | frozenset(np.nonzero(left > EXPLAINS)[0].tolist()))
            by_state[one] = max(by_state.get(one, 0.0), total)
    for v, value in most.items():
        beside[first[v] : first[v + 1]] = np.exp(min(value, MOST_GAIN))
    for state, value in by_state.items():
        beside[state] = max(float(beside[state]), float(np.exp(min(value, MOST_GAIN))))


def _in_twos(problem: Problem, variable: int) -> bool:
    """Whether what a variable gains beside a partner is known."""
    span = range(problem.first[variable], problem.first[variable + 1])
    return any(one in span for one, _ in problem.together)


def _forced(problem: Problem, variable: int, variables: Sequence[int]) -> set[int]:
    """Findings that a variable is looked at for although it may not change them by itself."""
    found: set[int] = set()
    for s in range(problem.first[variable], problem.first[variable + 1]):
        if problem.least_share <= 0.0:
            found |= problem.touches[s]
        for t in problem.pairs.get(s, frozenset()):
            if problem.state_variable[t] in variables:
                found |= problem.touches[s] & problem.touches[t]
    return found
