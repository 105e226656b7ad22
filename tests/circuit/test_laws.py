"""Laws that hold in any circuit, on random ones: balance at each net, power in = heat, no change from
a patch that changes nothing, the same answer with and without reduction."""

from __future__ import annotations

import math
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from matrixdoc.circuit.netlist import Instant, Lead, build_circuit, operating_points
from matrixdoc.circuit.patch import Patch
from matrixdoc.definition.wiring import GROUND
from tests.circuit.wirings import WiringBuilder, lamp_matrix, switch_matrix

THERMAL_V = 0.025865
"""k T / q at 27 C, from memory; written here so that the code's own constant is checked too."""


def random_wiring(seed: int, *, leak_a: float, stiff: bool) -> tuple[WiringBuilder, list[str]]:
    """Resistors, diodes, contacts and wires between a few nets; every net is held by at most 10 kohm."""
    rng = random.Random(seed)
    builder = WiringBuilder(f"random {seed}")
    builder.supply(
        "main", "rail/main", rng.choice([5.0, 12.0, 24.0]), stiff=stiff, ohm=rng.choice([0.1, 1.0, 20.0])
    )
    nets = [f"net{number}" for number in range(rng.randint(2, 9))]
    everywhere = [*nets, GROUND, "rail/main"]
    for number, net in enumerate(nets):
        other = rng.choice([GROUND, "rail/main"] if number == 0 else [GROUND, "rail/main", *nets[:number]])
        builder.add(
            f"hold{number}",
            "resistor",
            net,
            other,
            ohm=10 ** rng.uniform(0, 4) if other in (GROUND, "rail/main") else 10 ** rng.uniform(-2, 2),
        )
    for number in range(rng.randint(1, 12)):
        a, b = rng.sample(everywhere, 2)
        kind = rng.choice(["resistor", "diode", "diode", "contact", "wire", "joint"])
        if kind == "diode":
            builder.add(
                f"part{number}",
                kind,
                a,
                b,
                saturation_a=leak_a,
                emission=rng.choice([1.0, 1.9]),
                series_ohm=rng.choice([0.01, 0.6, 5.0]),
            )
        else:
            builder.add(f"part{number}", kind, a, b, ohm=10 ** rng.uniform(-2, 5))
    return builder, nets


def instant_of(builder: WiringBuilder, nets: list[str], seed: int, **more) -> Instant:
    rng = random.Random(seed + 1)
    contacts = [name for name, part in builder.parts.items() if part.kind == "contact"]
    return Instant(
        frozenset(name for name in contacts if rng.random() < 0.6),
        {},
        tuple(nets),
        tuple(builder.parts),
        **more,
    )


@settings(max_examples=150, deadline=None, derandomize=True)
@given(st.integers(0, 10**6), st.booleans())
def test_reduction_changes_nothing(seed, stiff):
    # 2e-6 V: what g_min (1e-12 S) at eliminated nets and leakage of 1e-14 A do behind 10 kohm at 24 V is
    # below 1e-6 V.
    builder, nets = random_wiring(seed, leak_a=1e-14, stiff=stiff)
    circuit = build_circuit(builder.build())
    instant = instant_of(builder, nets, seed)
    small = operating_points(circuit, [instant])[0]
    whole = operating_points(circuit, [instant], reduce=False)[0]
    assert small.converged
    assert whole.converged
    for net in nets:
        assert small.volts[net] == pytest.approx(whole.volts[net], abs=2e-6)
    for name in builder.parts:
        assert small.amps[name] == pytest.approx(whole.amps[name], abs=1e-6, rel=1e-6)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.integers(0, 10**6))
def test_asking_for_less_gives_the_same(seed):
    builder, nets = random_wiring(seed, leak_a=1e-14, stiff=True)
    circuit = build_circuit(builder.build())
    everything = operating_points(circuit, [instant_of(builder, nets, seed)])[0]
    active = instant_of(builder, nets, seed).active
    for net, point in zip(
        nets, operating_points(circuit, [Instant(active, {}, (net,)) for net in nets]), strict=True
    ):
        assert point.volts[net] == pytest.approx(everything.volts[net], abs=2e-6)


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.integers(0, 10**6), st.booleans())
def test_balance_and_power(seed, stiff):
    builder, nets = random_wiring(seed, leak_a=4e-9, stiff=stiff)
    wiring = builder.build()
    circuit = build_circuit(wiring)
    asked = (*nets, "rail/main")
    point = operating_points(
        circuit, [Instant(instant_of(builder, nets, seed).active, {}, asked, tuple(builder.parts))]
    )[0]
    assert point.converged
    into = dict.fromkeys((*asked, GROUND), 0.0)
    volts = {**point.volts, GROUND: 0.0}
    heat = 0.0
    for name, part in builder.parts.items():
        amps = point.amps[name]
        into[part.nets[0]] -= amps
        into[part.nets[1]] += amps
        power = amps * (volts[part.nets[0]] - volts[part.nets[1]])
        assert power >= -1e-9
        heat += power
    largest = max(1.0, *(abs(value) for value in point.amps.values()))
    for net in nets:
        # Kirchhoff's current law; g_min and leakage of dropped junctions may miss (a few 4 nA).
        assert into[net] == pytest.approx(0.0, abs=1e-7 * largest)
    supply_w = -into["rail/main"] * volts["rail/main"]
    assert supply_w == pytest.approx(heat, rel=1e-5, abs=1e-5)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.integers(0, 10**6))
def test_a_patch_to_the_healthy_value_changes_nothing(seed):
    builder, nets = random_wiring(seed, leak_a=4e-9, stiff=False)
    circuit = build_circuit(builder.build())
    instant = instant_of(builder, nets, seed)
    rng = random.Random(seed + 2)
    name = rng.choice(list(builder.parts))
    patches = {name: Patch(values=dict(circuit.values(name)))}
    plain, patched = operating_points(
        circuit, [instant, Instant(instant.active, patches, instant.nets, instant.parts)]
    )
    for net in nets:
        assert patched.volts[net] == pytest.approx(plain.volts[net], abs=1e-9)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.integers(0, 10**6))
def test_junction_currents_obey_the_diode_equation(seed):
    builder, nets = random_wiring(seed, leak_a=4e-9, stiff=True)
    circuit = build_circuit(builder.build())
    instant = instant_of(builder, nets, seed)
    point = operating_points(circuit, [instant])[0]
    volts = {**point.volts, GROUND: 0.0, "rail/main": circuit.wiring.supplies["main"].nominal_v}
    for name, part in builder.parts.items():
        if part.kind != "diode" or point.amps[name] < 1e-6:
            continue
        amps, own = point.amps[name], part.values
        across = amps * own["series_ohm"] + own["emission"] * THERMAL_V * math.log1p(
            amps / own["saturation_a"]
        )
        assert volts[part.nets[0]] - volts[part.nets[1]] == pytest.approx(across, abs=2e-5, rel=2e-5)


@pytest.mark.parametrize("drive", ["strobe_sink", "strobe_push_pull"])
@pytest.mark.parametrize("pull", [None, 10000.0])
def test_switch_matrices_with_random_faults(drive, pull):
    builder = switch_matrix(4, 4, drive=drive, column_pull_ohm=pull)
    wiring = builder.build()
    circuit = build_circuit(wiring)
    rng = random.Random(7)
    rows = tuple(f"switch/R{r}/board" for r in range(1, 5))
    names = [name for name, part in wiring.parts.items()]
    instants = []
    for _ in range(60):
        active = {f"switch/C{rng.randint(1, 4)}/drive"}
        active |= {
            f"switch/C{rng.randint(1, 4)}R{rng.randint(1, 4)}/contact" for _ in range(rng.randint(0, 4))
        }
        patches = {}
        for name in rng.sample(names, 2):
            patches[name] = rng.choice(
                [
                    Patch(absent=True),
                    Patch(shunt_ohm=0.01),
                    Patch(ground_ohm=0.05),
                    Patch(reversed=True),
                    Patch(ground_ohm=1.0, ground_terminal=1),
                    Patch(absent=True, shunt_ohm=500.0),
                ]
            )
        opened = frozenset(rng.sample(names, rng.randint(0, 1)))
        instants.append(Instant(frozenset(active), patches, rows, opened=opened))
    small = operating_points(circuit, instants)
    whole = operating_points(circuit, instants, reduce=False)
    for instant, one, other in zip(instants, small, whole, strict=True):
        assert one.converged
        assert other.converged
        for net in rows:
            if net in one.floating:
                continue
            # 100 uV: dropped junctions leak up to 4.4 nA each into 1 to 10 kohm.
            assert one.volts[net] == pytest.approx(other.volts[net], abs=1e-4), instant
        assert one.floating == other.floating, instant


@pytest.mark.parametrize("stiff", [True, False])
def test_lamp_matrices_with_random_faults(stiff):
    builder = lamp_matrix(4, 4, stiff=stiff, row_ohm=1.0)
    circuit = build_circuit(builder.build())
    rng = random.Random(11)
    lamps = tuple(f"lamp/C{c}R{r}/lamp" for c in range(1, 5) for r in range(1, 5))
    names = list(builder.parts)
    instants = []
    for _ in range(40):
        active = {f"lamp/C{rng.randint(1, 4)}/drive"} | {
            f"lamp/R{rng.randint(1, 4)}/drive" for _ in range(rng.randint(0, 4))
        }
        patches = {
            name: rng.choice(
                [Patch(absent=True), Patch(shunt_ohm=0.05), Patch(reversed=True), Patch(stuck="active")]
            )
            for name in rng.sample(names, 2)
        }
        instants.append(Instant(frozenset(active), patches, (), lamps))
    for instant, one, other in zip(
        instants,
        operating_points(circuit, instants),
        operating_points(circuit, instants, reduce=False),
        strict=True,
    ):
        for name in lamps:
            assert one.amps[name] == pytest.approx(other.amps[name], abs=1e-6, rel=1e-5), (instant, name)


@pytest.mark.parametrize("lead_ohm", [1000.0, 1e7])
def test_power_off_meter_checks_match_the_whole_machine(lead_ohm):
    builder = switch_matrix(3, 3)
    circuit = build_circuit(builder.build())
    rng = random.Random(3)
    nets = [net for net in circuit.net_names if net != GROUND]
    off = {"rail/logic": (0.0, math.inf)}
    instants = []
    for _ in range(40):
        red, black = rng.sample(nets, 2)
        closed = frozenset({f"switch/C{rng.randint(1, 3)}R{rng.randint(1, 3)}/contact"})
        lead = Lead(red, black, lead_ohm, 0.0 if lead_ohm > 1e6 else 2.5)
        instants.append(Instant(closed, {}, (red, black), leads=(lead,), rails=off))
    for instant, one, other in zip(
        instants,
        operating_points(circuit, instants),
        operating_points(circuit, instants, reduce=False),
        strict=True,
    ):
        red, black = instant.nets
        seen, whole = one.volts[red] - one.volts[black], other.volts[red] - other.volts[black]
        # Junction leakage of dropped branches matters only behind megohms: 4 nA into the 10 Mohm row inputs.
        assert seen == pytest.approx(whole, abs=2e-3), instant
