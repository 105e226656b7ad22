"""What can be done in a repair: checks, which tell causes apart, and repairs, which end the job."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Action:
    """One thing to do.

    ``table``: (outcomes, hypotheses + 1) P(outcome | hypothesis), columns sum to 1. ``mends``: the
    last outcome ends the job. ``places``: keys that have to be open. ``power``: needed before
    (None: either way); ``power_after``: how it is left (None: as it was). ``tries``: how many times
    it can be done with an independent result: 1 for a check, since an undisturbed repeat shows the
    same again. ``risk``: it puts the power on, so it must not be done while the hazard of the problem
    is too probable (for a repair: too probable after it).
    """

    name: str
    minutes: float
    table: Array
    mends: bool = False
    places: tuple[str, ...] = ()
    power: bool | None = None
    power_after: bool | None = None
    tries: int = 1
    risk: bool = False


def check(name: str, minutes: float, table: Array, **more: object) -> Action:
    """A check; ``table`` is (outcomes, hypotheses + 1)."""
    return Action(name, minutes, np.asarray(table, dtype=float), **more)  # type: ignore[arg-type]


def repair(name: str, minutes: float, success: Sequence[float] | Array, **more: object) -> Action:
    """A repair that cures each hypothesis with ``success`` (hypotheses + 1,)."""
    cured = np.asarray(success, dtype=float)
    return Action(name, minutes, np.stack([1.0 - cured, cured]), mends=True, **more)  # type: ignore[arg-type]
