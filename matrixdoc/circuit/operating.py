"""Operating points of many instants: islands, reduction, one solution per distinct circuit."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial

from matrixdoc.circuit.elements import Circuit, Instant, OperatingPoint
from matrixdoc.circuit.islands import island_branches
from matrixdoc.circuit.newton import Problem, Solution, solve
from matrixdoc.circuit.rails import RailState, rail_state, whole_branches
from matrixdoc.circuit.reduction import Reduced, reduce_island
from matrixdoc.circuit.restoring import IslandPoint, finish
from matrixdoc.circuit.screening import WORTH_SCREENING, base_key, base_of, unchanged, without_current
from matrixdoc.circuit.structure import OUTSIDE, Structure, structure_of
from matrixdoc.circuit.touched import LEAD_PART, Touched, cluster_groups, net_number, touched_parts


@dataclass(slots=True)
class Solver:
    """Solutions already found, by canonical circuit; pass one along to keep them between calls.

    ``capacity`` bounds how many are kept: when it is passed, all but the newest half are dropped.
    ``asked`` and ``solved`` count distinct circuits per call, and those that had to be solved.
    """

    capacity: int = 100_000
    solutions: dict[Problem, Solution] = field(default_factory=dict)
    asked: int = 0
    solved: int = 0

    def solve(self, problems: Sequence[Problem]) -> list[Solution]:
        """Solutions of distinct problems, in order; new ones are solved in batches."""
        known = [self.solutions.get(problem) for problem in problems]
        fresh = [problem for problem, found in zip(problems, known, strict=True) if found is None]
        self.asked += len(problems)
        self.solved += len(fresh)
        new = solve(fresh)
        self.solutions.update(zip(fresh, new, strict=True))
        if len(self.solutions) > self.capacity:
            for problem in list(self.solutions)[: len(self.solutions) - self.capacity // 2]:
                del self.solutions[problem]
        rest = iter(new)
        return [next(rest) if found is None else found for found in known]


@dataclass(slots=True)
class _Island:
    """An island being asked for: its reduced circuit, its problems' numbers and, later, its point."""

    reduced: Reduced
    problems: list[int]
    point: IslandPoint
    whole: Callable[[], Reduced] | None = None
    """Reduces it with the junctions that were left out as off; None where none were."""


@dataclass(slots=True)
class _Frame:
    """What instants with the same rails and wanted nets have in common.

    ``groups``: wanted nets by group of clusters; ``known``: volts of wanted nets on a boundary;
    ``rest``: islands of groups that an instant left untouched.
    """

    number: int
    rails: RailState
    structure: Structure
    groups: dict[int, list[int]]
    known: dict[str, float]
    rest: dict[int, _Island] = field(default_factory=dict)
    rest_volts: dict[str, float] = field(default_factory=dict)
    rest_floating: dict[int, list[str]] = field(default_factory=dict)


@dataclass(slots=True)
class _Plan:
    """An instant with its frame and the islands that it touches; the rest is the frame's."""

    instant: Instant
    frame: _Frame
    touched: set[int]
    islands: list[_Island]


def operating_points(
    circuit: Circuit,
    instants: Sequence[Instant],
    solver: Solver | None = None,
    *,
    reduce: bool = True,
    screen: bool = True,
) -> list[OperatingPoint]:
    """Operating points of instants, in order.

    Instants that differ by their patches alone are first screened: those whose patches change
    nothing at the operating point without them get that one (``screen`` False leaves this out).
    Each of the others is cut to the islands that its wanted nets and parts reach, these are reduced
    and brought to a canonical form, and each distinct one is solved once, in batches. ``solver``
    keeps solutions between calls. ``reduce`` False solves every net of the machine as it is (slow;
    to check the reduction). Raises ``ValueError`` for an unknown part, net, rail or value name.
    """
    solver = solver if solver is not None else Solver()
    found: dict[int, OperatingPoint] = {}
    if screen and reduce:
        found = _screened(circuit, instants, solver)
    left = [number for number in range(len(instants)) if number not in found]
    points = _solved(circuit, [instants[number] for number in left], solver, reduce=reduce)
    found.update(zip(left, points, strict=True))
    return [found[number] for number in range(len(instants))]


def _screened(circuit: Circuit, instants: Sequence[Instant], solver: Solver) -> dict[int, OperatingPoint]:
    """Operating points of those instants whose patches change nothing, by number."""
    groups: dict[object, list[int]] = {}
    for number, instant in enumerate(instants):
        key = base_key(instant)
        if key is not None:
            groups.setdefault(key, []).append(number)
    found: dict[int, OperatingPoint] = {}
    many: list[list[int]] = []
    for numbers in groups.values():
        if len(numbers) < WORTH_SCREENING:
            continue
        first = instants[numbers[0]]
        if first.nets:
            many.append(numbers)
            continue
        structure = structure_of(circuit, rail_state(circuit, first.rails).live)
        same = without_current(circuit, structure, [instants[number] for number in numbers])
        answer = OperatingPoint({}, dict.fromkeys(first.parts, 0.0), frozenset(), converged=True)
        found.update((n, answer) for n, good in zip(numbers, same, strict=True) if good)
    bases = [base_of(circuit, [instants[number] for number in numbers]) for numbers in many]
    for numbers, base, point in zip(many, bases, _solved(circuit, bases, solver), strict=True):
        members = [instants[number] for number in numbers]
        structure = structure_of(circuit, rail_state(circuit, base.rails).live)
        same = unchanged(circuit, structure, members, point)
        if any(same):
            nets = members[0].nets
            volts = {name: point.volts[name] for name in dict.fromkeys(nets)}
            amps = {name: point.amps[name] for name in members[0].parts}
            answer = OperatingPoint(volts, amps, point.floating.intersection(nets), point.converged)
            found.update((n, answer) for n, good in zip(numbers, same, strict=True) if good)
    return found


def _solved(
    circuit: Circuit, instants: Sequence[Instant], solver: Solver, *, reduce: bool = True
) -> list[OperatingPoint]:
    work = _Work(circuit, reduce=reduce)
    plans = [work.plan(instant) for instant in instants]
    solutions = solver.solve(list(work.problems))
    for island in work.islands:
        island.point = finish(island.reduced, [solutions[number] for number in island.problems])
    loose = [island for island in work.islands if island.whole is not None and not island.point.firm]
    if loose:
        # What leaks through junctions that are off decides here: no resistance holds these nets.
        work.again(loose)
        solutions = solver.solve(list(work.problems))
        for island in loose:
            island.point = finish(island.reduced, [solutions[number] for number in island.problems])
    for frame in work.frames.values():
        _settle_rest(circuit, frame)
    return [_point(circuit, plan) for plan in plans]


UNSOLVED = IslandPoint({}, {}, frozenset(), converged=False)


class _Work:
    """One call: the frames, islands and distinct problems met so far."""

    def __init__(self, circuit: Circuit, *, reduce: bool) -> None:
        self.circuit, self.reduce = circuit, reduce
        self.frames: dict[object, _Frame] = {}
        self.rails: dict[object, RailState] = {}
        self.known: dict[object, _Island] = {}
        self.islands: list[_Island] = []
        self.problems: dict[Problem, int] = {}

    def plan(self, instant: Instant) -> _Plan:
        frame = self._frame(instant)
        touched = touched_parts(self.circuit, frame.structure, instant)
        wanted = self._wanted_parts(frame, instant, touched)
        if not self.reduce:
            return _Plan(instant, frame, set(frame.groups), [self._whole(frame, touched, wanted)])
        leader: dict[int, int] = {}
        top_of: list[int] = []
        for item in touched:
            top = OUTSIDE
            for group in cluster_groups(frame.structure, self.circuit, item):
                found = _find(leader, group)
                if top == OUTSIDE:
                    top = found
                elif found != top:
                    leader[found] = top
            top_of.append(top)
        items: dict[int, list[Touched]] = {}
        for item, top in zip(touched, top_of, strict=True):
            items.setdefault(_find(leader, top) if top != OUTSIDE else top, []).append(item)
        members: dict[int, list[int]] = {}
        for group in sorted(leader):
            members.setdefault(_find(leader, group), []).append(group)
        islands = []
        for top, here in items.items():
            nets = [net for group in members.get(top, ()) for net in frame.groups.get(group, ())]
            parts = [item.part for item in here if item.part in wanted] if wanted else []
            if nets or parts:
                islands.append(self._island(frame, nets, {part: wanted[part] for part in parts}, here))
        for group, nets in frame.groups.items():
            if group not in leader and group not in frame.rest:
                frame.rest[group] = self._island(frame, nets, {}, [])
        return _Plan(instant, frame, set(leader), islands)

    def _frame(self, instant: Instant) -> _Frame:
        rail_key = None if instant.rails is None else tuple(sorted(instant.rails.items()))
        key = (rail_key, instant.nets)
        frame = self.frames.get(key)
        if frame is not None:
            return frame
        rails = self.rails.get(rail_key)
        if rails is None:
            rails = self.rails[rail_key] = rail_state(self.circuit, instant.rails)
        structure = structure_of(self.circuit, rails.live)
        groups: dict[int, list[int]] = {}
        known: dict[str, float] = {}
        for name in dict.fromkeys(instant.nets):
            net = net_number(self.circuit, name)
            cluster = structure.cluster_of[net]
            if cluster == OUTSIDE:
                known[name] = rails.boundary[net]
            else:
                groups.setdefault(structure.group_of[cluster], []).append(net)
        number = list(self.rails).index(rail_key)
        frame = self.frames[key] = _Frame(number, rails, structure, groups, known)
        return frame

    def _wanted_parts(self, frame: _Frame, instant: Instant, touched: list[Touched]) -> dict[int, int]:
        """First nets of the parts whose current is wanted, which are touched by that alone."""
        wanted: dict[int, int] = {}
        if not instant.parts:
            return wanted
        changed = {item.part for item in touched}
        circuit = self.circuit
        for name in instant.parts:
            part = circuit.part_index.get(name)
            if part is None:
                raise ValueError(f"no part {name!r} in this machine (its current is wanted)")
            if not circuit.terminals[part] or name in circuit.alternating or part in wanted:
                continue
            wanted[part] = circuit.terminals[part][0]
            if part not in changed:
                touched.append(Touched(part, frame.structure.idle[part], part))
        return wanted

    def _island(
        self, frame: _Frame, nets: list[int], wanted: Mapping[int, int], here: list[Touched]
    ) -> _Island:
        key = (frame.number, tuple(nets), tuple(wanted), frozenset([item.key for item in here]))
        island = self.known.get(key)
        if island is None:
            # Sorted: sets come in any order, and the last digits must not depend on it.
            here = sorted(here, key=lambda item: (item.part, item.branches))
            ends = {part: self.circuit.terminals[part] for part in wanted}
            prefer = [item.branches[0].b for item in here if item.part == LEAD_PART]

            def reduced(levels: Mapping[int, float] | None) -> Reduced:
                sources, boundary = frame.rails.sources, frame.rails.boundary
                found = island_branches(frame.structure, sources, nets, ends, here, levels)
                return reduce_island(found, boundary, nets, wanted, prefer)

            island = self._add(reduced(frame.rails.boundary))
            if nets:
                island.whole = partial(reduced, None)
            self.known[key] = island
        return island

    def again(self, islands: Sequence[_Island]) -> None:
        """Reduce islands anew with every junction in; the problems of this call are theirs alone."""
        self.problems = {}
        for island in islands:
            if island.whole is not None:
                island.reduced = island.whole()
                island.problems = self._numbers(island.reduced)

    def _whole(self, frame: _Frame, touched: list[Touched], wanted: Mapping[int, int]) -> _Island:
        branches = whole_branches(self.circuit, frame.structure, frame.rails, touched)
        nets = [net for found in frame.groups.values() for net in found]
        prefer = [item.branches[0].b for item in touched if item.part == LEAD_PART]
        reduced = reduce_island(branches, frame.rails.boundary, nets, wanted, prefer, simplify=False)
        return self._add(reduced)

    def _add(self, reduced: Reduced) -> _Island:
        island = _Island(reduced, self._numbers(reduced), UNSOLVED)
        self.islands.append(island)
        return island

    def _numbers(self, reduced: Reduced) -> list[int]:
        problems = self.problems
        return [problems.setdefault(piece.problem, len(problems)) for piece in reduced.pieces]


def _find(leader: dict[int, int], group: int) -> int:
    """The representative of a group among those that were joined; registers a new group."""
    found = leader.setdefault(group, group)
    while found != group:
        group, found = found, leader[found]
    return group


def _settle_rest(circuit: Circuit, frame: _Frame) -> None:
    names = circuit.net_names
    frame.rest_volts.update(frame.known)
    for group, island in frame.rest.items():
        frame.rest_volts.update((names[net], volts) for net, volts in island.point.volts.items())
        if island.point.floating:
            frame.rest_floating[group] = [names[net] for net in sorted(island.point.floating)]


def _point(circuit: Circuit, plan: _Plan) -> OperatingPoint:
    frame, names = plan.frame, circuit.net_names
    volts = dict(frame.rest_volts)
    loose: list[str] = []
    for group, found in frame.rest_floating.items():
        if group not in plan.touched:
            loose.extend(found)
    converged = all(frame.rest[group].point.converged for group in frame.groups if group not in plan.touched)
    amps_of: dict[int, float] = {}
    for island in plan.islands:
        point = island.point
        for net, value in point.volts.items():
            volts[names[net]] = value
        amps_of.update(point.amps)
        loose.extend(names[net] for net in point.floating)
        converged = converged and point.converged
    amps = {name: amps_of.get(circuit.part_index[name], 0.0) for name in plan.instant.parts}
    return OperatingPoint(volts, amps, frozenset(loose), converged)
