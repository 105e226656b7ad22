"""The table of kinds, and what each patch does at the terminals of each kind."""

from __future__ import annotations

import math

import pytest

from matrixdoc.circuit.kinds import load_kind_table, read_kind_table
from matrixdoc.circuit.netlist import Instant, Lead, build_circuit, operating_points
from matrixdoc.circuit.patch import Patch
from matrixdoc.definition.wiring import GROUND, Part
from tests.circuit.wirings import WiringBuilder

TABLE = load_kind_table()
CONTRACT = """
    wire joint pin contact diode resistor capacitor lamp led coil fuse strobe_sink strobe_push_pull
    strobe_source strobe_source_push_pull low_side low_side_npn low_side_nmos high_side_pnp
    high_side_darlington high_side_pmos thyristor changeover sensing winding rectifier electrolytic
    regulator logic_output link_pin pre_driver decoder logic_input enable relay_coil_driver emitter
    phototransistor bridge
"""
SOLVED = [name for name, kind in TABLE.kinds.items() if kind.branches]
TWO_WAY = ["wire", "joint", "pin", "resistor", "lamp", "coil", "fuse"]


def alone(kind, *, active=False, patch=None, volts=12.0, between=(0, 1), opened=False):
    """Current into terminal ``between[0]`` of one part with 12 V behind 10 ohm across two terminals."""
    names = TABLE.kinds[kind].terminals
    nets = [f"t{number}" for number in range(len(names))]
    builder = WiringBuilder()
    builder.add("part", kind, *nets)
    circuit = build_circuit(builder.build())
    red, black = (nets[number] for number in between)
    instant = Instant(
        frozenset({"part"} if active else ()),
        {"part": patch} if patch else {},
        (red, black),
        leads=(Lead(red, black, 10.0, volts),),
        opened=frozenset({"part"} if opened else ()),
    )
    (point,) = operating_points(circuit, [instant])
    assert point.converged
    return (volts - (point.volts[red] - point.volts[black])) / 10.0


def test_every_kind_of_the_contract_is_there_and_no_other():
    assert sorted(TABLE.kinds) == sorted(CONTRACT.split())


def test_every_value_and_type_has_a_source():
    sources = [value.source for kind in TABLE.kinds.values() for value in kind.values.values()]
    sources += [row.source for row in TABLE.types.values()] + [
        row.source for row in TABLE.thresholds.values()
    ]
    assert len(sources) > 100
    assert all(len(source) > 3 for source in sources)


def test_units_are_in_the_names():
    plain = {"emission", "reverse_emission", "source_emission", "tolerance", "cold_ratio"}
    units = ("ohm", "_v", "_a", "_w", "_h", "_f")
    for kind in TABLE.kinds.values():
        for name in kind.values:
            assert name in plain or name.endswith(units), (kind.name, name)


def test_a_default_type_carries_the_values_of_its_kind():
    checked = 0
    for kind in TABLE.kinds.values():
        row = TABLE.types.get((kind.name, kind.default_type))
        if row is not None and kind.name != "rectifier":
            checked += 1
            assert {name: kind.values[name].value for name in row.values} == dict(row.values)
    assert checked >= 8


def test_thresholds_are_in_order():
    for row in TABLE.thresholds.values():
        assert 0.0 < row.low_v < row.high_v < row.supply_v


@pytest.mark.parametrize("kind", SOLVED)
def test_absent_and_opened_pass_nothing(kind):
    """Under 1 uA at 12 V both ways."""
    for volts in (12.0, -12.0):
        for active in (False, True):
            assert abs(alone(kind, active=active, patch=Patch(absent=True), volts=volts)) < 1e-6
            assert abs(alone(kind, active=active, volts=volts, opened=True)) < 1e-6


@pytest.mark.parametrize("kind", [*SOLVED, "capacitor", "bridge"])
def test_a_shunt_shorts_both_ways(kind):
    """12 V behind 10 ohm: 1.2 A."""
    for volts in (12.0, -12.0):
        amps = alone(kind, patch=Patch(absent=True, shunt_ohm=0.001), volts=volts)
        assert amps == pytest.approx(volts / 10.0, rel=2e-3)


@pytest.mark.parametrize("kind", TWO_WAY)
def test_a_resistance_is_its_value(kind):
    ohm = TABLE.values(kind)["ohm"]
    # No rail is live, so a lamp is cold.
    ohm = TABLE.values(kind).get("cold_ohm", ohm)
    assert alone(kind) == pytest.approx(12.0 / (10.0 + ohm), rel=1e-6)
    assert alone(kind, patch=Patch(values={"ohm": 30.0})) == pytest.approx(12.0 / 40.0, rel=1e-6)


@pytest.mark.parametrize("kind", ["diode", "led", "emitter"])
def test_a_junction_turns_round(kind):
    assert alone(kind) > 0.02
    assert abs(alone(kind, volts=-4.0)) < 1e-6
    assert abs(alone(kind, patch=Patch(reversed=True), volts=4.0)) < 1e-6
    assert alone(kind, patch=Patch(reversed=True), volts=-12.0) == pytest.approx(-alone(kind), rel=1e-6)


CONTROLLED = [
    # kind, terminals, volts, active?, least amperes, most amperes
    ("contact", (0, 1), 12.0, True, 1.1, 1.2),
    ("contact", (0, 1), 12.0, False, 0.0, 1e-9),
    ("strobe_sink", (0, 1), 12.0, True, 0.55, 0.65),
    ("strobe_sink", (0, 1), 12.0, False, 0.0, 1e-9),
    ("strobe_push_pull", (0, 1), 12.0, True, 0.55, 0.65),
    ("strobe_push_pull", (0, 2), 12.0, False, 0.55, 0.65),
    ("strobe_push_pull", (0, 2), 12.0, True, 0.0, 1e-9),
    ("strobe_source", (1, 0), 12.0, True, 0.55, 0.65),
    ("strobe_source_push_pull", (1, 0), 12.0, True, 0.55, 0.65),
    ("strobe_source_push_pull", (0, 2), 12.0, False, 0.55, 0.65),
    ("low_side", (0, 1), 12.0, True, 1.0, 1.15),
    ("low_side", (0, 1), 12.0, False, 0.0, 1e-6),
    ("low_side", (1, 0), 12.0, False, 0.9, 1.15),
    ("low_side_npn", (0, 1), 12.0, True, 0.95, 1.1),
    ("low_side_nmos", (0, 1), 12.0, True, 1.1, 1.2),
    ("low_side_nmos", (1, 0), 12.0, False, 1.0, 1.15),
    ("high_side_pnp", (1, 0), 12.0, True, 1.1, 1.2),
    ("high_side_pnp", (1, 0), 12.0, False, 0.0, 1e-9),
    ("high_side_darlington", (1, 0), 12.0, True, 1.0, 1.15),
    ("high_side_darlington", (0, 1), 12.0, False, 0.9, 1.15),
    ("high_side_pmos", (1, 0), 12.0, True, 1.1, 1.2),
    ("thyristor", (0, 1), 12.0, True, 1.0, 1.15),
    ("thyristor", (1, 0), 12.0, True, 0.0, 1e-6),
    ("changeover", (0, 1), 12.0, False, 1.1, 1.2),
    ("changeover", (0, 1), 12.0, True, 0.0, 1e-9),
    ("changeover", (0, 2), 12.0, True, 1.1, 1.2),
    ("phototransistor", (0, 1), 12.0, True, 0.04, 0.07),
    ("sensing", (0, 1), 12.0, False, 1e-7, 1e-5),
]


@pytest.mark.parametrize(("kind", "between", "volts", "active", "least", "most"), CONTROLLED)
def test_states(kind, between, volts, active, least, most):
    amps = alone(kind, active=active, volts=volts, between=between)
    assert least <= amps + 1e-12
    assert amps <= most
    if kind != "sensing":
        # Stuck in a state is that state, whatever is asked for.
        stuck = Patch(stuck="active" if active else "idle")
        assert alone(kind, active=not active, volts=volts, between=between, patch=stuck) == pytest.approx(
            amps, abs=1e-12
        )


def test_every_controlled_kind_is_tested_in_each_of_its_states():
    wanted = {
        (kind.name, rule.when)
        for kind in TABLE.kinds.values()
        for rule in kind.branches
        if rule.when != "always"
    }
    tested = {(kind, "active" if active else "idle") for kind, _, _, active, *_ in CONTROLLED}
    assert wanted <= tested


@pytest.mark.parametrize("terminal", [0, 1])
def test_ground_faults_go_to_ground(terminal):
    builder = WiringBuilder()
    builder.supply("five", "rail", 5.0)
    builder.add("feed", "resistor", "rail", "a", ohm=1000.0)
    builder.add("wire", "wire", "a", "b", ohm=500.0)
    circuit = build_circuit(builder.build())
    patch = Patch(ground_ohm=500.0, ground_terminal=terminal)
    (point,) = operating_points(circuit, [Instant(frozenset(), {"wire": patch}, ("a", "b"))])
    # 1 kohm over 500 ohm at the wire's near end, or over 1 kohm with the wire in between.
    assert point.volts["a"] == pytest.approx((5.0 / 3.0, 2.5)[terminal], abs=1e-6)


def test_a_latent_bridge_comes_alive_by_its_patch():
    builder = WiringBuilder()
    builder.supply("five", "rail", 5.0)
    builder.add("feed", "resistor", "rail", "a", ohm=100.0)
    builder.add("load", "resistor", "b", GROUND, ohm=100.0)
    builder.neighbours.append(("a", "b", "connector 1, positions 2 and 3"))
    circuit = build_circuit(builder.build())
    assert list(circuit.bridges) == ["bridge/a~b"]
    rest, joined = operating_points(
        circuit,
        [
            Instant(frozenset(), {}, ("a", "b")),
            Instant(frozenset(), {"bridge/a~b": Patch(shunt_ohm=0.05)}, ("a", "b")),
        ],
    )
    assert rest.volts["a"] == pytest.approx(5.0, abs=1e-6)
    assert rest.volts["b"] == pytest.approx(0.0, abs=1e-6)
    assert joined.volts["b"] == pytest.approx(5.0 * 100.0 / 200.05, abs=1e-6)


def test_messages_name_the_part_and_the_cure():
    builder = WiringBuilder()
    builder.parts["x"] = Part("x", "dioed", ("a", "b"))
    with pytest.raises(ValueError, match=r"part x: unknown part kind 'dioed'; did you mean 'diode'\?"):
        build_circuit(builder.build())
    builder.parts["x"] = Part("x", "diode", ("a",))
    with pytest.raises(ValueError, match="part x: a diode has 2 terminals"):
        build_circuit(builder.build())
    builder.parts["x"] = Part("x", "resistor", ("a", "b"), values={"ohms": 3.0})
    with pytest.raises(ValueError, match=r"part x: a resistor has no value 'ohms'; did you mean 'ohm'\?"):
        build_circuit(builder.build())
    builder.parts["x"] = Part("x", "resistor", ("a", "b"), values={"ohm": -3.0})
    with pytest.raises(ValueError, match="part x: ohm of a resistor must be a number of 0 or more, found -3"):
        build_circuit(builder.build())


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"nets": ("nowhere",)}, "no net 'nowhere'"),
        ({"active": frozenset({"ghost"})}, "no part 'ghost'"),
        ({"patches": {"ghost": Patch(absent=True)}}, "no part 'ghost'"),
        ({"opened": frozenset({"ghost"})}, "no part 'ghost'"),
        ({"parts": ("ghost",)}, "no part 'ghost'"),
        ({"rails": {"a": (5.0, 0.0)}}, "'a' is not the rail of a supply"),
        ({"rails": {"rail": (math.nan, 0.0)}}, "rail 'rail': wanted volts and ohms"),
        ({"patches": {"feed": Patch(values={"ohmm": 3.0})}}, "part feed: a resistor has no value 'ohmm'"),
        ({"patches": {"feed": Patch(ground_ohm=1.0, ground_terminal=7)}}, "part feed"),
    ],
)
def test_instants_that_cannot_be(change, message):
    builder = WiringBuilder()
    builder.supply("five", "rail", 5.0)
    builder.add("feed", "resistor", "rail", "a", ohm=100.0)
    circuit = build_circuit(builder.build())
    instant = {"active": frozenset(), "patches": {}, "nets": ("a",), **change}
    with pytest.raises(ValueError, match=message):
        operating_points(circuit, [Instant(**instant)])


def test_a_table_whose_branch_names_a_missing_value_is_refused():
    text = (
        '[kind.x]\nterminals = ["a", "b"]\n'
        'branches = [{ from = "a", to = "b", when = "always", ohm = "ohm" }]\n'
    )
    with pytest.raises(ValueError, match="kind x: a branch names the value 'ohm', which is not given"):
        read_kind_table(text)
