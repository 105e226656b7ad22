"""What is on the way of a cell, a lamp, a coil; what they share."""

from __future__ import annotations

import dataclasses
from itertools import pairwise

import pytest

from matrixdoc.circuit.netlist import build_circuit
from matrixdoc.circuit.paths import (
    current_path,
    device_elements,
    drive_of,
    only_on,
    part_multigraph,
    shared_by,
    shared_parts,
    upstream,
)
from matrixdoc.definition.wiring import GROUND, Coil, Drive, Part
from tests.circuit.wirings import WiringBuilder, lamp_matrix, switch_matrix

SWITCHES = build_circuit(switch_matrix(8, 8).build())


def names(path):
    return [step.reference for step in path]


def test_path_of_a_switch_cell():
    assert names(current_path(SWITCHES, "switch/C2R3")) == [
        "switch/R3/pull",
        "switch/R3/pin",
        "switch/R3/wire",
        "switch/R3/segment1",
        "switch/C2R3/joint",
        "switch/C2R3/diode",
        "switch/C2R3/contact",
        "switch/C2R3/stub",
        "switch/C2/segment2",
        "switch/C2/segment1",
        "switch/C2/wire",
        "switch/C2/pin",
        "switch/C2/drive",
    ]


def test_the_current_runs_from_net_to_net():
    for cell in SWITCHES.wiring.matrices["switch"].cells:
        path = current_path(SWITCHES, cell.reference)
        assert path[0].enters == "rail/logic"
        assert path[-1].leaves == GROUND
        assert all(a.leaves == b.enters for a, b in pairwise(path))
        assert {cell.element, cell.diode} <= set(names(path))
        # No device of another cell is on the way.
        assert [step.reference for step in path if step.kind == "contact"] == [cell.element]


def test_a_column_part_serves_its_column():
    assert shared_by(SWITCHES, "switch/C2/pin") == tuple(f"switch/C2R{r}" for r in range(1, 9))
    tail = shared_by(SWITCHES, "switch/C2/segment5")
    assert tail == tuple(f"switch/C2R{r}" for r in range(6, 9))


def test_two_cells_of_a_column_share_its_head():
    shared = shared_parts(SWITCHES, "switch/C2R3", "switch/C2R5")
    assert set(shared) == {
        "switch/C2/segment2",
        "switch/C2/segment1",
        "switch/C2/wire",
        "switch/C2/pin",
        "switch/C2/drive",
    }
    assert shared_parts(SWITCHES, "switch/C2R3", "switch/C4R5") == ()


def test_own_parts_of_a_cell():
    assert set(only_on(SWITCHES, "switch/C2R3")) == {
        f"switch/C2R3/{name}" for name in ("joint", "diode", "contact", "stub")
    }
    against = only_on(SWITCHES, "switch/C2R3", ["switch/C2R5"])
    assert "switch/R3/pin" in against
    assert "switch/C2/pin" not in against


def test_steps_carry_pin_colour_and_place():
    builder = switch_matrix(2, 2)
    pin = builder.parts["switch/C1/pin"]
    builder.parts["switch/C1/pin"] = dataclasses.replace(
        pin, board="driver", connector="K4", position=3, colour="GNBN", place="backbox"
    )
    step = next(
        s for s in current_path(build_circuit(builder.build()), "switch/C1R1") if s.reference == pin.reference
    )
    assert (step.board, step.connector, step.position, step.colour, step.place) == (
        "driver",
        "K4",
        3,
        "GNBN",
        "backbox",
    )


def test_path_of_a_lamp():
    path = names(current_path(build_circuit(lamp_matrix(4, 4).build()), "lamp/C2R3"))
    assert path[0] == "lamp/C2/drive"
    assert path[-1] == "lamp/R3/drive"
    assert [name for name in path if name.endswith("/lamp")] == ["lamp/C2R3/lamp"]


def coil_machine():
    builder = WiringBuilder()
    builder.add("winding", "winding", "ac1", "ac2")
    builder.add("fuse", "fuse", "ac1", "ac3")
    for number, ends in enumerate((("ac3", "rail"), ("ac2", "rail"), (GROUND, "ac3"), (GROUND, "ac2")), 1):
        builder.add(f"rectifier{number}", "rectifier", *ends)
    builder.supply(
        "coil",
        "rail",
        50.0,
        stiff=False,
        ohm=0.5,
        ac_parts=("winding", "fuse"),
        rectifiers=tuple(f"rectifier{n}" for n in range(1, 5)),
    )
    for number in (1, 2):
        builder.add(f"coil{number}", "coil", "rail", f"lug{number}")
        builder.add(f"diode{number}", "diode", f"lug{number}", "rail", type_name="1N4004")
        builder.add(f"drive{number}", "low_side", f"lug{number}", GROUND)
        builder.parts[f"logic{number}"] = Part(f"logic{number}", "logic_output")
        builder.drives[f"d{number}"] = Drive(f"d{number}", "", (f"logic{number}",), f"drive{number}")
        builder.coils[f"coil/{number}"] = Coil(
            f"coil/{number}", "", f"coil{number}", f"d{number}", f"diode{number}"
        )
    return build_circuit(builder.build())


def test_path_of_a_coil_starts_at_the_winding():
    circuit = coil_machine()
    path = names(current_path(circuit, "coil/1"))
    assert path[:2] == ["winding", "fuse"]
    assert path[-2:] == ["coil1", "drive1"]
    assert "logic1" in upstream(circuit, "coil/1")
    assert [drive.reference for drive in drive_of(circuit, "coil/1")] == ["d1"]
    assert shared_by(circuit, "fuse") == ("coil/1", "coil/2")
    assert set(only_on(circuit, "coil/1")) == {"coil1", "drive1", "logic1"}


def test_a_part_of_the_signal_layer_has_no_current_path():
    assert current_path(coil_machine(), "logic1") == ()


def test_unknown_names_are_said():
    with pytest.raises(ValueError, match="no part or device 'nothing'"):
        current_path(SWITCHES, "nothing")
    with pytest.raises(ValueError, match="no part 'nothing'"):
        shared_by(SWITCHES, "nothing")


def test_the_undirected_graph_has_every_part_once():
    graph = part_multigraph(SWITCHES)
    keys = [key for _, _, key in graph.edges(keys=True)]
    assert sorted(keys) == sorted(name for name, part in SWITCHES.parts.items() if len(part.nets) == 2)
    assert len(device_elements(SWITCHES)) == 64
