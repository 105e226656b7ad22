"""What is on the way of a cell, a lamp, a coil; what they share."""

from __future__ import annotations

import dataclasses
from itertools import pairwise

import pytest

from matrixdoc.circuit.elements import Circuit
from matrixdoc.circuit.netlist import Instant, build_circuit, operating_points
from matrixdoc.circuit.paths import (
    conducting,
    current_path,
    device_elements,
    device_of,
    part_multigraph,
    services,
)
from matrixdoc.circuit.sharing import drive_of, only_on, shared_by, shared_parts, upstream
from matrixdoc.definition.library import machine_from_text
from matrixdoc.definition.wiring import GROUND, Coil, Drive, Part
from tests.circuit.wirings import WiringBuilder, switch_matrix
from tests.proof.definitions import SHIPPED, STYLED, text_of

BANK = """
title: Bank
matrices:
  coil bank:
    feed: some
    chart: |
      one | two
      three | -
  lamp: {style: "high-side columns, low-side rows", chart: "a | b"}
feeds:
  some: {supply: coil, fuse: {name: F5, rating: 3 A}, chain: [1, coil bank, 2]}
coils:
  1: {feed: some, style: high-side PNP}
  2: {feed: some}
"""
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


def bank():
    return build_circuit(machine_from_text(BANK))


def test_path_of_a_lamp():
    path = names(current_path(bank(), "lamp/C2R1"))
    at = path.index("lamp/C2/driver")
    assert path[at - 1] == "supply/lamp/capacitor"
    assert path[-1] == "lamp/R1/driver"
    assert [name for name in path if name.endswith("/lamp")] == ["lamp/C2R1/lamp"]


def test_path_of_a_coil_in_a_matrix_comes_from_its_own_feed_through_its_own_lines():
    circuit = bank()
    path = names(current_path(circuit, "coil bank/C1R2"))
    assert path[:2] == ["supply/coil/winding", "supply/coil/pin"]
    assert "supply/coil/fuse" in path
    assert path[path.index("feed/some/fuse") :] == [
        "feed/some/fuse",
        "feed/some/header",
        "feed/some/pin",
        "feed/some/wire",
        "coil/1/feed",
        "coil bank/feed",
        "coil bank/C1/driver",
        "coil bank/C1/header",
        "coil bank/C1/pin",
        "coil bank/C1/wire",
        "coil bank/C1/segment2",
        "coil bank/C1R2/column_stub",
        "coil bank/C1R2/winding",
        "coil bank/C1R2/diode",
        "coil bank/C1R2/row_stub",
        "coil bank/R2/wire",
        "coil bank/R2/pin",
        "coil bank/R2/header",
        "coil bank/R2/driver",
    ]
    assert {drive.output for drive in drive_of(circuit, "coil bank/C1R2")} == {
        "coil bank/C1/driver",
        "coil bank/R2/driver",
    }


def test_path_of_a_high_side_coil_runs_through_its_drive_first():
    path = names(current_path(bank(), "coil/1"))
    assert path[path.index("coil/1/feed") :] == [
        "coil/1/feed",
        "coil/1/driver",
        "coil/1/header",
        "coil/1/pin",
        "coil/1/wire",
        "coil/1/winding",
        "coil/1/return wire",
    ]
    # Its diode takes over when the coil is let go, and carries no current of the supply.
    assert current_path(bank(), "coil/1/diode") == ()


MACHINES = (*SHIPPED, *STYLED)


def machine(name: str) -> Circuit:
    return build_circuit(machine_from_text(text_of(name, 3)))


@pytest.mark.parametrize("name", MACHINES)
def test_each_step_of_each_path_carries_the_current_of_its_load(name):
    """Drive each load, and ask the solver: at least half of its current, in the direction told."""
    circuit = machine(name)
    loads = [load for load in services(circuit) if device_of(circuit, load) == load]
    assert loads
    elements = {load: services(circuit)[load].element for load in loads}
    others = [
        part
        for part in circuit.part_names
        if part not in elements.values() and not device_of(circuit, part) and current_path(circuit, part)
    ]
    asked = {**elements, **{part: part for part in others}}
    paths = {load: current_path(circuit, load) for load in asked}
    solved = {
        load: [step for step in path if step.reference not in circuit.alternating]
        for load, path in paths.items()
    }
    instants = [
        Instant(conducting(circuit, load), {}, (), tuple(step.reference for step in steps))
        for load, steps in solved.items()
    ]
    for (load, steps), point in zip(solved.items(), operating_points(circuit, instants), strict=True):
        assert point.converged
        amps = abs(point.amps[asked[load]])
        assert amps > 1e-7, load
        for step in steps:
            forward = circuit.parts[step.reference].nets[0] == step.enters
            carried = point.amps[step.reference] * (1.0 if forward else -1.0)
            assert carried >= 0.5 * amps, (load, step.reference, carried, amps)
        assert steps[-1].leaves == GROUND
        assert all(a.leaves == b.enters for a, b in pairwise(steps))
        references = names(paths[load])
        assert len(references) == len(set(references))
        (supply,) = [s for s in circuit.wiring.supplies.values() if s.rail == steps[0].enters]
        assert set(supply.ac_parts) <= set(references)
        assert set(supply.rectifiers) <= set(references)


@pytest.mark.parametrize("name", MACHINES)
def test_every_part_is_on_the_path_told_for_it(name):
    """What no path shows conducts no direct current of a supply in service: inputs, guards, capacitors."""
    circuit = machine(name)
    for reference, part in circuit.parts.items():
        if part.kind == "bridge" or not part.nets:
            continue
        path = current_path(circuit, reference)
        if path:
            assert reference in names(path), reference
        else:
            coil_diode = part.kind == "diode" and (
                reference.endswith("clamp")
                or any(c.diode == reference for c in circuit.wiring.coils.values())
            )
            assert coil_diode or part.kind in ("sensing", "capacitor"), reference


def test_a_contact_in_series_with_a_coil_stands_for_the_coil():
    circuit = machine("lantern_quay")
    for contact in ("eos", "button"):
        assert device_of(circuit, f"coil/left flipper/{contact}") == "coil/left flipper/power"
    power = names(current_path(circuit, "coil/left flipper/power"))
    hold = names(current_path(circuit, "coil/left flipper/hold"))
    assert "coil/left flipper/eos" in power
    assert "coil/left flipper/eos" not in hold
    assert {"coil/left flipper/power", "coil/left flipper/hold"} <= set(hold)


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
