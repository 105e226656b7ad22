"""What of a circuit never changes while the same rails are live, worked out once.

Nets that pure resistances join (wires, joints, pins, windings, lamps) form *clusters*; ground and
live stiff rails bound them and are not passed. Inside a cluster everything that hangs on by one
branch only is a *tree* towards the *core*, the nets that may carry current at rest; distances
along the tree are resistances, so any stretch of a chain between two nets of interest is one
subtraction. Junctions, sources and (at an instant) closed contacts and driven parts are *links*
between clusters. A cluster that one neighbour alone feeds is a *leaf*: nobody needs to look at it
unless an instant touches it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from matrixdoc.circuit.elements import Circuit, RawBranch, part_branches

OUTSIDE = -1
"""Cluster number of ground and live stiff rails."""
NO_PART = -1


class Link(NamedTuple):
    """A branch between two clusters (or one and a boundary), with the number of its part."""

    first: int
    second: int
    branch: RawBranch
    part: int


class Loop(NamedTuple):
    """A link between two nets of one cluster.

    It matters only if something else is attached inside ``ranges`` (half-open ranges of tree
    numbers), the trees that it closes to a ring.
    """

    link: Link
    ranges: tuple[tuple[int, int], ...]
    always: bool


@dataclass(slots=True)
class Structure:
    """See the module. Lists are indexed by net number or cluster number; not to be changed."""

    live: frozenset[int]
    cold: bool
    boundary: frozenset[int]
    idle: list[tuple[RawBranch, ...]]
    active: list[tuple[RawBranch, ...]]
    cluster_of: list[int]
    parent: list[int]
    distance: list[float]
    depth: list[int]
    enter: list[int]
    leave: list[int]
    root: list[int]
    child_of_part: dict[int, int]
    core_nets: list[tuple[int, ...]] = field(default_factory=list)
    core_branches: list[tuple[tuple[RawBranch, int], ...]] = field(default_factory=list)
    core_parts: list[frozenset[int]] = field(default_factory=list)
    anchored: list[bool] = field(default_factory=list)
    links: list[tuple[Link, ...]] = field(default_factory=list)
    loops: list[tuple[Loop, ...]] = field(default_factory=list)
    leaf_parent: list[int | None] = field(default_factory=list)
    leaf_links: list[tuple[Link, ...]] = field(default_factory=list)
    group_of: list[int] = field(default_factory=list)
    sources: dict[int, tuple[tuple[int, int], ...]] = field(default_factory=dict)
    part_groups: dict[int, tuple[int, ...]] = field(default_factory=dict)
    plain: list[bool] = field(default_factory=list)
    """Clusters without loops and without the source of a rail."""
    filled: dict[tuple[int, frozenset[int]], list[tuple[RawBranch, int]]] = field(default_factory=dict)
    """Memo of branches of untouched clusters, by the nets attached to them (see ``islands.py``)."""
    patched: dict[tuple[Any, ...], int] = field(default_factory=dict)
    """Numbers below 0 of what patches make of parts but for the ohms (see ``touched.py``)."""
    changes: dict[tuple[str, int, bool], tuple[Any, Any]] = field(default_factory=dict)
    """Memo of what patches do to parts (see ``screening.py``): the patch itself and its change."""


def structure_of(circuit: Circuit, live: frozenset[int]) -> Structure:
    """The structure for a set of live rails (numbers into ``circuit.rails``), kept with the circuit."""
    found: Structure | None = circuit.structures.get(live)
    if found is None:
        found = circuit.structures[live] = _build(circuit, live)
    return found


def _idle_branches(circuit: Circuit, live: frozenset[int]) -> Iterator[tuple[RawBranch, int]]:
    """Branches at rest, with the usual load of every dead rail."""
    cold = not live
    for part, branches in enumerate(circuit.idle):
        if cold and branches:
            values, kind = circuit.part_values[part], circuit.kinds[part]
            branches = part_branches(kind, circuit.terminals[part], values, active=False, cold=True)
        for branch in branches:
            yield branch, part
    for number, rail in enumerate(circuit.rails):
        if number not in live and rail.load_ohm != float("inf"):
            yield RawBranch(rail.net, 0, rail.load_ohm, 0.0, 1.0, 0.0), NO_PART


def _build(circuit: Circuit, live: frozenset[int]) -> Structure:
    count = len(circuit.net_names)
    rails = [circuit.rails[number] for number in sorted(live)]
    boundary = frozenset({0} | {rail.net for rail in rails if rail.stiff})
    anchors = {rail.net for rail in rails if not rail.stiff} - boundary
    resistances: list[tuple[RawBranch, int]] = []
    others: list[tuple[RawBranch, int]] = []
    for branch, part in _idle_branches(circuit, live):
        plain = branch.saturation_a == 0.0 and branch.emf_v == 0.0
        (resistances if plain else others).append((branch, part))
    touching: list[list[int]] = [[] for _ in range(count)]
    for number, (branch, _) in enumerate(resistances):
        touching[branch.a].append(number)
        touching[branch.b].append(number)
    cold = not live
    idle: list[tuple[RawBranch, ...]] = list(circuit.idle)
    active: list[tuple[RawBranch, ...]] = list(circuit.active)
    if cold:
        for part, kind in enumerate(circuit.kinds):
            if any(rule.cold_ohm for rule in kind.branches) and idle[part]:
                nets, values = circuit.terminals[part], circuit.part_values[part]
                idle[part] = part_branches(kind, nets, values, active=False, cold=True)
                active[part] = part_branches(kind, nets, values, active=True, cold=True)
    result = Structure(
        live=live,
        cold=cold,
        boundary=boundary,
        idle=idle,
        active=active,
        cluster_of=[OUTSIDE] * count,
        parent=[OUTSIDE] * count,
        distance=[0.0] * count,
        depth=[0] * count,
        enter=[0] * count,
        leave=[0] * count,
        root=list(range(count)),
        child_of_part={},
    )
    clusters = _clusters(result, resistances, touching)
    _trees(result, resistances, touching, anchors, clusters)
    _links(result, others, len(clusters))
    for number in sorted(live):
        rail = circuit.rails[number]
        if not rail.stiff and rail.net not in boundary:
            cluster = result.cluster_of[rail.net]
            result.sources[cluster] = (*result.sources.get(cluster, ()), (rail.net, number))
            result.anchored[cluster] = True
    result.plain = [not loops and cluster not in result.sources for cluster, loops in enumerate(result.loops)]
    return result


def _clusters(
    result: Structure, resistances: list[tuple[RawBranch, int]], touching: list[list[int]]
) -> list[list[int]]:
    clusters: list[list[int]] = []
    cluster_of = result.cluster_of
    for start in range(len(cluster_of)):
        if cluster_of[start] != OUTSIDE or start in result.boundary:
            continue
        members = [start]
        cluster_of[start] = len(clusters)
        for net in members:
            for number in touching[net]:
                branch = resistances[number][0]
                other = branch.b if branch.a == net else branch.a
                if cluster_of[other] == OUTSIDE and other not in result.boundary:
                    cluster_of[other] = len(clusters)
                    members.append(other)
        clusters.append(members)
    return clusters


def _trees(
    result: Structure,
    resistances: list[tuple[RawBranch, int]],
    touching: list[list[int]],
    anchors: set[int],
    clusters: list[list[int]],
) -> None:
    """Strip what hangs by one resistance until the core is left; number the trees."""
    boundary, parent = result.boundary, result.parent
    degree = [len(numbers) for numbers in touching]
    gone = [False] * len(resistances)
    stripped = [False] * len(degree)
    children: list[list[int]] = [[] for _ in degree]
    step: list[float] = [0.0] * len(degree)
    for members in clusters:
        queue = [net for net in members if degree[net] <= 1 and net not in anchors]
        for net in queue:
            number = next((n for n in touching[net] if not gone[n]), None)
            if number is None or stripped[net]:
                continue
            branch, part = resistances[number]
            other = branch.b if branch.a == net else branch.a
            if other in boundary:
                continue  # the last net before a boundary is the core: its tie carries the current
            gone[number] = stripped[net] = True
            parent[net] = other
            step[net] = branch.ohm
            children[other].append(net)
            if part != NO_PART:
                result.child_of_part[part] = net
            degree[other] -= 1
            if degree[other] == 1 and other not in anchors:
                queue.append(other)
    clock = 0
    for members in clusters:
        tops = [net for net in members if not stripped[net]]
        ties_of = {top: [n for n in touching[top] if not gone[n]] for top in tops}
        core = {top for top in tops if ties_of[top] or top in anchors}
        for top in tops:
            clock = _number_tree(result, top, children, step, clock)
        result.core_nets.append(tuple(sorted(core)))
        numbers = sorted({n for found in ties_of.values() for n in found})
        result.core_branches.append(tuple(resistances[n] for n in numbers))
        result.core_parts.append(frozenset([resistances[n][1] for n in numbers]) - {NO_PART})
        ties = any(resistances[n][0].a in boundary or resistances[n][0].b in boundary for n in numbers)
        result.anchored.append(ties)


def _number_tree(
    result: Structure, top: int, children: list[list[int]], step: list[float], clock: int
) -> int:
    """Number a tree depth first (entering and leaving), with distances from its top."""
    stack = [top]
    while stack:
        net = stack.pop()
        if net < 0:
            result.leave[~net] = clock
            continue
        result.enter[net] = clock
        clock += 1
        stack.append(~net)
        for child in children[net]:
            result.root[child] = top
            result.depth[child] = result.depth[net] + 1
            result.distance[child] = result.distance[net] + step[child]
            stack.append(child)
    return clock


def _links(result: Structure, others: list[tuple[RawBranch, int]], clusters: int) -> None:
    """Links between clusters, loops inside one, leaves, and groups that links join."""
    links: list[list[Link]] = [[] for _ in range(clusters)]
    loops: list[list[Loop]] = [[] for _ in range(clusters)]
    for branch, part in others:
        link = Link(result.cluster_of[branch.a], result.cluster_of[branch.b], branch, part)
        if link.first == link.second:
            if link.first != OUTSIDE:
                loops[link.first].append(_loop(result, link))
            continue
        for cluster in {link.first, link.second} - {OUTSIDE}:
            links[cluster].append(link)
    result.group_of = _groups(links)
    result.loops = [tuple(found) for found in loops]
    leaf_parent, rest = _leaves(result, links)
    result.links = [tuple(found) for found in rest]
    result.leaf_parent = leaf_parent
    result.leaf_links = [
        tuple(found) if parent is not None else () for found, parent in zip(rest, leaf_parent, strict=True)
    ]


def _groups(links: list[list[Link]]) -> list[int]:
    """Lowest cluster number of everything that links join, per cluster."""
    group_of = list(range(len(links)))
    seen: set[int] = set()
    for start in range(len(links)):
        if start in seen:
            continue
        seen.add(start)
        members = [start]
        for cluster in members:
            group_of[cluster] = start
            for link in links[cluster]:
                for other in (link.first, link.second):
                    if other != OUTSIDE and other not in seen:
                        seen.add(other)
                        members.append(other)
    return group_of


def _leaves(result: Structure, links: list[list[Link]]) -> tuple[list[int | None], list[list[Link]]]:
    """Parents of leaf clusters, and the links of each cluster without those to its leaves."""
    leaf_parent: list[int | None] = [None] * len(links)
    rest = [list(found) for found in links]
    queue = list(range(len(links)))
    for cluster in queue:
        if leaf_parent[cluster] is not None or result.anchored[cluster]:
            continue
        own = rest[cluster]
        neighbours = {link.second if link.first == cluster else link.first for link in own}
        if len(neighbours) != 1 or any(link.branch.emf_v != 0.0 for link in own):
            continue
        neighbour = neighbours.pop()
        leaf_parent[cluster] = neighbour
        if neighbour != OUTSIDE:
            rest[neighbour] = [link for link in rest[neighbour] if link not in own]
            queue.append(neighbour)
    return leaf_parent, rest


def _loop(result: Structure, link: Link) -> Loop:
    a, b = link.branch.a, link.branch.b
    if result.root[a] != result.root[b] or link.branch.emf_v != 0.0:
        return Loop(link, (), always=True)
    ranges = []
    for low, high in ((a, b), (b, a)):
        top = low
        if result.enter[low] <= result.enter[high] < result.leave[low]:
            continue  # this end is the ancestor: nothing of the ring is below it on its side
        while not result.enter[result.parent[top]] <= result.enter[high] < result.leave[result.parent[top]]:
            top = result.parent[top]
        ranges.append((result.enter[top], result.leave[top]))
    return Loop(link, tuple(ranges), always=False)
