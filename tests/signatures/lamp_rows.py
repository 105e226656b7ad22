"""The trade's list of lamp signatures that a single fault of machine 1 can produce.

High-side columns strobed, low-side rows with power resistors, filaments only. Left out: what needs
LEDs or thyristors (none on this machine), and strobing stopped as a whole (no such part here; a
single column's logic stuck active is the row of the shorted column driver). All of it: common
practice, no source, but for the powers, which the trade's page took from a simulation.
"""

from __future__ import annotations

import random

from matrixdoc.definition.wiring import Wiring
from tests.signatures.switch_rows import line_bridges
from tests.signatures.technician import Row, Technician, along, cells


def every_cell(wiring: Wiring) -> list[str]:
    return [c.reference for c in cells(wiring, "lamp")]


def every_column(wiring: Wiring) -> list[str]:
    return [line.key for line in wiring.matrices["lamp"].columns]


def every_row(wiring: Wiring) -> list[str]:
    return [line.key for line in wiring.matrices["lamp"].rows]


def inner_segments(wiring: Wiring) -> list[str]:
    matrix = wiring.matrices["lamp"]
    return [
        f"{line.key}/segment{n}"
        for line in (*matrix.columns, *matrix.rows)
        for n in range(3, len(line.lug_nets))
    ]


def lines_of(reference: str) -> tuple[str, str]:
    """Column and row of a cell reference."""
    column, _, row = reference.partition("/")[2].partition("R")
    return column, f"R{row}"


def beside(technician: Technician, reference: str, rng: random.Random) -> list[str]:
    """One other lamp of the same column and one of the same row."""
    column, row = lines_of(reference)
    fitted = cells(technician.case.wiring, "lamp")
    return [
        rng.choice([c.reference for c in fitted if c.column == column and c.row != row]),
        rng.choice([c.reference for c in fitted if c.row == row and c.column != column]),
    ]


def dark_cell(technician: Technician, place: str, rng: random.Random) -> None:
    """Lamp after lamp: this one is dark, one in its column and one in its row light."""
    assert technician.lamp(place) == "off"
    technician.again()
    for other in beside(technician, place, rng):
        assert technician.lamp(other) == "normal"


def dark_line(technician: Technician, place: str, rng: random.Random) -> None:
    line = along(technician.case.wiring, "lamp", place)
    for cell in (line[0], line[len(line) // 2], line[-1]):
        assert technician.lamp(cell.reference) == "off"
    technician.lamp(beside(technician, line[0].reference, rng)[place.startswith("C")])


def dark_tail(technician: Technician, place: str, rng: random.Random) -> None:
    key, _, segment = place.partition("/segment")
    line = along(technician.case.wiring, "lamp", key)
    first = int(segment) - 1
    assert technician.lamp(line[first - 1].reference) == "normal"
    for cell in (line[first], line[-1]):
        assert technician.lamp(cell.reference) == "off"
    technician.lamp(beside(technician, line[first].reference, rng)[key.startswith("C")])


def lit_column(technician: Technician, place: str, rng: random.Random) -> None:
    """A lamp of another column alone: that of the bad column in its row lights too; all commanded:
    it is over-bright; where the row is never commanded it is dark."""
    wiring = technician.case.wiring
    rows = rng.sample(every_row(wiring), 2)
    other = rng.choice([c for c in every_column(wiring) if c != place])
    lit, dark = f"lamp/{place}{rows[0]}", f"lamp/{place}{rows[1]}"
    commanded = f"lamp/{other}{rows[0]}"
    assert technician.lamp(lit, commanded) == "normal"
    assert technician.lamp(dark, commanded) == "off"
    technician.lamp(commanded)
    whole_row = tuple(f"lamp/{c}{rows[0]}" for c in every_column(wiring))
    assert technician.lamp(lit, *whole_row) == "bright"


def lit_row(technician: Technician, place: str, rng: random.Random) -> None:
    """Two lamps of the row lit though only one of another row is commanded; that one; one other."""
    wiring = technician.case.wiring
    other = rng.choice([r for r in every_row(wiring) if r != place])
    columns = rng.sample(every_column(wiring), 3)
    commanded = f"lamp/{columns[0]}{other}"
    for column in columns[1:]:
        assert technician.lamp(f"lamp/{column}{place}", commanded) in ("normal", "bright")
    technician.lamp(commanded)
    technician.lamp(f"lamp/{columns[1]}{other}", commanded)


def ghost(technician: Technician, place: str, rng: random.Random) -> None:
    """All lamps but those of the bad cell's row commanded: the bad cell glows; it alone; its
    neighbours."""
    wiring = technician.case.wiring
    _, row = lines_of(place)
    pattern = tuple(c.reference for c in cells(wiring, "lamp") if c.row != row)
    assert technician.lamp(place, *pattern) != "off"
    technician.lamp(place)
    in_column, in_row = beside(technician, place, rng)
    technician.lamp(in_column, *pattern)
    technician.lamp(in_row, *pattern)


def pairs(technician: Technician, place: str, rng: random.Random) -> None:
    """One lamp commanded alone: it and its partner on the joined line; another pair; one elsewhere."""
    wiring = technician.case.wiring
    one, two = (net.split("/")[1] for net in place.removeprefix("bridge/").split("~"))
    across = every_row(wiring) if one.startswith("C") else every_column(wiring)
    crossings = rng.sample(across, 2)
    for line, other, crossing in ((one, two, crossings[0]), (two, one, crossings[1])):
        cell, partner = (
            f"lamp/{key}{crossing}" if key.startswith("C") else f"lamp/{crossing}{key}"
            for key in (line, other)
        )
        assert technician.lamp(partner, cell) != "off"
        technician.lamp(cell)
    third = rng.choice([c.reference for c in cells(wiring, "lamp") if not {one, two} & {c.column, c.row}])
    technician.lamp(third)


def shorted_lamp(technician: Technician, place: str, rng: random.Random) -> None:
    """It is dark; what it does to the others of its row and column when each is commanded alone."""
    assert technician.lamp(place) == "off"
    for other in beside(technician, place, rng):
        technician.lamp(other)


def all_dark(technician: Technician, place: str, rng: random.Random) -> None:
    """Three lamps far apart with all commanded, and the rail by meter."""
    columns = rng.sample(every_column(technician.case.wiring), 3)
    for column, row in zip(columns, rng.sample(every_row(technician.case.wiring), 3), strict=True):
        assert technician.lamp_all(f"lamp/{column}{row}") == "off"
    technician.volts(technician.case.wiring.supplies[place].rail, "ground")


def all_dim(technician: Technician, place: str, rng: random.Random) -> None:
    """As all_dark, the lamps being weak or normal; the rail by meter."""
    columns = rng.sample(every_column(technician.case.wiring), 3)
    for column, row in zip(columns, rng.sample(every_row(technician.case.wiring), 3), strict=True):
        technician.lamp_all(f"lamp/{column}{row}")
    technician.volts(technician.case.wiring.supplies[place].rail, "ground")


ROWS = (
    Row(
        "one dark cell",
        (
            "{}/lamp: burnt out",
            "{}/socket: open",
            "{}/diode: open",
            "{}/diode: reversed",
            "{}/column_stub: open",
            "{}/row_stub: open",
        ),
        every_cell,
        dark_cell,
    ),
    Row(
        "dark column",
        (
            "lamp/{}/driver: open",
            "lamp/{}/predriver: open",
            "lamp/{}/logic: stuck idle",
            "lamp/{}/link: open",
            "lamp/{}/header: open",
            "lamp/{}/pin: open",
            "lamp/{}/wire: open",
        ),
        every_column,
        dark_line,
        together=True,
    ),
    Row(
        "dark row",
        (
            "lamp/{}/driver: open",
            "lamp/{}/resistor: open",
            "lamp/{}/predriver: open",
            "lamp/{}/pin: open",
            "lamp/{}/wire: open",
        ),
        every_row,
        dark_line,
        together=True,
    ),
    Row("dark tail of a chain", ("lamp/{}: open",), inner_segments, dark_tail, times=2),
    Row(
        "column driver shorted",
        ("lamp/{}/driver: shorted", "lamp/{}/predriver: stuck active", "lamp/{}/logic: stuck active"),
        every_column,
        lit_column,
    ),
    Row(
        "row driver shorted",
        (
            "lamp/{}/driver: shorted",
            "lamp/{}/predriver: stuck active",
            "lamp/{}/logic: stuck active",
            "lamp/{}/wire: grounded",
        ),
        every_row,
        lit_row,
    ),
    Row("diode shorted", ("{}/diode: shorted", "{}/diode: reversed"), every_cell, ghost),
    Row("two rows shorted", ("{}: bridged",), lambda w: line_bridges(w, "lamp", "R"), pairs, times=2),
    Row("two columns shorted", ("{}: bridged",), lambda w: line_bridges(w, "lamp", "C"), pairs),
    Row("lamp shorted", ("{}/lamp: shorted",), every_cell, shorted_lamp),
    Row(
        "lamp supply fuse gone",
        ("supply/{}/fuse: blown",),
        lambda w: ["lamp"],
        all_dark,
    ),
    Row(
        "filtered supply mostly ripple: capacitor open",
        ("supply/{}/capacitor: open",),
        lambda w: ["lamp"],
        all_dim,
    ),
)
