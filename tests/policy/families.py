"""Random repair problems of several shapes, small enough for the true optimum."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from matrixdoc.diagnosis.policy_actions import Action, Array, check, repair
from matrixdoc.diagnosis.policy_problem import Problem


def _prior(rng: np.random.Generator, count: int, rest: float = 0.0) -> Array:
    weights = rng.gamma(0.7, size=count) + 0.02
    return np.append((1.0 - rest) * weights / weights.sum(), rest)


def _minutes(rng: np.random.Generator, low: float, high: float) -> float:
    return float(np.round(np.exp(rng.uniform(np.log(low), np.log(high))), 1))


def _pass_fail(fails: Array) -> Array:
    return np.stack([1.0 - fails, fails])


def _repairs(
    rng: np.random.Generator, count: int, success: tuple[float, float] = (1.0, 1.0), **more: object
) -> list[Action]:
    found = []
    for h in range(count):
        cures = np.zeros(count + 1)
        cures[h] = 1.0 if success == (1.0, 1.0) else np.round(rng.uniform(*success), 2)
        found.append(repair(f"repair {h}", _minutes(rng, 3.0, 30.0), cures, **more))
    return found


def identification(rng: np.random.Generator) -> Problem:
    """States and pass-fail tests that tell every one from the others; unequal costs."""
    states, tests = 8, 7
    while True:
        table = rng.integers(0, 2, size=(tests, states))
        if len({tuple(c) for c in table.T}) == states:
            break
    actions = tuple(
        check(f"test {t}", _minutes(rng, 1.0, 10.0), _pass_fail(np.append(table[t], 0.0)))
        for t in range(tests)
    )
    return Problem(_prior(rng, states), actions, identify=True)


def series_path(rng: np.random.Generator) -> Problem:
    """A path of parts in series: a measurement between two parts says on which side the break is."""
    parts = 8
    actions = []
    for point in range(1, parts):
        dead = np.array([float(h < point) for h in range(parts)] + [0.0])
        actions.append(check(f"measure at {point}", _minutes(rng, 1.0, 8.0), _pass_fail(dead)))
    return Problem(_prior(rng, parts), (*actions, *_repairs(rng, parts)))


def matrix_cells(rng: np.random.Generator) -> Problem:
    """Two columns and two rows: cells, lines; a press fails with its cell, its column or its row."""
    columns, rows = 2, 2
    count = columns * rows + columns + rows
    actions = []
    for c in range(columns):
        for r in range(rows):
            fails = np.zeros(count + 1)
            fails[[c * rows + r, columns * rows + c, columns * rows + columns + r]] = 1.0
            actions.append(check(f"press {c} {r}", _minutes(rng, 0.5, 3.0), _pass_fail(fails)))
    for line in range(columns + rows):
        fails = np.zeros(count + 1)
        fails[columns * rows + line] = 1.0
        actions.append(check(f"measure line {line}", _minutes(rng, 2.0, 8.0), _pass_fail(fails)))
    return Problem(_prior(rng, count), (*actions, *_repairs(rng, count)))


def small_machine(rng: np.random.Generator) -> Problem:
    """Random three-way looks and direct tests behind two panels, live or dead; shared set-up."""
    count = 6
    places = {"front": float(rng.integers(1, 6)), "back": float(rng.integers(1, 10))}
    names = tuple(places)

    def where() -> tuple[str, ...]:
        spot = int(rng.integers(0, 3))
        return () if spot == 2 else (names[spot],)

    actions: list[Action] = []
    for t in range(4):
        seen = rng.integers(0, 3, size=count + 1)
        table = np.stack([(seen == k).astype(float) for k in range(3)])
        actions.append(check(f"look {t}", _minutes(rng, 0.5, 4.0), table, places=where(), power=True))
    for h in rng.permutation(count)[:3]:
        bad = np.zeros(count + 1)
        bad[h] = 1.0
        actions.append(
            check(f"test {h}", _minutes(rng, 1.0, 6.0), _pass_fail(bad), places=where(), power=False)
        )
    for h in range(count):
        cures = np.zeros(count + 1)
        cures[h] = 1.0
        actions.append(
            repair(
                f"repair {h}", _minutes(rng, 3.0, 25.0), cures, places=where(), power=False, power_after=True
            )
        )
    return Problem(
        _prior(rng, count, rest=0.05),
        tuple(actions),
        place_minutes=places,
        power_minutes=(1.0, 0.5),
        give_up=60.0,
        still_due=np.append(rng.uniform(0.0, 20.0, size=count), 0.0),
    )


def imperfect(rng: np.random.Generator) -> Problem:
    """Tests that err either way, repairs that may fail."""
    count = 5
    actions = []
    for t in range(5):
        bad = rng.integers(0, 2, size=count + 1).astype(float)
        miss, alarm = rng.uniform(0.0, 0.25, size=2)
        fails = bad * (1.0 - miss) + (1.0 - bad) * alarm
        actions.append(check(f"test {t}", _minutes(rng, 1.0, 8.0), _pass_fail(fails)))
    return Problem(
        _prior(rng, count, rest=0.04),
        (*actions, *_repairs(rng, count, (0.7, 1.0))),
        give_up=60.0,
    )


def imperfect_machine(rng: np.random.Generator) -> Problem:
    """Imperfect looks and repairs, behind one panel, live or dead."""
    count = 4
    places = {"panel": float(rng.integers(1, 8))}

    def where() -> tuple[str, ...]:
        return ("panel",) if rng.integers(0, 2) else ()

    actions: list[Action] = []
    for t in range(4):
        table = rng.dirichlet([0.25, 0.25, 0.25], size=count + 1).T
        actions.append(
            check(f"look {t}", _minutes(rng, 1.0, 6.0), table, places=where(), power=bool(rng.integers(0, 2)))
        )
    actions.extend(_repairs(rng, count, (0.7, 1.0), places=("panel",), power=False, power_after=True))
    return Problem(
        _prior(rng, count, rest=0.05),
        tuple(actions),
        place_minutes=places,
        power_minutes=(1.0, 0.5),
        give_up=60.0,
    )


FAMILIES: dict[str, Callable[[np.random.Generator], Problem]] = {
    "test sequence, perfect": identification,
    "series path, perfect": series_path,
    "matrix cells and lines, perfect": matrix_cells,
    "small machine with panels, perfect": small_machine,
    "small problem, imperfect": imperfect,
    "small machine with a panel, imperfect": imperfect_machine,
}
