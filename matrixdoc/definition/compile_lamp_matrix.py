"""Lamp matrices: high-side and low-side lines, with socket, lamp and diode at each cell.

Current flows from the high-side line to the low-side line; diodes and LEDs point that way.
"""

from __future__ import annotations

from matrixdoc.definition.compile_builder import Builder, FormPath
from matrixdoc.definition.compile_cells import Ends, add_stubs, cell_order
from matrixdoc.definition.compile_driven_lines import LineStyle, driven_line
from matrixdoc.definition.compile_drives import decoder_parts
from matrixdoc.definition.compile_feed_chains import line_rail
from matrixdoc.definition.compile_lines import CellPlan, MatrixPlan, Wired
from matrixdoc.definition.compile_supplies import rail_of
from matrixdoc.definition.styles import picked
from matrixdoc.definition.wiring import Cell, Lamp, Line, Matrix, Origin

LED_ELEMENT = "LED"
FILAMENTS = frozenset({"", "filament", LED_ELEMENT})


def compile_lamp_matrix(builder: Builder, plan: MatrixPlan) -> None:
    """Wire one planned lamp matrix."""
    form = plan.form
    defaults = builder.styles.defaults
    style = picked(builder.styles.lamp, form.style, defaults.lamp_style)
    rail = rail_of(builder, form.supply, "lamp", (*plan.path, "supply"), form.feed, (*plan.path, "feed"))[0]
    board = builder.board(form.board, (*plan.path, "board"), builder.drive_board)
    home = builder.board_place(board)
    columns_feed = style.column.startswith("high_side")
    decoder = decoder_parts(
        builder, plan.name, form.decoder, len(plan.columns), board, (*plan.path, "decoder")
    )
    ohm = style.row_resistor_ohm if form.row_resistor is None else form.row_resistor
    origin: Origin = "style default" if form.row_resistor is None else "stated"
    sides = {
        "C": LineStyle(style.column, form.column_type or style.column_type),
        "R": LineStyle(style.row, form.row_type or style.row_type, ohm, origin),
    }
    lines: dict[str, list[Line]] = {"C": [], "R": []}
    wires: dict[str, Wired] = {}
    for index, line in enumerate((*plan.columns, *plan.rows)):
        side = sides[line.letter]
        chosen = (decoder, index) if decoder and line.letter == "C" else None
        at = (line_rail(builder, plan.name, line.key, rail, feeding=side.feeding, place=home), board)
        made, wires[line.key] = driven_line(builder, plan, line, side, at, chosen)
        lines[line.letter].append(made)
    drive_of = {line.key: line.drive for line in (*lines["C"], *lines["R"])}
    cells = []
    for cell in plan.cells:
        ends = Ends(wires[cell.column].lug_of[cell.key], wires[cell.row].lug_of[cell.key])
        made_cell = _lamp_cell(builder, plan, cell, columns_feed=columns_feed, ends=ends)
        cells.append(made_cell)
        steady = cell.row if style.strobed == "columns" else cell.column
        builder.lamps[made_cell.reference] = Lamp(
            made_cell.reference, cell.title, made_cell.element, plan.name, drive_of[steady]
        )
    builder.matrices[plan.name] = Matrix(
        plan.name,
        "lamp",
        tuple(lines["C"]),
        tuple(lines["R"]),
        tuple(cells),
        style.strobed,
        form.scan if form.scan is not None else defaults.scan_ms,
    )


def _lamp_cell(builder: Builder, plan: MatrixPlan, cell: CellPlan, *, columns_feed: bool, ends: Ends) -> Cell:
    form, facts, defaults = plan.form, cell.facts, builder.styles.defaults
    reference = f"{plan.name}/{cell.key}"
    words = f"{plan.name} {cell.key} ({cell.title})"
    path: FormPath = (*plan.path, "cells", cell.key)
    place = builder.place(facts.place or form.place, (*path, "place"), "playfield")
    element = facts.element or form.element
    if element not in FILAMENTS:
        builder.problem((*path, "element"), element, "filament or LED")
    is_led = element == LED_ELEMENT
    order, order_origin = cell_order(cell, plan)
    stubs = add_stubs(builder, reference, words, ends, place)
    column, row = f"{reference}/column", f"{reference}/row"
    # The nets from the column to the row: socket and lamp together, and the diode, in either order.
    first, second = f"{reference}/socket", f"{reference}/middle"
    diode_first = order == "diode first"
    if diode_first:
        diode_from, diode_to = column, second
        socket_nets, lamp_nets = (second, first), (first, row)
    else:
        socket_nets, lamp_nets = (column, first), (first, second)
        diode_from, diode_to = second, row
    if not columns_feed:
        diode_from, diode_to = diode_to, diode_from
    socket = builder.add(
        f"{reference}/socket", "joint", socket_nets, title=f"{words}, socket contact", place=place
    )
    # The lamp of the matrix is that of its usual element: an LED among filaments is not a "47".
    usual = form.lamp if is_led == (form.element == LED_ELEMENT) else ""
    type_name = facts.lamp or usual
    lamp = builder.add(
        f"{reference}/lamp",
        "led" if is_led else "lamp",
        lamp_nets if columns_feed or not is_led else (lamp_nets[1], lamp_nets[0]),
        title=f"{words}, {'LED' if is_led else 'lamp'}",
        place=place,
        type_name=type_name or (defaults.led if is_led else defaults.lamp),
        alias=cell.aliases,
        origin="stated" if type_name else "style default",
        note=facts.note,
    )
    diode_type = facts.diode or form.diode
    diode = builder.add(
        f"{reference}/diode",
        "diode",
        (diode_from, diode_to),
        title=f"{words}, diode",
        place=place,
        type_name=diode_type or defaults.lamp_diode,
        origin="stated" if diode_type else "style default",
        note="" if order_origin == "stated" else "whether lamp or diode comes first is not known",
    )
    inner = (diode, socket, lamp) if diode_first else (socket, lamp, diode)
    return Cell(
        reference, cell.column, cell.row, cell.title, lamp, diode, cell.aliases, (stubs[0], *inner, stubs[1])
    )
