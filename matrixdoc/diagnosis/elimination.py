"""Sum of a product of tables over yes-or-no values, and its derivatives by the tables' entries.

Values are summed out one after the other; each sum multiplies the tables that hold the value. The
order decides how wide the tables grow: candidates are compared by the numbers they would touch.

Sources, from memory: R. Dechter, "Bucket elimination", Artificial Intelligence 113 (1999) 41-85;
least fill as the order, U. Kjaerulff, report R-90-09, Aalborg University (1990); derivatives as
marginals, A. Darwiche, "A differential approach to inference in Bayesian networks", Journal of the
ACM 50 (2003) 280-305.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]


@dataclass(slots=True)
class Table:
    """A table over some values (their numbers); each axis has (no, yes). ``gradient`` is set by
    :func:`differentiate`.
    """

    over: tuple[int, ...]
    entries: Array
    gradient: Array | None = None


@dataclass(slots=True)
class Elimination:
    """One value summed out of the product of some tables; ``message`` is what is left, divided by
    ``scale``.
    """

    over: tuple[int, ...]
    axis: int
    tables: list[Table]
    message: Table
    scale: float


def neighbours(tables: Sequence[Table], count: int) -> list[set[int]]:
    """For each value: the values that share a table with it."""
    near: list[set[int]] = [set() for _ in range(count)]
    for table in tables:
        for n in table.over:
            near[n].update(table.over)
    for n, some in enumerate(near):
        some.discard(n)
    return near


def _take(near: list[set[int]], value: int) -> int:
    """Sum out ``value``: its neighbours become neighbours of each other. The width of its table."""
    around = near[value]
    for n in around:
        near[n] |= around
        near[n] -= {n, value}
    return len(around) + 1


def cost_of(tables: Sequence[Table], order: Sequence[int]) -> tuple[float, int]:
    """(entries in all tables, width of the widest) when summing in this order."""
    near = neighbours(tables, len(order))
    total, widest = 0.0, 0
    for value in order:
        width = _take(near, value)
        total, widest = total + 2.0**width, max(widest, width)
    return total, widest


def least_fill(tables: Sequence[Table], count: int) -> list[int]:
    """The order that always takes the value whose neighbours lack the fewest ties among them."""
    near = neighbours(tables, count)
    fill = {n: _fill(near, n) for n in range(count)}
    order = []
    while fill:
        value = min(fill, key=lambda n: (fill[n], len(near[n]), n))
        around = near[value]
        order.append(value)
        del fill[value]
        _take(near, value)
        for n in around.union(*(near[m] for m in around)):
            if n in fill:
                fill[n] = _fill(near, n)
    return order


def _fill(near: Sequence[set[int]], value: int) -> int:
    around = near[value]
    return sum(len(around) - 1 - len(around & near[n]) for n in around)


def _spread(table: Table, over: Sequence[int], entries: Array) -> Array:
    """``entries`` of a table with an axis of length one for each value that it lacks."""
    there = set(table.over)
    return entries.reshape([2 if n in there else 1 for n in over])


def eliminate(tables: list[Table], order: Sequence[int]) -> tuple[float, list[Elimination]]:
    """Sum out all values: (ln of the sum, the steps taken)."""
    waiting: dict[int, list[Table]] = {n: [] for n in order}
    place = {n: i for i, n in enumerate(order)}
    log_sum = 0.0
    done: list[Elimination] = []

    def put(table: Table) -> None:
        if table.over:
            waiting[min(table.over, key=place.__getitem__)].append(table)

    for table in tables:
        put(table)
        if not table.over:
            log_sum += math.log(float(table.entries))
    for value in order:
        some = waiting.pop(value)
        over = tuple(sorted({n for t in some for n in t.over}))
        product: Array = np.ones((1,) * len(over))
        for table in some:
            product = product * _spread(table, over, table.entries)
        axis = over.index(value)
        entries = product.sum(axis=axis)
        scale = float(entries.max())
        log_sum += math.log(scale)
        message = Table(tuple(n for n in over if n != value), entries / scale)
        done.append(Elimination(over, axis, some, message, scale))
        put(message)
    return log_sum, done


def differentiate(done: Sequence[Elimination]) -> None:
    """Give each table the derivative of ln(sum) by its entries, last elimination first."""
    for step in reversed(done):
        above = step.message.gradient
        if above is None:
            # Nothing is left over: the message is one number, a factor of the sum.
            above = 1.0 / step.message.entries
        flow = np.expand_dims(above / step.scale, step.axis)
        spread = [_spread(t, step.over, t.entries) for t in step.tables]
        before: list[Array] = [flow]
        for entries in spread[:-1]:
            before.append(before[-1] * entries)
        after: Array = np.ones((1,) * len(step.over))
        for number in range(len(spread) - 1, -1, -1):
            table = step.tables[number]
            whole = np.broadcast_to(before[number] * after, (2,) * len(step.over))
            missing = tuple(i for i, n in enumerate(step.over) if n not in table.over)
            table.gradient = whole.sum(axis=missing)
            after = after * spread[number]
        # Messages are the bulk of the memory, and this one has served.
        step.message.gradient, step.message.entries = None, np.ones(0)
