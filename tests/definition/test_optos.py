"""Optical pairs: emitter on a supply of its own, receiver in the place of a contact."""

from __future__ import annotations

import pytest

from matrixdoc.definition.styles import load_styles
from matrixdoc.definition.wiring import GROUND
from tests.definition.wirings import assert_sound, problems, wire

CELL = "title: A\nmatrices: {switch: {chart: [[a, b]], style: 'STYLE', order: ORDER, cells: {C1R1: CELL}}}"


def cell(facts: str, style: str = "sink strobe, weak idle", order: str = "contact first") -> str:
    return CELL.replace("STYLE", style).replace("ORDER", order).replace("CELL", facts)


@pytest.mark.parametrize("style", sorted(load_styles().switch))
@pytest.mark.parametrize("order", ["contact first", "diode first"])
@pytest.mark.parametrize("blocked", ["open", "closed"])
def test_current_enters_the_receiver_at_its_collector(style, order, blocked):
    wiring = wire(cell(f"{{element: opto, opto: {{blocked: {blocked}}}}}", style, order))
    assert_sound(wiring)
    contact = wiring.parts[wiring.switches["switch/C1R1"].contact]
    diode = wiring.parts["switch/C1R1/diode"]
    # Contact and diode stand in one line between row and column: the end of one is the start of the
    # other, whichever comes first.
    assert contact.nets[1] == diode.nets[0] or diode.nets[1] == contact.nets[0]
    row_first = style.startswith("sink")
    first = "switch/C1R1/row" if row_first else "switch/C1R1/column"
    assert first in (contact.nets[0], diode.nets[0])


def test_a_receiver_without_a_buffer_is_a_contact_that_a_ball_opens():
    wiring = wire(cell("{element: opto, opto: {emitter_resistor: 220 ohm}}"))
    opto, switch = wiring.optos["switch/C1R1"], wiring.switches["switch/C1R1"]
    assert switch.normally_closed
    assert opto.contact == opto.receiver == "switch/C1R1/phototransistor"
    assert opto.parts == tuple(
        f"switch/C1R1/{name}" for name in ("emitter_feed", "emitter_resistor", "emitter", "emitter_return")
    )
    assert wiring.parts["switch/C1R1/emitter_resistor"].values == {"ohm": 220.0}
    assert opto.feed == "rail/opto"
    assert wiring.supplies["opto"].nominal_v == 12.0
    assert not wiring.switches["switch/C2R1"].normally_closed


def test_a_buffered_receiver_pulls_its_buffer_down_while_light_arrives():
    wiring = wire(cell("{element: opto, opto: {blocked: closed, receiver_pull: 4.7 kohm}}"))
    opto = wiring.optos["switch/C1R1"]
    receiver, pull = wiring.parts[opto.receiver], wiring.parts["switch/C1R1/receiver_pull"]
    assert receiver.nets == ("switch/C1R1/received", GROUND)
    assert pull.nets == ("switch/C1R1/received", "rail/opto")
    assert pull.values == {"ohm": 4700.0}
    sensor = wiring.sensors[opto.sensor]
    assert sensor.closed_reads == "high"
    # A comparator at half of 12 V (LM339 data sheets: offset at most 5 mV, here scaled with the rail).
    assert sensor.low_v == pytest.approx(6.0, abs=0.02)
    assert sensor.high_v == pytest.approx(6.0, abs=0.02)
    assert wiring.parts[opto.contact].kind == "low_side_npn"


def test_emitters_share_a_feed():
    wiring = wire(
        "title: A\n"
        "supplies: {beam: {volts: 12 V, regulator: U9}}\n"
        "feeds: {beams: {supply: beam, fuse: 1 A}}\n"
        "matrices: {switch: {chart: [[a, b]], element: opto, opto: {feed: beams}}}\n"
        "direct_switches: {gate: {element: opto, opto: {feed: beams, blocked: closed}}}\n"
    )
    assert_sound(wiring)
    assert {opto.feed for opto in wiring.optos.values()} == {"feed/beams/end"}
    assert set(wiring.optos) == {"switch/C1R1", "switch/C2R1", "direct switch/gate"}
    gate = wiring.parts[wiring.switches["direct switch/gate"].contact]
    assert gate.nets == ("direct switch/gate/near", "direct switch/gate/far")


def test_a_cell_may_differ_from_its_matrix():
    wiring = wire(
        "title: A\nmatrices: {switch: {chart: [[a, b, c]], element: opto,"
        " opto: {blocked: closed, emitter_resistor: 330 ohm},"
        " cells: {C2R1: {opto: {blocked: open}}, C3R1: {element: leaf}}}}"
    )
    assert_sound(wiring)
    assert wiring.optos["switch/C1R1"].sensor
    assert not wiring.optos["switch/C2R1"].sensor
    assert wiring.parts["switch/C2R1/emitter_resistor"].values == {"ohm": 330.0}
    assert "switch/C3R1" not in wiring.optos


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (cell("{element: opto, normally: closed}"), "'normally: closed' of an optical pair"),
        (cell("{element: leaf, opto: {}}"), "'opto' of a leaf contact"),
        (cell("{element: opto, opto: {supply: bem}}"), "a supply"),
        (cell("{element: opto, opto: {blocked: shut}}"), "open"),
        ("title: A\nmatrices: {lamp: {chart: [[a]], opto: {}}}", "'opto' in a lamp matrix"),
        ("title: A\ndirect_switches: {a: {opto: {}}}", "'opto' of a leaf contact"),
    ],
)
def test_what_does_not_fit_a_pair(text, said):
    assert said in "\n".join(words for _, words in problems(text))
