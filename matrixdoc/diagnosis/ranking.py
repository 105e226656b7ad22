"""Options of one complaint as a problem for the policy, and the policy's answer as a ranking.

An option is a check with what each suspect predicts for it, or a repair with what it would mend.
Predictions of words and sets are tabulated as they are; numbers that a meter could not tell apart
are one outcome. A plan takes every report at its word: a slip shows itself later, as something
that the leading cause does not explain, and is weighed then with the slip rate.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt

from matrixdoc.checks.generate import CheckGenerator
from matrixdoc.checks.likelihood import SPREADS
from matrixdoc.checks.prediction import Prediction
from matrixdoc.checks.situation import Check, Outcome
from matrixdoc.diagnosis.means import ISOLATED
from matrixdoc.diagnosis.mended import STRENGTH, THOROUGH, cure
from matrixdoc.diagnosis.policy_actions import Action
from matrixdoc.diagnosis.policy_problem import Problem
from matrixdoc.diagnosis.told import Mend
from matrixdoc.faults.priors import Fault, PossibleFault

Array = npt.NDArray[np.float64]

GIVE_UP_MINUTES = 120.0
"""What it costs to begin anew when no suspect that is left is worth its minutes (common practice, no
source): an evening at the bench with the boards out, or somebody else's help."""
POWER_OFF_MINUTES, POWER_ON_MINUTES = 1.0, 0.5
"""Switch off, unplug and measure that capacitors are empty; plug in and start the self-test again
(common practice, no source)."""
REPLACED_INSTEAD_MINUTES = 15.0
"""What replacing takes longer than cleaning or reseating (common practice, no source)."""
TRIES = 2
"""How often a part is cleaned or reseated before it is replaced (common practice, no source)."""
WORTH_DOING_AGAIN, MOST_TRIES = 0.5, 3
"""Thorough work is done again where it is at least this probable that it failed, and so often at most."""


@dataclass(frozen=True)
class Option:
    """A check with the prediction of each hypothesis (the last one is "none of them"); for a repair
    the chance that it cures each hypothesis (here without "none of them").
    """

    check: Check
    minutes: float
    predictions: tuple[Prediction, ...]
    cures: tuple[float, ...] = ()

    @cached_property
    def tabulated(self) -> tuple[tuple[Outcome, ...], Array]:
        """Distinct outcomes and P(outcome | hypothesis), shape (outcomes, hypotheses)."""
        outcomes: list[Outcome] = []
        exact: dict[Outcome, int] = {}
        cells: list[tuple[int, int, float]] = []
        for h, prediction in enumerate(self.predictions):
            for outcome, share in prediction:
                index = exact.get(outcome, -1)
                if index < 0:
                    index = _alike(outcomes, outcome, self.check)
                    if index < 0:
                        index = len(outcomes)
                        outcomes.append(outcome)
                    exact[outcome] = index
                cells.append((index, h, share))
        table = np.zeros((len(outcomes), len(self.predictions)))
        for index, h, share in cells:
            table[index, h] += share
        return tuple(outcomes), table


def _alike(outcomes: Sequence[Outcome], outcome: Outcome, check: Check) -> int:
    """The first known outcome that a person could not tell from this one; -1 for none."""
    if not isinstance(outcome, float):
        return -1
    relative, absolute = SPREADS[check.look.function or "volts"]
    for index, known in enumerate(outcomes):
        if isinstance(known, float):
            spread = math.hypot(relative * max(abs(known), abs(outcome)), absolute)
            if abs(known - outcome) < 3.0 * spread:
                return index
    return -1


def outcome_table(option: Option, slip_rate: float) -> tuple[list[Outcome], Array]:
    """Distinct outcomes of a check and P(report | hypothesis), shape (outcomes, hypotheses)."""
    outcomes, table = option.tabulated
    if len(outcomes) > 1:
        table = (1.0 - slip_rate) * table + slip_rate / len(outcomes)
    return list(outcomes), table


def entropy_bits(probability: Array) -> Array:
    """Entropy of each row in bits; what is missing to 1 counts as one more hypothesis."""
    rest = np.maximum(0.0, 1.0 - probability.sum(axis=1, keepdims=True))
    full = np.concatenate([probability, rest], axis=1)
    logs = np.where(full > 0.0, np.log2(np.maximum(full, 1e-300)), 0.0)
    result: Array = -(full * logs).sum(axis=1)
    return result


def repair_of(generator: CheckGenerator, faults: Sequence[Fault], proof: Check) -> Check:
    """The repair that mends all of ``faults`` before ``proof`` shows whether it helped."""
    parts = dict.fromkeys(f.part for f in faults)
    single = [generator.repair([f for f in faults if f.part == part], proof) for part in parts]
    if len(single) == 1:
        return single[0]
    proving = proof.minutes * (len(single) - 1)
    return replace(
        single[0],
        title=", and ".join(c.title for c in single),
        minutes=sum(c.minutes for c in single) - proving,
        places=tuple(dict.fromkeys(p for c in single for p in c.places)),
        set_up=(*(c.set_up[0] for c in single), *single[0].set_up[1:]),
        cautions=tuple(dict.fromkeys(w for c in single for w in c.cautions)),
        mends=tuple(p for c in single for p in c.mends),
        action=max((c.action for c in single), key=lambda a: STRENGTH.get(a, 1)),
        success=math.prod(c.success for c in single),
        key=" and ".join(c.key for c in single),
    )


def curing(
    possible: Mapping[Fault, PossibleFault], actions: Mapping[str, str], faults: Sequence[Fault]
) -> float:
    """Chance that a repair cures all of ``faults``: 0 where one of them lies elsewhere or wants more work.

    ``actions`` is what is done to each part. What is planned is one work: turning a part round or soldering
    its legs leaves the old part in, so it cures no mode that wants a new one. (A report that says "repaired"
    may mean any work: see :func:`~matrixdoc.diagnosis.mended.cure`.)
    """
    if not all(f.part in actions for f in faults):
        return 0.0
    if any(actions[f.part] != "replace" and possible[f].action == "replace" for f in faults):
        return 0.0
    return math.prod(cure(possible, f, actions[f.part]) for f in faults)


def after_tries(
    option: Option, mends: Sequence[Mend], chances: Array, unmeasured: frozenset[str]
) -> Option | None:
    """The repair as it is worth doing after what was done to its parts already.

    What cleaning or reseating did not cure is replaced. What thorough work did not cure is measured first,
    and done again only if, in spite of it, more likely than not that is what is wrong; else left (None).

    Args:
        option: a check (returned as it is) or a repair.
        mends: what was done so far.
        chances: (hypotheses,) probabilities of what is still wrong.
        unmeasured: parts that could be measured by themselves, and have not been since they were mended.
    """
    check = option.check
    if not check.mends:
        return option
    done = [[STRENGTH.get(m.action, 1) for m in mends if m.part == part] for part in check.mends]
    thorough = min(sum(some) for some in done)
    weak = min(len(some) for some in done)
    if thorough:
        if unmeasured.intersection(check.mends):
            return None
        aimed = float(chances @ (np.array(option.cures) > 0.0))
        return option if aimed >= WORTH_DOING_AGAIN and thorough < MOST_TRIES else None
    if check.action not in ("clean", "reseat") or weak < TRIES:
        return option
    new = replace(
        check,
        title=check.title.replace(check.action, "replace", 1),
        action="replace",
        key=check.key.replace(check.action, "replace", 1),
        minutes=check.minutes + REPLACED_INSTEAD_MINUTES,
        success=THOROUGH,
        set_up=(f"{check.action}ing did not help: replace it", *check.set_up[1:]),
    )
    cures = tuple(max(c, THOROUGH) if c > 0.0 else 0.0 for c in option.cures)
    return replace(option, check=new, cures=cures, minutes=option.minutes + REPLACED_INSTEAD_MINUTES)


@dataclass(frozen=True)
class Circumstances:
    """Where the person stands: ``closed`` gives minutes to open each place that is not open;
    ``power`` whether the machine is on; ``hazard`` how surely each hypothesis (and, last, none of
    them) does harm under power; above ``hazard_limit`` no check under power is planned.
    """

    closed: Mapping[str, float] = field(default_factory=dict)
    power: bool = True
    hazard: tuple[float, ...] = ()
    hazard_limit: float = 1.0


def build_problem(options: Sequence[Option], probability: Array, where: Circumstances) -> Problem:
    """The problem of finishing one repair.

    Args:
        options: checks and repairs; predictions hold one entry per hypothesis and one for "none of
            them", cures one entry per hypothesis.
        probability: (hypotheses,) sums to at most 1.
        where: where the person stands.
    """
    rest = max(0.0, 1.0 - float(probability.sum()))
    full = np.append(probability, rest)
    full /= full.sum()
    actions = tuple(_action(option) for option in options)
    # Giving up on a cause that is on the list spares nothing: it has to be found anew and mended then.
    due = np.zeros(len(full))
    for h in range(len(probability)):
        due[h] = min((o.check.minutes for o in options if o.cures and o.cures[h] > 0.0), default=0.0)
    return Problem(
        full,
        actions,
        place_minutes=where.closed,
        power_minutes=(POWER_OFF_MINUTES, POWER_ON_MINUTES),
        power=where.power,
        give_up=GIVE_UP_MINUTES,
        still_due=due,
        hazard=np.array(where.hazard) if any(where.hazard) else None,
        hazard_limit=where.hazard_limit,
    )


def _action(option: Option) -> Action:
    check = option.check
    minutes = check.minutes + check.risk
    if check.kind == "act":
        cured = np.append(np.array(option.cures, dtype=float), 0.0)
        table = np.stack([1.0 - cured, cured])
        # Hands go in with the power off; the look that proves the repair needs it on.
        return Action(
            check.key,
            minutes,
            table,
            mends=True,
            places=check.places,
            power=False,
            power_after=check.situation.power,
            tries=TRIES if STRENGTH.get(check.action, 1) == 0 else 1,
            risk=check.situation.power,
        )
    power = check.situation.power
    risk = power and not check.key.startswith(ISOLATED)
    return Action(check.key, minutes, option.tabulated[1], places=check.places, power=power, risk=risk)
