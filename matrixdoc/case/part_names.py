"""What people call parts: by reference, printed name, printed pin, title, or the device they belong to."""

from __future__ import annotations

from collections.abc import Iterable

from matrixdoc.case.feeds import Feed
from matrixdoc.case.name_index import Index
from matrixdoc.definition.wiring import Part, Wiring

PART_KINDS = ("part", "transistor", "driver", "chip", "connector", "plug", "pin", "supply", "circuit board")
"""Words that people put before a part's name."""


def pin_name(part: Part) -> str:
    """A pin as it is printed: ``P3-6``; empty where nobody said where the part sits."""
    return f"{part.connector}-{part.position}" if part.connector and part.position is not None else ""


def add_parts(index: Index, wiring: Wiring, references: Iterable[str]) -> None:
    """Let every usual name of the parts in ``references`` mean them."""
    titles = _device_titles(wiring)
    for reference in references:
        part = wiring.parts[reference]
        index.add(0, reference, reference)
        stem, _, last = reference.rpartition("/")
        first, _, rest = reference.partition("/")
        if first in wiring.matrices:
            index.add(1, rest, reference)
        for alias in part.aliases:
            index.add(2, alias, reference)
        if printed := pin_name(part):
            # The solder joint of the header has the same place; the pin is what is meant by it.
            index.add(2, printed if part.kind != "joint" else f"header {printed}", reference)
            spelled = f"{part.connector} pin {part.position}"
            index.add(2, spelled if part.kind != "joint" else f"header {spelled}", reference)
        index.add(3, part.title, reference)
        for title in titles.get(stem, ()):
            index.add(3, f"{title} {last}", reference)
            index.add(3, f"{last} of {title}", reference)


def add_groups(index: Index, wiring: Wiring, feeds: Iterable[Feed]) -> None:
    """Let feeds and connectors mean their parts: one of them has to be said, unless all are meant."""
    for feed in feeds:
        for words in feed_words(feed):
            for reference in feed.parts:
                index.add(3, words, reference)
    for key, connector in wiring.connectors.items():
        for reference in pins_of(wiring, key):
            index.add(2, key, reference)
            index.add(3, connector.title, reference)


def feed_words(feed: Feed) -> tuple[str, ...]:
    """What people call a feed."""
    return f"feed {feed.name}", f"{feed.name} feed", feed.title


def pins_of(wiring: Wiring, connector: str) -> tuple[str, ...]:
    """References of the pins of a connector, in the order of its positions."""
    pins = [p for p in wiring.parts.values() if p.connector == connector and p.kind != "joint"]
    return tuple(p.reference for p in sorted(pins, key=lambda p: p.position or 0))


def _device_titles(wiring: Wiring) -> dict[str, list[str]]:
    """Beginning of the references of a device's parts -> what people call the device."""
    found: dict[str, list[str]] = {}
    for devices in (wiring.switches, wiring.lamps, wiring.coils):
        for reference, device in devices.items():
            for words in (device.title, reference):
                found.setdefault(reference, []).append(words)
    for matrix in wiring.matrices.values():
        for cell in matrix.cells:
            if cell.title:
                found.setdefault(cell.reference, []).append(cell.title)
    return {stem: list(dict.fromkeys(words)) for stem, words in found.items()}
