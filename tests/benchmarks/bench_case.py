"""How long a person waits: load, first causes, causes after one more finding, checks, start-up.

Run: ``python tests/benchmarks/bench_case.py [machine]`` (byte-compile first). Medians of several runs
on this machine; each line names the goal it is measured against. Nothing is asserted.
"""

from __future__ import annotations

import json
import resource
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matrixdoc.case.case import Case

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

RUNS = 5


def compare(case: Case) -> None:
    """Causes grouped by what the checks can tell apart, and the checks in their order."""
    case.diagnose()
    case.checks()


def median_ms(action: Callable[[], object], runs: int = RUNS) -> float:
    """Median wall time of ``action`` in milliseconds."""
    taken = []
    for _ in range(runs):
        start = time.perf_counter()
        action()
        taken.append((time.perf_counter() - start) * 1000.0)
    return statistics.median(taken)


def start_up_ms(*words: str) -> float:
    """Median wall time of one command in its own process."""
    return median_ms(
        lambda: subprocess.run([sys.executable, *words], check=True, capture_output=True, cwd=ROOT)
    )


def main() -> None:
    """Print the table."""
    name = sys.argv[1] if len(sys.argv) > 1 else "lantern_quay"
    rows: list[tuple[str, float, str]] = []
    rows.append(("matrixdoc --help", start_up_ms("-m", "matrixdoc", "--help"), "150"))
    rows.append(("python -c pass, for comparison", start_up_ms("-c", "pass"), ""))

    from matrixdoc.case.case import Case
    from matrixdoc.checks.situation import ALL_LAMPS, Finding, Look, Situation
    from matrixdoc.cli.main import collect_seldom
    from matrixdoc.definition.library import load_machine

    collect_seldom()  # as the command does
    load_machine(name)
    rows.append(("load the definition", median_ms(lambda: load_machine(name)), "150"))
    wiring = load_machine(name)
    usual = frozenset(r for r, s in wiring.switches.items() if s.normally_closed and s.matrix)
    switches = [r for r, s in wiring.switches.items() if s.matrix and not s.normally_closed]
    lamps = [r for r, lamp in wiring.lamps.items() if lamp.matrix]
    coils = [r for r, coil in wiring.coils.items() if not coil.holds]

    def press(switch: str, *, good: bool) -> Finding:
        return Finding(Situation(held=(switch,)), Look("reads"), usual | ({switch} if good else frozenset()))

    reports = {
        "a dead switch": [press(switches[9], good=False)],
        "a dark lamp": [Finding(Situation(lamps=(ALL_LAMPS,)), Look("lamp", lamps[9]), "off")],
        "a dead coil": [Finding(Situation(pulsed=coils[3]), Look("coil", coils[3]), "nothing")],
        "a walk with a dead column": [press(s, good=not s.startswith("switch/C2")) for s in switches],
    }
    for words, findings in reports.items():

        def first(findings: list[Finding] = findings) -> None:
            case = Case.start(wiring)
            for finding in findings:
                case = case.with_finding(finding)
            case.first_causes()

        def whole(findings: list[Finding] = findings) -> None:
            case = Case.start(wiring)
            for finding in findings:
                case = case.with_finding(finding)
            compare(case)

        rows.append((f"first causes, machine new: {words}", median_ms(first, 3), "300"))
        rows.append((f"causes compared and checks ranked: {words}", median_ms(whole, 3), ""))
    case = Case.start(wiring).with_finding(press(switches[9], good=False))
    case.diagnose()
    case.checks()
    more = [press(s, good=True) for s in switches[10:16]]
    again = []
    refined = []
    for finding in more:
        case = case.with_finding(finding)
        again.append(median_ms(case.first_causes, 1))
        refined.append(median_ms(partial(compare, case), 1))
    rows.append(("causes after one more finding", statistics.median(again), "50"))
    rows.append(("checks after one more finding", statistics.median(refined), "100"))
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    print(f"| what ({name}) | median ms | goal ms |\n| --- | ---: | ---: |")
    for what, value, goal in rows:
        print(f"| {what} | {value:.0f} | {goal} |")
    print(f"\npeak memory {peak:.0f} MiB")
    print(json.dumps({what: round(value, 1) for what, value, _ in rows}), file=sys.stderr)


if __name__ == "__main__":
    main()
