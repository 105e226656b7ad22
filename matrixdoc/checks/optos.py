"""Optical pairs in the place of contacts: who gets light, and what conducts then.

A receiver conducts while light arrives. It gets light while its emitter carries enough current and
nothing stands in the beam (the switch is not held). A buffered pair conducts through its buffer
while the receiver is dark. Only pairs that a fault touches are solved; the others do what the
person who holds the switch makes them do.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from matrixdoc.checks.model import FaultEffect, MachineModel
from matrixdoc.checks.points import PointRequest, Points
from matrixdoc.circuit.netlist import OperatingPoint
from matrixdoc.definition.wiring import Opto

LIT_SHARE = 0.25
"""Share of the healthy emitter current from which the receiver sees light (common practice, no source)."""

_Key = tuple[tuple[str, ...], frozenset[str], tuple[FaultEffect, ...]]
"""Switches whose pairs are touched, those of them that are held, the faults that touch them."""


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
        self._known: dict[_Key, dict[str, bool]] = {}
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

    def _key(self, held: Iterable[str], effects: Iterable[FaultEffect]) -> _Key | None:
        """What decides about the pairs that these faults touch; None where they touch none."""
        bearing = tuple(sorted((e for e in effects if self.touched(e)), key=lambda e: e.fault))
        if not bearing:
            return None
        names = sorted({r for e in bearing for r in self.touched(e)})
        return tuple(names), frozenset(held) & frozenset(names), bearing

    def prepare(self, wanted: Iterable[tuple[Iterable[str], Iterable[FaultEffect]]]) -> None:
        """Work out in few batches what many calls of :meth:`conducting` will ask for."""
        if not self.pairs:
            return
        keys = dict.fromkeys(key for one in wanted if (key := self._key(*one)) is not None)
        todo = [key for key in keys if key not in self._known]
        dark = [o for o in self.pairs.values() if o.emitter not in self._healthy] if todo else []
        if dark:
            (point,) = self.points.solve([self._emitter_request(dark, ())])
            self._healthy.update(point.amps)
        pairs = [[self.pairs[r] for r in names] for names, _, _ in todo]
        points = self.points.solve(
            [self._emitter_request(some, key[2]) for some, key in zip(pairs, todo, strict=True)]
        )
        bright = [
            self._bright(some, key, point.amps) for some, key, point in zip(pairs, todo, points, strict=True)
        ]
        for key, some, lit in zip(todo, pairs, bright, strict=True):
            self._known[key] = {o.contact: lit[o.receiver] for o in some if not o.sensor}
        buffered = [n for n, some in enumerate(pairs) if any(o.sensor for o in some)]
        requests = [self._buffer_request(pairs[n], bright[n], todo[n][2]) for n in buffered]
        for n, point in zip(buffered, self.points.solve(requests), strict=True):
            behind = [o for o in pairs[n] if o.sensor]
            self._known[todo[n]].update(self._closed(behind, todo[n][2], point))

    def conducting(self, held: Iterable[str], effects: Iterable[FaultEffect]) -> dict[str, bool]:
        """For the contact part of every pair that a fault touches: whether it conducts."""
        key = self._key(held, effects) if self.pairs else None
        if key is None:
            return {}
        if key not in self._known:
            self.prepare([(key[1], key[2])])
        return self._known[key]

    def _emitter_request(self, pairs: list[Opto], effects: tuple[FaultEffect, ...]) -> PointRequest:
        analog = tuple(e for e in effects if e.analog)
        return PointRequest(
            frozenset(), analog, self.points.rails(effects), parts=tuple(o.emitter for o in pairs)
        )

    def _bright(self, pairs: list[Opto], key: _Key, amps: Mapping[str, float]) -> dict[str, bool]:
        """For each receiver: whether it conducts."""
        _, held, effects = key
        patched = {e.part.reference for e in effects if e.analog}
        forced = {e.part.reference: e.contact for e in effects if e.contact is not None}
        bright: dict[str, bool] = {}
        for opto in pairs:
            lit = (
                opto.emitter not in patched and amps[opto.emitter] >= LIT_SHARE * self._healthy[opto.emitter]
            )
            there = lit and opto.reference not in held
            bright[opto.receiver] = forced.get(opto.receiver, there) or False
        return bright

    def _buffer_request(
        self, pairs: list[Opto], bright: Mapping[str, bool], effects: tuple[FaultEffect, ...]
    ) -> PointRequest:
        sensors = self.model.circuit.wiring.sensors
        behind = [o for o in pairs if o.sensor]
        active = frozenset(o.receiver for o in behind if bright[o.receiver])
        nets = tuple(sensors[o.sensor].net for o in behind)
        analog = tuple(e for e in effects if e.analog)
        return PointRequest(active, analog, self.points.rails(effects), nets)

    def _closed(
        self, pairs: list[Opto], effects: tuple[FaultEffect, ...], point: OperatingPoint
    ) -> dict[str, bool]:
        """For the contact of each buffered pair: whether its buffer makes it conduct."""
        sensors = self.model.circuit.wiring.sensors
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
