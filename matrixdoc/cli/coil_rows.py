"""Coils and flash lamps as tables: what a person at the bench wants beside each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from matrixdoc.case.feeds import Feed
from matrixdoc.case.part_names import pin_name
from matrixdoc.circuit.kinds import load_kind_table
from matrixdoc.definition.wiring import Coil, Part, Wiring


@dataclass(frozen=True, slots=True)
class CoilTable:
    """Coils that are driven alike: heads and rows fit :func:`matrixdoc.cli.text.table`."""

    title: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def coil_tables(wiring: Wiring, feeds: Mapping[str, Feed]) -> list[CoilTable]:
    """Tables of coils, of flash lamps and of coil matrices, one for each style of drive.

    A row has the driven pin and wire, the ohms of the winding (or the type of the lamp), the feed, what
    is printed beside the drive part, and the title. Lines of a coil matrix have a table of their own:
    its coils stand here without pins and drives.
    """
    found: dict[tuple[str, tuple[str, ...]], list[tuple[str, ...]]] = {}
    feed_of = {reference: feed.name for feed in feeds.values() for reference in feed.coils(wiring)}
    for coil in wiring.coils.values():
        element = wiring.parts[coil.element]
        ohm = element.values.get("ohm")
        value = f"{ohm:g}" if ohm is not None else element.type_name or "-"
        measure = "OHMS" if ohm is not None else "LAMP"
        feed = feed_of.get(coil.reference, "-")
        words = "; ".join((coil.title, *_besides(wiring, coil)))
        device = "COILS" if coil.reference.startswith("coil/") else "FLASH LAMPS"
        if coil.matrix:
            title = f"COILS of the {coil.matrix} matrix"
            heads: tuple[str, ...] = ("REFERENCE", measure, "FEED", "TITLE")
            row: tuple[str, ...] = (coil.reference, value, feed, words)
        else:
            style, printed = _drive(wiring, coil.drive)
            title = f"{device} on {style}"
            heads = ("REFERENCE", "PIN", "WIRE", measure, "FEED", "DRIVE", "TITLE")
            pin, colour = _driven(wiring, coil)
            row = (coil.reference, pin, colour, value, feed, printed, words)
        found.setdefault((title, heads), []).append(row)
    return [CoilTable(title, heads, tuple(rows)) for (title, heads), rows in found.items()]


def _driven(wiring: Wiring, coil: Coil) -> tuple[str, str]:
    """Pin and wire between the driven lug and the board."""
    parts = [wiring.parts[reference] for reference in coil.parts]
    pin = next((pin_name(part) for part in parts if _last(part) == "pin"), "")
    return pin or "-", next((part.colour for part in parts if _last(part) == "wire"), "") or "-"


def _drive(wiring: Wiring, reference: str) -> tuple[str, str]:
    """``a low-side Darlington transistor``, and ``Q45 TIP102`` as printed on the part."""
    drive = wiring.drives.get(reference)
    part = wiring.parts.get(drive.output) if drive else None
    if part is None:
        return "no drive part", "-"
    printed = " ".join(dict.fromkeys(filter(None, (*part.aliases, part.type_name))))
    return f"a {load_kind_table().kinds[part.kind].words}", printed or "-"


def _besides(wiring: Wiring, coil: Coil) -> list[str]:
    """What is unlike other coils: a fuse of its own, the way to ground, a relay, no diode, a switch."""
    parts = {_last(wiring.parts[reference]): wiring.parts[reference] for reference in coil.parts}
    found: list[str] = []
    if "fuse" in parts:
        found.append(parts["fuse"].title.rpartition(", ")[2])
    if "return wire" in parts:
        back = [parts[name] for name in ("return wire", "return pin") if name in parts]
        marks = " ".join(filter(None, (*(part.colour for part in back), *map(pin_name, back))))
        found.append(f"other lug to ground{f' over {marks}' if marks else ''}")
    if "changeover" in parts:
        found.append(" ".join(("through relay", *parts["changeover"].aliases)))
    if not coil.diode and not coil.matrix and coil.reference.startswith("coil/"):
        found.append("no diode across it")
    if coil.fired_by:
        found.append(f"fired by {wiring.switches[coil.fired_by].title or coil.fired_by}")
    return found


def _last(part: Part) -> str:
    return part.reference.rpartition("/")[2]
