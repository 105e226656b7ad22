"""Posterior by plain enumeration of all sets of faults, written apart from the package."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import product

from matrixdoc.diagnosis.branches import State, Variable
from matrixdoc.faults.priors import Fault

LikelihoodOf = Callable[[int, tuple[Fault, ...]], float]


@dataclass
class World:
    """One set of faults with prior times likelihood."""

    faults: frozenset[Fault]
    weight: float


@dataclass
class Enumerated:
    """Everything that can be said by counting worlds."""

    worlds: list[World]
    evidence: float

    def probability(self, there: Iterable[Fault], gone: Iterable[Fault] = ()) -> float:
        """P(all of ``there`` and none of ``gone`` | findings)."""
        wanted, unwanted = frozenset(there), frozenset(gone)
        return (
            sum(w.weight for w in self.worlds if wanted <= w.faults and not unwanted & w.faults)
            / self.evidence
        )


def variable(*states: tuple[str, float, bool], name: str) -> Variable:
    """A variable of (mode, odds, opening) states."""
    made = []
    for mode, odds, opening in states:
        fault = Fault(name, mode)
        made.append(State(fault, odds, ((fault, odds),), opening=opening))
    return Variable(tuple(made))


def enumerate_worlds(variables: Sequence[Variable], findings: int, likelihood: LikelihoodOf) -> Enumerated:
    """All sets, at most one state a variable."""
    worlds = []
    choices = []
    for some in variables:
        total = 1.0 + sum(s.odds for s in some.states)
        choices.append([(None, 1.0 / total), *((s.fault, s.odds / total) for s in some.states)])
    for picked in product(*choices):
        weight = 1.0
        for _, p in picked:
            weight *= p
        faults = tuple(sorted(f for f, _ in picked if f is not None))
        for f in range(findings):
            weight *= likelihood(f, faults)
        worlds.append(World(frozenset(faults), weight))
    return Enumerated(worlds, sum(w.weight for w in worlds))
