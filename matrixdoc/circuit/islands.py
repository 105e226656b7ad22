"""From an instant to the few branches that decide what is wanted of it.

An instant *touches* parts (closed contacts, driven parts, patches, parts out of circuit, leads).
From the wanted nets the clusters are searched through their links; clusters that current can only
enter, or only leave, carry none (leakage apart) and are dropped unless a voltage in them is wanted;
of the others only the core and the stretches between attached nets are kept.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from matrixdoc.circuit.elements import Circuit, Instant, RawBranch, part_branches
from matrixdoc.circuit.kinds import check_values
from matrixdoc.circuit.structure import NO_PART, OUTSIDE, Link, Structure

LEAD_PART = -2
SOURCE_OFFSET = -10
"""Part number of the source branch of rail ``n`` is ``SOURCE_OFFSET - n``."""


class Touched(NamedTuple):
    """One touched part: its number, the branches it has now, and a key that says which."""

    part: int
    branches: tuple[RawBranch, ...]
    key: object


def touched_parts(circuit: Circuit, structure: Structure, instant: Instant) -> list[Touched]:
    """Parts of an instant that are not in the state the structure was made for, leads last.

    Raises ``ValueError`` for an unknown part or value name, naming it.
    """
    found: list[Touched] = []
    patches, values, opened = instant.patches, instant.values, instant.opened
    for name in instant.active:
        if name not in patches and name not in opened and name not in values:
            part = part_number(circuit, name, "named as active")
            if structure.active[part] != structure.idle[part]:
                found.append(Touched(part, structure.active[part], part))
    for name in values:
        if name not in patches and name not in opened:
            _changed(circuit, structure, instant, name, found)
    for name in patches:
        if name not in opened:
            _changed(circuit, structure, instant, name, found)
    for name in opened:
        part = part_number(circuit, name, "named as opened")
        if structure.idle[part]:
            found.append(Touched(part, (), ("opened", part)))
    for lead in instant.leads:
        ends = (net_number(circuit, lead.red), net_number(circuit, lead.black))
        if ends[0] != ends[1]:
            branch = RawBranch(ends[0], ends[1], lead.ohm, 0.0, 1.0, lead.emf_v)
            found.append(Touched(LEAD_PART, (branch,), branch))
    return found


def part_number(circuit: Circuit, name: str, where: str) -> int:
    """Number of a part; ``ValueError`` for a name that the machine does not have."""
    number = circuit.part_index.get(name)
    if number is None:
        raise ValueError(f"no part {name!r} in this machine ({where})")
    return number


def net_number(circuit: Circuit, name: str) -> int:
    """Number of a net; ``ValueError`` for a name that the machine does not have."""
    number = circuit.net_index.get(name)
    if number is None:
        raise ValueError(f"no net {name!r} in this machine")
    return number


def _changed(
    circuit: Circuit, structure: Structure, instant: Instant, name: str, found: list[Touched]
) -> None:
    part = part_number(circuit, name, "named in a patch")
    nets, kind = circuit.terminals[part], circuit.kinds[part]
    if not nets or name in circuit.alternating:
        return
    values = circuit.part_values[part]
    own = instant.values.get(name)
    if own:
        check_values(kind, own)
        values = {**values, **own}
    try:
        branches = part_branches(
            kind,
            nets,
            values,
            active=name in instant.active,
            patch=instant.patches.get(name),
            cold=structure.cold,
        )
    except (ValueError, IndexError) as error:
        raise ValueError(f"part {name}: {error}") from None
    if branches != structure.idle[part]:
        found.append(Touched(part, branches, (part, branches)))


def cluster_groups(structure: Structure, circuit: Circuit, touched: Touched) -> tuple[int, ...]:
    """Groups of clusters that a touched part joins or changes.

    Its branches end at its own nets and ground, so its terminals decide.
    """
    if touched.part >= 0:
        known = structure.part_groups.get(touched.part)
        if known is not None:
            return known
        nets: Iterable[int] = circuit.terminals[touched.part]
    else:
        nets = touched.branches[0][:2]
    clusters = {structure.cluster_of[net] for net in nets} - {OUTSIDE}
    groups = tuple({structure.group_of[cluster] for cluster in clusters})
    if touched.part >= 0:
        structure.part_groups[touched.part] = groups
    return groups


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


def _without_clamps(
    structure: Structure, reached: set[int], links: list[Link], levels: Levels
) -> list[Link]:
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
    queue = list(targets)
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


def _expand(
    structure: Structure,
    sources: dict[int, RawBranch],
    wanted: Sequence[int],
    removed: set[int],
    links: list[Link],
    keep: set[int],
) -> list[tuple[RawBranch, int]]:
    cluster_of = structure.cluster_of
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
    for cluster in keep:
        _fill(structure, sources, cluster, removed, attached[cluster], cuts, result)
    return result


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
