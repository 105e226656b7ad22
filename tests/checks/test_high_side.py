"""A coil that is driven on the supply's side, from its definition to what a person sees.

Expected results follow from the circuit: the drive between supply and coil, the other lug at ground; a
shorted drive locks the coil on, a shorted diode or winding loads the feed while the drive is on, and a lead
from the driven lug to ground never fires it (common practice, no source).
"""

from __future__ import annotations

import pytest

from matrixdoc.case.case import Case
from matrixdoc.checks import acts
from matrixdoc.checks.situation import Check, Look, Situation, jumper
from matrixdoc.definition.library import machine_from_text
from matrixdoc.definition.wiring import GROUND
from matrixdoc.diagnosis.harm import would_harm
from matrixdoc.faults.priors import Fault

TEXT = """
title: High side
feeds:
  some: {supply: coil, fuse: {name: F2, rating: 3.15 A, blow: slow}, chain: [1, 2, 3]}
coils:
  1: {feed: some, resistance: 12 ohm}
  2: {feed: some, resistance: 12 ohm, style: STYLE}
  3: {feed: some, resistance: 20 ohm}
"""


@pytest.fixture(scope="module", params=["high-side PNP", "high-side Darlington", "high-side MOS"])
def engine(request: pytest.FixtureRequest):
    return Case.start(machine_from_text(TEXT.replace("STYLE", request.param)))._engine.engine


def seen(engine, faults, situation, look):
    outcome, chance = engine.predict(tuple(faults), situation, look)[0]
    assert chance > 0.9
    return outcome


@pytest.mark.parametrize(
    ("fault", "pulsed", "resting"),
    [
        (None, "fires", frozenset()),
        (("driver", "shorted"), "locked on", frozenset({"coil/2"})),
        (("driver", "open"), "nothing", frozenset()),
        (("winding", "open"), "nothing", frozenset()),
        (("return wire", "open"), "nothing", frozenset()),
        (("wire", "open"), "nothing", frozenset()),
        (("feed", "open"), "nothing", frozenset()),
        (("diode", "shorted"), "nothing", frozenset()),
        (("diode", "open"), "fires", frozenset()),
        (("logic", "stuck active"), "locked on", frozenset({"coil/2"})),
    ],
)
def test_what_a_fault_shows(engine, fault, pulsed, resting) -> None:
    faults = [Fault(f"coil/2/{fault[0]}", fault[1])] if fault else []
    assert all(one in engine.model.effects for one in faults)
    assert seen(engine, faults, Situation(pulsed="coil/2"), Look("coil", "coil/2")) == pulsed
    assert seen(engine, faults, Situation(), Look("resting coils")) == resting


def test_what_lies_before_it_in_the_chain_feeds_it_too(engine) -> None:
    for part, dead in (("coil/1/feed", {1, 2, 3}), ("coil/2/feed", {2, 3}), ("coil/2/driver", {2})):
        for number in (1, 2, 3):
            coil = f"coil/{number}"
            outcome = seen(engine, [Fault(part, "open")], Situation(pulsed=coil), Look("coil", coil))
            assert outcome == ("nothing" if number in dead else "fires")


def test_its_driven_lug_is_never_grounded(engine) -> None:
    wiring = engine.wiring
    grounds = {
        lead
        for reference in wiring.parts
        for check in engine.generator.for_part(reference)
        for lead in check.situation.jumpers
        if GROUND in lead
    }
    assert any("coil/1/driven" in lead for lead in grounds)
    assert not any("coil/2/" in lead for lead in grounds)
    assert acts.driven_lug(engine.model, wiring.coils["coil/2"]) == ""
    offered = Check(
        title="by hand",
        kind="look",
        situation=Situation(jumpers=(jumper("coil/2/driven", GROUND),)),
        look=Look("coil", "coil/2"),
        minutes=1.0,
    )
    assert would_harm(engine.predictor, offered, (), ())


def test_volts_of_its_lugs(engine) -> None:
    def volts(net: str, pulsed: str = "") -> float:
        look = Look("meter", function="volts", red=net, black=GROUND)
        return float(seen(engine, [], Situation(pulsed=pulsed), look))

    supply = volts("coil/2/supplied")
    assert supply > 30.0
    assert abs(volts("coil/2/driven")) < 0.1
    assert abs(volts("coil/2/grounded")) < 0.1
    assert volts("coil/1/driven") == pytest.approx(volts("coil/1/supplied"), abs=0.1)


def test_a_short_in_its_circuit_pulls_the_feed_of_the_others_down(engine) -> None:
    fault = Fault("coil/2/driver", "shorted")
    effect = engine.model.effects[fault]
    assert effect in engine.predictor.coils.pulled_down("coil/1", [effect])
