"""Whether a lamp flickers: its supply pulses, or a joint of it makes and breaks.

A supply that has lost half of its cycle, or its capacitor, pulses more than the healthy one; what the
filament's heat leaves of that decides (``circuit/flicker.py``). People know how their lamps look: only what
pulses visibly, and clearly more than when healthy, is called flickering. In a matrix each lamp is lit for a
share of a scan that runs by a clock of its own: what the supply does then comes out slower, as a beat; how
slow depends on two clocks, and it is taken where the eye sees most. Overlap of strobes is outside this.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from matrixdoc.checks.model import FaultEffect, MachineModel
from matrixdoc.checks.points import Points
from matrixdoc.checks.prediction import Prediction
from matrixdoc.circuit.flicker import (
    FULL_WAVE_DEPTH,
    HALF_WAVE_DEPTH,
    filament_depth,
    ripple_depth,
    thermal_time_s,
    visible_depth,
)
from matrixdoc.circuit.supplies import RailSource, rail_source
from matrixdoc.definition.wiring import Supply

FLICKERS = "flickers"
BEAT_HZ = 10.0
"""Where the eye is most sensitive to flicker: a beat of scan and mains is taken there (de Lange, from
memory)."""
CLEARLY = 2.0
"""A lamp that pulses this many times deeper than it does when healthy is told from it (common practice, no
source)."""
SPREAD = 0.4
"""Spread of people in seeing flicker, in natural logarithm of its depth (common practice, no source)."""
LOOSE = 0.3
"""Share of looks at a lamp behind a loose joint that catch it flickering, and not just off or on (common
practice, no source)."""


INSTEAD = 0.5
"""Share of people who call a lamp flickering that is dim or bright as well, and has one word to go by (common
practice, no source)."""


class Flicker:
    """Chances of flicker in one machine. Holds a cache; answers do not depend on it."""

    def __init__(self, model: MachineModel, points: Points) -> None:
        self.model = model
        self.points = points
        self._supply: dict[str, tuple[str, ...]] = {}
        self._known: dict[tuple[str, tuple[FaultEffect, ...]], float] = {}

    def chance(self, lamp: str, effects: Iterable[FaultEffect]) -> float:
        """Chance that a person calls the lamp flickering, if it is lit."""
        touching = tuple(e for e in effects if e.supply)
        own = tuple(e for e in touching if e.supply in self._supplies(lamp)) if touching else ()
        if not own:
            return 0.0
        key = (lamp, own)
        known = self._known.get(key)
        if known is None:
            known = self._known[key] = max(
                self._of(lamp, name, [e for e in own if e.supply == name]) for name in self._supplies(lamp)
            )
        return known

    def _supplies(self, lamp: str) -> tuple[str, ...]:
        """Names of the supplies whose rail feeds the lamp."""
        found = self._supply.get(lamp)
        if found is None:
            model = self.model
            groups = model.groups_of_nets(model.part(model.circuit.wiring.lamps[lamp].element).nets)
            buses = groups.union(*(self.points.bus_neighbours.get(g, frozenset()) for g in groups))
            found = self._supply[lamp] = tuple(
                name
                for name, supply in model.circuit.wiring.supplies.items()
                if model.group_of.get(supply.rail) in buses and supply.rectifiers
            )
        return found

    def _of(self, lamp: str, name: str, effects: list[FaultEffect]) -> float:
        if not effects:
            return 0.0
        circuit = self.model.circuit
        supply = circuit.wiring.supplies[name]
        healthy = rail_source(circuit, name, {}, frozenset())
        now = rail_source(circuit, name, {e.part.reference: e.patch for e in effects}, frozenset())
        if now.dead:
            return 0.0
        seen = self._seen(lamp, supply, now, healthy) / max(
            1.0, CLEARLY * self._seen(lamp, supply, healthy, healthy)
        )
        return 0.5 * (1.0 + math.erf(math.log(seen) / (SPREAD * math.sqrt(2.0)))) if seen > 0.0 else 0.0

    def _seen(self, lamp: str, supply: Supply, source: RailSource, healthy: RailSource) -> float:
        """How many times as deep as can just be seen the light of a lamp pulses on a supply in this state."""
        wiring = self.model.circuit.wiring
        element = wiring.lamps[lamp].element
        half = 0.0 < source.hertz < healthy.hertz or len(supply.rectifiers) == 1
        bare = HALF_WAVE_DEPTH if half else FULL_WAVE_DEPTH
        mean = source.open_volts - source.source_ohm * supply.load_a
        pulsing = bare
        if supply.capacitor or supply.regulator:
            pulsing = ripple_depth(source.ripple_v, mean, bare)
        hertz = BEAT_HZ if wiring.lamps[lamp].matrix else source.hertz
        if self.model.part(element).kind != "lamp":
            return pulsing / 2.0 / visible_depth(hertz)  # current, not power
        values = self.model.circuit.values(element)
        share = min(1.0, (mean / supply.nominal_v) ** 2) if supply.nominal_v > 0.0 else 1.0
        time = thermal_time_s(values["design_v"], values["design_a"], share)
        return filament_depth(pulsing, hertz, time) / visible_depth(hertz)


def flickering(prediction: Prediction, chance: float) -> Prediction:
    """What people say of a lamp that they call flickering with this chance, if it is lit."""
    if chance < 1e-3:
        return prediction
    said = {"off": 0.0, "normal": 1.0}
    found = {word: share * (1.0 - chance * said.get(str(word), INSTEAD)) for word, share in prediction}
    found[FLICKERS] = 1.0 - sum(found.values())
    return tuple(sorted(((w, p) for w, p in found.items() if p > 1e-9), key=lambda o: -o[1]))


def unsteady(there: Prediction, gone: Prediction, word: str = FLICKERS, loose: float = LOOSE) -> Prediction:
    """What people say of a lamp behind a joint that makes and breaks: ``there`` while it is broken, ``gone``
    while it is not; where the two differ, a share ``loose`` of looks catches it changing: ``word``.
    """
    other = dict(gone)
    same = sum(min(share, other.get(word, 0.0)) for word, share in there)
    moving = loose * (1.0 - same)
    if moving < 1e-3:
        return there
    found = {seen: share * (1.0 - moving) for seen, share in there}
    found[word] = found.get(word, 0.0) + moving
    return tuple(sorted(found.items(), key=lambda o: -o[1]))
