"""One machine prepared for prediction: who commands what, and which nets hang together.

Prediction asks the same three questions of every fault: does it change a signal (then it changes
which outputs conduct), does it open something, or does it add a connection? The answers decide
what has to be solved at all:

* opening or altering a part that carries no current in the circuit changes nothing, whatever
  else is opened (a dead branch cannot come alive by opening more);
* a part added in a region that no closed contact, no added connection and no shared supply joins
  to the region looked at changes nothing there.

Both are properties of the circuit; no table of interacting faults exists.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field

from matrixdoc.checks.chart import CHART, CHART_PART, Possible
from matrixdoc.checks.joins import Joins
from matrixdoc.checks.situation import both_ends
from matrixdoc.circuit.netlist import Circuit, Lead
from matrixdoc.circuit.patch import Patch
from matrixdoc.definition.wiring import GROUND, Part
from matrixdoc.faults.priors import Fault, PossibleFault

CONTACT_KINDS = frozenset({"contact", "phototransistor"})
SIGNAL_KINDS = frozenset(
    {"logic_output", "link_pin", "pre_driver", "decoder", "logic_input", "enable", "relay_coil_driver"}
)
TWO_WAY_OUTPUTS = frozenset({"strobe_push_pull", "strobe_source_push_pull", "changeover"})
BUS_KINDS = frozenset({"wire", "joint", "pin", "fuse"})


@dataclass(frozen=True, slots=True, eq=False)
class FaultEffect:
    """What a fault touches. One object per fault of a model, so it compares by identity.

    ``signal``: it sits in the signal layer. ``contact``: it forces a contact closed (True) or
    open (False). ``output``: it forces a one-way output on (True) or off (False). ``analog``: it
    stays as a patch for the solver. ``adding``: it can make current flow where none flowed.
    ``supply``: it changes a rail. ``groups``: the net groups it attaches to. ``lead``: it is no fault
    but a clip lead that a person put on. ``timing``: it changes nothing that the circuit shows.
    """

    fault: Fault
    part: Part
    patch: Patch
    signal: bool = False
    contact: bool | None = None
    output: bool | None = None
    analog: bool = False
    adding: bool = False
    supply: str = ""
    groups: frozenset[int] = frozenset()
    lead: Lead | None = None
    timing: bool = False


@dataclass(frozen=True)
class MachineModel:
    """The machine with its possible faults, indexed for prediction. Build with :func:`build_model`.

    ``group_of`` maps each net to the number of its group: nets joined by parts that always can
    conduct, with contacts open, outputs idle, and ground, stiff rails and the feeds of the other
    rails taken away. Ground and stiff rails have no group.
    """

    circuit: Circuit
    possible: Possible
    effects: Mapping[Fault, FaultEffect]
    group_of: Mapping[str, int]
    bus_groups: frozenset[int]
    drives_of: Mapping[str, tuple[str, ...]]
    drive_of_output: Mapping[str, str]
    sensors_of: Mapping[str, tuple[str, ...]]
    switch_of_contact: Mapping[str, str]
    line_groups: Mapping[str, int] = field(default_factory=dict)
    resting_contacts: frozenset[str] = frozenset()
    feed_contacts: frozenset[str] = frozenset()
    logic_rails: frozenset[str] = frozenset()

    def groups_of_nets(self, nets: Iterable[str]) -> frozenset[int]:
        """Groups of ``nets``, boundaries left out."""
        group_of = self.group_of
        return frozenset(group_of[n] for n in nets if n in group_of)

    def drives_path(self, drive: str) -> tuple[str, ...]:
        """Signal parts and the output of a drive; nothing for an empty name."""
        found = self.circuit.wiring.drives.get(drive)
        return (*found.path, found.output) if found is not None else ()

    def part(self, reference: str) -> Part:
        """The part, a latent bridge included."""
        if reference == CHART:
            return CHART_PART
        found = self.circuit.wiring.parts.get(reference)
        return found if found is not None else self.circuit.bridges[reference]


def _stiff_rails(circuit: Circuit) -> frozenset[str]:
    return frozenset(s.rail for s in circuit.wiring.supplies.values() if s.stiff)


def _alternating_parts(circuit: Circuit) -> dict[str, str]:
    """Parts that make a rail rather than hang on it, with the supply's name."""
    found: dict[str, str] = {}
    for name, supply in circuit.wiring.supplies.items():
        for reference in (*supply.ac_parts, *supply.rectifiers, supply.capacitor, supply.regulator):
            if reference:
                found[reference] = name
    return found


def _feed_contacts(circuit: Circuit) -> frozenset[str]:
    """Contacts that lie in a feed and are closed in service (a door interlock): normally closed
    switches that nothing reads and that are no part of a coil's own circuit.
    """
    wiring = circuit.wiring
    own = {part for coil in wiring.coils.values() for part in coil.parts}
    found = (
        s.contact for s in wiring.switches.values() if s.normally_closed and not s.sensor and not s.matrix
    )
    return frozenset(found) - own


def _logic_rails(circuit: Circuit) -> frozenset[str]:
    """Stiff rails that a part of the switch inputs hangs on: the logic lives on them."""
    wiring = circuit.wiring
    inputs = {sensor.net for sensor in wiring.sensors.values()}
    stiff = _stiff_rails(circuit)
    return frozenset(
        net
        for part in wiring.parts.values()
        if part.kind == "resistor" and inputs.intersection(part.nets)
        for net in part.nets
        if net in stiff
    )


def _bus_nets(
    circuit: Circuit, boundaries: frozenset[str], alternating: Mapping[str, str], contacts: frozenset[str]
) -> frozenset[str]:
    """Nets that a soft rail reaches through wires, joints, pins, fuses and ``contacts`` alone."""
    parts_at: dict[str, list[Part]] = {}
    for part in circuit.wiring.parts.values():
        if (part.kind in BUS_KINDS or part.reference in contacts) and part.reference not in alternating:
            for net in part.nets:
                parts_at.setdefault(net, []).append(part)
    bus: set[str] = set()
    waiting = [s.rail for s in circuit.wiring.supplies.values() if not s.stiff]
    while waiting:
        net = waiting.pop()
        if net in bus or net in boundaries:
            continue
        bus.add(net)
        waiting.extend(other for part in parts_at.get(net, ()) for other in part.nets)
    return frozenset(bus)


def _effect(
    fault: Fault,
    patch: Patch,
    part: Part,
    groups: frozenset[int],
    alternating: Mapping[str, str],
    selecting: AbstractSet[str] = frozenset(),
    contacts: AbstractSet[str] = frozenset(),
) -> FaultEffect:
    """``groups`` are those of the part's nets."""
    connects = patch.shunt_ohm is not None or patch.ground_ohm is not None or patch.reversed
    bare = not connects and not patch.values
    if bare and not patch.absent and not patch.stuck:
        return FaultEffect(fault, part, patch, timing=True)
    if part.reference in alternating:
        return FaultEffect(fault, part, patch, supply=alternating[part.reference])
    kind = part.kind
    if kind in SIGNAL_KINDS or not part.nets:
        # A select line with the wrong level picks another drive: that adds as much as it takes.
        return FaultEffect(fault, part, patch, signal=True, adding=part.reference in selecting)
    contact = kind in CONTACT_KINDS
    if (contact or part.reference in contacts) and bare and (patch.absent or patch.stuck):
        return FaultEffect(fault, part, patch, contact=patch.stuck == "active", groups=groups)
    if kind == "sensing" and bare and patch.stuck:
        return FaultEffect(fault, part, patch, signal=True, groups=groups)
    one_way = not contact and kind not in TWO_WAY_OUTPUTS
    if one_way and bare and patch.stuck:
        return FaultEffect(fault, part, patch, output=patch.stuck == "active", groups=groups)
    adding = connects or patch.stuck == "active" or (bool(patch.stuck) and not one_way)
    return FaultEffect(fault, part, patch, analog=True, adding=adding, groups=groups)


def _net_groups(
    circuit: Circuit, apart: AbstractSet[str], bus: frozenset[str], outputs: frozenset[str]
) -> dict[str, int]:
    """Number each net by its group. ``apart``: boundary nets, and parts that make a rail."""
    joins: Joins[str] = Joins()
    every: dict[str, None] = {}
    for part in circuit.wiring.parts.values():
        if part.reference in apart or part.kind == "capacitor":
            continue
        nets = [n for n in part.nets if n not in apart]
        every.update(dict.fromkeys(nets))
        if part.kind not in CONTACT_KINDS and part.reference not in outputs:
            joins.join(n for n in nets if n not in bus)
            joins.join(n for n in nets if n in bus)
    numbers: dict[str, int] = {}
    return {net: numbers.setdefault(joins.find(net), len(numbers)) for net in every}


def _drives_of(circuit: Circuit) -> dict[str, tuple[str, ...]]:
    """For each signal part: the drives that it commands, enables or selects."""
    wiring = circuit.wiring
    found: dict[str, list[str]] = {}
    for name, drive in wiring.drives.items():
        for reference in dict.fromkeys((*drive.path, *(s for s, _ in drive.select))):
            found.setdefault(reference, []).append(name)
    for coil in wiring.coils.values():
        for reference in coil.enable:
            known = found.setdefault(reference, [])
            if coil.drive and coil.drive not in known:
                known.append(coil.drive)
    return {reference: tuple(names) for reference, names in found.items()}


def build_model(circuit: Circuit, possible: Mapping[Fault, PossibleFault]) -> MachineModel:
    """Index ``circuit`` and its possible faults for prediction."""
    wiring = circuit.wiring
    boundaries = _stiff_rails(circuit) | {GROUND}
    alternating = _alternating_parts(circuit)
    feed_contacts = _feed_contacts(circuit)
    bus = _bus_nets(circuit, boundaries, alternating, feed_contacts)
    switch_of_contact = {s.contact: r for r, s in wiring.switches.items() if s.contact}
    drive_of_output = {d.output: name for name, d in wiring.drives.items()}
    controlled = frozenset(drive_of_output) | switch_of_contact.keys()
    group_of = _net_groups(circuit, boundaries | alternating.keys(), bus, controlled)
    bus_groups = frozenset(group_of[n] for n in bus if n in group_of)
    selecting = frozenset(part for d in wiring.drives.values() for part, _ in d.select)
    effects: dict[Fault, FaultEffect] = {}
    groups_of: dict[str, frozenset[int]] = {}
    for fault, entry in possible.items():
        part = wiring.parts.get(fault.part) or circuit.bridges[fault.part]
        groups = groups_of.get(fault.part)
        if groups is None:
            groups = frozenset([group_of[n] for n in part.nets if n in group_of])
            groups_of[fault.part] = groups
        effects[fault] = _effect(
            fault, entry.patch, part, groups, alternating, selecting, switch_of_contact.keys()
        )
    sensors_of: dict[str, list[str]] = {}
    for name, sensor in wiring.sensors.items():
        for reference in (sensor.reference, *sensor.path):
            sensors_of.setdefault(reference, []).append(name)
    resting = frozenset(s.contact for s in wiring.switches.values() if s.normally_closed)
    resting |= frozenset(
        p.reference
        for p in wiring.parts.values()
        if p.kind in CONTACT_KINDS
        and p.values.get("normally_closed")
        and p.reference not in switch_of_contact
    )
    return MachineModel(
        circuit,
        Possible(possible),
        effects,
        group_of,
        bus_groups,
        _drives_of(circuit),
        drive_of_output,
        {k: tuple(v) for k, v in sensors_of.items()},
        switch_of_contact,
        resting_contacts=resting,
        feed_contacts=feed_contacts,
        logic_rails=_logic_rails(circuit),
    )


def opens_only(effect: FaultEffect) -> bool:
    """Whether the fault only takes something away: a dead branch cannot come alive by it."""
    patch = effect.patch
    if effect.contact is not None:
        return not effect.contact
    if effect.output is not None:
        return not effect.output
    if effect.signal:
        return not effect.adding and (patch.absent or patch.stuck == "idle")
    return not effect.adding and (patch.absent or patch.stuck == "idle")


def alters_only(effect: FaultEffect) -> bool:
    """Whether the fault opens or changes a part but adds no connection and drives nothing: without
    current in the part it changes nothing.
    """
    if effect.contact is not None or effect.output is not None or effect.signal:
        return opens_only(effect)
    return not effect.adding and not effect.supply and effect.patch.stuck != "active"


def effect_of_opening(model: MachineModel, reference: str) -> FaultEffect:
    """The effect of taking ``reference`` out of circuit: a fuse out, a plug off, a lug lifted."""
    part = model.part(reference)
    fault = Fault(reference, "opened")
    groups = model.groups_of_nets(part.nets)
    return _effect(fault, Patch(absent=True), part, groups, _alternating_parts(model.circuit))


JUMPER_OHM = 0.05
"""A clip lead with its two clips (common practice, no source)."""


def effect_of_jumper(model: MachineModel, jumper: str) -> FaultEffect:
    """The effect of a clip lead (see ``situation.jumper``): a connection that is no part's."""
    nets = both_ends(jumper)
    part = Part(f"jumper {jumper}", "jumper", nets)
    lead = Lead(*nets, JUMPER_OHM)
    groups = model.groups_of_nets(nets)
    return FaultEffect(
        Fault(part.reference, "on"), part, Patch(), analog=True, adding=True, groups=groups, lead=lead
    )
