"""What of a machine an instant touches, and the numbers of what it names.

Touched are closed contacts, driven parts, patches, parts out of circuit and a meter's leads: all that is
not as in the machine at rest.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from matrixdoc.circuit.elements import Circuit, Instant, RawBranch, part_branches
from matrixdoc.circuit.kinds import check_values
from matrixdoc.circuit.structure import OUTSIDE, Structure

LEAD_PART = -2


class Touched(NamedTuple):
    """One touched part: its number, the branches it has now, and a key that says which.

    The key is the part's number for one in its other healthy state, below 0 for a patched one.
    ``ohms``: of its branches where the key says everything but these, else empty.
    """

    part: int
    branches: tuple[RawBranch, ...]
    key: object
    ohms: tuple[float, ...] = ()


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
        laws = (part, *[(a, b, saturation, emission, emf) for a, b, _, saturation, emission, emf in branches])
        key = structure.patched.setdefault(laws, ~len(structure.patched))
        found.append(Touched(part, branches, key, tuple([branch.ohm for branch in branches])))


def _cluster_groups(structure: Structure, circuit: Circuit, touched: Touched) -> tuple[int, ...]:
    """Groups of clusters that a touched part joins or changes.

    Its branches end at its own nets and ground, so its terminals decide.
    """
    if touched.part >= 0:
        nets: Iterable[int] = circuit.terminals[touched.part]
    else:
        nets = touched.branches[0][:2]
    clusters = {structure.cluster_of[net] for net in nets} - {OUTSIDE}
    groups = tuple({structure.group_of[cluster] for cluster in clusters})
    if touched.part >= 0:
        structure.part_groups[touched.part] = groups
    return groups


def by_group(
    circuit: Circuit, structure: Structure, touched: Sequence[Touched]
) -> tuple[dict[int, list[Touched]], list[tuple[int, int]], list[Touched]]:
    """Touched parts by the first group that each touches, groups that they join, and the rest."""
    groups: dict[int, list[Touched]] = {}
    joins: list[tuple[int, int]] = []
    outside: list[Touched] = []
    for item in touched:
        own = structure.part_groups.get(item.part)
        if own is None:
            own = _cluster_groups(structure, circuit, item)
        if not own:
            outside.append(item)
            continue
        groups.setdefault(own[0], []).append(item)
        for other in own[1:]:
            groups.setdefault(other, [])
            joins.append((own[0], other))
    return groups, joins, outside


def joined(groups: Iterable[int], joins: Sequence[tuple[int, int]]) -> list[list[int]]:
    """Groups, in order, by what the joins make one."""
    leader: dict[int, int] = {}
    for first, second in joins:
        first, second = _leader(leader, first), _leader(leader, second)
        if first != second:
            leader[second] = first
    members: dict[int, list[int]] = {}
    for group in sorted(groups):
        members.setdefault(_leader(leader, group), []).append(group)
    return list(members.values())


def _leader(leader: dict[int, int], group: int) -> int:
    while group in leader:
        group = leader[group]
    return group
