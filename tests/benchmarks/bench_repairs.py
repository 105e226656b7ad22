"""Whole repairs, guided from the opening report to the proof, on machines that another simulation plays.

Run: ``python tests/benchmarks/bench_repairs.py --cases 300 --seed SEED --json repairs.json``

Faults are drawn by the catalogue's rates with a floor for rare kinds (60 % one, 30 % two, 10 % one that
comes and goes) and injected into the second expansion of the definition in ``tests/proof``, solved by
neospice: never into the package's circuit. A technician reports what that shows, asks for the next check,
answers it from there and mends, until everything works. Each case runs with a right report and, where its
number falls into the share asked for by ``--wrong``, with one entry of the report wrong; the same cases are
thus compared at all levels.

With ``--json`` every finished run is kept: the same command goes on where it was stopped, and ``--table``
shows what there is so far. ``--only 17`` runs one case and tells it step by step. Nothing is asserted.

``--opening`` stops at the first answer to the opening report: 300 cases take some minutes, and what a miss
is due to is told by class (``--misses`` shows each).
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import sys
import time
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from tests.benchmarks.repairs.draw import Draw, draws  # noqa: E402
from tests.benchmarks.repairs.first_answer import first_answer, openings, told_miss  # noqa: E402
from tests.benchmarks.repairs.plant import MACHINES  # noqa: E402
from tests.benchmarks.repairs.repair import run_case  # noqa: E402
from tests.benchmarks.repairs.results import Row, at_level, key, tables  # noqa: E402

Job = tuple[Draw, bool, float]
"""A case, whether its report has an entry wrong, and the seconds of computing (0: the first answer alone)."""


def asked() -> argparse.Namespace:
    """The options."""
    parser = argparse.ArgumentParser(description="Guided repairs against an independent simulation.")
    parser.add_argument("--cases", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--machines", nargs="+", default=list(MACHINES), choices=MACHINES)
    parser.add_argument("--wrong", nargs="+", type=float, default=[0.0, 0.2, 0.4], metavar="SHARE")
    parser.add_argument("--workers", type=int, default=1, choices=(1, 2))
    parser.add_argument("--seconds", type=float, default=300.0, help="computing after which a run is left")
    parser.add_argument("--json", type=Path, help="keep the runs here, and go on from it")
    parser.add_argument("--table", action="store_true", help="only show what the file of runs holds")
    parser.add_argument("--opening", action="store_true", help="only the first answer to each report")
    parser.add_argument("--misses", action="store_true", help="with --opening: show every miss")
    parser.add_argument("--only", type=int, metavar="CASE", help="run one case and tell it")
    return parser.parse_args()


def jobs(cases: Iterable[Draw], levels: Iterable[float], seconds: float) -> list[Job]:
    """The runs that these levels need, each once."""
    found: dict[str, Job] = {}
    for draw in cases:
        for level in levels:
            wrong = draw.slip < level
            found.setdefault(key(draw, wrong=wrong), (draw, wrong, seconds))
    return list(found.values())


def work(job: Job) -> tuple[str, Row]:
    """One run, in whatever process."""
    draw, wrong, seconds = job
    name = key(draw, wrong=wrong)
    return name, run_case(draw, wrong=wrong, seconds=seconds) if seconds else first_answer(draw, wrong=wrong)


def each(todo: list[Job], workers: int) -> Iterator[tuple[str, Row]]:
    """The runs as they end. A worker is replaced now and then: what it has solved fills its memory."""
    if workers == 1:
        yield from map(work, todo)
        return
    with multiprocessing.get_context("fork").Pool(workers, maxtasksperchild=20) as pool:
        yield from pool.imap_unordered(work, todo)


def kept(path: Path | None, settings: dict[str, Any]) -> dict[str, Row]:
    """Runs of an earlier start; those of other settings are refused."""
    if path is None or not path.exists():
        return {}
    found = json.loads(path.read_text("utf-8"))
    if found["settings"] != settings:
        raise SystemExit(f"{path} holds runs of other settings: {found['settings']}; name another file")
    runs: dict[str, Row] = found["runs"]
    return runs


def keep(path: Path | None, settings: dict[str, Any], rows: dict[str, Row]) -> None:
    """Write the runs so that a stop at any instant loses none of them."""
    if path is None:
        return
    beside = path.with_suffix(".part")
    beside.write_text(json.dumps({"settings": settings, "runs": rows}, indent=1), encoding="utf-8")
    beside.replace(path)


def tell(row: Row) -> None:
    """One run step by step."""
    if "trace" not in row:
        print(told_miss(row))
        return
    for name in ("faults", "report", "trace"):
        print(f"{name}:", *row[name], sep="\n  ")
    print(
        json.dumps(
            {n: v for n, v in row.items() if n not in ("faults", "report", "trace", "error")}, indent=1
        )
    )
    print(row["error"])


def main() -> None:
    """Run what is missing, show the tables."""
    options = asked()
    settings = {"cases": options.cases, "seed": options.seed, "machines": options.machines}
    if options.opening:
        settings["opening"] = True
    cases = draws(options.cases, options.seed, options.machines)
    todo = jobs(cases, options.wrong, 0.0 if options.opening else options.seconds)
    if options.only is not None:
        for job in todo:
            if job[0].number == options.only:
                tell(work(job)[1])
        return
    rows = kept(options.json, settings)
    todo = [job for job in todo if key(job[0], wrong=job[1]) not in rows]
    start = time.perf_counter()
    try:
        for number, (name, row) in enumerate(each([] if options.table else todo, options.workers), start=1):
            rows[name] = row
            keep(options.json, settings, rows)
            passed = time.perf_counter() - start
            left = passed / number * (len(todo) - number)
            words = f"{number}/{len(todo)} runs, {passed / 60:.0f} min, about {left / 60:.0f} min left"
            print(
                f"\r{words}; last: {row['machine']} {row.get('reason', '')}      ",
                end="",
                file=sys.stderr,
                flush=True,
            )
    except KeyboardInterrupt:
        print("\nstopped; what has run so far:", file=sys.stderr)
    print(file=sys.stderr)
    levels = ", ".join(f"{level:.0%}" for level in options.wrong)
    print(f"seed {options.seed}, {options.cases} cases, wrong reports {levels}, {len(rows)} runs\n")
    if not options.opening:
        print(tables(cases, rows, options.wrong, options.machines))
        return
    for level in options.wrong:
        some = at_level(cases, rows, level)
        print(f"One entry wrong in {level:.0%} of the reports, {len(some)} cases:\n\n{openings(some)}")
        if options.misses:
            print(*(told_miss(row) for row in some if row["why"] or row["error"]), sep="\n\n")


if __name__ == "__main__":
    main()
