"""Corrections in the middle of a case, and facts that somebody saw at the machine."""

from __future__ import annotations

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from matrixdoc.definition.corrections import (
    StateChain,
    SwapCells,
    corrected,
    corrected_form,
    correction_from,
    correction_record,
    moved,
)
from matrixdoc.definition.document import load_document, validate_model
from matrixdoc.definition.errors import InputError
from matrixdoc.definition.library import list_machines, load_machine
from matrixdoc.definition.schema import MachineForm
from matrixdoc.definition.wiring import Wiring
from tests.definition.wirings import assert_sound, problems, wire

TEXT = """
title: A
matrices:
  switch:
    chart: |
      a | b | c
      d | e | f
    numbering: {along: rows, first: 1}
    columns: {C1: {chain: 2 1}}
    cells:
      C1R1: {normally: closed, number: "90", note: under the ramp}
      C3R2: {capacitor: 10 nF, verified: yes}
coils: {1: {fired_by: a}}
"""


def form(text: str = TEXT) -> MachineForm:
    return validate_model(load_document(text, "test.yaml"), MachineForm)


def swap(one: str, two: str, matrix: str = "switch") -> SwapCells:
    return SwapCells(matrix=matrix, one=one, two=two)


def chain_of(line: str, order: object, matrix: str = "switch") -> StateChain:
    return StateChain.model_validate({"matrix": matrix, "line": line, "chain": order})


def titles(wiring: Wiring, matrix: str = "switch") -> dict[str, str]:
    return {c.reference: c.title for c in wiring.matrices[matrix].cells}


def test_a_swap_exchanges_devices_and_leaves_places():
    before, after = wire(TEXT), corrected(form(), [swap("C1R1", "C3R2")])
    assert_sound(after)
    assert set(before.parts) - set(after.parts) == {"switch/C3R2/capacitor"}
    assert set(after.parts) - set(before.parts) == {"switch/C1R1/capacitor"}
    assert titles(after) == titles(before) | {"switch/C1R1": "f", "switch/C3R2": "a"}
    assert not after.switches["switch/C1R1"].normally_closed
    assert after.switches["switch/C3R2"].normally_closed
    assert after.parts["switch/C3R2/contact"].note == "under the ramp"
    # What the game shows for a place stays with the place.
    aliases = {c.reference: c.aliases for c in after.matrices["switch"].cells}
    assert aliases["switch/C1R1"] == ("90", "1")
    assert aliases["switch/C3R2"] == ("6",)
    # A coil that is fired by a device follows it; a place that was wrong is not verified any more.
    assert after.coils["coil/1"].fired_by == "switch/C3R2"
    assert not any(c.verified for c in after.matrices["switch"].cells)
    assert before.digest != after.digest


def test_swapping_twice_gives_the_machine_back():
    text = TEXT.replace(", verified: yes", "")
    again = corrected(form(text), [swap("C1R1", "C3R2"), swap("C3R2", "C1R1")])
    assert again.digest == wire(text).digest


def test_a_document_does_as_well_as_a_form():
    document = load_document(TEXT, "test.yaml")
    assert corrected(document, [swap("C1R1", "C2R1")]) == corrected(form(), [swap("C1R1", "C2R1")])
    assert corrected(document, []) == wire(TEXT)


def test_a_swap_with_an_empty_place_moves_a_device():
    text = "title: A\nmatrices: {switch: {chart: [[a, -], [b, c]], cells: {C1R1: {element: reed}}}}"
    after = corrected(form(text), [swap("C1R1", "C2R1")])
    assert titles(after) == {"switch/C1R2": "b", "switch/C2R1": "a", "switch/C2R2": "c"}
    assert after.parts["switch/C2R1/contact"].type_name == "reed"


@pytest.mark.parametrize(
    "matrix",
    [
        "{chart: [[a, d], [b, e], [c, f]], across: rows}",
        "{chart: [[a, b, c], [d, e, f]]}",
        "{by_number: {1: a, 2: d, 3: b, 4: e, 5: c, 6: f}, size: 3 x 2}",
        "{by_number: {4: a, 5: b, 6: c, 7: d, 8: e, 9: f}, size: 3 x 2, numbering: {along: rows, first: 4}}",
    ],
)
def test_every_habit_of_chart_is_corrected_alike(matrix):
    after = corrected(form(f"title: A\nmatrices: {{switch: {matrix}}}"), [swap("C3R1", "C1R2")])
    assert titles(after) == {
        "switch/C1R1": "a",
        "switch/C2R1": "b",
        "switch/C3R1": "d",
        "switch/C1R2": "c",
        "switch/C2R2": "e",
        "switch/C3R2": "f",
    }


def test_charts_from_0_are_corrected_by_their_own_numbers():
    text = "title: A\nmatrices: {switch: {chart: [[a, b]], numbered_from: 0}}"
    assert titles(corrected(form(text), [swap("C0R0", "C1R0")])) == {"switch/C0R0": "b", "switch/C1R0": "a"}


def test_a_chain_is_stated():
    chain = chain_of("C3", "2 1")
    after = corrected(form(), [chain])
    column = after.matrices["switch"].columns[2]
    assert column.chain_order == "known"
    assert after.parts["switch/C3R2/column_stub"].nets[0] == column.lug_nets[0]
    assert set(after.parts) == set(wire(TEXT).parts)
    unknown = corrected(form(), [chain_of("C1", "unknown")])
    assert unknown.matrices["switch"].columns[0].chain_order == "unknown"
    row = corrected(form(), [chain_of("R2", ["C3", "C1", "C2"])])
    assert row.matrices["switch"].rows[1].chain_order == "known"


def test_moved_follows_devices_through_several_swaps():
    assert moved([swap("C1R1", "C2R1")]) == {"switch/C1R1": "switch/C2R1", "switch/C2R1": "switch/C1R1"}
    assert moved([swap("C1R1", "C2R1"), swap("c2r1", "C3R1")]) == {
        "switch/C1R1": "switch/C3R1",
        "switch/C2R1": "switch/C1R1",
        "switch/C3R1": "switch/C2R1",
    }
    assert moved([swap("C1R1", "C2R1"), swap("C1R1", "C2R1")]) == {}
    assert moved([chain_of("C1", "unknown")]) == {}


CELLS = [f"C{c}R{r}" for c in (1, 2, 3) for r in (1, 2)]


@settings(max_examples=30, deadline=None)
@given(st.lists(st.tuples(st.sampled_from(CELLS), st.sampled_from(CELLS)).filter(lambda p: p[0] != p[1])))
def test_moved_says_where_the_names_went(pairs):
    swaps = [swap(one, two) for one, two in pairs]
    before = titles(wire(TEXT))
    after = titles(corrected(form(), swaps))
    went = moved(swaps)
    assert {went.get(place, place): title for place, title in before.items()} == after


def test_records_are_plain_and_come_back():
    for correction in (swap("C1R1", "C2R1"), chain_of("R2", "1 3 2", "lamp")):
        record = json.loads(json.dumps(correction_record(correction)))
        assert correction_from(record) == correction
    with pytest.raises(ValidationError):
        correction_from({"kind": "swap lines", "matrix": "switch"})


@pytest.mark.parametrize(
    ("correction", "said"),
    [
        (swap("C1R1", "C2R1", "switches"), "did you mean 'switch'"),
        (swap("C1R1", "C4R1"), "a cell from C1R1 to C3R2"),
        (swap("C1", "C2R1"), "a cell, such as C3R5"),
        (swap("C1R1", "c1r1"), "two cells"),
        (chain_of("C4", "1 2"), "a column or row of the chart"),
        (chain_of("up", "1 2"), "a column or row of the chart"),
        (chain_of("C2", "1 1"), "each cell once"),
    ],
)
def test_corrections_that_do_not_fit_are_told(correction, said):
    for definition in (form(), load_document(TEXT, "test.yaml")):
        with pytest.raises(InputError, match=said.replace("(", "\\(")):
            corrected(definition, [correction])


@pytest.mark.parametrize("name", [m.name for m in list_machines()])
def test_shipped_machines_can_be_corrected(name):
    path = next(m.path for m in list_machines() if m.name == name)
    document = load_document(path.read_bytes(), str(path))
    machine = load_machine(name)
    for matrix in machine.matrices.values():
        one, two = (cell.reference.rpartition("/")[2] for cell in (matrix.cells[1], matrix.cells[-1]))
        swaps = [swap(one, two, matrix.name)]
        after = corrected(document, swaps)
        assert_sound(after)
        went = moved(swaps)
        before = titles(machine, matrix.name)
        assert {went.get(p, p): t for p, t in before.items()} == titles(after, matrix.name)


# -- verified at the machine -----------------------------------------------------------------------


def test_verified_entries_mark_their_parts():
    wiring = wire(
        "title: A\n"
        "matrices: {switch: {chart: [[a, b]], columns: {2: {verified: yes}},"
        " cells: {C1R1: {verified: yes}}}}\n"
        "coils: {1: {verified: yes}, 2: {}}\nflippers: {left: {verified: yes}}\n"
        "direct_switches: {x: {verified: yes}}\nfeeds: {f: {supply: coil, verified: yes}}\n"
    )
    roots = {r.rpartition("/")[0] for r, p in wiring.parts.items() if p.verified}
    assert roots == {"switch/C2", "switch/C1R1", "coil/1", "coil/left flipper", "direct switch/x", "feed/f"}
    matrix = wiring.matrices["switch"]
    assert [line.verified for line in matrix.columns] == [False, True]
    assert [cell.verified for cell in matrix.cells] == [True, False]


def test_verified_references_mark_parts_cells_and_lines():
    text = (
        "title: A\nmatrices: {switch: {chart: [[a, b]]}}\nverified: [switch/C1, switch/C2R1, switch/R1/pin]"
    )
    wiring = wire(text)
    seen = {r for r, p in wiring.parts.items() if p.verified}
    assert {"switch/C1/wire", "switch/C2R1/diode", "switch/R1/pin"} <= seen
    assert not seen & {"switch/C2/wire", "switch/R1/wire", "switch/C1R1/diode"}
    assert wiring.matrices["switch"].columns[0].verified
    assert not wiring.matrices["switch"].rows[0].verified
    assert "did you mean 'switch/C1R1'" in problems(text.replace("switch/C2R1", "switch/C1R11"))[0][1]
    assert problems(text.replace("switch/C2R1", "switch"))


def test_the_form_is_left_as_it_was():
    machine = form()
    corrected_form(machine, [swap("C1R1", "C3R2")])
    assert machine == form()
