"""Charts of every habit and size: sideways, from 0, by running numbers; through CSV and back."""

from __future__ import annotations

import csv
import io
import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from matrixdoc.checks.model import build_model
from matrixdoc.checks.predictor import Predictor
from matrixdoc.checks.situation import Look, Situation
from matrixdoc.circuit.netlist import build_circuit
from matrixdoc.cli.show import chart_of
from matrixdoc.definition.charts import Chart, Layout, chart_from_csv, chart_to_csv
from matrixdoc.definition.compile import compile_machine
from matrixdoc.definition.library import list_machines, load_machine
from matrixdoc.definition.schema import MachineForm
from matrixdoc.definition.styles import load_styles
from matrixdoc.definition.wiring import Wiring
from tests.definition.wirings import assert_sound, problems, wire

CHARTS = [(m.name, matrix) for m in list_machines() if m.shipped for matrix in load_machine(m.name).matrices]


def as_table(text: str) -> list[list[str]]:
    return list(csv.reader(io.StringIO(text, newline="")))


@pytest.mark.parametrize(("name", "matrix"), CHARTS)
def test_charts_of_all_machines_come_back_from_csv(name, matrix):
    wiring = load_machine(name)
    chart = chart_of(wiring, wiring.matrices[matrix])
    assert len(chart.cells) == len(wiring.matrices[matrix].cells)
    text = chart_to_csv(chart)
    assert chart_from_csv(text, "chart.csv") == chart
    assert chart_to_csv(chart_from_csv(text, "chart.csv")) == text
    # The same paper hung sideways.
    turned = chart_to_csv(chart.transposed())
    sideways = turned
    for letter, other in (("C", "#"), ("R", "C"), ("#", "R")):
        sideways = "\r\n".join(_relettered(line, letter, other) for line in sideways.split("\r\n"))
    assert chart_from_csv(sideways, "chart.csv", Layout(form="transposed")) == chart


def _relettered(line: str, letter: str, other: str) -> str:
    fields = line.split(",")
    numbered = [f"{other}{f[1:]}" if f[:1] == letter and f[1:].isdecimal() else f for f in fields]
    return ",".join(numbered)


@pytest.mark.parametrize(("name", "matrix"), CHARTS)
def test_charts_of_all_machines_come_back_from_a_list_of_numbers(name, matrix):
    wiring = load_machine(name)
    chart = chart_of(wiring, wiring.matrices[matrix])
    columns, rows = len(chart.columns), len(chart.rows)
    names = {
        "down the columns": [(c * rows + r, (c, r)) for c in range(columns) for r in range(rows)],
        "along the rows": [(r * columns + c, (c, r)) for r in range(rows) for c in range(columns)],
    }
    for order, places in names.items():
        text = "".join(f'{n},"{chart.cells.get(at, "")}"\r\n' for n, at in places)
        layout = Layout("list", 0, order, columns, rows)  # type: ignore[arg-type]
        assert chart_from_csv(text, "list.csv", layout).cells == chart.cells


def form_of(chart: Chart, **facts: object) -> Wiring:
    grid = [[chart.cells.get((c, r), "-") for c in range(len(chart.columns))] for r in range(len(chart.rows))]
    return compile_machine(
        MachineForm.model_validate({"title": "A", "matrices": {"switch": {"chart": grid, **facts}}})
    )


@settings(max_examples=25, deadline=None)
@given(
    st.integers(1, 12),
    st.integers(1, 12),
    st.sampled_from(["columns", "rows"]),
    st.sampled_from([0, 1]),
    st.integers(0, 500),
    st.data(),
)
def test_three_ways_to_write_one_chart(columns, rows, along, start, first, data):
    fitted = data.draw(st.sets(st.tuples(st.integers(0, columns - 1), st.integers(0, rows - 1)), min_size=1))
    names = {(c, r): f"n{c} {r}" for c, r in fitted}
    grid = [[names.get((c, r), "-") for c in range(columns)] for r in range(rows)]
    numbers = {
        first + (c * rows + r if along == "columns" else r * columns + c): name
        for (c, r), name in names.items()
    }
    common = {"numbered_from": start, "numbering": {"along": along, "first": first}}
    ways: list[dict[str, object]] = [
        {"chart": grid},
        {"chart": [list(line) for line in zip(*grid, strict=True)], "across": "rows"},
        {"by_number": {str(n): name for n, name in numbers.items()}, "size": f"{columns} x {rows}"},
    ]
    digests = {
        compile_machine(
            MachineForm.model_validate({"title": "A", "matrices": {"switch": {**way, **common}}})
        ).digest
        for way in ways
    }
    assert len(digests) == 1


@pytest.mark.parametrize(
    ("matrix", "said"),
    [
        ("{}", "'chart:', or 'by_number:' with 'size:'"),
        ("{by_number: {1: a}}", "a list of numbers without a size"),
        ("{by_number: {1: a}, size: 5}", "columns and rows, such as 5 x 8"),
        ("{by_number: {1: a}, size: 33 x 2}", "32 or less"),
        ("{by_number: {0: a}, size: 2 x 2}", "a number from 1 to 4"),
        ("{by_number: {5: a}, size: 2 x 2}", "a number from 1 to 4"),
        ("{by_number: {01: a}, size: 2 x 2}", "a number from 1 to 4"),
        ("{by_number: {one: a}, size: 2 x 2}", "a number from 1 to 4"),
        ("{by_number: {3: a}, size: 2 x 2, across: rows}", "'across' beside a list of numbers"),
        ("{chart: [[a]], by_number: {1: a}}", "'by_number' beside a chart"),
        ("{chart: [[a]], size: 1 x 1}", "'size' beside a chart"),
    ],
)
def test_lists_that_do_not_fit_are_told(matrix, said):
    assert said in "\n".join(words for _, words in problems(f"title: A\nmatrices: {{switch: {matrix}}}"))


def test_a_list_numbers_its_cells_whether_told_to_or_not():
    wiring = wire("title: A\nmatrices: {switch: {by_number: {2: b, 3: c}, size: 2 x 2}}")
    assert {c.reference: c.aliases for c in wiring.matrices["switch"].cells} == {
        "switch/C1R2": ("2",),
        "switch/C2R1": ("3",),
    }


# -- sizes that no shipped machine has -----------------------------------------------------------------


def large(size: int, style: str, sensing: str = "comparator") -> Wiring:
    matrices = {
        "switch": {
            "chart": [[f"switch {c} {r}" for c in range(size)] for r in range(size)],
            "style": style,
            "sensing": sensing,
            "cells": {f"C{n}R{n}": {"element": "opto"} for n in (2, 3)},
        },
        "lamp": {"chart": [[f"lamp {c} {r}" for c in range(size)] for r in range(size)]},
    }
    return compile_machine(MachineForm.model_validate({"title": "large", "matrices": matrices}))


@pytest.mark.parametrize("size", [16, 32])
def test_a_large_machine_is_sound_and_its_charts_come_back(size):
    start = time.perf_counter()
    wiring = large(size, "sink strobe, weak idle")
    # Ten times what it takes here: growth worse than with the number of cells would show.
    assert time.perf_counter() - start < 5.0 * (size / 32) ** 2 + 1.0
    assert_sound(wiring)
    for matrix in wiring.matrices.values():
        assert len(matrix.cells) == size * size
        chart = chart_of(wiring, matrix)
        assert chart_from_csv(chart_to_csv(chart), "chart.csv") == chart


@pytest.mark.parametrize("style", sorted(load_styles().switch))
def test_a_healthy_press_on_16_by_16_reads_itself(style):
    _presses(large(16, style, "4000B CMOS" if style.startswith("source") else "comparator"), 16)


def test_a_healthy_press_on_32_by_32_reads_itself():
    _presses(large(32, "sink strobe, push-pull"), 32)


def _presses(wiring: Wiring, size: int) -> None:
    predictor = Predictor(build_model(build_circuit(wiring), {}))
    resting = frozenset({"switch/C2R2", "switch/C3R3"})
    for pressed in (f"C1R{size}", f"C{size}R1", "C2R2", "C3R2"):
        reference = f"switch/{pressed}"
        found = predictor.predict(Situation(held=(reference,)), Look("reads"), ())
        assert found == ((resting ^ {reference}, 1.0),), pressed
