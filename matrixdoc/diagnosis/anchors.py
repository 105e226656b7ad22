"""Which faults can change a look at all, read off the circuit.

Those that touch a net group which the situation reaches, directly or through what commands or reads it.
Everything else leaves the look as it is for the healthy machine.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import cast

from matrixdoc.checks.joins import Joins
from matrixdoc.checks.model import FaultEffect, alters_only
from matrixdoc.checks.prediction import Prediction
from matrixdoc.checks.predictor import Predictor
from matrixdoc.checks.provoked import PROVOKED, as_usual, moves_with
from matrixdoc.checks.situation import Look, Situation, both_ends
from matrixdoc.definition.wiring import GROUND
from matrixdoc.faults.priors import Fault

RESTING_LOOK = Look("reads")


def _changed(healthy: Prediction, prediction: Prediction) -> frozenset[str]:
    """Switches that may read differently from the healthy machine."""
    usual = healthy[0][0]
    found: set[str] = set()
    for outcome, _ in prediction:
        if isinstance(outcome, frozenset) and isinstance(usual, frozenset):
            found |= outcome ^ usual
    return frozenset(found)


class Anchors:
    """Which faults touch which net groups, for cutting the scope of a look."""

    def __init__(self, predictor: Predictor) -> None:
        self.predictor = predictor
        model = predictor.model
        wiring = model.circuit.wiring
        self.by_group: dict[int, set[Fault]] = {}
        self.supply_faults: set[Fault] = set()
        self.by_part: dict[str, set[Fault]] = {}
        for fault, effect in model.effects.items():
            self.by_part.setdefault(fault.part, set()).add(fault)
            if effect.supply:
                self.supply_faults.add(fault)
            groups = set(effect.groups)
            for name in model.drives_of.get(fault.part, ()):
                groups |= model.groups_of_nets(model.part(wiring.drives[name].output).nets)
            for name in model.sensors_of.get(fault.part, ()):
                groups |= model.groups_of_nets((wiring.sensors[name].net,))
            groups |= predictor.optos.contact_groups(effect)
            for group in groups:
                self.by_group.setdefault(group, set()).add(fault)
        self.buses = predictor.points.bus_neighbours
        self._shared_nets = {GROUND} | {s.rail for s in wiring.supplies.values()}
        self._resting: dict[Fault, frozenset[str]] | None = None
        self._near: dict[tuple[tuple[str, ...], tuple[str, ...], frozenset[str]], frozenset[Fault]] = {}
        self._coils_driven: dict[str, set[str]] = {}
        for reference, coil in wiring.coils.items():
            # What turns a shared drive over to another coil decides about this one, commanded or not.
            turning = [model.drive_of_output[p] for p in coil.parts if p in model.drive_of_output]
            drives = dict.fromkeys((*predictor.coils.commands(coil), *turning))
            driven = [p for d in drives for p in model.drives_path(d)]
            for part in (*driven, *coil.enable):
                self._coils_driven.setdefault(part, set()).add(reference)
        self._known: dict[tuple[Situation, Look], frozenset[Fault]] = {}

    def resting_readers(self) -> Mapping[Fault, frozenset[str]]:
        """Faults that change what reads with nothing pressed, and what they add to it."""
        if self._resting is None:
            predictor = self.predictor
            reads = predictor.reads
            candidates = {
                f for g in (*reads.input_groups, *reads.column_groups) for f in self.by_group.get(g, ())
            }
            candidates |= {
                f for f, e in predictor.model.effects.items() if e.contact or (e.part.kind == "bridge")
            }
            rest = Situation()
            asked = [(rest, RESTING_LOOK, (f,)) for f in sorted(candidates)]
            predictor.prepare(asked)
            healthy = predictor.predict(rest, RESTING_LOOK, ())
            self._resting = {}
            for *_, faults in asked:
                prediction = predictor.predict(rest, RESTING_LOOK, faults)
                if prediction != healthy:
                    self._resting[faults[0]] = _changed(healthy, prediction)
        return self._resting

    def scope(self, situation: Situation, look: Look) -> frozenset[Fault]:
        """Faults that can change the look in this situation."""
        key = (situation, look)
        known = self._known.get(key)
        if known is None:
            known = self._known[key] = frozenset(self._scope(situation, look))
        return known

    def _scope(self, situation: Situation, look: Look) -> set[Fault]:
        if look.kind == "fuse":
            return self.by_part.get(look.target, set()) | set(self.predictor.blowing(look.target))
        if look.kind in PROVOKED:
            return self._provoked_scope(look)
        found: set[Fault] = set(self.supply_faults) if situation.power else set()
        if situation.jumpers:
            found |= self._at(self._led(situation))
        for pair in situation.swapped:
            for part in both_ends(pair):
                found |= self.by_part.get(part, set())
        if look.kind == "reads":
            return found | self._reads_scope(situation)
        if look.kind == "lamp":
            return found | self._lamp_scope(look.target) | self._at(self._lamp_buses(look.target))
        if look.kind == "meter":
            return found | self._meter_scope(situation, look) | self._trigger_scope()
        if look.kind == "new fuse":
            return found | self._fuse_scope(look.target) | self._trigger_scope()
        if look.kind == "resting coils" and situation.held:
            # A held switch may fire its coil: all that a pulse of that coil depends on matters then.
            coils = self.predictor.model.circuit.wiring.coils
            for reference in [r for r, c in coils.items() if c.fired_by in situation.held]:
                found |= self.scope(Situation(), Look("coil", reference))
        return found | self._coil_scope(look) | self._trigger_scope()

    def _provoked_scope(self, look: Look) -> set[Fault]:
        """What comes and goes where something is moved or warmed; all that a device hangs on in a run."""
        model = self.predictor.model
        if look.kind == "warm up":
            situation, plain = as_usual(model.circuit.wiring, look.target)
            return set(self.near_press(situation) if plain.kind == "reads" else self.scope(situation, plain))
        wiring = model.circuit.wiring
        near = [r for r in wiring.parts if moves_with(wiring, look.target, r)]
        return {f for r in near for f in self.by_part.get(r, ()) if model.possible[f].duty > 0.0}

    def _at(self, groups: Iterable[int]) -> set[Fault]:
        """Faults anchored at any of these net groups."""
        return {f for g in groups for f in self.by_group.get(g, ())}

    def _led(self, situation: Situation) -> frozenset[int]:
        """Net groups that the clip leads of a situation lie on."""
        nets = [net for lead in situation.jumpers for net in both_ends(lead)]
        return self.predictor.model.groups_of_nets(nets)

    def _reads_scope(self, situation: Situation) -> set[Fault]:
        if not situation.power:
            return set()
        return {*self.near_press(situation), *self.resting_readers()}

    def near_press(self, situation: Situation, told: frozenset[str] = frozenset()) -> frozenset[Fault]:
        """Faults anchored where the closed contacts of a press lead, or on a line of a switch that
        was seen to read.
        """
        key = (situation.held, situation.jumpers, told)
        known = self._near.get(key)
        if known is None:
            model = self.predictor.model
            wiring = model.circuit.wiring
            pressed = [wiring.switches[h].contact for h in situation.held]
            closed = self.predictor.reads.contacts(situation.held, ())
            joins: Joins[int] = Joins()
            reach = {r: model.groups_of_nets(model.part(r).nets) for r in {*closed, *pressed}}
            for lead in situation.jumpers:
                reach[lead] = model.groups_of_nets(both_ends(lead))
                joins.join(reach[lead])
                pressed.append(lead)
            for reference in closed:
                joins.join(reach[reference])
            # Contacts that rest closed elsewhere, in wiring of their own, do not bear on this press.
            roots = {joins.find(g) for reference in pressed for g in reach[reference]}
            groups = {g for some in reach.values() for g in some if joins.find(g) in roots}
            for reference in told:
                groups |= self.predictor.reads.line_groups(reference)
            known = self._near[key] = frozenset(self._at(groups) | self.supply_faults)
        return known

    def _meter_scope(self, situation: Situation, look: Look) -> set[Fault]:
        model = self.predictor.model
        across = "" if situation.power else self.predictor.meter.part_across(look)
        if across:
            return set(self.by_part.get(across, ()))
        groups = set(model.groups_of_nets((look.red, look.black)))
        for reference in self.predictor.reads.contacts(situation.held, ()):
            joined = model.groups_of_nets(model.part(reference).nets)
            if joined & groups:
                groups |= joined
        return self._at(groups | {b for g in groups for b in self.buses.get(g, ())})

    def _fuse_scope(self, fuse: str) -> set[Fault]:
        """Faults behind a fuse: of what hangs on its net, on the feeds of it, and of what drives that.

        Nothing that only opens or weakens blows a fuse; but it spares one.
        """
        model = self.predictor.model
        supply = self.predictor.fuses.supply_of.get(fuse)
        nets = (supply.rail,) if supply is not None else model.part(fuse).nets
        groups = set(model.groups_of_nets(nets))
        behind = {g for g, feeds in self.buses.items() if groups & feeds} | groups
        return self._at(behind)

    def _trigger_scope(self) -> set[Fault]:
        """Faults around the switches that fire a coil by themselves."""
        model = self.predictor.model
        wiring = model.circuit.wiring
        nets: list[str] = []
        for coil in wiring.coils.values():
            sensor = wiring.sensors.get(coil.trigger)
            if sensor is not None:
                nets += [sensor.net, *model.part(wiring.switches[coil.fired_by].contact).nets]
        return self._at(model.groups_of_nets(nets))

    def _coil_scope(self, look: Look) -> set[Fault]:
        """Faults that a coil can notice: in its own circuit and feed anything; elsewhere only what
        adds a connection and so pulls the feed down, or drives another coil by itself.
        """
        predictor = self.predictor
        model = predictor.model
        found: set[Fault] = set()
        distant: list[FaultEffect] = []
        wiring = model.circuit.wiring
        elements = [c.element for c in wiring.coils.values() if c.element]
        groups = set(model.groups_of_nets(n for e in elements for n in model.part(e).nets))
        # Between a winding and its drive there may be a contact set: the drive's side counts as well.
        for reference in predictor.coils.coils:
            groups |= predictor.coils.own_groups(reference)
        own = set(predictor.coils.own_groups(look.target)) if look.kind == "coil" else set()
        groups |= own
        candidates = self._at(groups | {b for g in groups for b in self.buses.get(g, ())})
        if look.kind == "coil":
            # Behind an interlock the feed goes on: two buses with a contact between them.
            upstream = predictor.coils.feed_parts(look.target)
            candidates |= {f for part in upstream for f in self.by_part.get(part, ())}
        for fault in candidates:
            effect = model.effects[fault]
            near = look.kind == "coil" and bool(
                effect.groups & own
                or look.target in self._coils_driven.get(fault.part, ())
                or (alters_only(effect) and fault.part in predictor.coils.feed_parts(look.target))
            )
            if near or (look.kind == "resting coils" and not alters_only(effect)):
                found.add(fault)
            elif look.kind == "coil" and not alters_only(effect):
                distant.append(effect)
        if look.kind == "coil":
            distant.sort(key=lambda e: e.fault)
            found |= {e.fault for e in predictor.coils.pulled_down(look.target, distant)}
            found |= predictor.timing.of_coil.get(look.target, frozenset())
        return found

    def _lamp_scope(self, lamp: str) -> set[Fault]:
        """Faults of the lamp's cell, of its two lines and of the cells along them, and every drive.

        Farther away a fault reaches the lamp only through a third line, by a share of a share.
        """
        wiring = self.predictor.model.circuit.wiring
        matrix = wiring.matrices.get(wiring.lamps[lamp].matrix)
        if matrix is None:
            model = self.predictor.model
            groups = model.groups_of_nets(model.part(wiring.lamps[lamp].element).nets)
            return {f for g in groups for f in self.by_group.get(g, ())}
        own = next(c for c in matrix.cells if c.reference == lamp)
        parts: set[str] = set()
        for cell in matrix.cells:
            if cell.column == own.column or cell.row == own.row:
                parts.update((*cell.parts, cell.element, cell.diode))
        for line in (*matrix.columns, *matrix.rows):
            drive = wiring.drives.get(line.drive)
            if drive is not None:
                parts.update((*drive.path, drive.output))
            if line.key in (own.column, own.row):
                parts.update(line.parts)
        nets = {n for p in parts if p for n in self.predictor.model.part(p).nets}
        nets -= self._shared_nets
        found = {f for p in parts for f in self.by_part.get(p, ())}
        for reference, bridge in self.predictor.model.circuit.bridges.items():
            if nets.intersection(bridge.nets):
                found |= self.by_part.get(reference, set())
        return found

    def _lamp_buses(self, lamp: str) -> set[int]:
        model = self.predictor.model
        groups = model.groups_of_nets(model.part(model.circuit.wiring.lamps[lamp].element).nets)
        return {b for g in groups for b in self.buses.get(g, ())}


def predictor_anchors(predictor: Predictor) -> Anchors:
    """The anchors of ``predictor``, made once and kept with it."""
    if predictor.anchors is None:
        predictor.anchors = Anchors(predictor)
    return cast("Anchors", predictor.anchors)
