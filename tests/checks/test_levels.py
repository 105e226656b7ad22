"""Levels beside a threshold. Guaranteed input levels as printed in data sheets (``kinds.toml``): LS TTL 0.8
and 2.0 V, CMOS at 5 V 1.5 and 3.5 V, comparator LM339 offset 5 mV. Resistors of series E24 (IEC 60063): 5 %.
"""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from matrixdoc.case.case import Case
from matrixdoc.checks.levels import DIVIDER_SHARE, SURE, band, reads_high
from matrixdoc.checks.situation import Look, Situation
from matrixdoc.circuit.patch import Patch
from matrixdoc.definition.library import load_machine
from matrixdoc.faults.priors import Fault

FAMILIES = [(0.8, 2.0), (1.5, 3.5), (1.35, 3.15), (2.495, 2.505)]


def drawn(volts: float, low: float, high: float) -> float:
    """The same by drawing parts: each switches somewhere in its band, two resistors set the level."""
    rng = np.random.default_rng(20261126)
    one, two = rng.uniform(0.95, 1.05, (2, 400_000))
    switches = rng.uniform(low, high, 400_000)
    middle = 0.5 * (low + high)
    seen = volts + middle * (2.0 * two / (one + two) - 1.0)
    return float((seen > switches).mean())


@pytest.mark.parametrize(("low", "high"), FAMILIES)
def test_the_share_is_that_of_parts_drawn_within_their_tolerance(low, high):
    spread = DIVIDER_SHARE * 0.5 * (low + high)
    for volts in np.linspace(low - 3.0 * spread, high + 3.0 * spread, 15):
        share = reads_high(float(volts), low, high)
        # Two uniform tolerances are only nearly a normal one.
        assert share == pytest.approx(drawn(float(volts), low, high), abs=0.02)


@pytest.mark.parametrize(("low", "high"), FAMILIES)
def test_more_volts_never_read_lower_and_what_is_far_is_sure(low, high):
    shares = [reads_high(0.01 * n, low, high) for n in range(501)]
    assert all(a <= b for a, b in itertools.pairwise(shares))
    assert reads_high(0.5 * (low + high), low, high) == pytest.approx(0.5)
    assert shares[0] == 0.0
    assert shares[-1] == 1.0


@pytest.mark.parametrize(("low", "high"), FAMILIES)
def test_the_band_holds_every_level_that_is_not_sure(low, high):
    levels = band(low, high)
    for n in range(5001):
        if 0.0 < reads_high(0.001 * n, low, high) < 1.0:
            assert levels[0] - 1e-9 <= 0.001 * n <= levels[-1] + 1e-9
    assert reads_high(levels[0], low, high) == 0.0
    assert reads_high(levels[0] + 0.001, low, high) >= SURE
    # From one level to the next a reading moves by no more than a person's slip or two.
    gaps = [abs(reads_high(a, low, high) - reads_high(b, low, high)) for a, b in itertools.pairwise(levels)]
    assert max(gaps) < 0.25


def test_a_contact_at_the_edge_of_reading_is_neither_surely_dead_nor_surely_alive():
    """A press through a growing resistance goes from read to not read by a probability, not by a jump."""
    wiring = load_machine("lantern_quay")
    case = Case.start(wiring)
    engine = case.session.engine  # type: ignore[union-attr]
    place = "switch/C2R3"
    shares = []
    fault = next(f for f in engine.possible if f.part == f"{place}/contact" and f.mode == "never closes")
    effect = engine.model.effects[fault]
    for ohm in (1.0, 100.0, 300.0, 500.0, 600.0, 700.0, 800.0, 900.0, 1000.0, 1500.0, 3000.0, 10000.0):
        bad = replace(effect, contact=None, analog=True, patch=Patch(values={"ohm": ohm}))
        reads = engine.predictor.reads
        contacts, rest = reads.pair((place,), (bad,))
        reads.prepare([(contacts, rest)])
        prediction = reads.predict(contacts, rest)
        shares.append(sum(p for outcome, p in prediction if place in outcome))  # type: ignore[misc, operator]
    assert shares[0] == 1.0
    assert shares[-1] == 0.0
    assert all(a >= b - 1e-9 for a, b in itertools.pairwise(shares))
    assert any(0.05 < share < 0.95 for share in shares), shares
    healthy = case.simulate((), Situation(held=(place,)), Look("reads"))
    assert healthy[0][1] == 1.0
    assert Fault(f"{place}/contact", "never closes") in engine.possible
