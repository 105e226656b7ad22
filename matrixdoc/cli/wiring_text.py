"""The resolved wiring of a machine as tables of 80 columns."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from itertools import groupby

from matrixdoc.case.feeds import Feed, feeds_of, strings_of
from matrixdoc.case.part_names import pin_name
from matrixdoc.cli.chart_words import drive_name, own_title, pins
from matrixdoc.cli.coil_rows import coil_tables
from matrixdoc.cli.path_rows import extra_names
from matrixdoc.cli.text import heading, minutes, table, wrapped
from matrixdoc.definition.chains import branched_text, straight
from matrixdoc.definition.wiring import Line, Matrix, Part, Wiring


def wiring_text(wiring: Wiring) -> str:
    """The resolved wiring in sections; ``--parts`` lists the parts themselves."""
    origins = Counter(part.origin for part in wiring.parts.values())
    counted = ", ".join(f"{count} {origin}" for origin, count in origins.most_common())
    pieces = [
        heading(wiring.title),
        wrapped(f"{len(wiring.parts)} parts ({counted}); digest {wiring.digest[:16]}"),
    ]
    pieces.extend(_lines_text(wiring, matrix) for matrix in wiring.matrices.values())
    pieces.append(_section("SWITCHES outside the matrices", _direct_switches(wiring), ("REFERENCE", "TITLE")))
    lamps = _direct_lamps(wiring)
    pieces.append(_section("LAMPS outside the matrices", lamps, ("REFERENCE", "TITLE", "TYPE")))
    strings = _strings(wiring)
    pieces.append(_section("ILLUMINATION", strings, ("STRING", "LAMPS", "TYPE", "FUSE", "SUPPLY", "NAMES")))
    feeds = feeds_of(wiring)
    pieces.extend(_section(some.title, some.rows, some.heads) for some in coil_tables(wiring, feeds))
    heads = ("NAME", "SUPPLY", "FUSE", "PIN", "WIRE", "SERVES, in wiring order")
    pieces.append(_section("FEEDS", [_feed_row(wiring, feed) for feed in feeds.values()], heads))
    supplies = [
        (
            s.name,
            f"{s.nominal_v:g} V",
            s.rail,
            ", ".join(_fuse(wiring, r) for r in s.ac_parts if _is_fuse(wiring, r)) or "no fuse",
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


def _direct_switches(wiring: Wiring) -> list[tuple[str, ...]]:
    return [
        (s.reference, f"{s.title}{' (normally closed)' if s.normally_closed else ''}")
        for s in wiring.switches.values()
        if not s.matrix
    ]


def _direct_lamps(wiring: Wiring) -> list[tuple[str, ...]]:
    return [
        (one.reference, one.title, wiring.parts[one.element].type_name or "-")
        for one in wiring.lamps.values()
        if not one.matrix and not one.always_on
    ]


def _strings(wiring: Wiring) -> list[tuple[str, ...]]:
    """Illumination strings, a line for each: its lamps are alike and always on."""
    rows: list[tuple[str, ...]] = []
    for stem, lamps in strings_of(wiring).items():
        types = dict.fromkeys(wiring.parts[wiring.lamps[r].element].type_name for r in lamps)
        named = [wiring.lamps[r].title for r in lamps]
        own = [title for title in named if not title.endswith(tuple("0123456789"))]
        fuse = f"{stem}/fuse"
        rows.append(
            (
                stem.partition("/")[2],
                str(len(lamps)),
                ", ".join(filter(None, types)) or "-",
                _fuse(wiring, fuse) if fuse in wiring.parts else "none",
                _supply_of(wiring, stem),
                ", ".join(own) or "-",
            )
        )
    return rows


def _supply_of(wiring: Wiring, stem: str) -> str:
    """The supply or the feed whose end a string of lamps hangs on."""
    first = next((p for r, p in wiring.parts.items() if r.startswith(f"{stem}/") and p.nets), None)
    net = first.nets[0] if first else ""
    for supply in wiring.supplies.values():
        if supply.rail == net:
            return supply.name
    return next((f"feed {feed.name}" for feed in feeds_of(wiring).values() if stem in feed.stems), "-")


def _feed_row(wiring: Wiring, feed: Feed) -> tuple[str, ...]:
    parts = [wiring.parts[r] for r in feed.parts]
    pin = next((pin_name(part) for part in parts if part.kind == "pin"), "")
    return (
        feed.name,
        feed.supply or "-",
        _fuse(wiring, feed.fuse) if feed.fuse else "none",
        pin or "-",
        parts[-1].colour or "-",
        _served(wiring, feed) + _order(wiring, feed),
    )


def _served(wiring: Wiring, feed: Feed) -> str:
    """``coil 5, 4, 6; flash 2; coil 7``; with branches ``coil 5 (coil 7, coil 8), coil 4``."""
    if feed.before != straight(len(feed.stems)) and not _order(wiring, feed):
        return branched_text([stem.replace("/", " ", 1) for stem in feed.stems], feed.before, ", ")
    told = []
    for head, stems in groupby((stem.partition("/") for stem in feed.stems), key=lambda parts: parts[0]):
        tails = [tail for _, _, tail in stems]
        told.append(f"{head} {', '.join(tails)}" if any(tails) else f"the {head} matrix")
    return "; ".join(told)


def _order(wiring: Wiring, feed: Feed) -> str:
    """Said where the order is a guess, as it is unless the definition states a chain."""
    wires = [wiring.parts[f"{stem}/feed"] for stem in feed.stems if f"{stem}/feed" in wiring.parts]
    return " (order not stated)" if len(wires) > 1 and any(w.origin == "assumed" for w in wires) else ""


def _fuse(wiring: Wiring, reference: str) -> str:
    """A fuse as it is printed and rated: ``F3 (3.15 A slow)``, or ``3.15 A slow`` without a name."""
    _, _, told = wiring.parts[reference].title.rpartition(", fuse")
    told = told.strip()
    return (told[1:-1] if told.startswith("(") else told) or "not stated"


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
        if drive_name(wiring, line):
            drive = drive_name(wiring, line)
        chain = f"{len(line.lug_nets)} lugs, order {line.chain_order}"
        if line.lugs_before:
            chain += f": {_branches(wiring, matrix, line)}"
        rows.append(
            (
                line.key,
                drive,
                ", ".join(pins(wiring, line)) or "-",
                line.colour or "-",
                chain,
                own_title(matrix, line),
            )
        )
    size = (
        f"{len(matrix.columns)} x {len(matrix.rows)}, {len(matrix.cells)} fitted, scan {matrix.scan_ms:g} ms"
    )
    heads = ("LINE", "DRIVE", "PIN", "WIRE", "CHAIN", "TITLE")
    return f"\n{matrix.name.upper()} MATRIX: {size}, {matrix.strobed} strobed\n{table(rows, heads)}"


def _branches(wiring: Wiring, matrix: Matrix, line: Line) -> str:
    """The order of a line that branches, as ``--correct`` takes it: ``1 2 (5 6) 3``."""
    side, crossing = ("column", "row") if line.key.startswith("C") else ("row", "column")
    at = {wiring.parts[f"{cell.reference}/{side}_stub"].nets[0]: getattr(cell, crossing)[1:]
          for cell in matrix.cells if line.key in (cell.column, cell.row)}  # fmt: skip
    return branched_text([at[net] for net in line.lug_nets], line.lugs_before)


def parts_text(wiring: Wiring) -> str:
    """Every part with its pin or wire, what it is and where; a long reference has its line to itself."""
    rows = [
        (part.reference, " ".join(filter(None, (pin_name(part) or part.connector, part.colour))), _told(part))
        for part in wiring.parts.values()
    ]
    told = "What is not stated in the definition is marked: assumed, or style default."
    return f"{table(rows, ('REFERENCE', 'PIN, WIRE', 'WHAT AND WHERE'), 44)}\n\n{told}"


def _told(part: Part) -> str:
    """Words of a part, type and printed names that they do not hold already, place, origin."""
    origin = "" if part.origin == "stated" else part.origin
    return "; ".join(filter(None, (part.title or part.kind, *extra_names(part), part.place, origin)))
