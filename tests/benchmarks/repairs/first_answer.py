"""Only the first answer to an opening report: where it ranks what is wrong, and what a miss is due to.

Nothing is repaired, so that three hundred cases take minutes. Each miss is laid to one class by asking both
sides: the package, how probable each entry of the report is under the true faults and under those that it
named first; and the benchmark's own simulation, whether what was named first would show the same report.
"""

from __future__ import annotations

import random
import time
import traceback
from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

from matrixdoc.case.case import Case
from matrixdoc.checks.situation import NOT_SURE, Finding, Look, Situation
from matrixdoc.diagnosis.results import Cause, Diagnosis
from matrixdoc.faults.priors import Fault
from tests.benchmarks.repairs import orders
from tests.benchmarks.repairs.draw import Draw
from tests.benchmarks.repairs.person import Person, Unanswerable
from tests.benchmarks.repairs.repair import Repair, rank_of, told
from tests.benchmarks.repairs.results import Row, any_within, share

LEADERS = 3
TIMES_ASKED = 12
"""So often the simulation is asked for an entry: what an undecided input or an eye decides varies."""
UNLIKELY = 0.1
"""An entry that was told rightly, and that the package gives less under the true faults, is a difference
between the two models."""

WRONG_ENTRY = "the wrong entry decides: without it a true cause is among the first three"
OTHER_MODE = "the right part is among the first three, in another mode"
NO_SUSPECT = "the true cause is no suspect at all"
DIFFERS = "the models differ: an entry told rightly is improbable to the package under the true faults"
SHOWS_TOO = "the models differ: what was named first would not show the report in the simulation"
RARER = "looks alike in both: what was named first is commoner"
TIES = "looks alike in both, and is as common: a tie in the order"
WEIGHED = "explained as well and not rarer, but ranked behind all the same"


@dataclass
class First:
    """What the first answer to one report was."""

    number: int
    machine: str
    kind: str
    wrong: bool
    faults: list[str]
    rows: list[str]
    complaints: list[str]
    """What a technician calls the symptoms."""
    report: list[str] = field(default_factory=list)
    rank_opening: list[int] = field(default_factory=list)
    part_opening: list[int] = field(default_factory=list)
    causes: list[str] = field(default_factory=list)
    why: str = ""
    """Class of the miss."""
    detail: list[str] = field(default_factory=list)
    seconds: float = 0.0
    error: str = ""


def first_answer(draw: Draw, *, wrong: bool) -> Row:
    """The first answer to the report of one case, as plain data."""
    repair = Repair(draw, wrong=wrong)
    report = repair.report
    names = [words for words, _ in orders.symptoms(repair.plant, report)] or ["nothing that has a name"]
    found = First(
        draw.number,
        draw.machine,
        draw.kind,
        wrong,
        repair.result.faults,
        repair.result.rows,
        sorted(set(names)),
        [("* " if (f.situation, f.look) in report.complaint else "  ") + told(f) for f in report.findings],
    )
    try:
        start = time.process_time()
        case, diagnosis = answered(repair, report.findings)
        found.seconds = time.process_time() - start
        found.rank_opening = [rank_of(diagnosis.causes, f) for f in repair.faults]
        found.part_opening = [rank_of(diagnosis.causes, f, mode=False) for f in repair.faults]
        found.causes = [f"{c.probability:.3f} {c.title}" for c in diagnosis.causes[:6]]
        if not any_within(found.rank_opening, LEADERS):
            found.why, found.detail = Miss(repair, case, diagnosis).why()
    except Exception:  # noqa: BLE001 - a traceback is a result of the benchmark
        found.error = traceback.format_exc()
    return asdict(found)


def answered(repair: Repair, findings: Sequence[Finding]) -> tuple[Case, Diagnosis]:
    """The package's causes after some findings."""
    case = Case.start(repair.plant.wiring)
    for finding in findings:
        case = case.with_finding(finding)
    return case, case.diagnose()


class Miss:
    """A case none of whose true faults is among the first causes."""

    def __init__(self, repair: Repair, case: Case, diagnosis: Diagnosis) -> None:
        self.repair, self.case, self.diagnosis = repair, case, diagnosis
        self.findings = repair.report.findings
        right = repair.told_rightly.findings
        self.slipped = {n for n, (a, b) in enumerate(zip(self.findings, right, strict=True)) if a != b}
        self.person = Person(repair.plant, random.Random(f"{repair.draw.number} miss"))
        session = case.session
        assert session is not None
        engine = session.engine
        self.analysis = engine.analyse(session.told(case.standing))

    def why(self) -> tuple[str, list[str]]:
        """Class of the miss, and what it rests on."""
        repair, causes = self.repair, self.diagnosis.causes[:LEADERS]
        detail = [f"true: {self._package(repair.faults)}"]
        detail += [f"cause {c.rank}: {self._package(self._with_rest(c))}" for c in causes]
        if self.slipped:
            _, diagnosis = answered(repair, repair.told_rightly.findings)
            ranks = [rank_of(diagnosis.causes, f) for f in repair.faults]
            detail.append(f"ranks without the wrong entry: {ranks}")
            if any_within(ranks, LEADERS):
                return WRONG_ENTRY, detail
        low = [n for n, p in self._probabilities(repair.faults).items() if p < UNLIKELY]
        if low:
            detail += [f"unlikely under the true faults: {told(self.findings[n])}" for n in low]
            return DIFFERS, detail
        if any_within([rank_of(causes, f, mode=False) for f in repair.faults], LEADERS):
            return OTHER_MODE, detail
        odd = [line for c in causes for line in self._not_shown(c)]
        if odd:
            return SHOWS_TOO, detail + odd
        if not any(rank_of(self.diagnosis.causes, f) for f in repair.faults):
            return NO_SUSPECT, detail
        possible = repair.plant.possible
        own = max(possible[f].odds for f in repair.faults)
        theirs = [self._prior(c) for c in causes]
        detail.append(f"odds: true {own:.2g}, first causes {', '.join(f'{p:.2g}' for p in theirs)}")
        if min(theirs) > 1.01 * own:
            return RARER, detail
        return (TIES if min(theirs) > 0.99 * own else WEIGHED), detail

    def _probabilities(self, faults: Iterable[Fault]) -> dict[int, float]:
        """By entry told rightly: how probable it is to the package under some faults. What comes and goes
        is there."""
        some = tuple(sorted(faults))
        evidence = self.analysis.evidence
        evidence.prepare([(n, some) for n in range(len(self.findings))])
        return {n: evidence.report_given(n, some) for n in range(len(self.findings)) if n not in self.slipped}

    def _package(self, faults: Sequence[Fault]) -> str:
        names = "; ".join(f"{f.part}: {f.mode}" for f in faults)
        return f"{names} [{' '.join(f'{p:.2g}' for p in self._probabilities(faults).values())}]"

    def _with_rest(self, cause: Cause) -> tuple[Fault, ...]:
        """The cause with those of the true faults (of a double) that it does not stand for, whichever of
        them explain most beside it."""
        own = tuple(Fault(name.part, name.mode) for name in cause.faults)
        others = [f for f in self.repair.faults if f.part not in {o.part for o in own}]
        sets = [own, *((*own, f) for f in others)] if len(self.repair.faults) > 1 else [own]

        def worth(faults: tuple[Fault, ...]) -> float:
            product = 1.0
            for value in self._probabilities(faults).values():
                product *= value
            return product

        return max(sets, key=worth)

    def _prior(self, cause: Cause) -> float:
        possible = self.repair.plant.possible
        own = {Fault(n.part, n.mode) for some, _ in cause.members for n in some}
        return sum(possible[f].odds for f in own if f in possible)

    def _not_shown(self, cause: Cause) -> list[str]:
        """Entries told rightly that the package lays to a cause and the simulation never shows under it."""
        faults = self._with_rest(cause)
        if any(f not in self.repair.plant.possible for f in faults):
            return [f"cause {cause.rank} is nothing that the simulation has"]
        odd = []
        for number, probability in self._probabilities(faults).items():
            if probability < UNLIKELY:
                continue
            finding = self.findings[number]
            seen = [
                self._looked(frozenset(faults), finding.situation, finding.look) for _ in range(TIMES_ASKED)
            ]
            if finding.outcome not in seen and NOT_SURE not in seen:
                odd.append(f"cause {cause.rank} in the simulation: {told(finding)} never, but {seen[0]}")
        return odd

    def _looked(self, faults: frozenset[Fault], situation: Situation, look: Look) -> Any:
        try:
            return self.person.look(faults, situation, look)
        except Unanswerable:
            return NOT_SURE


def openings(rows: Iterable[Row]) -> str:
    """Tables of the first answers, in Markdown."""
    every = list(rows)
    kinds: tuple[tuple[str, Callable[[Row], Sequence[str]]], ...] = (
        ("all", lambda row: ["all"]),
        ("report", lambda row: ["one entry wrong" if row["wrong"] else "right"]),
        ("machine", lambda row: [row["machine"]]),
        ("faults", lambda row: [row["kind"]]),
        ("complaint", lambda row: row["complaints"]),
        ("part", lambda row: sorted(set(row["rows"]))),
    )
    lines = [
        "| by | | first | in the first three | the right part in the first three |",
        "| --- | --- | ---: | ---: | ---: |",
    ]
    for by, names in kinds:
        groups: dict[str, list[Row]] = {}
        for row in every:
            for name in names(row):
                groups.setdefault(name, []).append(row)
        for name, some in sorted(groups.items(), key=lambda g: (-len(g[1]), g[0])):
            cells = (
                share(some, lambda r: any_within(r["rank_opening"], 1)),
                share(some, lambda r: any_within(r["rank_opening"], LEADERS)),
                share(some, lambda r: any_within(r["part_opening"], LEADERS)),
            )
            lines.append(f"| {by} | {name} | {' | '.join(cells)} |")
    counts: dict[str, int] = {}
    for row in every:
        why = "ended in a traceback" if row["error"] else row["why"]
        if why:
            counts[why] = counts.get(why, 0) + 1
    ordered = sorted(counts.items(), key=lambda c: (-c[1], c[0]))
    misses = ["| class of miss | cases |", "| --- | ---: |", *(f"| {why} | {n} |" for why, n in ordered)]
    return "\n".join([*lines, "", *misses]) + "\n"


def told_miss(row: Row) -> str:
    """One first answer in lines."""
    head = f"case {row['number']}, {row['machine']}, {'; '.join(row['faults'])}"
    ranks = f"ranks {row['rank_opening']}, of the part {row['part_opening']}, {row['seconds']:.1f} s"
    lines = [*row["report"], *(f"> {cause}" for cause in row["causes"]), *(f"= {d}" for d in row["detail"])]
    wrong = ", one entry wrong" if row["wrong"] else ""
    return "\n  ".join([f"{head}{wrong}: {row['why']} ({ranks})", *lines, *row["error"].splitlines()])
