"""What the coils do when pulsed, and which of them draw current with nothing commanded.

A coil is judged at the end of its pulse: the current that the circuit would reach, times the share
that the winding's time constant lets it reach, relative to the healthy machine.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from matrixdoc.checks.coil_words import PULLS, action, told
from matrixdoc.checks.model import (
    BUS_KINDS,
    CONTACT_KINDS,
    FaultEffect,
    MachineModel,
    alters_only,
)
from matrixdoc.checks.points import PointRequest, Points
from matrixdoc.checks.prediction import Prediction
from matrixdoc.checks.reads import Reads
from matrixdoc.checks.signals import active_outputs
from matrixdoc.definition.wiring import GROUND, Coil, Part

SAG = 0.02
"""Change of a coil's feed, as a share, below which the coil does not notice."""

NO_AMPS = 1e-9
"""Amperes below which a winding carries nothing."""

Key = tuple[str, tuple[str, ...], tuple[FaultEffect, ...]]


class Coils:
    """Predicts coil behaviour of one machine. Holds a cache; answers do not depend on it."""

    def __init__(self, model: MachineModel, points: Points, reads: Reads) -> None:
        self.model = model
        self.points = points
        self.reads = reads
        wiring = model.circuit.wiring
        self.coils = {r: c for r, c in wiring.coils.items() if c.element}
        self.drive_coils: dict[tuple[str, ...], list[str]] = {}
        for reference, coil in self.coils.items():
            if coil.drive:
                self.drive_coils.setdefault(self.commands(coil), []).append(reference)
        self.drives = tuple(sorted({d for commands in self.drive_coils for d in commands}))
        self._outputs = {
            r: frozenset(wiring.drives[d].output for d in self.commands(c)) for r, c in self.coils.items()
        }
        self._amps: dict[Key, Mapping[str, float]] = {}
        self._pulses: dict[str, float] = {}
        self._usual: dict[str, frozenset[str]] = {}
        self._feed_parts: dict[str, frozenset[str]] | None = None
        self._triggered: dict[tuple[tuple[str, ...], tuple[FaultEffect, ...]], frozenset[str]] = {}
        self._own_groups: dict[str, frozenset[int]] = {}
        self._all_groups: frozenset[int] | None = None

    @staticmethod
    def commands(coil: Coil) -> tuple[str, ...]:
        """The drives that the machine commands together to fire a coil."""
        return (coil.drive, *coil.also) if coil.drive else ()

    def triggered(self, held: tuple[str, ...], effects: tuple[FaultEffect, ...]) -> frozenset[str]:
        """Coils whose own switch reads closed and fires them without the logic, faults included."""
        if not self.reads.hidden:
            return frozenset()
        key = self._trigger_key(held, effects)
        known = self._triggered.get(key)
        if known is None:
            pair = self.reads.pair(*key)
            self.reads.prepare([pair])
            fired = self.reads.fired(*pair)
            known = frozenset(r for r, coil in self.coils.items() if coil.fired_by in fired)
            self._triggered[key] = known
        return known

    def _trigger_key(
        self, held: tuple[str, ...], effects: tuple[FaultEffect, ...]
    ) -> tuple[tuple[str, ...], tuple[FaultEffect, ...]]:
        some = tuple(e for e in effects if not e.supply and self.reads.reaches_hidden(e))
        return tuple(h for h in held if h in self.reads.hidden), some

    def _prepare_triggered(self, wanted: Iterable[tuple[tuple[str, ...], tuple[FaultEffect, ...]]]) -> None:
        """Solve in one batch what many calls of :meth:`triggered` will ask for."""
        if self.reads.hidden:
            keys = dict.fromkeys(self._trigger_key(*key) for key in wanted)
            self.reads.prepare([self.reads.pair(*key) for key in keys if key not in self._triggered])

    def _disabled(self, effects: tuple[FaultEffect, ...]) -> set[str]:
        """Drives of coils whose enable line does not let them fire."""
        dead = {e.part.reference for e in effects if e.signal and (e.patch.absent or e.patch.stuck == "idle")}
        if not dead:
            return set()
        return {c.drive for c in self.coils.values() if not dead.isdisjoint(c.enable)}

    def request(self, pulsed: str, held: tuple[str, ...], effects: tuple[FaultEffect, ...]) -> PointRequest:
        """What conducts while ``pulsed`` (or nothing) is commanded; the windings that matter are wanted."""
        commanded = set(self.commands(self.coils[pulsed])) if pulsed else set()
        commanded |= {d for r in self.triggered(held, effects) for d in self.commands(self.coils[r])}
        commanded -= self._disabled(effects)
        active = active_outputs(self.model, self.drives, commanded, effects)
        active |= self._private_contacts(pulsed, held, effects)
        rails = self.points.rails_for(effects, self._groups())
        analog = tuple(e for e in effects if e.analog)
        return PointRequest(frozenset(active), analog, rails, parts=self._wanted(pulsed, active, analog))

    def _groups(self) -> frozenset[int]:
        """Net groups of all coils, and of what feeds and drives them."""
        if self._all_groups is None:
            wiring = self.model.circuit.wiring
            parts = [p for coil in self.coils.values() for p in (coil.element, *coil.parts)]
            parts += [wiring.drives[d].output for c in self.coils.values() for d in self.commands(c)]
            parts += [p for reference in self.coils for p in self.feed_parts(reference)]
            nets = [n for p in parts if p in wiring.parts for n in wiring.parts[p].nets]
            self._all_groups = frozenset(self.model.groups_of_nets(nets))
        return self._all_groups

    def _wanted(self, pulsed: str, active: set[str], analog: tuple[FaultEffect, ...]) -> tuple[str, ...]:
        """Windings that can carry current at all: those whose output is on, or that a fault touches."""
        touched = {g for e in analog for g in e.groups} - self.model.bus_groups
        wanted = []
        for reference, outputs in self._outputs.items():
            on = not active.isdisjoint(outputs)
            if on or reference == pulsed or (touched and touched & self.own_groups(reference)):
                wanted.append(self.coils[reference].element)
        return tuple(wanted)

    def _private_contacts(
        self, pulsed: str, held: tuple[str, ...], effects: tuple[FaultEffect, ...]
    ) -> set[str]:
        """Contacts in the coil circuits themselves: end-of-stroke contacts (closed at rest) and the
        switch in series with a flipper's windings (closed by the person who pulses it).
        """
        closed = set(self._usual_contacts(pulsed))
        for reference in held:
            switch = self.model.circuit.wiring.switches[reference]
            if switch.normally_closed:
                closed.discard(switch.contact)
        for effect in effects:
            if effect.contact is True and effect.part.reference not in self.model.switch_of_contact:
                closed.add(effect.part.reference)
            elif effect.contact is False:
                closed.discard(effect.part.reference)
        return closed

    def _usual_contacts(self, pulsed: str) -> frozenset[str]:
        """The private contacts that are closed on a healthy machine with nothing held."""
        known = self._usual.get(pulsed)
        if known is not None:
            return known
        wiring = self.model.circuit.wiring
        closed: set[str] = set(self.model.feed_contacts)
        pulsed_parts = set(self.coils[pulsed].parts) if pulsed else set()
        for coil in self.coils.values():
            for reference in (*coil.parts, coil.end_of_stroke):
                part = wiring.parts.get(reference)
                if part is None or part.kind not in CONTACT_KINDS:
                    continue
                if reference in self.model.resting_contacts or reference in pulsed_parts:
                    closed.add(reference)
        if pulsed and self.coils[pulsed].holds:
            # A hold winding works with the stroke ended: its end-of-stroke contact is open.
            closed -= self.model.resting_contacts & pulsed_parts
        return self._usual.setdefault(pulsed, frozenset(closed))

    def _bearing(self, pulsed: str, effects: tuple[FaultEffect, ...]) -> tuple[FaultEffect, ...]:
        """Effects that can matter: while nothing adds a connection or drives a coil by itself, what
        is opened or altered in the circuit of a coil that is not pulsed carries no current.
        """
        if not effects or not all(e.supply or alters_only(e) for e in effects):
            return effects
        own = self.own_groups(pulsed)
        coil = self.coils[pulsed] if pulsed else None
        return tuple(
            e
            for e in effects
            if e.supply
            or (e.groups & own)
            or (pulsed and e.part.reference in self.feed_parts(pulsed))
            or (
                coil is not None
                and any(d in self.commands(coil) for d in self.model.drives_of.get(e.part.reference, ()))
            )
        )

    def own_groups(self, pulsed: str) -> frozenset[int]:
        """Net groups of a coil's own circuit, without the feeds (none while nothing is pulsed)."""
        if not pulsed:
            return frozenset()
        known = self._own_groups.get(pulsed)
        if known is None:
            wiring = self.model.circuit.wiring
            coil = self.coils[pulsed]
            outputs = {wiring.drives[d].output for d in self.commands(coil)}
            parts = {*coil.parts, coil.element} | outputs
            nets = [n for p in parts if p for n in self.model.part(p).nets]
            known = self._own_groups[pulsed] = self.model.groups_of_nets(nets) - self.model.bus_groups
        return known

    def feed_parts(self, coil: str) -> frozenset[str]:
        """Wires, pins and fuses between the coil and its rail, through which its current comes."""
        if self._feed_parts is None:
            self._feed_parts = self._trace_feeds()
        return self._feed_parts[coil]

    def _trace_feeds(self) -> dict[str, frozenset[str]]:
        wiring = self.model.circuit.wiring
        at: dict[str, list[Part]] = {}
        for part in wiring.parts.values():
            if part.kind in BUS_KINDS or part.reference in self.model.feed_contacts:
                for net in part.nets:
                    at.setdefault(net, []).append(part)
        came: dict[str, frozenset[str]] = {
            s.rail: frozenset() for s in wiring.supplies.values() if not s.stiff
        }
        waiting = list(came)
        while waiting:
            net = waiting.pop(0)
            for part in at.get(net, ()):
                for other in part.nets:
                    if other not in came and other != GROUND:
                        came[other] = came[net] | {part.reference}
                        waiting.append(other)
        found = {}
        for reference, coil in self.coils.items():
            outputs = [wiring.drives[d].output for d in self.commands(coil)]
            # A hold winding hangs behind its power winding: what feeds that one feeds it too.
            parts = (coil.element, *coil.parts, *outputs)
            nets = [n for p in parts for n in self.model.part(p).nets]
            found[reference] = frozenset(p for n in nets for p in came.get(n, ()))
        return found

    def _feed_end(self, coil: str) -> str:
        """The net where the feed reaches the coil's circuit: a lug, or the drive of a high-side one."""
        feeds = self.feed_parts(coil)
        nets = {net for part in feeds for net in self.model.part(part).nets}
        own = self.coils[coil]
        outputs = [self.model.circuit.wiring.drives[d].output for d in self.commands(own)]
        first = self.model.part(own.element).nets[0]
        reached = (net for part in outputs for net in self.model.part(part).nets if net in nets)
        return first if first in nets else next(reached, first)

    def pulled_down(self, coil: str, effects: Sequence[FaultEffect]) -> frozenset[FaultEffect]:
        """Those of these faults, which add a connection, that change the feed of a coil at rest.

        A fault in the circuit of one coil reaches another one only through what feeds both.
        """
        net = self._feed_end(coil)
        self._prepare_triggered(((), (e,)) for e in effects)
        requests = [self.request("", (), ()), *(self.request("", (), (e,)) for e in effects)]
        points = self.points.solve([replace(r, nets=(net,), parts=()) for r in requests])
        healthy = points[0].volts[net]
        least = SAG * max(abs(healthy), 1.0)
        return frozenset(
            e for e, point in zip(effects, points[1:], strict=True) if abs(point.volts[net] - healthy) > least
        )

    def _key(self, pulsed: str, held: tuple[str, ...], effects: tuple[FaultEffect, ...]) -> Key:
        # A held switch may fire its coil: then that coil's circuit carries current as if it were pulsed.
        fires = not self.reads.hidden.isdisjoint(held)
        return pulsed, held, effects if fires else self._bearing(pulsed, effects)

    def prepare(self, wanted: Iterable[Key]) -> None:
        """Solve many (pulsed coil, held switches, faults) triples in one batch."""
        todo = [key for key in dict.fromkeys(self._key(*k) for k in wanted) if key not in self._amps]
        self._prepare_triggered((held, effects) for _, held, effects in todo)
        points = self.points.solve([self.request(*key) for key in todo])
        for key, point in zip(todo, points, strict=True):
            patches = {e.part.reference: e.patch for e in key[2] if e.analog}
            amps = {}
            for reference, coil in self.coils.items():
                patch = patches.get(coil.element)
                # A winding with shorted turns pulls by its ampere-turns, not by its amperes.
                turns = 1.0
                if patch is not None and "ohm" in patch.values:
                    turns = patch.values["ohm"] / self.model.circuit.values(coil.element)["ohm"]
                if patch is not None and patch.shunt_ohm is not None:
                    turns = 0.0
                amps[reference] = abs(point.amps.get(coil.element, 0.0)) * min(turns, 1.0)
            self._amps[key] = amps

    def lead_amps(self, wanted: Sequence[tuple[FaultEffect, ...]]) -> list[float]:
        """For each set of effects, nothing pulsed: amperes through the clip lead that is one of them.

        The largest, where there are several; 0 without one.
        """
        self._prepare_triggered(((), effects) for effects in wanted)
        leads = [[e.lead for e in effects if e.lead is not None] for effects in wanted]
        requests = [
            replace(
                self.request("", (), effects),
                nets=tuple(dict.fromkeys(net for lead in some for net in (lead.red, lead.black))),
                parts=(),
            )
            for effects, some in zip(wanted, leads, strict=True)
        ]
        points = self.points.solve(requests)
        return [
            max(
                (abs(point.volts[lead.red] - point.volts[lead.black]) / lead.ohm for lead in some),
                default=0.0,
            )
            for point, some in zip(points, leads, strict=True)
        ]

    def amps(
        self, pulsed: str, held: tuple[str, ...], effects: tuple[FaultEffect, ...]
    ) -> Mapping[str, float]:
        """Steady current of every winding in amperes (times the share of turns left)."""
        key = self._key(pulsed, held, effects)
        if key not in self._amps:
            self.prepare([key])
        return self._amps[key]

    def ratios(
        self, pulsed: str, held: tuple[str, ...], effects: tuple[FaultEffect, ...]
    ) -> dict[str, float]:
        """Current of every coil relative to its own healthy pulse."""
        amps = self.amps(pulsed, held, effects)
        fresh = [r for r, drawn in amps.items() if drawn > NO_AMPS and r not in self._pulses]
        if fresh:
            self.prepare([(reference, (), ()) for reference in fresh])
            self._pulses.update((r, self.amps(r, (), ())[r]) for r in fresh)
        ratios = dict.fromkeys(self.coils, 0.0)
        for reference, drawn in amps.items():
            if drawn > NO_AMPS and self._pulses[reference] > NO_AMPS:
                ratios[reference] = drawn / self._pulses[reference]
        return ratios

    def predict_pulse(self, coil: str, held: tuple[str, ...], effects: tuple[FaultEffect, ...]) -> Prediction:
        """Words for what ``coil`` does when commanded, with probabilities."""
        resting = self.ratios("", held, effects)
        if resting[coil] >= PULLS:
            return (("locked on", 1.0),)
        ratios = self.ratios(coil, held, effects)
        together = set(self.drive_coils.get(self.commands(self.coils[coil]), ())) | {coil}
        others = [r for r, q in ratios.items() if r not in together and q >= PULLS and resting[r] < PULLS]
        words = action(ratios[coil])
        return told(words, others)

    def predict_by_hand(
        self, coil: str, held: tuple[str, ...], effects: tuple[FaultEffect, ...]
    ) -> Prediction:
        """Words for what ``coil`` does while clip leads (among the effects) are on, nothing commanded."""
        resting = self.ratios("", held, tuple(e for e in effects if e.lead is None))
        if resting[coil] >= PULLS:
            return (("locked on", 1.0),)
        ratios = self.ratios("", held, effects)
        others = [r for r, q in ratios.items() if r != coil and q >= PULLS and resting[r] < PULLS]
        return told(action(ratios[coil]), others)

    def predict_resting(self, held: tuple[str, ...], effects: tuple[FaultEffect, ...]) -> Prediction:
        """The set of coils that are pulled in with nothing commanded."""
        locked = frozenset(r for r, q in self.ratios("", held, effects).items() if q >= PULLS)
        return ((locked, 1.0),)
