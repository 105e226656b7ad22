"""What each failure mode does at the part's terminals, solved by the circuit room.

A meter lead of 12 V behind 100 ohm is put across the part both ways, with the part at rest and
driven. "Open" passes less than 1 uA at 12 V both ways; "short" is below 1 ohm. The expectations
are written here from what the mode's name means, and never read from the catalogue.
"""

from __future__ import annotations

import pytest

from matrixdoc.circuit.netlist import Instant, Lead, build_circuit, operating_points
from matrixdoc.definition.wiring import GROUND, Part, Supply
from matrixdoc.faults.catalogue import load_catalogue
from matrixdoc.faults.conditions import ServiceConditions
from matrixdoc.faults.priors import Fault, possible_faults
from tests.faults.typical import wiring_of

CATALOGUE = load_catalogue()
VOLTS = 12.0
LEAD_OHM = 100.0
OPEN_A = 1e-6
SHORT_OHM = 1.0

# row: (part kind, reference)
PARTS = {
    **{
        kind: (kind, f"machine/{kind}")
        for kind in (
            *("contact", "diode", "wire", "joint", "pin", "bridge", "lamp", "led", "coil", "fuse"),
            *("strobe_sink", "strobe_source", "low_side", "low_side_npn", "low_side_nmos"),
            *("high_side_pnp", "high_side_darlington", "high_side_pmos", "thyristor", "sensing"),
            *("emitter", "phototransistor", "resistor", "capacitor"),
        )
    },
    "stub": ("wire", "switch/C1R1/column_stub"),
    "socket": ("joint", "lamp/C1R1/socket"),
    "coil_diode": ("diode", "coil/kicker/diode"),
}

# (row, mode): (at rest, driven); each is "open", "short", "lit", "forward" (conducts from the first terminal
# to the second only), "backward", or ohms both ways; a pair gives forward and backward apart.
Side = str | float
EXPECTED: dict[tuple[str, str], tuple[Side | tuple[Side, Side], Side | tuple[Side, Side]]] = {
    ("contact", "closes now and then"): ("open", "open"),
    ("contact", "never closes"): ("open", "open"),
    ("contact", "high resistance"): ("open", 1000.0),
    ("contact", "stuck closed"): ("short", "short"),
    ("diode", "open"): ("open", "open"),
    ("diode", "shorted"): ("short", "short"),
    ("diode", "bypassed"): ("short", "short"),
    ("diode", "leaky"): (("junction", 3000.0), ("junction", 3000.0)),
    ("diode", "reversed"): ("backward", "backward"),
    ("diode", "missing"): ("open", "open"),
    ("coil_diode", "open"): ("open", "open"),
    ("coil_diode", "shorted"): ("short", "short"),
    ("coil_diode", "reversed"): ("backward", "backward"),
    ("coil_diode", "missing"): ("open", "open"),
    ("wire", "open"): ("open", "open"),
    ("wire", "high resistance"): (10.0, 10.0),
    ("stub", "open"): ("open", "open"),
    ("stub", "comes and goes"): ("open", "open"),
    ("stub", "high resistance"): (1000.0, 1000.0),
    ("joint", "open"): ("open", "open"),
    ("joint", "comes and goes"): ("open", "open"),
    ("joint", "high resistance"): (10.0, 10.0),
    ("pin", "open"): ("open", "open"),
    ("pin", "comes and goes"): ("open", "open"),
    ("pin", "high resistance"): (10.0, 10.0),
    ("socket", "open"): ("open", "open"),
    ("socket", "comes and goes"): ("open", "open"),
    ("socket", "high resistance"): (25.0, 25.0),
    ("bridge", "bridged"): ("short", "short"),
    ("bridge", "residue"): (2000.0, 2000.0),
    ("lamp", "burnt out"): ("open", "open"),
    ("lamp", "shorted"): ("short", "short"),
    ("lamp", "wrong type"): (92.4, 92.4),  # 2.2 times the 6.3 V / 0.15 A of lamp 47
    ("led", "open"): ("open", "open"),
    ("led", "shorted"): ("short", "short"),
    ("led", "reversed"): (("open", "lit"), ("open", "lit")),
    ("coil", "open"): ("open", "open"),
    ("coil", "shorted turns"): (3.0, 3.0),  # of 10 ohm
    ("coil", "shorted"): ("short", "short"),
    ("strobe_sink", "dead"): ("open", "open"),
    ("strobe_sink", "stuck active"): (10.0, 10.0),
    ("strobe_source", "dead"): ("open", "open"),
    ("strobe_source", "stuck active"): (10.0, 10.0),
    # A transistor that never turns on keeps the diode that is built in against its current.
    ("low_side", "open"): ("backward", "backward"),
    ("low_side", "shorted"): ("short", "short"),
    ("low_side", "leaky"): ((2000.0, "junction"), ("junction", "junction")),
    ("low_side_npn", "open"): ("open", "open"),
    ("low_side_npn", "shorted"): ("short", "short"),
    ("low_side_npn", "leaky"): (2000.0, 1.6),
    ("low_side_nmos", "open"): ("backward", "backward"),
    ("low_side_nmos", "shorted"): ("short", "short"),
    ("low_side_nmos", "leaky"): ((2000.0, "junction"), "short"),
    ("high_side_pnp", "open"): ("open", "open"),
    ("high_side_pnp", "shorted"): ("short", "short"),
    ("high_side_pnp", "leaky"): (2000.0, "short"),
    ("high_side_darlington", "open"): ("forward", "forward"),
    ("high_side_darlington", "shorted"): ("short", "short"),
    ("high_side_darlington", "leaky"): (("junction", 2000.0), ("junction", "junction")),
    ("high_side_pmos", "open"): ("forward", "forward"),
    ("high_side_pmos", "shorted"): ("short", "short"),
    ("high_side_pmos", "leaky"): (("junction", 2000.0), "short"),
    ("thyristor", "open"): ("open", "open"),
    ("thyristor", "shorted"): ("short", "short"),
    ("thyristor", "always on"): ("forward", "forward"),
    ("sensing", "input shorted"): (5.0, 5.0),
    ("emitter", "dead"): ("open", "open"),
    ("emitter", "shorted"): ("short", "short"),
    ("emitter", "reversed"): ("backward", "backward"),
    ("phototransistor", "never conducts"): ("open", "open"),
    ("phototransistor", "always conducts"): (200.0, 200.0),
    ("fuse", "blown"): ("open", "open"),
    ("fuse", "poor clip"): (5.0, 5.0),
    ("resistor", "open"): ("open", "open"),
    ("resistor", "drifted high"): (3000.0, 3000.0),  # of 1 kohm
    ("resistor", "bypassed"): ("short", "short"),
    ("capacitor", "shorted"): (1.0, 1.0),
    ("capacitor", "leaky"): (1000.0, 1000.0),
}
GROUNDED = [("wire", "grounded"), ("stub", "grounded")]
PUSH_PULL = {
    # (row, mode): volts of the line at rest and driven, held by 2.5 V behind 1 kohm, rail 5 V
    ("strobe_push_pull", "dead"): (2.5, 2.5),
    ("strobe_push_pull", "stuck idle"): (5.0, 5.0),
    ("strobe_push_pull", "stuck active"): (0.0, 0.0),
    ("strobe_source_push_pull", "dead"): (2.5, 2.5),
    ("strobe_source_push_pull", "stuck idle"): (0.0, 0.0),
    ("strobe_source_push_pull", "stuck active"): (5.0, 5.0),
}
CHANGEOVER = {
    # mode: joined to the idle contact, to the active contact, in both states
    "stays at rest": (True, False),
    "stays pulled": (False, True),
    "contacts open": (False, False),
}
# Parts without terminals, or whose mode is in what they say: (row, mode) -> forced state, or "break"
SIGNAL = {
    ("sensing", "reads open"): "idle",
    ("sensing", "reads closed"): "active",
    ("logic_output", "open"): "break",
    ("logic_output", "stuck active"): "active",
    ("logic_output", "stuck idle"): "idle",
    ("link_pin", "open"): "break",
    ("link_pin", "comes and goes"): "break",
    ("link_pin", "stuck active"): "active",
    ("link_pin", "stuck idle"): "idle",
    ("pre_driver", "open"): "break",
    ("pre_driver", "stuck active"): "active",
    ("pre_driver", "stuck idle"): "idle",
    ("decoder", "selects nothing"): "idle",
    ("decoder", "selects everything"): "active",
    ("logic_input", "reads open"): "idle",
    ("logic_input", "reads closed"): "active",
    ("enable", "never enables"): "idle",
    ("enable", "always enables"): "active",
    ("relay_coil_driver", "open"): "idle",
    ("relay_coil_driver", "stuck active"): "active",
}
ALTERNATING = {"winding", "rectifier", "electrolytic", "regulator"}


def machine(row, nets):
    kind, reference = PARTS.get(row, (row, f"machine/{row}"))
    other = Part("machine/other", "resistor", ("elsewhere", GROUND))
    supply = Supply("logic", "logic", "rail/logic", 5.0, stiff=True, source_ohm=0.01)
    if kind == "bridge":
        wiring = wiring_of([other], neighbours=((*nets, ""),))
        reference = f"bridge/{nets[0]}~{nets[1]}"
    else:
        part = Part(reference, kind, nets)
        wiring = wiring_of([part, other], supplies={"logic": supply} if "rail/logic" in nets else {})
    return build_circuit(wiring), reference


def patch_of(circuit, reference, mode):
    found = possible_faults(circuit, CATALOGUE, ServiceConditions(expected_faults=0.5))
    assert found[Fault(reference, mode)].fault == Fault(reference, mode)
    return found[Fault(reference, mode)].patch


def volts_at(circuit, reference, patch, net, emf_v, ohm, *, driven):
    instant = Instant(
        active=frozenset({reference} if driven else ()),
        patches={} if patch is None else {reference: patch},
        nets=(net,),
        leads=(Lead(net, GROUND, ohm, emf_v),),
    )
    (point,) = operating_points(circuit, [instant])
    assert point.converged
    return point.volts[net]


def seen(volts, emf_v):
    """Amperes into the first terminal and ohms of the part, under the test lead."""
    amps = (emf_v - volts) / LEAD_OHM
    return amps, (volts / amps if abs(amps) > OPEN_A else float("inf"))


def check(side, volts, emf_v):
    amps, ohms = seen(volts, emf_v)
    if side == "open":
        assert abs(amps) < OPEN_A
    elif side == "short":
        assert abs(ohms) < SHORT_OHM
    elif side == "junction":
        assert 0.2 < abs(volts) < 1.6
    elif side == "lit":  # an LED with the resistor built in
        assert 2.5 < abs(volts) < 10.0
    else:
        assert ohms == pytest.approx(side, rel=0.02)


def both_ways(expected):
    if isinstance(expected, tuple):
        return expected
    return {"forward": ("junction", "open"), "backward": ("open", "junction")}.get(
        expected, (expected, expected)
    )


def test_every_mode_of_every_row_is_tested_here():
    listed = {*EXPECTED, *GROUNDED, *PUSH_PULL, *SIGNAL, *(("changeover", mode) for mode in CHANGEOVER)}
    modes = {
        (row, mode.name)
        for row, faults in CATALOGUE.kinds.items()
        for mode in faults.modes
        if row not in ALTERNATING  # tests/faults/test_supplies.py
    }
    assert listed == modes


@pytest.mark.parametrize(("row", "mode"), EXPECTED)
def test_at_the_terminals(row, mode):
    circuit, reference = machine(row, ("one", GROUND))
    patch = patch_of(circuit, reference, mode)
    for driven, expected in zip((False, True), EXPECTED[row, mode], strict=True):
        for emf_v, side in zip((VOLTS, -VOLTS), both_ways(expected), strict=True):
            check(side, volts_at(circuit, reference, patch, "one", emf_v, LEAD_OHM, driven=driven), emf_v)


@pytest.mark.parametrize(("row", "mode"), EXPECTED)
def test_a_fault_is_seen_somewhere(row, mode):
    """Each mode differs from the healthy part by more than 5 % of the source in some state."""
    circuit, reference = machine(row, ("one", GROUND))
    patch = patch_of(circuit, reference, mode)
    differences = [
        abs(
            volts_at(circuit, reference, patch, "one", emf_v, ohm, driven=driven)
            - volts_at(circuit, reference, None, "one", emf_v, ohm, driven=driven)
        )
        for emf_v in (VOLTS, -VOLTS)
        for ohm in (2.0, LEAD_OHM, 10_000.0)
        for driven in (False, True)
    ]
    assert max(differences) > 0.05 * VOLTS


@pytest.mark.parametrize(("row", "mode"), GROUNDED)
@pytest.mark.parametrize("net", ["one", "two"])
def test_a_grounded_wire_pulls_both_its_ends_down(row, mode, net):
    circuit, reference = machine(row, ("one", "two"))
    patch = patch_of(circuit, reference, mode)
    check("short", volts_at(circuit, reference, patch, net, VOLTS, LEAD_OHM, driven=False), VOLTS)
    assert volts_at(circuit, reference, None, net, VOLTS, LEAD_OHM, driven=False) == pytest.approx(VOLTS)


@pytest.mark.parametrize(("row", "mode"), PUSH_PULL)
def test_a_push_pull_line(row, mode):
    nets = ("line", GROUND, "rail/logic") if row == "strobe_push_pull" else ("line", "rail/logic", GROUND)
    circuit, reference = machine(row, nets)
    patch = patch_of(circuit, reference, mode)
    for driven, volts in zip((False, True), PUSH_PULL[row, mode], strict=True):
        found = volts_at(circuit, reference, patch, "line", 2.5, 1000.0, driven=driven)
        assert found == pytest.approx(volts, abs=0.05)


@pytest.mark.parametrize("mode", CHANGEOVER)
@pytest.mark.parametrize("driven", [False, True])
def test_a_changeover_contact(mode, driven):
    for joined, nets in zip(
        CHANGEOVER[mode], (("one", GROUND, "free"), ("one", "free", GROUND)), strict=True
    ):
        circuit, reference = machine("changeover", nets)
        patch = patch_of(circuit, reference, mode)
        volts = volts_at(circuit, reference, patch, "one", VOLTS, LEAD_OHM, driven=driven)
        check("short" if joined else "open", volts, VOLTS)


@pytest.mark.parametrize(("row", "mode"), SIGNAL)
def test_a_signal_is_forced_or_broken(row, mode):
    circuit, reference = machine(row, ("one", GROUND) if row == "sensing" else ())
    patch = patch_of(circuit, reference, mode)
    state = SIGNAL[row, mode]
    assert (patch.absent, patch.stuck) == ((True, "") if state == "break" else (False, state))
    assert patch.shunt_ohm is None
    assert patch.ground_ohm is None
    assert not patch.values
