"""The same circuits by stock simulators: random small ones, and exported decks of whole machines."""

from __future__ import annotations

import math
import random

import pytest

from matrixdoc.circuit.deck import node_name, spice_deck
from matrixdoc.circuit.netlist import Instant, Lead, build_circuit, operating_points
from matrixdoc.circuit.patch import Patch
from tests.circuit.simulators import run_neospice, run_ngspice
from tests.circuit.test_laws import instant_of, random_wiring
from tests.circuit.wirings import WiringBuilder, lamp_matrix, switch_matrix

DECK_V = 2e-3
DECK_SHARE = 2e-3
"""2 mV or 0.2 %: reverse leakage and g_min across junctions differ between the simulators and us."""


def assert_close(ours, theirs, what):
    for name, volts in theirs.items():
        assert ours[name] == pytest.approx(volts, abs=DECK_V, rel=DECK_SHARE), (what, name)


@pytest.mark.parametrize("seed", range(40))
def test_random_circuits_against_neospice(seed):
    builder, nets = random_wiring(seed, leak_a=4e-9, stiff=bool(seed % 2))
    circuit = build_circuit(builder.build())
    instant = instant_of(builder, nets, seed)
    point = operating_points(circuit, [instant])[0]
    nodes = {net: node_name(circuit, net) for net in nets}
    found = run_neospice(spice_deck(circuit, instant, "random"), list(nodes.values()))
    # 50 uV: both solve the same equations; leakage of dropped junctions is 4 nA behind 10 kohm at most.
    for net in nets:
        assert point.volts[net] == pytest.approx(found[nodes[net]], abs=5e-5, rel=2e-6)


@pytest.mark.ngspice
@pytest.mark.parametrize("seed", range(0, 40, 4))
def test_random_circuits_against_ngspice(seed, tmp_path):
    builder, nets = random_wiring(seed, leak_a=4e-9, stiff=bool(seed % 2))
    circuit = build_circuit(builder.build())
    instant = instant_of(builder, nets, seed)
    point = operating_points(circuit, [instant])[0]
    found = run_ngspice(spice_deck(circuit, instant, "random"), tmp_path)
    assert_close(
        {node_name(circuit, net): point.volts[net] for net in nets},
        {node_name(circuit, net): found[f"v({node_name(circuit, net)})"] for net in nets},
        seed,
    )


def switch_instants():
    rows = tuple(f"switch/R{r}/board" for r in range(1, 9))
    rng = random.Random(5)
    corners = frozenset(f"switch/{cell}/contact" for cell in ("C1R1", "C1R2", "C2R1"))
    yield "healthy", Instant(corners | {"switch/C2/drive"}, {}, rows)
    yield (
        "shorted diode",
        Instant(corners | {"switch/C2/drive"}, {"switch/C1R1/diode": Patch(shunt_ohm=0.01)}, rows),
    )
    for number in range(4):
        closed = frozenset(f"switch/C{rng.randint(1, 8)}R{rng.randint(1, 8)}/contact" for _ in range(4))
        part = f"switch/C{rng.randint(1, 8)}R{rng.randint(1, 8)}/diode"
        patch = rng.choice(
            [Patch(reversed=True), Patch(absent=True), Patch(ground_ohm=0.1), Patch(shunt_ohm=0.01)]
        )
        yield (
            f"random {number}",
            Instant(closed | {f"switch/C{rng.randint(1, 8)}/drive"}, {part: patch}, rows),
        )
    off = {"rail/logic": (0.0, math.inf)}
    lead = (Lead("switch/R1/board", "switch/C1/board", 1500.0, 2.5),)
    nets = ("switch/R1/board", "switch/C1/board")
    yield (
        "diode test, power off",
        Instant(frozenset({"switch/C1R1/contact"}), {}, nets, leads=lead, rails=off),
    )


@pytest.mark.ngspice
@pytest.mark.parametrize(("name", "instant"), switch_instants())
def test_decks_of_a_switch_matrix(name, instant, tmp_path):
    circuit = build_circuit(switch_matrix(8, 8).build())
    point = operating_points(circuit, [instant])[0]
    found = run_ngspice(spice_deck(circuit, instant, name), tmp_path)
    ours = {f"v({node_name(circuit, net)})": point.volts[net] for net in instant.nets}
    assert ours
    if instant.leads:
        ours = {"difference": point.volts[instant.nets[0]] - point.volts[instant.nets[1]]}
        first, second = (found[f"v({node_name(circuit, net)})"] for net in instant.nets)
        found = {"difference": first - second}
    assert_close(ours, {node: found[node] for node in ours}, name)


@pytest.mark.ngspice
@pytest.mark.parametrize("stiff", [True, False])
def test_deck_of_a_lamp_matrix(stiff, tmp_path):
    circuit = build_circuit(lamp_matrix(8, 8, stiff=stiff, row_ohm=0.5).build())
    active = frozenset({"lamp/C2/drive", "lamp/R1/drive", "lamp/R4/drive"})
    lamps = ("lamp/C2R1/lamp", "lamp/C2R4/lamp", "lamp/C3R1/lamp", "lamp/C2R2/lamp", "lamp/C2/pin")
    instant = Instant(active, {"lamp/C3R1/diode": Patch(shunt_ohm=0.01)}, ("lamp/C2/board",), lamps)
    deck = spice_deck(circuit, instant, "lamps: two rows, a shorted diode")
    point = operating_points(circuit, [instant])[0]
    found = run_ngspice(deck, tmp_path)
    assert point.volts["lamp/C2/board"] == pytest.approx(
        found[f"v({node_name(circuit, 'lamp/C2/board')})"], rel=2e-3
    )
    lines = [line for line in deck.splitlines() if line.startswith("* i(vamp")]
    assert len(lines) == len(lamps)
    for line in lines:
        meter, words = line.removeprefix("* i(").split("): ", 1)
        sign = -1.0 if words.startswith("minus ") else 1.0
        lamp = words.rsplit(" ", 1)[1]
        assert point.amps[lamp] == pytest.approx(sign * found[f"{meter}#branch"], abs=1e-5, rel=2e-3)


def test_a_deck_is_plain_text_whatever_the_title():
    circuit = build_circuit(switch_matrix(1, 1).build())
    deck = spice_deck(circuit, Instant(frozenset(), {}, ("switch/R1/board",)), "two\nlines \u00b5 .end")
    assert deck.splitlines()[0] == "two lines ? .end"
    assert deck.isascii()
    assert run_neospice(deck, [node_name(circuit, "switch/R1/board")])


@pytest.mark.ngspice
def test_the_sign_of_a_printed_current(tmp_path):
    """A sourcing strobe's branch runs from the rail to its first terminal, the line."""
    builder = WiringBuilder()
    builder.supply("five", "rail", 5.0)
    builder.add("drive", "strobe_source", "line", "rail", on_ohm=10.0)
    builder.add("load", "resistor", "line", "ground", ohm=90.0)
    circuit = build_circuit(builder.build())
    instant = Instant(frozenset({"drive"}), {}, ("line",), ("drive",))
    deck = spice_deck(circuit, instant, "a sourcing strobe")
    (line,) = [line for line in deck.splitlines() if line.startswith("* i(vamp")]
    meter, words = line.removeprefix("* i(").split("): ", 1)
    assert words == "minus current into drive"
    assert run_ngspice(deck, tmp_path)[f"{meter}#branch"] == pytest.approx(0.05, rel=1e-6)
    (point,) = operating_points(circuit, [instant])
    assert point.amps["drive"] == pytest.approx(-0.05, rel=1e-6)
