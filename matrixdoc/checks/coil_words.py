"""What people say of a coil: words for a share of its healthy current, and for another one that fires."""

from __future__ import annotations

import math
from collections.abc import Sequence

from matrixdoc.checks.prediction import Prediction

WORDS = ("nothing", "weak", "fires")
EDGES = (0.4, 0.82)
"""Shares of the healthy current where one word gives way to the next (common practice, no source)."""
SPREAD = 0.06
PULLS = 0.5
"""Share of the healthy current from which a coil counts as pulled in (common practice, no source)."""

INSTEAD = 0.6
"""Share of people who say that another coil fires when it does so instead of the one they look at (common
practice, no source)."""


def action(ratio: float) -> dict[str, float]:
    """Probability of each word for a coil that reaches ``ratio`` of its healthy current."""
    below = [0.5 * (1.0 + math.erf((edge - ratio) / (SPREAD * math.sqrt(2.0)))) for edge in EDGES]
    shares = (below[0], below[1] - below[0], 1.0 - below[1])
    return {word: share for word, share in zip(WORDS, shares, strict=True) if share > 1e-9}


def told(words: dict[str, float], others: Sequence[str]) -> Prediction:
    """Words for one coil, told together with the other coils that fired."""
    if others:
        # Too, or instead: a person tells both as another coil firing; or just that the coil which is looked
        # at does nothing.
        nothing = words.pop("nothing", 0.0)
        moved = words.pop("fires", 0.0) + INSTEAD * nothing
        words["fires with others"] = words.get("fires with others", 0.0) + moved
        if nothing > 1e-9:
            words["nothing"] = (1.0 - INSTEAD) * nothing
    return tuple(sorted(words.items(), key=lambda o: -o[1]))
