"""From the authoring form to the resolved wiring."""

from __future__ import annotations

from collections import Counter
from contextlib import suppress

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from matrixdoc.definition.compile import compile_machine, digest
from matrixdoc.definition.errors import InputError
from matrixdoc.definition.library import list_machines, load_machine, machine_from_text
from matrixdoc.definition.lint import lint
from matrixdoc.definition.references import is_reference
from matrixdoc.definition.schema import MachineForm
from matrixdoc.definition.styles import load_styles
from matrixdoc.definition.wiring import GROUND, Wiring

TERMINALS = {
    "strobe_push_pull": 3,
    "strobe_source_push_pull": 3,
    "changeover": 3,
} | dict.fromkeys(
    ("logic_output", "link_pin", "pre_driver", "decoder", "logic_input", "enable", "relay_coil_driver"), 0
)

# References are for ever: a job log or a printed sheet holds them. Never change a line here.
GOLDEN = """
switch/C1/logic; switch/C1/link; switch/C1/predriver; switch/C1/driver; switch/C1/pull; switch/C1/header;
switch/C1/pin; switch/C1/wire; switch/C3/segment2; switch/C3/segment8; switch/R5/pull; switch/R5/sensing;
switch/R5/link; switch/R5/input; switch/R5/header; switch/R5/pin; switch/R5/wire; switch/R5/segment2;
switch/C3R5/contact; switch/C3R5/diode; switch/C3R5/column_stub; switch/C3R5/row_stub;
switch/C3R8/capacitor; lamp/C2/driver; lamp/C2/pin; lamp/R4/driver; lamp/R4/resistor; lamp/R4/header;
lamp/R4/pin; lamp/R4/segment3; lamp/C2R1/lamp; lamp/C2R1/socket; lamp/C2R1/diode; lamp/C2R1/column_stub;
lamp/C2R1/row_stub; coil/7/logic; coil/7/link; coil/7/predriver; coil/7/driver; coil/7/header;
coil/7/pin; coil/7/wire; coil/7/winding; coil/7/diode; coil/7/feed; coil/31/predriver; coil/31/winding;
coil/left flipper/power; coil/left flipper/hold; coil/left flipper/eos; coil/left flipper/diode;
coil/left flipper/button; coil/left flipper/button wire; coil/left flipper/wire; coil/left flipper/pin;
coil/left flipper/feed; output/flippers/driver; output/flippers/relay; output/flippers/predriver;
enable/play/logic; enable/play/link; feed/lower/fuse; feed/lower/pin; feed/lower/header; feed/lower/wire;
supply/coil/winding; supply/coil/pin; supply/coil/wire; supply/coil/fuse; supply/coil/rectifier1;
supply/coil/rectifier4; supply/coil/capacitor; supply/logic/regulator; direct switch/left coin/contact;
direct switch/left coin/sensing; direct switch/left coin/pull; direct switch/left coin/return;
illumination/head/fuse; illumination/head/lamp14; illumination/head/socket14;
illumination/head/return pin
"""


def golden_references() -> list[str]:
    return [reference.strip() for reference in GOLDEN.split(";")]


def wire(text: str) -> Wiring:
    return machine_from_text(text, "test.yaml")


def problems(text: str) -> list[tuple[int, str]]:
    with pytest.raises(InputError) as caught:
        wire(text)
    return [(p.line, str(p)) for p in caught.value.problems]


def assert_sound(wiring: Wiring) -> None:
    """What must hold for every machine."""
    rails = {s.rail for s in wiring.supplies.values()}
    ends: Counter[str] = Counter()
    for reference, part in wiring.parts.items():
        assert part.reference == reference
        assert is_reference(reference), reference
        assert len(part.nets) == TERMINALS.get(part.kind, 2), reference
        assert len(set(part.nets)) == len(part.nets), reference
        assert part.title
        assert part.place in wiring.places, reference
        ends.update(part.nets)
    lonely = {net for net, count in ends.items() if count < 2 and net not in rails and net != GROUND}
    # The contact of a relay's set that nothing uses, and a line of a matrix without cells.
    bare = {
        line.board_net
        for m in wiring.matrices.values()
        for line in (*m.columns, *m.rows)
        if not line.lug_nets
    }
    assert {net for net in lonely if not net.endswith("/unused")} <= bare
    assert_drives(wiring)
    assert_matrices(wiring, set(ends))
    assert_users(wiring)
    for one, two, where in wiring.neighbours:
        assert one < two
        assert where
        assert {one, two} <= set(ends) | {GROUND}
    assert len({(one, two) for one, two, _ in wiring.neighbours}) == len(wiring.neighbours)
    for connector in wiring.connectors.values():
        for number, reference in enumerate(connector.pins, start=1):
            if reference:
                assert wiring.parts[reference].connector == connector.key
                assert wiring.parts[reference].position == number


def assert_drives(wiring: Wiring) -> None:
    for drive in wiring.drives.values():
        assert is_reference(drive.reference)
        assert drive.output in wiring.parts
        assert set(drive.path) <= set(wiring.parts)
    for sensor in wiring.sensors.values():
        assert wiring.parts[sensor.reference].nets[0] == sensor.net
        assert 0 <= sensor.low_v <= sensor.high_v
        assert set(sensor.path) <= set(wiring.parts)


def assert_matrices(wiring: Wiring, nets: set[str]) -> None:
    for name, matrix in wiring.matrices.items():
        keys = {line.key: line for line in (*matrix.columns, *matrix.rows)}
        for line in keys.values():
            assert line.board_net in nets
            assert set(line.parts) <= set(wiring.parts)
            assert set(line.lug_nets) <= nets
            assert (line.drive in wiring.drives) or (line.sensor in wiring.sensors)
        for cell in matrix.cells:
            assert cell.reference == f"{name}/{cell.column}{cell.row}"
            first, last = wiring.parts[cell.parts[0]], wiring.parts[cell.parts[-1]]
            assert first.nets[0] in keys[cell.column].lug_nets
            assert last.nets[0] in keys[cell.row].lug_nets
            inner = [r for r in cell.parts[1:-1] if wiring.parts[r].kind != "capacitor"]
            assert cell.element in inner
            assert cell.diode in inner
            at = first.nets[1]
            for reference in inner:
                one, two = wiring.parts[reference].nets
                assert at in (one, two)
                at = two if one == at else one
            assert at == last.nets[1]


def assert_users(wiring: Wiring) -> None:
    for switch in wiring.switches.values():
        assert wiring.parts[switch.contact].kind == "contact"
        assert not switch.sensor or switch.sensor in wiring.sensors
    for coil in wiring.coils.values():
        assert coil.element in coil.parts
        assert set(coil.parts) <= set(wiring.parts)
        assert coil.drive in wiring.drives
        assert set(coil.enable) <= set(wiring.parts)
        assert not coil.fired_by or coil.fired_by in wiring.switches
        assert not coil.trigger or coil.trigger in wiring.sensors
    for lamp in wiring.lamps.values():
        assert lamp.element in wiring.parts
        assert lamp.always_on or lamp.drive in wiring.drives


# -- shipped machines ------------------------------------------------------------------------------


@pytest.mark.parametrize("name", [m.name for m in list_machines()])
def test_shipped_machines_are_sound(name):
    assert_sound(load_machine(name))


def test_references_stay_what_they_were():
    wiring = load_machine("lantern_quay")
    references = golden_references()
    assert len(references) > 70
    assert [r for r in references if r not in wiring.parts] == []
    assert [r for r in references if not is_reference(r)] == []


def test_same_text_gives_same_digest_and_a_changed_fact_another():
    text = "title: A\ncoils: {1: {resistance: 8 ohm}}"
    assert wire(text).digest == wire(text.replace("8 ohm", "8.0")).digest
    assert wire(text).digest != wire(text.replace("8 ohm", "9 ohm")).digest
    assert len(wire(text).digest) == 64
    assert digest(wire(text)) == wire(text).digest


# -- charts of any size ----------------------------------------------------------------------------


def chart_machine(
    columns: int, rows: int, fitted: list[bool], style: str, lamp_style: str, start: int
) -> Wiring:
    cells = [
        ["x" if fitted[(r * columns + c) % len(fitted)] else "-" for c in range(columns)] for r in range(rows)
    ]
    cells[0][0] = "x"
    return compile_machine(
        MachineForm.model_validate(
            {
                "title": "sizes",
                "matrices": {
                    "switch": {"chart": cells, "style": style, "numbered_from": start},
                    "lamp": {"chart": cells, "style": lamp_style, "numbered_from": start},
                },
            }
        )
    )


@settings(max_examples=40, deadline=None)
@given(
    columns=st.integers(1, 32),
    rows=st.integers(1, 32),
    fitted=st.lists(st.booleans(), min_size=1, max_size=12),
    style=st.sampled_from(sorted(load_styles().switch)),
    lamp_style=st.sampled_from(sorted(load_styles().lamp)),
    start=st.integers(0, 1),
)
def test_any_size_and_style_is_sound(columns, rows, fitted, style, lamp_style, start):
    # Small charts often, large ones sometimes: the work grows with the area.
    columns, rows = (columns, min(rows, 6)) if columns > rows else (min(columns, 6), rows)
    wiring = chart_machine(columns, rows, fitted, style, lamp_style, start)
    assert_sound(wiring)
    for matrix in wiring.matrices.values():
        assert [line.key for line in matrix.columns] == [f"C{n + start}" for n in range(columns)]
        assert [line.key for line in matrix.rows] == [f"R{n + start}" for n in range(rows)]


def test_the_largest_chart_is_sound():
    wiring = chart_machine(32, 32, [True], "sink strobe, push-pull", "low-side columns, high-side rows", 1)
    assert_sound(wiring)
    assert len(wiring.matrices["switch"].cells) == 1024


def test_a_chart_of_33_is_refused():
    with pytest.raises(InputError, match="at most 32"):
        chart_machine(33, 1, [True], "sink strobe, weak idle", "low-side columns, high-side rows", 1)


def test_transposed_and_running_numbers():
    across = wire("title: A\nmatrices: {switch: {chart: [[a, b, c], [d, e, f]], numbering: {first: 11}}}")
    down = wire(
        "title: A\nmatrices: {switch: {chart: [[a, d], [b, e], [c, f]], across: rows,"
        " numbering: {along: columns, first: 11}}}"
    )
    assert across.digest == down.digest
    titles = {c.reference: (c.title, c.aliases) for c in across.matrices["switch"].cells}
    assert titles["switch/C1R2"] == ("d", ("12",))
    assert titles["switch/C2R1"] == ("b", ("13",))


@settings(max_examples=25, deadline=None)
@given(st.permutations(range(1, 7)))
def test_chains_run_as_stated(order):
    chart = ", ".join(f"[n{r}]" for r in range(1, 7))
    chain = " ".join(map(str, order))
    wiring = wire(
        f"title: A\nmatrices: {{switch: {{chart: [{chart}], columns: {{C1: {{chain: {chain}}}}}}}}}"
    )
    column = wiring.matrices["switch"].columns[0]
    assert column.chain_order == "known"
    for index, row in enumerate(order, start=1):
        stub = wiring.parts[f"switch/C1R{row}/column_stub"]
        assert stub.nets[0] == f"switch/C1/lug{index}" == column.lug_nets[index - 1]
        if index > 1:
            assert wiring.parts[f"switch/C1/segment{index}"].nets == column.lug_nets[index - 2 : index]


def test_chain_order_is_known_assumed_or_unknown():
    wiring = wire(
        "title: A\nmatrices: {switch: {chart: [[a, b, c], [d, e, f]],"
        " columns: {C1: {chain: unknown}, C2: {chain: as the chart}}}}"
    )
    assert [c.chain_order for c in wiring.matrices["switch"].columns] == ["unknown", "known", "assumed"]


# -- circuits --------------------------------------------------------------------------------------


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


# -- what is wrong is said, all at once ------------------------------------------------------------


def test_all_contradictions_at_once_with_their_lines():
    found = problems(
        "title: A\n"  # 1
        "places: {door: {minutes: 1}}\n"
        "boards: {one: {place: attic}}\n"  # 3
        "connectors: {W1: {pins: 3, also: {3: ground, 9: nothing}}}\n"  # 4, twice
        "matrices:\n"
        "  switch:\n"
        "    chart: [[a, a, -]]\n"
        "    columns:\n"
        "      C1: {pin: W1-1, chain: 1 1}\n"  # 9
        "      C2: {pin: W1-1}\n"  # 10: taken
        "      C9: {}\n"  # 11
        "    rows: {R1: {pin: W1-3, chain: C1 C2}}\n"  # 3 of W1 is ground: line 4
        "    cells:\n"
        "      C3R1: {}\n"  # 14: not fitted
        "      X: {}\n"  # 15
        "  odd: {chart: [[a, b], [c]], device: lamp, style: wrong style}\n"  # 16, twice
        "  what: {chart: [[a]]}\n"  # 17
        "feeds: {f: {supply: col}}\n"  # 18
        "coils:\n"
        "  1: {fired_by: a, feed: g}\n"  # 20: ambiguous; unknown feed
        "  2: {fired_by: zebra, supply: coyl, style: low-side Darlingtn}\n"  # 21, three times
        "  3: {enable: [x], pin: Q9-1, link: 4}\n"  # 22: enable, connector, no link
        "bundles: [{lines: [switch C1, switch C7]}]\n"  # 23
    )
    assert [line for line, _ in found] == [
        3, 4, 4, 4, 9, 10, 11, 14, 15, 16, 16, 17, 18, 20, 20, 21, 21, 21, 22, 22, 22, 23,
    ]  # fmt: skip
    text = "\n".join(words for _, words in found)
    assert "did you mean 'coil'" in text
    assert "did you mean 'low-side Darlington'" in text
    assert "which is switch C1R1, switch C2R1" in text


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("matrices: {coil: {chart: [[a]], device: lamp}}", "a name that is not one of"),
        ("matrices: {switch: {chart: [[-]]}}", "a name in at least one cell"),
        ("matrices: {switch: {chart: []}}", "at least one row"),
        ("matrices: {switch: {chart: [[a]], lamp: 44}}", "'lamp' in a switch matrix"),
        ("matrices: {lamp: {chart: [[a]], row_pull: 1k}}", "'row_pull' in a lamp matrix"),
        ("matrices: {switch: {chart: [[a]], reads_low_at: 3 V, reads_high_at: 2 V}}", "at most 2 V"),
        ("matrices: {switch: {chart: [[a]], element: LED}}", "leaf, snap-action, reed or opto"),
        ("matrices: {switch: {chart: [[a], [b]], columns: {C1: {chain: 1}}}}", "every fitted cell"),
        ("matrices: {switch: {chart: [[a]], columns: {1: {}, C1: {}}}}", "each line once"),
        ("matrices: {switch: {chart: [[a]], cells: {c1r1: {}, C1R1: {}}}}", "each cell once"),
        ("coils: {left flipper: {}}", "under 'flippers:'"),
        ("flippers: {left: {}, left flipper: {}}", "different names"),
        ("flippers: {left: {eos: C1R1}}", "of a high-current flipper"),
        ("flippers: {left: {end_of_stroke: low-current, output: x}}", "of a low-current flipper"),
        ("outputs: {x: {pin: A-1}}\nflippers: {left: {output: x}}", "pins at the circuits that share it"),
        ("supplies: {x: {alternating: yes, bridge: 1N4004}}\ncoils: {1: {}}", "on an alternating supply"),
        ("boards: {a: {}, b: {}}\nlink: {boards: [a, c]}\ncoils: {1: {}}", "a board: a or b"),
        (
            "boards: {a: {}, b: {}}\nlink: {boards: [a, b], pins: 9}\ncoils: {1: {link: 3}, 2: {link: 3}}",
            "position 3 again",
        ),
        ("boards: {a: {}, b: {}}\nlink: {boards: [a, b], pins: 9}\ncoils: {1: {link: 10}}", "from 1 to 9"),
        ("connectors: {W: {pins: 2}}\ncoils: {1: {pin: W-3}}", "a position from 1 to 2"),
        ("places: {door: {minutes: 1}}\ncoils: {1: {place: dor}}", "did you mean 'door'"),
        ("matrices: {switch: {chart: [[a, b, c]], decoder: {lines: [{}]}}}", "2 lines"),
        (
            "matrices: {switch: {chart: [[a]], decoder: {lines: [{}]}, columns: {C1: {logic: U1}}}}",
            "logic of a decoded drive",
        ),
        (
            "feeds: {f: {supply: coil, chain: [2]}}\ncoils: {1: {feed: f}, 2: {}}",
            "what hangs on this feed: coil 1",
        ),
        ("feeds: {f: {supply: coil, chain: [1, coil 1]}}\ncoils: {1: {feed: f}}", "each once"),
        (
            "boards: {a: {}, b: {}}\nlink: {boards: [a, b]}\ncoils: {1: {link: 1, board: a}}",
            "a part on board b",
        ),
        (
            "boards: {a: {}, b: {}}\nconnectors: {link: {}}\nlink: {boards: [a, b]}\ncoils: {1: {}}",
            "another name",
        ),
        ("notes: [nothing else]", "at least one matrix, coil, lamp or switch"),
        ("direct_switches: {a: {sensing: magic}}", "a kind of sensing"),
    ],
)
def test_contradictions(text, said):
    found = problems(f"title: A\n{text}")
    assert said in "\n".join(words for _, words in found)


def test_hundreds_of_errors_end_quickly():
    lines = ", ".join(f"nothing {n}" for n in range(250))
    bundles = ", ".join(f"{{lines: [{lines}]}}" for _ in range(40))
    assert len(problems(f"title: A\ncoils: {{1: {{}}}}\nbundles: [{bundles}]")) <= 200


def test_more_cells_than_any_machine_has_are_refused():
    chart = "[" + ", ".join("[" + ", ".join("a" * 32) + "]" for _ in range(32)) + "]"
    text = "title: A\nmatrices:\n" + "".join(f"  switch {n}: {{chart: {chart}}}\n" for n in range(9))
    assert "at most" in problems(text)[0][1]


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_a_damaged_definition_gives_an_error_or_a_machine(data):
    path = next(m.path for m in list_machines() if m.name == "lantern_quay")
    lines = path.read_text("utf-8").splitlines()
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(lines) - 1))
        change = data.draw(st.sampled_from(["drop", "copy", "cut", "swap", "word"]))
        if change == "drop":
            del lines[at]
        elif change == "copy":
            lines.insert(at, lines[data.draw(st.integers(0, len(lines) - 1))])
        elif change == "cut":
            lines[at] = lines[at][: data.draw(st.integers(0, len(lines[at])))]
        elif change == "swap":
            other = data.draw(st.integers(0, len(lines) - 1))
            lines[at], lines[other] = lines[other], lines[at]
        else:
            words = lines[at].split(" ")
            words[data.draw(st.integers(0, len(words) - 1))] = data.draw(
                st.sampled_from(
                    ["none", "0", "-1", "²", "C1R1", "{}", "[]", "yes", "ground", "9 V", "unknown"]
                )
            )
            lines[at] = " ".join(words)
    # Anything but an InputError ends the test.
    with suppress(InputError):
        assert wire("\n".join(lines)).parts


# -- a second look ---------------------------------------------------------------------------------


def test_lint_warns_of_unfused_bridges_and_the_like():
    coil = "{title: x, resistance: 1 ohm, diode: none}"
    text = f"title: A\nsupplies: {{coil: {{winding_fuse: FUSE}}}}\ncoils: {{1: {coil}}}"
    bare = "\n".join(lint(wire(text.replace("FUSE", "none"))))
    assert "can start a fire" in bare
    assert "no fuse anywhere on the way to x" in bare
    assert "no diode is stated" in bare
    assert "1 ohm would draw up to 36 A" in bare
    fused = "\n".join(lint(wire(text.replace("FUSE", "8 A"))))
    assert "fire" not in fused
    assert "no fuse" not in fused


def test_lint_warns_of_names_and_orders():
    warnings = "\n".join(lint(wire("title: A\nmatrices: {switch: {chart: [[a, a], [b, c]]}}")))
    assert "2 switches are called 'a'" in warnings
    assert "wiring order" in warnings
    assert "assumed that a fuse" in warnings
