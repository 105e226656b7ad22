"""Operating points of many instants: islands, reduction, one solution per distinct circuit."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from matrixdoc.circuit.elements import Circuit, Instant, OperatingPoint, RawBranch
from matrixdoc.circuit.islands import (
    LEAD_PART,
    SOURCE_OFFSET,
    Touched,
    cluster_groups,
    island_branches,
    net_number,
    touched_parts,
)
from matrixdoc.circuit.newton import Problem, Solution, solve
from matrixdoc.circuit.reduction import IslandPoint, Reduced, finish, reduce_island
from matrixdoc.circuit.structure import OUTSIDE, Structure, structure_of


@dataclass(slots=True)
class Solver:
    """Solutions already found, by canonical circuit; pass one along to keep them between calls.

    ``capacity`` bounds how many are kept: when it is reached, the older half is dropped.
    """

    capacity: int = 100_000
    solutions: dict[Problem, Solution] = field(default_factory=dict)
    asked: int = 0
    solved: int = 0

    def solve(self, problems: Sequence[Problem]) -> dict[Problem, Solution]:
        """Solutions of distinct problems; new ones are solved in batches."""
        self.asked += len(problems)
        fresh = [problem for problem in dict.fromkeys(problems) if problem not in self.solutions]
        self.solved += len(fresh)
        found = {problem: self.solutions[problem] for problem in problems if problem in self.solutions}
        found.update(zip(fresh, solve(fresh), strict=True))
        for problem in fresh:
            self.solutions[problem] = found[problem]
        if len(self.solutions) > self.capacity:
            for problem in list(self.solutions)[: len(self.solutions) - self.capacity // 2]:
                del self.solutions[problem]
        return found


@dataclass(frozen=True, slots=True)
class RailState:
    """Rails of an instant: live rail numbers, boundary volts by net, source branches by rail."""

    live: frozenset[int]
    boundary: Mapping[int, float]
    sources: dict[int, RawBranch]
    key: tuple[tuple[float, float], ...]


@dataclass(slots=True)
class _Island:
    """An island being asked for: its reduced circuit and, later, its point."""

    reduced: Reduced
    point: IslandPoint | None = None


def rail_state(circuit: Circuit, rails: Mapping[str, tuple[float, float]] | None) -> RailState:
    """Volts and ohms of every rail; ``ValueError`` for a net that is no rail or numbers that are not."""
    chosen: list[tuple[float, float]] = []
    by_net: dict[int, tuple[float, float]] = {}
    for name, (volts, ohm) in (rails or {}).items():
        net = net_number(circuit, name)
        if net not in circuit.rail_of_net:
            raise ValueError(f"{name!r} is not the rail of a supply")
        if math.isnan(volts) or math.isnan(ohm) or ohm < 0 or math.isinf(volts):
            raise ValueError(f"rail {name!r}: wanted volts and ohms, found {volts}, {ohm}")
        by_net[net] = (volts, ohm)
    boundary = {0: 0.0}
    sources: dict[int, RawBranch] = {}
    live = set()
    for number, rail in enumerate(circuit.rails):
        volts, ohm = by_net.get(rail.net, (rail.open_volts, rail.source_ohm))
        chosen.append((volts, ohm))
        if math.isinf(ohm) or rail.net == 0:
            continue
        live.add(number)
        if rail.stiff:
            boundary[rail.net] = volts - ohm * rail.load_a
        else:
            sources[number] = RawBranch(rail.net, 0, max(ohm, 1e-3), 0.0, 1.0, volts)
    return RailState(frozenset(live), boundary, sources, tuple(chosen))


def operating_points(
    circuit: Circuit, instants: Sequence[Instant], solver: Solver | None = None, reduce: bool = True
) -> list[OperatingPoint]:
    """Operating points of instants, in order.

    Each instant is cut to the islands that its wanted nets and parts reach, these are reduced and
    brought to a canonical form, and each distinct one is solved once, in batches. ``solver`` keeps
    solutions between calls. ``reduce`` False solves every net of the machine as it is (slow; to
    check the reduction). Raises ``ValueError`` for an unknown part, net, rail or value name.
    """
    solver = solver if solver is not None else Solver()
    islands: dict[object, _Island] = {}
    rail_states: dict[object, RailState] = {}
    plans: list[tuple[Instant, RailState, list[_Island]]] = []
    for instant in instants:
        rail_key = None if instant.rails is None else tuple(sorted(instant.rails.items()))
        rails = rail_states.get(rail_key)
        if rails is None:
            rails = rail_states[rail_key] = rail_state(circuit, instant.rails)
        plans.append((instant, rails, _plan(circuit, instant, rails, islands, reduce)))
    problems = [piece.problem for island in islands.values() for piece in island.reduced.pieces]
    found = solver.solve(list(dict.fromkeys(problems)))
    for island in islands.values():
        island.point = finish(island.reduced, [found[piece.problem] for piece in island.reduced.pieces])
    return [_point(circuit, *plan) for plan in plans]


def _plan(
    circuit: Circuit, instant: Instant, rails: RailState, islands: dict[object, _Island], reduce: bool
) -> list[_Island]:
    structure = structure_of(circuit, rails.live)
    touched = touched_parts(circuit, structure, instant)
    changed = {item.part for item in touched}
    wanted_parts: dict[int, int] = {}
    for name in instant.parts:
        part = circuit.part_index.get(name)
        if part is None:
            raise ValueError(f"no part {name!r} in this machine (its current is wanted)")
        if not circuit.terminals[part] or name in circuit.alternating:
            continue
        wanted_parts[part] = circuit.terminals[part][0]
        if part not in changed:
            touched.append(Touched(part, structure.idle[part], part))
    wanted = [net_number(circuit, name) for name in instant.nets]
    if not reduce:
        return [_whole(circuit, structure, rails, wanted, wanted_parts, touched, islands, len(islands))]
    joined: dict[int, int] = {}

    def find(group: int) -> int:
        while group in joined:
            group = joined[group]
        return group

    groups: list[int] = []
    for item in touched:
        own = cluster_groups(structure, circuit, item)
        top = -1
        for group in own:
            group = find(group)
            if top < 0:
                top = group
            elif group != top:
                joined[group] = top
        groups.append(top)
    asked: dict[int, tuple[list[int], list[int]]] = {}
    for net in wanted:
        cluster = structure.cluster_of[net]
        if cluster != OUTSIDE:
            asked.setdefault(find(structure.group_of[cluster]), ([], []))[0].append(net)
    by_group: dict[int, list[Touched]] = {}
    for item, group in zip(touched, groups, strict=True):
        top = find(group) if group >= 0 else -1
        by_group.setdefault(top, []).append(item)
        if item.part in wanted_parts:
            asked.setdefault(top, ([], []))[1].append(item.part)
    result: list[_Island] = []
    for group, (nets, parts) in asked.items():
        here = by_group.get(group, [])
        key = (rails.key, group, tuple(nets), tuple(parts), frozenset([item.key for item in here]))
        island = islands.get(key)
        if island is None:
            ends = [net for part in parts for net in circuit.terminals[part]]
            found = island_branches(structure, rails.sources, nets, ends, here) if group >= 0 else [
                (branch, item.part) for item in here for branch in item.branches
            ]
            prefer = [item.branches[0].b for item in here if item.part == LEAD_PART]
            first_nets = {part: wanted_parts[part] for part in parts}
            island = _Island(reduce_island(found, rails.boundary, nets, first_nets, prefer))
            islands[key] = island
        result.append(island)
    return result


def _whole(
    circuit: Circuit,
    structure: Structure,
    rails: RailState,
    wanted: list[int],
    wanted_parts: dict[int, int],
    touched: list[Touched],
    islands: dict[object, _Island],
    key: int,
) -> _Island:
    branches = whole_branches(circuit, structure, rails, touched)
    nets = [net for net in dict.fromkeys(wanted) if net not in rails.boundary]
    prefer = [item.branches[0].b for item in touched if item.part == LEAD_PART]
    island = _Island(reduce_island(branches, rails.boundary, nets, wanted_parts, prefer, simplify=False))
    islands[("whole", key)] = island
    return island


def whole_branches(
    circuit: Circuit, structure: Structure, rails: RailState, touched: Sequence[Touched]
) -> list[tuple[RawBranch, int]]:
    """Every branch of the machine at an instant, with part numbers, sources of rails included."""
    changed = {item.part for item in touched if item.part >= 0}
    found = [
        (branch, part)
        for part, branches in enumerate(structure.idle)
        if part not in changed
        for branch in branches
    ]
    found.extend((branch, item.part) for item in touched for branch in item.branches)
    for number, rail in enumerate(circuit.rails):
        if number in rails.sources:
            found.append((rails.sources[number], SOURCE_OFFSET - number))
        elif number not in rails.live and rail.load_ohm != math.inf and rail.net != 0:
            found.append((RawBranch(rail.net, 0, rail.load_ohm, 0.0, 1.0, 0.0), SOURCE_OFFSET - number))
    return found


def _point(circuit: Circuit, instant: Instant, rails: RailState, islands: list[_Island]) -> OperatingPoint:
    volts_of: dict[int, float] = {}
    amps_of: dict[int, float] = {}
    floating: set[int] = set()
    converged = True
    for island in islands:
        point = island.point
        assert point is not None
        volts_of.update(point.volts)
        amps_of.update(point.amps)
        floating |= point.floating
        converged = converged and point.converged
    index, boundary = circuit.net_index, rails.boundary
    volts: dict[str, float] = {}
    loose = []
    for name in instant.nets:
        net = index[name]
        known = boundary.get(net)
        volts[name] = volts_of.get(net, 0.0) if known is None else known
        if net in floating:
            loose.append(name)
    amps = {name: amps_of.get(circuit.part_index[name], 0.0) for name in instant.parts}
    return OperatingPoint(volts, amps, frozenset(loose), converged)
