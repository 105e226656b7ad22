"""The smallest set of switches to hold that tells suspects apart by what the scan reads then.

Which set that is depends on the machine: with weak idle columns three corners of a rectangle bring a bad
diode to light by reading the fourth; with hard-driven ones a closed switch of the same row goes missing
instead. Nothing of this is listed: candidate sets are read off the chart (the suspects' own places, their
neighbours along the lines, the corners of rectangles; every set where there are few), the circuit says
what each suspect reads with each, and the smallest set that leaves the fewest suspects together wins. Where
that is not enough and somebody waits for more, sets that tell different suspects apart are put together.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, zip_longest
from math import comb

from matrixdoc.checks.generate import CheckGenerator
from matrixdoc.checks.prediction import Prediction
from matrixdoc.checks.predictor import Predictor
from matrixdoc.checks.situation import Look, Outcome, Situation
from matrixdoc.definition.wiring import Cell, Matrix
from matrixdoc.faults.priors import Fault


@dataclass(frozen=True, slots=True)
class Limits:
    """How far a search goes.

    ``places``: places of suspects that candidate sets are built around. ``held``: switches of such a
    set at most. ``sets``: sets of one size that are tried at most; where a size has no more than that,
    every set of the machine's switches is tried. ``grown``: switches at most of sets that are put
    together from smaller ones that told something (0: none are).
    """

    places: int = 4
    held: int = 4
    sets: int = 600
    grown: int = 0


QUICK = Limits(places=2, held=3, sets=100)
"""Among the other checks, for somebody who waits for them."""
THOROUGH = Limits(places=8, held=4, sets=2100, grown=8)
"""For a person who asked: every pair of an 8x8 matrix, and sets that a person can still hold with clips."""
_STEPS, _WIDTH, _OF_ONE_SPLIT = 6, 4, 24
"""Of growing: rounds, sets that are grown on in each, smaller sets joined that tell the same apart."""

Hold = tuple[str, ...]
Hypothesis = tuple[Fault, ...]


SAME = 0.1
"""Two suspects are told apart by a set where they read the same with less probability than this."""


@dataclass(frozen=True, slots=True)
class Separation:
    """A set of switches to hold, and what the scan most probably reads with it under each suspect, in
    their order. ``split``: for each suspect the position of the first that it is not told apart from (a level
    beside a threshold may be read either way: such a reading tells nothing apart).
    """

    held: Hold
    readings: tuple[Outcome, ...]
    split: tuple[int, ...]

    @property
    def groups(self) -> int:
        """How many groups of suspects are told apart."""
        return len(set(self.split))


@dataclass(frozen=True, slots=True)
class Search:
    """What a search found, and what it looked at.

    ``tried[k]`` sets of ``k + 1`` switches were tried; of the sizes in ``complete`` these were all sets
    that the ``usable`` switches of the machine allow. ``grown`` larger sets were put together.
    """

    best: Separation | None
    usable: int
    tried: tuple[int, ...]
    complete: frozenset[int]
    grown: int


def places_of(
    generator: CheckGenerator, suspects: Iterable[Hypothesis], most: int
) -> list[tuple[Matrix, Cell]]:
    """Cells of switch matrices that suspects belong to; of a line its first and last cell."""
    found: dict[str, tuple[Matrix, Cell]] = {}
    for fault in dict.fromkeys(f for suspect in suspects for f in suspect):
        own = generator.belongings(fault.part)
        cells = list(own.cells)
        for matrix, line in own.lines:
            along = [c for c in matrix.cells if line.key in (c.column, c.row)]
            cells.extend((matrix, c) for c in (along[:1] + along[-1:]))
        found.update((c.reference, (m, c)) for m, c in cells if m.device == "switch")
    return list(found.values())[:most]


def candidates(matrix: Matrix, cell: Cell, size: int) -> Iterator[tuple[str, ...]]:
    """Sets of ``size`` switches around a place: along its lines, and corners of its rectangles."""
    column = [c.reference for c in matrix.cells if c.column == cell.column]
    row = [c.reference for c in matrix.cells if c.row == cell.row]
    if size == 1:
        yield from ((reference,) for reference in dict.fromkeys((cell.reference, *column, *row)))
    elif size == 2:
        for other in dict.fromkeys((*column, *row)):
            if other != cell.reference:
                yield tuple(sorted((cell.reference, other)))
    elif size > 2:
        yield from _corners(matrix, cell, size)


def _corners(matrix: Matrix, cell: Cell, size: int) -> Iterator[tuple[str, ...]]:
    """Three or four corners of every rectangle that the place is a corner of."""
    place = {(c.column, c.row): c.reference for c in matrix.cells}
    for other in matrix.cells:
        if other.column == cell.column or other.row == cell.row:
            continue
        near, across = place.get((cell.column, other.row)), place.get((other.column, cell.row))
        corners = [cell.reference, other.reference, *(c for c in (near, across) if c)]
        yield from (tuple(sorted(some)) for some in combinations(corners, size))


def smallest_hold(
    generator: CheckGenerator,
    predictor: Predictor,
    suspects: Sequence[Hypothesis],
    around: Sequence[tuple[Matrix, Cell]] = (),
    limits: Limits | None = None,
) -> Separation | None:
    """The smallest set of switches with which the scan tells most suspects apart: see :func:`search_holds`.

    Returns:
        The set and its readings; None where no set that was tried tells any two of them apart.
    """
    return search_holds(generator, predictor, suspects, limits or Limits(), around).best


def search_holds(
    generator: CheckGenerator,
    predictor: Predictor,
    suspects: Sequence[Hypothesis],
    limits: Limits,
    around: Sequence[tuple[Matrix, Cell]] = (),
) -> Search:
    """Search the smallest set of switches with which the scan tells most suspects apart.

    Args:
        generator: knows which part belongs to which place.
        predictor: answers for the machine.
        suspects: sets of faults, the likeliest first.
        limits: how far to go.
        around: places to build candidates around, beside the suspects' own.

    Returns:
        The best set, smallest first, and what was tried.
    """
    places = [*around, *places_of(generator, suspects, limits.places)][: limits.places + len(around)]
    usable = sorted(
        r for r, s in generator.wiring.switches.items() if not s.normally_closed and (s.matrix or s.sensor)
    )
    # Modes of one part are mended alike: nobody holds more switches to tell them apart.
    enough = len({tuple(f.part for f in suspect) for suspect in suspects})
    best: Separation | None = None
    telling: list[Separation] = []
    tried: list[int] = []
    complete: set[int] = set()
    for size in range(1, limits.held + 1):
        holds = _of_size(places, usable, telling, size)
        if comb(len(usable), size) <= limits.sets:
            holds.update(dict.fromkeys(combinations(usable, size)))
            complete.add(size)
        found = _compared(predictor, list(holds)[: limits.sets], suspects)
        tried.append(len(found))
        telling.extend(separation for separation in found if separation.groups > 1)
        best = max([*([best] if best else []), *telling], key=_worth, default=None)
        if best is not None and best.groups >= enough:
            return Search(best, len(usable), tuple(tried), frozenset(complete), 0)
    best, grown = _grown(predictor, suspects, best, telling, usable, enough, limits)
    return Search(best, len(usable), tuple(tried), frozenset(complete), grown)


def _worth(separation: Separation) -> tuple[int, int]:
    """More groups first, then fewer switches."""
    return separation.groups, -len(separation.held)


def _of_size(
    places: Sequence[tuple[Matrix, Cell]], usable: Sequence[str], telling: Sequence[Separation], size: int
) -> dict[Hold, None]:
    """Candidate sets of one size: around the places, and joined from smaller ones."""
    allowed = set(usable)
    # In turn around each place, so that a limit leaves none of them out altogether.
    around = zip_longest(*(candidates(matrix, cell, size) for matrix, cell in places))
    holds = dict.fromkeys(hold for turn in around for hold in turn if hold is not None)
    holds.update(dict.fromkeys(_joined(telling, size)))
    return {hold: None for hold in holds if allowed.issuperset(hold) and len(set(hold)) == size}


def _grown(
    predictor: Predictor,
    suspects: Sequence[Hypothesis],
    best: Separation | None,
    telling: Sequence[Separation],
    usable: Sequence[str],
    enough: int,
    limits: Limits,
) -> tuple[Separation | None, int]:
    """Larger sets, grown from the best ones by what tells something else, as long as that helps.

    Returns the best set and how many were tried.
    """
    if best is None or limits.grown <= limits.held:
        return best, 0
    pieces = [separation.held for separations in _by_split(telling).values() for separation in separations]
    pieces.extend((switch,) for switch in usable)
    front = sorted(telling, key=_worth, reverse=True)[:_WIDTH]
    known: dict[Hold, Separation] = {}
    for _ in range(_STEPS):
        joined = {tuple(sorted({*one.held, *piece})) for one in front for piece in pieces}
        fresh = sorted(hold for hold in joined if hold not in known and len(hold) <= limits.grown)
        found = _compared(predictor, fresh[: limits.sets], suspects)
        known |= {separation.held: separation for separation in found}
        better = max(found, key=_worth, default=best)
        if better.groups <= best.groups:
            break
        best = better
        front = sorted(found, key=_worth, reverse=True)[:_WIDTH]
        if best.groups >= enough:
            break
    best, dropped = _thinned(predictor, suspects, best)
    return best, len(known) + dropped


def _thinned(
    predictor: Predictor, suspects: Sequence[Hypothesis], best: Separation
) -> tuple[Separation, int]:
    """Without the switches that are not needed to tell as many apart; and how many sets were tried."""
    tried = 0
    while len(best.held) > 1:
        fewer = [tuple(s for s in best.held if s != one) for one in best.held]
        found = _compared(predictor, fewer, suspects)
        tried += len(found)
        smaller = max(found, key=_worth)
        if smaller.groups < best.groups:
            break
        best = smaller
    return best, tried


def _by_split(telling: Sequence[Separation]) -> dict[tuple[int, ...], list[Separation]]:
    """The smallest sets for each way in which suspects are told apart."""
    by_split: dict[tuple[int, ...], list[Separation]] = {}
    for separation in sorted(telling, key=lambda one: len(one.held)):
        same = by_split.setdefault(separation.split, [])
        if len(same) < _OF_ONE_SPLIT:
            same.append(separation)
    return by_split


def _joined(telling: Sequence[Separation], size: int) -> Iterator[Hold]:
    """Two sets that tell different suspects apart, held together, where they share switches enough."""
    by_split: dict[tuple[int, ...], list[Separation]] = {}
    for separation in telling:
        by_split.setdefault(separation.split, []).append(separation)
    for one, two in combinations(by_split.values(), 2):
        for first in one:
            for second in two:
                both = {*first.held, *second.held}
                if len(both) == size:
                    yield tuple(sorted(both))


def _compared(
    predictor: Predictor, holds: Sequence[Hold], suspects: Sequence[Hypothesis]
) -> list[Separation]:
    """What the scan reads with each set under each suspect."""
    look = Look("reads")
    situations = [Situation(held=hold) for hold in holds]
    predictor.prepare([(situation, look, suspect) for situation in situations for suspect in suspects])
    found = []
    for hold, situation in zip(holds, situations, strict=True):
        predictions = [predictor.predict(situation, look, suspect) for suspect in suspects]
        found.append(Separation(hold, tuple(p[0][0] for p in predictions), _split(predictions)))
    return found


def _split(predictions: Sequence[Prediction]) -> tuple[int, ...]:
    """For each prediction the position of the first one that it hangs together with."""
    split = list(range(len(predictions)))
    for one, two in combinations(range(len(predictions)), 2):
        if split[one] != split[two] and _overlap(predictions[one], predictions[two]) >= SAME:
            first, second = sorted((split[one], split[two]))
            split = [first if group == second else group for group in split]
    return tuple(split)


def _overlap(one: Prediction, two: Prediction) -> float:
    """Probability with which two predictions show the same."""
    if one is two:
        return 1.0
    other = dict(two)
    return sum(min(p, other.get(outcome, 0.0)) for outcome, p in one)
