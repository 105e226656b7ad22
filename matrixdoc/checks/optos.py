"""Optical pairs in the place of contacts: who gets light, and what conducts then.

A receiver conducts while light arrives. It gets light while its emitter carries enough current and
nothing stands in the beam (the switch is not held). A buffered pair conducts through its buffer
while the receiver is dark. Only pairs that a fault touches are solved; the others do what the
person who holds the switch makes them do.
"""

from __future__ import annotations

from collections.abc import Iterable

from matrixdoc.checks.model import FaultEffect, MachineModel
from matrixdoc.checks.points import PointRequest, Points
from matrixdoc.definition.wiring import Opto

LIT_SHARE = 0.25
"""Share of the healthy emitter current from which the receiver sees light (common practice, no source)."""


class Optos:
    """The optical pairs of one machine. Holds a cache; answers do not depend on it."""

    def __init__(self, model: MachineModel, points: Points) -> None:
        self.model = model
        self.points = points
        self.pairs = dict(model.circuit.wiring.optos)
        self._groups: dict[str, frozenset[int]] = {}
        self._parts: dict[str, frozenset[str]] = {}
        wiring = model.circuit.wiring
        for reference, opto in self.pairs.items():
            sensor = wiring.sensors.get(opto.sensor)
            signal = (sensor.reference, *sensor.path) if sensor is not None else ()
            parts = {opto.emitter, opto.receiver, *opto.parts, *signal}
            self._parts[reference] = frozenset(parts)
            nets = [opto.feed, *(n for p in parts for n in model.part(p).nets)]
            if sensor is not None:
                nets.append(sensor.net)
            own = set(model.groups_of_nets(nets))
            if not opto.sensor:
                # A direct receiver lies in the cell itself: its lines are the scan's business.
                own -= model.groups_of_nets(model.part(opto.receiver).nets)
            self._groups[reference] = frozenset(own)
        self._known: dict[tuple[frozenset[str], tuple[FaultEffect, ...]], dict[str, bool]] = {}
        self._healthy: dict[str, float] = {}

    def touched(self, effect: FaultEffect) -> list[str]:
        """Switches whose optical pair a fault can change."""
        return [
            r
            for r, parts in self._parts.items()
            if effect.supply or effect.part.reference in parts or effect.groups & self._groups[r]
        ]

    def contact_groups(self, effect: FaultEffect) -> frozenset[int]:
        """Net groups of the contacts that a fault of optical pairs can open or close."""
        if not self.pairs:
            return frozenset()
        model = self.model
        nets = [n for r in self.touched(effect) for n in model.part(self.pairs[r].contact).nets]
        return model.groups_of_nets(nets)

    def conducting(self, held: Iterable[str], effects: Iterable[FaultEffect]) -> dict[str, bool]:
        """For the contact part of every pair that a fault touches: whether it conducts."""
        if not self.pairs:
            return {}
        bearing = tuple(sorted((e for e in effects if self.touched(e)), key=lambda e: e.fault))
        if not bearing:
            return {}
        names = sorted({r for e in bearing for r in self.touched(e)})
        key = (frozenset(held) & frozenset(names), bearing)
        known = self._known.get(key)
        if known is None:
            known = self._known[key] = self._solve([self.pairs[r] for r in names], *key)
        return known

    def _emitter_amps(self, pairs: list[Opto], effects: tuple[FaultEffect, ...]) -> dict[str, float]:
        rails = self.points.rails(effects)
        analog = tuple(e for e in effects if e.analog)
        request = PointRequest(frozenset(), analog, rails, parts=tuple(o.emitter for o in pairs))
        return dict(self.points.solve([request])[0].amps)

    def _solve(
        self, pairs: list[Opto], held: frozenset[str], effects: tuple[FaultEffect, ...]
    ) -> dict[str, bool]:
        unknown = [o for o in pairs if o.emitter not in self._healthy]
        if unknown:
            self._healthy.update(self._emitter_amps(unknown, ()))
        amps = self._emitter_amps(pairs, effects)
        patched = {e.part.reference for e in effects if e.analog}
        forced = {e.part.reference: e.contact for e in effects if e.contact is not None}
        bright: dict[str, bool] = {}
        for opto in pairs:
            lit = (
                opto.emitter not in patched and amps[opto.emitter] >= LIT_SHARE * self._healthy[opto.emitter]
            )
            there = lit and opto.reference not in held
            bright[opto.receiver] = forced.get(opto.receiver, there) or False
        result = {o.contact: bright[o.receiver] for o in pairs if not o.sensor}
        buffered = [o for o in pairs if o.sensor]
        if buffered:
            result.update(self._buffers(buffered, bright, effects))
        return result

    def _buffers(
        self, pairs: list[Opto], bright: dict[str, bool], effects: tuple[FaultEffect, ...]
    ) -> dict[str, bool]:
        sensors = self.model.circuit.wiring.sensors
        active = frozenset(o.receiver for o in pairs if bright[o.receiver])
        nets = tuple(sensors[o.sensor].net for o in pairs)
        analog = tuple(e for e in effects if e.analog)
        point = self.points.solve([PointRequest(active, analog, self.points.rails(effects), nets)])[0]
        stuck = {e.part.reference: e.patch for e in effects if e.signal}
        result = {}
        for opto in pairs:
            sensor = sensors[opto.sensor]
            volts = point.volts[sensor.net]
            low, high = volts <= sensor.low_v, volts >= sensor.high_v
            closed = (low and sensor.closed_reads == "low") or (high and sensor.closed_reads == "high")
            for reference in (sensor.reference, *sensor.path):
                patch = stuck.get(reference)
                if patch is not None and patch.stuck:
                    closed = patch.stuck == "active"
            result[opto.contact] = closed
        return result
