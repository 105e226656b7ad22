"""What the person knows of this game beforehand, and which parts that concerns."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Protocol

from matrixdoc.definition.errors import MatrixdocError, near_miss, quoted
from matrixdoc.definition.wiring import GROUND, Part, Wiring
from matrixdoc.faults.catalogue import ConditionName


class ConditionError(MatrixdocError):
    """A condition that does not fit the machine: an unknown place, an impossible expectation."""


class CircuitWithBridges(Protocol):
    """What this room needs of a circuit: its wiring, and its latent bridges by reference."""

    @property
    def wiring(self) -> Wiring:
        """The resolved wiring."""
        ...

    @property
    def bridges(self) -> Mapping[str, Part]:
        """The latent parts of kind ``bridge``, by reference."""
        ...


@dataclass(frozen=True, slots=True)
class ServiceConditions:
    """The state in which the game arrived.

    ``expected_faults`` is the expected number of faults on arrival: the one setting that turns
    relative rates into probabilities. ``recent_repair`` and ``battery_leak`` name places, boards,
    connectors or part references (a reference also covers what lies below it, as ``switch/C3R5``
    does its contact). ``vibration`` is true for anything with moving parts and coils.
    """

    expected_faults: float = 1.5
    recent_repair: tuple[str, ...] = ()
    sat_for_years: bool = False
    battery_leak: tuple[str, ...] = ()
    vibration: bool = True

    def applies(self, name: ConditionName) -> bool:
        """Whether the condition called ``name`` holds at all."""
        return {
            "no vibration": not self.vibration,
            "recent repair": bool(self.recent_repair),
            "sat for years": self.sat_for_years,
            "battery leak": bool(self.battery_leak),
        }[name]

    def near(self, circuit: CircuitWithBridges, name: ConditionName) -> frozenset[str]:
        """References of the parts and bridges at the places that the condition names.

        Raises:
            ConditionError: a name is no place, board, connector or part of this machine.
        """
        named = {"recent repair": self.recent_repair, "battery leak": self.battery_leak}.get(name, ())
        return parts_near(circuit, named, name)


def parts_near(circuit: CircuitWithBridges, named: Iterable[str], why: str) -> frozenset[str]:
    """References of the parts and latent bridges at the places, boards, connectors or parts named.

    A bridge is near when its own place is, or when both of its nets are met by parts that are.

    Raises:
        ConditionError: a name is no place, board, connector or part of this machine.
    """
    wiring = circuit.wiring
    everything = {**wiring.parts, **circuit.bridges}
    by_name: dict[str, set[str]] = {}
    for reference, part in everything.items():
        words = reference.split("/")
        below = ("/".join(words[:n]) for n in range(1, len(words) + 1))
        for name in (part.place, part.board, part.connector, *below):
            if name:
                by_name.setdefault(name, set()).add(reference)
    known = by_name.keys() | wiring.places.keys() | wiring.connectors.keys()
    found: set[str] = set()
    for name in named:
        if name not in known:
            hint = near_miss(name, known)
            raise ConditionError(
                f"{why}: this machine has no place, board, connector or part called {quoted(name)}"
                + (f"; {hint}" if hint else "")
            )
        found |= by_name.get(name, set())
    common = {GROUND, *(supply.rail for supply in wiring.supplies.values())}
    nets = {net for reference in found for net in everything[reference].nets}
    touched = nets - common
    found.update(
        reference
        for reference, bridge in circuit.bridges.items()
        if touched.intersection(bridge.nets) and nets.issuperset(bridge.nets)
    )
    return frozenset(found)
