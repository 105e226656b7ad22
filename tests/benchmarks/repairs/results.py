"""Tables of what the repairs came to."""

from __future__ import annotations

import statistics
from collections.abc import Callable, Sequence
from typing import Any

from tests.benchmarks.repairs.draw import DOUBLE, LOOSE, SINGLE, Draw
from tests.benchmarks.repairs.orders import GIVE_UP_MINUTES

Row = dict[str, Any]
FIRST_THREE_GOAL, FIRST_AT_END_GOAL = 0.85, 0.95


def at_level(draws: Sequence[Draw], rows: dict[str, Row], level: float) -> list[Row]:
    """The runs that make up a share ``level`` of wrong reports: each case once, as far as it has run."""
    found = []
    for draw in draws:
        row = rows.get(key(draw, wrong=draw.slip < level))
        if row is not None:
            found.append(row)
    return found


def key(draw: Draw, *, wrong: bool) -> str:
    """Name of a run."""
    return f"{draw.number} {'wrong' if wrong else 'right'}"


def share(rows: Sequence[Row], holds: Callable[[Row], bool]) -> str:
    """Share and count of the rows for which something holds."""
    if not rows:
        return "-"
    count = sum(1 for row in rows if holds(row))
    return f"{count / len(rows):.1%} ({count}/{len(rows)})"


def any_within(ranks: Sequence[int], most: int) -> bool:
    """Whether one of these ranks is among the first ``most`` (0: not ranked)."""
    return any(1 <= rank <= most for rank in ranks)


def _all_within(ranks: Sequence[int]) -> bool:
    return bool(ranks) and all(1 <= rank <= len(ranks) for rank in ranks)


MEASURES: tuple[tuple[str, Callable[[Row], bool]], ...] = (
    ("first after the opening report", lambda r: any_within(r["rank_opening"], 1)),
    ("in the first three after the opening report", lambda r: any_within(r["rank_opening"], 3)),
    ("the right part in the first three then", lambda r: any_within(r["part_opening"], 3)),
    ("first at the end (doubles: any of the two)", lambda r: any_within(r["rank_end"], 1)),
    ("the right part first at the end", lambda r: any_within(r["part_end"], 1)),
    ("doubles: both in the first two at the end", lambda r: _all_within(r["rank_end"])),
    ("mended and proven", lambda r: bool(r["finished"])),
    ("a true cause lost (above 1 %, then 10,000 below the leader to the end)", lambda r: bool(r["lost"])),
    ("ended in a traceback", lambda r: bool(r["error"])),
)


def accuracy(draws: Sequence[Draw], rows: dict[str, Row], levels: Sequence[float]) -> list[str]:
    """Shares by level of wrong reports and kind of case."""
    lines = [
        "| wrong reports | measure | all | single | double | intermittent |",
        "| ---: | --- " + "| ---: " * 4 + "|",
    ]
    for level in levels:
        some = at_level(draws, rows, level)
        parts = [some, *([r for r in some if r["kind"] == kind] for kind in (SINGLE, DOUBLE, LOOSE))]
        for words, holds in MEASURES:
            only_doubles = words.startswith("doubles")
            cells = [
                "" if only_doubles and number != 2 else share(part, holds)
                for number, part in enumerate(parts)
            ]
            lines.append(f"| {level:.0%} | {words} | {' | '.join(cells)} |")
    return lines


def _charged(row: Row) -> float:
    """Minutes of a run; one that does not end well is begun anew."""
    own = float(row["minutes"])
    return own if row["finished"] else own + GIVE_UP_MINUTES + float(row["minutes_oracle"])


def cost(draws: Sequence[Draw], rows: dict[str, Row], levels: Sequence[float]) -> list[str]:
    """Mean minutes and checks beside the other ways, on the same cases."""
    names = ["guided, minutes", "median", "fixed order", "probability over cost", "oracle", "to fixed"]
    names += ["to p/c", "checks and repairs: guided / fixed / p/c"]
    lines = [f"| wrong reports | cases | {' | '.join(names)} |", "| ---: | --- " + "| ---: " * 8 + "|"]
    for level in levels:
        every = [r for r in at_level(draws, rows, level) if r["minutes_fixed"]]
        ended = [r for r in every if r["finished"]]
        for words, some in (("mended", ended), ("all, the others begun anew", every)):
            if not some:
                continue
            own = statistics.mean(_charged(r) for r in some)
            fixed, ratio, least = (
                statistics.mean(r[name] for r in some)
                for name in ("minutes_fixed", "minutes_over_cost", "minutes_oracle")
            )
            steps = " / ".join(
                f"{statistics.mean(f(r) for r in some):.1f}"
                for f in (
                    lambda r: r["checks"] + r["repairs"],
                    lambda r: r["checks_fixed"],
                    lambda r: r["checks_over_cost"],
                )
            )
            middle = statistics.median(_charged(r) for r in some)
            lines.append(
                f"| {level:.0%} | {words} ({len(some)}) | {own:.1f} | {middle:.1f} | "
                f"{fixed:.1f} | {ratio:.1f} | {least:.1f} | {own / fixed:.2f} | {own / ratio:.2f} | {steps} |"
            )
    return lines


def waiting(rows: dict[str, Row], machines: Sequence[str]) -> list[str]:
    """Seconds of computing by machine: the first answer, and those after it."""
    lines = [
        "| machine | runs | first answer, median | worst | later answers, median | worst | mended |",
        "| --- | ---: | ---: | ---: | ---: | ---: | ---: |",
    ]
    for machine in (*machines, "all"):
        some = [r for r in rows.values() if machine in (r["machine"], "all") and r["seconds"]]
        if not some:
            continue
        first = [r["seconds"][0] for r in some]
        later = [s for r in some for s in r["seconds"][1:]] or [0.0]
        cells = [f"{f(values):.2f} s" for values in (first, later) for f in (statistics.median, max)]
        done = sum(1 for r in some if r["finished"])
        lines.append(f"| {machine} | {len(some)} | {' | '.join(cells)} | {done / len(some):.0%} |")
    return lines


def counts(rows: dict[str, Row]) -> list[str]:
    """What happened on the way."""
    every = list(rows.values())
    words = {
        "runs": len(every),
        "looks declined (the simulation has no answer)": sum(r["declined"] for r in every),
        "looks that the simulator did not solve (told as not sure)": sum(r["not_sure"] for r in every),
        "looks asked for again with no repair between": sum(r["repeated"] for r in every),
        "repairs proposed that the case would not take down": sum(r["refused"] for r in every),
        "repairs": sum(r["repairs"] for r in every),
        "repairs of sound parts": sum(r["needless"] for r in every),
        "nothing proposed while something was wrong": sum(r["comebacks"] for r in every),
    }
    lines = [f"- {name}: {value}" for name, value in words.items()]
    reasons: dict[str, int] = {}
    for row in every:
        reasons[row["reason"]] = reasons.get(row["reason"], 0) + 1
    return [*lines, *(f"- ended: {name}: {count}" for name, count in sorted(reasons.items()))]


def goals(draws: Sequence[Draw], rows: dict[str, Row], levels: Sequence[float]) -> list[str]:
    """The goals, at a fifth of the reports wrong."""
    level = 0.2 if 0.2 in levels else levels[0]
    some = at_level(draws, rows, level)
    if not some:
        return []
    three = sum(any_within(r["rank_opening"], 3) for r in some) / len(some)
    end = sum(any_within(r["rank_end"], 1) for r in some) / len(some)
    lost = sum(bool(r["lost"]) for r in some)

    def said(reached: bool) -> str:
        return "reached" if reached else "NOT reached"

    return [
        f"Goals, one entry wrong in {level:.0%} of the reports, {len(some)} cases:",
        f"- first three after the opening report {three:.1%}, goal {FIRST_THREE_GOAL:.0%}: "
        + said(three >= FIRST_THREE_GOAL),
        f"- first at the end {end:.1%}, goal {FIRST_AT_END_GOAL:.0%}: {said(end >= FIRST_AT_END_GOAL)}",
        f"- true causes lost in {lost} cases, goal none: {said(lost == 0)}",
    ]


def misses(rows: dict[str, Row], most: int = 40) -> list[str]:
    """Cases that did not end well, each in a line."""
    found = []
    for name, row in rows.items():
        bad = not row["finished"] or row["lost"] or not any_within(row["rank_end"], 1)
        if bad:
            faults = "; ".join(row["faults"])
            lost = f", lost: {'; '.join(row['lost'])}" if row["lost"] else ""
            ranks = f"ranks {row['rank_opening']} then {row['rank_end']}"
            found.append(f"- case {name}, {row['machine']}: {faults}: {row['reason']}, {ranks}{lost}")
    return found[:most] + ([f"- and {len(found) - most} more"] if len(found) > most else [])


def tables(
    draws: Sequence[Draw], rows: dict[str, Row], levels: Sequence[float], machines: Sequence[str]
) -> str:
    """Everything in Markdown, however far the run has come."""
    parts = [
        accuracy(draws, rows, levels),
        cost(draws, rows, levels),
        waiting(rows, machines),
        counts(rows),
        goals(draws, rows, levels),
        ["Cases that did not end well:", "", *misses(rows)],
    ]
    return "\n\n".join("\n".join(part) for part in parts if part) + "\n"
