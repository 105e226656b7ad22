"""The posterior over sets of faults: exact where the circuits factorise, bounded elsewhere.

A hypothesis is a set of faults, at most one mode per part; parts fail independently. The sum over
all sets is taken by conditioning: pick the variable that touches most of the findings, sum over
its states, and in each branch drop every variable that can no longer change any finding (its
states sum to one) and split the rest into components that share no finding (their sums multiply).
So any number of faults in separate circuits is summed exactly, and faults that interact are
conditioned on together. Branches below ``least_share`` of the whole are cut and their mass is
added to ``discarded``; at 0 the sum is complete. Where all faults are opens that act alike, the sum
needs no search: ``opens.py`` takes it exactly, up to a stated width.

This is recursive conditioning (A. Darwiche, "Recursive conditioning", Artificial Intelligence 126
(2001) 5-41) with evidence-driven relevance; from memory, and checked by enumeration in the tests.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from matrixdoc.diagnosis.branches import (
    SAME,
    Array,
    Indices,
    LikelihoodOf,
    Problem,
    Variable,
    rows_beside,
    set_up,
    worths,
)
from matrixdoc.diagnosis.opens import opens_posterior
from matrixdoc.faults.priors import Fault

_NOTHING: Mapping[tuple[Fault, Fault], Mapping[int, float]] = {}

TOP_SETS = 40
PATIENCE = 1000
"""After this many branches what is far behind is cut at once and no longer looked at again."""
CUT_BESIDE = 1.5
"""Room that a cut fault's own prior gets in the bound: its findings may raise it a little above."""


@dataclass(frozen=True)
class Posterior:
    """``marginals``: probability of each fault given the findings; that of a merged open is divided
    among its members in the ratio of their odds. ``sets``: the most probable sets
    of faults that matter to the findings, with their probabilities, best first (faults that cannot
    change any finding, given the set, are summed out). ``log_evidence``: ln of P(findings), up to
    what was discarded. ``discarded``: bound on what was cut, as a share of the whole.
    """

    marginals: Mapping[Fault, float]
    sets: tuple[tuple[frozenset[Fault], float], ...]
    log_evidence: float
    discarded: float
    nodes: int


@dataclass
class _Sum:
    """A partial sum: mass, per-state mass, best sets, discarded mass (all with the same scale)."""

    mass: float
    states: Array
    sets: list[tuple[float, tuple[int, ...]]]
    discarded: float = 0.0


def _components(
    variables: Sequence[int], relevant: Mapping[int, Indices], findings: Sequence[int]
) -> list[tuple[list[int], list[int]]]:
    """Split variables and findings into components that share no finding."""
    parent = {f: f for f in findings}

    def find(f: int) -> int:
        while parent[f] != f:
            parent[f] = parent[parent[f]]
            f = parent[f]
        return f

    for v in variables:
        touched = [int(f) for f in relevant[v]]
        for f in touched[1:]:
            parent[find(f)] = find(touched[0])
    members: dict[int, tuple[list[int], list[int]]] = {}
    for f in findings:
        members.setdefault(find(f), ([], []))[1].append(f)
    for v in variables:
        members[find(int(relevant[v][0]))][0].append(v)
    return list(members.values())


def _merge_sets(
    one: list[tuple[float, tuple[int, ...]]], two: list[tuple[float, tuple[int, ...]]]
) -> list[tuple[float, tuple[int, ...]]]:
    """The best products of two lists of (mass, states)."""
    if len(one) == 1 and one[0][1] == ():
        return [(one[0][0] * m, s) for m, s in two]
    if len(two) == 1 and two[0][1] == ():
        return [(two[0][0] * m, s) for m, s in one]
    products = [(a * b, s + t) for a, s in one for b, t in two]
    products.sort(key=lambda x: (-x[0], x[1]))
    return products[:TOP_SETS]


def _sum(
    problem: Problem,
    assigned: tuple[int, ...],
    base: Array,
    rows: Array,
    variables: Sequence[int],
    findings: Sequence[int],
    weight: float,
) -> _Sum:
    """Sum over all states of ``variables``, of probability times the likelihood of ``findings``.

    ``weight`` is what the branch is worth relative to the whole, for cutting.
    """
    problem.nodes += 1
    first = problem.first
    exhaustive = problem.least_share <= 0.0
    log_base = np.log(base[np.array(findings, dtype=np.intp)])
    seen = worths(problem, base, rows, variables, findings)
    prior, alone, relevant, worth = seen.prior, seen.alone, seen.relevant, seen.worth
    # A variable is cut when some other one explains each of its findings far better. One that may
    # catch up where a branch explains some of them is only put aside, and looked at again there.
    best_of = dict.fromkeys(findings, 1.0)
    for v, touched in relevant.items():
        for f in touched:
            best_of[int(f)] = max(best_of[int(f)], worth[v])
    survivors: list[int] = []
    behind: list[int] = []
    for v, touched in relevant.items():
        limit = problem.least_share * min(best_of[int(f)] for f in touched)
        (survivors if exhaustive or worth[v] * weight >= limit else behind).append(v)
    waiting = _may_catch_up(problem, base, rows, behind, survivors, relevant, weight)
    result = _Sum(1.0, prior.copy(), [(1.0, ())])
    parts: list[_Sum] = []
    branched: set[int] = set()
    for some_variables, some_findings in _components([*survivors, *waiting], relevant, findings):
        own = [v for v in some_variables if v not in waiting]
        if not own and some_variables:
            some_variables = []
        branched.update(some_variables)
        parts.append(
            _component(
                problem,
                assigned,
                base,
                rows,
                own,
                some_findings,
                relevant,
                worth,
                seen.beside,
                weight,
                [v for v in some_variables if v in waiting],
            )
        )
    discarded_share = 0.0
    for v in relevant:
        if v in branched:
            alone[first[v] : first[v + 1]] = 0.0
        else:
            discarded_share += worth[v]
        if v not in survivors:
            problem.cut = max(problem.cut, 1.0 - float(problem.healthy[v]))
    mass = 1.0
    sets: list[tuple[float, tuple[int, ...]]] = [(1.0, ())]
    discarded_relative = 0.0
    states = prior.copy()
    for part in parts:
        if part.mass <= 0.0:
            continue
        mass *= part.mass
        states += part.states / part.mass
        discarded_relative += part.discarded / part.mass
        sets = _merge_sets(sets, part.sets)
    result.mass = mass
    # What was cut would have added its own share to the healthy term, no more.
    constant = float(np.exp(log_base.sum()))
    result.states = states * mass + alone * constant
    result.sets = sets
    result.discarded = discarded_relative * mass + discarded_share * constant
    return result


def _may_catch_up(
    problem: Problem,
    base: Array,
    rows: Array,
    behind: Sequence[int],
    survivors: Sequence[int],
    relevant: Mapping[int, Indices],
    weight: float,
) -> list[int]:
    """Those of the variables ``behind`` that can matter in a branch which explains some of their
    findings: opens that would be worth enough if nothing spoke against them that such a branch can
    explain.
    """
    if problem.nodes > problem.patience:
        return []
    explained = {int(f) for v in survivors for f in relevant[v]}
    found = []
    for v in behind:
        span = slice(problem.first[v], problem.first[v + 1])
        if not problem.opening[span].all():
            continue
        touched = relevant[v]
        gain = np.log(rows[span][:, touched]) - np.log(base[touched])
        free = np.array([int(f) in explained for f in touched])
        most = np.where(free[None, :], np.maximum(gain, 0.0), gain).sum(axis=1)
        worth = float((problem.probability[span] * np.exp(most)).sum()) / float(problem.healthy[v])
        if worth * weight >= problem.least_share:
            found.append(v)
    return found


def _component(
    problem: Problem,
    assigned: tuple[int, ...],
    base: Array,
    rows: Array,
    variables: list[int],
    findings: list[int],
    relevant: Mapping[int, Indices],
    worth: Mapping[int, float],
    beside: Array,
    weight: float,
    waiting: list[int],
) -> _Sum:
    """One component: sum over the variable that touches most findings, one branch a state.

    Variables in ``waiting`` are only handed on.

    Branches are opened one variable after the other ("this one faulty, the earlier ones healthy"),
    so that no set of faults is counted twice. When the rest falls apart it is split again.
    """
    size = len(problem.state_of)
    constant = float(np.prod(base[findings]))
    if not variables:
        return _Sum(constant, np.zeros(size), [(constant, ())])
    best = max(1.0, *(worth[v] for v in variables))
    order = sorted(variables, key=lambda v: (-len(relevant[v]), -worth[v], v))
    chosen = order[0]
    rest = [*(v for v in variables if v != chosen), *waiting]
    best_left = max(1.0, max((worth[v] for v in rest), default=1.0))
    total = _Sum(0.0, np.zeros(size), [])
    for s in range(problem.first[chosen], problem.first[chosen + 1]):
        new_base = np.array(rows[s])
        gain = float(np.exp((np.log(new_base[findings]) - np.log(base[findings])).sum()))
        share = problem.probability[s] / problem.healthy[chosen] * gain
        branch_weight = weight * min(1.0, share * float(beside[s]) / best)
        outside = np.setdiff1d(np.arange(problem.findings), findings, assume_unique=True)
        new_base[outside] = base[outside]
        # Beside a fault that adds something an open would have to be solved for anew.
        here = rest if problem.opening[s] else [v for v in rest if v not in waiting]
        child_rows = rows_beside(problem, (*assigned, s), new_base, rows, base, here, s, branch_weight)
        part = _sum(problem, (*assigned, s), new_base, child_rows, here, findings, branch_weight)
        p = float(problem.probability[s])
        total.mass += p * part.mass
        total.states += p * part.states
        total.states[s] += p * part.mass
        total.discarded += p * part.discarded
        total.sets.extend((p * m, (s, *some)) for m, some in part.sets)
    part = _sum(problem, assigned, base, rows, rest, findings, weight * min(1.0, best_left / best))
    p = float(problem.healthy[chosen])
    total.mass += p * part.mass
    total.states += p * part.states
    total.discarded += p * part.discarded
    total.sets.extend((p * m, some) for m, some in part.sets)
    total.sets.sort(key=lambda x: (-x[0], x[1]))
    del total.sets[TOP_SETS:]
    return total


def _opens_alone(problem: Problem, base: Array, rows: Array) -> tuple[Array, float] | None:
    """Probability of each state and ln P(findings), exactly, where every state is an open, all opens
    that act on a finding change it alike, and the states of one variable act on the same findings.

    None where this is not so, where pairs act together, or where the network is too wide.
    """
    first, count = problem.first, len(problem.variables)
    if problem.least_share <= 0.0 or problem.pairs or not count or not problem.opening.all():
        return None
    acts = np.abs(rows - base) > SAME * np.maximum(rows, base)
    dead = np.where(acts.any(axis=0), np.where(acts, rows, 0.0).max(axis=0), base)
    alike = np.abs(rows - dead) <= SAME * dead
    leaders = np.array(first[:-1])
    if not (alike | ~acts).all() or not (acts == acts[leaders[problem.state_variable]]).all():
        return None
    found = opens_posterior(problem.healthy, acts[leaders], base, dead)
    if found is None:
        return None
    share = problem.probability / (1.0 - problem.healthy)[problem.state_variable]
    return share * found.marginals[problem.state_variable], found.log_evidence


def posterior(
    variables: Sequence[Variable],
    findings: int,
    likelihood: LikelihoodOf,
    touches: Callable[[Fault], frozenset[int]],
    *,
    prepare: Callable[[list[tuple[int, tuple[Fault, ...]]]], None] = lambda _: None,
    pairs: Iterable[tuple[Fault, Fault]] = (),
    together: Mapping[tuple[Fault, Fault], Mapping[int, float]] = _NOTHING,
    least_share: float = 1e-7,
) -> Posterior:
    """Sum over all sets of faults.

    Args:
        variables: independent variables; their states exclude each other.
        findings: number of findings.
        likelihood: P(finding i | exactly this set of faults), in (0, 1]; the tuple is sorted.
        touches: findings that a fault can change, alone or together with others.
        prepare: told in advance which likelihoods are about to be asked for, in batches.
        pairs: faults that matter only together, to be looked at although neither matters alone.
        together: of some pairs, for (one, other) and by finding: the natural logarithm of its likelihood
            under both over that under the first alone.
        least_share: see the module; 0 runs the search to the end.
    """
    problem = Problem(variables, likelihood, prepare, findings, [], {}, least_share)
    set_up(problem)
    size = len(problem.state_of)
    problem.touches = [touches(s.fault) for s in problem.state_of]
    problem.touch = np.zeros((size, findings), dtype=bool)
    for s, touched in enumerate(problem.touches):
        problem.touch[s, list(touched)] = True
    problem.opening = np.array([s.opening for s in problem.state_of], dtype=bool)
    index = {s.fault: i for i, s in enumerate(problem.state_of)}
    linked: dict[int, set[int]] = {}
    for one, two in pairs:
        if one in index and two in index:
            linked.setdefault(index[one], set()).add(index[two])
            linked.setdefault(index[two], set()).add(index[one])
    problem.pairs = {s: frozenset(t) for s, t in linked.items()}
    for (one, two), gain in together.items():
        if one in index and two in index:
            row = np.zeros(findings)
            row[list(gain)] = list(gain.values())
            problem.together[index[one], index[two]] = row
    asked: list[tuple[int, tuple[Fault, ...]]] = [(f, ()) for f in range(findings)]
    for state, touched in zip(problem.state_of, problem.touches, strict=True):
        asked.extend((f, (state.fault,)) for f in sorted(touched))
    prepare(asked)
    base = np.array([likelihood(f, ()) for f in range(findings)])
    rows = np.tile(base, (size, 1)) if size else np.zeros((0, findings))
    for s, touched in enumerate(problem.touches):
        for f in touched:
            rows[s, f] = likelihood(f, (problem.state_of[s].fault,))
    exact = _opens_alone(problem, base, rows)
    # Where the sum is exact already, the search only tells the most probable sets.
    problem.patience = PATIENCE if exact is None else 0
    total = _sum(problem, (), base, rows, list(range(len(variables))), list(range(findings)), 1.0)
    # A fault that was cut may still be there beside what explains its findings, as often as anywhere.
    left_out = float((total.discarded + problem.unsolved) / total.mass) + CUT_BESIDE * problem.cut
    discarded = min(1.0, left_out)
    shares, log_evidence = total.states / total.mass, float(np.log(total.mass))
    if exact is not None:
        (shares, log_evidence), discarded = exact, 0.0
    marginals: dict[Fault, float] = {}
    for s, state in enumerate(problem.state_of):
        share = float(shares[s])
        whole = sum(odds for _, odds in state.members)
        for fault, odds in state.members:
            marginals[fault] = share * odds / whole
    sets = tuple(
        (frozenset(problem.state_of[s].fault for s in some), m / total.mass) for m, some in total.sets
    )
    return Posterior(marginals, sets, log_evidence, discarded, problem.nodes)
