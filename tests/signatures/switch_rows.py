"""The rows of the trade's switch table that a single fault can produce.

Each row has the words of the table, what can do it, where, and the report a technician would write.
Where a row can happen is read off the wiring: the polarity of the columns, the way an idle column is
held, decoders, optical pairs. What a row looks like where that depends on the circuit (a phantom, or a
closed switch that is masked) is decided by the solved circuit. Left out: cascades (coil voltage on the
harness) and what comes and goes. All of it: common practice, no source.
"""

from __future__ import annotations

import random

from matrixdoc.definition.wiring import GROUND, Cell, Wiring
from tests.signatures.technician import (
    Row,
    Technician,
    along,
    at,
    bridge,
    cells,
    columns,
    inner_segments,
    joined_lines,
    line_bridges,
    lug_of,
    rows,
    supply_of,
)

# -- places: what each row varies over ------------------------------------------------------------


def every_cell(wiring: Wiring) -> list[str]:
    return [c.reference for c in cells(wiring, "switch")]


def every_column(wiring: Wiring) -> list[str]:
    return columns(wiring, "switch")


def every_row(wiring: Wiring) -> list[str]:
    return rows(wiring, "switch")


def sinks(wiring: Wiring) -> bool:
    """Whether an active column is pulled to ground (else it is raised to its rail)."""
    return any(p.kind in ("strobe_sink", "strobe_push_pull") for p in wiring.parts.values())


def rail_bridges(wiring: Wiring, lines: list[str]) -> list[str]:
    """Bridges between the pin of one of these lines and the pin beside it that carries a rail."""
    rails = {supply.rail for supply in wiring.supplies.values()}
    pins = {f"switch/{line}/pin" for line in lines}
    return [bridge(a, b) for a, b, _ in wiring.neighbours if {a, b} & rails and {a, b} & pins]


def ground_bridges(wiring: Wiring, lines: list[str]) -> list[str]:
    """Bridges between the pin of one of these lines and a ground pin beside it."""
    pins = {f"switch/{line}/pin" for line in lines}
    return [bridge(a, b) for a, b, _ in wiring.neighbours if GROUND in (a, b) and {a, b} & pins]


def line_of(place: str) -> str:
    """The line of a bridge between its pin and a rail or ground."""
    return place.partition("switch/")[2].split("/")[0]


def bridge_at(wiring: Wiring, place: str) -> str:
    """The bridge between the two lugs of a cell."""
    stubs = [wiring.parts[f"{place}/{side}_stub"].nets for side in ("column", "row")]
    return next(
        (
            bridge(one, two)
            for one, two, _ in wiring.neighbours
            if all(one in nets or two in nets for nets in stubs)
        ),
        "",
    )


def rectangles(wiring: Wiring) -> list[str]:
    """``suspect | phantom``: cells that share neither row nor column, with both other corners fitted."""
    fitted = {(c.column, c.row) for c in cells(wiring, "switch")}
    found = []
    for column, row in sorted(fitted):
        for other, across in sorted(fitted):
            if other != column and across != row and {(column, across), (other, row)} <= fitted:
                found.append(f"switch/{column}{row} | switch/{other}{across}")
    return found


def plain_columns(wiring: Wiring) -> list[str]:
    """Columns without a normally closed switch: only there can all of them be open."""
    resting = {c.column for c in wiring.matrices["switch"].cells} - {""}
    closed = {
        c.column for c in wiring.matrices["switch"].cells if wiring.switches[c.reference].normally_closed
    }
    return [c for c in every_column(wiring) if c in resting - closed]


def matrix_supply(wiring: Wiring) -> list[str]:
    """The supply of the switch matrix: its rail is where a column or a row ends."""
    matrix = wiring.matrices["switch"]
    nets = {n for line in (*matrix.columns, *matrix.rows) for p in line.parts for n in wiring.parts[p].nets}
    return [name for name, supply in wiring.supplies.items() if supply.rail in nets]


def matrix_optos(wiring: Wiring, *, buffered: bool) -> list[str]:
    """Optical pairs of the matrix; buffered ones read closed while the beam is interrupted."""
    return [r for r, o in wiring.optos.items() if wiring.switches[r].matrix and bool(o.sensor) == buffered]


def opto_feeds(wiring: Wiring) -> list[str]:
    return sorted({o.feed.split("/")[1] for o in wiring.optos.values() if o.feed.startswith("feed/")})


def select_lines(wiring: Wiring) -> list[str]:
    """Select lines of a decoder that picks switch columns."""
    matrix = wiring.matrices["switch"]
    return sorted(
        {part.rpartition("/")[0] for c in matrix.columns for part, _ in wiring.drives[c.drive].select}
    )


# -- reports: what a technician presses and writes down -------------------------------------------


def beside(technician: Technician, cell: Cell, rng: random.Random) -> list[str]:
    """One other switch of the same column and one of the same row."""
    fitted = cells(technician.case.wiring, "switch")
    column = [c.reference for c in fitted if c.column == cell.column and c.row != cell.row]
    row = [c.reference for c in fitted if c.row == cell.row and c.column != cell.column]
    return [rng.choice(some) for some in (column, row) if some]


def cell_of(technician: Technician, reference: str) -> Cell:
    return next(c for c in technician.case.wiring.matrices["switch"].cells if c.reference == reference)


def outside(technician: Technician, *lines: str) -> list[str]:
    """Switches on none of the lines."""
    return [
        c.reference for c in cells(technician.case.wiring, "switch") if not {c.column, c.row} & set(lines)
    ]


def dead_cell(technician: Technician, place: str, rng: random.Random) -> None:
    """The switch itself, pressed twice; one in its column, one in its row; the resting scan."""
    own = cell_of(technician, place)
    assert place not in technician.press(place)
    technician.again()
    for other in beside(technician, own, rng):
        assert other in technician.press(other)
    technician.rest()


def live_cell(technician: Technician, place: str, rng: random.Random) -> None:
    own = cell_of(technician, place)
    assert place in technician.rest()
    for other in beside(technician, own, rng):
        assert {other, place} <= set(technician.press(other))


def dark_pair(technician: Technician, place: str, rng: random.Random) -> None:
    """An optical pair without light: it reads as if the ball never left, whatever is done to it."""
    usual = Technician(technician.case, ()).rest()
    assert technician.rest() ^ usual == {place}
    assert (place in technician.press(place)) == (place not in usual)
    for other in beside(technician, cell_of(technician, place), rng):
        assert other in technician.press(other)


def dark_pairs(technician: Technician, place: str, rng: random.Random) -> None:
    """All optical pairs at once read as if a ball stood in each; other switches work; the rail.

    Buffered pairs have their buffer on the same supply: they do not conduct either (the circuit)."""
    wiring = technician.case.wiring
    usual = Technician(technician.case, ()).rest()
    pairs = matrix_optos(wiring, buffered=False)
    assert set(pairs) <= technician.rest() ^ usual
    plain = [r for r in every_cell(wiring) if r not in wiring.optos]
    for cell in rng.sample(plain, 2):
        assert cell in technician.press(cell)
    technician.press(rng.choice(pairs))
    technician.volts(wiring.supplies[supply_of(wiring, opto_feeds(wiring)[0])].rail, GROUND)


def dead_line(technician: Technician, place: str, rng: random.Random) -> None:
    """The first, a middle and the last switch of the line, and one of another line.

    On a row the technician keeps off the columns in which a normally closed switch rests: where the
    row is shorted to the rail, a press there lifts the whole column through the pressed diode, so that
    the resting switch stops reading too (the solved circuit; the trade's row does not mention it).
    """
    wiring = technician.case.wiring
    line = along(wiring, "switch", place)
    if place.startswith("R"):
        line = [c for c in line if c.column in plain_columns(wiring)]
    for cell in dict.fromkeys([line[0].reference, line[len(line) // 2].reference, line[-1].reference]):
        assert cell not in technician.press(cell)
    technician.press(rng.choice(outside(technician, place)))
    technician.rest()


def grounded_column(technician: Technician, place: str, rng: random.Random) -> None:
    """As a dead line, and the harness by ohms: the first lug against ground, off and unplugged."""
    dead_line(technician, place, rng)
    technician.ohms(f"switch/{place}/lug1", GROUND)


def dead_tail(technician: Technician, place: str, rng: random.Random) -> None:
    """The last switch before the break; three behind it; one elsewhere; the resting scan."""
    wiring = technician.case.wiring
    key, _, segment = place.partition("/segment")
    line = along(wiring, "switch", key)
    before = [c for c in line if lug_of(wiring, "switch", key, c) < int(segment)]
    after = [c for c in line if lug_of(wiring, "switch", key, c) >= int(segment)]
    assert before[-1].reference in technician.press(before[-1].reference)
    for cell in (after[0], after[len(after) // 2], after[-1]):
        assert cell.reference not in technician.press(cell.reference)
    other = rng.choice(outside(technician, key))
    assert other in technician.press(other)
    technician.rest()


def live_row(technician: Technician, place: str, rng: random.Random) -> None:
    """The resting scan, a press in the row and a press outside it."""
    row = [c.reference for c in cells(technician.case.wiring, "switch") if c.row == place]
    assert set(row) <= set(technician.rest())
    technician.press(rng.choice(row))
    technician.press(rng.choice(outside(technician, place)))


def live_column(technician: Technician, place: str, rng: random.Random) -> None:
    """Two presses in the column, each seen in every column of its row; one outside; at rest nothing."""
    column = [c for c in cells(technician.case.wiring, "switch") if c.column == place]
    for cell in rng.sample(column, 2):
        across = {c.reference for c in cells(technician.case.wiring, "switch") if c.row == cell.row}
        assert across <= set(technician.press(cell.reference))
    other = rng.choice(outside(technician, place))
    assert set(technician.press(other)) - set(technician.rest()) == {other}


def double(technician: Technician, place: str, rng: random.Random) -> None:
    """Presses on both of two joined lines that read one more, one that does not, the resting scan.

    Two columns that are driven hard both ways fight each other: there both read nothing, or what the
    stronger wins.
    """
    wiring = technician.case.wiring
    one, two = joined_lines(place)
    pairs = []
    for cell in cells(wiring, "switch"):
        for line, other in ((one, two), (two, one)):
            column, row = (other, cell.row) if line.startswith("C") else (cell.column, other)
            if line in (cell.column, cell.row) and at(wiring, "switch", column, row):
                pairs.append((cell.reference, f"switch/{column}{row}"))
    for cell_reference, also in rng.sample(pairs, 2):
        seen = technician.press(cell_reference)
        assert also in seen or (cell_reference not in seen and one.startswith("C"))
    technician.press(rng.choice(outside(technician, one, two)))
    technician.rest()


def phantom(technician: Technician, place: str, rng: random.Random) -> None:
    """Three corners held, the fourth reads; each corner by itself; the resting scan.

    Where idle columns are driven hard there is no phantom: a second closed switch of the suspect's row
    is missing. The solved circuit says which of the two is seen.
    """
    suspect, ghost = place.split(" | ")
    own, far = cell_of(technician, suspect), cell_of(technician, ghost)
    beside_it = f"switch/{far.column}{own.row}"
    corners = [suspect, f"switch/{own.column}{far.row}", beside_it]
    if ghost not in technician.press(*corners):
        assert beside_it not in technician.press(suspect, beside_it)
        technician.again()
    for corner in rng.sample(corners, 3):
        technician.press(corner)
    technician.rest()


def two_corners(technician: Technician, place: str, rng: random.Random) -> None:
    """It always reads; one press in its row and one in its column together make a phantom.

    Where idle columns are driven hard, the others of its row drop out instead.
    """
    own = cell_of(technician, place)
    in_column, in_row = beside(technician, own, rng)
    ghost = f"switch/{cell_of(technician, in_row).column}{cell_of(technician, in_column).row}"
    assert place in technician.rest()
    technician.press(in_column)
    dropped = in_row not in technician.press(in_row)
    assert (ghost in technician.press(in_column, in_row)) or dropped


def grounded_lug(technician: Technician, place: str, rng: random.Random) -> None:
    """The resting scan, the switch itself twice, one in its row, one in its column, and that one with
    the switch held: what is seen depends on which comes first, and on the polarity of the columns.
    """
    own = cell_of(technician, place)
    usual = Technician(technician.case, ()).rest()
    row = {c.reference for c in cells(technician.case.wiring, "switch") if c.row == own.row}
    rest = technician.rest()
    seen = technician.press(place)
    technician.again()
    if sinks(technician.case.wiring):
        assert row <= rest or (rest == usual and row <= seen)
    else:
        assert rest == usual
        assert place not in seen
    in_column, in_row = beside(technician, own, rng)
    technician.press(in_row)
    technician.press(in_column)
    technician.press(in_column, place)


def half_dead(technician: Technician, place: str, rng: random.Random) -> None:
    """Two switches of columns that never read, two of columns whose switches read double, at rest."""
    wiring = technician.case.wiring
    usual = Technician(technician.case, ()).rest()
    dead: list[str] = []
    twice: list[str] = []
    for reference in rng.sample(every_cell(wiring), len(every_cell(wiring))):
        if len(dead) < 2 or len(twice) < 2:
            shown = Technician(technician.case, technician.faults).press(reference) - usual
            (twice if len(shown) == 2 else dead).append(reference)
    for reference in dead[:2]:
        assert not technician.press(reference) - usual
    for reference in twice[:2]:
        assert reference in technician.press(reference)
    technician.rest()


def all_dead(technician: Technician, place: str, rng: random.Random) -> None:
    """Three switches far apart, the resting scan, and the rail by meter."""
    for cell in rng.sample(cells(technician.case.wiring, "switch"), 3):
        technician.press(cell.reference)
    technician.rest()
    technician.volts(technician.case.wiring.supplies[place].rail, GROUND)


def loose_row(technician: Technician, place: str, rng: random.Random) -> None:
    """The resting scan and two presses in the row, one outside."""
    technician.rest()
    row = [c.reference for c in cells(technician.case.wiring, "switch") if c.row == place]
    for cell in rng.sample(row, 2):
        technician.press(cell)
    technician.press(rng.choice(outside(technician, place)))


ROWS = (
    Row(
        "one cell never reads",
        (
            "{}/contact: never closes",
            "{}/contact: high resistance",
            "{}/column_stub: open",
            "{}/row_stub: open",
            "{}/column_stub: high resistance",
            "{}/diode: open",
            "{}/diode: missing",
            "{}/diode: reversed",
        ),
        every_cell,
        dead_cell,
    ),
    Row("one cell always reads", ("{}/contact: stuck closed",), every_cell, live_cell),
    Row("one cell always reads: shorted capacitor", ("{}/capacitor: shorted",), every_cell, live_cell),
    Row(
        "one cell always reads as blocked: optical pair dark",
        ("{}/emitter: dead", "{}/phototransistor: never conducts", "{}/emitter_resistor: open"),
        lambda w: matrix_optos(w, buffered=False) + matrix_optos(w, buffered=True),
        dark_pair,
    ),
    Row(
        "all optos at once",
        ("feed/{}/fuse: blown", "feed/{}/pin: open", "feed/{}/wire: open", "feed/{}/header: open"),
        opto_feeds,
        dark_pairs,
    ),
    Row(
        "all optos at once: opto supply",
        ("supply/{}/fuse: blown", "supply/{}/regulator: dead", "supply/{}/wire: open"),
        opto_feeds,
        dark_pairs,
        part=supply_of,
    ),
    Row(
        "whole column never reads",
        (
            "switch/{}/driver: dead",
            "switch/{}/driver: stuck idle",
            "switch/{}/logic: open",
            "switch/{}/logic: stuck idle",
            "switch/{}/link: open",
            "switch/{}/predriver: open",
            "switch/{}/predriver: stuck idle",
            "switch/{}/header: open",
            "switch/{}/pin: open",
            "switch/{}/wire: open",
        ),
        every_column,
        dead_line,
    ),
    Row(
        "column never reads: its line shorted to the idle level",
        ("switch/{}/wire: grounded",),
        lambda w: [] if sinks(w) else every_column(w),
        grounded_column,
    ),
    Row(
        "column never reads: its pin shorted to the rail",
        ("{}: bridged",),
        lambda w: rail_bridges(w, every_column(w)) if sinks(w) else [],
        lambda t, place, rng: dead_line(t, line_of(place), rng),
    ),
    Row(
        "tail of a column (or row) never reads",
        ("switch/{}: open",),
        lambda w: inner_segments(w, "switch"),
        dead_tail,
    ),
    Row(
        "whole row never reads",
        (
            "switch/{}/sensing: reads open",
            "switch/{}/input: reads open",
            "switch/{}/link: stuck idle",
            "switch/{}/header: open",
            "switch/{}/pin: open",
            "switch/{}/wire: open",
        ),
        every_row,
        dead_line,
    ),
    Row(
        "row wire shorted to the idle level",
        ("switch/{}/wire: grounded", "switch/{}/sensing: input shorted"),
        lambda w: [] if sinks(w) else every_row(w),
        dead_line,
    ),
    Row(
        "row wire shorted to the rail",
        ("{}: bridged",),
        lambda w: rail_bridges(w, every_row(w)) if sinks(w) else [],
        lambda t, place, rng: dead_line(t, line_of(place), rng),
    ),
    Row(
        "whole row reads all the time, every column",
        ("switch/{}/sensing: reads closed", "switch/{}/input: reads closed"),
        every_row,
        live_row,
    ),
    Row(
        "whole row reads all the time: shorted to the active level",
        ("switch/{}/wire: grounded", "switch/{}/sensing: input shorted"),
        lambda w: every_row(w) if sinks(w) else [],
        live_row,
    ),
    Row(
        "whole row reads all the time: its pin shorted to the pin beside it",
        ("{}: bridged",),
        lambda w: ground_bridges(w, every_row(w)) if sinks(w) else rail_bridges(w, every_row(w)),
        lambda t, place, rng: live_row(t, line_of(place), rng),
    ),
    Row(
        "one closed switch reads in every column of its row",
        (
            "switch/{}/driver: stuck active",
            "switch/{}/predriver: stuck active",
            "switch/{}/logic: stuck active",
            "switch/{}/link: stuck active",
        ),
        plain_columns,
        live_column,
    ),
    Row(
        "one closed switch reads in every column of its row: column shorted to the active level",
        ("switch/{}/wire: grounded",),
        lambda w: plain_columns(w) if sinks(w) else [],
        live_column,
    ),
    Row(
        "half the columns dead, the others read double",
        ("{}/logic: stuck active", "{}/logic: stuck idle", "{}/link: open", "{}/link: stuck active"),
        select_lines,
        half_dead,
    ),
    Row(
        "pressing one reads a second cell, same column: two rows shorted",
        ("{}: bridged",),
        lambda w: line_bridges(w, "switch", every_row(w)),
        double,
    ),
    Row(
        "pressing one reads a second cell, same row: two columns shorted",
        ("{}: bridged",),
        lambda w: line_bridges(w, "switch", every_column(w)),
        double,
    ),
    Row(
        "fourth corner of a rectangle reads when three are closed, or a closed one is masked",
        ("{}/diode: shorted", "{}/diode: bypassed", "{}/diode: reversed"),
        rectangles,
        phantom,
    ),
    Row(
        "one cell always reads: row and column bridged past the diode",
        ("{}: bridged",),
        every_cell,
        two_corners,
        part=bridge_at,
    ),
    Row(
        "lug between contact and diode grounded",
        ("bridge/ground~{}/middle: bridged",),
        every_cell,
        grounded_lug,
    ),
    Row(
        "no cell reads: supply",
        ("supply/{}/fuse: blown", "supply/{}/regulator: dead"),
        matrix_supply,
        all_dead,
    ),
    # An open link pin leaves the logic's input floating: nobody can say what it reads, so it belongs to
    # this row and not to "whole row never reads".
    Row(
        "row floats: row pull-up open",
        ("switch/{}/pull: open", "switch/{}/link: open"),
        every_row,
        loose_row,
    ),
)
