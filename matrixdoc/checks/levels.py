"""What a logic input makes of a level: a probability, for no two parts switch at the same volts.

A data book guarantees that an input reads low up to one level and high from another (``kinds.toml`` has the
sources); where a part switches in between it does not say, so every level between is taken as equally likely.
The level itself, and the reference of a comparator, come from resistors: two of 5 % (series E24 of
IEC 60063), each anywhere within its tolerance, set the middle of a divider with a standard deviation of
0.05 / sqrt(3) * sqrt(2) / 2 = 2.0 % of it.
"""

from __future__ import annotations

import math
from functools import lru_cache

DIVIDER_SHARE = 0.05 / math.sqrt(6.0)
"""Standard deviation of a divider's middle, as a share of it (see above)."""
SURE = 0.01
"""A reading less probable than this is not worth a word (common practice, no source)."""
STEP = 0.5
"""Levels inside the band are told apart in steps of this many standard deviations."""


def reads_high(volts: float, low_v: float, high_v: float) -> float:
    """Probability that an input reads high at ``volts``; 0 or 1 where it is next to sure.

    The mean of a straight line from ``low_v`` (0) to ``high_v`` (1), over levels that spread normally.
    """
    spread = DIVIDER_SHARE * 0.5 * (low_v + high_v)
    if spread <= 0.0 or high_v <= low_v:
        return float(volts >= high_v)
    below, above = _ramp((volts - low_v) / spread), _ramp((volts - high_v) / spread)
    share = spread * (below - above) / (high_v - low_v)
    return 0.0 if share < SURE else 1.0 if share > 1.0 - SURE else share


def _ramp(z: float) -> float:
    """Mean of ``max(0, z + e)`` for a standard normal ``e``."""
    density = math.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi)
    return z * 0.5 * (1.0 + math.erf(z / math.sqrt(2.0))) + density


@lru_cache(maxsize=256)
def band(low_v: float, high_v: float) -> tuple[float, ...]:
    """Levels of an input that a solved level must be told apart from: the ends of the band in which its
    reading is not sure, and a step here and there inside it.
    """
    spread = DIVIDER_SHARE * 0.5 * (low_v + high_v)
    if spread <= 0.0 or high_v <= low_v:
        return (low_v, high_v)
    bottom = _edge(low_v - 4.0 * spread, 0.5 * (low_v + high_v), low_v, high_v, 0.0)
    top = _edge(high_v + 4.0 * spread, 0.5 * (low_v + high_v), low_v, high_v, 1.0)
    steps = max(1, math.ceil((top - bottom) / (STEP * max(spread, 0.05 * (high_v - low_v)))))
    return tuple(bottom + (top - bottom) * step / steps for step in range(steps + 1))


def _edge(sure: float, unsure: float, low_v: float, high_v: float, reading: float) -> float:
    """The level nearest to ``unsure`` that still reads ``reading``, by halving."""
    for _ in range(40):
        middle = 0.5 * (sure + unsure)
        if reads_high(middle, low_v, high_v) == reading:
            sure = middle
        else:
            unsure = middle
    return sure
