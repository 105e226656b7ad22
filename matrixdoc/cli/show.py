"""``matrixdoc show`` and ``matrixdoc chart``: a machine's wiring and its matrices in print."""

from __future__ import annotations

import argparse

from matrixdoc.cli.chart_words import drive_name, own_title, pins
from matrixdoc.cli.inputs import load
from matrixdoc.cli.text import columns_grid, heading, table
from matrixdoc.cli.wiring_text import parts_text, wiring_text
from matrixdoc.definition.charts import Chart, ChartLine, chart_to_csv
from matrixdoc.definition.errors import InputError, Problem, choice, near_miss, quoted, refusal
from matrixdoc.definition.wiring import Line, Matrix, Wiring


def show(arguments: argparse.Namespace) -> int:
    """Print the resolved wiring.

    Raises:
        MatrixdocError: the machine cannot be loaded.
    """
    wiring = load(arguments.machine)
    if arguments.json:
        from matrixdoc.cli.results import wiring_json

        print(wiring_json(wiring))
    elif arguments.parts:
        print(parts_text(wiring))
    else:
        print(wiring_text(wiring))
    return 0


def chart(arguments: argparse.Namespace) -> int:
    """Print the charts of the matrices, or of one.

    Raises:
        MatrixdocError: the machine cannot be loaded, or it has no such matrix.
    """
    if arguments.from_csv:
        from matrixdoc.cli.import_chart import import_charts

        if arguments.machine or arguments.csv or arguments.json:
            given = "--from-csv beside a machine, --csv or --json"
            raise refusal(given, "--from-csv FILE ... alone: it prints a new definition", found=given)
        return import_charts(arguments)
    if not arguments.machine:
        expected = "MACHINE, whose charts to print, or --from-csv FILE, to begin a definition"
        raise refusal("", expected, found="no machine")
    wiring = load(arguments.machine)
    spoken = {name.casefold(): name for name in wiring.matrices}
    wanted = spoken.get(arguments.matrix.strip().casefold(), arguments.matrix)
    if wanted and wanted not in wiring.matrices:
        names = list(wiring.matrices)
        raise InputError(
            [
                Problem(
                    "--matrix",
                    0,
                    0,
                    "",
                    quoted(wanted),
                    choice(names) or "no matrix",
                    near_miss(wanted, names),
                )
            ]
        )
    matrices = [m for name, m in wiring.matrices.items() if wanted in ("", name)]
    if arguments.json:
        print(_chart_json(wiring, matrices))
    elif arguments.csv:
        # One empty line between charts, as a spreadsheet program shows separate tables.
        print(
            "\n".join(chart_to_csv(chart_of(wiring, matrix)).rstrip("\r\n") + "\n" for matrix in matrices),
            end="",
        )
    else:
        print("\n\n".join(chart_text(wiring, matrix) for matrix in matrices))
    return 0


def chart_of(wiring: Wiring, matrix: Matrix) -> Chart:
    """A matrix as its paper chart."""
    column_at = {line.key: k for k, line in enumerate(matrix.columns)}
    row_at = {line.key: k for k, line in enumerate(matrix.rows)}
    return Chart(
        matrix.name,
        tuple(_chart_line(wiring, line) for line in matrix.columns),
        tuple(_chart_line(wiring, line) for line in matrix.rows),
        {(column_at[c.column], row_at[c.row]): c.title or f"{c.column}{c.row}" for c in matrix.cells},
    )


def _chart_line(wiring: Wiring, line: Line) -> ChartLine:
    printed = pins(wiring, line)
    pin = printed[0] if printed else ""
    return ChartLine(line.key, line.title, line.colour, pin, drive_name(wiring, line))


def chart_text(wiring: Wiring, matrix: Matrix) -> str:
    """A chart in 80 columns: columns across, rows down."""

    def named(line: Line) -> str:
        facts = [
            line.key,
            own_title(matrix, line),
            line.colour,
            *pins(wiring, line),
            drive_name(wiring, line),
        ]
        return " ".join(fact for fact in facts if fact)

    titles = {(cell.column, cell.row): cell.title or "(no name)" for cell in matrix.cells}
    rows = [
        (line.key, [titles.get((column.key, line.key), "") for column in matrix.columns])
        for line in matrix.rows
    ]
    grid = columns_grid([named(column) for column in matrix.columns], rows, 4)
    facts = [(line.key, named(line).removeprefix(line.key).strip()) for line in matrix.rows]
    told = table([fact for fact in facts if fact[1]], ("ROW", "FACTS"))
    pieces = (heading(f"{wiring.title}: {matrix.name} matrix"), grid, told and f"\n{told}")
    return "\n".join(piece for piece in pieces if piece)


def _chart_json(wiring: Wiring, matrices: list[Matrix]) -> str:
    from matrixdoc.cli.results import CellResult, ChartResult, LineResult, MatrixResult

    def line(one: Line) -> LineResult:
        return LineResult(
            key=one.key,
            title=one.title,
            colour=one.colour,
            pins=pins(wiring, one),
            drive_part=drive_name(wiring, one),
        )

    made = [
        MatrixResult(
            name=matrix.name,
            device=matrix.device,
            columns=[line(one) for one in matrix.columns],
            rows=[line(one) for one in matrix.rows],
            cells=[
                CellResult(
                    column=cell.column,
                    row=cell.row,
                    reference=cell.reference,
                    title=cell.title,
                    aliases=list(cell.aliases),
                )
                for cell in matrix.cells
            ],
        )
        for matrix in matrices
    ]
    return ChartResult(machine=wiring.title, matrices=made).model_dump_json(indent=2)
