"""How close the policy comes to the cheapest repair, and how much it saves on a whole machine.

Run: ``python tests/benchmarks/bench_policy.py [cases] [machine] [seed]``

First table: random problems of several shapes, small enough for the true optimum by dynamic
programming; expected cost of each base policy and of the rollout, as a multiple of the optimum.
Second table: reports on a shipped machine, with the options that a case really offers; expected
minutes of the policy, of testing the suspects directly in descending order of probability (the
experience of the catalogue, given the report), of the same in order of probability over cost, and of
repairing in order of probability over cost without any test; and of somebody who knows the cause.
The orders of tests are shown twice: worked through to the end of the list, and given up where that
is cheapest on average, as the policy and the repairs are. Figures are exact expectations, not
samples. Nothing is asserted.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from matrixdoc.case.case import Case  # noqa: E402
from matrixdoc.checks.situation import ALL_LAMPS, Finding, Look, Situation  # noqa: E402
from matrixdoc.definition.library import load_machine  # noqa: E402
from matrixdoc.definition.wiring import Wiring  # noqa: E402
from matrixdoc.diagnosis.policy import base_cost  # noqa: E402
from matrixdoc.diagnosis.policy_bases import BASES, repair_run  # noqa: E402
from matrixdoc.diagnosis.policy_problem import Problem  # noqa: E402
from matrixdoc.diagnosis.tree import grow  # noqa: E402
from tests.policy.families import FAMILIES  # noqa: E402
from tests.policy.optimum import Optimum  # noqa: E402
from tests.policy.walk import policy_cost  # noqa: E402

LEAST_MASS = 1e-6


def families(cases: int, seed: int) -> None:
    """The table against the true optimum."""
    print(f"{cases} random cases per family, seed {seed}; cost as a multiple of the optimum\n")
    print("| family | policy | mean | 95th percentile | worst |\n| --- | --- | ---: | ---: | ---: |")
    for name, family in FAMILIES.items():
        rows = []
        for number in range(cases):
            problem = family(np.random.default_rng([seed, number]))
            best = Optimum(problem).start()
            costs = [*(base_cost(problem, base) for base in BASES), policy_cost(problem)]
            rows.append([cost / best for cost in costs])
            print(f"\r{name}: {number + 1}/{cases}   ", end="", file=sys.stderr, flush=True)
        print(file=sys.stderr)
        table = np.array(rows)
        for column, policy in enumerate([*BASES, "rollout"]):
            ratio = table[:, column]
            mean, high, worst = ratio.mean(), np.percentile(ratio, 95), ratio.max()
            print(f"| {name} | {policy} | {mean:.4f} | {high:.4f} | {worst:.3f} |")
    print("\ngoals for rollout: mean at most 1.01, 95th percentile at most 1.04\n")


Reports = dict[str, list[Finding]]


def switch_reports(wiring: Wiring) -> Reports:
    """One dead switch, one that always reads, a dead column, a dead row."""
    usual = frozenset(r for r, s in wiring.switches.items() if s.normally_closed and (s.matrix or s.sensor))
    cells = [c for m in wiring.matrices.values() if m.device == "switch" for c in m.cells]
    cells = [c for c in cells if c.reference in wiring.switches and c.reference not in usual]
    if len(cells) < 8:
        return {}

    def press(reference: str, *, good: bool) -> Finding:
        seen = usual | ({reference} if good else frozenset())
        return Finding(Situation(held=(reference,)), Look("reads"), seen)

    middle = cells[len(cells) // 2]
    chosen = (cells[len(cells) // 7], middle, cells[-4])
    found = {f"dead switch {c.reference}": [press(c.reference, good=False)] for c in chosen}
    others = [press(c.reference, good=True) for c in cells if c is not middle]
    found["the same switch, all others fine"] = [press(middle.reference, good=False), *others]
    found["switch that always reads"] = [Finding(Situation(), Look("reads"), usual | {middle.reference})]
    found["dead switch column"] = [press(c.reference, good=c.column != middle.column) for c in cells]
    found["dead switch row"] = [press(c.reference, good=c.row != middle.row) for c in cells]
    return found


def lamp_reports(wiring: Wiring) -> Reports:
    """One dark lamp, a dark column, a dark row."""
    lamps = [c for m in wiring.matrices.values() if m.device == "lamp" for c in m.cells]
    if not lamps:
        return {}

    def lit(reference: str, *, good: bool) -> Finding:
        return Finding(Situation(lamps=(ALL_LAMPS,)), Look("lamp", reference), "normal" if good else "off")

    lamp = lamps[len(lamps) // 2]
    return {
        "dark lamp": [lit(lamp.reference, good=False)],
        "the same lamp, all others fine": [lit(c.reference, good=c is not lamp) for c in lamps],
        "dark lamp column": [lit(c.reference, good=c.column != lamp.column) for c in lamps],
        "dark lamp row": [lit(c.reference, good=c.row != lamp.row) for c in lamps],
    }


def coil_reports(wiring: Wiring) -> Reports:
    """One dead coil, all dead, one locked on."""
    coils = [r for r, coil in wiring.coils.items() if not coil.holds and coil.drive]
    if not coils:
        return {}
    coil = coils[len(coils) // 3]
    return {
        "dead coil": [Finding(Situation(pulsed=coil), Look("coil", coil), "nothing")],
        "the same coil, all others fine": [
            Finding(Situation(pulsed=c), Look("coil", c), "nothing" if c == coil else "fires") for c in coils
        ],
        "all coils dead": [Finding(Situation(pulsed=c), Look("coil", c), "nothing") for c in coils],
        "coil locked on": [Finding(Situation(), Look("resting coils"), frozenset({coil}))],
    }


def reports(wiring: Wiring) -> Reports:
    """Reports of the usual kinds, from the charts of any machine."""
    return {**switch_reports(wiring), **lamp_reports(wiring), **coil_reports(wiring)}


class DirectTests:
    """Suspects tested one by one in a fixed order; a test that points to its suspect is followed by
    the repair, a suspect without a test of its own is repaired at once.
    """

    def __init__(self, problem: Problem, *, by_cost: bool, stops: bool) -> None:
        self.problem = problem
        self.stops = stops
        count = len(problem.probability) - 1
        self.test = [self._test(h) for h in range(count)]
        self.mend = [
            int(np.argmax(problem.success[h])) if problem.success[h].any() else -1 for h in range(count)
        ]
        first = problem.prices[problem.start().setup[0]]
        price = [
            first[self.test[h][0]] if self.test[h][0] >= 0 else first[self.mend[h]] for h in range(count)
        ]
        p = problem.probability[:count]
        self.order = np.argsort(-(p / np.array(price) if by_cost else p), kind="stable")

    def _test(self, h: int) -> tuple[int, int]:
        """The check that points most nearly at suspect ``h`` alone, and its telling outcome."""
        problem, best = self.problem, (-1, -1)
        rank = (np.inf, np.inf)
        for number, action in enumerate(problem.actions):
            if action.mends:
                continue
            outcome = int(np.argmax(action.table[:, h]))
            if action.table[outcome, h] < 0.5 or action.table[outcome, -1] > 0.5:
                continue
            others = float((action.table[outcome] * problem.probability).sum() - problem.probability[h])
            found = (round(others, 9), float(action.minutes))
            if found < rank:
                rank, best = found, (number, outcome)
        return best

    def minutes(self) -> float:
        """Expected minutes."""
        problem = self.problem
        return self._from(0, problem.probability.copy(), int(problem.start().setup[0]), frozenset())

    def _from(self, position: int, alive: np.ndarray, setup: int, done: frozenset[tuple[int, int]]) -> float:
        problem = self.problem
        mass = float(alive.sum())
        if mass < LEAST_MASS:
            return 0.0
        if position == len(self.order):
            return float(alive @ problem.stopping)
        give_up = float(alive @ problem.stopping) if self.stops else np.inf
        h = int(self.order[position])
        test, outcome = self.test[h]
        if test < 0 or (test, 1) in done:
            return min(give_up, self._mend(position, h, alive, setup, done))
        if (test, 0) in done:
            return self._from(position + 1, alive, setup, done)
        cost = mass * float(problem.prices[setup, test])
        after = int(problem.after[setup, test])
        share = problem.actions[test].table[outcome]
        cost += self._mend(position, h, alive * share, after, done | {(test, 1)})
        cost += self._from(position + 1, alive * (1.0 - share), after, done | {(test, 0)})
        return min(give_up, cost)

    def _mend(
        self, position: int, h: int, alive: np.ndarray, setup: int, done: frozenset[tuple[int, int]]
    ) -> float:
        problem, mend = self.problem, self.mend[h]
        mass = float(alive.sum())
        if mass < LEAST_MASS:
            return 0.0
        if mend < 0 or (mend, 1) in done:
            return self._from(position + 1, alive, setup, done)
        cost = mass * float(problem.prices[setup, mend])
        left = alive * (1.0 - problem.success[:, mend])
        return cost + self._from(position + 1, left, int(problem.after[setup, mend]), done | {(mend, 1)})


def oracle(problem: Problem) -> float:
    """Expected minutes of somebody who knows the cause: its best repair, panels and power included."""
    first = problem.prices[problem.start().setup[0]]
    minutes = []
    for h, p in enumerate(problem.probability):
        costs = [
            first[a] + (1.0 - s) * problem.prices[0, a] for a, s in enumerate(problem.success[h]) if s > 0.0
        ]
        minutes.append(p * min([*costs, problem.stopping[h]]))
    return float(sum(minutes))


COLUMNS = (
    "policy",
    "knows the cause",
    "fixed order",
    "fixed, gives up",
    "p/c of tests",
    "p/c, gives up",
    "p/c of repairs",
)


def machine(name: str) -> None:
    """The table on a shipped machine."""
    wiring = load_machine(name)
    print(f"{name}: expected minutes to finish\n")
    print(f"| report | suspects | options | {' | '.join(COLUMNS)} | to fixed | to p/c |")
    print("| --- |" + " ---: |" * (len(COLUMNS) + 4))
    table = []
    for words, findings in reports(wiring).items():
        case = Case.start(wiring)
        for finding in findings:
            case = case.with_finding(finding)
        session = case.session
        assert session is not None
        told = session.told(case.standing)
        jobs = session.engine.jobs(told)
        if not jobs:
            print(f"| {words} | (no suspects) |")
            continue
        problem, options = session.engine.plan(jobs[0], told)
        start = time.perf_counter()
        minutes = [grow(problem, 100, 1e-5).minutes, oracle(problem)]
        taken = time.perf_counter() - start
        for by_cost in (False, True):
            for stops in (False, True):
                minutes.append(DirectTests(problem, by_cost=by_cost, stops=stops).minutes())
        minutes.append(float(repair_run(problem, problem.start())[0]))
        table.append(minutes)
        shown = " | ".join(f"{m:.1f}" for m in minutes)
        to_fixed, to_cost = minutes[0] / minutes[2], minutes[0] / minutes[4]
        counts = f"{len(problem.probability) - 1} | {len(options)}"
        print(f"| {words} | {counts} | {shown} | {to_fixed:.2f} | {to_cost:.2f} |")
        print(f"{words}: whole tree {taken:.2f} s", file=sys.stderr)
    found = np.array(table)
    to = {
        f"{words} ({goal})": (found[:, 0] / found[:, column]).mean()
        for words, column, goal in (
            ("the fixed order", 2, "goal 0.6"),
            ("the fixed order that gives up where that is cheapest", 3, "no goal"),
            ("probability over cost of tests", 4, "goal 0.8"),
            ("the same, giving up where that is cheapest", 5, "no goal"),
            ("probability over cost of repairs, giving up where that is cheapest", 6, "no goal"),
        )
    }
    print("\nThe policy's minutes, mean over the reports:")
    for words, ratio in to.items():
        print(f"- {ratio:.2f} x {words}")


def main() -> None:
    """Print both tables."""
    cases = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    name = sys.argv[2] if len(sys.argv) > 2 else "lantern_quay"
    seed = int(sys.argv[3]) if len(sys.argv) > 3 else 2024
    if cases:
        families(cases, seed)
    machine(name)


if __name__ == "__main__":
    main()
