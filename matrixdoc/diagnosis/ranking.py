"""Which check next: the one after which finishing is expected to cost least.

The cost to finish, once nothing more is to be learnt, is that of mending the suspects in order of
probability over cost, which is the cheapest order for independent repairs and a single fault
(J. B. Kadane and H. A. Simon, "Optimal strategies for a class of constrained sequential problems",
Annals of Statistics 5 (1977) 237-255). A check is worth what it takes off that: its own minutes
plus the expected cost to finish after each outcome. Repairs are checks too: where mending a part
is cheaper than proving it bad, it comes first.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from matrixdoc.checks.likelihood import SPREADS
from matrixdoc.checks.prediction import Prediction
from matrixdoc.checks.situation import OPEN_LOOP, Check, Outcome

Array = npt.NDArray[np.float64]

GIVE_UP_MINUTES = 60.0
"""What it costs when none of the suspects was it (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Option:
    """A check with the prediction of each hypothesis; for a repair also what it would mend."""

    check: Check
    minutes: float
    predictions: tuple[Prediction, ...]
    mends: tuple[bool, ...] = ()


@dataclass(frozen=True, slots=True)
class Worth:
    """``finish``: expected minutes to finish when starting with this. ``bits``: information."""

    finish: float
    bits: float


def cost_to_finish(probability: Array, repair_minutes: Array) -> Array:
    """Expected minutes of mending suspects in order of probability over cost.

    Args:
        probability: (outcomes x hypotheses); rows sum to at most 1; the rest is "none of them".
        repair_minutes: (hypotheses,) minutes of each repair.

    Returns:
        (outcomes,) minutes.
    """
    order = np.argsort(-probability / repair_minutes, axis=1, kind="stable")
    sorted_p = np.take_along_axis(probability, order, axis=1)
    minutes = repair_minutes[order]
    after = np.cumsum(sorted_p, axis=1)
    left = 1.0 - (after - sorted_p)
    spent = np.cumsum(minutes * left, axis=1)
    # Mending goes on only as long as it is worth it: then the search starts anew.
    stop = spent + GIVE_UP_MINUTES * np.maximum(0.0, 1.0 - after)
    never = GIVE_UP_MINUTES * np.ones((len(stop), 1))
    result: Array = np.concatenate([never, stop], axis=1).min(axis=1)
    return result


def entropy_bits(probability: Array) -> Array:
    """Entropy of each row in bits; what is missing to 1 counts as one more hypothesis."""
    rest = np.maximum(0.0, 1.0 - probability.sum(axis=1, keepdims=True))
    full = np.concatenate([probability, rest], axis=1)
    logs = np.where(full > 0.0, np.log2(np.maximum(full, 1e-300)), 0.0)
    result: Array = -(full * logs).sum(axis=1)
    return result


def outcome_table(option: Option, slip_rate: float) -> tuple[list[Outcome], Array]:
    """Distinct outcomes of a check and P(outcome | hypothesis), shape (outcomes, hypotheses).

    Numbers that a meter could not tell apart count as one outcome.
    """
    outcomes: list[Outcome] = []
    columns: list[dict[int, float]] = []
    for prediction in option.predictions:
        column: dict[int, float] = {}
        for outcome, share in prediction:
            index = _find(outcomes, outcome, option.check)
            if index < 0:
                index = len(outcomes)
                outcomes.append(outcome)
            column[index] = column.get(index, 0.0) + share
        columns.append(column)
    table = np.zeros((len(outcomes), len(columns)))
    for h, column in enumerate(columns):
        for index, share in column.items():
            table[index, h] += share
    if len(outcomes) > 1:
        table = (1.0 - slip_rate) * table + slip_rate / len(outcomes)
    return outcomes, table


def _find(outcomes: Sequence[Outcome], outcome: Outcome, check: Check) -> int:
    for index, known in enumerate(outcomes):
        if known == outcome:
            return index
        if isinstance(known, float) and isinstance(outcome, float):
            relative, absolute = SPREADS[check.look.function or "volts"]
            spread = math.hypot(relative * max(abs(known), abs(outcome)), absolute)
            if abs(known - outcome) < 3.0 * spread:
                return index
        elif OPEN_LOOP in (known, outcome) and known == outcome:
            return index
    return -1


def worth(option: Option, probability: Array, repair_minutes: Array, slip_rate: float) -> Worth:
    """Expected minutes to finish and information of one option.

    Args:
        option: the check; predictions hold one entry per hypothesis and one more for "none of them".
        probability: (hypotheses,) sums to at most 1.
        repair_minutes: (hypotheses,)
        slip_rate: chance of a wrong report.
    """
    if option.check.kind == "act":
        cured = np.array(option.mends, dtype=float) * option.check.success
        fixed = float((probability * cured).sum())
        left = probability * (1.0 - cured)
        share = 1.0 - fixed
        bits = _binary_entropy(fixed)
        if share <= 1e-9:
            return Worth(option.minutes, bits)
        after = left / share
        finish = option.minutes + share * float(cost_to_finish(after[None, :], repair_minutes)[0])
        return Worth(finish, bits)
    _, table = outcome_table(option, slip_rate)
    rest = max(0.0, 1.0 - float(probability.sum()))
    full = np.append(probability, rest)
    joint = table * full[None, :]
    shares = joint.sum(axis=1)
    keep = shares > 1e-12
    after = joint[keep] / shares[keep, None]
    before = float(entropy_bits(probability[None, :])[0])
    bits = before - float((shares[keep] * entropy_bits(after[:, :-1])).sum())
    finish = option.minutes + float((shares[keep] * cost_to_finish(after[:, :-1], repair_minutes)).sum())
    return Worth(finish, max(0.0, bits))


def _binary_entropy(p: float) -> float:
    if p <= 0.0 or p >= 1.0:
        return 0.0
    return -(p * math.log2(p) + (1.0 - p) * math.log2(1.0 - p))
