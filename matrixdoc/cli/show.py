"""``matrixdoc show`` and ``matrixdoc chart``: a machine's wiring and its matrices in print."""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Sequence

from matrixdoc.cli.inputs import load
from matrixdoc.cli.text import columns_grid, heading, minutes, table, wrapped
from matrixdoc.definition.charts import Chart, ChartLine, chart_to_csv
from matrixdoc.definition.errors import InputError, Problem, choice, near_miss, quoted
from matrixdoc.definition.wiring import Line, Matrix, Part, Wiring


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
    wiring = load(arguments.machine)
    wanted = arguments.matrix
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
    pins = _pins(wiring, line)
    return ChartLine(line.key, line.title, line.colour, pins[0] if pins else "", _drive_name(wiring, line))


def _pins(wiring: Wiring, line: Line) -> list[str]:
    """Connector and position of every pin of a line, from the board outwards."""
    parts = [wiring.parts[reference] for reference in line.parts if reference in wiring.parts]
    return [_pin(part) for part in parts if part.kind == "pin" and part.connector]


def _pin(part: Part) -> str:
    return f"{part.connector}-{part.position}" if part.position is not None else part.connector


def _drive_name(wiring: Wiring, line: Line) -> str:
    """What is printed beside the part that drives or senses a line; empty if nobody said."""
    drive = wiring.drives.get(line.drive)
    sensor = wiring.sensors.get(line.sensor)
    part = wiring.parts.get(drive.output if drive else sensor.reference if sensor else "")
    return part.aliases[0] if part and part.aliases else ""


def chart_text(wiring: Wiring, matrix: Matrix) -> str:
    """A chart in 80 columns: columns across, rows down."""

    def named(line: Line) -> str:
        facts = [
            line.key,
            _own_title(matrix, line),
            line.colour,
            *_pins(wiring, line),
            _drive_name(wiring, line),
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


def _own_title(matrix: Matrix, line: Line) -> str:
    """The title of a line, if it says more than the line's key does (``switch column 3`` does not)."""
    axis = "column" if line.key.startswith("C") else "row"
    return "" if line.title == f"{matrix.name} {axis} {line.key[1:]}" else line.title


def _chart_json(wiring: Wiring, matrices: list[Matrix]) -> str:
    from matrixdoc.cli.results import CellResult, ChartResult, LineResult, MatrixResult

    def line(one: Line) -> LineResult:
        return LineResult(
            key=one.key,
            title=one.title,
            colour=one.colour,
            pins=_pins(wiring, one),
            drive_part=_drive_name(wiring, one),
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


def wiring_text(wiring: Wiring) -> str:
    """The resolved wiring in sections; ``--parts`` lists the parts themselves."""
    origins = Counter(part.origin for part in wiring.parts.values())
    counted = ", ".join(f"{count} {origin}" for origin, count in origins.most_common())
    pieces = [
        heading(wiring.title),
        wrapped(f"{len(wiring.parts)} parts ({counted}); digest {wiring.digest[:16]}"),
    ]
    pieces.extend(_lines_text(wiring, matrix) for matrix in wiring.matrices.values())
    direct = [(s.reference, s.title, s.contact) for s in wiring.switches.values() if not s.matrix]
    pieces.append(_section("SWITCHES outside the matrices", direct, ("REFERENCE", "TITLE", "CONTACT")))
    lamps = [(one.reference, one.title, one.element) for one in wiring.lamps.values() if not one.matrix]
    pieces.append(_section("LAMPS outside the matrices", lamps, ("REFERENCE", "TITLE", "PART")))
    coils = [
        (
            c.reference,
            _drive_place(wiring, c.drive),
            f"{c.title}{f'; fired by {c.fired_by}' if c.fired_by else ''}",
        )
        for c in wiring.coils.values()
    ]
    pieces.append(_section("COILS", coils, ("REFERENCE", "DRIVE", "TITLE")))
    supplies = [
        (
            s.name,
            f"{s.nominal_v:g} V",
            s.rail,
            ", ".join(r for r in s.ac_parts if _is_fuse(wiring, r)) or "no fuse",
        )
        for s in wiring.supplies.values()
    ]
    pieces.append(_section("SUPPLIES", supplies, ("NAME", "VOLTS", "RAIL", "FUSES")))
    connectors = [
        (c.key, str(len(c.pins)), f"{c.title} {f'({c.board})' if c.board else ''}".strip())
        for c in wiring.connectors.values()
    ]
    pieces.append(_section("CONNECTORS", connectors, ("NAME", "PINS", "TITLE")))
    places = [
        (p.key, minutes(p.minutes), f"{p.title}{' (power off)' if p.power_off else ''}")
        for p in wiring.places.values()
    ]
    pieces.append(_section("PLACES", places, ("NAME", "TO OPEN", "TITLE")))
    pieces.append(_section("SELF-TESTS", [(name,) for name in sorted(wiring.self_tests)], ("NAME",)))
    pieces.extend(wrapped(f"Note: {note}", 0, 6) for note in wiring.notes)
    return "\n".join(piece for piece in pieces if piece)


def _is_fuse(wiring: Wiring, reference: str) -> bool:
    part = wiring.parts.get(reference)
    return part is not None and part.kind == "fuse"


def _section(title: str, rows: Sequence[tuple[str, ...]], heads: tuple[str, ...]) -> str:
    return f"\n{title}\n{table(rows, heads)}" if rows else ""


def _drive_place(wiring: Wiring, drive: str) -> str:
    found = wiring.drives.get(drive)
    part = wiring.parts.get(found.output) if found else None
    if part is None:
        return "-"
    return part.aliases[0] if part.aliases else part.kind.replace("_", " ")


def _lines_text(wiring: Wiring, matrix: Matrix) -> str:
    rows = []
    for line in (*matrix.columns, *matrix.rows):
        sensor = wiring.sensors.get(line.sensor)
        part = wiring.parts.get(sensor.reference) if sensor else None
        drive = _drive_place(wiring, line.drive) if line.drive else (part.kind if part else "-")
        if _drive_name(wiring, line):
            drive = _drive_name(wiring, line)
        chain = f"{len(line.lug_nets)} lugs, order {line.chain_order}"
        rows.append(
            (
                line.key,
                drive,
                ", ".join(_pins(wiring, line)) or "-",
                line.colour or "-",
                chain,
                _own_title(matrix, line),
            )
        )
    size = (
        f"{len(matrix.columns)} x {len(matrix.rows)}, {len(matrix.cells)} fitted, scan {matrix.scan_ms:g} ms"
    )
    heads = ("LINE", "DRIVE", "PIN", "WIRE", "CHAIN", "TITLE")
    return f"\n{matrix.name.upper()} MATRIX: {size}, {matrix.strobed} strobed\n{table(rows, heads)}"


def parts_text(wiring: Wiring) -> str:
    """Every part on a line of its own."""
    rows = [
        (
            part.reference,
            part.kind,
            _pin(part) if part.connector else "-",
            part.colour or "-",
            part.origin,
            ", ".join(filter(None, (part.title, part.type_name, *part.aliases, part.place))),
        )
        for part in wiring.parts.values()
    ]
    return table(rows, ("REFERENCE", "KIND", "PIN", "WIRE", "FACTS ARE", "WHAT AND WHERE"))
