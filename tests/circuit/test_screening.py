"""Screened answers against the same instants solved one by one, on every shipped machine.

The bounds of ``circuit/screening.py`` are checked from outside: whatever the screen decides, no wanted
voltage or current may differ by more than they allow.
"""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from matrixdoc.circuit.netlist import Instant, Lead, build_circuit, operating_points
from matrixdoc.circuit.operating import _screened
from matrixdoc.circuit.solver import Solver
from matrixdoc.definition.library import load_machine
from matrixdoc.faults.catalogue import load_catalogue
from matrixdoc.faults.conditions import ServiceConditions
from matrixdoc.faults.priors import possible_faults

MACHINES = ("bare_chart", "lantern_quay", "kettle_hollow", "glass_orchard", "storm_bureau")
PATCHES = 80


@pytest.fixture(scope="module", params=MACHINES)
def machine(request: pytest.FixtureRequest):
    circuit = build_circuit(load_machine(request.param))
    return request.param, circuit, possible_faults(circuit, load_catalogue(), ServiceConditions())


def patched(machine, rng: random.Random, active: frozenset[str], near: set[str]) -> list[dict]:
    """Patches of random faults, half of them on parts near the wanted ones."""
    _, circuit, possible = machine
    usable = [f for f in possible if f.part in circuit.part_index and f.part not in circuit.alternating]
    close = [f for f in usable if set(circuit.parts[f.part].nets) & near]
    chosen = rng.sample(usable, min(PATCHES // 2, len(usable)))
    chosen += [rng.choice(close) for _ in range(PATCHES // 2)] if close else []
    found = [{f.part: possible[f].patch} for f in chosen]
    # Two faults at once as well.
    for one, two in zip(found[:8], found[-8:], strict=True):
        if not set(one) & set(two):
            found.append({**one, **two})
    return found


def some_active(circuit, rng: random.Random) -> frozenset[str]:
    drives = [d.output for d in circuit.wiring.drives.values()]
    contacts = [s.contact for s in circuit.wiring.switches.values()]
    return frozenset(rng.sample(drives, min(3, len(drives))) + rng.sample(contacts, min(4, len(contacts))))


def compared(circuit, instants: list[Instant]) -> tuple[int, list]:
    """How many were answered by the screen, and (instant, screened, solved) of each of those."""
    solver = Solver()
    screened = _screened(circuit, instants, solver)
    whole = operating_points(circuit, instants, solver)
    numbers = sorted(screened)
    plain = operating_points(circuit, [instants[n] for n in numbers], solver, screen=False)
    rows = []
    for n, solved in zip(numbers, plain, strict=True):
        assert whole[n] == screened[n]
        rows.append((instants[n], screened[n], solved))
    return len(numbers), rows


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_currents(machine, seed: int) -> None:
    _, circuit, _ = machine
    rng = random.Random(f"currents {seed}")
    wanted = [lamp.element for lamp in circuit.wiring.lamps.values()]
    wanted += [coil.element for coil in circuit.wiring.coils.values() if coil.element]
    if not wanted:
        pytest.fail("every shipped machine has lamps or coils")
    met = 0
    for part in rng.sample(wanted, min(8, len(wanted))):
        active = some_active(circuit, rng)
        base = Instant(active, {}, (), parts=(part,))
        patches = patched(machine, rng, active, set(circuit.parts[part].nets))
        instants = [replace(base, patches=patch) for patch in patches]
        found, rows = compared(circuit, instants)
        met += found
        for instant, screened, solved in rows:
            difference = abs(screened.amps[part] - solved.amps[part])
            assert difference < 1e-6, (part, instant.patches, screened.amps, solved.amps)
    assert met > 0


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_volts(machine, seed: int) -> None:
    _, circuit, _ = machine
    rng = random.Random(f"volts {seed}")
    sensed = [sensor.net for sensor in circuit.wiring.sensors.values() if sensor.net in circuit.net_index]
    met = 0
    for _ in range(8):
        nets = tuple(rng.sample(sensed, min(4, len(sensed))))
        active = some_active(circuit, rng)
        patches = patched(machine, rng, active, set(nets))
        found, rows = compared(circuit, [Instant(active, patch, nets) for patch in patches])
        met += found
        for instant, screened, solved in rows:
            assert screened.floating == solved.floating, (instant.patches, nets)
            for net in nets:
                if net not in solved.floating:
                    difference = abs(screened.volts[net] - solved.volts[net])
                    assert difference < 1e-3, (instant.patches, net, screened.volts, solved.volts)
    assert met > 0


@pytest.mark.parametrize(("lead_ohm", "emf_v"), [(1e7, 0.0), (1000.0, 0.3), (2400.0, 3.0)])
def test_meter_leads(machine, lead_ohm: float, emf_v: float) -> None:
    _, circuit, _ = machine
    rng = random.Random(f"leads {lead_ohm}")
    met = 0
    for _ in range(10):
        red = rng.choice(circuit.net_names[1:])
        touching = [part for part in circuit.parts.values() if red in part.nets]
        # As a meter is used: against ground, or across a part.
        black = rng.choice(["ground", *(net for part in touching for net in part.nets)])
        if red == black:
            continue
        active = frozenset() if emf_v else some_active(circuit, rng)
        rails = (
            {circuit.net_names[rail.net]: (0.0, float("inf")) for rail in circuit.rails} if emf_v else None
        )
        patches = patched(machine, rng, active, {red, black})
        lead = Lead(red, black, lead_ohm, emf_v)
        instants = [
            Instant(active, patch, (red, black), leads=(lead,), rails=rails if emf_v else None)
            for patch in patches
        ]
        found, rows = compared(circuit, instants)
        met += found
        for instant, screened, solved in rows:
            seen, wanted = (point.volts[red] - point.volts[black] for point in (screened, solved))
            if abs(seen - wanted) > 1e-3:
                # On a net that leakage alone decides, the machine with nothing cut off is the judge.
                whole = operating_points(circuit, [instant], reduce=False)[0]
                wanted = whole.volts[red] - whole.volts[black]
            assert abs(seen - wanted) < max(1e-3, 2e-3 * abs(wanted)), (instant.patches, red, black)
    assert met > 0


@pytest.mark.parametrize("seed", [1, 2])
def test_sides_of_levels(machine, seed: int) -> None:
    """With levels, a screened answer lies on the side of each level that solving finds."""
    _, circuit, _ = machine
    rng = random.Random(f"levels {seed}")
    sensors = [s for s in circuit.wiring.sensors.values() if s.net in circuit.net_index]
    met = 0
    for _ in range(8):
        chosen = rng.sample(sensors, min(4, len(sensors)))
        levels = {sensor.net: (sensor.low_v, sensor.high_v) for sensor in chosen}
        active = some_active(circuit, rng)
        patches = patched(machine, rng, active, set(levels))
        instants = [Instant(active, patch, tuple(levels), levels=levels) for patch in patches]
        found, rows = compared(circuit, instants)
        met += found
        for instant, screened, solved in rows:
            assert screened.floating == solved.floating
            for net, some in levels.items():
                for level in some:
                    sides = [point.volts[net] > level for point in (screened, solved)]
                    assert sides[0] == sides[1] or net in solved.floating, (instant.patches, net, level)
    assert met > 0
