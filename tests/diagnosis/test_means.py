"""What a person has, what was left off, and what comes before power while a coil may be locked on."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from matrixdoc.case.case import Case, CaseError
from matrixdoc.case.record import entry_from_record, entry_record, settings_from_record, settings_record
from matrixdoc.case.report import case_from_report, read_report, resolve_report
from matrixdoc.checks.situation import ALL_LAMPS, Finding, Look, Situation, jumper, swap
from matrixdoc.definition.library import load_machine
from matrixdoc.diagnosis.means import ORDER_MINUTES, isolation, plug_off
from matrixdoc.diagnosis.ranking import Option, after_tries
from matrixdoc.diagnosis.settings import Settings
from matrixdoc.diagnosis.told import Mend, Told
from matrixdoc.faults.priors import Fault

WIRING = load_machine("lantern_quay")
LOCKED = Finding(Situation(), Look("resting coils"), frozenset({"coil/5"}))
DEAD = Finding(Situation(held=("switch/C2R3",)), Look("reads"), frozenset({"switch/C1R4"}))


def started(**changes) -> Case:
    return Case.start(WIRING, replace(Settings(), **changes))


# -- the person's means --------------------------------------------------------------------------------


def test_what_cannot_be_done_is_not_offered() -> None:
    everything = {c.check.look.function for c in started().with_finding(DEAD).checks(40)}
    assert {"ohms", "diode"} <= everything
    without = started(lacks=("diode", "ohms")).with_finding(DEAD).checks(40)
    assert without
    assert not {"ohms", "diode"} & {c.check.look.function for c in without if c.check.kind != "act"}
    silent = started(lacks=("switch test",)).with_finding(DEAD).checks(40)
    assert not [c for c in silent if c.check.look.kind == "reads" and c.check.kind == "look" and c.rank > 1]


def test_a_part_that_must_be_ordered_costs_its_wait() -> None:
    dark = Finding(Situation(lamps=(ALL_LAMPS,)), Look("lamp", "lamp/C2R2"), "off")

    def minutes(case: Case) -> float:
        told = Told((dark,), (), (0,))
        (job,) = case._engine.engine.jobs(told)
        return next(o.check.minutes for o in job.options if o.check.key == "replace lamp/C2R2/lamp")

    usual = minutes(started())
    assert minutes(started(stock=("lamp",))) == pytest.approx(usual)
    assert minutes(started(stock=("1N4004",))) == pytest.approx(usual + ORDER_MINUTES)

    def rank(case: Case) -> int:
        keys = [c.check.key for c in case.with_finding(dark).checks(30)]
        return keys.index("replace lamp/C2R2/lamp") if "replace lamp/C2R2/lamp" in keys else len(keys)

    assert rank(started(stock=("lamp",))) < rank(started(stock=("1N4004",)))


def test_the_meter_is_the_persons_own() -> None:
    part = WIRING.parts["coil/4/winding"]
    look = Look("meter", function="ohms", red=part.nets[0], black=part.nets[1])
    off = Situation(power=False)

    def reading(**changes):
        return started(**changes)._engine.engine.predict((), off, look)[0][0]

    assert reading(meter_lead_ohm=0.4) == pytest.approx(reading() + 0.4)
    diode = WIRING.parts["switch/C2R3/diode"]
    across = Look("meter", function="diode", red=diode.nets[0], black=diode.nets[1])
    weak = started(diode_test_ma=0.1)._engine.engine.predict((), off, across)[0][0]
    usual = started()._engine.engine.predict((), off, across)[0][0]
    # A tenth of the current: a decade less across a junction, some 60 mV times its emission coefficient.
    assert isinstance(usual, float)
    assert isinstance(weak, float)
    assert 0.05 < usual - weak < 0.15
    back = replace(across, red=across.black, black=across.red)
    assert (
        started(meter_top_ohm=1e3)._engine.engine.predict(
            (), off, Look("meter", function="ohms", red=back.red, black=back.black)
        )[0][0]
        == "OL"
    )


def test_settings_of_the_person_go_through_a_report_and_a_file() -> None:
    text = """
settings: {meter_lead_ohm: 0.3, diode_test_ma: 0.5, lacks: [diode, coil test], stock: [1N4004, lamp]}
findings: [{press: C2R3, reads: nothing}]
"""
    report = resolve_report(read_report(text, "means.yaml"), WIRING)
    assert report.settings.lacks == ("diode", "coil test")
    assert report.settings.stock == ("1N4004", "lamp")
    assert settings_from_record(json.loads(json.dumps(settings_record(report.settings)))) == report.settings
    assert case_from_report(WIRING, report).checks(3)


# -- interrupted work ----------------------------------------------------------------------------------


def test_what_was_left_off_on_or_swapped_is_put_back_first() -> None:
    nets = WIRING.parts["switch/C2R3/contact"].nets
    left = Situation(
        opened=("switch/R3/pin",),
        jumpers=(jumper(*nets[:2]),),
        swapped=(swap("lamp/C1R2/lamp", "lamp/C2R2/lamp"),),
    )
    case = started().with_finding(DEAD)
    assert not [w for w in case.left() if "put back" in w or "take off" in w]
    case = case.with_finding(Finding(left, Look("reads"), frozenset({"switch/C1R4"})))
    words = case.left()
    assert any(w.startswith("put back before power: ") and "pin" in w for w in words)
    assert any(w.startswith("take off before power: a jumper") for w in words)
    assert any(w.startswith("put back where they belong") for w in words)
    for ranked in case.checks(5):
        altered = ranked.check.situation
        wanted = [w for w in ranked.check.set_up if w.startswith("put back before power")]
        assert bool(wanted) == ("switch/R3/pin" not in altered.opened), ranked.check.title
    again = case.with_finding(DEAD)
    assert not [w for w in again.left() if "put back" in w]


# -- before power --------------------------------------------------------------------------------------


def test_while_a_coil_may_lock_on_its_supply_comes_off_first() -> None:
    case = started().with_finding(LOCKED)
    first, *others = case.checks(8)
    assert first.check.situation.opened == ("feed/upper/fuse",)
    assert first.check.look.kind == "resting coils"
    for ranked in others:
        check = ranked.check
        if check.kind != "act" and check.situation.power:
            assert check.situation.opened, check.title  # never as it locked on
    isolated = case.with_finding(Finding(first.check.situation, first.check.look, frozenset()))
    assert isolated.checks(8)[0].check.key != first.check.key


def test_the_plug_tells_the_board_from_the_harness() -> None:
    engine = started()._engine.engine
    check = plug_off(engine.model, "coil/5")
    assert check is not None
    board = engine.predict((Fault("coil/5/driver", "shorted"),), check.situation, check.look)[0][0]
    harness = engine.predict((Fault("coil/5/wire", "grounded"),), check.situation, check.look)[0][0]
    assert (board, harness) == (frozenset(), frozenset({"coil/5"}))


@pytest.mark.parametrize("name", ["lantern_quay", "kettle_hollow", "glass_orchard", "storm_bureau"])
def test_isolated_nothing_pulls_in(name: str) -> None:
    """With what isolation takes out, no drive part that is shorted locks its coil on."""
    engine = Case.start(load_machine(name))._engine.engine
    tried = 0
    for coil in engine.wiring.coils:
        check = isolation(engine.model, coil)
        faults = [
            f
            for f in engine.model.effects
            if f.mode == "shorted"
            and f.part in engine.model.drives_path(engine.wiring.coils[coil].drive)[-1:]
        ]
        for fault in faults:
            if check is None:
                continue
            locked = [
                engine.predict((fault,), situation, check.look)[0][0]
                for situation in (Situation(), check.situation)
            ]
            if locked[0] != frozenset({coil}):
                continue
            assert locked[1] == frozenset(), (coil, fault)
            tried += 1
    assert tried > 3


def test_going_on_under_power_wants_words_and_is_remembered() -> None:
    case = started().with_finding(LOCKED)
    with pytest.raises(CaseError):
        case.with_override("  ")
    bold = case.with_override("F6 is out, a second person at the switch")
    assert any("second person" in c for c in bold.cautions())
    assert bold.cautions()[0] == case.cautions()[0]
    powered = [c for c in bold.checks(8) if c.check.kind != "act" and c.check.situation.power]
    assert any(not c.check.situation.opened for c in powered)
    entry = bold.entries[-1]
    assert entry_from_record(json.loads(json.dumps(entry_record(entry)))) == entry
    again = bold.with_retraction(entry.number)
    assert again.checks(8)[0].check.situation.opened


def test_what_reseating_did_not_cure_is_replaced() -> None:
    engine = started()._engine.engine
    proof = engine.generator.pulse("coil/3")
    reseat = engine.generator.repair([Fault("coil/3/link", "open")], proof)
    assert reseat.action == "reseat"
    option = Option(reseat, reseat.minutes, (), (reseat.success,))
    once, likely, none = Mend("coil/3/link", "reseat", 1), np.array([0.8]), frozenset[str]()
    assert after_tries(option, (once,), likely, none) is option
    instead = after_tries(option, (once, once), likely, none)
    assert instead is not None
    assert (instead.check.action, instead.check.mends) == ("replace", reseat.mends)
    assert instead.check.minutes > reseat.minutes
    assert instead.check.success == instead.cures[0] > reseat.success
    assert "replace" in instead.check.title
    replaced = replace(once, action="replace")
    assert after_tries(option, (once, once, replaced), np.array([0.3]), none) is None
