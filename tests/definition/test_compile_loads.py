"""Coils, flippers, lamps of their own, feeds and supplies."""

from __future__ import annotations

from collections import Counter

import pytest

from matrixdoc.definition.library import load_machine
from matrixdoc.definition.wiring import GROUND
from tests.definition.wirings import assert_sound, wire


def test_a_coil_from_the_rail_to_ground():
    wiring = wire(
        "title: A\n"
        "connectors: {E1: {pins: 4}}\n"
        "feeds: {left: {supply: coil, fuse: 3 A, pin: E1-4}}\n"
        "coils: {7: {feed: left, resistance: 8 ohm, pin: E1-1, wire: BU-WH, drive: Q7, pre_driver: U2}}\n"
    )
    way = [
        *(f"feed/left/{name}" for name in ("fuse", "header", "pin", "wire")),
        *(f"coil/7/{name}" for name in ("feed", "winding", "wire", "pin", "header", "driver")),
    ]
    at = "rail/coil"
    for reference in way:
        nets = wiring.parts[reference].nets
        assert at in nets, reference
        at = nets[1] if nets[0] == at else nets[0]
    assert at == GROUND
    winding, diode = wiring.parts["coil/7/winding"], wiring.parts["coil/7/diode"]
    assert diode.nets == (winding.nets[1], winding.nets[0])
    assert wiring.drives["coil/7/drive"].path == ("coil/7/logic", "coil/7/predriver")
    assert wiring.parts["coil/7/wire"].title == (
        "coil 7 wire, blue-white, from its driven lug to pin 1 of connector E1"
    )


def test_feeds_run_from_lug_to_lug_where_their_chain_is_known():
    wiring = wire(
        "title: A\nfeeds: {left: {supply: coil, chain: [3, left flipper, coil 1]}}\n"
        "coils: {1: {feed: left}, 2: {feed: left}, 3: {feed: left}}\nflippers: {left: {feed: left}}\n"
    )
    assert_sound(wiring)
    starts = {r: p.nets[0] for r, p in wiring.parts.items() if r.endswith("/feed")}
    assert starts == {
        "coil/3/feed": "feed/left/end",
        "coil/left flipper/feed": "coil/3/supplied",
        "coil/1/feed": "coil/left flipper/supplied",
        "coil/2/feed": "feed/left/end",
    }
    assert wiring.parts["coil/1/feed"].title.endswith("from that of coil left flipper")


def test_switch_fired_coils_name_their_switch_and_its_sensor():
    wiring = load_machine("lantern_quay")
    coil = wiring.coils["coil/31"]
    assert coil.fired_by == "direct switch/buoy 1 ring"
    assert coil.trigger == "direct switch/buoy 1 ring/sensing"
    assert coil.enable == ("enable/play/logic", "enable/play/link")
    assert wiring.drives[coil.drive].path == ("coil/31/predriver",)
    assert wiring.switches[coil.fired_by].sensor == ""


def test_matrix_switches_fire_coils_too_by_cell_number_or_name():
    text = (
        "title: A\nmatrices: {switch: {chart: [[a, left rubber]], cells: {C2R1: {number: 12}}}}\n"
        "coils: {1: {fired_by: 'NAME'}}"
    )
    for name in ("C2R1", "switch C2R1", "switch/C2R1", "12", "Left Rubber"):
        coil = wire(text.replace("NAME", name)).coils["coil/1"]
        assert coil.fired_by == "switch/C2R1"
        assert coil.trigger == ""


def test_high_current_flipper():
    wiring = wire("title: A\nflippers: {left: {power: 4 ohm, hold: 120 ohm}}")
    assert_sound(wiring)
    eos = wiring.parts["coil/left flipper/eos"]
    assert eos.nets == wiring.parts["coil/left flipper/hold"].nets
    assert wiring.switches["coil/left flipper/eos"].normally_closed
    power, hold = wiring.coils["coil/left flipper/power"], wiring.coils["coil/left flipper/hold"]
    assert power.drive == hold.drive
    assert power.end_of_stroke == "coil/left flipper/eos"
    assert hold.holds
    assert power.fired_by == "coil/left flipper/button"


def test_low_current_flipper():
    wiring = wire(
        "title: A\nmatrices: {switch: {chart: [[left end, left button]]}}\n"
        "flippers: {left: {end_of_stroke: low-current, eos: left end, button: left button,"
        " drive: Q1, hold_drive: {drive: Q2}}}"
    )
    assert_sound(wiring)
    power, hold = wiring.coils["coil/left flipper/power"], wiring.coils["coil/left flipper/hold"]
    assert power.drive != hold.drive
    assert power.end_of_stroke == "switch/C1R1/contact"
    assert wiring.parts["coil/left flipper/hold drive/driver"].aliases == ("Q2",)


def test_flash_lamps_direct_lamps_and_illumination():
    wiring = wire(
        "title: A\n"
        "flash_lamps: {1: {lamp: 89, resistor: 5 ohm}, 2: {}}\n"
        "direct_lamps: {tilt: {}, ready: {element: LED, style: low-side small NPN}}\n"
        "illumination: {all: {lamps: [left, right]}, head: {lamps: 3, fuse: none}}\n"
        "direct_switches: {tilt: {normally: closed}}\n"
    )
    assert_sound(wiring)
    assert wiring.coils["flash/1"].element == "flash/1/lamp"
    assert wiring.parts["direct lamp/tilt/driver"].kind == "thyristor"
    assert wiring.parts["direct lamp/ready/driver"].kind == "low_side_npn"
    assert wiring.lamps["illumination/all/lamp2"].title == "right"
    assert "illumination/head/fuse" not in wiring.parts
    assert wiring.supplies["illumination"].alternating
    assert wiring.switches["direct switch/tilt"].normally_closed


def test_bridge_of_a_supply():
    wiring = wire(
        "title: A\nsupplies: {coil: {volts: 36 V, winding: 27 V, winding_fuse: 8 A}}\ncoils: {1: {}}"
    )
    supply = wiring.supplies["coil"]
    assert [wiring.parts[r].kind for r in supply.ac_parts] == ["winding", "pin", "wire", "fuse"]
    at = wiring.parts[supply.ac_parts[0]].nets[0]
    for reference in supply.ac_parts[1:]:
        nets = wiring.parts[reference].nets
        assert nets[0] == at
        at = nets[1]
    far = wiring.parts[supply.ac_parts[0]].nets[1]
    diodes = Counter(wiring.parts[r].nets for r in supply.rectifiers)
    assert diodes == Counter({(at, "rail/coil"): 1, (far, "rail/coil"): 1, (GROUND, at): 1, (GROUND, far): 1})
    assert wiring.parts[supply.capacitor].nets == ("rail/coil", GROUND)


def test_assumed_winding_gives_the_rail_through_its_bridge():
    # Peak of a sine less two diode drops; full-wave mean 2*sqrt(2)/pi of RMS (any textbook).
    filtered = wire("title: A\nsupplies: {coil: {volts: 36 V}}\ncoils: {1: {}}").supplies["coil"]
    assert filtered.winding_v * 1.41421356 - 1.8 == pytest.approx(36.0, abs=0.01)
    raw = wire("title: A\nsupplies: {coil: {volts: 36 V, capacitor: none}}\ncoils: {1: {}}").supplies["coil"]
    assert raw.winding_v * 0.90031632 - 1.8 == pytest.approx(36.0, abs=0.01)
    assert raw.capacitor == ""
