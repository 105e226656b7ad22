"""Whether the logic lives: by what its rail dips to at the bottom of the ripple, not by its mean.

TTL data books guarantee operation on 5 V down to 4.75 V (5 V +- 5 %: 74LS data sheets, recommended operating
conditions). Below that a board goes on for a while, and restarts or runs wild at some volts of its own, a few
of them above 4.6 V and hardly any below 4.2 V (common practice, no source): a normal distribution of the
volts at which it stops.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from matrixdoc.checks.model import FaultEffect, MachineModel
from matrixdoc.circuit.patch import Patch
from matrixdoc.circuit.supplies import rail_source

STOPS, SPREAD = 0.885, 0.025
"""Share of the nominal volts at which a board stops, and its standard deviation: 99.5 % run at 0.95, the
lower limit of the data books, 8 % at 4.25 V of 5 V."""
SURE = 0.01
"""A chance less than this of living, or of not, is none (common practice, no source)."""


class BrownOut:
    """Chances that the logic of one machine lives. Holds a cache; answers do not depend on it."""

    def __init__(self, model: MachineModel) -> None:
        self.model = model
        supplies = model.circuit.wiring.supplies
        self._logic = {name for name, supply in supplies.items() if supply.rail in model.logic_rails}
        self._known: dict[tuple[FaultEffect, ...], float] = {}

    def lives(self, effects: Iterable[FaultEffect]) -> float:
        """Chance that the logic works, and with it every self-test, with these faults of supplies."""
        touching = tuple(e for e in effects if e.supply in self._logic)
        if not touching:
            return 1.0
        known = self._known.get(touching)
        if known is None:
            known = self._known[touching] = self._works(touching)
        return known

    def _works(self, touching: tuple[FaultEffect, ...]) -> float:
        works = 1.0
        for name in self._logic:
            patches = {e.part.reference: e.patch for e in touching if e.supply == name}
            if patches:
                works = min(works, works_at(self._share(name, patches)))
        return works

    def _share(self, name: str, patches: dict[str, Patch]) -> float:
        """What the rail dips to, against its nominal volts: what a healthy supply dips to is enough."""
        circuit = self.model.circuit
        usual = rail_source(circuit, name, {}, frozenset()).least_v
        least = rail_source(circuit, name, patches, frozenset()).least_v
        enough = min(circuit.wiring.supplies[name].nominal_v, usual)
        return least / enough if enough > 0.0 else 1.0


def works_at(share: float) -> float:
    """Chance that a board works on a rail that dips to this share of its volts; 0 or 1 where it is sure."""
    chance = 0.5 * (1.0 + math.erf((share - STOPS) / (SPREAD * math.sqrt(2.0))))
    return 0.0 if chance < SURE else 1.0 if chance > 1.0 - SURE else chance
