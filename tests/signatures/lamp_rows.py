"""The trade's list of lamp signatures that a single fault can produce.

Lamps in a matrix: the strobed lines switch the supply, the others take it to ground, and either may be
the columns. Lamps with a thyristor each: no matrix. Left out: strobing stopped as a whole (no such
part; a single line's logic stuck active is the row of the shorted driver). All of it: common practice,
no source, but for the powers, which the trade's page took from a simulation.
"""

from __future__ import annotations

import random
from collections.abc import Callable

from matrixdoc.definition.wiring import GROUND, Cell, Wiring
from tests.signatures.technician import (
    Row,
    Technician,
    along,
    cells,
    columns,
    inner_segments,
    joined_lines,
    line_bridges,
    lug_of,
    rows,
    supply_of,
)

# -- places ----------------------------------------------------------------------------------------


def every_cell(wiring: Wiring) -> list[str]:
    return [c.reference for c in cells(wiring, "lamp")]


def filaments(wiring: Wiring) -> list[str]:
    """Cells with a filament: a polarised LED in the cell of a shorted diode blocks the stray path."""
    return [c.reference for c in cells(wiring, "lamp") if wiring.parts[c.element].kind == "lamp"]


def strobed(wiring: Wiring) -> list[str]:
    """Lines of the lamp matrix that are active one at a time."""
    if "lamp" not in wiring.matrices:
        return []
    return (columns if wiring.matrices["lamp"].strobed == "columns" else rows)(wiring, "lamp")


def steady(wiring: Wiring) -> list[str]:
    """The other lines of the lamp matrix."""
    return [line for line in (*columns(wiring, "lamp"), *rows(wiring, "lamp")) if line not in strobed(wiring)]


def crossing(wiring: Wiring, one: str, two: str) -> str:
    """The lamp where two lines cross, or nothing."""
    return next((c.reference for c in cells(wiring, "lamp") if {c.column, c.row} == {one, two}), "")


def own_drives(wiring: Wiring) -> list[str]:
    """Lamps with a drive of their own."""
    return [r for r, lamp in wiring.lamps.items() if lamp.drive and not lamp.matrix]


def lamp_feeds(wiring: Wiring) -> list[str]:
    """Feeds of lamps with a drive of their own."""
    nets = {n for r in own_drives(wiring) for n in wiring.parts[f"{r}/feed"].nets if n.startswith("feed/")}
    return sorted({n.split("/")[1] for n in nets})


def lamp_supplies(wiring: Wiring) -> list[str]:
    """Supplies of driven lamps."""
    found = {supply_of(wiring, feed) for feed in lamp_feeds(wiring)}
    drives = [line.drive for line in wiring.matrices["lamp"].columns] if "lamp" in wiring.matrices else []
    drives += [line.drive for line in wiring.matrices["lamp"].rows] if drives else []
    nets = {n for d in drives for n in wiring.parts[wiring.drives[d].output].nets}
    return sorted(found | {name for name, supply in wiring.supplies.items() if supply.rail in nets})


def unfiltered(wiring: Wiring) -> list[str]:
    return [name for name in lamp_supplies(wiring) if not wiring.supplies[name].capacitor]


def select_lines(wiring: Wiring) -> list[str]:
    """Select lines of decoders that pick lamps."""
    drives = [wiring.drives[wiring.lamps[r].drive] for r in own_drives(wiring)]
    return sorted({part.rpartition("/")[0] for d in drives for part, _ in d.select})


def decoders(wiring: Wiring) -> list[str]:
    drives = [wiring.drives[wiring.lamps[r].drive] for r in own_drives(wiring)]
    return sorted({p for d in drives for p in d.path if wiring.parts[p].kind == "decoder"})


# -- reports ---------------------------------------------------------------------------------------


def cell_of(technician: Technician, reference: str) -> Cell:
    return next(c for c in cells(technician.case.wiring, "lamp") if c.reference == reference)


def beside(technician: Technician, reference: str, rng: random.Random) -> list[str]:
    """One other lamp of the same column and one of the same row."""
    own = cell_of(technician, reference)
    fitted = cells(technician.case.wiring, "lamp")
    return [
        rng.choice([c.reference for c in fitted if c.column == own.column and c.row != own.row]),
        rng.choice([c.reference for c in fitted if c.row == own.row and c.column != own.column]),
    ]


def outside(technician: Technician, *lines: str) -> list[str]:
    """Lamps on none of the lines."""
    return [c.reference for c in cells(technician.case.wiring, "lamp") if not {c.column, c.row} & set(lines)]


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
    assert technician.lamp(rng.choice(outside(technician, place))) == "normal"


def dark_tail(technician: Technician, place: str, rng: random.Random) -> None:
    """The last lamp before the break; the first, a middle and the last behind it; one elsewhere."""
    wiring = technician.case.wiring
    key, _, segment = place.partition("/segment")
    line = along(wiring, "lamp", key)
    before = [c for c in line if lug_of(wiring, "lamp", key, c) < int(segment)]
    after = [c for c in line if lug_of(wiring, "lamp", key, c) >= int(segment)]
    assert technician.lamp(before[-1].reference) == "normal"
    for cell in (after[0], after[len(after) // 2], after[-1]):
        assert technician.lamp(cell.reference) == "off"
    technician.lamp(rng.choice(outside(technician, key)))


def lit_strobed(technician: Technician, place: str, rng: random.Random) -> None:
    """A lamp of another strobed line alone: that of the bad line beside it lights too, at two places;
    where the other line is not commanded it is dark; a whole one commanded: it is over-bright."""
    wiring = technician.case.wiring
    own = [line for line in steady(wiring) if crossing(wiring, place, line)]
    across, silent = rng.sample(own, 2)
    others = [line for line in strobed(wiring) if line != place and crossing(wiring, line, across)]
    lit, dark = crossing(wiring, place, across), crossing(wiring, place, silent)
    commanded = crossing(wiring, rng.choice(others), across)
    assert technician.lamp(lit, commanded) != "off"
    assert technician.lamp(dark, commanded) == "off"
    technician.lamp(commanded)
    again = [line for line in strobed(wiring) if line != place and crossing(wiring, line, silent)]
    assert technician.lamp(dark, crossing(wiring, rng.choice(again), silent)) != "off"
    whole = tuple(crossing(wiring, line, across) for line in (*others, place))
    assert technician.lamp(lit, *whole) == "bright"


def lit_steady(technician: Technician, place: str, rng: random.Random) -> None:
    """Two lamps of the line lit though only one of another line is commanded; that one; one other."""
    wiring = technician.case.wiring
    other = rng.choice([line for line in steady(wiring) if line != place])
    both = [c for c in strobed(wiring) if crossing(wiring, c, place) and crossing(wiring, c, other)]
    lines = rng.sample(both, 3)
    commanded = crossing(wiring, lines[0], other)
    for line in lines[1:]:
        assert technician.lamp(crossing(wiring, line, place), commanded) in ("normal", "bright")
    technician.lamp(commanded)
    technician.lamp(crossing(wiring, lines[1], other), commanded)


def ghost(technician: Technician, place: str, rng: random.Random) -> None:
    """All lamps but those of the bad cell's grounded line commanded: the bad cell glows; it alone; its
    neighbours."""
    wiring = technician.case.wiring
    own = cell_of(technician, place)
    line = own.row if own.row in steady(wiring) else own.column
    pattern = tuple(outside(technician, line))
    assert technician.lamp(place, *pattern) != "off"
    technician.lamp(place)
    for other in beside(technician, place, rng):
        technician.lamp(other, *pattern)


def pairs(technician: Technician, place: str, rng: random.Random) -> None:
    """One lamp commanded alone: it and its partner on the joined line; another pair; one elsewhere."""
    wiring = technician.case.wiring
    one, two = joined_lines(place)
    every = [*strobed(wiring), *steady(wiring)]
    both = [k for k in every if crossing(wiring, one, k) and crossing(wiring, two, k)]
    crossings = rng.sample(both, 2)
    for line, other, across in ((one, two, crossings[0]), (two, one, crossings[1])):
        cell, partner = crossing(wiring, line, across), crossing(wiring, other, across)
        assert technician.lamp(partner, cell) != "off"
        technician.lamp(cell)
    technician.lamp(rng.choice(outside(technician, one, two)))


def shorted_lamp(technician: Technician, place: str, rng: random.Random) -> None:
    """It is dark; what it does to the others of its row and column when each is commanded alone."""
    assert technician.lamp(place) == "off"
    for other in beside(technician, place, rng):
        technician.lamp(other)


def some_driven(technician: Technician, rng: random.Random) -> list[str]:
    """Three driven lamps."""
    wiring = technician.case.wiring
    return rng.sample([r for r, lamp in wiring.lamps.items() if lamp.drive or lamp.matrix], 3)


def all_dark(technician: Technician, place: str, rng: random.Random) -> None:
    """Three lamps with all commanded, and the rail by meter."""
    for lamp in some_driven(technician, rng):
        assert technician.lamp_all(lamp) == "off"
    technician.volts(technician.case.wiring.supplies[place].rail, GROUND)


def all_dim(technician: Technician, place: str, rng: random.Random) -> None:
    """As all_dark, the lamps being weak or normal; the rail by meter."""
    for lamp in some_driven(technician, rng):
        technician.lamp_all(lamp)
    technician.volts(technician.case.wiring.supplies[place].rail, GROUND)


def feed_dark(technician: Technician, place: str, rng: random.Random) -> None:
    """Three lamps of the feed dark; the rail by meter."""
    for lamp in rng.sample(own_drives(technician.case.wiring), 3):
        assert technician.lamp(lamp) == "off"
    wiring = technician.case.wiring
    technician.volts(wiring.supplies[supply_of(wiring, place)].rail, GROUND)


def dark_single(technician: Technician, place: str, rng: random.Random) -> None:
    """It is dark, twice; two others light: those beside it on its decoder, each with another select line
    in common, so that no select line is to blame."""
    assert technician.lamp(place) == "off"
    technician.again()
    wiring = technician.case.wiring
    address = {r: set(wiring.drives[wiring.lamps[r].drive].select) for r in own_drives(wiring)}
    others = rng.sample([r for r in address if r != place], len(address) - 1)
    for other in sorted(others, key=lambda r: len(address[place] ^ address[r]))[:2]:
        assert technician.lamp(other) == "normal"


def lit_single(technician: Technician, place: str, rng: random.Random) -> None:
    """It lights while others are commanded; of two others only the commanded one lights."""
    one, two = rng.sample([r for r in own_drives(technician.case.wiring) if r != place], 2)
    assert technician.lamp(place, one) == "normal"
    assert technician.lamp(one) == "normal"
    assert technician.lamp(two, one) == "off"


def half_dark(technician: Technician, place: str, rng: random.Random) -> None:
    """Of two pairs of lamps that differ in this select line alone, the one lights for the other."""
    wiring = technician.case.wiring
    address = {r: dict(wiring.drives[wiring.lamps[r].drive].select) for r in own_drives(wiring)}
    found = []
    for one, bits in address.items():
        for two, others in address.items():
            differ = {p for p in bits if others.get(p) != bits[p]}
            if one != two and set(bits) == set(others) and {p.rpartition("/")[0] for p in differ} == {place}:
                found.append((one, two))
    dark = [p for p in found if Technician(technician.case, technician.faults).lamp(p[0]) == "off"]
    assert len(dark) == len(found) // 2
    for one, two in rng.sample(dark, 2):
        assert technician.lamp(one) == "off"
        assert technician.lamp(two, one) == "normal"
    technician.lamp(rng.choice([r for r in address if not address[r]] or [p[1] for p in dark]))


def decoder_dark(technician: Technician, place: str, rng: random.Random) -> None:
    """Three lamps of the decoder dark, one of another drive lights."""
    wiring = technician.case.wiring
    own = [r for r in own_drives(wiring) if place in wiring.drives[wiring.lamps[r].drive].path]
    for lamp in rng.sample(own, 3):
        assert technician.lamp(lamp) == "off"
    assert technician.lamp(rng.choice([r for r in own_drives(wiring) if r not in own])) == "normal"


def bridges(lines: Callable[[Wiring], list[str]]) -> Callable[[Wiring], list[str]]:
    """Bridges between adjacent pins of these lines."""
    return lambda w: line_bridges(w, "lamp", lines(w))


ROWS = (
    Row(
        "one dark cell",
        (
            "{}/lamp: burnt out",
            "{}/lamp: open",
            "{}/lamp: reversed",
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
        "dark column (strobed line)",
        (
            "lamp/{}/driver: open",
            "lamp/{}/predriver: open",
            "lamp/{}/logic: stuck idle",
            "lamp/{}/link: open",
            "lamp/{}/header: open",
            "lamp/{}/pin: open",
            "lamp/{}/wire: open",
        ),
        strobed,
        dark_line,
    ),
    Row(
        "dark row (the other line)",
        (
            "lamp/{}/driver: open",
            "lamp/{}/resistor: open",
            "lamp/{}/predriver: open",
            "lamp/{}/pin: open",
            "lamp/{}/wire: open",
        ),
        steady,
        dark_line,
    ),
    Row("dark tail of a chain", ("lamp/{}: open",), lambda w: inner_segments(w, "lamp"), dark_tail),
    Row(
        "column driver (of a strobed line) shorted",
        ("lamp/{}/driver: shorted", "lamp/{}/predriver: stuck active", "lamp/{}/logic: stuck active"),
        strobed,
        lit_strobed,
    ),
    Row(
        "row driver (of the other line) shorted",
        (
            "lamp/{}/driver: shorted",
            "lamp/{}/predriver: stuck active",
            "lamp/{}/logic: stuck active",
            "lamp/{}/wire: grounded",
        ),
        steady,
        lit_steady,
    ),
    Row("diode shorted", ("{}/diode: shorted", "{}/diode: reversed"), filaments, ghost),
    Row("two rows (other lines) shorted", ("{}: bridged",), bridges(steady), pairs),
    Row("two columns (strobed lines) shorted", ("{}: bridged",), bridges(strobed), pairs),
    Row("lamp shorted", ("{}/lamp: shorted",), every_cell, shorted_lamp),
    Row(
        "lamp supply fuse gone",
        ("supply/{}/fuse: blown",),
        lamp_supplies,
        all_dark,
    ),
    Row(
        "filtered supply mostly ripple: capacitor open",
        ("supply/{}/capacitor: open",),
        lamp_supplies,
        all_dim,
    ),
    Row("unfiltered supply: one rectifier diode open", ("supply/{}/rectifier1: open",), unfiltered, all_dim),
    Row(
        "all dark: feed",
        ("feed/{}/pin: open", "feed/{}/wire: open", "feed/{}/header: open", "feed/{}/fuse: blown"),
        lamp_feeds,
        feed_dark,
    ),
    Row(
        "one lamp with a drive of its own is dark",
        (
            "{}/lamp: burnt out",
            "{}/lamp: open",
            "{}/lamp: reversed",
            "{}/socket: open",
            "{}/feed: open",
            "{}/wire: open",
            "{}/pin: open",
            "{}/header: open",
            "{}/driver: open",
            "{}/logic: stuck idle",
            "{}/link: open",
        ),
        own_drives,
        dark_single,
    ),
    Row(
        "thyristor shorted: lamp always lit",
        ("{}/driver: shorted", "{}/driver: always on", "{}/wire: grounded", "{}/logic: stuck active"),
        own_drives,
        lit_single,
    ),
    Row(
        "lamp decoder: select line stuck",
        ("{}/logic: stuck active", "{}/logic: stuck idle", "{}/link: open", "{}/link: stuck active"),
        select_lines,
        half_dark,
    ),
    Row("lamp decoder selects nothing", ("{}: selects nothing",), decoders, decoder_dark),
)
