"""Exact reduction of a form; ``restoring.py`` finds again what was eliminated.

Nets that hang by one branch carry no current: they are at their neighbour's voltage. Nets with two
branches are passed through: two resistances, a resistance and a junction, or two equal junctions of
one direction become one branch. What is left is split at the boundaries into pieces. No step depends
on the ohms of a branch, so one reduction serves all islands of a form; a joined branch has the ohms
of those it was made of.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from matrixdoc.circuit.forms import Form, Law


class Tie(NamedTuple):
    """What may hold a net: ``branch`` to the net ``other``.

    ``turn``: the sign of the net's volts over the other's that turns the junction on; 0: no junction.
    """

    other: int
    branch: int
    turn: float


class Hanging(NamedTuple):
    """A net without current: at the volts of ``other`` plus ``rise_v``."""

    net: int
    other: int
    rise_v: float
    branch: int


class Passed(NamedTuple):
    """A net between two branches that became one; signs: its current in each piece's own direction.

    ``near`` is the end from which the net's volts are found, through the branch ``through`` and
    ``drop_v`` (falling from ``near`` with the current ``sign`` times that of ``branch``). ``net`` -1:
    only the currents are wanted.
    """

    net: int
    branch: int
    pieces: tuple[tuple[int, float], tuple[int, float]]
    near: int
    sign: float
    through: int
    drop_v: float
    ties: tuple[Tie, ...]


class Piece(NamedTuple):
    """One independent part of the reduced form.

    ``laws``: its branches, with nets numbered in it and the boundary, at 0 V, as one more; ``branches``:
    their numbers and signs in the form; ``nets``: in order, the boundary left out. ``zero``: the net that
    is called 0 V where nothing ties the piece to a boundary, else None.
    """

    laws: tuple[Law, ...]
    branches: tuple[tuple[int, float], ...]
    nets: tuple[int, ...]
    zero: int | None


@dataclass(frozen=True, slots=True)
class Reduced:
    """A reduced form: what to solve, and the steps back.

    ``branches``: those of the form, then the joined ones; ``joined``: the two of each of the latter.
    """

    form: Form
    branches: list[Law]
    joined: list[tuple[int, int]]
    steps: list[Hanging | Passed]
    pieces: list[Piece]


def reduce_form(form: Form, *, simplify: bool = True) -> Reduced:
    """Reduce a form; ``simplify`` False keeps every net (for tests and decks)."""
    state = _Work(form)
    if simplify:
        state.run()
    return Reduced(form, state.rows, state.joined, state.steps, _split(state))


class _Work:
    """The only mutable thing: the circuit while it is being reduced. Nets below 0 are boundaries."""

    def __init__(self, form: Form) -> None:
        self.form = form
        self.rows = list(form.branches)
        self.joined: list[tuple[int, int]] = []
        self.touching: dict[int, list[int]] = {net: [] for net in range(form.nets)}
        for number, (a, b, *_) in enumerate(form.branches):
            if a >= 0:
                self.touching[a].append(number)
            if b >= 0:
                self.touching[b].append(number)
        self.required = set(form.wanted)
        self.needed = {number for tags in form.tags for number, _ in tags}
        self.steps: list[Hanging | Passed] = []
        self.dead: set[int] = set()
        self.direct = {n for n in self.needed if self.rows[n][0] < 0 and self.rows[n][1] < 0}

    def run(self) -> None:
        touching = self.touching
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
            queue.extend(other for other in again if other >= 0 and len(touching[other]) <= 2)

    def _hanging(self, net: int, number: int) -> tuple[int, ...]:
        a, b, saturation, _, emf = self.rows[number]
        other, rise = (b, emf) if a == net else (a, -emf)
        if net in self.required:
            if saturation > 0.0:
                return ()  # what leaks through it decides: left to the solver
            self.steps.append(Hanging(net, other, rise, number))
            self.required.add(other)
        self.dead.add(number)
        del self.touching[net]
        if other < 0:
            return ()
        self.touching[other].remove(number)
        return (other,)

    def _passed(self, net: int, n1: int, n2: int) -> tuple[int, ...]:
        rows = self.rows
        a1, b1, saturation1, emission1, emf1 = rows[n1]
        a2, b2, saturation2, emission2, emf2 = rows[n2]
        o1, s1 = (b1, -1.0) if a1 == net else (a1, 1.0)
        o2, s2 = (b2, 1.0) if a2 == net else (a2, -1.0)
        emf = s1 * emf1 + s2 * emf2
        wanted = net in self.required
        if o1 == o2:
            if emf == 0.0 and not wanted and not (emf1 or emf2):
                self.dead.update((n1, n2))
                del self.touching[net]
                if o1 < 0:
                    return ()
                numbers = self.touching[o1]
                numbers.remove(n1)
                numbers.remove(n2)
                return (o1,)
            return ()
        saturation, emission, turn = 0.0, 1.0, 1.0
        if saturation1 and saturation2:
            # Two junctions are one only if they are of one direction and saturation current.
            if wanted or s1 != s2 or saturation1 != saturation2:
                return ()
            saturation, emission, turn = saturation1, emission1 + emission2, s1
        elif saturation1:
            saturation, emission, turn = saturation1, emission1, s1
        elif saturation2:
            saturation, emission, turn = saturation2, emission2, s2
        ends = (o1, o2) if turn > 0 else (o2, o1)
        new = len(rows)
        rows.append((ends[0], ends[1], saturation, emission, turn * emf))
        self.joined.append((n1, n2))
        pieces = ((n1, s1 * turn), (n2, s2 * turn))
        if wanted:
            self.needed.add(new)
            self.required.update((o1, o2))
            # Volts of the net from the end that only a resistance parts it from.
            if saturation1:
                near, sign, through, drop = o2, -turn, n2, -s2 * emf2
            else:
                near, sign, through, drop = o1, turn, n1, s1 * emf1
            ties = (Tie(o1, n1, -s1 if saturation1 else 0.0), Tie(o2, n2, s2 if saturation2 else 0.0))
            self.steps.append(Passed(net, new, pieces, near, sign, through, drop, ties))
        elif n1 in self.needed or n2 in self.needed:
            self.needed.add(new)
            self.steps.append(Passed(-1, new, pieces, -1, 0.0, -1, 0.0, ()))
        self._replace(net, new, ((o1, n1), (o2, n2)))
        return (o1, o2)

    def _replace(self, net: int, new: int, olds: tuple[tuple[int, int], tuple[int, int]]) -> None:
        """Put a joined branch in the place of the two that met at ``net``."""
        del self.touching[net]
        outside = 0
        for other, old in olds:
            self.dead.add(old)
            if other < 0:
                outside += 1
            else:
                numbers = self.touching[other]
                numbers[numbers.index(old)] = new
        if outside == 2 and new in self.needed:
            self.direct.add(new)


def _split(state: _Work) -> list[Piece]:
    """Independent pieces that hold something required."""
    rows, touching, boundary = state.rows, state.touching, state.form.boundary
    pieces: list[Piece] = []
    for number in sorted(state.direct - state.dead):
        a, b, saturation, emission, emf = rows[number]
        law = (0, 0, saturation, emission, round(emf - boundary[~a] + boundary[~b], 12) + 0.0)
        pieces.append(Piece((law,), ((number, 1.0),), (), None))
    seen: set[int] = set()
    starts = [net for net in touching if net in state.required]
    for number in sorted(state.needed - state.dead):
        starts.extend(net for net in rows[number][:2] if net in touching)
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
                    a, b = rows[number][:2]
                    other = b if a == net else a
                    if other >= 0 and other not in seen:
                        seen.add(other)
                        members.append(other)
        pieces.append(_piece(state, members, list(numbers)))
    return pieces


def _piece(state: _Work, members: list[int], numbers: list[int]) -> Piece:
    rows, boundary = state.rows, state.form.boundary
    zero = None
    if not any(rows[number][0] < 0 or rows[number][1] < 0 for number in numbers):
        # Nothing ties these nets to ground: one of them is called 0 V.
        zero = next((net for net in state.form.prefer if net in members), members[0])
        members = [net for net in members if net != zero]
    local = {net: number for number, net in enumerate(members)}
    outside = len(members)
    laws: list[tuple[Law, int, float]] = []
    for number in numbers:
        a, b, saturation, emission, emf = rows[number]
        first, second = local.get(a, outside), local.get(b, outside)
        if a < 0:
            emf -= boundary[~a]
        if b < 0:
            emf += boundary[~b]
        sign = 1.0
        if saturation == 0.0:
            emission = 1.0
            if first > second:
                first, second, emf, sign = second, first, -emf, -1.0
        laws.append(((first, second, saturation, emission, round(emf, 12) + 0.0), number, sign))
    laws.sort()
    branches = tuple([(number, sign) for _, number, sign in laws])
    return Piece(tuple([law for law, _, _ in laws]), branches, tuple(members), zero)
