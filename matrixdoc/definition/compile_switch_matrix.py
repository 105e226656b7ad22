"""Switch matrices: strobed columns, sensed rows, contact and diode at each cell.

Current flows from row to column where columns sink, and the other way where they source; diodes
point that way.
"""

from __future__ import annotations

from matrixdoc.definition.compile_builder import Builder, FormPath, named
from matrixdoc.definition.compile_cells import Ends, add_stubs, cell_order, make_line
from matrixdoc.definition.compile_drives import (
    Decoder,
    decoder_parts,
    link_part,
    logic_input,
    output_part,
    signal_path,
)
from matrixdoc.definition.compile_lines import CellPlan, LinePlan, MatrixPlan, Wired, wire_line
from matrixdoc.definition.compile_optos import OPTO, OptoPlace, merged, opto_contact
from matrixdoc.definition.compile_supplies import rail_of
from matrixdoc.definition.styles import SensingStyle, SwitchStyle, picked
from matrixdoc.definition.wiring import GROUND, Cell, Line, Matrix, Origin, Sensor, Switch

CONTACTS = frozenset({"", "leaf", "snap-action", "reed", OPTO})


def compile_switch_matrix(builder: Builder, plan: MatrixPlan) -> None:
    """Wire one planned switch matrix."""
    form = plan.form
    defaults = builder.styles.defaults
    style = picked(builder.styles.switch, form.style, defaults.switch_style)
    sensing = picked(builder.styles.sensing, form.sensing, defaults.sensing)
    rail, volts = rail_of(builder, form.supply, "logic", (*plan.path, "supply"))
    board = builder.board(form.board, (*plan.path, "board"), builder.drive_board)
    decoder = decoder_parts(
        builder, plan.name, form.decoder, len(plan.columns), board, (*plan.path, "decoder")
    )
    columns, column_wires = [], {}
    for index, line in enumerate(plan.columns):
        chosen = (decoder, index) if decoder else None
        made, wired = _switch_column(builder, plan, line, style, (rail, board), chosen)
        columns.append(made)
        column_wires[line.key] = wired
    rows, row_wires = [], {}
    for line in plan.rows:
        made, wired = _switch_row(builder, plan, line, style, sensing, (rail, volts), board)
        rows.append(made)
        row_wires[line.key] = wired
    sensor_of = {row.key: row.sensor for row in rows}
    cells = []
    for cell in plan.cells:
        ends = Ends(column_wires[cell.column].lug_of[cell.key], row_wires[cell.row].lug_of[cell.key])
        made_cell, lit = _switch_cell(builder, plan, cell, style, ends)
        cells.append(made_cell)
        builder.switches[made_cell.reference] = Switch(
            made_cell.reference,
            cell.title,
            made_cell.element,
            plan.name,
            sensor_of[cell.row],
            lit or cell.facts.normally == "closed",
        )
    builder.matrices[plan.name] = Matrix(
        plan.name,
        "switch",
        tuple(columns),
        tuple(rows),
        tuple(cells),
        "columns",
        form.scan if form.scan is not None else defaults.scan_ms,
    )


def _pull(
    builder: Builder, prefix: str, words: str, nets: tuple[str, str], ohm: float, board: str, origin: Origin
) -> str:
    return builder.add(
        f"{prefix}/pull",
        "resistor",
        nets,
        title=f"{words}, {'pull-down' if nets[1] == GROUND else 'pull-up'} resistor",
        place=builder.board_place(board),
        values={"ohm": ohm},
        board=board,
        origin=origin,
    )


def _switch_column(
    builder: Builder,
    plan: MatrixPlan,
    line: LinePlan,
    style: SwitchStyle,
    at: tuple[str, str],
    chosen: tuple[Decoder, int] | None,
) -> tuple[Line, Wired]:
    form, prefix, words = plan.form, f"{plan.name}/{line.key}", line.words(plan.name)
    rail = at[0]
    board = builder.board(line.facts.board, (*line.path, "board"), at[1])
    inner = f"{prefix}/board"
    sinks = style.closed == "low"
    nets = {
        "strobe_sink": (inner, GROUND),
        "strobe_push_pull": (inner, GROUND, rail),
        "strobe_source": (inner, rail),
        "strobe_source_push_pull": (inner, rail, GROUND),
    }[style.driver]
    ohm = form.column_drive or style.drive_ohm
    values = {"on_ohm": ohm} | ({"idle_ohm": ohm} if len(nets) == 3 else {})
    decoder = chosen[0] if chosen else None
    path = signal_path(builder, prefix, words, line.facts, board, line.path, decoder=decoder)
    kind, type_name = style.driver, form.column_type
    output = output_part(builder, prefix, words, kind, nets, line.facts, type_name, board, values)
    select = chosen[0].select(chosen[1]) if chosen else ()
    drive = builder.drive(f"{prefix}/drive", line.facts.title or words, path, output, select)
    parts = [output]
    pull = style.column_pull_ohm if form.column_pull is None else form.column_pull
    if pull > 0:
        origin: Origin = "style default" if form.column_pull is None else "stated"
        parts.append(_pull(builder, prefix, words, (inner, rail if sinks else GROUND), pull, board, origin))
    wired = wire_line(builder, plan, line, inner, board)
    return make_line(plan, line, inner, wired, parts, drive=drive), wired


def _switch_row(
    builder: Builder,
    plan: MatrixPlan,
    line: LinePlan,
    style: SwitchStyle,
    sensing: SensingStyle,
    rail: tuple[str, float],
    board: str,
) -> tuple[Line, Wired]:
    form, facts, prefix, words = plan.form, line.facts, f"{plan.name}/{line.key}", line.words(plan.name)
    board = builder.board(facts.board, (*line.path, "board"), board)
    inner = f"{prefix}/board"
    sinks = style.closed == "low"
    origin: Origin = "style default" if form.row_pull is None else "stated"
    ends = (inner, rail[0] if sinks else GROUND)
    pull = _pull(builder, prefix, words, ends, form.row_pull or style.row_pull_ohm, board, origin)
    sensor = builder.add(
        f"{prefix}/sensing",
        "sensing",
        (inner, GROUND),
        title=f"{words}, sensing part{named(facts.drive, facts.drive_type)}",
        place=builder.board_place(board),
        board=board,
        type_name=facts.drive_type or sensing.type,
        alias=(facts.drive,),
        origin="stated" if facts.drive or facts.drive_type else "style default",
        note=facts.note,
    )
    behind = (
        link_part(builder, prefix, words, facts.link, board, line.path),
        logic_input(builder, prefix, words, facts.logic, board),
    )
    low, high = sensing.thresholds(rail[1])
    builder.sensors[sensor] = Sensor(
        sensor,
        inner,
        low if form.reads_low_at is None else form.reads_low_at,
        high if form.reads_high_at is None else form.reads_high_at,
        style.closed,
        sensing.floating,
        tuple(b for b in behind if b),
    )
    wired = wire_line(builder, plan, line, inner, board)
    return make_line(plan, line, inner, wired, [sensor, pull], sensor=sensor), wired


def _switch_cell(
    builder: Builder, plan: MatrixPlan, cell: CellPlan, style: SwitchStyle, ends: Ends
) -> tuple[Cell, bool]:
    """The cell, and whether it is a receiver that conducts while nothing is in its beam."""
    form, facts, defaults = plan.form, cell.facts, builder.styles.defaults
    reference = f"{plan.name}/{cell.key}"
    words = f"{plan.name} {cell.key} ({cell.title})"
    path: FormPath = (*plan.path, "cells", cell.key)
    place = builder.place(facts.place or form.place, (*path, "place"), "playfield")
    element = facts.element or form.element or defaults.element
    if element not in CONTACTS:
        builder.problem((*path, "element"), element, "leaf, snap-action, reed or opto")
    order, order_origin = cell_order(cell, plan)
    column, middle, row = f"{reference}/column", f"{reference}/middle", f"{reference}/row"
    diode_first = order == "diode first"
    contact_nets = (middle, row) if diode_first else (column, middle)
    near, far = (column, middle) if diode_first else (middle, row)
    # Current flows from row to column where columns sink.
    sinks = style.closed == "low"
    diode_nets = (far, near) if sinks else (near, far)
    stubs = add_stubs(builder, reference, words, ends, place)
    lit = False
    if element == OPTO:
        if facts.normally == "closed":
            found = "'normally: closed' of an optical pair"
            builder.problem((*path, "normally"), found, "'opto: {blocked: open}' or '{blocked: closed}'")
        at = OptoPlace(reference, words, place, path, cell.aliases, facts.note)
        flow = (contact_nets[1], contact_nets[0]) if sinks else contact_nets
        contact, lit = opto_contact(builder, at, merged(facts.opto, form.opto), flow)
    else:
        if facts.opto is not None:
            builder.problem((*path, "opto"), f"'opto' of a {element} contact", "'element: opto'", key=True)
        contact = builder.add(
            f"{reference}/contact",
            "contact",
            contact_nets,
            title=f"{words}, contact",
            place=place,
            type_name=element,
            alias=cell.aliases,
            origin="stated",
            note=facts.note,
        )
    type_name = facts.diode or form.diode
    unsure = "" if order_origin == "stated" else "whether contact or diode comes first is not known"
    diode = builder.add(
        f"{reference}/diode",
        "diode",
        diode_nets,
        title=f"{words}, diode",
        place=place,
        type_name=type_name or defaults.switch_diode,
        origin="stated" if type_name else "style default",
        note=unsure,
    )
    parts = [stubs[0], *((diode, contact) if diode_first else (contact, diode)), stubs[1]]
    if facts.capacitor is not None:
        parts.insert(-1, _capacitor(builder, reference, words, contact_nets, place, facts.capacitor))
    cell_parts = tuple(parts)
    return Cell(reference, cell.column, cell.row, cell.title, contact, diode, cell.aliases, cell_parts), lit


def _capacitor(
    builder: Builder, reference: str, words: str, nets: tuple[str, str], place: str, capacitance_f: float
) -> str:
    return builder.add(
        f"{reference}/capacitor",
        "capacitor",
        nets,
        title=f"{words}, capacitor across the contact",
        place=place,
        values={"capacitance_f": capacitance_f},
        origin="stated",
    )
