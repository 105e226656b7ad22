"""The smallest set of switches to hold, against trying every set on small machines."""

from __future__ import annotations

from itertools import combinations

import pytest

from matrixdoc.case.case import Case
from matrixdoc.checks.situation import Finding, Look, Situation
from matrixdoc.definition.library import load_machine, machine_from_text
from matrixdoc.diagnosis.holding import SAME, THOROUGH, Limits, search_holds, smallest_hold
from matrixdoc.faults.priors import Fault

SMALL = """
title: four by three
matrices:
  switch:
    style: sink strobe, {idle}
    chart: |
      a1 | a2 | a3 | a4
      b1 | b2 | b3 | b4
      c1 | c2 | c3 | c4
"""


def readings(engine, suspects, held):
    look = Look("reads")
    return {engine.predict(s, Situation(held=held), look)[0][0] for s in suspects}


def by_trying(engine, suspects) -> tuple[int, int]:
    """(fewest switches, groups) over every set of up to four switches of the machine."""
    every = sorted(engine.wiring.switches)
    best = (0, 1)
    for size in range(1, 5):
        groups = max(len(readings(engine, suspects, held)) for held in combinations(every, size))
        if groups > best[1]:
            best = (size, groups)
    return best


@pytest.mark.parametrize("idle", ["weak idle", "floating idle", "push-pull"])
@pytest.mark.parametrize(
    "suspects",
    [
        ((), (Fault("switch/C2R2/diode", "shorted"),)),
        ((Fault("switch/C2R2/diode", "shorted"),), (Fault("switch/C1R1/diode", "shorted"),)),
        ((), (Fault("switch/C3R3/diode", "shorted"),), (Fault("switch/C3R1/diode", "shorted"),)),
        ((Fault("switch/C2R2/diode", "shorted"),), (Fault("switch/C2R2/contact", "stuck closed"),)),
    ],
)
def test_no_smaller_set_does_as_well(idle: str, suspects) -> None:
    engine = Case.start(machine_from_text(SMALL.replace("{idle}", idle), "small"))._engine.engine
    found = smallest_hold(engine.generator, engine.predictor, suspects)
    size, groups = by_trying(engine, suspects)
    assert found is not None
    assert found.groups == groups == len(suspects)
    assert len(found.held) == size
    assert readings(engine, suspects, found.held) == set(found.readings)


def test_a_bad_diode_needs_three_corners_with_weak_columns() -> None:
    """Common practice, no source: three corners of a rectangle bring a shorted diode to light."""
    engine = Case.start(machine_from_text(SMALL.replace("{idle}", "weak idle"), "small"))._engine.engine
    diode = Fault("switch/C2R2/diode", "shorted")
    found = smallest_hold(engine.generator, engine.predictor, [(), (diode,)])
    assert found is not None
    assert len(found.held) == 3
    assert "switch/C2R2" in found.held
    assert found.readings[0] == frozenset(found.held)
    fourth = found.readings[1]
    assert isinstance(fourth, frozenset)
    assert len(fourth) == 4


def test_nothing_separates_what_the_scan_cannot_show() -> None:
    engine = Case.start(machine_from_text(SMALL.replace("{idle}", "weak idle"), "small"))._engine.engine
    same = [(Fault("switch/C1/pin", "open"),), (Fault("switch/C1/wire", "open"),)]
    assert smallest_hold(engine.generator, engine.predictor, same) is None


def test_a_ghost_is_offered_its_hold() -> None:
    wiring = load_machine("lantern_quay")
    engine = Case.start(wiring)._engine.engine
    held = ("switch/C1R1", "switch/C1R2", "switch/C2R1")
    shorted = (Fault("switch/C1R1/diode", "shorted"),)
    seen = engine.predict(shorted, Situation(held=held), Look("reads"))[0][0]
    case = Case.start(wiring).with_finding(Finding(Situation(held=held), Look("reads"), seen))
    causes = [tuple(Fault(f.part, f.mode) for f in c.faults) for c in case.diagnose().causes[:3]]
    looks = [c.check for c in case.checks(6) if c.check.look.kind == "reads"]
    assert any(
        len({engine.predict(c, check.situation, check.look)[0][0] for c in causes}) == len(causes)
        for check in looks
    )


def test_a_thorough_search_says_what_it_tried_and_never_does_worse() -> None:
    engine = Case.start(machine_from_text(SMALL.replace("{idle}", "weak idle"), "small"))._engine.engine
    diodes = [(Fault(f"switch/{cell}/diode", "shorted"),) for cell in ("C1R1", "C2R2", "C3R3", "C4R1")]
    suspects = [(), *diodes]
    quick = search_holds(engine.generator, engine.predictor, suspects, Limits())
    thorough = search_holds(engine.generator, engine.predictor, suspects, THOROUGH)
    assert quick.best is not None
    assert thorough.best is not None
    assert thorough.best.groups >= max(quick.best.groups, by_trying(engine, suspects)[1])
    # Of 12 switches there are 12, 66, 220 and 495 sets of one to four.
    assert thorough.usable == 12
    assert thorough.tried == (12, 66, 220, 495)[: len(thorough.tried)]
    assert thorough.complete == frozenset(range(1, len(thorough.tried) + 1))
    held = Situation(held=thorough.best.held)
    predictions = [engine.predict(suspect, held, Look("reads")) for suspect in suspects]
    for one, two in combinations(range(len(suspects)), 2):
        same = sum(min(p, dict(predictions[two]).get(o, 0.0)) for o, p in predictions[one])
        if thorough.best.split[one] != thorough.best.split[two]:
            assert same < SAME
    smaller = [engine.predict(s, Situation(held=thorough.best.held[1:]), Look("reads")) for s in suspects]
    assert len({p[0][0] for p in smaller}) <= thorough.best.groups
