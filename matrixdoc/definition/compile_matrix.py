"""Switch and lamp matrices: drives, sensing, lines, cells.

Cell circuits run from the column lug to the row lug: column stub, first element, second element,
row stub, where "contact first" (lamp first) or "diode first" counts from the column. Current flows
from row to column where columns sink, and the other way where they source; diodes point that way.
"""

from __future__ import annotations

from dataclasses import dataclass

from matrixdoc.definition.compile_builder import Builder, FormPath, named
from matrixdoc.definition.compile_drives import Decoder, decoder_parts, link_part, output_part, signal_path
from matrixdoc.definition.compile_lines import CellPlan, LinePlan, MatrixPlan, Wired, wire_line
from matrixdoc.definition.compile_supplies import rail_of
from matrixdoc.definition.schema import CellOrder
from matrixdoc.definition.styles import LampStyle, SensingStyle, SwitchStyle
from matrixdoc.definition.wiring import GROUND, Cell, Lamp, Line, Matrix, Origin, Sensor, Switch

LED_ELEMENT = "LED"
FILAMENTS = frozenset({"", "filament", LED_ELEMENT})
CONTACTS = frozenset({"", "leaf", "snap-action", "reed"})


@dataclass(frozen=True)
class _Ends:
    """The nets of a cell's parts."""

    column_lug: str
    row_lug: str


def compile_matrix(builder: Builder, plan: MatrixPlan, device: str) -> None:
    """Wire one planned matrix."""
    if device == "switch":
        _switch_matrix(builder, plan)
    else:
        _lamp_matrix(builder, plan)


# -- switch matrices -----------------------------------------------------------------------------------


def _switch_matrix(builder: Builder, plan: MatrixPlan) -> None:
    form = plan.form
    defaults = builder.styles.defaults
    style = builder.styles.switch[form.style or defaults.switch_style]
    sensing = builder.styles.sensing[form.sensing or defaults.sensing]
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
        ends = _Ends(column_wires[cell.column].lug_of[cell.key], row_wires[cell.row].lug_of[cell.key])
        made_cell = _switch_cell(builder, plan, cell, style, ends)
        cells.append(made_cell)
        builder.switches[made_cell.reference] = Switch(
            made_cell.reference,
            cell.title,
            made_cell.element,
            plan.name,
            sensor_of[cell.row],
            cell.facts.normally == "closed",
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


def _line(
    plan: MatrixPlan,
    line: LinePlan,
    inner: str,
    wired: Wired,
    parts: list[str],
    drive: str = "",
    sensor: str = "",
) -> Line:
    return Line(
        line.key,
        line.facts.title or line.words(plan.name),
        inner,
        wired.lug_nets,
        drive,
        sensor,
        line.chain_order,
        (*parts, *wired.parts),
        line.facts.wire,
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
    path = signal_path(builder, prefix, words, line.facts, board, line.path)
    output = output_part(
        builder, prefix, words, style.driver, nets, line.facts, form.column_type, board, values
    )
    drive = builder.drive(f"{prefix}/drive", line.facts.title or words, path, output)
    parts = [output]
    pull = style.column_pull_ohm if form.column_pull is None else form.column_pull
    if pull > 0:
        origin: Origin = "style default" if form.column_pull is None else "stated"
        parts.append(_pull(builder, prefix, words, (inner, rail if sinks else GROUND), pull, board, origin))
    wired = wire_line(builder, plan, line, inner, board)
    return _line(plan, line, inner, wired, parts, drive=drive), wired


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
    return _line(plan, line, inner, wired, [sensor, pull], sensor=sensor), wired


def logic_input(builder: Builder, prefix: str, words: str, name: str, board: str) -> str:
    """The input of the logic behind a sensing part."""
    home = builder.logic_board or board
    return builder.add(
        f"{prefix}/input",
        "logic_input",
        title=f"{words}, logic input{named(name)}",
        place=builder.board_place(home),
        board=home,
        alias=(name,),
        origin="stated" if name else "assumed",
    )


def _order(cell: CellPlan, plan: MatrixPlan) -> tuple[CellOrder, Origin]:
    stated = cell.facts.order or plan.form.order
    return ("unknown", "assumed") if stated is None or stated == "unknown" else (stated, "stated")


def _stubs(builder: Builder, prefix: str, words: str, ends: _Ends, place: str) -> tuple[str, str]:
    made = []
    for side, lug in (("column", ends.column_lug), ("row", ends.row_lug)):
        made.append(
            builder.add(
                f"{prefix}/{side}_stub",
                "wire",
                (lug, f"{prefix}/{side}"),
                title=f"{words}, lug and stub to the {side} wire",
                place=place,
            )
        )
    builder.neighbour(ends.column_lug, ends.row_lug, f"lugs of {words}")
    return made[0], made[1]


def _switch_cell(builder: Builder, plan: MatrixPlan, cell: CellPlan, style: SwitchStyle, ends: _Ends) -> Cell:
    form, facts, defaults = plan.form, cell.facts, builder.styles.defaults
    reference = f"{plan.name}/{cell.key}"
    words = f"{plan.name} {cell.key} ({cell.title})"
    path: FormPath = (*plan.path, "cells", cell.key, "place")
    place = builder.place(facts.place or form.place, path, "playfield")
    element = facts.element or form.element or defaults.element
    if element not in CONTACTS:
        builder.problem((*plan.path, "cells", cell.key, "element"), element, "leaf, snap-action or reed")
    order, order_origin = _order(cell, plan)
    column, middle, row = f"{reference}/column", f"{reference}/middle", f"{reference}/row"
    diode_first = order == "diode first"
    contact_nets = (middle, row) if diode_first else (column, middle)
    near, far = (column, middle) if diode_first else (middle, row)
    # Current flows from row to column where columns sink.
    diode_nets = (far, near) if style.closed == "low" else (near, far)
    stubs = _stubs(builder, reference, words, ends, place)
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
        parts.insert(
            -1,
            builder.add(
                f"{reference}/capacitor",
                "capacitor",
                contact_nets,
                title=f"{words}, capacitor across the contact",
                place=place,
                values={"capacitance_f": facts.capacitor},
                origin="stated",
            ),
        )
    return Cell(reference, cell.column, cell.row, cell.title, contact, diode, cell.aliases, tuple(parts))


# -- lamp matrices ----------------------------------------------------------------------------------------


def _lamp_matrix(builder: Builder, plan: MatrixPlan) -> None:
    form = plan.form
    defaults = builder.styles.defaults
    style = builder.styles.lamp[form.style or defaults.lamp_style]
    rail = rail_of(builder, form.supply, "lamp", (*plan.path, "supply"), form.feed, (*plan.path, "feed"))[0]
    board = builder.board(form.board, (*plan.path, "board"), builder.drive_board)
    columns_feed = style.column.startswith("high_side")
    decoder = decoder_parts(
        builder, plan.name, form.decoder, len(plan.columns), board, (*plan.path, "decoder")
    )
    lines: dict[str, list[Line]] = {"C": [], "R": []}
    wires: dict[str, Wired] = {}
    for index, line in enumerate((*plan.columns, *plan.rows)):
        chosen = (decoder, index) if decoder and line.letter == "C" else None
        made, wires[line.key] = _lamp_line(builder, plan, line, style, (rail, board), chosen)
        lines[line.letter].append(made)
    drive_of = {line.key: line.drive for line in (*lines["C"], *lines["R"])}
    cells = []
    for cell in plan.cells:
        ends = _Ends(wires[cell.column].lug_of[cell.key], wires[cell.row].lug_of[cell.key])
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


def _lamp_line(
    builder: Builder,
    plan: MatrixPlan,
    line: LinePlan,
    style: LampStyle,
    at: tuple[str, str],
    chosen: tuple[Decoder, int] | None,
) -> tuple[Line, Wired]:
    form, facts, prefix, words = plan.form, line.facts, f"{plan.name}/{line.key}", line.words(plan.name)
    rail = at[0]
    board = builder.board(facts.board, (*line.path, "board"), at[1])
    inner = f"{prefix}/board"
    is_column = line.letter == "C"
    kind = style.column if is_column else style.row
    type_name = (form.column_type or style.column_type) if is_column else (form.row_type or style.row_type)
    decoder = chosen[0] if chosen else None
    path = signal_path(builder, prefix, words, facts, board, line.path, decoder=decoder)
    other = rail if kind.startswith("high_side") else GROUND
    output = output_part(builder, prefix, words, kind, (inner, other), facts, type_name, board)
    select = chosen[0].select(chosen[1]) if chosen else ()
    drive = builder.drive(f"{prefix}/drive", facts.title or words, path, output, select)
    parts = [output]
    exit_net = inner
    ohm = style.row_resistor_ohm if form.row_resistor is None else form.row_resistor
    if not is_column and ohm > 0:
        exit_net = f"{prefix}/limited"
        parts.append(
            builder.add(
                f"{prefix}/resistor",
                "resistor",
                (inner, exit_net),
                title=f"{words}, power resistor{named(facts.resistor)}",
                place=builder.board_place(board),
                values={"ohm": ohm},
                board=board,
                alias=(facts.resistor,),
                origin="style default" if form.row_resistor is None else "stated",
            )
        )
    wired = wire_line(builder, plan, line, exit_net, board)
    return _line(plan, line, inner, wired, parts, drive=drive), wired


def _lamp_cell(
    builder: Builder, plan: MatrixPlan, cell: CellPlan, *, columns_feed: bool, ends: _Ends
) -> Cell:
    form, facts, defaults = plan.form, cell.facts, builder.styles.defaults
    reference = f"{plan.name}/{cell.key}"
    words = f"{plan.name} {cell.key} ({cell.title})"
    path: FormPath = (*plan.path, "cells", cell.key)
    place = builder.place(facts.place or form.place, (*path, "place"), "playfield")
    element = facts.element or form.element
    if element not in FILAMENTS:
        builder.problem((*path, "element"), element, "filament or LED")
    is_led = element == LED_ELEMENT
    order, order_origin = _order(cell, plan)
    stubs = _stubs(builder, reference, words, ends, place)
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
    type_name = facts.lamp or form.lamp
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
