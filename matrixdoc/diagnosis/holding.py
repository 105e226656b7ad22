"""The smallest set of switches to hold that tells suspects apart by what the scan reads then.

Which set that is depends on the machine: with weak idle columns three corners of a rectangle bring a bad
diode to light by reading the fourth; with hard-driven ones a closed switch of the same row goes missing
instead. Nothing of this is listed: candidate sets are read off the chart (the suspects' own places, their
neighbours along the lines, the corners of rectangles), the circuit says what each suspect reads with
each, and the smallest set that leaves the fewest suspects together wins.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

from matrixdoc.checks.generate import CheckGenerator
from matrixdoc.checks.predictor import Predictor
from matrixdoc.checks.situation import Look, Outcome, Situation
from matrixdoc.definition.wiring import Cell, Matrix
from matrixdoc.faults.priors import Fault

MOST_PLACES = 4
"""Places of suspects that candidate sets are built around."""
MOST_HELD, MOST_SETS = 4, 600
"""Switches that are held at most, and sets of one size that are tried at most (nearest places first)."""

Hold = tuple[str, ...]
Hypothesis = tuple[Fault, ...]


@dataclass(frozen=True, slots=True)
class Separation:
    """A set of switches to hold, and what the scan reads with it under each suspect, in their order."""

    held: Hold
    readings: tuple[Outcome, ...]

    @property
    def groups(self) -> int:
        """How many different readings there are."""
        return len(set(self.readings))


def places_of(generator: CheckGenerator, suspects: Iterable[Hypothesis]) -> list[tuple[Matrix, Cell]]:
    """Cells of switch matrices that suspects belong to; of a line its first and last cell."""
    found: dict[str, tuple[Matrix, Cell]] = {}
    for fault in dict.fromkeys(f for suspect in suspects for f in suspect):
        own = generator.belongings(fault.part)
        cells = list(own.cells)
        for matrix, line in own.lines:
            along = [c for c in matrix.cells if line.key in (c.column, c.row)]
            cells.extend((matrix, c) for c in (along[:1] + along[-1:]))
        found.update((c.reference, (m, c)) for m, c in cells if m.device == "switch")
    return list(found.values())[:MOST_PLACES]


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
) -> Separation | None:
    """The smallest set of switches with which the scan tells most suspects apart.

    Args:
        generator: knows which part belongs to which place.
        predictor: answers for the machine.
        suspects: sets of faults, the likeliest first.
        around: places to build candidates around, beside the suspects' own.

    Returns:
        The set and its readings; None where no set tells any two of them apart.
    """
    places = [*around, *places_of(generator, suspects)][: MOST_PLACES + len(around)]
    usable = {
        r for r, s in generator.wiring.switches.items() if not s.normally_closed and (s.matrix or s.sensor)
    }
    # Modes of one part are mended alike: nobody holds more switches to tell them apart.
    enough = len({tuple(f.part for f in suspect) for suspect in suspects})
    best: Separation | None = None
    telling: list[Separation] = []
    for size in range(1, MOST_HELD + 1):
        holds = dict.fromkeys(
            hold
            for matrix, cell in places
            for hold in candidates(matrix, cell, size)
            if usable.issuperset(hold) and len(set(hold)) == size
        )
        holds.update(dict.fromkeys(hold for hold in _joined(telling, size) if usable.issuperset(hold)))
        found = _compared(predictor, list(holds)[:MOST_SETS], suspects)
        telling.extend(separation for separation in found if separation.groups > 1)
        for separation in found:
            if separation.groups > (best.groups if best is not None else 1):
                best = separation
        if best is not None and best.groups >= enough:
            return best
    return best


def _joined(telling: Sequence[Separation], size: int) -> Iterator[Hold]:
    """Two sets that tell different suspects apart, held together, where they share switches enough."""
    by_split: dict[tuple[int, ...], list[Separation]] = {}
    for separation in telling:
        split = tuple(separation.readings.index(reading) for reading in separation.readings)
        by_split.setdefault(split, []).append(separation)
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
    return [
        Separation(hold, tuple(predictor.predict(situation, look, suspect)[0][0] for suspect in suspects))
        for hold, situation in zip(holds, situations, strict=True)
    ]
