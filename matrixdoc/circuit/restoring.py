"""From the solution of a reduced circuit back to the nets and parts that were asked for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from matrixdoc.circuit.elements import RawBranch
from matrixdoc.circuit.newton import Solution
from matrixdoc.circuit.reduction import WEAK_OHM, Hanging, Passed, Piece, Reduced

OFF_V = -0.3
"""A junction with less than this across it is turned off and holds nothing."""


@dataclass(frozen=True, slots=True)
class IslandPoint:
    """Volts by net number, amperes by part number, nets that nothing holds, convergence.

    ``firm``: every net is held by resistances alone, not through a junction that hardly conducts.
    """

    volts: dict[int, float]
    amps: dict[int, float]
    floating: frozenset[int]
    converged: bool
    firm: bool = True


def finish(reduced: Reduced, solutions: Sequence[Solution]) -> IslandPoint:
    """Volts and amperes of an island from the solutions of its pieces, in order."""
    volts: dict[int, float] = dict(reduced.boundary)
    current: dict[int, float] = {}
    held: set[int] = set(reduced.boundary)
    firm: set[int] = set(reduced.boundary)
    converged = True
    for piece, solution in zip(reduced.pieces, solutions, strict=True):
        converged = converged and solution.converged
        volts.update(zip(piece.nets, solution.volts, strict=False))
        if not piece.anchored:
            volts[piece.nets[-1]] = 0.0
        for (number, sign), value in zip(piece.branches, solution.amps, strict=True):
            current[number] = sign * value
        _hold(reduced.branches, piece, volts, firm, held)
    for step in reversed(reduced.steps):
        if isinstance(step, Hanging):
            volts[step.net] = volts.get(step.other, 0.0) + step.rise_v
            if not step.weak and step.other in held:
                held.add(step.net)
                if step.other in firm:
                    firm.add(step.net)
            continue
        value = current.get(step.branch, 0.0)  # dropped later: it hangs, no current
        for number, sign in step.pieces:
            current[number] = sign * value
        if step.net >= 0:
            volts[step.net] = volts[step.near] - step.sign * value * step.ohm - step.drop_v
            _hold_passed(step, volts, firm, held)
    amps = {
        part: sum(sign * current.get(number, 0.0) for number, sign in found)
        for part, found in reduced.tags.items()
    }
    wanted = {net: volts.get(net, 0.0) for net in reduced.wanted}
    floating = frozenset(net for net in wanted if net not in held)
    return IslandPoint(wanted, amps, floating, converged, firm.issuperset(wanted))


def _hold_passed(step: Passed, volts: Mapping[int, float], firm: set[int], held: set[int]) -> None:
    for end, sign in step.ends:
        if end in held and (sign == 0.0 or sign * (volts[step.net] - volts[end]) > OFF_V):
            held.add(step.net)
            if sign == 0.0 and end in firm:
                firm.add(step.net)


def _hold(
    rows: list[RawBranch], piece: Piece, volts: Mapping[int, float], firm: set[int], held: set[int]
) -> None:
    """Add the nets of a piece that resistances tie to firm ones, those that junctions tie to held ones."""
    plain, ties = [], []
    for number, _ in piece.branches:
        row = rows[number]
        if row.ohm >= WEAK_OHM:
            continue
        if row.saturation_a == 0.0:
            plain.append((row.a, row.b))
        elif volts[row.a] - volts[row.b] - row.emf_v > OFF_V:
            ties.append((row.a, row.b))
    _grow(firm, plain)
    _grow(held, [*plain, *ties])


def _grow(held: set[int], ties: list[tuple[int, int]]) -> None:
    """Take in whatever the ties join to what is held."""
    grown = bool(ties)
    while grown:
        grown = False
        for a, b in ties:
            if (a in held) != (b in held):
                held.update((a, b))
                grown = True
