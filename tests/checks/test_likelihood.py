"""What a report is worth: slips, tolerances, what people leave out."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from matrixdoc.checks.coil_words import action
from matrixdoc.checks.lamps import brightness
from matrixdoc.checks.likelihood import reading_matches, report_probability
from matrixdoc.checks.situation import NOT_SURE, OPEN_LOOP, Look

READS = Look("reads")
VOLTS = Look("meter", function="volts", red="a", black="b")
OHMS = Look("meter", function="ohms", red="a", black="b")


@given(st.floats(1e-6, 50.0))
def test_brightness_words_are_a_distribution(ratio: float) -> None:
    assert sum(share for _, share in brightness(ratio)) == pytest.approx(1.0, abs=1e-6)


@given(st.floats(0.0, 3.0))
def test_coil_words_are_a_distribution(ratio: float) -> None:
    assert sum(action(ratio).values()) == pytest.approx(1.0, abs=1e-6)


def test_brightness_follows_the_power() -> None:
    assert [brightness(r)[0][0] for r in (0.0, 0.01, 0.3, 1.0, 1.4, 3.0)] == [
        "off",
        "off",
        "dim",
        "normal",
        "normal",
        "bright",
    ]


def test_a_right_report_is_likely_and_a_wrong_one_a_slip() -> None:
    sure = ((frozenset({"switch/C1R1"}), 1.0),)
    held = ("switch/C1R1",)
    good = report_probability(READS, sure, frozenset({"switch/C1R1"}), 0.01, held=held)
    bad = report_probability(READS, sure, frozenset(), 0.01, held=held)
    assert good > 0.99
    assert 0.0 < bad <= 0.01


def test_not_sure_says_nothing() -> None:
    assert report_probability(READS, ((frozenset(), 1.0),), NOT_SURE, 0.01) == 1.0


def test_what_reads_all_the_time_may_be_left_out_of_a_press() -> None:
    both = frozenset({"switch/C1R1", "switch/C5R5"})
    told = frozenset({"switch/C1R1"})
    kept = report_probability(READS, ((both, 1.0),), told, 0.01, frozenset({"switch/C5R5"}), ("switch/C1R1",))
    without = report_probability(READS, ((both, 1.0),), told, 0.01, frozenset(), ("switch/C1R1",))
    assert kept > 0.3
    assert without < 0.02


@pytest.mark.parametrize(
    ("predicted", "seen", "least", "most"),
    [(5.0, 5.0, 0.99, 1.0), (5.0, 4.4, 0.02, 0.3), (5.0, 0.0, 0.0, 1e-6)],
)
def test_volts_spread_with_tolerance(predicted: float, seen: float, least: float, most: float) -> None:
    assert least <= reading_matches(VOLTS, predicted, seen) <= most


def test_an_open_reading_matches_only_an_open_reading() -> None:
    assert reading_matches(OHMS, OPEN_LOOP, OPEN_LOOP) == 1.0
    assert reading_matches(OHMS, OPEN_LOOP, 12.0) == 0.0
    assert reading_matches(OHMS, 12.0, OPEN_LOOP) == 0.0
