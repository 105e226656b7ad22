"""What a technician would do and write down on machine 1, with a fault put in.

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

from matrixdoc.case.case import Case
from matrixdoc.checks.situation import ALL_LAMPS, Finding, Look, Outcome, Situation
from matrixdoc.definition.wiring import Cell, Matrix, Wiring
from matrixdoc.diagnosis.results import Cause, Diagnosis, RankedCheck
from matrixdoc.faults.priors import Fault

SEED = int(os.environ.get("MATRIXDOC_SIGNATURE_SEED", "20261125"))
"""Set MATRIXDOC_SIGNATURE_SEED for other cells, lines and coils than the usual ones."""


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


@dataclass(frozen=True)
class Row:
    """A row of the trade's table: its words, what can do it, where, and the report about it.

    ``causes`` are ``part: mode`` with ``{}`` for the place (what stands before ``|``). ``places`` lists where
    on the machine; ``times`` of them are chosen for each cause. ``part`` turns a place into what
    stands for ``{}``, where that is not the place itself. ``together``: all causes at the same places,
    for rows whose reports take long: what one has solved serves the next.
    """

    words: str
    causes: tuple[str, ...]
    places: Callable[[Wiring], list[str]]
    report: Callable[[Technician, str, random.Random], None]
    times: int = 1
    part: Callable[[Wiring, str], str] | None = None
    together: bool = False

    def trials(self, wiring: Wiring) -> list[Trial]:
        """Every cause at places chosen by the seed."""
        found = []
        places = self.places(wiring)
        for cause in self.causes:
            rng = chooser(self.words, "" if self.together else cause)
            for place in rng.sample(places, min(self.times, len(places))):
                stem, _, mode = cause.rpartition(": ")
                filled = stem.format(self.part(wiring, place) if self.part else place.split(" | ")[0])
                found.append(Trial(self, cause, place, Fault(filled, mode)))
        return found


@dataclass(frozen=True)
class Trial:
    """One fault of one row at one place."""

    row: Row
    cause: str
    place: str
    fault: Fault

    def __str__(self) -> str:
        return f"{self.row.words} | {self.cause} | {self.place}"

    def report(self, case: Case) -> Technician:
        """A technician who has looked at the machine with the fault in it."""
        technician = Technician(case, (self.fault,))
        self.row.report(technician, self.place, chooser(self.row.words, self.place))
        return technician


# -- places ----------------------------------------------------------------------------------------


def cells(wiring: Wiring, matrix: str, *, among: Iterable[str] | None = None) -> list[Cell]:
    """Fitted cells of a matrix that read open at rest; ``among`` keeps some references only."""
    kept = None if among is None else set(among)
    return [
        c
        for c in wiring.matrices[matrix].cells
        if (kept is None or c.reference in kept)
        and not (matrix == "switch" and wiring.switches[c.reference].normally_closed)
    ]


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


def leader(diagnosis: Diagnosis) -> tuple[Fault, ...]:
    """Faults of the leading cause."""
    return tuple(Fault(f.part, f.mode) for f in diagnosis.causes[0].faults)


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


def judge(trial: Trial, technician: Technician) -> None:
    """The rule of every row: the true cause leads; or the report cannot tell it from the leader, and
    one of the first three checks does."""
    diagnosis = technician.diagnose()
    assert diagnosis.causes, f"no cause at all for {trial}"
    listed = [f"{c.probability:.3f} {c.title}" for c in diagnosis.causes[:6]]
    rank = rank_of(diagnosis, trial.fault.part)
    if rank == 1:
        return
    ahead = leader(diagnosis)
    assert rank, f"{trial}: {trial.fault} is not among the causes {listed}"
    said = bits_for(technician.case, technician.faults, ahead)
    assert said <= MOST_BITS, f"{trial}: the report says {said:.1f} bits for the truth, yet {listed}"
    checks = technician.case.checks(limit=3)
    found = separating(technician.case, checks, technician.faults, ahead)
    titles = [c.check.title for c in checks]
    assert found is not None, f"{trial}: rank {rank} behind {ahead}; none of {titles} tells them apart"
