"""What is kept between operating points: forms reduced, and distinct circuits solved."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from matrixdoc.circuit.forms import Form, Law
from matrixdoc.circuit.newton import Array, Problem, Shape, Solution, solve
from matrixdoc.circuit.restoring import Points, Template, template_of

MOST_FORMS = 4000
"""More reduced forms than this are not kept: some 40 MB."""


@dataclass(slots=True)
class Solver:
    """Solutions already found, by circuit; pass one along to keep them between calls.

    ``capacity`` bounds how many are kept: when it is passed, all but the newest half are dropped.
    ``asked`` and ``solved`` count distinct circuits per call, and those that had to be solved.
    """

    capacity: int = 100_000
    solutions: dict[Problem, Solution] = field(default_factory=dict)
    asked: int = 0
    solved: int = 0
    _templates: dict[tuple[Form, bool], Template] = field(default_factory=dict)
    _shapes: dict[tuple[int, tuple[Law, ...]], Shape] = field(default_factory=dict)

    def template(self, form: Form, *, simplify: bool = True) -> Template:
        """The reduced form, with one shape for equal laws."""
        found = self._templates.get((form, simplify))
        if found is None:
            if len(self._templates) >= MOST_FORMS:
                self._templates.clear()
                self._shapes.clear()
                self.solutions.clear()
            found = template_of(form, self._shape, simplify=simplify)
            self._templates[form, simplify] = found
        return found

    def _shape(self, nets: int, laws: tuple[Law, ...]) -> Shape:
        found = self._shapes.get((nets, laws))
        if found is None:
            found = self._shapes[nets, laws] = Shape.of(nets, laws)
        return found

    def points(self, batches: Sequence[Batch]) -> None:
        """Work out the points of batches; each distinct circuit is solved once."""
        numbers: dict[Problem, int] = {}
        asked: list[tuple[Array, list[list[int]]]] = []
        for batch in batches:
            ohms = batch.template.ohms(batch.rows)
            found = batch.template.problems(ohms)
            asked.append(
                (ohms, [[numbers.setdefault(problem, len(numbers)) for problem in some] for some in found])
            )
        solutions = self._solve(list(numbers))
        for batch, (ohms, pieces) in zip(batches, asked, strict=True):
            batch.points = batch.template.points(ohms, [[solutions[n] for n in piece] for piece in pieces])

    def _solve(self, problems: Sequence[Problem]) -> list[Solution]:
        """Solutions of distinct problems, in order; new ones are solved in batches."""
        known = [self.solutions.get(problem) for problem in problems]
        fresh = [problem for problem, found in zip(problems, known, strict=True) if found is None]
        self.asked += len(problems)
        self.solved += len(fresh)
        new = solve(fresh)
        self.solutions.update(zip(fresh, new, strict=True))
        if len(self.solutions) > self.capacity:
            for problem in list(self.solutions)[: len(self.solutions) - self.capacity // 2]:
                del self.solutions[problem]
        rest = iter(new)
        return [next(rest) if found is None else found for found in known]


NO_POINTS = Points([], [], [], [])


@dataclass(slots=True)
class Batch:
    """Islands of one form: the ohms of their branches, a row each, and later their points."""

    template: Template
    rows: list[list[float]] = field(default_factory=list)
    points: Points = NO_POINTS

    def add(self, ohms: list[float]) -> int:
        """The number of a new row."""
        self.rows.append(ohms)
        return len(self.rows) - 1
