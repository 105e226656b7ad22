"""Where the leads of a meter go: the place of a net, and the runs that a continuity check follows.

A run is a chain of wires, joints, pins and fuses that carries one current: its nets are the points
at which a person can halve the search for a break. Both are read off the wiring alone.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping

from matrixdoc.checks.model import BUS_KINDS
from matrixdoc.definition.wiring import GROUND, Part, Wiring


class Probing:
    """Places and runs of one machine."""

    def __init__(self, wiring: Wiring) -> None:
        self._at: dict[str, list[Part]] = {}
        for part in wiring.parts.values():
            for net in part.nets:
                self._at.setdefault(net, []).append(part)
        self._rails = {supply.rail for supply in wiring.supplies.values()}
        self._ends = self._rails | {GROUND}
        stubs = (p for m in wiring.matrices.values() for cell in m.cells for p in cell.parts)
        self._stubs = frozenset(stubs)
        self._places: dict[str, str] = {}
        self._before = self._trace()

    def place(self, net: str) -> str:
        """Where a lead reaches ``net``: nothing for ground, which is everywhere.

        What stands still says it best (a board's part, a coil, a contact), then the cell that hangs
        there, then a connector's pin, then the wire.
        """
        if net == GROUND:
            return ""
        known = self._places.get(net)
        if known is None:
            parts = [p for p in self._at.get(net, ()) if p.place]
            ranked = sorted(parts, key=self._weight)
            best = [p for p in ranked if self._weight(p) == self._weight(ranked[0])]
            counted = Counter(p.place for p in best).most_common(1)
            known = self._places[net] = counted[0][0] if counted else ""
        return known

    def _weight(self, part: Part) -> int:
        if part.kind not in BUS_KINDS:
            return 0
        if part.reference in self._stubs:
            return 1
        return 3 if part.kind == "wire" else 2

    def _trace(self) -> Mapping[str, tuple[str, str]]:
        """For each part of a feed: the rail that it comes from, and its own net away from the rail."""
        found: dict[str, tuple[str, str]] = {}
        for rail in sorted(self._rails):
            waiting = [rail]
            seen = {rail}
            while waiting:
                net = waiting.pop(0)
                for part in self._at.get(net, ()):
                    if part.kind not in BUS_KINDS or part.reference in found:
                        continue
                    for other in part.nets:
                        if other not in seen and other not in self._ends:
                            seen.add(other)
                            found[part.reference] = (rail, other)
                            waiting.append(other)
        return found

    def feed(self, reference: str) -> tuple[str, str] | None:
        """(rail, net just after the part) where the part lies between a rail and its loads."""
        return self._before.get(reference)
