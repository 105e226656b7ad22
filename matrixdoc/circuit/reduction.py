"""Exact reduction of a small circuit; ``restoring.py`` finds again what was eliminated.

Nets that hang by one branch carry no current: they are at their neighbour's voltage. Nets with two
branches are passed through: two resistances, a resistance and a junction, or two equal junctions of
one direction become one branch. What is left is split at the boundaries, numbered canonically and
handed to the solver as :class:`~matrixdoc.circuit.newton.Problem` values.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from matrixdoc.circuit.elements import RawBranch
from matrixdoc.circuit.newton import BranchKey, Problem

WEAK_OHM = 1e6
"""A resistance of this much or more holds no net: leakage, or a voltmeter."""
NO_VOLTS = -1e9
"""Stands for an unknown net in the marks that nets are ordered by."""


class Hanging(NamedTuple):
    """A net without current: at the volts of ``other`` plus ``rise_v``."""

    net: int
    other: int
    rise_v: float
    weak: bool


class Passed(NamedTuple):
    """A net between two branches that became one; signs: its current in each piece's own direction.

    ``near`` is the end from which the net's volts are found, through ``ohm`` and ``drop_v``
    (falling from ``near`` with the current ``sign`` times that of ``branch``).
    """

    net: int
    branch: int
    pieces: tuple[tuple[int, float], tuple[int, float]]
    near: int
    sign: float
    ohm: float
    drop_v: float
    ends: tuple[tuple[int, float], ...]
    """Ends behind less than a megohm, and the sign of the net's volts over them that turns the
    junction on (0: no junction)."""


@dataclass(slots=True)
class Piece:
    """One independent part of the reduced circuit: how its numbers map to the problem's."""

    problem: Problem
    nets: tuple[int, ...]
    branches: tuple[tuple[int, float], ...]
    anchored: bool


@dataclass(slots=True)
class Reduced:
    """A reduced island: what to solve, and how to find the wanted volts and amperes from it."""

    wanted: tuple[int, ...]
    boundary: Mapping[int, float]
    branches: list[RawBranch]
    steps: list[Hanging | Passed]
    pieces: list[Piece]
    tags: dict[int, list[tuple[int, float]]]
    dead: set[int] = field(default_factory=set)


def reduce_island(
    branches: Sequence[tuple[RawBranch, int]],
    boundary: Mapping[int, float],
    wanted: Sequence[int],
    wanted_parts: Mapping[int, int],
    prefer: Sequence[int] = (),
    *,
    simplify: bool = True,
) -> Reduced:
    """Reduce the branches of an island.

    ``boundary``: net -> known volts. ``wanted_parts``: part -> its first net, the current into
    which is wanted. ``prefer``: nets to take as 0 V where nothing ties an island to a boundary
    (the black lead). ``simplify`` False keeps every net (for tests and decks).
    """
    rows = [branch for branch, _ in branches]
    touching: dict[int, list[int]] = {net: [] for net in wanted if net not in boundary}
    tags: dict[int, list[tuple[int, float]]] = {}
    needed: set[int] = set()
    for number, (branch, part) in enumerate(branches):
        a, b = branch.a, branch.b
        if a not in boundary:
            touching.setdefault(a, []).append(number)
        if b not in boundary:
            touching.setdefault(b, []).append(number)
        if part in wanted_parts:
            first = wanted_parts[part]
            if first in (a, b):
                tags.setdefault(part, []).append((number, 1.0 if a == first else -1.0))
                needed.add(number)
    state = _Work(rows, touching, boundary, set(wanted), needed)
    if simplify:
        state.run()
    reduced = Reduced(tuple(wanted), boundary, rows, state.steps, [], tags, state.dead)
    _split(state, reduced, prefer)
    return reduced


class _Work:
    """The only mutable thing: the circuit while it is being reduced."""

    def __init__(
        self,
        rows: list[RawBranch],
        touching: dict[int, list[int]],
        boundary: Mapping[int, float],
        required: set[int],
        needed: set[int],
    ) -> None:
        self.rows, self.touching, self.boundary = rows, touching, boundary
        self.required, self.needed = required, needed
        self.steps: list[Hanging | Passed] = []
        self.dead: set[int] = set()
        self.direct: set[int] = {
            number for number in needed if rows[number].a in boundary and rows[number].b in boundary
        }

    def run(self) -> None:
        touching, boundary = self.touching, self.boundary
        queue = [net for net, numbers in touching.items() if len(numbers) <= 2]
        for net in queue:
            numbers = touching.get(net)
            if numbers is None:
                continue
            if len(numbers) == 1:
                again = self._hanging(net, numbers[0])
            elif len(numbers) == 2:
                again = self._passed(net, numbers[0], numbers[1])
            elif not numbers and net not in self.required:
                del touching[net]
                continue
            else:
                continue
            queue.extend(other for other in again if other not in boundary and len(touching[other]) <= 2)

    def _hanging(self, net: int, number: int) -> tuple[int, ...]:
        row = self.rows[number]
        other, rise = (row.b, row.emf_v) if row.a == net else (row.a, -row.emf_v)
        if net in self.required:
            if row.saturation_a > 0.0:
                return ()  # what leaks through it decides: left to the solver
            self.steps.append(Hanging(net, other, rise, row.ohm >= WEAK_OHM))
            self.required.add(other)
        self.dead.add(number)
        del self.touching[net]
        if other in self.boundary:
            return ()
        self.touching[other].remove(number)
        return (other,)

    def _passed(self, net: int, n1: int, n2: int) -> tuple[int, ...]:
        rows = self.rows
        r1, r2 = rows[n1], rows[n2]
        o1, s1 = (r1.b, -1.0) if r1.a == net else (r1.a, 1.0)
        o2, s2 = (r2.b, 1.0) if r2.a == net else (r2.a, -1.0)
        emf = s1 * r1.emf_v + s2 * r2.emf_v
        wanted = net in self.required
        if o1 == o2:
            if emf == 0.0 and not wanted and not (r1.emf_v or r2.emf_v):
                self.dead.update((n1, n2))
                del self.touching[net]
                if o1 in self.boundary:
                    return ()
                numbers = self.touching[o1]
                numbers.remove(n1)
                numbers.remove(n2)
                return (o1,)
            return ()
        joined = _series(r1, r2, s1, s2)
        if joined is None or (wanted and r1.saturation_a and r2.saturation_a):
            return ()
        saturation, emission, turn = joined
        ends = (o1, o2) if turn > 0 else (o2, o1)
        new = len(rows)
        rows.append(RawBranch(ends[0], ends[1], r1.ohm + r2.ohm, saturation, emission, turn * emf))
        if wanted:
            self.needed.add(new)
            self.required.update((o1, o2))
            # Volts of the net from the end that only a resistance parts it from.
            if r1.saturation_a:
                near, sign, ohm, drop = o2, -turn, r2.ohm, -s2 * r2.emf_v
            else:
                near, sign, ohm, drop = o1, turn, r1.ohm, s1 * r1.emf_v
            holds = tuple(
                (end, on if row.saturation_a else 0.0)
                for end, row, on in ((o1, r1, -s1), (o2, r2, s2))
                if row.ohm < WEAK_OHM
            )
            pieces = ((n1, s1 * turn), (n2, s2 * turn))
            self.steps.append(Passed(net, new, pieces, near, sign, ohm, drop, holds))
        elif n1 in self.needed or n2 in self.needed:
            self.needed.add(new)
            pieces = ((n1, s1 * turn), (n2, s2 * turn))
            self.steps.append(Passed(-1, new, pieces, -1, 0.0, 0.0, 0.0, ()))
        self._replace(net, new, ((o1, n1), (o2, n2)))
        return (o1, o2)

    def _replace(self, net: int, new: int, olds: tuple[tuple[int, int], tuple[int, int]]) -> None:
        """Put a joined branch in the place of the two that met at ``net``."""
        del self.touching[net]
        outside = 0
        for other, old in olds:
            self.dead.add(old)
            if other in self.boundary:
                outside += 1
            else:
                numbers = self.touching[other]
                numbers[numbers.index(old)] = new
        if outside == 2 and new in self.needed:
            self.direct.add(new)


def _series(r1: RawBranch, r2: RawBranch, s1: float, s2: float) -> tuple[float, float, float] | None:
    """Saturation current, emission and direction of two branches in series, if they are one law.

    ``s1``, ``s2``: 1 where the branch runs along the way, -1 against it. Two junctions are one
    only if they are of one direction and saturation current: their emissions add up.
    """
    if r1.saturation_a and r2.saturation_a:
        if s1 != s2 or r1.saturation_a != r2.saturation_a:
            return None
        return r1.saturation_a, r1.emission + r2.emission, s1
    if r1.saturation_a:
        return r1.saturation_a, r1.emission, s1
    if r2.saturation_a:
        return r2.saturation_a, r2.emission, s2
    return 0.0, 1.0, 1.0


def _nano(ohm: float) -> float:
    """To a billionth: equal circuits must not differ by the order of their sums (``round`` is slower)."""
    return (ohm * 1e9 + 0.5) // 1.0 / 1e9


def _pico(volts: float) -> float:
    """To a million-millionth, and without a negative zero."""
    return (volts * 1e12 + 0.5) // 1.0 / 1e12 + 0.0 if volts else 0.0


def _split(state: _Work, reduced: Reduced, prefer: Sequence[int]) -> None:
    """Independent pieces that hold something required, each numbered canonically."""
    rows, touching, boundary = state.rows, state.touching, state.boundary
    for number in sorted(state.direct - state.dead):
        row = rows[number]
        emf = row.emf_v - boundary[row.a] + boundary[row.b]
        key: BranchKey = (0, 0, _nano(row.ohm), row.saturation_a, row.emission, _pico(emf))
        reduced.pieces.append(Piece(Problem(0, (key,)), (), ((number, 1.0),), anchored=True))
    seen: set[int] = set()
    starts = [net for net in touching if net in state.required]
    for number in state.needed - state.dead:
        starts.extend(net for net in (rows[number].a, rows[number].b) if net in touching)
    for start in starts:
        if start in seen:
            continue
        seen.add(start)
        members = [start]
        numbers: dict[int, None] = {}
        for net in members:
            for number in touching[net]:
                if number not in numbers:
                    numbers[number] = None
                    row = rows[number]
                    other = row.b if row.a == net else row.a
                    if other not in boundary and other not in seen:
                        seen.add(other)
                        members.append(other)
        reduced.pieces.append(_piece(rows, members, list(numbers), boundary, prefer))


def _piece(
    rows: list[RawBranch],
    members: list[int],
    numbers: list[int],
    boundary: Mapping[int, float],
    prefer: Sequence[int],
) -> Piece:
    anchored = any(rows[number].a in boundary or rows[number].b in boundary for number in numbers)
    if not anchored:
        # Nothing ties these nets to ground: one of them is called 0 V.
        zero = next((net for net in prefer if net in members), members[0])
        members = [net for net in members if net != zero]
        boundary = {zero: 0.0}
    if 1 < len(members) <= 6:
        members = _ordered(rows, members, numbers, boundary)
    local = {net: number for number, net in enumerate(members)}
    outside = len(members)
    keyed: list[tuple[BranchKey, int, float]] = []
    for number in numbers:
        a, b, ohm, saturation, emission, emf = rows[number]
        first, second = local.get(a, outside), local.get(b, outside)
        if first == outside:
            emf -= boundary[a]
        if second == outside:
            emf += boundary[b]
        sign = 1.0
        if saturation == 0.0:
            emission = 1.0
            if first > second:
                first, second, emf, sign = second, first, -emf, -1.0
        key = (first, second, _nano(ohm), saturation, emission, _pico(emf))
        keyed.append((key, number, sign))
    keyed.sort()
    problem = Problem(outside, tuple(key for key, _, _ in keyed))
    nets = tuple(members) if anchored else (*members, zero)
    return Piece(problem, nets, tuple((number, sign) for _, number, sign in keyed), anchored)


def _ordered(
    rows: list[RawBranch], members: list[int], numbers: list[int], boundary: Mapping[int, float]
) -> list[int]:
    """Nets in an order that depends on their branches, not on their names (ties keep theirs)."""
    marks: dict[int, list[tuple[float, float, float, float]]] = {net: [] for net in members}
    for number in numbers:
        a, b, ohm, saturation, _, emf = rows[number]
        ohm = _nano(ohm)
        if a in marks:
            outer = boundary.get(b, NO_VOLTS)
            marks[a].append((ohm, saturation, 1.0, outer + emf))
        if b in marks:
            outer = boundary.get(a, NO_VOLTS)
            marks[b].append((ohm, saturation, -1.0 if saturation else 1.0, outer - emf))
    for mark in marks.values():
        mark.sort()
    return sorted(members, key=lambda net: marks[net])
