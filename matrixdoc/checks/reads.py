"""What a switch scan reads, with some switches held and some faults present.

Switch columns are strobed one at a time. The closed contacts, the added connections and the
opened parts split the switch wiring into regions that share no conductor; each region is solved
for every strobe phase that reaches it, and the scan is the union of what the regions read. A
region is remembered by its contents, so that a walk over a matrix costs one region per press.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import product

from matrixdoc.checks.joins import Joins
from matrixdoc.checks.levels import band, reads_high
from matrixdoc.checks.model import FaultEffect, MachineModel
from matrixdoc.checks.optos import Optos
from matrixdoc.checks.points import PointRequest, Points
from matrixdoc.checks.prediction import Prediction
from matrixdoc.checks.signals import active_outputs
from matrixdoc.circuit.netlist import OperatingPoint
from matrixdoc.definition.wiring import Line, Sensor

EVERY = "*"
MOST_COINS = 3
"""So many inputs at most are told apart whose reading is a matter of chance."""


Phase = tuple[str, str] | None
"""A column of a matrix whose turn it is (matrix, line), or none of those at hand."""


@dataclass(frozen=True, slots=True)
class _Input:
    """One sensor and the matrix row it reads (direct inputs: no matrix)."""

    sensor: Sensor
    matrix: str
    row: str
    switch: str


@dataclass(frozen=True, slots=True)
class RegionRead:
    """What one region reads: ``closed`` switch references for sure, and per undecided sensor (share,
    references that read then). What a sensor makes of two levels hangs together: the nearer to sure first.
    """

    closed: frozenset[str]
    undecided: tuple[tuple[tuple[float, frozenset[str]], ...], ...]


@dataclass(frozen=True, slots=True)
class Region:
    """Closed contacts and faults without a conductor in common with others, with the inputs and the
    columns that they bear on.
    """

    contacts: frozenset[str]
    effects: tuple[FaultEffect, ...]
    inputs: tuple[str, ...]
    columns: tuple[tuple[str, str], ...]


@dataclass(slots=True)
class _Gathered:
    """A region while it is being put together."""

    groups: set[int] = field(default_factory=set)
    contacts: set[str] = field(default_factory=set)
    effects: list[FaultEffect] = field(default_factory=list)


class Reads:
    """Predicts the switch scan of one machine."""

    def __init__(self, model: MachineModel, points: Points, optos: Optos) -> None:
        self.model = model
        self.points = points
        self.optos = optos
        wiring = model.circuit.wiring
        self.columns: dict[tuple[str, str], Line] = {}
        self.inputs: dict[str, _Input] = {}
        self.input_groups: dict[int, list[str]] = {}
        self.column_groups: dict[int, list[tuple[str, str]]] = {}
        self.column_of_drive: dict[str, tuple[str, str]] = {}
        for matrix in wiring.matrices.values():
            if matrix.device != "switch":
                continue
            strobed, sensed = (
                (matrix.columns, matrix.rows)
                if matrix.strobed == "columns"
                else (matrix.rows, matrix.columns)
            )
            for line in strobed:
                key = (matrix.name, line.key)
                self.columns[key] = line
                self.column_of_drive[line.drive] = key
                self.column_groups.setdefault(model.group_of[line.board_net], []).append(key)
            for line in sensed:
                sensor = wiring.sensors[line.sensor]
                self.inputs[line.sensor] = _Input(sensor, matrix.name, line.key, "")
        for reference, switch in wiring.switches.items():
            if switch.sensor and not switch.matrix:
                sensor = wiring.sensors[switch.sensor]
                self.inputs[switch.sensor] = _Input(sensor, "", "", reference)
        self.hidden: frozenset[str] = frozenset()
        for coil in wiring.coils.values():
            if coil.trigger in wiring.sensors and coil.trigger not in self.inputs:
                # A switch that fires its coil without the logic: no scan shows it.
                self.inputs[coil.trigger] = _Input(wiring.sensors[coil.trigger], "", "", coil.fired_by)
                self.hidden |= {coil.fired_by}
        for name, entry in self.inputs.items():
            group = model.group_of.get(entry.sensor.net)
            if group is not None:
                self.input_groups.setdefault(group, []).append(name)
        self.strobed_first = {m.name: m.strobed == "columns" for m in wiring.matrices.values()}
        self.cell_names = {
            (m.name, c.column, c.row): c.reference for m in wiring.matrices.values() for c in m.cells
        }
        self.phase_of = self._phases_of()
        self._regions: dict[tuple[frozenset[str], tuple[FaultEffect, ...]], RegionRead] = {}
        self._split: dict[tuple[frozenset[str], tuple[FaultEffect, ...]], list[Region]] = {}
        self._hidden_groups: frozenset[int] | None = None
        self._scanned = self._scan_groups()

    def _phases_of(self) -> dict[str, Phase]:
        """For each place of a matrix, the phase that reads it; no column for a direct switch."""
        found: dict[str, Phase] = {e.switch: None for e in self.inputs.values() if not e.matrix}
        for matrix in self.model.circuit.wiring.matrices.values():
            if matrix.device == "switch":
                first = self.strobed_first[matrix.name]
                for cell in matrix.cells:
                    found[cell.reference] = (matrix.name, cell.column if first else cell.row)
        return found

    def _scan_groups(self) -> frozenset[int]:
        """Net groups of all that is scanned: lines, cells, inputs and contacts."""
        model = self.model
        found = {*self.input_groups, *self.column_groups}
        for switch in model.circuit.wiring.switches.values():
            if switch.contact:
                found |= model.groups_of_nets(model.part(switch.contact).nets)
        for matrix in model.circuit.wiring.matrices.values():
            if matrix.device == "switch":
                parts = [p for cell in matrix.cells for p in (*cell.parts, cell.element, cell.diode) if p]
                found |= model.groups_of_nets(n for p in parts for n in model.part(p).nets)
        return frozenset(found)

    def cell_name(self, matrix: str, strobed: str, sensed: str) -> str:
        """The reference of the place where two lines cross, fitted or not."""
        column, row = (strobed, sensed) if self.strobed_first[matrix] else (sensed, strobed)
        return self.cell_names.get((matrix, column, row), f"{matrix}/{column}{row}")

    def line_groups(self, reference: str) -> frozenset[int]:
        """Net groups of the lines that cross at a place of a matrix (fitted or not), or of the input
        of a direct switch.
        """
        group_of = self.model.group_of
        matrix, _, cell = reference.rpartition("/")
        column, _, row = cell.rpartition("R")
        lines = (column, f"R{row}")
        found: set[int] = set()
        for (name, key), line in self.columns.items():
            if name == matrix and key in lines:
                found.add(group_of[line.board_net])
        for entry in self.inputs.values():
            crosses = entry.matrix == matrix and bool(entry.matrix) and entry.row in lines
            if (crosses or entry.switch == reference) and entry.sensor.net in group_of:
                found.add(group_of[entry.sensor.net])
        return frozenset(found)

    # -- regions -----------------------------------------------------------------------------

    def _anchors(self, effect: FaultEffect) -> frozenset[int]:
        """Groups that a signal fault acts on: those of the lines it commands or reads."""
        lit = self.optos.contact_groups(effect)
        if effect.groups and not effect.signal:
            return effect.groups | lit
        found: set[int] = set(lit)
        wiring = self.model.circuit.wiring
        for name in self.model.drives_of.get(effect.part.reference, ()):
            key = self.column_of_drive.get(name)
            if key is not None:
                found.add(self.model.group_of[self.columns[key].board_net])
        for name in self.model.sensors_of.get(effect.part.reference, ()):
            group = self.model.group_of.get(wiring.sensors[name].net)
            if group is not None and name in self.inputs:
                found.add(group)
        return frozenset(found)

    def regions(self, contacts: frozenset[str], effects: Iterable[FaultEffect]) -> list[Region]:
        """Split closed contacts and faults into regions without a common conductor."""
        key = (contacts, tuple(effects))
        known = self._split.get(key)
        if known is None:
            known = self._split[key] = self._regions_of(*key)
        return known

    def _regions_of(self, contacts: frozenset[str], effects: Sequence[FaultEffect]) -> list[Region]:
        model = self.model
        items: list[tuple[frozenset[int], str, FaultEffect | None]] = [
            (model.groups_of_nets(model.part(reference).nets), reference, None) for reference in contacts
        ]
        whole: list[FaultEffect] = []
        for effect in effects:
            if effect.supply:
                whole.append(effect)
                continue
            anchors = self._anchors(effect)
            if anchors:
                items.append((anchors, "", effect))
        if whole and not self._felt(whole):
            whole = []
        if whole:
            # A supply fault reaches every line: there is one region, the whole machine.
            every = frozenset(self.input_groups) | frozenset(self.column_groups)
            items.append((every, "", None))
        joins: Joins[int] = Joins()
        for groups, _, there in items:
            if there is None or there.adding or there.signal or len(groups) > 1:
                joins.join(groups)
        collected: dict[int, _Gathered] = {}
        for groups, reference, there in items:
            if not groups:
                continue
            gathered = collected.setdefault(joins.find(next(iter(groups))), _Gathered())
            gathered.groups.update(groups)
            if reference:
                gathered.contacts.add(reference)
            if there is not None:
                gathered.effects.append(there)
        regions = [self._region(gathered, whole) for gathered in collected.values()]
        return [region for region in regions if region.inputs]

    def _felt(self, faults: Sequence[FaultEffect]) -> bool:
        """Whether supply faults change a rail that any line of the matrices has to do with."""
        feeding = self.points.rails_near(frozenset({*self.input_groups, *self.column_groups}))
        rows = zip(self.points.rails(()), self.points.rails(faults), strict=True)
        return any(here != there for here, there in rows if here[0] in feeding)

    def _region(self, gathered: _Gathered, whole: Sequence[FaultEffect]) -> Region:
        return Region(
            frozenset(gathered.contacts),
            tuple(sorted([*gathered.effects, *whole], key=lambda e: e.fault)),
            tuple(sorted(n for g in gathered.groups for n in self.input_groups.get(g, ()))),
            tuple(sorted(k for g in gathered.groups for k in self.column_groups.get(g, ()))),
        )

    # -- solving -----------------------------------------------------------------------------

    def phases(self, region: Region) -> list[Phase]:
        """The phases of the scan in which the region reads differently: those of its columns, and any
        other column's (None).
        """
        return [*region.columns, None]

    def requests(self, region: Region, phases: Sequence[Phase]) -> list[PointRequest]:
        """What to solve for the inputs of a region in these phases."""
        rails = self.points.rails(region.effects)
        # What a fault does to an optical pair is in the contacts already.
        analog = tuple(e for e in region.effects if e.analog and (e.groups & self._scanned or e.supply))
        sensors = {self.inputs[n].sensor.net: self.inputs[n].sensor for n in region.inputs}
        levels = tuple((net, band(sensor.low_v, sensor.high_v)) for net, sensor in sensors.items())
        nets = tuple(dict.fromkeys(self.inputs[n].sensor.net for n in region.inputs))
        drives = [self.columns[key].drive for key in region.columns]
        requests = []
        for phase in phases:
            commanded = {self.columns[phase].drive} if phase else frozenset()
            active = region.contacts | active_outputs(self.model, drives, commanded, region.effects)
            requests.append(PointRequest(frozenset(active), analog, rails, nets, levels=levels))
        return requests

    def _level(self, name: str, point: OperatingPoint, region: Region) -> float:
        """Probability that input ``name`` reads closed; a half where nobody can say."""
        sensor = self.inputs[name].sensor
        touching = {e.part.reference: e.patch for e in region.effects if e.signal}
        afloat = 0.5 if sensor.floating == "undefined" else float(sensor.floating == sensor.closed_reads)
        if sensor.net in point.floating:
            state = afloat
        else:
            high = reads_high(point.volts[sensor.net], sensor.low_v, sensor.high_v)
            state = high if sensor.closed_reads == "high" else 1.0 - high
        for reference in (sensor.reference, *sensor.path):
            patch = touching.get(reference)
            if patch is not None and patch.stuck:
                state = float(patch.stuck == "active")
            elif patch is not None and patch.absent:
                state = afloat
        return state

    def read(self, region: Region, phases: Sequence[Phase], points: Sequence[OperatingPoint]) -> RegionRead:
        """What the inputs of a region read in these phases, from their operating points."""
        closed: set[str] = set()
        unsure: dict[str, dict[float, set[str]]] = {}
        inside = set(region.columns)
        for phase, point in zip(phases, points, strict=True):
            for name in region.inputs:
                state = self._level(name, point, region)
                if state <= 0.0:
                    continue
                entry = self.inputs[name]
                if entry.matrix:
                    keys = [phase] if phase else [k for k in self.columns if k not in inside]
                    read = {
                        self.cell_name(entry.matrix, k[1], entry.row) for k in keys if k[0] == entry.matrix
                    }
                else:
                    # A direct input is read in every phase alike; the last phase stands for all.
                    read = {entry.switch} if phase is None else set()
                if state >= 1.0:
                    closed |= read
                elif read:
                    unsure.setdefault(name, {}).setdefault(round(state, 3), set()).update(read)
        dice = (_nested(some, closed) for some in unsure.values())
        return RegionRead(frozenset(closed), tuple(die for die in dice if die[-1][1]))

    def prepare(self, wanted: Iterable[tuple[frozenset[str], tuple[FaultEffect, ...]]]) -> None:
        """Solve all regions of many (closed contacts, faults) pairs in one batch."""
        todo: dict[tuple[frozenset[str], tuple[FaultEffect, ...]], Region] = {}
        for contacts, effects in wanted:
            for region in self.regions(contacts, effects):
                key = (region.contacts, region.effects)
                if key not in self._regions:
                    todo.setdefault(key, region)
        if not todo:
            return
        spans = []
        requests: list[PointRequest] = []
        for key, region in todo.items():
            phases = self.phases(region)
            some = self.requests(region, phases)
            spans.append((key, region, phases, len(requests)))
            requests.extend(some)
        points = self.points.solve(requests)
        for key, region, phases, start in spans:
            self._regions[key] = self.read(region, phases, points[start : start + len(phases)])

    def contacts(self, held: Sequence[str], effects: Sequence[FaultEffect]) -> frozenset[str]:
        """Contacts that conduct: held ones and normally closed ones, as their faults allow."""
        wiring = self.model.circuit.wiring
        closed = set(self.model.resting_contacts)
        for reference in held:
            switch = wiring.switches[reference]
            if switch.normally_closed:
                closed.discard(switch.contact)
            else:
                closed.add(switch.contact)
        for contact, conducts in self.optos.conducting(held, effects).items():
            if conducts:
                closed.add(contact)
            else:
                closed.discard(contact)
        for effect in effects:
            if effect.contact is True:
                closed.add(effect.part.reference)
            elif effect.contact is False:
                closed.discard(effect.part.reference)
        return frozenset(closed)

    def pair(
        self, held: Sequence[str], effects: Sequence[FaultEffect]
    ) -> tuple[frozenset[str], tuple[FaultEffect, ...]]:
        """The (closed contacts, remaining faults) pair that ``prepare`` and ``predict`` take."""
        return self.contacts(held, effects), tuple(e for e in effects if e.contact is None)

    def reaches_hidden(self, effect: FaultEffect) -> bool:
        """Whether a fault can change what a switch that fires its coil by itself reads."""
        if self._hidden_groups is None:
            wiring = self.model.circuit.wiring
            nets = [self.inputs[n].sensor.net for n, i in self.inputs.items() if i.switch in self.hidden]
            nets += [n for s in self.hidden for n in self.model.part(wiring.switches[s].contact).nets]
            self._hidden_groups = self.model.groups_of_nets(nets)
        return bool(self._hidden_groups & (effect.groups | self._anchors(effect)))

    def fired(self, contacts: frozenset[str], effects: tuple[FaultEffect, ...]) -> frozenset[str]:
        """Switches that fire their coil without the logic and read closed for sure."""
        closed: set[str] = set()
        for region in self.regions(contacts, effects):
            closed |= self._regions[(region.contacts, region.effects)].closed
        return frozenset(closed & self.hidden)

    def predict(self, contacts: frozenset[str], effects: tuple[FaultEffect, ...]) -> Prediction:
        """Sets of switch references that read closed, with probabilities."""
        closed: set[str] = set()
        unsure: list[tuple[tuple[float, frozenset[str]], ...]] = []
        for region in self.regions(contacts, effects):
            read = self._regions[(region.contacts, region.effects)]
            closed |= read.closed - self.hidden
            unsure.extend(some for some in read.undecided if some[-1][1] - self.hidden)
        if not unsure:
            return ((frozenset(closed), 1.0),)
        outcomes: dict[frozenset[str], float] = {}
        for choice in product(*unsure[:MOST_COINS]):
            outcome = frozenset(closed.union(*(some - self.hidden for _, some in choice)))
            outcomes[outcome] = outcomes.get(outcome, 0.0) + math.prod(share for share, _ in choice)
        return tuple(sorted(outcomes.items(), key=lambda o: (-o[1], sorted(o[0]))))


def _nested(some: Mapping[float, set[str]], closed: set[str]) -> tuple[tuple[float, frozenset[str]], ...]:
    """(share, what reads) of one input from the chance that each set reads: what is the likelier reads
    whenever the less likely does, for it is one part that switches somewhere.
    """
    found: list[tuple[float, frozenset[str]]] = []
    before, read = 1.0, frozenset[str]()
    for chance, names in sorted(some.items(), reverse=True):
        found.append((before - chance, read))
        before, read = chance, read | (names - closed)
    return (*found, (before, read))
