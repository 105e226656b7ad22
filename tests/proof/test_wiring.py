"""The resolved wiring against a second reading of the same definition: parts, values, connections."""

from __future__ import annotations

import pytest

from matrixdoc.circuit.netlist import build_circuit
from matrixdoc.definition.library import machine_from_text
from tests.proof.definitions import SHIPPED, STYLED, text_of
from tests.proof.expansion import expand
from tests.proof.machine import EARTH


@pytest.mark.parametrize("name", [*SHIPPED, *STYLED])
def test_both_expansions_are_the_same_circuit(name):
    text = text_of(name, seed=1)
    mine, circuit = expand(text), build_circuit(machine_from_text(text))
    parts = circuit.wiring.parts
    assert sorted(mine.elements) == sorted(parts)
    name_of: dict[str, str] = {EARTH: "ground"}
    taken: dict[str, str] = {"ground": EARTH}
    for reference, element in mine.elements.items():
        part = parts[reference]
        assert part.kind == element.kind, reference
        assert len(part.nets) == len(element.nets), reference
        for own, theirs in zip(element.nets, part.nets, strict=True):
            # One name of mine for one of theirs, and the other way round: the same connections.
            assert name_of.setdefault(own, theirs) == theirs, reference
            assert taken.setdefault(theirs, own) == own, reference
        assert dict(circuit.values(reference)) == pytest.approx(dict(element.values)), reference
    for rail in mine.rails.values():
        supply = circuit.wiring.supplies[rail.name]
        assert name_of[rail.net] == supply.rail
        assert (supply.nominal_v, supply.source_ohm, supply.load_a, supply.stiff) == pytest.approx(
            (rail.nominal_v, rail.source_ohm, rail.load_a, rail.stiff)
        )
    inputs = {i.sensing: i for grid in mine.switches.values() for i in grid.inputs.values()}
    inputs.update((i.sensing, i) for _, i in mine.direct.values())
    for reference, one in inputs.items():
        sensor = circuit.wiring.sensors[reference]
        assert (sensor.low_v, sensor.high_v) == pytest.approx((one.low_v, one.high_v))
        assert (sensor.closed_reads, sensor.floating, sensor.path) == (one.closed, one.floating, one.path)
    commands = [c for grid in (*mine.switches.values(), *mine.lamps.values()) for c in grid.drivers.values()]
    commands += [c for w in mine.windings.values() for c in (w.command, *w.also)]
    commands += [c for _, c in mine.single_lamps.values()]
    by_output = {drive.output: drive for drive in circuit.wiring.drives.values()}
    for command in commands:
        drive = by_output[command.output]
        assert drive.path == command.path
        bits = [(part, command.number >> n & 1) for n, line in enumerate(command.lines) for part in line]
        assert drive.select == tuple(bits)
    assert {c.output for c in commands} == set(by_output)


def test_the_made_up_machines_branch_in_every_way():
    wirings = [machine_from_text(text_of(name, seed=1)) for name in STYLED]
    lines = [line for w in wirings for m in w.matrices.values() for line in (*m.columns, *m.rows)]
    forked = [line.lugs_before for line in lines if line.lugs_before]
    assert len(forked) > 20
    assert any(before.count(-1) > 1 for before in forked)  # at the connector
    assert any(sum(before.count(n) > 1 for n in set(before)) > 1 for before in forked)  # from a branch
    assert any(before.count(-1) == 1 for before in forked)  # at a lug
    outputs = machine_from_text(text_of("outputs", seed=1))
    onward = [p.nets[0] for r, p in outputs.parts.items() if r.endswith(("/feed", "/fuse"))]
    passed_on = [net for net in onward if net.endswith("/supplied")]
    assert len(passed_on) > len(set(passed_on))
