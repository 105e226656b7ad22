"""``matrixdoc chart --from-csv``: the beginning of a definition from charts kept in a spreadsheet."""

from __future__ import annotations

import argparse
import json
import re
from pathlib import Path
from typing import Literal

from matrixdoc.cli.inputs import talk
from matrixdoc.cli.text import safe
from matrixdoc.definition.charts import FACTS, Chart, ChartLine, Layout, Order, chart_from_csv
from matrixdoc.definition.document import read_text
from matrixdoc.definition.errors import InputError, Problem, quoted
from matrixdoc.definition.library import machine_from_text

_DEVICES = ("switch", "lamp", "coil")
_ORDERS: dict[str, Order] = {"columns": "down the columns", "rows": "along the rows"}


def import_charts(arguments: argparse.Namespace) -> int:
    """Print a definition with the charts of these files; what is still wrong with it is told beside it.

    Raises:
        InputError: a file that is no chart, or says nowhere which matrix it is.
    """
    charts: dict[str, Chart] = {}
    for name in arguments.from_csv:
        chart = chart_from_csv(read_text(name), name, _layout(arguments))
        matrix = _matrix_name(chart, name, arguments.matrix if len(arguments.from_csv) == 1 else "")
        if matrix in charts:
            found = f"a second chart of the {matrix} matrix"
            raise InputError([Problem(name, 0, 0, "", found, "one chart for each matrix")])
        charts[matrix] = chart
        if len(chart.columns) == 1 and not arguments.size:
            talk(f"{safe(name)}: one column only; for a list of running numbers give --size, such as 8x8")
    text = definition_text(arguments.title, charts)
    print(text, end="")
    try:
        machine_from_text(text, "this definition")
    except InputError as error:
        talk("Printed; to be mended in it before it can be used:")
        talk(str(error))
    else:
        talk("Printed. Keep it as a .yaml file, check it with matrixdoc validate, and add what you know.")
    return 0


def _layout(arguments: argparse.Namespace) -> Layout:
    starts: dict[str | None, Literal[0, 1] | None] = {None: None, "0": 0, "1": 1}
    start = starts[arguments.numbered_from]
    if not arguments.size:
        return Layout("transposed" if arguments.across == "rows" else "chart", start)
    match = re.fullmatch(r"\s*(\d{1,2})\s*[xX\u00d7]\s*(\d{1,2})\s*", arguments.size)
    if match is None:
        expected = "columns x rows, such as 8x8"
        raise InputError([Problem("--size", 0, 0, "", quoted(arguments.size), expected)])
    columns, rows = int(match[1]), int(match[2])
    return Layout("list", start, _ORDERS[arguments.along], columns, rows)


def _matrix_name(chart: Chart, source: str, given: str) -> str:
    """The matrix that a chart is of: as asked for, as its first field says, or as the file is called."""
    for words in (given, chart.name, Path(source).stem):
        for device in _DEVICES:
            if device in words.casefold():
                return words.strip() if words in (given, chart.name) else device
    found = (
        f"a chart called {quoted(chart.name)}" if chart.name else "a chart without a name in its first field"
    )
    expected = "the name of the matrix there, such as switch or lamp, or --matrix NAME"
    raise InputError([Problem(source, 1, 0, "row 1, column 1", found, expected)])


def definition_text(title: str, charts: dict[str, Chart]) -> str:
    """A definition that holds these charts and what they say of their lines."""
    lines = [f"title: {_text(title)}", *_connectors(charts), "matrices:"]
    for name, chart in charts.items():
        lines.append(f"  {_text(name)}:")
        first = min(_number(line) for line in (*chart.columns, *chart.rows))
        if first == 0:
            lines.append("    numbered_from: 0")
        lines.append("    chart: |")
        lines.extend(f"      {row}" for row in _rows(chart, min(first, 1)))
        for axis, those in (("columns", chart.columns), ("rows", chart.rows)):
            usual = f"{name} {axis[:-1]} "
            facts = [(line.key, told) for line in those if (told := _facts(line, usual))]
            if facts:
                lines.append(f"    {axis}:")
                lines.extend(f"      {key}: {{{told}}}" for key, told in facts)
    return "\n".join(lines) + "\n"


def _number(line: ChartLine) -> int:
    return int(line.key[1:])


def _rows(chart: Chart, first: int) -> list[str]:
    """The chart as a table; numbers that the file leaves out are lines where nothing is fitted."""
    across = {_number(line): k for k, line in enumerate(chart.columns)}
    down = {_number(line): k for k, line in enumerate(chart.rows)}
    table = []
    for row in range(first, max(down) + 1):
        cells = []
        for column in range(first, max(across) + 1):
            at = across.get(column), down.get(row)
            name = chart.cells.get((at[0], at[1]), "") if at[0] is not None and at[1] is not None else ""
            cells.append(" ".join(safe(name).replace("|", "/").split()) or "-")
        table.append(cells)
    widths = [max(len(cells[k]) for cells in table) for k in range(len(table[0]))]
    return [" | ".join(f"{c:<{w}}" for c, w in zip(cells, widths, strict=True)).rstrip() for cells in table]


def _connectors(charts: dict[str, Chart]) -> list[str]:
    """The connectors that the pins of the charts name, as long as the highest pin of each."""
    pins: dict[str, int] = {}
    for chart in charts.values():
        for line in (*chart.columns, *chart.rows):
            match = re.fullmatch(r"(.*\S)\s*-\s*(\d{1,3})", line.pin.strip())
            if match is not None:
                pins[match[1]] = max(pins.get(match[1], 0), int(match[2]))
    return (
        ["connectors:", *(f"  {_text(key)}: {{pins: {count}}}" for key, count in pins.items())]
        if pins
        else []
    )


def _facts(line: ChartLine, usual: str) -> str:
    facts = {name: getattr(line, name) for name in FACTS}
    if facts["title"] == f"{usual}{line.key[1:]}":
        del facts["title"]  # the title that a line without one is printed with
    return ", ".join(f"{name}: {_text(value)}" for name, value in facts.items() if value)


def _text(words: str) -> str:
    """Words as YAML: plain where that is safe, else quoted."""
    if re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9 _/+-]*", words) and words == words.strip():
        return words
    return json.dumps(words, ensure_ascii=False)
