"""How probable a report is, given what the circuit says would be seen.

A person's report is right with probability one minus the slip rate; a slip lands on any of the
other outcomes alike. A meter reading spreads normally around the solved value with the meter's
accuracy and the parts' tolerance (common practice, no source; see the constants).
"""

from __future__ import annotations

import math

from matrixdoc.checks.prediction import Prediction
from matrixdoc.checks.situation import NOT_SURE, OPEN_LOOP, Look, Outcome

ALTERNATIVES = {
    "reads": 64.0,
    "lamp": 5.0,
    "coil": 4.0,
    "resting coils": 8.0,
    "fuse": 2.0,
    "new fuse": 3.0,
    "meter": 20.0,
    "wiggle": 2.0,
    "warm": 2.0,
}
"""In how many ways a look of this kind can be reported wrongly (common practice, no source)."""

FREQUENT_SLIPS = 0.5
"""Share of wrong switch reports that say "nothing" or "just what was held"; the rest names any
other set (common practice, no source)."""

COIL_SLIPS = {
    "fires": 0.3,
    "nothing": 0.3,
    "weak": 0.27,
    "locked on": 0.03,
    "fires with others": 0.07,
    "fires twice": 0.03,
}
"""What a wrong report of a pulsed coil says: a locked coil is not imagined (common practice, no
source)."""

FUSE_SLIPS = {"holds": 0.8, "blows at once": 0.05, "blows after a while": 0.15}
"""What a wrong report of a new fuse says: a fuse that blows is not imagined (common practice, no
source)."""

MEASURED_FUSE_SLIPS = {"good": 0.98, "open": 0.02}
"""What a wrong report of a fuse measured out of its clip says: one that is found open is seen and
measured, and hardly ever was whole (common practice, no source)."""

WARM_UP_SLIPS = {"no change": 0.95, "fails warm": 0.03, "fails cold": 0.02}
"""What a report of a run from cold to warm says where something outside the model is behind it: a part of
the boards that fails warm is not rare (common practice, no source)."""

LEFT_OUT, LEFT_OUT_PRESSED = 0.5, 0.03
"""Share of reports that leave out what reads all the time: other switches, the pressed one itself
(common practice, no source)."""

HARDLY_ANYTHING_OHM = 1e5
"""Above this an ohms reading may be told as OL (common practice, no source)."""

SPREADS = {"volts": (0.05, 0.12), "ohms": (0.10, 0.4), "diode": (0.06, 0.04)}
"""Relative and absolute standard deviation of a reading: part tolerance and meter together."""


def reading_matches(look: Look, predicted: Outcome, seen: Outcome) -> float:
    """Share of the probability of ``predicted`` that falls where ``seen`` lies: 1 at the value."""
    if predicted == OPEN_LOOP or seen == OPEN_LOOP:
        if predicted == seen:
            return 1.0
        number = seen if predicted == OPEN_LOOP else predicted
        # Through sleeping inputs a board shows some hundred kilohms; on a low range that is OL.
        high = isinstance(number, float) and look.function == "ohms" and number > HARDLY_ANYTHING_OHM
        return 0.5 if high else 0.0
    if not isinstance(predicted, float) or not isinstance(seen, float):
        return 0.0
    relative, absolute = SPREADS[look.function or "volts"]
    spread = math.hypot(relative * abs(predicted), absolute)
    return math.exp(-0.5 * ((seen - predicted) / spread) ** 2)


def slip_probability(
    look: Look, seen: Outcome, held: tuple[str, ...] = (), usual: frozenset[str] = frozenset()
) -> float:
    """P(this report | the report is wrong, or something outside the model is behind it).

    ``usual`` are the switches that read at rest on the healthy machine (normally closed ones).
    """
    if look.kind == "reads" and isinstance(seen, frozenset):
        changed = seen - usual
        if not changed or changed == frozenset(held) - usual:
            return FREQUENT_SLIPS / 2.0
        return FREQUENT_SLIPS / ALTERNATIVES["reads"]
    if look.kind == "coil" and isinstance(seen, str):
        return COIL_SLIPS.get(seen, 0.05)
    if look.kind == "new fuse" and isinstance(seen, str):
        return FUSE_SLIPS.get(seen, 0.05)
    if look.kind == "fuse" and isinstance(seen, str):
        return MEASURED_FUSE_SLIPS.get(seen, 0.5)
    if look.kind == "warm up" and isinstance(seen, str):
        return WARM_UP_SLIPS.get(seen, 0.05)
    if look.kind == "resting coils":
        return 0.5 if seen == frozenset() else 1.0 / 32.0
    return 1.0 / ALTERNATIVES[look.kind]


def report_probability(
    look: Look,
    prediction: Prediction,
    seen: Outcome,
    slip_rate: float,
    resting: frozenset[str] = frozenset(),
    held: tuple[str, ...] = (),
    usual: frozenset[str] = frozenset(),
) -> float:
    """P(report | hypothesis).

    ``resting`` are the switches that the hypothesis makes read with nothing pressed: a person who
    reports a press of other switches (``held``) may leave them out. Someone who presses a switch
    that reads all the time would say that, and seldom that nothing happened.
    """
    if seen == NOT_SURE:
        return 1.0
    if look.kind == "meter":
        right = sum(share * reading_matches(look, outcome, seen) for outcome, share in prediction)
    elif look.kind == "reads" and isinstance(seen, frozenset):
        kept = LEFT_OUT if not resting.intersection(held) else LEFT_OUT_PRESSED
        right = 0.0
        for outcome, share in prediction:
            if outcome == seen:
                right += share
            elif resting and isinstance(outcome, frozenset) and outcome - resting == seen - resting:
                right += kept * share
    else:
        right = sum(share for outcome, share in prediction if outcome == seen)
    return (1.0 - slip_rate) * right + slip_rate * slip_probability(look, seen, held, usual)
