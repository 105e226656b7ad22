"""What is on the way: the current path of a device, what feeds it, what devices share.

The graph is a networkx multigraph: nets are nodes, every part that can ever conduct is an edge
keyed by its reference, in the direction that it can conduct in.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise
from types import MappingProxyType
from typing import cast

import networkx as nx

from matrixdoc.circuit.elements import Circuit
from matrixdoc.definition.wiring import GROUND, Drive

DEVICE_KINDS = frozenset({"contact", "lamp", "led", "coil", "phototransistor", "emitter"})
"""Parts that a path goes through only if it is their own."""
DEVICE_STEP = 1000.0
SENSING_STEP = 10000.0


Routes = tuple[dict[str, float], dict[str, list[str]], dict[str, float], dict[str, list[str]]]


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


def part_graph(circuit: Circuit) -> nx.MultiDiGraph[str]:
    """Nets and parts as a directed multigraph, edge key = part reference, weight = how far."""
    return _graph(circuit)


def part_multigraph(circuit: Circuit) -> nx.MultiGraph[str]:
    """The same without directions, with the alternating side: who touches whom."""
    graph: nx.MultiGraph[str] = nx.MultiGraph()
    for reference, part in circuit.parts.items():
        if len(part.nets) >= 2 and part.kind != "bridge":
            graph.add_edge(part.nets[0], part.nets[1], key=reference)
            for net in part.nets[2:]:
                graph.add_edge(part.nets[0], net, key=reference)
    return graph


def _graph(circuit: Circuit) -> nx.MultiDiGraph[str]:
    found: nx.MultiDiGraph[str] | None = circuit.structures.get("part graph")
    if found is None:
        found = nx.MultiDiGraph()
        found.add_node(GROUND)
        for number, reference in enumerate(circuit.part_names):
            kind = circuit.kinds[number].name
            weight = DEVICE_STEP if kind in DEVICE_KINDS else SENSING_STEP if kind == "sensing" else 1.0
            for branch in dict.fromkeys((*circuit.idle[number], *circuit.active[number])):
                a, b = circuit.net_names[branch.a], circuit.net_names[branch.b]
                found.add_edge(a, b, key=reference, weight=weight)
                if branch.saturation_a == 0.0:
                    found.add_edge(b, a, key=reference, weight=weight)
        circuit.structures["part graph"] = found
    return found


def _routes(circuit: Circuit) -> Routes:
    """Distances and net lists: from the nearest rail to each net, and from each net to ground."""
    found: Routes | None = circuit.structures.get("routes")
    if found is None:
        graph = _graph(circuit)
        rails = {supply.rail for supply in circuit.wiring.supplies.values()} & set(graph)
        # Rails other than the start are passed only at a high price: a path has one supply.
        start, ways = nx.multi_source_dijkstra(graph, rails, weight="weight") if rails else ({}, {})
        end, back = nx.single_source_dijkstra(graph.reverse(copy=False), GROUND, weight="weight")
        # Without a target both answer with mappings, which their types do not say.
        found = cast("Routes", (start, ways, end, back))
        circuit.structures["routes"] = found
    return found


def _part_of(circuit: Circuit, reference: str) -> str:
    if reference in circuit.parts:
        return reference
    element = device_elements(circuit).get(reference)
    if element is None:
        raise ValueError(f"no part or device {reference!r} in this machine")
    return element


def current_path(circuit: Circuit, reference: str) -> tuple[PathStep, ...]:
    """Parts that the current of a device (or part) goes through, from its supply to ground.

    The alternating side of the supply comes first (winding, fuse, rectifier, regulator). Empty
    where nothing leads through it (a part of the signal layer, or a loose end). Raises
    ``ValueError`` for an unknown reference.
    """
    name = _part_of(circuit, reference)
    graph = _graph(circuit)
    start, ways, end, back = _routes(circuit)
    best: tuple[float, str, str] | None = None
    for a, b, key in graph.edges(nbunch=circuit.parts[name].nets, keys=True):
        if key != name or a not in start or b not in end:
            continue
        found = (start[a] + end[b], a, b)
        if best is None or found < best:
            best = found
    if best is None:
        return ()
    nets = [*ways[best[1]], *reversed(back[best[2]])]
    steps: list[PathStep] = list(_supply_steps(circuit, nets[0]))
    for a, b in pairwise(nets):
        edges = cast("dict[str, dict[str, float]]", graph.get_edge_data(a, b))
        key = name if (a, b) == best[1:] else min(edges, key=lambda part: (edges[part]["weight"], part))
        steps.append(_step(circuit, key, a, b))
    return tuple(steps)


def _supply_steps(circuit: Circuit, rail: str) -> Iterable[PathStep]:
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


def drive_of(circuit: Circuit, reference: str) -> tuple[Drive, ...]:
    """Drives whose output parts are on the current path of a device."""
    names = {step.reference for step in current_path(circuit, reference)}
    return tuple(drive for drive in circuit.wiring.drives.values() if drive.output in names)


def upstream(circuit: Circuit, reference: str) -> tuple[str, ...]:
    """Parts without which a device gets neither current nor command.

    Its current path, then the signal parts of the drives on it, then the signal parts behind the
    input that senses it, in order, each once.
    """
    names: dict[str, None] = dict.fromkeys(step.reference for step in current_path(circuit, reference))
    for drive in drive_of(circuit, reference):
        names.update(dict.fromkeys(drive.path))
    wiring = circuit.wiring
    switch = wiring.switches.get(reference)
    if switch is not None and switch.sensor in wiring.sensors:
        sensor = wiring.sensors[switch.sensor]
        names.update(
            (part.reference, None)
            for part in circuit.parts.values()
            if part.kind == "sensing" and part.nets and part.nets[0] == sensor.net
        )
        names.update(dict.fromkeys(sensor.path))
    coil = wiring.coils.get(reference)
    if coil is not None:
        names.update(dict.fromkeys(coil.enable))
    return tuple(names)


def _upstream_of_all(circuit: Circuit) -> Mapping[str, tuple[str, ...]]:
    found: Mapping[str, tuple[str, ...]] | None = circuit.structures.get("upstream")
    if found is None:
        found = MappingProxyType({name: upstream(circuit, name) for name in device_elements(circuit)})
        circuit.structures["upstream"] = found
    return found


def shared_by(circuit: Circuit, part: str) -> tuple[str, ...]:
    """Devices that a part serves: they all suffer when it fails. ``ValueError`` if unknown."""
    if part not in circuit.parts:
        raise ValueError(f"no part {part!r} in this machine")
    return tuple(device for device, names in _upstream_of_all(circuit).items() if part in names)


def shared_parts(circuit: Circuit, first: str, second: str) -> tuple[str, ...]:
    """Parts upstream of both devices, in the order of the first."""
    others = set(upstream(circuit, second))
    return tuple(name for name in upstream(circuit, first) if name in others)


def only_on(circuit: Circuit, device: str, others: Iterable[str] | None = None) -> tuple[str, ...]:
    """Parts upstream of a device and of none of the others (default: every other device).

    Devices that share their element (a switch and its cell) count as one.
    """
    elements = device_elements(circuit)
    own = _part_of(circuit, device)
    every = _upstream_of_all(circuit)
    rest = [name for name in (every if others is None else others) if elements.get(name) != own]
    taken: set[str] = set()
    for name in rest:
        taken.update(every[name] if name in every else upstream(circuit, name))
    return tuple(name for name in upstream(circuit, device) if name not in taken)
