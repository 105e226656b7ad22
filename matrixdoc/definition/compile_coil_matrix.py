"""Coil matrices: high-side and low-side lines, with a winding and its diode at each crossing.

Current flows from the high-side line to the low-side line, and the diode of each cell points that
way. Both lines must be driven to pull a coil in.
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
from matrixdoc.definition.wiring import Cell, Coil, Line, Matrix, Origin


def compile_coil_matrix(builder: Builder, plan: MatrixPlan) -> None:
    """Wire one planned coil matrix."""
    form, defaults = plan.form, builder.styles.defaults
    style = picked(builder.styles.coil_matrix, form.style, defaults.coil_matrix_style)
    rail = rail_of(builder, form.supply, "coil", (*plan.path, "supply"), form.feed, (*plan.path, "feed"))[0]
    board = builder.board(form.board, (*plan.path, "board"), builder.drive_board)
    home = builder.board_place(board)
    columns_feed = style.column.startswith("high_side")
    decoder = decoder_parts(
        builder, plan.name, form.decoder, len(plan.columns), board, (*plan.path, "decoder")
    )
    sides = {
        "C": LineStyle(style.column, form.column_type or style.column_type, clamped=True),
        "R": LineStyle(style.row, form.row_type or style.row_type, clamped=True),
    }
    lines: dict[str, list[Line]] = {"C": [], "R": []}
    wires: dict[str, Wired] = {}
    for index, line in enumerate((*plan.columns, *plan.rows)):
        side = sides[line.letter]
        chosen = (decoder, index) if decoder and line.letter == "C" else None
        at = (line_rail(builder, plan.name, line.key, rail, feeding=side.feeding, place=home), board)
        made, wires[line.key] = driven_line(builder, plan, line, side, at, chosen)
        lines[line.letter].append(made)
    by_key = {line.key: line for line in (*lines["C"], *lines["R"])}
    cells = []
    for cell in plan.cells:
        ends = Ends(wires[cell.column].lug_of[cell.key], wires[cell.row].lug_of[cell.key])
        made_cell = _cell(builder, plan, cell, columns_feed=columns_feed, ends=ends)
        cells.append(made_cell)
        feeding, sinking = by_key[cell.column], by_key[cell.row]
        if not columns_feed:
            feeding, sinking = sinking, feeding
        feeds = (f"{plan.name}/feed", f"{plan.name}/{cell.column if columns_feed else cell.row}/feed")
        pulse = cell.facts.pulse or form.pulse or defaults.pulse_ms
        builder.coils[made_cell.reference] = Coil(
            reference=made_cell.reference,
            title=cell.title,
            element=made_cell.element,
            drive=sinking.drive,
            pulse_ms=pulse,
            holds=cell.facts.holds,
            parts=(
                *(feed for feed in feeds if feed in builder.parts),
                builder.drives[feeding.drive].output,
                *made_cell.parts,
                builder.drives[sinking.drive].output,
            ),
            also=(feeding.drive,),
            matrix=plan.name,
        )
    builder.matrices[plan.name] = Matrix(
        plan.name,
        "coil",
        tuple(lines["C"]),
        tuple(lines["R"]),
        tuple(cells),
        scan_ms=form.scan if form.scan is not None else defaults.scan_ms,
    )


def _cell(builder: Builder, plan: MatrixPlan, cell: CellPlan, *, columns_feed: bool, ends: Ends) -> Cell:
    form, facts, defaults = plan.form, cell.facts, builder.styles.defaults
    reference = f"{plan.name}/{cell.key}"
    words = f"{plan.name} {cell.key} ({cell.title})"
    path: FormPath = (*plan.path, "cells", cell.key)
    place = builder.place(facts.place or form.place, (*path, "place"), "playfield")
    if facts.element or form.element:
        builder.problem((*path, "element"), facts.element or form.element, "a coil, which has no such key")
    order, order_origin = cell_order(cell, plan)
    stubs = add_stubs(builder, reference, words, ends, place)
    column, middle, row = f"{reference}/column", f"{reference}/middle", f"{reference}/row"
    diode_first = order == "diode first"
    winding_nets = (middle, row) if diode_first else (column, middle)
    near, far = (column, middle) if diode_first else (middle, row)
    ohm = facts.resistance or form.resistance
    henry = facts.inductance or form.inductance
    origin: Origin = "style default" if ohm is None else "stated"
    values = {"ohm": defaults.coil_ohm if ohm is None else ohm}
    if henry is not None:
        values["inductance_h"] = henry
    winding = builder.add(
        f"{reference}/winding",
        "coil",
        winding_nets,
        title=f"{words}, winding, {values['ohm']:g} ohm",
        place=place,
        values=values,
        alias=cell.aliases,
        origin=origin,
        note=facts.note,
    )
    diode_type = facts.diode or form.diode
    diode = builder.add(
        f"{reference}/diode",
        "diode",
        (near, far) if columns_feed else (far, near),
        title=f"{words}, diode in series with the winding",
        place=place,
        type_name=diode_type or defaults.coil_diode,
        origin="stated" if diode_type else "style default",
        note="" if order_origin == "stated" else "whether coil or diode comes first is not known",
    )
    inner = (diode, winding) if diode_first else (winding, diode)
    parts = (stubs[0], *inner, stubs[1])
    return Cell(reference, cell.column, cell.row, cell.title, winding, diode, cell.aliases, parts)
