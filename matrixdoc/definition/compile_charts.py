"""The chart of a matrix as a grid: a table of either habit, or a list of running numbers."""

from __future__ import annotations

from matrixdoc.definition.compile_builder import Builder, FormPath
from matrixdoc.definition.errors import quoted
from matrixdoc.definition.schema_matrices import MOST_LINES, MatrixForm, NumberingForm

NO_CELL = frozenset({"", "-", "–", "—"})

Grid = list[list[str]]


def numbering_of(form: MatrixForm) -> NumberingForm | None:
    """How the cells are numbered, if they are; a list of running numbers always is."""
    return form.numbering or (NumberingForm() if form.by_number else None)


def running_number(numbering: NumberingForm, column: int, row: int, columns: int, rows: int) -> int:
    """The running number of a place, by the indexes of its column and row (from 0)."""
    step = column * rows + row if numbering.along == "columns" else row * columns + column
    return numbering.first + step


def chart_grid(builder: Builder, form: MatrixForm, path: FormPath) -> Grid:
    """The names as rows of cells, columns across; empty after a problem."""
    if form.chart is not None:
        for field in ("by_number", "size"):
            if field in form.model_fields_set:
                builder.problem((*path, field), f"'{field}' beside a chart", "one of the two", key=True)
                return []
        return _table(builder, form.chart, path, turned=form.across == "rows")
    if form.by_number:
        return _list(builder, form, path)
    expected = "'chart:', or 'by_number:' with 'size:'"
    builder.problem(path, "a matrix without a chart", expected, key=True)
    return []


def _table(builder: Builder, chart: tuple[tuple[str, ...], ...], path: FormPath, *, turned: bool) -> Grid:
    rows = [list(row) for row in chart]
    width = len(rows[0]) if rows else 0
    if not rows or not width:
        builder.problem((*path, "chart"), "an empty chart", "at least one row with one cell")
        return []
    if len(rows) > MOST_LINES or width > MOST_LINES:
        found = f"a chart of {width} across and {len(rows)} down"
        builder.problem((*path, "chart"), found, f"at most {MOST_LINES} of each")
        return []
    ragged = [n for n, row in enumerate(rows) if len(row) != width]
    for number in ragged:
        found = f"{len(rows[number])} cells in row {number + 1} of the chart"
        builder.problem(
            (*path, "chart", number),
            found,
            f"{width} cells, as in the first row",
            "write '-' where no part is fitted",
        )
    if ragged:
        return []
    cells = [[cell.strip() for cell in row] for row in rows]
    return [list(column) for column in zip(*cells, strict=True)] if turned else cells


def _list(builder: Builder, form: MatrixForm, path: FormPath) -> Grid:
    """The table that a list of running numbers stands for."""
    if "across" in form.model_fields_set:
        expected = "'numbering:', which says how the numbers run"
        builder.problem((*path, "across"), "'across' beside a list of numbers", expected, key=True)
    if form.size is None:
        expected = "'size:' with the number of columns and rows, such as 5 x 8"
        builder.problem((*path, "by_number"), "a list of numbers without a size", expected, key=True)
        return []
    columns, rows = form.size
    numbering = numbering_of(form) or NumberingForm()
    places = {
        str(running_number(numbering, c, r, columns, rows)): (c, r)
        for c in range(columns)
        for r in range(rows)
    }
    grid = [[""] * columns for _ in range(rows)]
    for key, title in form.by_number.items():
        place = places.get(key)
        if place is None:
            last = numbering.first + columns * rows - 1
            expected = f"a number from {numbering.first} to {last}"
            builder.problem((*path, "by_number", key), quoted(key), expected, key=True)
            continue
        grid[place[1]][place[0]] = title.strip()
    return grid
