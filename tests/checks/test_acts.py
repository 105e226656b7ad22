"""Acts that alter the machine for one look: what each shows, and which are never offered.

Expected results are the trade's: a jumper does what the contact should do, a fault goes with the swapped
lamp, a grounded driven lug fires a sound coil (common practice, no source).
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from matrixdoc.case.case import Case
from matrixdoc.checks import acts
from matrixdoc.checks.situation import ALL_LAMPS, Finding, Look, Situation, both_ends, jumper, swap
from matrixdoc.checks.wording import finding_words, situation_words
from matrixdoc.definition.library import load_machine
from matrixdoc.definition.wiring import GROUND
from matrixdoc.diagnosis.engine import Told
from matrixdoc.diagnosis.harm import grounding, would_harm
from matrixdoc.faults.priors import Fault

MACHINES = ("bare_chart", "lantern_quay", "kettle_hollow", "glass_orchard", "storm_bureau")


@pytest.fixture(scope="module", params=MACHINES)
def engine(request: pytest.FixtureRequest):
    return Case.start(load_machine(request.param))._engine.engine


def sure(engine, faults, check):
    """The most probable outcome of a check under faults."""
    return engine.predict(tuple(faults), check.situation, check.look)[0][0]


def switch_cells(engine):
    return [
        (matrix, cell)
        for matrix in engine.wiring.matrices.values()
        if matrix.device == "switch"
        for cell in matrix.cells
        if engine.model.part(cell.element).kind == "contact"
        and not engine.wiring.switches[cell.reference].normally_closed
    ]


def test_a_jumper_does_what_the_contact_should(engine) -> None:
    look = Look("reads")
    for _, cell in switch_cells(engine)[::9]:
        pressed = engine.predict((), Situation(held=(cell.reference,)), look)
        (check, *_) = acts.across_contact(engine.model, cell.reference)
        assert engine.predict((), check.situation, look) == pressed
        never = Fault(cell.element, "never closes")
        assert never in engine.model.effects
        assert engine.predict((never,), check.situation, look) == pressed
        assert engine.predict((never,), Situation(held=(cell.reference,)), look) != pressed


def test_a_jumper_over_the_diode_too_leaves_only_lines_and_lugs(engine) -> None:
    found = 0
    for matrix, cell in switch_cells(engine)[::9]:
        checks = [c for c in acts.for_cell(engine.model, matrix, cell) if "with its diode" in c.title]
        for check in checks:
            whole = sure(engine, (), check)
            assert sure(engine, [Fault(cell.diode, "open")], check) == whole
            (contact_only, *_) = acts.across_contact(engine.model, cell.reference)
            assert cell.reference not in sure(engine, [Fault(cell.diode, "open")], contact_only)
            found += 1
    if any(cell.diode for _, cell in switch_cells(engine)):
        assert found > 0


def test_a_burnt_lamp_goes_with_the_lamp(engine) -> None:
    for matrix in engine.wiring.matrices.values():
        if matrix.device != "lamp":
            continue
        checks = [c for cell in matrix.cells[::7] for c in acts.for_cell(engine.model, matrix, cell)]
        for check in checks:
            (pair,) = check.situation.swapped
            here = engine.wiring.lamps[check.look.target].element
            (other,) = set(both_ends(pair)) - {here}
            assert sure(engine, [Fault(here, "burnt out")], check) == "normal"
            assert sure(engine, [Fault(other, "burnt out")], check) == "off"


def low_side(engine):
    return [
        coil
        for coil in engine.wiring.coils.values()
        if acts.driven_lug(engine.model, coil) and coil.drive and not coil.holds
    ]


def test_a_grounded_driven_lug_fires_a_sound_coil_and_tells_its_drive(engine) -> None:
    for coil in low_side(engine)[::4]:
        checks = [c for c in acts.for_coil(engine.model, coil) if grounding(c)]
        for check in checks:
            if would_harm(engine.predictor, check, [], []):
                continue
            output = engine.wiring.drives[coil.drive].output
            assert sure(engine, (), check) == "fires"
            broken = Fault(coil.element, "open")
            if broken in engine.model.effects:
                assert sure(engine, [broken], check) == "nothing"
            modes = [f for f in engine.model.effects if f.part == output and f.mode in ("open", "dead")]
            for fault in modes:
                assert sure(engine, [fault], check) == "fires"


def test_grounding_is_refused_where_the_circuit_says_harm(engine) -> None:
    """A shorted coil diode, a shorted winding, the supply lug, a coil without a low-side drive."""
    tried = 0
    for coil in engine.wiring.coils.values():
        if not coil.element or coil.reference not in engine.predictor.coils.coils:
            continue
        (supply, driven) = engine.model.part(coil.element).nets[:2]
        for check in (c for c in acts.for_coil(engine.model, coil) if grounding(c)):
            if would_harm(engine.predictor, check, [], []):
                continue
            tried += 1
            bad = [Fault(coil.diode, "shorted"), Fault(coil.element, "shorted turns")]
            for fault in bad:
                if fault in engine.model.effects and fault.part:
                    assert would_harm(engine.predictor, check, [(fault,)], [0.2]), (coil.reference, fault)
                    assert not would_harm(engine.predictor, check, [(fault,)], [0.001])
            lug = check.situation.jumpers[0]
            wrong = Situation(jumpers=(jumper(supply, GROUND),))
            assert would_harm(engine.predictor, replace(check, situation=wrong), [], []), coil.reference
            assert driven in both_ends(lug)
        if not acts.driven_lug(engine.model, coil):
            assert not [c for c in acts.for_coil(engine.model, coil) if grounding(c)]
    if low_side(engine):
        assert tried > 0


def test_no_grounding_while_a_shorted_diode_is_suspected() -> None:
    engine = Case.start(load_machine("lantern_quay"))._engine.engine
    dead = Finding(Situation(pulsed="coil/4"), Look("coil", "coil/4"), "nothing")
    ohms = Finding(
        Situation(power=False),
        Look("meter", function="ohms", red="coil/4/supplied", black="coil/4/driven"),
        0.2,
    )

    def offered(findings):
        told = Told(findings=findings, disturbed=(0,) * len(findings))
        return [o for job in engine.jobs(told) for o in job.options if grounding(o.check)]

    assert offered((dead,))
    assert not offered((dead, ohms))


def test_unplugging_a_row_tells_the_board_from_the_harness() -> None:
    engine = Case.start(load_machine("lantern_quay"))._engine.engine
    matrix = engine.wiring.matrices["switch"]
    (check,) = acts.for_line(engine.model, matrix, matrix.rows[2])
    usual = sure(engine, (), check)
    board = sure(engine, [Fault("switch/R3/input", "reads closed")], check)
    assert len(board) > len(usual)
    harness = Fault("switch/R3/wire", "grounded")
    assert sure(engine, [harness], check) == usual
    assert engine.predict((harness,), Situation(), Look("reads"))[0][0] != usual


def test_wiggling_counts_for_what_comes_and_goes_and_for_its_whole_connector() -> None:
    wiring = load_machine("lantern_quay")
    engine = Case.start(wiring)._engine.engine
    loose = [f for f, e in engine.model.possible.items() if e.duty > 0.0 and wiring.parts.get(f.part)]
    pin = next(f for f in loose if wiring.parts[f.part].connector)
    connector = wiring.parts[pin.part].connector
    mate = next(p for p in wiring.parts.values() if p.connector == connector and p.reference != pin.part)
    for target, moves in ((pin.part, True), (mate.reference, True), ("switch/C1R1/contact", False)):
        prediction = dict(engine.predict((pin,), Situation(), Look("wiggle", target)))
        assert (prediction["changes"] > 0.5) == moves
    case = Case.start(wiring).with_finding(
        Finding(Situation(held=("switch/C2R3",)), Look("reads"), frozenset({"switch/C1R4"}))
    )
    before = case.diagnose().marginals
    row = "switch/C2R3/contact"
    after = case.with_finding(Finding(Situation(), Look("wiggle", row), "changes")).diagnose().marginals
    now_and_then = (row, "closes now and then")
    assert after[now_and_then] > 3.0 * before[now_and_then]


def test_words_of_altered_machines() -> None:
    wiring = load_machine("lantern_quay")
    nets = wiring.parts["switch/C2R3/contact"].nets
    lead = Situation(jumpers=(jumper(*nets[:2]),))
    words = finding_words(wiring, Finding(lead, Look("reads"), frozenset({"switch/C1R4", "switch/C2R3"})))
    assert "a jumper across switch C2R3" in words
    assert "reads switch C2R3" in words
    swapped = Situation(lamps=(ALL_LAMPS,), swapped=(swap("lamp/C1R2/lamp", "lamp/C2R2/lamp"),))
    assert "swapped" in situation_words(wiring, swapped)


def test_without_power_no_optical_pair_conducts() -> None:
    engine = Case.start(load_machine("storm_bureau"))._engine.engine
    opto = next(iter(engine.wiring.optos.values()))
    one, two = engine.model.part(opto.contact).nets[:2]
    look = Look("meter", function="ohms", red=one, black=two)
    reading = engine.predict((), Situation(power=False), look)[0][0]
    assert reading == "OL" or (isinstance(reading, float) and reading > 1e5)


def test_no_lamp_and_no_coil_is_tested_without_logic(engine) -> None:
    dead = Fault("supply/logic/regulator", "dead")
    if dead not in engine.model.effects:
        dead = Fault("supply/logic/winding", "open")
    lamp = next(r for r, one in engine.wiring.lamps.items() if one.matrix or one.drive)
    shown = engine.predict((dead,), Situation(lamps=(ALL_LAMPS,)), Look("lamp", lamp))[0][0]
    assert shown not in ("off", "dim", "normal", "bright")
    for coil in [r for r, c in engine.wiring.coils.items() if c.drive][:1]:
        assert engine.predict((dead,), Situation(pulsed=coil), Look("coil", coil))[0][0] == shown
