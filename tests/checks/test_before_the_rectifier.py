"""Ohms of what stands between a winding and its rectifier: measured, not replaced in a row."""

from __future__ import annotations

import pytest

from matrixdoc.case.case import Case
from matrixdoc.checks.prediction import Prediction
from matrixdoc.checks.situation import ALL_LAMPS, OPEN_LOOP, Finding, Look, Outcome, Situation
from matrixdoc.definition.library import load_machine
from matrixdoc.diagnosis.engine import Engine
from matrixdoc.diagnosis.settings import Settings
from matrixdoc.faults.priors import Fault

SUPPLY = "supply/lamp"
OFF = Situation(power=False)


@pytest.fixture(name="engine", scope="module")
def an_engine() -> Engine:
    return Engine(load_machine("bare_chart"), Settings())


def across(engine: Engine, part: str) -> Look:
    (check,) = (
        c
        for c in engine.generator.for_part(part)
        if c.look.function == "ohms" and {c.look.red, c.look.black} == set(engine.wiring.parts[part].nets)
    )
    assert check.situation == OFF
    return check.look


def ohms(prediction: Prediction) -> Outcome:
    ((outcome, share),) = prediction
    assert share == 1.0
    return outcome


@pytest.mark.parametrize("part", ["wire", "pin", "winding"])
def test_ohms_across_a_part_are_its_own(engine: Engine, part: str) -> None:
    reference = f"{SUPPLY}/{part}"
    look = across(engine, reference)
    whole = engine.circuit.values(reference)["ohm"]
    assert ohms(engine.predict((), OFF, look)) == pytest.approx(whole)
    assert engine.predict((Fault(reference, "open"),), OFF, look) == ((OPEN_LOOP, 1.0),)
    # The ring is closed by the rectifier, which 0.3 V do not open: another break changes nothing here.
    other = f"{SUPPLY}/pin" if part != "pin" else f"{SUPPLY}/wire"
    assert ohms(engine.predict((Fault(other, "open"),), OFF, look)) == pytest.approx(whole)


def test_a_tired_contact_shows_its_ohms(engine: Engine) -> None:
    poor = Fault(f"{SUPPLY}/pin", "high resistance")
    wanted = engine.possible[poor].patch.values["ohm"]
    assert ohms(engine.predict((poor,), OFF, across(engine, poor.part))) == pytest.approx(wanted)


def test_a_dead_supply_is_measured_through_before_anything_is_soldered() -> None:
    case = Case.start(load_machine("bare_chart"))
    for lamp in ("lamp/C5R2", "lamp/C3R1", "lamp/C5R3"):
        case = case.with_finding(Finding(Situation(lamps=(ALL_LAMPS,)), Look("lamp", lamp), "off"))
    case = case.with_finding(Finding(OFF, Look("fuse", f"{SUPPLY}/fuse"), "good"))
    parts = {f"{SUPPLY}/{name}" for name in ("wire", "pin", "winding")}
    assert case.session is not None
    broken = (Fault(f"{SUPPLY}/winding", "open"),)
    for _ in range(8):
        check = case.checks(1)[0].check
        if check.kind == "act":
            break
        seen = case.session.engine.predict(broken, check.situation, check.look)
        case = case.with_finding(Finding(check.situation, check.look, seen[0][0]))
    # Whatever was measured on the way, what is mended first is what was broken.
    assert check.kind == "act"
    assert not (parts - {f"{SUPPLY}/winding"}).intersection(check.mends)
    causes = case.diagnose().causes
    assert causes[0].faults[0].part == f"{SUPPLY}/winding"
