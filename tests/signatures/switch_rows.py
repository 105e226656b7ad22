"""The rows of the trade's switch table that a single fault of machine 1 can produce.

Each row has the words of the table, what can do it, where, and the report a technician would write.
Rows that this machine cannot produce by one fault are left out: a decoder that drives the columns
(none here), optos (none here), a column next to a rail (no such neighbours), cascades (coil
voltage on the harness) and what comes and goes. All of it: common practice, no source.
"""

from __future__ import annotations

import random

from matrixdoc.definition.wiring import Cell, Wiring
from tests.signatures.technician import Row, Technician, along, at, cells

# -- places: what each row varies over ------------------------------------------------------------


def every_cell(wiring: Wiring) -> list[str]:
    return [c.reference for c in cells(wiring, "switch")]


def every_column(wiring: Wiring) -> list[str]:
    return [line.key for line in wiring.matrices["switch"].columns]


def every_row(wiring: Wiring) -> list[str]:
    return [line.key for line in wiring.matrices["switch"].rows]


def inner_segments(wiring: Wiring) -> list[str]:
    """``line/segmentN`` with at least one lug before the break, and one open switch on each side."""
    matrix = wiring.matrices["switch"]
    found = []
    for line in (*matrix.columns, *matrix.rows):
        lugs = [lug_of(wiring, line.key, c) for c in along(wiring, "switch", line.key)]
        found += [
            f"{line.key}/segment{n}"
            for n in range(2, len(line.lug_nets) + 1)
            if any(lug < n for lug in lugs) and any(lug >= n for lug in lugs)
        ]
    return found


def lug_of(wiring: Wiring, line: str, cell: Cell) -> int:
    """Number of the lug on ``line`` where the cell hangs, the first is 1."""
    matrix = wiring.matrices["switch"]
    lugs = next(entry.lug_nets for entry in (*matrix.columns, *matrix.rows) if entry.key == line)
    side = "column" if line.startswith("C") else "row"
    stub = wiring.parts[f"{cell.reference}/{side}_stub"]
    return next(lugs.index(n) for n in stub.nets if n in lugs) + 1


def line_bridges(wiring: Wiring, matrix: str, letter: str) -> list[str]:
    """Bridges between adjacent connector pins of two columns or two rows of one matrix."""
    found = []
    for one, two, _ in wiring.neighbours:
        pins = [net for net in (one, two) if net.startswith(f"{matrix}/") and net.endswith("/pin")]
        if len(pins) == 2 and all(net.split("/")[1].startswith(letter) for net in pins):
            found.append(bridge(one, two))
    return found


def bridge(one: str, two: str) -> str:
    """Reference of the latent bridge between two nets, as the published grammar derives it."""
    low, high = sorted((one, two))
    return f"bridge/{low}~{high}"


def bridge_at(wiring: Wiring, place: str) -> str:
    """The bridge between the two lugs of a cell."""
    stubs = [wiring.parts[f"{place}/{side}_stub"].nets for side in ("column", "row")]
    return next(
        bridge(one, two)
        for one, two, _ in wiring.neighbours
        if all(one in nets or two in nets for nets in stubs)
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


# -- reports: what a technician presses and writes down -------------------------------------------


def beside(technician: Technician, cell: Cell, rng: random.Random) -> list[str]:
    """One other switch of the same column and one of the same row."""
    fitted = cells(technician.case.wiring, "switch")
    column = [c.reference for c in fitted if c.column == cell.column and c.row != cell.row]
    row = [c.reference for c in fitted if c.row == cell.row and c.column != cell.column]
    return [rng.choice(some) for some in (column, row) if some]


def cell_of(technician: Technician, reference: str) -> Cell:
    return next(c for c in technician.case.wiring.matrices["switch"].cells if c.reference == reference)


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


def dead_line(technician: Technician, place: str, rng: random.Random) -> None:
    """The first, a middle and the last switch of the line, and one of another line.

    On a row the technician keeps off the columns in which a normally closed switch rests: where the
    row is shorted to the rail, a press there lifts the whole column through the pressed diode, so that
    the resting switch stops reading too (the solved circuit; the trade's row does not mention it).
    """
    wiring = technician.case.wiring
    line = along(wiring, "switch", place)
    if place.startswith("R"):
        fitted = wiring.matrices["switch"].cells
        resting = {c.column for c in fitted if wiring.switches[c.reference].normally_closed}
        line = [c for c in line if c.column not in resting]
    for cell in dict.fromkeys([line[0].reference, line[len(line) // 2].reference, line[-1].reference]):
        assert cell not in technician.press(cell)
    technician.press(beside(technician, line[0], rng)[place.startswith("C")])
    technician.rest()


def dead_tail(technician: Technician, place: str, rng: random.Random) -> None:
    """The last switch before the break, the first after it, the last of the line, the resting scan."""
    wiring = technician.case.wiring
    key, _, segment = place.partition("/segment")
    line = along(wiring, "switch", key)
    before = [c for c in line if lug_of(wiring, key, c) < int(segment)]
    after = [c for c in line if lug_of(wiring, key, c) >= int(segment)]
    assert before[-1].reference in technician.press(before[-1].reference)
    for cell in dict.fromkeys([after[0].reference, after[-1].reference]):
        assert cell not in technician.press(cell)
    other = beside(technician, after[0], rng)[key.startswith("C")]
    assert other in technician.press(other)
    technician.rest()


def live_row(technician: Technician, place: str, rng: random.Random) -> None:
    """The resting scan, a press in the row and a press outside it."""
    row = [c.reference for c in cells(technician.case.wiring, "switch") if c.row == place]
    other = [c.reference for c in cells(technician.case.wiring, "switch") if c.row != place]
    assert set(row) <= set(technician.rest())
    technician.press(rng.choice(row))
    technician.press(rng.choice(other))


def live_column(technician: Technician, place: str, rng: random.Random) -> None:
    """Two presses in the column, each seen in every column of its row; one outside; at rest nothing."""
    column = [c for c in cells(technician.case.wiring, "switch") if c.column == place]
    for cell in rng.sample(column, 2):
        across = {c.reference for c in cells(technician.case.wiring, "switch") if c.row == cell.row}
        assert across <= set(technician.press(cell.reference))
    other = rng.choice([c.reference for c in cells(technician.case.wiring, "switch") if c.column != place])
    assert set(technician.press(other)) - set(technician.rest()) == {other}


def double(technician: Technician, place: str, rng: random.Random) -> None:
    """Presses on both of two joined lines that read one more, one that does not, the resting scan."""
    wiring = technician.case.wiring
    one, two = (net.split("/")[1] for net in place.removeprefix("bridge/").split("~"))
    pairs = []
    for cell in cells(wiring, "switch"):
        for line, other in ((one, two), (two, one)):
            column, row = (other, cell.row) if line.startswith("C") else (cell.column, other)
            if line in (cell.column, cell.row) and at(wiring, "switch", column, row):
                pairs.append((cell.reference, f"switch/{column}{row}"))
    for cell_reference, also in rng.sample(pairs, 2):
        assert {cell_reference, also} <= set(technician.press(cell_reference))
    other_cell = rng.choice([c for c in cells(wiring, "switch") if not {one, two} & {c.column, c.row}])
    technician.press(other_cell.reference)
    technician.rest()


def phantom(technician: Technician, place: str, rng: random.Random) -> None:
    """Three corners held, the fourth reads; each corner by itself; the resting scan."""
    suspect, ghost = place.split(" | ")
    own, far = cell_of(technician, suspect), cell_of(technician, ghost)
    corners = [suspect, f"switch/{own.column}{far.row}", f"switch/{far.column}{own.row}"]
    assert ghost in technician.press(*corners)
    for corner in rng.sample(corners, 3):
        technician.press(corner)
    technician.rest()


def two_corners(technician: Technician, place: str, rng: random.Random) -> None:
    """It always reads; one press in its row and one in its column together make a phantom."""
    own = cell_of(technician, place)
    in_column, in_row = beside(technician, own, rng)
    ghost = f"switch/{cell_of(technician, in_row).column}{cell_of(technician, in_column).row}"
    assert place in technician.rest()
    technician.press(in_column)
    technician.press(in_row)
    assert ghost in technician.press(in_column, in_row)


def all_dead(technician: Technician, place: str, rng: random.Random) -> None:
    """Three switches far apart, the resting scan, and the rail by meter."""
    for cell in rng.sample(cells(technician.case.wiring, "switch"), 3):
        technician.press(cell.reference)
    technician.rest()
    technician.volts(technician.case.wiring.supplies[place].rail, "ground")


def loose_row(technician: Technician, place: str, rng: random.Random) -> None:
    """The resting scan and two presses in the row, one outside."""
    technician.rest()
    row = [c.reference for c in cells(technician.case.wiring, "switch") if c.row == place]
    for cell in rng.sample(row, 2):
        technician.press(cell)
    technician.press(
        rng.choice([c.reference for c in cells(technician.case.wiring, "switch") if c.row != place])
    )


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
    Row(
        "one cell always reads: shorted capacitor",
        ("{}/capacitor: shorted",),
        lambda w: [r for r in every_cell(w) if f"{r}/capacitor" in w.parts],
        live_cell,
    ),
    Row(
        "whole column never reads",
        (
            "switch/{}/driver: dead",
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
    Row("tail of a column (or row) never reads", ("switch/{}: open",), inner_segments, dead_tail, times=3),
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
        "row wire shorted to the rail",
        ("{}: bridged",),
        lambda w: [bridge(a, b) for a, b, _ in w.neighbours if "rail/logic" in (a, b)],
        lambda t, place, rng: dead_line(t, place.rpartition("switch/")[2].split("/")[0], rng),
    ),
    Row(
        "whole row reads all the time, every column",
        (
            "switch/{}/wire: grounded",
            "switch/{}/sensing: reads closed",
            "switch/{}/sensing: input shorted",
            "switch/{}/input: reads closed",
        ),
        every_row,
        live_row,
    ),
    Row(
        "one closed switch reads in every column of its row",
        (
            "switch/{}/driver: stuck active",
            "switch/{}/predriver: stuck active",
            "switch/{}/logic: stuck active",
            "switch/{}/wire: grounded",
        ),
        # Column 1 has a normally closed switch: it is never "all open", so the row's words do not fit.
        lambda w: [c for c in every_column(w) if c != "C1"],
        live_column,
    ),
    Row(
        "pressing one reads a second cell, same column: two rows shorted",
        ("{}: bridged",),
        lambda w: line_bridges(w, "switch", "R"),
        double,
        times=2,
    ),
    Row(
        "pressing one reads a second cell, same row: two columns shorted",
        ("{}: bridged",),
        lambda w: line_bridges(w, "switch", "C"),
        double,
        times=2,
    ),
    Row(
        "fourth corner of a rectangle reads when three are closed",
        ("{}/diode: shorted", "{}/diode: bypassed", "{}/diode: reversed"),
        rectangles,
        phantom,
        times=2,
    ),
    Row(
        "one cell always reads: row and column bridged past the diode, weak idle columns",
        ("{}: bridged",),
        every_cell,
        two_corners,
        times=2,
        part=bridge_at,
    ),
    Row(
        "no cell reads: supply",
        (
            "supply/{}/fuse: blown",
            "supply/{}/regulator: dead",
        ),
        lambda w: ["logic"],
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
