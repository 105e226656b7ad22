"""Short ways to a wiring, and what must hold for every machine."""

from __future__ import annotations

from collections import Counter

import pytest

from matrixdoc.definition.errors import InputError
from matrixdoc.definition.library import machine_from_text
from matrixdoc.definition.references import is_reference
from matrixdoc.definition.wiring import GROUND, Wiring

TERMINALS = {
    "strobe_push_pull": 3,
    "strobe_source_push_pull": 3,
    "changeover": 3,
} | dict.fromkeys(
    ("logic_output", "link_pin", "pre_driver", "decoder", "logic_input", "enable", "relay_coil_driver"), 0
)
CONTACTS = frozenset({"contact", "phototransistor", "low_side_npn"})


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
    assert_optos(wiring)
    nets = {*ends, GROUND}
    for one, two, where in wiring.neighbours:
        assert one < two
        assert where
        assert {one, two} <= nets
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
        assert set(drive.path) <= wiring.parts.keys()
    for sensor in wiring.sensors.values():
        assert wiring.parts[sensor.reference].nets[0] == sensor.net
        assert 0 <= sensor.low_v <= sensor.high_v
        assert set(sensor.path) <= wiring.parts.keys()


def assert_matrices(wiring: Wiring, nets: set[str]) -> None:
    for name, matrix in wiring.matrices.items():
        keys = {line.key: line for line in (*matrix.columns, *matrix.rows)}
        for line in keys.values():
            assert line.board_net in nets
            assert set(line.parts) <= wiring.parts.keys()
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
        assert wiring.parts[switch.contact].kind in CONTACTS
        assert not switch.sensor or switch.sensor in wiring.sensors
    for coil in wiring.coils.values():
        assert coil.element in coil.parts
        assert set(coil.parts) <= wiring.parts.keys()
        assert {coil.drive, *coil.also} <= wiring.drives.keys()
        assert not coil.matrix or coil.matrix in wiring.matrices
        assert set(coil.enable) <= wiring.parts.keys()
        assert not coil.fired_by or coil.fired_by in wiring.switches
        assert not coil.trigger or coil.trigger in wiring.sensors
    for lamp in wiring.lamps.values():
        assert lamp.element in wiring.parts
        assert lamp.always_on or lamp.drive in wiring.drives


def assert_optos(wiring: Wiring) -> None:
    parts = wiring.parts
    for reference, opto in wiring.optos.items():
        switch = wiring.switches[reference]
        assert switch.contact == opto.contact
        assert parts[opto.emitter].kind == "emitter"
        assert parts[opto.receiver].kind == "phototransistor"
        at = opto.feed
        for name in opto.parts:
            one, two = parts[name].nets
            assert one == at
            at = two
        assert at == GROUND
        assert opto.emitter in opto.parts
        # Where a buffer stands between, a blocked beam closes the switch; otherwise it opens it.
        assert switch.normally_closed is (not opto.sensor)
        assert (opto.contact == opto.receiver) is (not opto.sensor)
        if opto.sensor:
            assert wiring.sensors[opto.sensor].net == parts[opto.receiver].nets[0]
    for switch in wiring.switches.values():
        assert (parts[switch.contact].kind != "contact") is (switch.reference in wiring.optos)
