"""One guided repair from the opening report to the proof, by the product's own advice.

The person does what is proposed: answers come from the benchmark's own simulation, repairs succeed with the
catalogue's chance where the action fits the fault. A fault that comes and goes is drawn anew whenever a
repair moves it, one that is restless at every look. Who is told that nothing is left to do plays the game:
what is still wrong comes back as a complaint.
"""

from __future__ import annotations

import random
import time
import traceback
from dataclasses import asdict, dataclass, field
from typing import Any

from matrixdoc.case.case import Case, CaseError
from matrixdoc.checks.situation import NOT_SURE, Check, Finding, Outcome
from matrixdoc.diagnosis.results import Cause, Diagnosis
from matrixdoc.faults.priors import Fault
from tests.benchmarks.repairs import orders
from tests.benchmarks.repairs.draw import DOUBLE, Draw, faults_of
from tests.benchmarks.repairs.orders import Bench
from tests.benchmarks.repairs.person import Person, Unanswerable
from tests.benchmarks.repairs.plant import Plant, plant
from tests.benchmarks.repairs.report import NothingShowsError, Question, Report, opening, with_slip

MOST_STEPS, MOST_COMEBACKS = 40, 2
ATTEMPTS = 200
SEEN, LOST = 0.01, 1e-4
COMEBACK_MINUTES = 5.0
"""Playing a game until what is left shows again (common practice, no source)."""
WIGGLE_SHOWS, WIGGLE_MISLEADS = 0.8, 0.02
WARM_SHOWS, WARM_MISLEADS = 0.85, 0.02
WEAKER = {"clean": 0, "reseat": 0, "repair": 1, "swap": 1, "replace": 1}
"""Cleaning and reseating do not cure what wants the iron; the iron cures what wants cleaning."""
THOROUGH = 0.95
"""Success of thorough work where the catalogue names none for the part (common practice, no source)."""


@dataclass
class Result:
    """What came of one case."""

    number: int
    machine: str
    kind: str
    wrong: bool
    faults: list[str]
    rows: list[str]
    report: list[str] = field(default_factory=list)
    rank_opening: list[int] = field(default_factory=list)
    """Rank of the first cause that holds each fault, after the opening report; 0: none does."""
    rank_end: list[int] = field(default_factory=list)
    """The same in the last diagnosis, or in the first one after the fault was mended."""
    part_opening: list[int] = field(default_factory=list)
    part_end: list[int] = field(default_factory=list)
    """The same for the right part in any mode: what has to be mended."""
    lost: list[str] = field(default_factory=list)
    """Faults that were above 1 %, fell below a ten-thousandth of the leader and stayed there."""
    finished: bool = False
    reason: str = ""
    minutes: float = 0.0
    checks: int = 0
    repairs: int = 0
    needless: int = 0
    """Repairs of sound parts."""
    comebacks: int = 0
    declined: int = 0
    not_sure: int = 0
    refused: int = 0
    """Repairs that the case would not take down."""
    repeated: int = 0
    """Looks that were asked for again though no repair lay between."""
    minutes_fixed: float = 0.0
    checks_fixed: int = 0
    minutes_over_cost: float = 0.0
    checks_over_cost: int = 0
    minutes_oracle: float = 0.0
    seconds: list[float] = field(default_factory=list)
    """Computing before each answer: causes and checks. Of this process alone: others may share the cores."""
    trace: list[str] = field(default_factory=list)
    error: str = ""


def rank_of(causes: tuple[Cause, ...], fault: Fault, *, mode: bool = True) -> int:
    """Rank of the first cause with a member that holds the fault (or its part); 0 without one."""
    for cause in causes:
        names = [name for some, _ in cause.members for name in some]
        if any(name.part == fault.part and (not mode or name.mode == fault.mode) for name in names):
            return cause.rank
    return 0


class Repair:
    """A case on its way."""

    def __init__(self, draw: Draw, *, wrong: bool) -> None:
        self.draw, self.wrong = draw, wrong
        self.plant: Plant = plant(draw.machine)
        self.rng: random.Random = draw.rng("answers", wrong)
        self.person = Person(self.plant, self.rng)
        self.faults, self.told_rightly = self._found()
        self.report = self._reported()
        self.left = set(self.faults)
        self.there = dict.fromkeys(self.faults, True)
        self.follows: dict[Fault, bool] = {}
        self.best = dict.fromkeys(self.faults, 0.0)
        self.low = dict.fromkeys(self.faults, False)
        self.bench = Bench(self.plant)
        self.asked: set[Question] = set()
        self.recordable = {*self.plant.wiring.parts, *self.plant.circuit.bridges}
        rows = [self.plant.possible[f].row for f in self.faults]
        names = [f"{f.part}: {f.mode}" for f in self.faults]
        self.told: set[Fault] = set()
        self.result = Result(draw.number, draw.machine, draw.kind, wrong, names, rows)
        self.result.rank_end, self.result.part_end = [0] * len(names), [0] * len(names)

    def _found(self) -> tuple[tuple[Fault, ...], Report]:
        """Faults that show something, and the report about them."""
        for attempt in range(ATTEMPTS):
            rng = self.draw.rng("faults", attempt)
            faults = faults_of(self.plant, self.draw, rng)
            try:
                person = Person(self.plant, rng)
                report = opening(person, frozenset(faults), faults, rng)
            except NothingShowsError:
                continue
            if self.draw.kind == DOUBLE and len(faults) < 2:
                continue
            self._rng_of_slip = rng
            return faults, report
        raise RuntimeError(f"case {self.draw.number}: no fault of {self.draw.machine} shows anything")

    def _reported(self) -> Report:
        """What is told: the report, or the report with one entry wrong."""
        return (
            with_slip(self.told_rightly, self.plant, self._rng_of_slip) if self.wrong else self.told_rightly
        )

    # -- the machine ---------------------------------------------------------------------------------

    def present(self) -> frozenset[Fault]:
        """Faults that are there at this look."""
        found = []
        for fault in sorted(self.left):
            entry = self.plant.possible[fault]
            if entry.restless:
                self.there[fault] = self.rng.random() < entry.duty
            if self.there[fault]:
                found.append(fault)
        return frozenset(found)

    def disturb(self) -> None:
        """Hands were in the machine: what comes and goes is drawn anew."""
        for fault in sorted(self.left):
            entry = self.plant.possible[fault]
            if entry.duty > 0.0:
                self.there[fault] = self.rng.random() < entry.duty

    def mend(self, check: Check) -> None:
        """The parts of a repair, one by one."""
        touched = [f for f in sorted(self.left) if f.part in check.mends]
        self.result.repairs += 1
        self.result.needless += not touched
        self.disturb()
        for fault in touched:
            if self.rng.random() < self.cures(check.action or "repair", fault):
                self.left.discard(fault)

    def cures(self, action: str, fault: Fault) -> float:
        """Chance that an action at its part cures a fault. A part that is replaced or soldered where cleaning
        would do is as good as that work makes it: as good as where it is the work that was called for.
        """
        possible, entry = self.plant.possible, self.plant.possible[fault]
        if WEAKER[action] < WEAKER[entry.action]:
            return 0.0
        if WEAKER[action] == WEAKER[entry.action]:
            return entry.success
        others = [e.success for f, e in possible.items() if f.part == fault.part and e.action == action]
        return max([entry.success, *(others or [THOROUGH])])

    def answer(self, check: Check) -> Outcome:
        """What the person reports of a look."""
        if check.look.kind == "wiggle":
            return self._wiggled(check.look.target)
        if check.look.kind == "warm":
            return self._warmed(check.look.target)
        if check.look.kind == "warm up":
            raise Unanswerable("nobody waits for the machine to cool down here")
        return self.person.look(self.present(), check.situation, check.look)

    def _wiggled(self, part: str) -> str:
        loose = any(self.plant.possible[f].duty > 0.0 for f in self._near(part))
        return "changes" if self.rng.random() < (WIGGLE_SHOWS if loose else WIGGLE_MISLEADS) else "stays"

    def _near(self, part: str) -> list[Fault]:
        """Faults that are left at a part or at the connector that it belongs to."""
        parts = self.plant.wiring.parts
        connector = parts[part].connector if part in parts else ""
        return [
            f
            for f in sorted(self.left)
            if f.part == part or (connector and f.part in parts and parts[f.part].connector == connector)
        ]

    def _warmed(self, part: str) -> str:
        """Whether a joint follows warmth is drawn once: it does or it does not, however often it is tried."""
        for fault in self._near(part):
            if fault not in self.follows:
                entry = self.plant.possible[fault]
                self.follows[fault] = self.rng.random() < entry.opens_warm + entry.opens_cold
        follows = any(self.follows[fault] for fault in self._near(part))
        return "changes" if self.rng.random() < (WARM_SHOWS if follows else WARM_MISLEADS) else "stays"

    # -- the advice ----------------------------------------------------------------------------------

    def note(self, diagnosis: Diagnosis) -> None:
        """How the true faults stand."""
        leader = max((c.probability for c in diagnosis.causes), default=0.0)
        for number, fault in enumerate(self.faults):
            if fault in self.told:
                continue  # mended, and told once since: what is said later is about others
            if fault not in self.left:
                self.told.add(fault)
            own = diagnosis.marginals.get((fault.part, fault.mode), 0.0)
            rank = rank_of(diagnosis.causes, fault)
            group = [c.probability for c in diagnosis.causes if c.rank == rank]
            share = max([own, *group])
            self.best[fault] = max(self.best[fault], share)
            self.low[fault] = self.best[fault] > SEEN and share < LOST * leader
            self.result.rank_end[number] = rank
            self.result.part_end[number] = rank_of(diagnosis.causes, fault, mode=False)
        first = diagnosis.causes[0] if diagnosis.causes else None
        if first is not None:
            self.result.trace.append(f"  leader {first.probability:.3f} {first.title}")

    def run(self, seconds: float) -> Result:
        """The whole repair; it is left after ``seconds`` of computing."""
        case = Case.start(self.plant.wiring)
        for finding in self.report.findings:
            case = case.with_finding(finding)
            self.result.report.append(told(finding))
        try:
            self._guided(case, seconds)
        except Exception:  # noqa: BLE001 - a traceback is a result of the benchmark
            self.result.error = traceback.format_exc()
            self.result.reason = "traceback"
        self.result.lost = [f"{f.part}: {f.mode}" for f in self.faults if self.low[f]]
        self.result.minutes = self.bench.minutes
        self.result.not_sure = self.person.unsolved
        self.result.minutes_oracle = orders.oracle(self.plant, self.faults).minutes
        return self.result

    def _guided(self, case: Case, seconds: float) -> None:
        result = self.result
        for step in range(MOST_STEPS):
            start = time.process_time()
            diagnosis = case.diagnose()
            checks = case.checks(limit=5)
            result.seconds.append(time.process_time() - start)
            self.note(diagnosis)
            if step == 0:
                result.rank_opening, result.part_opening = list(result.rank_end), list(result.part_end)
                self._compare(diagnosis)
            if not self.left and self._all_right():
                result.finished, result.reason = True, "mended and proven"
                return
            if sum(result.seconds) > seconds:
                result.reason = f"left after {seconds:g} s of computing"
                return
            if not checks:
                if result.comebacks >= MOST_COMEBACKS:
                    result.reason = "nothing more was proposed"
                    return
                case = self._comes_back(case)
                continue
            case = self._do(case, checks[0].check)
        result.reason = f"{MOST_STEPS} steps were not enough"

    def _compare(self, diagnosis: Diagnosis) -> None:
        """The other ways, from the same report."""
        fixed = orders.walk(self.plant, orders.fixed_order(self.plant, self.report), self.faults)
        ratio = orders.walk(self.plant, orders.over_cost(self.plant, diagnosis.marginals), self.faults)
        result = self.result
        result.minutes_fixed, result.checks_fixed = fixed.minutes, fixed.steps
        result.minutes_over_cost, result.checks_over_cost = ratio.minutes, ratio.steps

    def _all_right(self) -> bool:
        """Whether the newest look at the complaint showed nothing wrong (the faults are out)."""
        return bool(self.result.trace) and self.last_right

    last_right = False

    def _do(self, case: Case, check: Check) -> Case:
        result = self.result
        act = check.kind == "act"
        places = list(check.places)
        question = (check.situation, check.look)
        if act:
            self.asked.clear()
            self.bench.spend(
                check.minutes + check.risk, places, power=False, power_after=check.situation.power
            )
            self.mend(check)
            known = [part for part in check.mends if part in self.recordable]
            if not known:
                # The chart, say: the person follows its wires, finds it right, and says so.
                result.declined += 1
                result.trace.append(f"no repair of this machine: {check.title}")
                return case.with_decline(check.key)
            try:
                case = case.with_repair(known, check.action or "repair")
            except CaseError as refused:
                result.refused += 1
                result.trace.append(f"refused: {refused}")
        else:
            power = check.situation.power
            self.bench.spend(check.minutes + check.risk, places, power=power, power_after=power)
            result.checks += 1
            if not check.title.startswith("once more"):
                result.repeated += question in self.asked
            self.asked.add(question)
        try:
            seen = self.answer(check)
        except Unanswerable:
            result.declined += 1
            result.trace.append(f"declined: {check.title}")
            return case.with_decline(check.key)
        result.trace.append(f"{check.title} -> {_seen(seen)}")
        if check.look.kind not in ("wiggle", "warm"):
            self.last_right = _alike(seen, self.person.look(frozenset(), check.situation, check.look))
        return case.with_finding(Finding(check.situation, check.look, seen))

    def _comes_back(self, case: Case) -> Case:
        """Played until what is still wrong shows; the complaint told again."""
        self.result.comebacks += 1
        self.bench.minutes += COMEBACK_MINUTES
        for fault in self.left:
            self.there[fault] = True
        self.result.trace.append("nothing proposed; the complaint again")
        for situation, look in self.report.complaint:
            seen = self.person.look(self.present(), situation, look)
            if seen != NOT_SURE:
                case = case.with_finding(Finding(situation, look, seen))
                self.result.trace.append(f"  {told(case.findings[-1])}")
        self.last_right = not self.left
        return case


def _alike(one: Outcome, other: Outcome) -> bool:
    """Whether two outcomes are the same to a person: numbers within a tenth and a quarter."""
    if isinstance(one, float) and isinstance(other, float):
        return abs(one - other) <= max(0.1 * max(abs(one), abs(other)), 0.25)
    return one == other


def _seen(outcome: Outcome) -> str:
    if isinstance(outcome, frozenset):
        return "{" + ", ".join(sorted(outcome)) + "}"
    return f"{outcome:.4g}" if isinstance(outcome, float) else outcome


def told(finding: Finding) -> str:
    """An entry of a report in one line."""
    s, look = finding.situation, finding.look
    done = " ".join([*s.held, *s.lamps, *([s.pulsed] if s.pulsed else [])]) or "nothing done"
    return f"{done}; {look.kind} {look.target}: {_seen(finding.outcome)}"


def run_case(draw: Draw, *, wrong: bool, seconds: float) -> dict[str, Any]:
    """One case as plain data."""
    return asdict(Repair(draw, wrong=wrong).run(seconds))
