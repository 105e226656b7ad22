"""A glance at a scan: only the phases that bear on what was reported.

A fault that cannot have shown a report is told by the one column that the report is about, before the
whole scan is worked out for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from matrixdoc.checks.chart import CHART
from matrixdoc.checks.predictor import Predictor
from matrixdoc.checks.reads import Phase, Reads, Region
from matrixdoc.checks.situation import Look, Situation
from matrixdoc.faults.priors import Fault

READS = Look("reads")
WORTH_A_GLANCE = 3
"""With fewer columns joined by closed contacts the whole scan costs hardly more than a glance (measured)."""


@dataclass(frozen=True, slots=True)
class Asked:
    """Could these faults have shown this set of closed switches? ``about``: the switches whose columns
    are looked at.
    """

    situation: Situation
    faults: tuple[Fault, ...]
    seen: frozenset[str]
    about: frozenset[str]


@dataclass(frozen=True, slots=True)
class _Glimpse:
    """Regions and, for each, the phases to look at."""

    regions: tuple[tuple[Region, tuple[Phase, ...]], ...]


def worth_a_glance(predictor: Predictor, situation: Situation) -> bool:
    """Whether closed contacts join so many columns that the whole scan is much dearer than one of it."""
    reads = predictor.reads
    regions = reads.regions(*reads.pair(situation.held, ()))
    return max((len(region.columns) for region in regions), default=0) >= WORTH_A_GLANCE


@dataclass(frozen=True, slots=True)
class _Seen:
    """What reads in some phases: for sure, and perhaps."""

    closed: frozenset[str]
    perhaps: frozenset[str]


def cannot_show(predictor: Predictor, asked: Sequence[Asked]) -> list[bool]:
    """For each: whether the faults cannot have shown it, by what reads in the columns it is about.

    A switch that reads there for sure and was not seen, unless it reads with nothing pressed as well
    (people leave that out); or one that was seen and does not read. False is not said to be possible.
    """
    reads = predictor.reads
    if not asked:
        return []
    told: list[tuple[int, frozenset[Phase], _Glimpse, _Glimpse]] = []
    situations: list[tuple[Situation, Look, tuple[Fault, ...]]] = []
    for one in asked:
        situations += [(one.situation, READS, one.faults), (one.situation.at_rest(), READS, one.faults)]
    predictor.prepare_optos(situations)
    for number, one in enumerate(asked):
        phases = frozenset(reads.phase_of[switch] for switch in one.about if switch in reads.phase_of)
        if not phases or any(fault.part == CHART for fault in one.faults):
            continue
        pressed = _glimpse(predictor, one.situation, one.faults, phases)
        rest = _glimpse(predictor, one.situation.at_rest(), one.faults, phases)
        if pressed is not None and rest is not None:
            told.append((number, phases, pressed, rest))
    wanted = [
        request
        for _, _, *both in told
        for glimpse in both
        for region, phases in glimpse.regions
        for request in reads.requests(region, phases)
    ]
    predictor.points.solve(wanted)
    found = [False] * len(asked)
    for number, phases, pressed, rest in told:
        seen = frozenset(s for s in asked[number].seen if reads.phase_of.get(s, ("", "")) in phases)
        found[number] = _contradicts(_look(reads, pressed, phases), _look(reads, rest, phases), seen)
    return found


def _glimpse(
    predictor: Predictor, situation: Situation, faults: tuple[Fault, ...], phases: frozenset[Phase]
) -> _Glimpse | None:
    """What to solve to see these phases; None where the logic is dead and nothing reads."""
    reads = predictor.reads
    effects = predictor.effects(
        situation, faults if situation.altered else predictor.standing_for(READS, faults)
    )
    if predictor.brown_out.lives(effects) <= 0.0:
        return None
    rows = []
    for region in reads.regions(*reads.pair(situation.held, effects)):
        own = frozenset(region.columns)
        here = {phase if phase in own else None for phase in phases}
        rows.append((region, tuple(sorted(here, key=lambda phase: phase or ("", "")))))
    return _Glimpse(tuple(rows))


def _look(reads: Reads, glimpse: _Glimpse, phases: frozenset[Phase]) -> _Seen:
    closed: set[str] = set()
    perhaps: set[str] = set()
    for region, some in glimpse.regions:
        points = reads.points.solve(reads.requests(region, some))
        read = reads.read(region, some, points)
        closed |= read.closed
        perhaps.update(switch for choices in read.undecided for _, found in choices for switch in found)
    mine = {s for s in closed | perhaps if reads.phase_of.get(s, ("", "")) in phases} - reads.hidden
    return _Seen(frozenset(closed & mine), frozenset(perhaps & mine))


def _contradicts(pressed: _Seen, rest: _Seen, seen: frozenset[str]) -> bool:
    at_rest = rest.closed | rest.perhaps
    return bool(pressed.closed - seen - at_rest) or bool(seen - pressed.closed - pressed.perhaps - at_rest)
