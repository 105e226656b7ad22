"""Conservation laws on every shipped machine, solved whole: charge at each net, power in and out."""

from __future__ import annotations

import random

import pytest

from matrixdoc.circuit.netlist import Circuit, Instant, OperatingPoint, build_circuit, operating_points
from matrixdoc.definition.library import machine_from_text
from tests.proof.compare import scaled, seed
from tests.proof.damage import patches_of, random_damage
from tests.proof.deck import Damage, Moment, is_direct
from tests.proof.definitions import SHIPPED, text_of
from tests.proof.expansion import expand
from tests.proof.machine import EARTH, Element, Machine

MOMENTS = 1
LEAK_A = 1e-9
"""What a net may miss: g_min (1e-12 S) at some tens of volts, and rounding."""


def whole_moment(rng: random.Random, machine: Machine) -> Moment:
    """Something on in every part of the machine, and up to four things wrong (nothing earthed: what
    flows to ground beside a part is no current of its two ends)."""
    on: set[str] = set()
    for grid in (*machine.switches.values(), *machine.lamps.values()):
        on.add(grid.drivers[rng.choice(grid.phases)].output)
        if grid.name in machine.lamps:
            on |= {grid.drivers[k].output for k in (*grid.columns, *grid.rows) if k not in grid.phases}
        else:
            on |= {cell.element for cell in rng.sample(list(grid.cells.values()), 8)}
    for winding in rng.sample(list(machine.windings.values()), min(3, len(machine.windings))):
        on |= {*winding.outputs, *winding.pressed, *winding.resting}
    on |= set(machine.resting)
    direct = [r for r, e in machine.elements.items() if is_direct(r, e)]
    damage: dict[str, Damage] = {}
    while len(damage) < rng.choice([0, 2, 4]):
        reference = rng.choice(direct)
        made = random_damage(rng, machine.elements[reference].kind)
        if made.earthed_ohm is None:
            damage[reference] = made
    return Moment(frozenset(on), damage)


def ends_of(part: Element, moment: Moment) -> tuple[int, int]:
    """The two terminals between which a part carries its current now."""
    if len(part.nets) < 3:
        return 0, 1
    damage = moment.damage.get(part.reference, Damage())
    on = damage.stuck == "active" if damage.stuck else part.reference in moment.on
    active, idle = (2, 1) if part.kind == "changeover" else (1, 2)
    return 0, active if on else idle


def solved(circuit: Circuit, machine: Machine, moment: Moment) -> OperatingPoint:
    """Every net and every part at that moment, nothing reduced."""
    nets = {circuit.parts[r].nets[n] for r, e in machine.elements.items() for n in range(len(e.nets))}
    parts = tuple(r for r, e in machine.elements.items() if is_direct(r, e))
    instant = Instant(moment.on, patches_of(circuit, moment), tuple(sorted(nets)), parts)
    return operating_points(circuit, [instant], reduce=False)[0]


@pytest.mark.parametrize("name", SHIPPED)
def test_charge_and_power_are_conserved(name, record_property):
    text = text_of(name, 0)
    machine, circuit = expand(text), build_circuit(machine_from_text(text))
    worst_a = worst_w = 0.0
    for number in range(scaled(MOMENTS)):
        rng = random.Random(f"{seed()} {name} {number} whole")
        moment = whole_moment(rng, machine)
        # A part across which something lies carries two currents between its ends; with three
        # terminals these may end at different ones: such damage is left to the other tests.
        across = [reference for reference, damage in moment.damage.items() if damage.across_ohm is not None]
        if any(len(machine.elements[reference].nets) > 2 for reference in across):
            continue
        point = solved(circuit, machine, moment)
        assert point.converged
        balance: dict[str, float] = {}
        volts: dict[str, float] = {EARTH: 0.0}
        heat = turnover = 0.0
        for reference, amps in point.amps.items():
            element = machine.elements[reference]
            for net, other in zip(element.nets, circuit.parts[reference].nets, strict=True):
                volts[net] = 0.0 if net == EARTH else point.volts[other]
            first, second = ends_of(element, moment)
            near, far = element.nets[first], element.nets[second]
            balance[near] = balance.get(near, 0.0) - amps
            balance[far] = balance.get(far, 0.0) + amps
            power = amps * (volts[near] - volts[far])
            # Only a TTL-type input, which pushes current out of itself, gives power.
            gives = element.kind == "sensing" and element.values["source_saturation_a"] > 0.0
            assert power >= (-1e-3 if gives else -1e-9), (seed(), moment, reference)
            heat += power
            turnover += abs(amps)
        delivered = 0.0
        for rail in machine.rails.values():
            amps = -balance.pop(rail.net, 0.0)
            if rail.stiff:
                assert volts.get(rail.net, rail.nominal_v) == pytest.approx(rail.nominal_v)
            else:
                source = (rail.open_v - volts.get(rail.net, rail.open_v)) / rail.source_ohm
                assert amps == pytest.approx(source, abs=1e-6, rel=1e-6), (seed(), moment, rail)
            delivered += amps * volts.get(rail.net, 0.0)
        balance.pop(EARTH)
        net, missing = max(balance.items(), key=lambda entry: abs(entry[1]))
        worst_a, worst_w = max(worst_a, abs(missing)), max(worst_w, abs(delivered - heat))
        assert abs(missing) <= LEAK_A + 1e-9 * turnover, (seed(), moment, net, missing)
        assert delivered == pytest.approx(heat, rel=1e-6, abs=1e-6), (seed(), moment)
        assert heat > 0.01
    record_property("proof conservation", f"{name}: worst net {worst_a:.2e} A, worst power {worst_w:.2e} W")
