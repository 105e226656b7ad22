"""Operating points of many instants: islands, reduction, one solution per distinct circuit."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial

from matrixdoc.circuit.elements import Circuit, Instant, OperatingPoint
from matrixdoc.circuit.forms import form_of
from matrixdoc.circuit.islands import island_branches
from matrixdoc.circuit.rails import RailState, rail_state, whole_branches
from matrixdoc.circuit.restoring import Template
from matrixdoc.circuit.screening import WORTH_SCREENING, base_key, base_of, unchanged, without_current
from matrixdoc.circuit.solver import Batch, Solver
from matrixdoc.circuit.structure import OUTSIDE, Structure, structure_of
from matrixdoc.circuit.touched import LEAD_PART, Touched, by_group, joined, net_number, touched_parts


@dataclass(slots=True, eq=False)
class _Cut:
    """What islands of one key have in common: everything but the ohms of patched parts.

    ``ohms``: of its branches; ``slots``: which of them are those of patched parts, and the numbers of
    these among the patched; ``numbers``: rows of its batch by the ohms of patched parts. ``whole``
    makes the cut with the junctions that were left out as off; None where none were.
    """

    batch: Batch
    names: tuple[str, ...]
    parts: tuple[int, ...]
    ohms: list[float]
    slots: list[tuple[int, int]]
    numbers: dict[tuple[float, ...], int] = field(default_factory=dict)
    whole: Callable[[], _Cut] | None = None
    instead: dict[int, _Island] = field(default_factory=dict)

    def island(self, patched: tuple[float, ...]) -> _Island:
        number = self.numbers.get(patched)
        if number is None:
            row = self.ohms.copy()
            for place, which in self.slots:
                row[place] = patched[which]
            number = self.numbers[patched] = self.batch.add(row)
        return self, number


_Island = tuple[_Cut, int]
"""A cut and a row of its batch."""


@dataclass(slots=True)
class _Frame:
    """What instants with the same rails and wanted nets have in common.

    ``groups``: wanted nets by group of clusters; ``known``: volts of wanted nets on a boundary;
    ``rest``: groups that an instant left untouched, and their places among the islands ``rests``;
    ``rest_loose``: of those what floats, and whether they converged, where not all is well.
    """

    number: int
    rails: RailState
    structure: Structure
    groups: dict[int, tuple[int, ...]]
    known: dict[str, float]
    rest: dict[int, int] = field(default_factory=dict)
    rests: list[_Island] = field(default_factory=list)
    rest_volts: dict[str, float] = field(default_factory=dict)
    rest_loose: dict[int, tuple[list[str], bool]] = field(default_factory=dict)


@dataclass(slots=True)
class _Plan:
    """An instant with its frame and the islands that it touches; the rest is the frame's."""

    instant: Instant
    frame: _Frame
    touched: Collection[int]
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
    work = _Work(circuit, solver, reduce=reduce)
    plans = [work.plan(instant) for instant in instants]
    solver.points(list(work.batches.values()))
    work.again()
    for frame in work.frames.values():
        _settle_rest(frame)
    return [_point(circuit, plan) for plan in plans]


class _Work:
    """One call: the frames, cuts and batches met so far."""

    def __init__(self, circuit: Circuit, solver: Solver, *, reduce: bool) -> None:
        self.circuit, self.solver, self.reduce = circuit, solver, reduce
        self.frames: dict[object, _Frame] = {}
        self.rails: dict[object, RailState] = {}
        self.cuts: dict[object, _Cut] = {}
        self.batches: dict[Template, Batch] = {}

    def plan(self, instant: Instant) -> _Plan:
        frame = self._frame(instant)
        touched = touched_parts(self.circuit, frame.structure, instant)
        wanted = self._wanted_parts(frame, instant, touched)
        if not self.reduce:
            return _Plan(instant, frame, frame.groups, [self._whole(frame, touched, wanted)])
        groups, joins, outside = by_group(self.circuit, frame.structure, touched)
        islands: list[_Island] = []
        if outside and wanted:
            self._island(frame, (), wanted, outside, islands)
        if joins:
            for members in joined(groups, joins):
                nets = tuple([net for group in members for net in frame.groups.get(group, ())])
                here = [item for group in members for item in groups[group]]
                self._island(frame, nets, wanted, here, islands)
        else:
            for group, here in groups.items():
                self._island(frame, frame.groups.get(group, ()), wanted, here, islands)
        if len(frame.rest) < len(frame.groups):
            for group, nets in frame.groups.items():
                if group not in groups and group not in frame.rest:
                    frame.rest[group] = len(frame.rests)
                    self._island(frame, nets, {}, [], frame.rests)
        return _Plan(instant, frame, groups.keys(), islands)

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
        groups: dict[int, tuple[int, ...]] = {}
        known: dict[str, float] = {}
        for name in dict.fromkeys(instant.nets):
            net = net_number(self.circuit, name)
            cluster = structure.cluster_of[net]
            if cluster == OUTSIDE:
                known[name] = rails.boundary[net]
            else:
                group = structure.group_of[cluster]
                groups[group] = (*groups.get(group, ()), net)
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
        self,
        frame: _Frame,
        nets: tuple[int, ...],
        wanted: Mapping[int, int],
        here: list[Touched],
        islands: list[_Island],
    ) -> None:
        """Add the island of these wanted nets and touched parts, if anything of it is wanted."""
        parts = tuple([item.part for item in here if item.part in wanted]) if wanted else ()
        if not nets and not parts:
            return
        keys = here[0].key if len(here) == 1 else frozenset([item.key for item in here])
        key = (frame.number, nets, parts, keys)
        cut = self.cuts.get(key)
        if cut is None:
            cut = self.cuts[key] = self._cut(frame, nets, {part: wanted[part] for part in parts}, here)
        if len(here) == 1:
            islands.append(cut.island(here[0].ohms))
            return
        patched = [(item.part, item.ohms) for item in here if item.ohms]
        patched.sort()
        islands.append(cut.island(tuple([ohm for _, ohms in patched for ohm in ohms])))

    def _cut(
        self, frame: _Frame, nets: tuple[int, ...], wanted: Mapping[int, int], here: list[Touched]
    ) -> _Cut:
        # Sorted: sets come in any order, and the last digits must not depend on it.
        here = sorted(here, key=lambda item: (item.part, item.branches))
        ends = {part: self.circuit.terminals[part] for part in wanted}
        prefer = [item.branches[0].b for item in here if item.part == LEAD_PART]
        patched = [id(branch) for item in here if item.ohms for branch in item.branches]
        which = {branch: number for number, branch in enumerate(patched)}

        def cut(levels: Mapping[int, float] | None) -> _Cut:
            sources, boundary = frame.rails.sources, frame.rails.boundary
            found = island_branches(frame.structure, sources, nets, ends, here, levels)
            slots = [(n, which[id(branch)]) for n, (branch, _) in enumerate(found) if id(branch) in which]
            form, ohms = form_of(found, boundary, nets, wanted, prefer)
            names = self.circuit.net_names
            batch = self._batch(self.solver.template(form))
            return _Cut(batch, tuple([names[net] for net in nets]), tuple(wanted), ohms, slots)

        result = cut(frame.rails.boundary)
        if nets:
            result.whole = partial(cut, None)
        return result

    def _batch(self, template: Template) -> Batch:
        batch = self.batches.get(template)
        if batch is None:
            batch = self.batches[template] = Batch(template)
        return batch

    def again(self) -> None:
        """Islands in which what leaks through junctions that are off decides: anew, with all of them."""
        cuts, done = list(self.cuts.values()), self.batches
        self.batches = {}
        for cut in cuts:
            held = cut.batch.points.held
            loose = [found for found in cut.numbers.items() if not held[found[1]].firm]
            if loose and cut.whole is not None:
                whole = cut.whole()
                cut.instead = {number: whole.island(patched) for patched, number in loose}
        self.solver.points(list(self.batches.values()))
        self.batches = done

    def _whole(self, frame: _Frame, touched: list[Touched], wanted: Mapping[int, int]) -> _Island:
        branches = whole_branches(self.circuit, frame.structure, frame.rails, touched)
        nets = [net for found in frame.groups.values() for net in found]
        prefer = [item.branches[0].b for item in touched if item.part == LEAD_PART]
        form, ohms = form_of(branches, frame.rails.boundary, nets, wanted, prefer)
        batch = self._batch(self.solver.template(form, simplify=False))
        names = tuple([self.circuit.net_names[net] for net in nets])
        return _Cut(batch, names, tuple(wanted), ohms, []).island(())


def _settle_rest(frame: _Frame) -> None:
    frame.rest_volts.update(frame.known)
    for group, place in frame.rest.items():
        floating: list[str] = []
        good = _take(frame.rests[place], frame.rest_volts, {}, floating)
        if floating or not good:
            frame.rest_loose[group] = (floating, good)


def _take(island: _Island, volts: dict[str, float], amps: dict[int, float], floating: list[str]) -> bool:
    """Add what was found of an island; whether it converged."""
    cut, number = island
    if cut.instead:
        cut, number = cut.instead.get(number, island)
    points = cut.batch.points
    volts.update(zip(cut.names, points.volts[number], strict=True))
    if cut.parts:
        amps.update(zip(cut.parts, points.amps[number], strict=True))
    loose = points.held[number].floating
    if loose:
        floating.extend([cut.names[place] for place in loose])
    return points.converged[number]


def _point(circuit: Circuit, plan: _Plan) -> OperatingPoint:
    frame = plan.frame
    volts = dict(frame.rest_volts)
    loose: list[str] = []
    converged = True
    for group, (floating, good) in frame.rest_loose.items():
        if group not in plan.touched:
            loose.extend(floating)
            converged = converged and good
    amps_of: dict[int, float] = {}
    for island in plan.islands:
        converged = _take(island, volts, amps_of, loose) and converged
    amps = {name: amps_of.get(circuit.part_index[name], 0.0) for name in plan.instant.parts}
    return OperatingPoint(volts, amps, frozenset(loose), converged)
