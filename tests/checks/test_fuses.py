"""What a new fuse does: the gates of IEC 60127-2, and the faults that blow it.

Gates: IEC 60127-2 standard sheet 3 (time-lag, 0.125 to 6.3 A), as printed in a maker's data sheet:
1.5 times the rating >= 60 min; 2.1 times <= 120 s; 2.75 times 0.6 to 10 s; 4 times 0.15 to 3 s;
10 times 20 to 300 ms.
"""

from __future__ import annotations

import itertools

import pytest

from matrixdoc.case.case import Case
from matrixdoc.checks.fuses import AT_ONCE, HOLDS, LATER, gated
from matrixdoc.checks.situation import Finding, Look, Situation
from matrixdoc.definition.library import load_machine
from matrixdoc.faults.priors import Fault

MACHINES = ("bare_chart", "lantern_quay", "kettle_hollow", "glass_orchard", "storm_bureau")


@pytest.mark.parametrize(
    ("ratio", "pulsed", "word"),
    [
        (1.0, False, HOLDS),  # the rating itself
        (1.5, False, HOLDS),  # an hour at least
        (2.1, False, LATER),  # two minutes at most
        (2.75, False, LATER),  # 0.6 to 10 s: nobody calls that at once for sure
        (4.0, False, AT_ONCE),  # 0.15 to 3 s
        (10.0, False, AT_ONCE),
        (2.75, True, HOLDS),  # a pulse of some tens of milliseconds is over before
        (4.0, True, HOLDS),
        (10.0, True, AT_ONCE),  # 20 to 300 ms
    ],
)
def test_the_gates_of_the_standard(ratio: float, pulsed: bool, word: str) -> None:
    found = gated(ratio, pulsed=pulsed)
    assert found[0][0] == word
    assert sum(p for _, p in found) == pytest.approx(1.0)


def test_more_current_never_spares_a_fuse() -> None:
    for pulsed in (False, True):
        holds = [dict(gated(0.1 * n, pulsed=pulsed)).get(HOLDS, 0.0) for n in range(1, 200)]
        assert all(a >= b - 1e-12 for a, b in itertools.pairwise(holds))


@pytest.fixture(scope="module", params=MACHINES)
def engine(request: pytest.FixtureRequest):
    return Case.start(load_machine(request.param))._engine.engine


def word(engine, faults, fuse: str, pulsed: str = "") -> str:
    return str(engine.predict(tuple(faults), Situation(pulsed=pulsed), Look("new fuse", fuse))[0][0])


def test_no_fuse_of_a_healthy_machine_blows(engine) -> None:
    fuses = [p.reference for p in engine.wiring.parts.values() if p.kind == "fuse"]
    assert fuses
    for fuse in fuses:
        assert word(engine, (), fuse) == HOLDS, fuse
        for coil in engine.wiring.coils:
            assert word(engine, (), fuse, coil) == HOLDS, (fuse, coil)


def test_a_shorted_rectifier_or_capacitor_blows_the_fuse_at_the_winding(engine) -> None:
    met = 0
    for supply in engine.wiring.supplies.values():
        fuses = [p for p in supply.ac_parts if engine.model.part(p).kind == "fuse"]
        for part in (*supply.rectifiers[:1], supply.capacitor):
            fault = Fault(part, "shorted")
            if fuses and fault in engine.model.effects:
                assert word(engine, [fault], fuses[0]) == AT_ONCE, (supply.name, part)
                assert word(engine, [Fault(fuses[0], "blown")], fuses[0]) == HOLDS
                met += 1
    assert met > 0


def test_a_grounded_feed_blows_its_own_fuse_and_no_other() -> None:
    engine = Case.start(load_machine("lantern_quay"))._engine.engine
    diode = Fault("coil/4/diode", "shorted")
    assert word(engine, [diode], "feed/lower/fuse") == HOLDS
    assert word(engine, [diode], "feed/lower/fuse", "coil/4") == AT_ONCE
    assert word(engine, [diode], "feed/upper/fuse", "coil/4") == HOLDS


def test_when_a_fuse_blows_points_at_what_blows_it() -> None:
    wiring = load_machine("lantern_quay")
    case = Case.start(wiring)
    case = case.with_finding(Finding(Situation(power=False), Look("fuse", "feed/lower/fuse"), "open"))
    case = case.with_repair(("feed/lower/fuse",), "replace")
    before = case.diagnose().marginals
    case = case.with_finding(Finding(Situation(), Look("new fuse", "feed/lower/fuse"), HOLDS))
    case = case.with_finding(
        Finding(Situation(pulsed="coil/4"), Look("new fuse", "feed/lower/fuse"), AT_ONCE)
    )
    after = case.diagnose()
    own = [("coil/4/diode", "shorted"), ("coil/4/winding", "shorted"), ("coil/4/diode", "reversed")]
    assert sum(after.marginals.get(f, 0.0) for f in own) > 0.3
    for fault in own[:2]:
        assert after.marginals[fault] > 20.0 * before.get(fault, 1e-4)
    leaders = [c.faults[0].part for c in after.causes[:2]]
    assert any(part.startswith("coil/4/") for part in leaders)


def test_a_standing_short_has_blown_the_fuse_before_anybody_looks() -> None:
    """A grounded feed wire: its own fuse measures open, its own coils are dead, the other feed works."""
    engine = Case.start(load_machine("lantern_quay"))._engine.engine
    short = (Fault("feed/lower/wire", "grounded"),)

    def seen(look: Look, situation: Situation) -> object:
        return engine.predict(short, situation, look)[0][0]

    off = Situation(power=False)
    assert seen(Look("fuse", "feed/lower/fuse"), off) == "open"
    assert seen(Look("fuse", "feed/upper/fuse"), off) == "good"
    assert seen(Look("fuse", "supply/coil/fuse"), off) == "good"
    assert seen(Look("coil", "coil/4"), Situation(pulsed="coil/4")) == "nothing"
    assert seen(Look("coil", "coil/5"), Situation(pulsed="coil/5")) == "fires"
    assert seen(Look("new fuse", "feed/lower/fuse"), Situation()) == AT_ONCE


def test_a_fuse_that_blows_again_points_past_itself() -> None:
    """A shorted lamp socket of the general illumination: a new fuse does not help."""
    wiring = load_machine("lantern_quay")
    dark = Finding(Situation(), Look("lamp", "illumination/door/lamp1"), "off")
    lamps = [r for r in wiring.lamps if r.startswith("illumination/door/")]
    case = Case.start(wiring)
    for lamp in lamps:
        case = case.with_finding(Finding(Situation(), Look("lamp", lamp), "off"))
    case = case.with_finding(Finding(Situation(power=False), Look("fuse", "illumination/door/fuse"), "open"))
    fuse = case.diagnose().causes[0].faults[0]
    assert (fuse.part, fuse.mode) == ("illumination/door/fuse", "blown")
    case = case.with_repair(("illumination/door/fuse",), "replace")
    case = case.with_finding(Finding(Situation(), Look("new fuse", "illumination/door/fuse"), AT_ONCE))
    case = case.with_finding(dark)
    leaders = {f.mode for cause in case.diagnose().causes[:3] for f in cause.faults}
    assert leaders & {"shorted", "grounded", "bridged"}
