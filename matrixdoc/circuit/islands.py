"""From an instant to the few branches that decide what is wanted of it.

Of the clusters that are reached (see ``reach.py``) only the core is kept, and the stretches of its trees
between attached nets.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping, Sequence

from matrixdoc.circuit.elements import RawBranch
from matrixdoc.circuit.reach import Levels, flows, reach_of
from matrixdoc.circuit.structure import NO_PART, OUTSIDE, Link, Structure
from matrixdoc.circuit.touched import Touched

SOURCE_OFFSET = -10
"""Part number of the source branch of rail ``n`` is ``SOURCE_OFFSET - n``."""

MOST_FILLED = 20_000
"""More filled clusters than this are not kept with a structure."""


def island_branches(
    structure: Structure,
    sources: dict[int, RawBranch],
    wanted: Sequence[int],
    also: Mapping[int, tuple[int, ...]],
    touched: Sequence[Touched],
    levels: Mapping[int, float] | None = None,
) -> list[tuple[RawBranch, int]]:
    """Branches (with part numbers) that decide the volts of the wanted nets.

    And whatever current flows at the nets ``also``, the ends of parts whose current is wanted.
    ``sources``: source branch by rail number, for live rails that are not stiff. The result may
    hold branches that turn out to carry nothing, never too few. ``levels``: volts of the boundary
    nets, to leave out junctions that cannot be on (see :func:`_without_clamps`).
    """
    reach = reach_of(structure, wanted, also, touched, None if levels is None else Levels(levels, sources))
    removed = {item.part for item in touched}
    if not reach.targets and not flows(structure, reach, removed, also):
        return []
    return reach.direct + _expand(structure, sources, wanted, removed, reach.links, reach.keep)


def _expand(
    structure: Structure,
    sources: dict[int, RawBranch],
    wanted: Sequence[int],
    removed: set[int],
    links: list[Link],
    keep: set[int],
) -> list[tuple[RawBranch, int]]:
    cluster_of, core = structure.cluster_of, structure.core_parts
    attached: dict[int, set[int]] = {cluster: set(structure.core_nets[cluster]) for cluster in keep}
    result: list[tuple[RawBranch, int]] = []
    for net in wanted:
        if cluster_of[net] in keep:
            attached[cluster_of[net]].add(net)
    for first, second, branch, part in links:
        if (first == OUTSIDE or first in keep) and (second == OUTSIDE or second in keep):
            result.append((branch, part))
            if first != OUTSIDE:
                attached[first].add(branch.a)
            if second != OUTSIDE:
                attached[second].add(branch.b)
    cuts: set[int] = set()
    for part in removed:
        child = structure.child_of_part.get(part)
        if child is not None and cluster_of[child] in keep:
            cuts.add(child)
            attached[cluster_of[child]].update((child, structure.parent[child]))
    for cluster in sorted(keep):
        own = attached[cluster]
        if structure.plain[cluster] and cuts.isdisjoint(own) and removed.isdisjoint(core[cluster]):
            result.extend(_untouched(structure, cluster, own))
        else:
            _fill(structure, sources, cluster, removed, own, cuts, result)
    return result


def _untouched(structure: Structure, cluster: int, attached: set[int]) -> list[tuple[RawBranch, int]]:
    """What a cluster comes to of which nothing is touched: the nets attached to it decide."""
    key = (cluster, frozenset(attached))
    known = structure.filled.get(key)
    if known is None:
        if len(structure.filled) >= MOST_FILLED:
            structure.filled.clear()
        known = structure.filled[key] = []
        _fill(structure, {}, cluster, set(), attached, set(), known)
    return known


def _fill(
    structure: Structure,
    sources: dict[int, RawBranch],
    cluster: int,
    removed: set[int],
    attached: set[int],
    cuts: set[int],
    result: list[tuple[RawBranch, int]],
) -> None:
    """Core branches, sources, closed loops and stretches of the trees of one cluster."""
    for branch, part in structure.core_branches[cluster]:
        if part not in removed or part == NO_PART:
            result.append((branch, part))
    for net, rail in structure.sources.get(cluster, ()):
        result.append((sources[rail], SOURCE_OFFSET - rail))
        attached.add(net)
    if structure.loops[cluster]:
        _close_loops(structure, cluster, removed, attached, result)
    if len(attached) > 1:
        _tree(structure, attached, cuts, result)


def _close_loops(
    structure: Structure,
    cluster: int,
    removed: set[int],
    attached: set[int],
    result: list[tuple[RawBranch, int]],
) -> None:
    """Take in the links that close a ring with something attached inside it."""
    waiting = [loop for loop in structure.loops[cluster] if loop.link.part not in removed]
    numbers = sorted(structure.enter[net] for net in attached)
    while True:
        found = []
        for loop in waiting:
            inside = loop.always
            for low, high in loop.ranges:
                place = bisect_left(numbers, low)
                inside = inside or (place < len(numbers) and numbers[place] < high)
            if inside:
                found.append(loop)
        if not found:
            return
        for loop in found:
            waiting.remove(loop)
            attached.update((loop.link.branch.a, loop.link.branch.b))
            result.append((loop.link.branch, loop.link.part))
        numbers = sorted(structure.enter[net] for net in attached)


def _tree(
    structure: Structure, attached: set[int], cuts: set[int], result: list[tuple[RawBranch, int]]
) -> None:
    """Stretches of the tree between attached nets (an auxiliary tree over lowest common ancestors)."""
    enter, leave, parent = structure.enter, structure.leave, structure.parent
    depth, root, distance = structure.depth, structure.root, structure.distance

    def join(child: int, above: int) -> None:
        if child in cuts and parent[child] == above:
            return
        ohm = distance[child] - distance[above]
        result.append((RawBranch(child, above, max(1e-09, ohm), 0.0, 1.0, 0.0), NO_PART))

    stack: list[int] = []
    for net in sorted(attached, key=enter.__getitem__):
        if stack:
            if root[net] != root[stack[0]]:
                while len(stack) > 1:
                    join(stack[-1], stack[-2])
                    stack.pop()
                stack.clear()
            else:
                common, number = stack[-1], enter[net]
                while not enter[common] <= number < leave[common]:
                    common = parent[common]
                while len(stack) > 1 and depth[stack[-2]] >= depth[common]:
                    join(stack[-1], stack[-2])
                    stack.pop()
                if stack[-1] != common:
                    join(stack[-1], common)
                    stack[-1] = common
        stack.append(net)
    while len(stack) > 1:
        join(stack[-1], stack[-2])
        stack.pop()
