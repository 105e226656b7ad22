"""P(findings) of a switch matrix with opens, by a sweep over its rows: chains in chart order only.

One bit for each column says whether it is whole down to the present row; a row is summed over the place of
its first open. It shares nothing with the package but the numbers that a problem holds.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from matrixdoc.faults.priors import Fault
from tests.diagnosis.networks import Problem

Array = npt.NDArray[np.float64]


def swept(problem: Problem, broken: str = "") -> float:
    """ln P(findings), given that part ``broken`` is open."""
    pair, odds = problem.pair, problem.odds

    def whole(references: list[str]) -> float:
        if broken in references:
            return 0.0
        return math.prod(1.0 / (1.0 + sum(odds[r].values())) for r in references)

    index = {cell: number for number, (_, cell) in enumerate(problem.looked)}
    columns, rows = pair.lines("C"), pair.lines("R")
    total = 0.0
    bits: Array = np.ones(1)
    for c in columns:
        good = whole(pair.head("switch", "C", c))
        bits = np.kron(bits, np.array([1.0 - good, good]))
    for r in rows:
        if r > 1:
            for c in columns:
                good = whole([pair.segments("switch", "C", c)[r - 2]])
                at = bits.reshape(2 ** (c - 1), 2, -1)
                bits = np.stack([at[:, 0] + (1.0 - good) * at[:, 1], good * at[:, 1]], axis=1).ravel()
        bits = bits * _row(problem, r, whole, index)
        total += math.log(bits.sum())
        bits = bits / bits.sum()
    return total


def _row(problem: Problem, r: int, whole, index) -> Array:
    """P(findings of the row | which columns are whole), summed over the place of the row's first open."""
    pair, evidence = problem.pair, problem.evidence
    columns = list(pair.lines("C"))
    reached = whole(pair.head("switch", "R", r))
    segments = pair.segments("switch", "R", r)
    dead, alive = [], []
    for c in columns:
        number = index[c, r]
        diode = f"switch/C{c}R{r}/diode"
        dead.append(evidence.likelihood(number, (Fault(diode, next(iter(problem.odds[diode]))),)))
        good = whole(pair.cell("switch", (c, r)))
        alive.append(good * evidence.likelihood(number, ()) + (1.0 - good) * dead[-1])
    found: Array = np.zeros(2 ** len(columns))
    left = 1.0
    for lugs in range(len(columns) + 1):
        # The row is whole up to this many lugs and open right behind them.
        good = reached if lugs == 0 else (whole([segments[lugs - 1]]) if lugs < len(columns) else 0.0)
        term: Array = np.ones(1)
        for number, _ in enumerate(columns):
            term = np.kron(term, np.array([dead[number], alive[number] if number < lugs else dead[number]]))
        found += left * (1.0 - good) * term
        left *= good
    return found
