"""From the solutions of reduced circuits back to the nets and parts that were asked for.

All islands of one form are taken at once: rows of ohms go in, rows of volts and amperes come out.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from matrixdoc.circuit.forms import Form, Law
from matrixdoc.circuit.newton import Array, Problem, Shape, Solution
from matrixdoc.circuit.reduction import Hanging, Passed, Reduced, reduce_form

WEAK_OHM = 1e6
"""A resistance of this much or more holds no net: leakage, or a voltmeter."""
OFF_V = -0.3
"""A junction with less than this across it is turned off and holds nothing."""

Places = NDArray[np.intp]


class Held(NamedTuple):
    """Places of the wanted nets that nothing holds; whether all are held by resistances alone."""

    floating: tuple[int, ...]
    firm: bool


class Points(NamedTuple):
    """Of islands of one form, a row each: volts of the wanted nets, amperes of the wanted parts."""

    volts: list[list[float]]
    amps: list[list[float]]
    held: list[Held]
    converged: list[bool]


class _Sums(NamedTuple):
    """Sums of columns ``of`` with signs, each from its start on, to the columns ``to``."""

    of: Places
    sign: Array
    starts: Places
    to: Places

    @staticmethod
    def written(terms: Sequence[tuple[int, int, float]]) -> _Sums:
        """From (to, of, sign), those to one column together."""
        starts = [n for n, term in enumerate(terms) if n == 0 or terms[n - 1][0] != term[0]]
        return _Sums(
            _places([of for _, of, _ in terms]),
            np.array([sign for *_, sign in terms], dtype=np.float64),
            _places(starts),
            _places([terms[n][0] for n in starts]),
        )


class _Ties(NamedTuple):
    """What may hold nets: from net to net, and whether it is a resistance; ``first``: its number."""

    first: int
    ends: tuple[tuple[int, int, bool], ...]


@dataclass(frozen=True, slots=True, eq=False)
class Template:
    """A form, reduced, with its way back as arrays.

    Rows of ohms: ``members`` (branches of the form) summed from ``starts``. Places of volts: the nets of
    the form, then its boundary. ``based``, ``rise``: the net that each net of ``stepped`` is found from
    and what it lies above it, less ``falls`` (amperes of a branch times the ohms ``fall_rows``).
    ``tags``: amperes of parts. ``ties``: what may hold nets, with its ohms ``tie_rows``.
    """

    form: Form
    members: Places
    starts: Places
    shapes: tuple[Shape, ...]
    nets: tuple[list[int], ...]
    rows: tuple[slice, ...]
    stepped: Places
    based: Places
    rise: Array
    falls: _Sums
    fall_rows: Places
    tags: _Sums
    tie_rows: Places
    tie_ends: tuple[Places, Places]
    tie_emf: Array
    tie_turn: Array
    ties: tuple[_Ties, ...]
    steps: tuple[_Ties, ...]
    memory: dict[bytes, Held] = field(default_factory=dict)

    def ohms(self, rows: Sequence[Sequence[float]]) -> Array:
        """Ohms of the reduced branches from those of the form's branches (islands, branches)."""
        table = np.array(rows, dtype=np.float64).reshape(len(rows), len(self.form.branches))
        if not self.starts.size:
            return np.zeros((len(rows), 0))
        return np.asarray(np.add.reduceat(table[:, self.members], self.starts, axis=1), dtype=np.float64)

    def problems(self, ohms: Array) -> list[list[Problem]]:
        """What to solve, piece by piece, a problem for each island."""
        found = []
        for shape, rows in zip(self.shapes, self.rows, strict=True):
            data = np.round(ohms[:, rows], 9).tobytes()
            width = 8 * len(shape.laws)
            found.append([Problem(shape, data[n * width : n * width + width]) for n in range(len(ohms))])
        return found

    def points(self, ohms: Array, solutions: Sequence[Sequence[Solution]]) -> Points:
        """Volts and amperes from the solutions of :meth:`problems`."""
        with np.errstate(all="ignore"):  # what did not converge may hold anything
            return self._points(ohms, solutions)

    def _points(self, ohms: Array, solutions: Sequence[Sequence[Solution]]) -> Points:
        count, form = len(ohms), self.form
        volts = np.zeros((count, form.nets + len(form.boundary)))
        volts[:, form.nets :] = form.boundary
        converged = [True] * count
        amps = np.zeros((count, sum(len(shape.laws) for shape in self.shapes)))
        for nets, rows, found in zip(self.nets, self.rows, solutions, strict=True):
            if nets:
                volts[:, nets] = np.array([solution.volts for solution in found])
            amps[:, rows] = np.array([solution.amps for solution in found])
            for number, solution in enumerate(found):
                if not solution.converged:
                    converged[number] = False
        if self.stepped.size:
            volts[:, self.stepped] = volts[:, self.based] + self.rise
        if self.fall_rows.size:
            falls = ohms[:, self.fall_rows] * amps[:, self.falls.of] * self.falls.sign
            volts[:, self.falls.to] -= np.add.reduceat(falls, self.falls.starts, axis=1)
        parts = np.zeros((count, len(form.tags)))
        if self.tags.of.size:
            flows = amps[:, self.tags.of] * self.tags.sign
            parts[:, self.tags.to] = np.add.reduceat(flows, self.tags.starts, axis=1)
        return Points(
            volts[:, list(form.wanted)].tolist(), parts.tolist(), self._held(ohms, volts), converged
        )

    def _held(self, ohms: Array, volts: Array) -> list[Held]:
        strong = ohms[:, self.tie_rows] < WEAK_OHM
        over = volts[:, self.tie_ends[0]] - volts[:, self.tie_ends[1]] - self.tie_emf
        data = (strong & (self.tie_turn * over > OFF_V)).tobytes()
        width = strong.shape[1]
        found = []
        for number in range(len(ohms)):
            ties = data[number * width : number * width + width]
            held = self.memory.get(ties)
            if held is None:
                held = self.memory[ties] = self._hold(ties)
            found.append(held)
        return found

    def _hold(self, on: bytes) -> Held:
        """What ties hold that are on: resistances tie to firm nets, junctions to held ones."""
        outside = range(self.form.nets, self.form.nets + len(self.form.boundary))
        held, firm = set(outside), set(outside)
        for first, ends in self.ties:
            here = [end for number, end in enumerate(ends, first) if on[number]]
            _grow(firm, [(a, b) for a, b, plain in here if plain])
            _grow(held, [(a, b) for a, b, _ in here])
        for first, ends in self.steps:
            for number, (net, other, plain) in enumerate(ends, first):
                if on[number] and other in held:
                    held.add(net)
                    if plain and other in firm:
                        firm.add(net)
        wanted = self.form.wanted
        floating = tuple([place for place, net in enumerate(wanted) if net not in held])
        return Held(floating, firm.issuperset(wanted))


def _grow(held: set[int], ties: list[tuple[int, int]]) -> None:
    """Take in whatever the ties join to what is held."""
    grown = bool(ties)
    while grown:
        grown = False
        for a, b in ties:
            if (a in held) != (b in held):
                held.update((a, b))
                grown = True


def template_of(
    form: Form, shape_of: Callable[[int, tuple[Law, ...]], Shape], *, simplify: bool = True
) -> Template:
    """Reduce a form and write its way back down; ``shape_of`` gives one shape for equal laws."""
    return _Writer(reduce_form(form, simplify=simplify)).template(shape_of)


class _From(NamedTuple):
    """Volts of a net: those of ``base`` plus ``rise``, less ``sign * ohms of row * amps`` of the terms."""

    base: int
    rise: float
    terms: tuple[tuple[int, int, float], ...] = ()


class _Writer:
    """Follows the steps of a reduction back, in terms of what the solver finds."""

    def __init__(self, reduced: Reduced) -> None:
        self.reduced, self.form = reduced, reduced.form
        self.rows: list[int] = [number for piece in reduced.pieces for number, _ in piece.branches]
        self.row_of = {number: row for row, number in enumerate(self.rows)}
        self.amp_of = {
            number: (row, sign)
            for row, (number, sign) in enumerate(
                branch for piece in reduced.pieces for branch in piece.branches
            )
        }
        self.volts: dict[int, _From] = {}
        self.ties: list[tuple[int, int, int, float, float]] = []

    def template(self, shape_of: Callable[[int, tuple[Law, ...]], Shape]) -> Template:
        reduced, form = self.reduced, self.form
        in_pieces: tuple[_Ties, ...] = ()
        if form.wanted:
            in_pieces = tuple([self._piece_ties(piece.branches) for piece in reduced.pieces])
        in_steps = tuple([self._step(step) for step in reversed(reduced.steps)])
        stepped = list(self.volts)
        terms = [(net, *term) for net, found in self.volts.items() for term in found.terms]
        tags = [
            (part, row, sign * turn)
            for part, branches in enumerate(form.tags)
            for number, sign in branches
            for row, turn in [self.amp_of.get(number, (-1, 0.0))]
            if row >= 0
        ]
        members, starts = self._members()
        slices, first = [], 0
        for piece in reduced.pieces:
            slices.append(slice(first, first + len(piece.branches)))
            first += len(piece.branches)
        return Template(
            form=form,
            members=members,
            starts=starts,
            shapes=tuple([shape_of(len(piece.nets), piece.laws) for piece in reduced.pieces]),
            nets=tuple([list(piece.nets) for piece in reduced.pieces]),
            rows=tuple(slices),
            stepped=_places(stepped),
            based=_places([self.volts[net].base for net in stepped]),
            rise=np.array([self.volts[net].rise for net in stepped], dtype=np.float64),
            falls=_Sums.written([(net, amp, sign) for net, _, amp, sign in terms]),
            fall_rows=_places([row for _, row, _, _ in terms]),
            tags=_Sums.written(tags),
            tie_rows=_places([tie[0] for tie in self.ties]),
            tie_ends=(_places([tie[1] for tie in self.ties]), _places([tie[2] for tie in self.ties])),
            tie_emf=np.array([tie[3] for tie in self.ties], dtype=np.float64),
            tie_turn=np.array([tie[4] for tie in self.ties], dtype=np.float64),
            ties=in_pieces,
            steps=in_steps,
        )

    def _place(self, net: int) -> int:
        """Place of a net in the rows of volts."""
        return net if net >= 0 else self.form.nets + ~net

    def _row(self, number: int) -> int:
        """Row of ohms of a branch; a new one where it has none."""
        row = self.row_of.get(number)
        if row is None:
            row = self.row_of[number] = len(self.rows)
            self.rows.append(number)
        return row

    def _members(self) -> tuple[Places, Places]:
        own, joined = len(self.form.branches), self.reduced.joined
        members: list[int] = []
        starts: list[int] = []
        for number in self.rows:
            starts.append(len(members))
            parts = [number]
            for one in parts:
                if one < own:
                    members.append(one)
                else:
                    parts.extend(joined[one - own])
        return _places(members), _places(starts)

    def _tie(self, branch: int, net: int, other: int, emf: float, turn: float) -> tuple[int, int, bool]:
        a, b = self._place(net), self._place(other)
        self.ties.append((self._row(branch), a, b, emf, turn))
        return a, b, turn == 0.0

    def _piece_ties(self, branches: Sequence[tuple[int, float]]) -> _Ties:
        first, ends = len(self.ties), []
        for number, _ in branches:
            a, b, saturation, _, emf = self.reduced.branches[number]
            ends.append(self._tie(number, a, b, emf, 1.0 if saturation else 0.0))
        return _Ties(first, tuple(ends))

    def _step(self, step: Hanging | Passed) -> _Ties:
        """Write down where the volts of a step's net come from, and what may hold it."""
        if isinstance(step, Hanging):
            found = self._found(step.other)
            self.volts[step.net] = found._replace(rise=found.rise + step.rise_v)
            first = len(self.ties)
            return _Ties(first, (self._tie(step.branch, step.net, step.other, 0.0, 0.0),))
        flow = self.amp_of.get(step.branch)  # None: dropped later, it hangs: no current
        if flow is not None:
            for number, sign in step.pieces:
                self.amp_of[number] = (flow[0], sign * flow[1])
        if step.net >= 0:
            found = self._found(step.near)
            terms = found.terms
            if flow is not None:
                terms = (*terms, (self._row(step.through), flow[0], step.sign * flow[1]))
            self.volts[step.net] = _From(found.base, found.rise - step.drop_v, terms)
        first = len(self.ties)
        return _Ties(
            first, tuple([self._tie(tie.branch, step.net, tie.other, 0.0, tie.turn) for tie in step.ties])
        )

    def _found(self, net: int) -> _From:
        return self.volts.get(net) or _From(self._place(net), 0.0)


def _places(numbers: Sequence[int]) -> Places:
    return np.array(numbers, dtype=np.intp)
