"""Feeds as they hang in the harness: supply, fuse, what each serves in wiring order; illumination strings."""

from __future__ import annotations

from dataclasses import dataclass

from matrixdoc.definition.chains import BEGINNING
from matrixdoc.definition.wiring import Part, Wiring

_PREFIX = "feed/"
_ONWARD = ("feed", "fuse")
"""Last names of the parts that lead on to a load, or past it to the next."""


@dataclass(frozen=True, slots=True)
class Feed:
    """One feed.

    ``parts`` are its own parts from the supply into the harness, ``fuse`` the reference of its fuse
    (empty: it has none), ``supply`` the name of its supply. ``stems`` are the beginnings of the
    references of what hangs on it (``coil/5``, ``flash/2``, the name of a matrix), in wiring order;
    ``before`` is the position in it of the one that the wire of each comes from, -1 for the end of the
    feed.
    """

    name: str
    title: str
    supply: str
    fuse: str
    parts: tuple[str, ...]
    end: str
    stems: tuple[str, ...]
    before: tuple[int, ...]

    def coils(self, wiring: Wiring) -> tuple[str, ...]:
        """References of the coils (and flash lamps) on this feed, in wiring order.

        A coil on another's high-side drive has its supply through that: it hangs on the other's feed.
        """
        found = [
            reference
            for stem in self.stems
            for reference, coil in wiring.coils.items()
            if reference == stem
            or reference.startswith(f"{stem}/")
            or coil.matrix == stem
            or (f"{reference}/feed" not in wiring.parts and f"{stem}/driver" in coil.parts)
        ]
        return tuple(dict.fromkeys(found))


def feeds_of(wiring: Wiring) -> dict[str, Feed]:
    """The feeds of a machine by their names, in the order of the definition."""
    own: dict[str, list[Part]] = {}
    at: dict[str, list[Part]] = {}
    for part in wiring.parts.values():
        if part.reference.startswith(_PREFIX):
            own.setdefault(part.reference.removeprefix(_PREFIX).rpartition("/")[0], []).append(part)
        else:
            for net in part.nets:
                at.setdefault(net, []).append(part)
    return {name: _feed(wiring, name, parts, at) for name, parts in own.items()}


def _feed(wiring: Wiring, name: str, parts: list[Part], at: dict[str, list[Part]]) -> Feed:
    fuse = next((part.reference for part in parts if part.kind == "fuse"), "")
    end = parts[-1].nets[-1]
    title = parts[-1].title.partition(" wire")[0] or f"{name} feed"
    stems: dict[str, int] = {}
    _follow(wiring, end, at, stems)
    return Feed(
        name,
        title,
        _supply(wiring, parts[0].nets[0]),
        fuse,
        tuple(p.reference for p in parts),
        end,
        tuple(stems),
        tuple(stems.values()),
    )


def _follow(wiring: Wiring, end: str, at: dict[str, list[Part]], stems: dict[str, int]) -> None:
    """Note what hangs on the net ``end`` and on all that its wire leads on to, each with the one before."""
    seen: set[str] = set()

    def follow(net: str, before: int) -> None:
        for part in at.get(net, ()):
            if part.reference in seen:
                continue
            seen.add(part.reference)
            last = part.reference.rpartition("/")[2]
            first, key = part.reference.split("/")[:2]  # a second drive of a device is below these two
            matrix = wiring.matrices.get(first)
            stem = first if matrix is not None and matrix.device != "switch" else f"{first}/{key}"
            position = [*stems].index(stem) if stem in stems else len(stems)
            stems.setdefault(stem, before)
            if last in _ONWARD and part.nets[0] == net:
                follow(part.nets[-1], position)

    follow(end, BEGINNING)


def _supply(wiring: Wiring, net: str) -> str:
    """The supply whose rail a net is; an interlock stands between where it is not the rail itself."""
    rails = {supply.rail: supply.name for supply in wiring.supplies.values()}
    if net in rails:
        return rails[net]
    stem = net.rpartition("/")[0]
    nets = (n for part in wiring.parts.values() if part.reference.startswith(f"{stem}/") for n in part.nets)
    return next((rails[n] for n in nets if n in rails), "")


def strings_of(wiring: Wiring) -> dict[str, tuple[str, ...]]:
    """Illumination strings (``illumination/left``) and the lamps of each, in the order of the definition."""
    found: dict[str, tuple[str, ...]] = {}
    for reference, lamp in wiring.lamps.items():
        stem = reference.rpartition("/")[0]
        if lamp.always_on and stem:
            found[stem] = (*found.get(stem, ()), reference)
    return found


def string_title(wiring: Wiring, stem: str) -> str:
    """What people call an illumination string; empty where nobody said."""
    wire = wiring.parts.get(f"{stem}/wire")
    return wire.title.partition(" wire")[0] if wire is not None else ""
