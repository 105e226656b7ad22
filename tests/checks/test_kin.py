"""Faults that a look cannot tell apart, against working each of them out by itself."""

from __future__ import annotations

import random

import pytest

from matrixdoc.case.case import Case
from matrixdoc.checks.kin import find_kin, find_line_kin
from matrixdoc.checks.situation import ALL_LAMPS, Look, Situation
from matrixdoc.definition.library import load_machine

MACHINES = ("bare_chart", "lantern_quay", "kettle_hollow", "glass_orchard", "storm_bureau")


@pytest.fixture(scope="module", params=MACHINES)
def engine(request: pytest.FixtureRequest):
    return Case.start(load_machine(request.param))._engine.engine


def looks(engine, rng: random.Random) -> list[tuple[Situation, Look]]:
    wiring = engine.wiring
    found = [(Situation(), Look("reads")), (Situation(), Look("resting coils"))]
    switches = [r for r, s in wiring.switches.items() if s.matrix]
    found += [(Situation(held=(r,)), Look("reads")) for r in rng.sample(switches, min(3, len(switches)))]
    lamps = [r for r, lamp in wiring.lamps.items() if lamp.matrix]
    found += [(Situation(lamps=(ALL_LAMPS,)), Look("lamp", r)) for r in rng.sample(lamps, min(2, len(lamps)))]
    coils = list(engine.predictor.coils.coils)
    found += [(Situation(pulsed=c), Look("coil", c)) for c in rng.sample(coils, min(2, len(coils)))]
    return found


def test_a_stand_in_shows_what_the_fault_shows(engine) -> None:
    rng = random.Random(7)
    model, predictor = engine.model, engine.predictor
    kin = find_kin(model)
    line_kin = find_line_kin(model, kin)
    close = sorted({(f, g) for f, g in kin.items() if f != g})
    wide = sorted({(f, g) for f, g in line_kin.items() if f != g})
    assert close
    assert wide
    chosen = {"": rng.sample(close, min(40, len(close))), "wide": rng.sample(wide, min(40, len(wide)))}
    # Each by itself: every fault is its own kin.
    predictor._kin = {f: f for f in model.effects}
    predictor._line_kin = dict(predictor._kin)
    predictor._known.clear()
    for situation, look in looks(engine, rng):
        # What a short of a whole line does to coils depends on its milliohms: see ``kin``.
        some = [*chosen[""], *(chosen["wide"] if look.kind in ("reads", "lamp") else [])]
        predictor.prepare([(situation, look, (f,)) for pair in some for f in pair])
        for one, two in some:
            first = predictor.while_there(situation, look, (one,))
            second = predictor.while_there(situation, look, (two,))
            assert first[0][0] == second[0][0], (one, two, situation, look, first, second)
            assert dict(first) == pytest.approx(dict(second), abs=0.05)
    assert len(set(line_kin.values())) < len(set(kin.values()))
