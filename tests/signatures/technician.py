"""What a technician would do and write down on a shipped machine, with a fault put in.

The package's own prediction says what is seen (its physics is proven against simulators elsewhere);
what is tested here is the way back, from the report to the cause.
"""

from __future__ import annotations

import math
import os
import random
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from functools import cache

from matrixdoc.case.case import Case
from matrixdoc.checks.situation import ALL_LAMPS, Finding, Look, Outcome, Situation
from matrixdoc.definition.library import load_machine, shipped_folder
from matrixdoc.definition.wiring import Cell, Matrix, Wiring
from matrixdoc.diagnosis.results import Cause, Diagnosis, RankedCheck
from matrixdoc.faults.priors import Fault

SEED = int(os.environ.get("MATRIXDOC_SIGNATURE_SEED", "20261125"))
"""Set MATRIXDOC_SIGNATURE_SEED for other cells, lines and coils than the usual ones."""

PLACES = int(os.environ.get("MATRIXDOC_SIGNATURE_PLACES", "1"))
"""Set MATRIXDOC_SIGNATURE_PLACES for more than one cause and place for each row and machine."""

MOST_MACHINES = int(os.environ.get("MATRIXDOC_SIGNATURE_MACHINES", "2"))
"""By default each row runs on this many of the machines that can produce it, chosen by the seed, to
stay within two or three minutes; set MATRIXDOC_SIGNATURE_MACHINES=99 for every machine."""

LARGE_CELLS = 64
LARGE_ROWS = 0
"""A diagnosis on a switch matrix of more than 8 by 8 places with switches that rest closed takes
seconds: by default such a machine runs the switch rows that no other machine can produce, and this
many others, chosen by the seed. With MATRIXDOC_SIGNATURE_MACHINES=99 it runs them all."""

MACHINES = tuple(sorted(path.stem for path in shipped_folder().glob("*.yaml")))
"""Every shipped machine."""

LEAST_TAIL = 3

MOST_BITS = 2.0
"""Up to this much a report may speak for the truth and still count as unable to tell: two looks at
something between two words (weak or nothing) are worth about that; a slip is worth nine bits."""


def chooser(*key: object) -> random.Random:
    """A generator of its own for each row and place, so that rows do not move each other's choice."""
    return random.Random(f"{SEED} {key}")


@dataclass
class Technician:
    """Looks at a machine in which ``faults`` are present and writes findings into ``case``."""

    case: Case
    faults: tuple[Fault, ...]
    seconds: float = field(default=0.0)

    def look(self, situation: Situation, look: Look) -> Outcome:
        """The likeliest thing to be seen; written down."""
        seen = self.case.simulate(self.faults, situation, look)[0][0]
        self.case = self.case.with_finding(Finding(situation, look, seen))
        return seen

    def again(self) -> Outcome:
        """The newest look once more: who sees nothing looks twice."""
        last = self.case.findings[-1]
        return self.look(last.situation, last.look)

    def press(self, *held: str) -> frozenset[str]:
        """The switches that the scan reads while some are held."""
        return _set(self.look(Situation(held=tuple(sorted(held))), Look("reads")))

    def rest(self) -> frozenset[str]:
        """The resting scan."""
        return self.press()

    def lamp(self, lamp: str, *pattern: str) -> str:
        """One lamp looked at; commanded alone, or with the pattern given."""
        return _word(self.look(Situation(lamps=pattern or (lamp,)), Look("lamp", lamp)))

    def lamp_all(self, lamp: str) -> str:
        """One lamp looked at while all are commanded."""
        return self.lamp(lamp, ALL_LAMPS)

    def pulse(self, coil: str) -> str:
        """What a coil does when pulsed."""
        return _word(self.look(Situation(pulsed=coil), Look("coil", coil)))

    def new_fuse(self, fuse: str, coil: str) -> str:
        """What a new fuse does when a coil is pulsed."""
        return _word(self.look(Situation(pulsed=coil), Look("new fuse", fuse)))

    def resting_coils(self, *opened: str) -> frozenset[str]:
        """The coils that pull in by themselves, with some parts taken out of circuit."""
        return _set(self.look(Situation(opened=opened), Look("resting coils")))

    def volts(self, red: str, black: str) -> float:
        """Power on, nothing pressed or commanded."""
        return _number(self.look(Situation(), Look("meter", function="volts", red=red, black=black)))

    def ohms(self, red: str, black: str) -> Outcome:
        """Machine off and unplugged."""
        return self.look(Situation(power=False), Look("meter", function="ohms", red=red, black=black))

    def diagnose(self) -> Diagnosis:
        """The diagnosis, timed."""
        start = time.perf_counter()
        found = self.case.diagnose()
        self.seconds = time.perf_counter() - start
        return found


@cache
def started(machine: str) -> Case:
    """A shipped machine, nothing reported yet. One engine for all tests: what it has solved serves the
    next one.
    """
    return Case.start(load_machine(shipped_folder() / f"{machine}.yaml"))


def possible(machine: str, fault: Fault) -> bool:
    """Whether a part of the machine can have the fault."""
    session = started(machine).session
    return session is not None and fault in session.engine.possible


@dataclass(frozen=True)
class Row:
    """A row of the trade's table: its words, what can do it, where, and the report about it.

    ``causes`` are ``part: mode`` with ``{}`` for the place (what stands before ``|``). ``places`` lists
    where on a machine, decided from its wiring: none where its construction cannot produce the row.
    ``part`` turns a place into what stands for ``{}``, where that is not the place itself.
    """

    words: str
    causes: tuple[str, ...]
    places: Callable[[Wiring], list[str]]
    report: Callable[[Technician, str, random.Random], None]
    part: Callable[[Wiring, str], str] | None = None

    def fault(self, wiring: Wiring, cause: str, place: str) -> Fault:
        """The fault that a cause is at a place."""
        stem, _, mode = cause.rpartition(": ")
        named = self.part(wiring, place) if self.part else place.partition(" | ")[0]
        return Fault(stem.format(named), mode)

    def trials(self, machine: str, number: int) -> list[Trial]:
        """Causes and places chosen by the seed; machine ``number`` begins with another cause than the
        machine before it, so that together they go through all of them.
        """
        wiring = started(machine).wiring
        able: dict[str, list[tuple[str, Fault]]] = {}
        for place in self.places(wiring):
            for cause in self.causes:
                fault = self.fault(wiring, cause, place)
                if possible(machine, fault):
                    able.setdefault(cause, []).append((place, fault))
        causes = [c for c in chooser(self.words).sample(self.causes, len(self.causes)) if c in able]
        found: dict[Fault, Trial] = {}
        for turn in range(PLACES if causes else 0):
            cause = causes[(number + turn) % len(causes)]
            place, fault = chooser(self.words, machine, turn).choice(able[cause])
            found.setdefault(fault, Trial(self, machine, cause, place, fault))
        return list(found.values())


@dataclass(frozen=True)
class Trial:
    """One fault of one row at one place of one machine."""

    row: Row
    machine: str
    cause: str
    place: str
    fault: Fault

    def __str__(self) -> str:
        return f"{self.machine} | {self.row.words} | {self.cause} | {self.place}"

    def report(self) -> Technician:
        """A technician who has looked at the machine with the fault in it."""
        technician = Technician(started(self.machine), (self.fault,))
        self.row.report(technician, self.place, chooser(self.row.words, self.machine, self.place))
        return technician


def trials(rows_of_table: Iterable[Row]) -> list[Trial]:
    """Every row on every shipped machine whose construction can produce it."""
    found: list[Trial] = []
    spared: list[Trial] = []
    for row in rows_of_table:
        able = {m: some for m in MACHINES if (some := row.trials(m, 0))}
        slow = [m for m, some in able.items() if large(m) and scans(some[0])]
        every = len(MACHINES) <= MOST_MACHINES
        chosen = sorted(able) if every else [m for m in able if m not in slow] or slow
        picked = chooser(row.words, "machines").sample(chosen, min(MOST_MACHINES, len(chosen)))
        for number, machine in enumerate(sorted(picked)):
            found += row.trials(machine, number)
        spared += [some for m in slow if m not in picked for some in able[m]]
    return found + chooser("large").sample(spared, min(LARGE_ROWS, len(spared)))


def large(machine: str) -> bool:
    """Whether a diagnosis of its switch matrix takes seconds."""
    matrices = started(machine).wiring.matrices.values()
    return any(m.device == "switch" and len(m.cells) > LARGE_CELLS for m in matrices)


def scans(trial: Trial) -> bool:
    """Whether the report about the fault is one of switch scans."""
    return trial.row.report.__module__.endswith("switch_rows")


# -- places ----------------------------------------------------------------------------------------


def cells(wiring: Wiring, matrix: str) -> list[Cell]:
    """Fitted cells of a matrix that read open at rest; none where the machine has no such matrix."""
    if matrix not in wiring.matrices:
        return []
    return [
        c
        for c in wiring.matrices[matrix].cells
        if not (matrix == "switch" and wiring.switches[c.reference].normally_closed)
    ]


def columns(wiring: Wiring, matrix: str) -> list[str]:
    """Keys of the columns."""
    return [line.key for line in wiring.matrices[matrix].columns] if matrix in wiring.matrices else []


def rows(wiring: Wiring, matrix: str) -> list[str]:
    """Keys of the rows."""
    return [line.key for line in wiring.matrices[matrix].rows] if matrix in wiring.matrices else []


def inner_segments(wiring: Wiring, matrix: str) -> list[str]:
    """``line/segmentN`` with a cell to try before the break and at least three behind it: of two dead cells
    two dirty contacts may well be the likelier story."""
    found = []
    for line in (*columns(wiring, matrix), *rows(wiring, matrix)):
        lugs = [lug_of(wiring, matrix, line, c) for c in along(wiring, matrix, line)]
        found += [
            f"{line}/segment{n}"
            for n in range(2, max(lugs, default=0) + 1)
            if any(lug < n for lug in lugs)
            and sum(lug >= n for lug in lugs) >= LEAST_TAIL
            and f"{matrix}/{line}/segment{n}" in wiring.parts
        ]
    return found


def lug_of(wiring: Wiring, matrix: str, line: str, cell: Cell) -> int:
    """Number of the lug on ``line`` where the cell hangs, the first is 1."""
    table = wiring.matrices[matrix]
    lugs = next(entry.lug_nets for entry in (*table.columns, *table.rows) if entry.key == line)
    side = "column" if line.startswith("C") else "row"
    stub = wiring.parts[f"{cell.reference}/{side}_stub"]
    return next(lugs.index(n) for n in stub.nets if n in lugs) + 1


def bridge(one: str, two: str) -> str:
    """Reference of the latent bridge between two nets, as the published grammar derives it."""
    low, high = sorted((one, two))
    return f"bridge/{low}~{high}"


def line_bridges(wiring: Wiring, matrix: str, lines: Sequence[str]) -> list[str]:
    """Bridges between adjacent connector pins of two of these lines of one matrix."""
    pins = {f"{matrix}/{line}/pin" for line in lines}
    return [bridge(one, two) for one, two, _ in wiring.neighbours if {one, two} <= pins]


def joined_lines(place: str) -> tuple[str, str]:
    """The two lines of a bridge between pins."""
    one, two = (net.split("/")[1] for net in place.removeprefix("bridge/").split("~"))
    return one, two


def feeds(wiring: Wiring) -> list[str]:
    """Names of the feeds."""
    return sorted({r.split("/")[1] for r in wiring.parts if r.startswith("feed/")})


def supply_of(wiring: Wiring, feed: str) -> str:
    """Name of the supply that a feed comes from, followed upstream through fuse and interlock."""
    rails = {supply.rail: name for name, supply in wiring.supplies.items()}
    at = {f"feed/{feed}/end"}
    while True:
        for part in wiring.parts.values():
            own = part.reference.startswith((f"feed/{feed}/", "interlock/"))
            if own and at & set(part.nets):
                at.update(part.nets)
        found = at & set(rails)
        if found:
            return rails[found.pop()]


def along(wiring: Wiring, matrix: str, line: str) -> list[Cell]:
    """Cells of one line in the order of its chain, the first lug first."""
    table: Matrix = wiring.matrices[matrix]
    found = next(entry for entry in (*table.columns, *table.rows) if entry.key == line)
    nets = {net: number for number, net in enumerate(found.lug_nets)}
    side = "column" if line.startswith("C") else "row"

    def position(cell: Cell) -> int:
        stub = wiring.parts[f"{cell.reference}/{side}_stub"]
        return min(nets[n] for n in stub.nets if n in nets)

    return sorted((c for c in cells(wiring, matrix) if line in (c.column, c.row)), key=position)


def at(wiring: Wiring, matrix: str, column: str, row: str) -> Cell | None:
    """The cell where two lines cross, if one is fitted there."""
    return next((c for c in wiring.matrices[matrix].cells if (c.column, c.row) == (column, row)), None)


def _set(seen: Outcome) -> frozenset[str]:
    assert isinstance(seen, frozenset)
    return seen


def _word(seen: Outcome) -> str:
    assert isinstance(seen, str)
    return seen


def _number(seen: Outcome) -> float:
    assert isinstance(seen, float)
    return seen


# -- verdicts --------------------------------------------------------------------------------------


def holds(cause: Cause, part: str, mode: str | None = None) -> bool:
    """Whether a member of the cause is (or contains) the part, in the mode if one is given."""
    return any(f.part == part and mode in (None, f.mode) for names, _ in cause.members for f in names)


def rank_of(diagnosis: Diagnosis, part: str, mode: str | None = None) -> int:
    """Rank of the first cause that holds the part; 0 if none does."""
    return next((c.rank for c in diagnosis.causes if holds(c, part, mode)), 0)


def leader_of(cause: Cause) -> tuple[Fault, ...]:
    """Faults of the likeliest member of a cause."""
    return tuple(Fault(f.part, f.mode) for f in cause.faults)


def separating(
    case: Case, checks: Sequence[RankedCheck], truth: tuple[Fault, ...], other: tuple[Fault, ...]
) -> RankedCheck | None:
    """The first check that comes out differently under the truth and under the other cause.

    An act comes out differently where it mends a part of one of the two and not of the other.
    """
    for ranked in checks:
        check = ranked.check
        if check.kind == "act":
            mine = {f.part for f in truth} & set(check.mends)
            theirs = {f.part for f in other} & set(check.mends)
            if bool(mine) != bool(theirs):
                return ranked
            continue
        one = case.simulate(truth, check.situation, check.look)
        two = case.simulate(other, check.situation, check.look)
        if differs(check.look, one[0][0], two[0][0]):
            return ranked
    return None


def differs(look: Look, one: Outcome, two: Outcome) -> bool:
    """Whether a person could tell two outcomes apart: numbers by a tenth and by 0.3 units."""
    if isinstance(one, float) and isinstance(two, float):
        return abs(one - two) > max(0.1 * max(abs(one), abs(two)), 1.0 if look.function == "ohms" else 0.3)
    return one != two


def bits_for(case: Case, truth: tuple[Fault, ...], other: tuple[Fault, ...]) -> float:
    """What the whole report says for the truth against the other cause, by the predictions alone: log2
    of the ratio of the shares that each gives to what was seen (a share below 1 % counts as 1 %)."""
    total = 0.0
    for finding in case.findings:
        shares = []
        for faults in (truth, other):
            found = case.simulate(faults, finding.situation, finding.look)
            share = sum(p for outcome, p in found if not differs(finding.look, outcome, finding.outcome))
            shares.append(max(share, 0.01))
        total += math.log2(shares[0] / shares[1])
    return total


def judge(trial: Trial, technician: Technician) -> int:
    """The rule of every row: the true cause leads; or the report cannot tell it from the leader, and
    one of the first three checks does. The rank of the true cause."""
    diagnosis = technician.diagnose()
    assert diagnosis.causes, f"no cause at all for {trial}"
    listed = [f"{c.probability:.3f} {c.title}" for c in diagnosis.causes[:6]]
    rank = rank_of(diagnosis, trial.fault.part)
    if rank == 1:
        return rank
    ahead = leader_of(diagnosis.causes[0])
    assert rank, f"{trial}: {trial.fault} is not among the causes {listed}"
    # Two faults of different parts may share the report between them, each the leader of its part of it.
    others = [f for cause in diagnosis.causes[1 : rank - 1] for f in leader_of(cause)[:1]]
    together = [ahead, *((*ahead, f) for f in others if f.part not in {a.part for a in ahead})]
    bits = {faults: bits_for(technician.case, technician.faults, faults) for faults in together}
    ahead = next((faults for faults in together if bits[faults] <= MOST_BITS), ahead)
    assert bits[ahead] <= MOST_BITS, (
        f"{trial}: the report says {bits[ahead]:.1f} bits for the truth, yet {listed}"
    )
    checks = technician.case.checks(limit=3)
    found = separating(technician.case, checks, technician.faults, ahead)
    titles = [c.check.title for c in checks]
    assert found is not None, f"{trial}: rank {rank} behind {ahead}; none of {titles} tells them apart"
    return rank
