"""A repair is proven by what the machine does, not by a reading (common practice, no source)."""

from __future__ import annotations

from matrixdoc.case.case import Case
from matrixdoc.checks.situation import ALL_LAMPS, Finding, Look, Situation
from matrixdoc.definition.library import load_machine

WIRING = load_machine("lantern_quay")
FUSE = "supply/lamp/fuse"
LAMPS = [c.reference for c in WIRING.matrices["lamp"].cells][:4]
VOLTS = Look("meter", function="volts", red="rail/lamp", black="ground")


def lamp(name: str, seen: str) -> Finding:
    return Finding(Situation(lamps=(ALL_LAMPS,)), Look("lamp", name), seen)


def dark() -> Case:
    case = Case.start(WIRING)
    for name in LAMPS:
        case = case.with_finding(lamp(name, "off"))
    return case.with_finding(Finding(Situation(), VOLTS, 0.0))


def first(case: Case):
    return next((r.check for r in case.checks(limit=5)), None)


def test_after_a_good_reading_the_lamps_are_looked_at_again():
    case = dark().with_repair((FUSE,), "replace").with_finding(Finding(Situation(), VOLTS, 17.5))
    check = first(case)
    assert check is not None
    assert check.look.kind == "lamp"
    assert check.look.target in LAMPS
    assert case.unproven()


def test_once_they_are_lit_nothing_is_left_to_prove():
    case = dark().with_repair((FUSE,), "replace").with_finding(Finding(Situation(), VOLTS, 17.5))
    case = case.with_finding(lamp(LAMPS[0], "normal"))
    assert not case.unproven()
    check = first(case)
    assert check is None or not check.key.startswith("again")


def test_a_complaint_of_readings_alone_is_proven_by_the_same_reading():
    case = Case.start(WIRING).with_finding(Finding(Situation(), VOLTS, 0.0))
    case = case.with_repair((FUSE,), "replace")
    assert case.unproven()
    assert not case.with_finding(Finding(Situation(), VOLTS, 17.5)).unproven()
