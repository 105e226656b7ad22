"""What is on the way: the current path of a load.

The path of a load (a switch, a lamp, a coil) is the way of its current while it works: from its rail to
ground, along the least resistance, through what conducts then and nothing else. Its own drives are on
and all others at rest, its contact and those in series with it are closed, junctions conduct forward,
and no other load, rail or sensing input is passed. The graph is a networkx multigraph: nets are nodes,
every part that can ever conduct is an edge keyed by its reference, in the direction that it can
conduct in.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from types import MappingProxyType
from typing import Any, cast

import networkx as nx

from matrixdoc.circuit.elements import Circuit
from matrixdoc.definition.wiring import GROUND

LOAD_KINDS = frozenset({"contact", "lamp", "led", "coil", "phototransistor", "emitter"})
"""Parts that a path goes through only if it is their own, or in series with it."""
JUNCTION_OHM = 1.0
"""What a junction counts for on the way of least resistance (a volt at an ampere; no more than an order)."""


@dataclass(frozen=True, slots=True)
class PathStep:
    """One part on a path, in the order of the current; the words that help to find it."""

    reference: str
    kind: str
    title: str
    enters: str
    leaves: str
    board: str
    connector: str
    position: int | None
    colour: str
    place: str


@dataclass(frozen=True, slots=True)
class Service:
    """A load at work: the part that is it, what conducts then, and loads in series with it."""

    element: str
    active: frozenset[str]
    series: frozenset[str]


def device_elements(circuit: Circuit) -> Mapping[str, str]:
    """Device reference (cell, lamp, coil, switch) -> the part that is it."""
    wiring = circuit.wiring
    found: dict[str, str] = {}
    for matrix in wiring.matrices.values():
        found.update((cell.reference, cell.element) for cell in matrix.cells)
    found.update((name, lamp.element) for name, lamp in wiring.lamps.items())
    found.update((name, coil.element) for name, coil in wiring.coils.items())
    found.update((name, switch.contact) for name, switch in wiring.switches.items())
    return MappingProxyType({name: part for name, part in found.items() if part in circuit.parts})


def part_multigraph(circuit: Circuit) -> nx.MultiGraph[str]:
    """Nets and parts without directions, with the alternating side: who touches whom."""
    graph: nx.MultiGraph[str] = nx.MultiGraph()
    for reference, part in circuit.parts.items():
        if len(part.nets) >= 2 and part.kind != "bridge":
            graph.add_edge(part.nets[0], part.nets[1], key=reference)
            for net in part.nets[2:]:
                graph.add_edge(part.nets[0], net, key=reference)
    return graph


def _graph(circuit: Circuit) -> nx.MultiDiGraph[str]:
    """Every branch as an edge; ``idle`` and ``active``: in which states of its part it conducts."""
    found: nx.MultiDiGraph[str] | None = circuit.structures.get("part graph")
    if found is None:
        found = nx.MultiDiGraph()
        found.add_node(GROUND)
        for number, reference in enumerate(circuit.part_names):
            part = circuit.parts[reference]
            if part.kind in ("sensing", "bridge"):
                continue
            for branch in dict.fromkeys((*circuit.idle[number], *circuit.active[number])):
                a, b = circuit.net_names[branch.a], circuit.net_names[branch.b]
                facts = {
                    "idle": branch in circuit.idle[number],
                    "active": branch in circuit.active[number],
                    "load": part.kind in LOAD_KINDS,
                    "ohm": branch.ohm + (JUNCTION_OHM if branch.saturation_a else 0.0),
                }
                found.add_edge(a, b, key=reference, **facts)
                if branch.saturation_a == 0.0:
                    found.add_edge(b, a, key=reference, **facts)
        circuit.structures["part graph"] = found
    return found


def _feed_contacts(circuit: Circuit) -> frozenset[str]:
    """Contacts in a feed that are closed in service (a door interlock): nothing reads them."""
    wiring = circuit.wiring
    own = {part for coil in wiring.coils.values() for part in coil.parts}
    shut = {s.contact for s in wiring.switches.values() if s.normally_closed and not s.sensor}
    return frozenset(shut - own - {c.element for m in wiring.matrices.values() for c in m.cells})


def services(circuit: Circuit) -> Mapping[str, Service]:
    """Each device, and each part of an optical pair that is none, at work."""
    found: dict[str, Service] | None = circuit.structures.get("services")
    if found is None:
        wiring = circuit.wiring
        commands: dict[str, tuple[str, ...]] = {}
        series: dict[str, set[str]] = {}
        resting = {s.contact for s in wiring.switches.values() if s.normally_closed}
        for matrix in wiring.matrices.values():
            lines = {line.key: line.drive for line in (*matrix.columns, *matrix.rows)}
            for cell in matrix.cells:
                commands[cell.reference] = (lines[cell.column], lines[cell.row])
        for name, lamp in wiring.lamps.items():
            commands.setdefault(name, (lamp.drive,))
        for name, coil in wiring.coils.items():
            commands.setdefault(name, (coil.drive, *coil.also))
            # A hold winding works when the stroke has ended: its end-of-stroke contact is open then.
            barred = {coil.element, *(resting if coil.holds else ())}
            parts = [circuit.parts[part] for part in coil.parts if part in circuit.parts]
            series[name] = {part.reference for part in parts if part.kind in LOAD_KINDS} - barred
        shut = _feed_contacts(circuit)
        elements = dict(device_elements(circuit))
        for opto in wiring.optos.values():
            pair = {opto.emitter, opto.receiver} & circuit.parts.keys() - set(elements.values())
            elements.update((part, part) for part in sorted(pair))
        found = {}
        for name, element in elements.items():
            outputs = {wiring.drives[d].output for d in commands.get(name, ()) if d in wiring.drives}
            own = series.get(name, set()) | shut
            active = frozenset(outputs | own | {element})
            found[name] = Service(element, active, frozenset(own))
        circuit.structures["services"] = found
    return found


def conducting(circuit: Circuit, reference: str) -> frozenset[str]:
    """Contacts and outputs that are on while the current of a device (or part) flows.

    For a part that no device's current passes (a pull resistor): every output. Raises ``ValueError``
    for an unknown reference.
    """
    device = device_of(circuit, reference)
    if device:
        return services(circuit)[device].active
    return frozenset(drive.output for drive in circuit.wiring.drives.values()) | _feed_contacts(circuit)


def _route(
    circuit: Circuit, service: Service, start: str, *, upstream_of: bool
) -> tuple[float, list[str]] | None:
    """Least ohms, and the nets from ``start`` to ground, or (``upstream_of``) back to a rail."""
    rails = {supply.rail for supply in circuit.wiring.supplies.values()}
    ends = rails if upstream_of else {GROUND}
    if start in ends:
        return 0.0, [start]
    barred = (rails | {GROUND}) - ends
    graph = _graph(circuit)
    if start in barred or start not in graph:
        return None

    def ohms(a: str, b: str, edges: Mapping[str, Mapping[str, Any]]) -> float | None:
        if b in barred or a in ends:
            return None
        return min((edges[key]["ohm"] for key in _open(service, edges)), default=None)

    around = graph.reverse(copy=False) if upstream_of else graph
    far, ways = nx.single_source_dijkstra(around, start, weight=ohms)
    # Without a target both answer with mappings, which their types do not say.
    distances, routes = cast("dict[str, float]", far), cast("dict[str, list[str]]", ways)
    found = min((net for net in ends if net in distances), key=lambda net: distances[net], default=None)
    return (distances[found], routes[found]) if found is not None else None


def _open(service: Service, edges: Mapping[str, Mapping[str, Any]]) -> list[str]:
    """Those of parallel parts that the current may take, least ohms first."""
    some = [
        key
        for key, facts in edges.items()
        if key != service.element
        and facts["active" if key in service.active else "idle"]
        and (not facts["load"] or key in service.series)
    ]
    return sorted(some, key=lambda key: (edges[key]["ohm"], key))


def _steps(circuit: Circuit, service: Service) -> tuple[PathStep, ...]:
    """The path of a load at work."""
    graph = _graph(circuit)
    best: tuple[float, list[str], list[str]] | None = None
    for a, b, key, facts in graph.edges(nbunch=circuit.parts[service.element].nets, keys=True, data=True):
        if key != service.element or not facts["active" if key in service.active else "idle"]:
            continue
        before = _route(circuit, service, a, upstream_of=True)
        after = _route(circuit, service, b, upstream_of=False) if before else None
        if before is None or after is None or set(before[1]) & set(after[1]):
            continue
        ohm = before[0] + after[0]
        if best is None or ohm < best[0]:
            best = ohm, before[1][::-1], after[1]
    if best is None:
        return ()
    _, coming, going = best
    steps = list(_supply_steps(circuit, coming[0]))
    for nets in (coming, [coming[-1], going[0]], going):
        for a, b in pairwise(nets):
            edges = cast("dict[str, dict[str, Any]]", graph.get_edge_data(a, b))
            own = nets is not coming and nets is not going
            key = service.element if own else _open(service, edges)[0]
            steps.append(_step(circuit, key, a, b))
    return tuple(steps)


def _paths(circuit: Circuit) -> Mapping[str, tuple[PathStep, ...]]:
    """The path of every load."""
    found: Mapping[str, tuple[PathStep, ...]] | None = circuit.structures.get("paths")
    if found is None:
        found = {name: _steps(circuit, service) for name, service in services(circuit).items()}
        circuit.structures["paths"] = found
    return found


def device_of(circuit: Circuit, reference: str) -> str:
    """The load whose current path is told for a reference: itself, or the first that it serves.

    A contact in series with a coil is no load of its own: it serves the coil. Empty where no load's
    current passes. Raises ``ValueError`` for an unknown reference.
    """
    paths = _paths(circuit)
    if paths.get(reference):
        return reference
    if reference not in circuit.parts and reference not in paths:
        raise ValueError(f"no part or device {reference!r} in this machine")
    first: dict[str, str] | None = circuit.structures.get("first served")
    if first is None:
        first = {}
        for name, steps in paths.items():
            for step in steps:
                first.setdefault(step.reference, name)
        circuit.structures["first served"] = first
    element = services(circuit)[reference].element if reference in paths else reference
    return first.get(element, "")


def current_path(circuit: Circuit, reference: str) -> tuple[PathStep, ...]:
    """Parts that the current of a device goes through while it works, from its supply to ground.

    Of a part: the path of the first device whose current passes it, or (a pull resistor) a path of its
    own. The alternating side of the supply comes first (winding, fuse, rectifier, regulator). Empty
    where no current of a rail leads through it (a part of the signal layer, a loose end, a diode that
    only takes over when a coil is let go). Raises ``ValueError`` for an unknown reference.
    """
    device = device_of(circuit, reference)
    if device:
        return _paths(circuit)[device]
    if reference not in circuit.parts:
        return ()
    active = conducting(circuit, reference)
    return _steps(circuit, Service(reference, active, _feed_contacts(circuit)))


def _supply_steps(circuit: Circuit, rail: str) -> Iterator[PathStep]:
    for supply in circuit.wiring.supplies.values():
        if supply.rail == rail:
            names = dict.fromkeys((*supply.ac_parts, *supply.rectifiers, supply.capacitor, supply.regulator))
            for name in names:
                if name in circuit.parts:
                    nets = circuit.parts[name].nets
                    yield _step(circuit, name, nets[0] if nets else "", nets[1] if len(nets) > 1 else "")
            return


def _step(circuit: Circuit, name: str, enters: str, leaves: str) -> PathStep:
    part = circuit.parts[name]
    return PathStep(
        name,
        part.kind,
        part.title or circuit.table.kind(part.kind).words,
        enters,
        leaves,
        part.board,
        part.connector,
        part.position,
        part.colour,
        part.place,
    )
