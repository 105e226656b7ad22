"""Comparing volts: which nets are held at all, and what counts as the same."""

from __future__ import annotations

import math
import os
import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache

import numpy as np

from tests.proof.deck import G_MIN, VT, Card, Deck

VOLTS, SHARE = 2e-3, 2e-3
"""2 mV or 0.2 %."""
HELD_OHM = 1e6
"""A net that is further than this from any source is not compared."""
READING_MARGIN_V = 5e-3
MOST_LOST = 0.005
"""Share of decks that a simulator may fail to solve (nets that leakage alone holds)."""


@cache
def seed() -> int:
    """Seed of all random situations: PROOF_SEED, a number or ``fresh``; always shown."""
    wanted = os.environ.get("PROOF_SEED", "2026")
    return random.SystemRandom().randrange(10**6) if wanted == "fresh" else int(wanted)


def scaled(count: int) -> int:
    """A number of situations times PROOF_TIMES (1 unless set)."""
    return max(1, round(count * float(os.environ.get("PROOF_TIMES", "1"))))


@dataclass
class Tally:
    """What one style came to."""

    style: str
    situations: int = 0
    points: int = 0
    volts: int = 0
    worst_v: float = 0.0
    worst_share: float = 0.0
    loose: int = 0
    lost: int = 0
    readings: int = 0
    differing: int = 0
    undecided: int = 0
    failures: list[str] = field(default_factory=list)

    def verdict(self) -> str:
        """What is wrong, or nothing; a simulator may fail to solve a few decks."""
        if self.lost > MOST_LOST * self.points + 1:
            self.failures.append(f"{self.style}: {self.lost} of {self.points} decks had no solution")
        return "\n".join([f"{len(self.failures)} failures", *self.failures[:20]]) if self.failures else ""

    def row(self) -> str:
        """One line of the table in DEVELOPERS.md."""
        counts = (self.situations, self.points, self.volts)
        found = (self.loose, self.lost, self.readings, self.differing, self.undecided)
        cells = [self.style, *counts, f"{self.worst_v * 1e3:.3f} mV", *found]
        return f"| {' | '.join(str(cell) for cell in cells)} |"


HEADER = (
    "| style | situations | points | volts compared | worst deviation | not held | unsolved "
    "| readings | differing | near a threshold |\n"
    "| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |"
)
LAMP_HEADER = (
    "| style | scans | points | volts compared | worst deviation | not held | unsolved "
    "| powers | differing | worst power |\n"
    "| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |"
)


def compare_volts(
    tally: Tally, deck: Deck, ours: Mapping[str, float], theirs: Mapping[str, float], words: str
) -> None:
    """Compare volts by net (names of the second expansion); a deviation on a held net is a failure."""
    # Nets that only ideal rails join to anything are not in the deck: those are compared where used.
    both = {net: (volts, theirs[net]) for net, volts in ours.items() if net in theirs}
    off = {net: abs(our - their) for net, (our, their) in both.items()}
    far = [net for net, difference in off.items() if difference > VOLTS]
    ohms = source_ohms(deck, theirs, far) if far else {}
    tally.volts += len(both)
    for net, (our, their) in both.items():
        if ohms.get(net, 0.0) >= HELD_OHM:
            tally.loose += 1
            continue
        tally.worst_v = max(tally.worst_v, off[net])
        if off[net] > max(VOLTS, SHARE * abs(their)):
            said = f"{their:.6f} V behind {ohms[net]:.3g} ohm, we say {our:.6f} V"
            tally.failures.append(f"{words}: {net} is {said}")


def source_ohms(deck: Deck, volts: Mapping[str, float], wanted: Sequence[str]) -> dict[str, float]:
    """Small-signal ohms between nets and everything that holds them, at the simulated volts."""
    nets = [name for name in deck.nodes if name not in deck.ideal]
    index = {name: number for number, name in enumerate(nets)}
    slope = np.eye(len(nets)) * G_MIN
    for card in deck.cards:
        own = _slope(card, volts[card.near] - volts[card.far] - card.volts)
        near, far = index.get(card.near, -1), index.get(card.far, -1)
        for one, other in ((near, far), (far, near)):
            if one >= 0:
                slope[one, one] += own
            if one >= 0 and other >= 0:
                slope[one, other] -= own
    chosen = [name for name in dict.fromkeys(wanted) if name in index]
    amps = np.zeros((len(nets), len(chosen)))
    for column, name in enumerate(chosen):
        amps[index[name], column] = 1.0
    lifted = np.linalg.solve(slope, amps) if chosen else amps
    ohms = {name: float(lifted[index[name], column]) for column, name in enumerate(chosen)}
    return {name: ohms.get(name, 0.0) for name in wanted}


def _slope(card: Card, volts: float) -> float:
    """Siemens of a conductor at ``volts`` across it."""
    if not card.saturation:
        return 1.0 / card.ohm
    amps = junction_a(card, volts)
    own = (amps + card.saturation) / (card.emission * VT)
    return own / (1.0 + own * card.ohm) + G_MIN


def junction_a(card: Card, volts: float) -> float:
    """Amperes of a junction in series with its resistance: bisection of the diode equation."""
    scale = card.emission * VT

    def across(amps: float) -> float:
        return amps * card.ohm + scale * math.log1p(amps / card.saturation)

    if volts <= 0.0:
        return card.saturation * math.expm1(max(volts / scale, -700.0))
    low, high = 0.0, volts / card.ohm
    for _ in range(200):
        middle = 0.5 * (low + high) if low > 0.0 else high * 1e-3
        if high - low <= 1e-12 * high or high < 1e-30:
            break
        low, high = (middle, high) if across(middle) < volts else (low, middle)
    return 0.5 * (low + high)
