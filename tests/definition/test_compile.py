"""From the authoring form to the resolved wiring: every machine, every size of chart, chains."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from matrixdoc.definition.compile import compile_machine, digest
from matrixdoc.definition.errors import InputError
from matrixdoc.definition.library import list_machines, load_machine
from matrixdoc.definition.references import is_reference
from matrixdoc.definition.schema import MachineForm
from matrixdoc.definition.styles import load_styles
from matrixdoc.definition.wiring import Wiring
from tests.definition.wirings import assert_sound, wire

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
