"""What only time shows: coils that fire twice, lamps that flicker (common practice, no source)."""

from __future__ import annotations

import pytest

from matrixdoc.case.case import Case
from matrixdoc.checks.flicker import FLICKERS, flickering, unsteady
from matrixdoc.checks.situation import ALL_LAMPS, Finding, Look, Situation
from matrixdoc.checks.timing import TWICE, doubled
from matrixdoc.cli.sentence import report_text
from matrixdoc.definition.library import load_machine
from matrixdoc.faults.priors import Fault

ENGINES = {m: Case.start(load_machine(m)).session.engine for m in ("lantern_quay", "kettle_hollow")}  # type: ignore[union-attr]
POP, RING = "coil/31", "direct switch/buoy 1 ring/contact"
TWO = Finding(Situation(pulsed=POP), Look("coil", POP), TWICE)


def coil(engine, faults, name):
    return dict(engine.predict(tuple(faults), Situation(pulsed=name), Look("coil", name)))


def lamp(engine, faults, name, *pattern):
    return dict(engine.predict(tuple(faults), Situation(lamps=pattern or (name,)), Look("lamp", name)))


def test_a_healthy_machine_neither_fires_twice_nor_flickers():
    for engine in ENGINES.values():
        assert all(TWICE not in coil(engine, (), name) for name in engine.predictor.coils.coils)
        assert all(FLICKERS not in lamp(engine, (), name) for name in engine.wiring.lamps)


def test_the_switch_that_fires_a_coil_is_the_first_suspect_of_its_firing_twice():
    case = Case.start(ENGINES["lantern_quay"].wiring).with_finding(TWO).with_finding(TWO)
    first = case.diagnose().causes[0]
    assert (first.faults[0].part, first.faults[0].mode) == (RING, "bounces")
    assert "a rule of timing, not computed" in ENGINES["lantern_quay"].possible[Fault(RING, "bounces")].words
    acts = [r.check for r in case.checks(limit=9) if r.check.kind == "act"]
    assert any(RING in check.mends and check.action == "clean" for check in acts)


def test_a_fault_of_timing_changes_nothing_else():
    engine = ENGINES["lantern_quay"]
    fault = Fault(RING, "bounces")
    assert engine.model.effects[fault].timing
    held = Situation(held=("direct switch/buoy 1 ring",))
    for situation, look in (
        (held, Look("reads")),
        (Situation(), Look("resting coils")),
        (Situation(pulsed="coil/32"), Look("coil", "coil/32")),
    ):
        assert engine.predict((fault,), situation, look) == engine.predict((), situation, look)
    dead = Fault("coil/31/driver", "open")
    assert coil(engine, (fault, dead), POP) == coil(engine, (dead,), POP)


def test_only_parts_whose_timing_a_coil_depends_on_have_such_faults():
    engine = ENGINES["lantern_quay"]
    timed = {f.part for f, e in engine.model.effects.items() if e.timing}
    fired = {engine.wiring.switches[c.fired_by].contact for c in engine.wiring.coils.values() if c.trigger}
    assert fired <= timed
    assert timed - fired == {"coil/left flipper/eos", "coil/right flipper/eos"}


@pytest.mark.parametrize("machine", sorted(ENGINES))
def test_a_flipper_without_its_hold_winding_flutters(machine):
    """Power winding, end-of-stroke contact, no hold: it drops at the end of the stroke and starts anew."""
    engine = ENGINES[machine]
    hold = engine.wiring.coils["coil/left flipper/hold"].element
    power = "coil/left flipper/power"
    seen = coil(engine, (Fault(hold, "open"),), power)
    assert max(seen, key=seen.__getitem__) == TWICE
    assert TWICE not in coil(engine, (Fault(hold, "open"),), "coil/right flipper/power")


def test_half_of_the_mains_cycle_makes_the_lamps_of_an_unfiltered_supply_flicker():
    """One rectifier diode open, no capacitor: dim and flickering (common practice, no source)."""
    engine = ENGINES["kettle_hollow"]
    half = Fault("supply/lamp/rectifier1", "open")
    effects = engine.predictor.effects(Situation(), (half,))
    assert engine.predictor.lamps.flicker.chance("direct lamp/1", effects) > 0.9
    seen = lamp(engine, (half,), "direct lamp/1")
    # It is dim as well, and people have one word.
    assert seen[FLICKERS] > 0.4
    assert seen[FLICKERS] + seen["dim"] > 0.95
    # The illumination hangs on a winding of its own.
    other = next(name for name in engine.wiring.lamps if name.startswith("illumination/"))
    assert FLICKERS not in lamp(engine, (Fault("supply/lamp/rectifier1", "open"),), other)


def test_a_lost_capacitor_makes_a_lamp_matrix_flicker_and_a_dark_lamp_never_does():
    engine = ENGINES["lantern_quay"]
    gone = Fault("supply/lamp/capacitor", "open")
    seen = lamp(engine, (gone,), "lamp/C1R1", ALL_LAMPS)
    assert max(seen, key=seen.__getitem__) == FLICKERS
    assert seen[FLICKERS] + seen["dim"] > 0.95
    burnt = Fault("lamp/C1R1/lamp", "burnt out")
    assert lamp(engine, (gone, burnt), "lamp/C1R1", ALL_LAMPS) == {"off": 1.0}


def test_a_flickering_lamp_points_at_what_is_loose_and_all_flickering_at_the_supply():
    wiring = ENGINES["lantern_quay"].wiring
    names = ["lamp/C1R1", "lamp/C3R4", "lamp/C5R2", "lamp/C2R6"]
    one = Case.start(wiring)
    for name in names:
        word = FLICKERS if name == names[0] else "normal"
        one = one.with_finding(Finding(Situation(lamps=(ALL_LAMPS,)), Look("lamp", name), word))
    leader = one.diagnose().causes[0].faults[0]
    assert one.session.engine.possible[Fault(leader.part, leader.mode)].duty  # type: ignore[union-attr]
    assert leader.part.startswith(names[0])
    every = Case.start(wiring)
    for name in names:
        every = every.with_finding(Finding(Situation(lamps=(ALL_LAMPS,)), Look("lamp", name), FLICKERS))
    parts = [c.faults[0].part for c in every.diagnose().causes[:2]]
    assert all(part.startswith("supply/lamp/") for part in parts), parts


def test_words_are_mixed_without_losing_any():
    assert doubled((("fires", 0.8), ("weak", 0.2)), 0.5) == (("fires", 0.4), (TWICE, 0.4), ("weak", 0.2))
    assert doubled((("nothing", 1.0),), 0.5) == (("nothing", 1.0),)
    for found in (
        flickering((("dim", 0.7), ("off", 0.3)), 0.4),
        unsteady((("off", 1.0),), (("normal", 1.0),)),
        unsteady((("off", 1.0),), (("off", 1.0),)),
    ):
        assert sum(p for _, p in found) == pytest.approx(1.0)
    assert dict(flickering((("dim", 0.7), ("off", 0.3)), 0.4))["off"] == pytest.approx(0.3)
    assert dict(flickering((("normal", 1.0),), 0.4))[FLICKERS] == pytest.approx(0.4)


@pytest.mark.parametrize(
    ("words", "seen"),
    [
        ("lamp C1R1 flickers", FLICKERS),
        ("lamp C1R1 flickering", FLICKERS),
        ("coil 31 fires twice", TWICE),
        ("coil 31 double fires", TWICE),
        ("coil left flipper/power flutters", TWICE),
    ],
)
def test_people_can_say_so(words, seen):
    assert f"seen: {seen}" in report_text([words]).replace(chr(34), "").replace(chr(39), "")
