"""Lines and cells of switch and lamp matrices."""

from __future__ import annotations

import pytest

from matrixdoc.definition.library import load_machine
from matrixdoc.definition.styles import load_styles
from matrixdoc.definition.wiring import GROUND
from tests.definition.wirings import assert_sound, wire


@pytest.mark.parametrize("style", sorted(load_styles().switch))
@pytest.mark.parametrize("order", ["contact first", "diode first"])
def test_switch_diodes_point_the_way_the_current_flows(style, order):
    wiring = wire(f"title: A\nmatrices: {{switch: {{chart: [[a]], style: '{style}', order: {order}}}}}")
    diode, contact = wiring.parts["switch/C1R1/diode"], wiring.parts["switch/C1R1/contact"]
    sinks = style.startswith("sink")
    row_side, column_side = diode.nets if sinks else diode.nets[::-1]
    if order == "contact first":
        assert row_side == "switch/C1R1/row"
        assert contact.nets == ("switch/C1R1/column", column_side)
    else:
        assert column_side == "switch/C1R1/column"
        assert contact.nets == (row_side, "switch/C1R1/row")
    pull = wiring.parts["switch/R1/pull"]
    assert pull.nets[1] == ("rail/logic" if sinks else GROUND)
    sensor = wiring.sensors["switch/R1/sensing"]
    assert sensor.closed_reads == ("low" if sinks else "high")
    driver = wiring.parts["switch/C1/driver"]
    assert driver.nets[1] == (GROUND if sinks else "rail/logic")


@pytest.mark.parametrize(
    ("sensing", "low", "high"),
    [
        # CD4001B and CD4011B data sheets: VIL 1.5 V and VIH 3.5 V at 5 V.
        ("4000B CMOS", 1.5, 3.5),
        # DM74LS244 data sheet: VIL 0.8 V, VIH 2.0 V.
        ("74LS", 0.8, 2.0),
        # LM339 data sheets: offset at most 5 mV, around half of 5 V.
        ("comparator", 2.495, 2.505),
    ],
)
def test_thresholds_of_sensing_parts(sensing, low, high):
    wiring = wire(f"title: A\nmatrices: {{switch: {{chart: [[a]], sensing: {sensing}}}}}")
    sensor = wiring.sensors["switch/R1/sensing"]
    assert sensor.low_v == pytest.approx(low, abs=0.01)
    assert sensor.high_v == pytest.approx(high, abs=0.01)


@pytest.mark.parametrize("style", sorted(load_styles().lamp))
def test_lamp_current_flows_from_the_high_side_to_the_low_side(style):
    wiring = wire(f"title: A\nmatrices: {{lamp: {{chart: [[a]], style: '{style}', row_resistor: 3 ohm}}}}")
    column, row = wiring.parts["lamp/C1/driver"], wiring.parts["lamp/R1/driver"]
    high, low = (column, row) if column.kind.startswith("high_side") else (row, column)
    assert high.nets[1] == "rail/lamp"
    assert low.nets[1] == GROUND
    diode = wiring.parts["lamp/C1R1/diode"]
    from_column = high is column
    assert diode.nets == (
        ("lamp/C1R1/middle", "lamp/C1R1/row") if from_column else ("lamp/C1R1/row", "lamp/C1R1/middle")
    )
    assert wiring.parts["lamp/R1/resistor"].nets[0] == wiring.matrices["lamp"].rows[0].board_net


def test_leds_point_with_the_current():
    text = "title: A\nmatrices: {lamp: {chart: [[a]], element: LED, style: 'STYLE'}}"
    wiring = wire(text.replace("STYLE", "high-side columns, low-side rows"))
    assert wiring.parts["lamp/C1R1/lamp"].nets == ("lamp/C1R1/socket", "lamp/C1R1/middle")
    wiring = wire(text.replace("STYLE", "low-side columns, high-side rows"))
    assert wiring.parts["lamp/C1R1/lamp"].nets == ("lamp/C1R1/middle", "lamp/C1R1/socket")


def test_idle_pull_only_where_the_style_or_a_fact_says_so():
    text = "title: A\nmatrices: {switch: {chart: [[a, b]], style: 'sink strobe, floating idle'EXTRA}}"
    assert "switch/C1/pull" not in wire(text.replace("EXTRA", "")).parts
    assert wire(text.replace("EXTRA", ", column_pull: 22k")).parts["switch/C1/pull"].values == {
        "ohm": 22000.0
    }
    weak = "title: A\nmatrices: {switch: {chart: [[a]], column_pull: none}}"
    assert "switch/C1/pull" not in wire(weak).parts


def test_decoded_columns_name_their_select_bits():
    wiring = wire(
        "title: A\nboards: {l: {}, d: {}}\nlink: {boards: [l, d], pins: 9}\n"
        "matrices: {switch: {chart: [[a, b, c, d, e]],"
        " decoder: {name: U4, lines: [{link: 1}, {link: 2}, {link: 3}]}}}\n"
    )
    assert_sound(wiring)
    drive = wiring.drives["switch/C4/drive"]
    assert drive.path == ("switch/decoder",)
    wanted = {"switch/select1/logic": 1, "switch/select2/link": 1, "switch/select3/logic": 0}
    assert wanted.items() <= dict(drive.select).items()
    patterns = {d.select for d in wiring.drives.values()}
    assert len(patterns) == 5
    assert wiring.connectors["link"].pins[:4] == (
        "switch/select1/link", "switch/select2/link", "switch/select3/link", "",
    )  # fmt: skip


def test_neighbours_come_from_pins_lugs_and_bundles():
    wiring = wire(
        "title: A\n"
        "connectors: {W1: {pins: 6, also: {5: ground, 6: coil}}}\n"
        "matrices: {switch: {chart: [[a, b, c]],"
        " columns: {C1: {pin: W1-1}, C2: {pin: W1-2}, C3: {pin: W1-4}}}}\n"
        "coils: {1: {}}\n"
        "bundles: [{lines: [switch C1, coil 1, switch R1]}]\n"
    )
    pairs = {frozenset((one, two)) for one, two, _ in wiring.neighbours}
    assert frozenset(("switch/C1/pin", "switch/C2/pin")) in pairs
    assert frozenset(("switch/C2/pin", "switch/C3/pin")) not in pairs
    assert frozenset(("switch/C3/pin", GROUND)) in pairs
    assert frozenset((GROUND, "rail/coil")) in pairs
    assert frozenset(("switch/C1/lug1", "switch/R1/lug1")) in pairs
    assert frozenset(("switch/C1/pin", "coil/1/pin")) in pairs
    assert frozenset(("coil/1/pin", "switch/R1/pin")) in pairs


def test_bare_charts_assume_pins_in_order():
    wiring = load_machine("bare_chart")
    pairs = {frozenset((one, two)): where for one, two, where in wiring.neighbours}
    assert "assumed" in pairs[frozenset(("switch/C1/pin", "switch/C2/pin"))]
    assert {p.origin for p in wiring.parts.values() if p.kind == "pin"} == {"assumed"}


def test_link_pins_stand_between_logic_and_drives():
    text = "title: A\nboards: {l: {}, d: {}}\nlink: {boards: [l, d]}\nmatrices: {switch: {chart: [[a]]}}\n"
    wiring = wire(text)
    assert wiring.drives["switch/C1/drive"].path == ("switch/C1/logic", "switch/C1/link")
    assert wiring.sensors["switch/R1/sensing"].path == ("switch/R1/link", "switch/R1/input")
    assert wiring.parts["switch/C1/logic"].board == "l"
    assert wiring.parts["switch/C1/driver"].board == "d"
