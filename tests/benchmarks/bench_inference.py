"""The posterior beside a general-purpose library, and what it costs as machines grow.

Run: ``python tests/benchmarks/bench_inference.py`` (byte-compile first; about five minutes).
``python tests/benchmarks/bench_inference.py quick`` leaves out the shuffled chains and 32x32. Each machine
of the table of growth runs in a process of its own, so that its memory is its own. Nothing is asserted.
"""

from __future__ import annotations

import json
import resource
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

if TYPE_CHECKING:
    from matrixdoc.faults.priors import Fault
    from tests.diagnosis.networks import Problem

SIZES = ((4, 4), (8, 8), (16, 8), (16, 16), (32, 32))
RUNS = 5


def seconds(action: Callable[[], object], runs: int = 1) -> float:
    """Median wall time of ``action``."""
    taken = []
    for _ in range(runs):
        start = time.perf_counter()
        action()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def networks(*, shuffled: bool) -> None:
    """Two 8x8 matrices, opens only: the package and pyAgrum, the same likelihoods at hand for both.

    The package's time is that of ``posterior``, from variables and likelihoods to all marginals; the
    library's is that of exact inference and reading all marginals, its network built before.
    """
    from matrixdoc.diagnosis.settings import Settings
    from tests.diagnosis.networks import make_problem
    from tests.diagnosis.pairs import column, pair, row

    print("| 8x8 switches and lamps, opens | faults | package ms | pyAgrum ms | its network ms | worst |")
    print("| --- | ---: | ---: | ---: | ---: | ---: |")
    for words, seed in (("chart order", None), ("shuffled chains", 1)):
        if seed is not None and not shuffled:
            continue
        machine = pair(8, 8, shuffled=seed)
        dead = {
            "a column": {"switch": column(machine, 3)},
            "column, row, cell": {"switch": column(machine, 3) | row(machine, 2) | {(4, 4)}},
            "all lamps": {"lamp": set(machine.cells)},
        }
        for name, cells in dead.items():
            problem = make_problem(machine, cells, Settings(outside_weight=0.0), one_mode=False)
            beside(f"{name}, {words}", problem, RUNS if seed is None else 1)


def beside(words: str, problem: Problem, runs: int) -> None:
    """One row of the table."""
    from matrixdoc.diagnosis.posterior import posterior
    from matrixdoc.diagnosis.variables import build_variables
    from tests.diagnosis.networks import Network, scopes

    evidence = problem.evidence
    touched = scopes(evidence)
    variables = build_variables(evidence.predictor.model, list(problem.possible), merge=False)
    likelihood = cache(evidence.likelihood)

    def ours() -> Mapping[Fault, float]:
        return posterior(
            variables,
            len(evidence),
            likelihood,
            lambda fault: touched.get(fault, frozenset()),
            least_share=evidence.settings.least_share,
        ).marginals

    evidence.prepare([(f, (fault,)) for fault, some in touched.items() for f in sorted(some)])
    mine = ours()
    own = seconds(ours, runs)
    start = time.perf_counter()
    network = Network(problem)
    building = time.perf_counter() - start
    library = network.marginals()[0]
    theirs = seconds(network.marginals, runs)
    worst = max(abs(mine[fault] - value) for fault, value in library.items())
    figures = f"{len(problem.possible)} | {own * 1e3:.0f} | {theirs * 1e3:.0f} | {building * 1e3:.0f}"
    print(f"| {words} | {figures} | {worst:.0e} |", flush=True)


def grown(columns: int, rows: int) -> None:
    """One machine of the table of growth, in this process; prints one line of JSON."""
    from matrixdoc.case.case import Case
    from matrixdoc.checks.situation import Finding, Look, Situation
    from matrixdoc.definition.library import machine_from_text
    from tests.diagnosis.pairs import pair

    machine = pair(columns, rows)
    start = time.perf_counter()
    wiring = machine_from_text(machine.text(), "grown")
    load = time.perf_counter() - start

    def press(c: int, r: int, *, good: bool) -> Finding:
        name = f"switch/C{c}R{r}"
        return Finding(Situation(held=(name,)), Look("reads"), frozenset({name} if good else ()))

    def dead_switch() -> None:
        Case.start(wiring).with_finding(press(2, 2, good=False)).diagnose()

    def dead_column() -> None:
        case = Case.start(wiring)
        for c, r in machine.cells:
            case = case.with_finding(press(c, r, good=c != 3))
        case.diagnose()

    one = seconds(dead_switch)
    walk = seconds(dead_column)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    parts = len(wiring.parts)
    print(json.dumps({"parts": parts, "load": load, "one": one, "walk": walk, "peak": peak}))


def growth(*, largest: bool) -> None:
    """The table of growth: switch and lamp matrix, link, connectors, supplies, all failure modes."""
    print("| switches and lamps | parts | load s | one dead switch s | walk, a column dead s | peak MiB |")
    print("| --- | ---: | ---: | ---: | ---: | ---: |")
    for columns, rows in SIZES if largest else SIZES[:-1]:
        done = subprocess.run(
            [sys.executable, __file__, "grown", str(columns), str(rows)],
            check=False,
            capture_output=True,
            text=True,
            cwd=ROOT,
        )
        if done.returncode:
            print(
                f"| {columns}x{rows} | failed: {done.stderr.strip().splitlines()[-1:]} | | | | |", flush=True
            )
            continue
        found = json.loads(done.stdout)
        print(
            f"| {columns}x{rows} | {found['parts']} | {found['load']:.2f} | {found['one']:.2f} "
            f"| {found['walk']:.2f} | {found['peak']:.0f} |",
            flush=True,
        )


def main() -> None:
    """Print the tables."""
    if sys.argv[1:2] == ["grown"]:
        grown(int(sys.argv[2]), int(sys.argv[3]))
        return
    quick = sys.argv[1:2] == ["quick"]
    # Growth first: a process counts the peak of the one that started it as its own.
    growth(largest=not quick)
    print()
    networks(shuffled=not quick)


if __name__ == "__main__":
    main()
