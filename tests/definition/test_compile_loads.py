"""Coils, flippers, lamps of their own, feeds and supplies."""

from __future__ import annotations

from collections import Counter

import pytest

from matrixdoc.definition.library import load_machine
from matrixdoc.definition.wiring import GROUND
from tests.definition.wirings import assert_sound, problems, wire


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


@pytest.mark.parametrize(
    ("written", "title"),
    [
        ("{name: 1, rating: 5 A, blow: slow}", "fuse 1 (5 A slow)"),
        ("{name: fuse 1, rating: 5 A}", "fuse 1 (5 A)"),
        ("F2 T 3.15 A", "fuse F2 (3.15 A slow)"),
        ("3 A", "fuse (3 A)"),
        ("{name: F2}", "fuse F2"),
    ],
)
def test_a_fuse_is_called_by_its_name_with_its_rating_in_brackets(written, title):
    feed = f"{{supply: coil, fuse: {written}}}"
    wiring = wire(f"title: A\nfeeds: {{left: {feed}}}\ncoils: {{1: {{feed: left}}}}\n")
    assert wiring.parts["feed/left/fuse"].title == f"left feed, {title}"


def test_feeds_run_from_lug_to_lug_where_their_chain_is_known():
    text = (
        "title: A\nfeeds: {left: {supply: coil, chain: [3, left flipper, coil 1]}, right: {supply: coil}}\n"
        "coils: {1: {feed: left}, 2: {feed: right}, 3: {feed: left}}\nflippers: {left: {feed: left}}\n"
    )
    wiring = wire(text)
    assert_sound(wiring)
    starts = {r: p.nets[0] for r, p in wiring.parts.items() if r.endswith("/feed")}
    assert starts == {
        "coil/3/feed": "feed/left/end",
        "coil/left flipper/feed": "coil/3/supplied",
        "coil/1/feed": "coil/left flipper/supplied",
        "coil/2/feed": "feed/right/end",
    }
    assert wiring.parts["coil/1/feed"].title.endswith("from that of coil left flipper")
    ((line, words),) = problems(text.replace("2: {feed: right}", "2: {title: bell, feed: left}"))
    assert line == 2
    assert "found a chain without coil 2 (bell); expected everything that hangs on this feed" in words


NAMED = """
title: A
feeds: {some: {supply: coil, chain: [CHAIN]}}
coils:
  1: {title: outhole kicker, feed: some}
  2: {title: bell, feed: some, number: 34}
flash_lamps: {sky: {title: bell, feed: some}}
direct_lamps: {credit: {title: credit lamp, feed: some}}
illumination: {left: {title: left side, feed: some}}
flippers: {left: {title: lower flipper, feed: some}}
"""


@pytest.mark.parametrize(
    "chain",
    [
        "left, left side, credit, sky, 34, outhole kicker",
        "lower flipper, string left, lamp credit, flash bell, Coil Bell, coil outhole  kicker",
        "left flipper, illumination left, direct lamp credit, flash lamp sky, coil 2, coil 1",
    ],
)
def test_a_chain_takes_the_names_that_people_use(chain):
    wiring = wire(NAMED.replace("CHAIN", chain))
    order = ("coil/left flipper", "illumination/left", "direct lamp/credit", "flash/sky", "coil/2", "coil/1")
    before = "feed/some/end"
    for stem in order:
        assert wiring.parts[f"{stem}/feed"].nets == (before, f"{stem}/supplied")
        before = f"{stem}/supplied"


def test_a_name_of_several_things_on_a_feed_is_refused_with_all_of_them():
    ((_, words),) = problems(NAMED.replace("CHAIN", "left, left side, credit, sky, bell, 1"))
    assert "found 'bell', which is coil 2 (bell), flash sky (bell)" in words
    assert "expected the one that is meant: coil 2 or flash sky" in words
    ((_, words),) = problems(NAMED.replace("CHAIN", "left, left side, credit, sky, 34, outhole kickr"))
    assert "did you mean 'outhole kicker'?" in words


BANK = """
title: A
feeds: {some: {supply: coil, chain: [CHAIN]}}
matrices:
  bank: {device: coil, feed: some, style: "STYLE", chart: "a | b\\nc | -"}
illumination: {front: {feed: some}}
coils: {1: {feed: some}}
"""
COLUMNS_FEED, ROWS_FEED = "high-side columns, low-side rows", "low-side columns, high-side rows"


@pytest.mark.parametrize(
    ("style", "chain", "starts"),
    [
        (
            COLUMNS_FEED,
            "illumination front, bank, 1",
            {
                "illumination/front": "feed/some/end",
                "bank": "illumination/front/supplied",
                "coil/1": "bank/supplied",
            },
        ),
        (
            ROWS_FEED,
            "bank R2, 1, bank R1, illumination front",
            {
                "bank/R2": "feed/some/end",
                "coil/1": "bank/R2/supplied",
                "bank/R1": "coil/1/supplied",
                "illumination/front": "bank/R1/supplied",
            },
        ),
    ],
)
def test_a_matrix_hangs_on_a_feed_as_a_whole_or_by_the_lines_that_switch_its_supply(style, chain, starts):
    wiring = wire(BANK.replace("STYLE", style).replace("CHAIN", chain))
    assert_sound(wiring)
    feeds = {r.removesuffix("/feed"): p.nets[0] for r, p in wiring.parts.items() if r.endswith("/feed")}
    assert feeds == starts
    for line in wiring.matrices["bank"].columns + wiring.matrices["bank"].rows:
        driver = wiring.parts[f"bank/{line.key}/driver"]
        if driver.kind.startswith("high_side"):
            own = line.key if f"bank/{line.key}" in starts else ""
            assert driver.nets[1] == "/".join(filter(None, ("bank", own, "supplied")))


@pytest.mark.parametrize(
    ("chain", "said"),
    [
        ("1, illumination front", "a chain without bank;"),
        ("1, bank", "a chain without illumination front;"),
        ("1, bank C1, illumination front", "a chain without bank C2;"),
        ("1, bank, bank C1, illumination front", "'bank C1' again"),
        ("1, bank C1, bank, illumination front", "'bank' beside a line of it"),
        ("1, bank R1, illumination front", "what hangs on this feed: coil 1, illumination front or bank"),
        ("1, bnk, illumination front", "did you mean 'bank'?"),
    ],
)
def test_what_a_chain_with_a_matrix_leaves_out_is_named(chain, said):
    ((line, words),) = problems(BANK.replace("STYLE", COLUMNS_FEED).replace("CHAIN", chain))
    assert line == 3
    assert said in words


def test_a_high_side_coil_has_its_drive_at_the_supply_and_its_other_lug_grounded():
    wiring = wire(
        "title: A\nconnectors: {P: {pins: 4}}\ncoils:\n"
        "  1: {style: high-side PNP, fuse: 2 A, return_pin: P-4, return_wire: BK}\n"
        "  2: {style: high-side MOS, diode: none}\n"
        "  3: {shares: 1, relay: r}\n"
        "relays: {r: {}}\n"
        "flash_lamps: {f: {style: high-side Darlington, resistor: 10 ohm}}\n"
        "direct_lamps: {d: {style: high-side PNP, element: LED}}\n"
        "flippers: {left: {end_of_stroke: low-current, style: high-side PNP}}\n"
    )
    assert_sound(wiring)
    parts = wiring.parts
    driver, winding, diode = (parts[f"coil/1/{name}"] for name in ("driver", "winding", "diode"))
    assert driver.kind == "high_side_pnp"
    assert driver.nets[1] == parts["coil/1/feed"].nets[1]
    assert parts["coil/1/feed"].nets[0] == parts["coil/1/fuse"].nets[1]
    # The driven lug is named last; the cathode of the diode is at the lug that the drive makes positive.
    assert winding.nets == ("coil/1/grounded", "coil/1/driven")
    assert diode.nets == winding.nets
    assert parts["coil/1/return wire"].nets[0] == winding.nets[0]
    assert parts["coil/1/return header"].nets[0] == GROUND
    assert (parts["coil/1/return pin"].connector, parts["coil/1/return pin"].position) == ("P", 4)
    assert parts["coil/2/return wire"].nets == ("coil/2/grounded", GROUND)
    # A coil on another's high-side drive is grounded as well, and has no supply of its own.
    assert "coil/3/feed" not in parts
    assert parts["coil/3/return wire"].nets == (parts["coil/3/winding"].nets[0], GROUND)
    assert parts["direct lamp/d/lamp"].nets[0] == "direct lamp/d/driven"
    for side in ("power", "hold"):
        assert parts[f"coil/left flipper/{side}"].nets[0] == "coil/left flipper/grounded"
    lugs = {"coil/1/grounded", "coil/1/driven"}
    assert any({one, two} == lugs for one, two, _ in wiring.neighbours)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            "outputs: {o: {style: high-side PNP}}\nflippers: {left: {output: o}}",
            "a drive that pulls to ground",
        ),
        ("flippers: {left: {style: high-side MOS}}", "a drive that pulls to ground"),
        ("coils: {1: {return_wire: BK}}", "it where the style is a high-side one"),
        ("coils: {1: {return_pin: P-1}}\nconnectors: {P: {}}", "it where the style is a high-side one"),
        (
            "coils: {1: {style: high-side PNP}, 2: {shares: 1, relay: r, fuse: 2 A}}\nrelays: {r: {}}",
            "it at coil 1",
        ),
        ("coils: {1: {drive_type: PNP high side}}", "is said by 'style:'"),
    ],
)
def test_sides_that_contradict_themselves(text, said):
    ((_, words),) = problems(f"title: A\n{text}")
    assert said in words


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
