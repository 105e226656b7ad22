"""How far an instant reaches: which clusters of nets can carry current, or hold what is wanted.

From the wanted nets the clusters are searched through their links; clusters that current can only enter,
or only leave, carry none (leakage apart) and are dropped unless a voltage in them is wanted.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from matrixdoc.circuit.elements import RawBranch
from matrixdoc.circuit.structure import OUTSIDE, Link, Structure
from matrixdoc.circuit.touched import Touched


class Levels(NamedTuple):
    """Volts of the boundary nets, and the source branches of rails by number."""

    boundary: Mapping[int, float]
    sources: Mapping[int, RawBranch]


class Reach(NamedTuple):
    """What is reached from the wanted nets and parts.

    ``links`` between clusters, ``keep``: clusters that carry current or hold a wanted net,
    ``targets``: clusters of wanted nets, ``direct``: branches between boundaries. ``fed``: clusters
    that current can enter, ``steps``: from which to which it can go.
    """

    links: list[Link]
    keep: set[int]
    targets: set[int]
    direct: list[tuple[RawBranch, int]]
    fed: set[int]
    steps: list[tuple[int, int]]


def reach_of(
    structure: Structure,
    wanted: Sequence[int],
    also: Mapping[int, tuple[int, ...]],
    touched: Sequence[Touched],
    levels: Levels | None = None,
) -> Reach:
    """Search from the clusters of ``wanted`` and ``also`` (see :func:`island_branches`)."""
    removed = {item.part for item in touched}
    cluster_of = structure.cluster_of
    added: dict[int, list[Link]] = {}
    extra: dict[int, list[Link]] = {}
    climbed: set[int] = set()
    direct: list[tuple[RawBranch, int]] = []

    def climb(cluster: int) -> None:
        while cluster != OUTSIDE and cluster not in climbed:
            climbed.add(cluster)
            above = structure.leaf_parent[cluster]
            if above is None:
                return
            if above != OUTSIDE:
                extra.setdefault(above, []).extend(structure.leaf_links[cluster])
            cluster = above

    for item in touched:
        for branch in item.branches:
            first, second = cluster_of[branch.a], cluster_of[branch.b]
            if first == second == OUTSIDE:
                direct.append((branch, item.part))
                continue
            link = Link(first, second, branch, item.part)
            if first != OUTSIDE:
                added.setdefault(first, []).append(link)
                climb(first)
            if second != OUTSIDE and second != first:
                added.setdefault(second, []).append(link)
                climb(second)
    targets = {cluster_of[net] for net in wanted}
    targets.discard(OUTSIDE)
    starts = targets | {cluster_of[net] for nets in also.values() for net in nets}
    starts.discard(OUTSIDE)
    for cluster in starts:
        climb(cluster)
    reached, links = _search(structure, starts, removed, added, extra)
    if levels is not None:
        links = _without_clamps(structure, reached, links, levels)
    keep, fed, steps = _carrying(structure, reached, links, targets)
    return Reach(links, keep, targets, direct, fed, steps)


CLAMP_SATURATION_A = 2e-9
"""Junctions that leak more than this when off are never left out: 2 mV behind a megohm."""


def _without_clamps(structure: Structure, reached: set[int], links: list[Link], levels: Levels) -> list[Link]:
    """The links without junctions that come from the lowest boundary, or lead to the highest.

    In a network of resistances and junctions without sources inside, every net lies between the
    lowest and the highest of its boundaries (the maximum principle of such networks: current runs
    downhill in every branch). Such a junction is off; what it leaks is at most its saturation
    current. A net that nothing else holds is the exception: the caller asks again with all of them.
    """
    clamps = [
        link
        for link in links
        if (link.first == OUTSIDE or link.second == OUTSIDE)
        and 0.0 < link.branch.saturation_a <= CLAMP_SATURATION_A
    ]
    if not clamps:
        return links
    boundary = levels.boundary
    volts = {0.0}
    for first, second, branch, _ in links:
        if branch.emf_v:
            return links
        if first == OUTSIDE:
            volts.add(boundary[branch.a])
        if second == OUTSIDE:
            volts.add(boundary[branch.b])
    for cluster in reached:
        for _, rail in structure.sources.get(cluster, ()):
            volts.add(levels.sources[rail].emf_v)
        volts.update(
            boundary[net]
            for branch, _ in structure.core_branches[cluster]
            for net in (branch.a, branch.b)
            if net in boundary
        )
    low, high = min(volts), max(volts)
    gone = {
        id(link)
        for link in clamps
        if (boundary[link.branch.a] <= low if link.first == OUTSIDE else boundary[link.branch.b] >= high)
    }
    return [link for link in links if id(link) not in gone]


def flows(structure: Structure, reach: Reach, removed: set[int], also: Mapping[int, tuple[int, ...]]) -> bool:
    """Whether current may flow through any of these parts (number -> its nets).

    It may not where the part hangs in a tree below which nothing that carries is attached.
    """
    keep = reach.keep
    if reach.direct or any(structure.loops[cluster] for cluster in keep):
        return True
    cluster_of, enter = structure.cluster_of, structure.enter
    attached: dict[int, list[int]] = {}
    for part, nets in also.items():
        inside = [cluster_of[net] for net in nets if cluster_of[net] != OUTSIDE]
        if not all(cluster in keep for cluster in inside):
            if part not in removed and len(nets) == 2:
                continue
            if not any(cluster in keep for cluster in inside):
                continue
        child = structure.child_of_part.get(part)
        if part in removed or child is None:
            return True
        if not attached:
            for first, second, branch, _ in reach.links:
                if (first == OUTSIDE or first in keep) and (second == OUTSIDE or second in keep):
                    attached.setdefault(first, []).append(branch.a)
                    attached.setdefault(second, []).append(branch.b)
        low, high = enter[child], structure.leave[child]
        if any(low <= enter[net] < high for net in attached.get(cluster_of[child], ())):
            return True
    return False


def _search(
    structure: Structure,
    targets: set[int],
    removed: set[int],
    added: dict[int, list[Link]],
    extra: dict[int, list[Link]],
) -> tuple[set[int], list[Link]]:
    """Breadth-first over the links, stopping at boundaries; every link once."""
    queue = sorted(targets)
    reached = set(queue)
    done: set[int] = set()
    links: list[Link] = []
    nothing: list[Link] = []
    for cluster in queue:
        done.add(cluster)
        for part_of_rest, found in (
            (True, structure.links[cluster]),
            (True, extra.get(cluster, nothing)),
            (False, added.get(cluster, nothing)),
        ):
            for link in found:
                if part_of_rest and link.part in removed:
                    continue
                other = link.second if link.first == cluster else link.first
                if other in (OUTSIDE, cluster):
                    links.append(link)
                elif other not in done:
                    links.append(link)
                    if other not in reached:
                        reached.add(other)
                        queue.append(other)
    return reached, links


def dead_ends(
    structure: Structure, reach: Reach, removed: set[int], also: Mapping[int, tuple[int, ...]]
) -> set[int] | None:
    """Clusters that keep parts without current as long as nothing new is attached to them.

    For parts of which :func:`flows` says that none carries current: what lies behind each is not
    fed, or not drained, and so is all that leads to it, or all that it leads to. None if one of the
    parts lies so that this is not said.
    """
    forward: dict[int, list[int]] = {}
    back: dict[int, list[int]] = {}
    for first, second in reach.steps:
        forward.setdefault(first, []).append(second)
        back.setdefault(second, []).append(first)
    found: set[int] = set()
    for part, nets in also.items():
        behind = _behind(structure, reach, removed, part, nets)
        if behind is None:
            return None
        for cluster in behind - found:
            # Not fed: whatever leads there must stay so; else not drained: whatever it leads to.
            onward = forward if cluster in reach.fed else back
            queue = [cluster]
            found.add(cluster)
            for here in queue:
                new = [other for other in onward.get(here, ()) if other not in found]
                found.update(new)
                queue.extend(new)
    return found


def _behind(
    structure: Structure, reach: Reach, removed: set[int], part: int, nets: tuple[int, ...]
) -> set[int] | None:
    """Clusters without current at the ends of a part, or below it in its tree; None: not said."""
    cluster_of, enter = structure.cluster_of, structure.enter
    behind = {cluster_of[net] for net in nets}.difference(reach.keep, (OUTSIDE,))
    if behind:
        return behind
    child = structure.child_of_part.get(part)
    if child is None or part in removed:
        return None
    low, high = enter[child], structure.leave[child]
    for first, second, branch, _ in reach.links:
        for net, other in ((branch.a, second), (branch.b, first)):
            if cluster_of[net] == cluster_of[child] and low <= enter[net] < high:
                behind.add(other)
    return behind - {OUTSIDE}


def _spread(start: set[int], steps: list[tuple[int, int]]) -> set[int]:
    """Everything that can be reached from ``start`` along the steps."""
    if not steps:
        return start
    onward: dict[int, list[int]] = {}
    for first, second in steps:
        onward.setdefault(first, []).append(second)
    queue = list(start)
    for cluster in queue:
        for other in onward.get(cluster, ()):
            if other not in start:
                start.add(other)
                queue.append(other)
    return start


def _carrying(
    structure: Structure, reached: set[int], links: list[Link], targets: set[int]
) -> tuple[set[int], set[int], list[tuple[int, int]]]:
    """Clusters that current can enter and leave, and what wanted ones that it cannot depend on.

    With them the clusters that it can enter, and the steps that it can take.
    """
    if reached == targets and len(reached) == 1:
        return reached, reached, []
    fed = {cluster for cluster in reached if structure.anchored[cluster]}
    drained = set(fed)
    steps: list[tuple[int, int]] = []
    for first, second, branch, _ in links:
        both_ways = branch.saturation_a == 0.0 or branch.emf_v != 0.0
        if branch.emf_v != 0.0 or (both_ways and OUTSIDE in (first, second)):
            # A source, or a resistance to a boundary: current may come and go here.
            fed.update((first, second))
            drained.update((first, second))
        elif first == OUTSIDE:
            fed.add(second)
        elif second == OUTSIDE:
            drained.add(first)
        if OUTSIDE not in (first, second) and first != second:
            steps.append((first, second))
            if both_ways:
                steps.append((second, first))
    fed.discard(OUTSIDE)
    drained.discard(OUTSIDE)
    fed = _spread(fed, steps)
    drained = _spread(drained, [(second, first) for first, second in steps])
    keep = fed & drained
    if not targets <= keep:
        _keep_wanted(keep, fed, drained, targets, steps)
    return keep, fed, steps


def _keep_wanted(
    keep: set[int], fed: set[int], drained: set[int], targets: set[int], steps: list[tuple[int, int]]
) -> None:
    """Add wanted clusters without current, and those whose leakage their volts depend on."""
    before: dict[int, list[int]] = {}
    after: dict[int, list[int]] = {}
    for first, second in steps:
        before.setdefault(second, []).append(first)
        after.setdefault(first, []).append(second)
    queue = [cluster for cluster in targets if cluster not in keep]
    for cluster in queue:
        if cluster in keep:
            continue
        keep.add(cluster)
        if cluster not in drained:
            queue.extend(before.get(cluster, ()))
        if cluster not in fed:
            queue.extend(after.get(cluster, ()))
