"""When the logic stops: 74LS data sheets (supply 4.75 to 5.25 V), and a supply followed in time."""

from __future__ import annotations

import itertools
import math

import pytest

from matrixdoc.case.case import Case
from matrixdoc.checks.brown_out import works_at
from matrixdoc.checks.situation import NO_LOGIC, Look, Situation
from matrixdoc.circuit.patch import Patch
from matrixdoc.circuit.supplies import FORWARD_V, rail_source
from matrixdoc.definition.library import load_machine
from matrixdoc.faults.priors import Fault

ENGINES = {
    m: Case.start(load_machine(m)).session.engine  # type: ignore[union-attr]
    for m in ("bare_chart", "lantern_quay", "glass_orchard")
}


def test_the_data_books_limit_runs_and_a_fifth_less_does_not():
    assert works_at(4.75 / 5.0) > 0.99
    assert works_at(4.0 / 5.0) == 0.0
    assert 0.2 < works_at(4.4 / 5.0) < 0.8
    assert all(a <= b for a, b in itertools.pairwise(works_at(n / 200.0) for n in range(201)))


def followed(winding_v, capacitance_f, load_a, dropout_v, nominal_v, half=False):
    """Least volts of a regulated rail over a mains cycle, step by step: 60 Hz, two diode drops, a capacitor
    that feeds a constant current."""
    step = 1.0 / 60.0 / 20000
    volts, least = 0.0, math.inf
    for n in range(4 * 20000):
        wave = math.sqrt(2.0) * winding_v * math.sin(2.0 * math.pi * n / 20000)
        source = (max(0.0, wave) if half else abs(wave)) - 2.0 * FORWARD_V
        volts = max(source, volts - load_a * step / capacitance_f, 0.0)
        if n >= 2 * 20000:
            least = min(least, volts)
    return min(nominal_v, max(0.0, least - dropout_v))


@pytest.mark.parametrize("machine", sorted(ENGINES))
@pytest.mark.parametrize("share", [1.0, 0.5, 0.3, 0.2])
@pytest.mark.parametrize("half", [False, True])
def test_what_the_rail_dips_to_is_that_of_the_supply_followed_in_time(machine, share, half):
    circuit = ENGINES[machine].circuit
    supply = circuit.wiring.supplies["logic"]
    whole = circuit.values(supply.capacitor)["capacitance_f"]
    patches = {supply.capacitor: Patch(values={"capacitance_f": share * whole})}
    if half:
        patches[supply.rectifiers[0]] = Patch(absent=True)
    source = rail_source(circuit, "logic", patches, frozenset())
    dropout = circuit.values(supply.regulator).get("dropout_v", 2.0)
    true = followed(supply.winding_v, share * whole, supply.load_a, dropout, supply.nominal_v, half=half)
    # The ripple formula is an upper estimate (it lets the capacitor feed the load all the time).
    ripple = supply.load_a / ((1.0 if half else 2.0) * 60.0 * share * whole)
    assert source.least_v <= true + 1e-6
    assert source.least_v >= true - 0.45 * ripple - 0.05
    assert source.hertz in (0.0, 60.0 if half else 120.0)


def test_a_tired_capacitor_that_leaves_the_mean_lets_the_logic_die_by_its_dips():
    engine = ENGINES["glass_orchard"]
    tired = Fault("supply/logic/capacitor", "tired")
    source = rail_source(
        engine.circuit, "logic", {tired.part: engine.model.effects[tired].patch}, frozenset()
    )
    supply = engine.wiring.supplies["logic"]
    assert source.open_volts - source.source_ohm * supply.load_a > 0.95 * supply.nominal_v
    assert source.least_v < 0.8 * supply.nominal_v
    assert engine.predict((tired,), Situation(), Look("reads")) == ((frozenset({NO_LOGIC}), 1.0),)
    lamp = next(iter(engine.wiring.matrices["lamp"].cells)).reference
    assert engine.predict((tired,), Situation(lamps=(lamp,)), Look("lamp", lamp)) == ((NO_LOGIC, 1.0),)


def test_a_rail_between_living_and_not_is_a_chance():
    """A fifth of the capacitor is left: 4.48 V at the bottom of the ripple."""
    engine = ENGINES["lantern_quay"]
    seen = engine.predict((Fault("supply/logic/capacitor", "tired"),), Situation(), Look("reads"))
    dead = dict(seen).get(frozenset({NO_LOGIC}), 0.0)
    assert 0.1 < dead < 0.9
    assert sum(p for _, p in seen) == pytest.approx(1.0)
