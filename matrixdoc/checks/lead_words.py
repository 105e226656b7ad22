"""Where a lead of the meter goes, as a person finds it: pin, lug, clip, wire colour, place.

The names of nets follow the definition room's rules (``coil/5/driven``, ``switch/C3/lug2``); pins, wire
colours and places are those of the parts that meet there. A net that follows no rule is told by the
terminal of a part.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from functools import cached_property

from matrixdoc.circuit.kinds import load_kind_table
from matrixdoc.definition.wiring import GROUND, Part, Supply, Wiring

_LINE = re.compile(r"(?P<matrix>.+)/(?P<letter>[CR])(?P<number>\d+)")
_CELL = re.compile(r".+/C\d+R\d+")
_LUG = re.compile(r"lug\d+|line")
_SOCKET = re.compile(r"socket(\d+)")
_CARRIES = frozenset({"wire", "joint", "pin", "fuse"})

_LUGS = {
    "driven": "driven lug of {}",
    "power driven": "driven lug of the power winding of {}",
    "hold driven": "driven lug of the hold winding of {}",
    "grounded": "grounded lug of {}",
    "column": "column lug of {}",
    "row": "row lug of {}",
    "near": "wire lug of {}",
    "far": "far lug of {}",
    "button": "lug of the cabinet button of {} towards the coil",
    "switched": "lug of the cabinet button of {} towards the board",
    "return": "return lug of {}",
    "end": "end of the wire of {}, at the first lug",
    "cut": "far side of {}, on its board",
    "fed": "supply end of the emitter resistor of {}",
    "lit": "emitter resistor of {}, at the emitter",
    "dimmed": "ground side of the emitter of {}",
    "received": "receiver output of {}",
    "unused": "unused contact of the relay of {}",
    "working": "working contact of the relay of {}",
    "idle": "resting contact of the relay of {}",
    "raw": "plus of the capacitor of {}, before the regulator",
    "winding1": "first end of the winding of {}",
    "winding2": "second end of the winding of {}",
}
"""Last names of nets that are said without looking at what meets there."""


class LeadWords:
    """Words for the points of one machine. Holds a cache; answers do not depend on it."""

    def __init__(self, wiring: Wiring) -> None:
        self.wiring = wiring
        self._known: dict[str, str] = {}

    @cached_property
    def _at(self) -> Mapping[str, list[Part]]:
        found: dict[str, list[Part]] = {}
        for part in self.wiring.parts.values():
            for net in part.nets:
                found.setdefault(net, []).append(part)
        return found

    @cached_property
    def _cells(self) -> Mapping[str, str]:
        """For each part of a cell: the cell."""
        return {
            part: cell.reference
            for matrix in self.wiring.matrices.values()
            for cell in matrix.cells
            for part in cell.parts
        }

    def words(self, net: str) -> str:
        """A point to put a lead on: ``driven lug of coil 5 (crate bank reset, wire WH-YE)``."""
        known = self._known.get(net)
        if known is None:
            known = self._known[net] = self._told(net)
        return known

    def _told(self, net: str) -> str:
        if net == GROUND:
            return "ground"
        for supply in self.wiring.supplies.values():
            if supply.rail == net:
                return self._rail(supply)
        here = self._at.get(net, [])
        prefix, _, last = net.rpartition("/")
        if not here or not prefix:
            return net.replace("/", " ")
        special: Mapping[str, Callable[[str, str, list[Part]], str]] = {
            "board": self._board,
            "header": self._pin,
            "pin": self._pin,
            "return header": self._pin,
            "return pin": self._pin,
            "supplied": self._supplied,
            "fused": self._fused,
            "wire": self._fused,
            "middle": self._middle,
            "limited": self._resistor,
        }
        if last == "switched" and any(part.kind == "changeover" for part in here):
            last = "working"
        if last in special:
            return special[last](prefix, last, here)
        if _LUG.fullmatch(last):
            return self._lug(prefix, here)
        if found := _SOCKET.fullmatch(f"{last}1" if last == "socket" else last):
            number = f"lamp {found[1]} of " if last != "socket" else ""
            name, title = self._owner(prefix)
            return f"lamp side of the socket of {number}{name}" + _detail(title, self._place(here))
        if last in _LUGS:
            name, title = self._owner(prefix)
            return _LUGS[last].format(name) + _detail(title, self._wire(here), self._place(here))
        return self._terminal(net, here)

    # -- one rule each -------------------------------------------------------------------------

    def _rail(self, supply: Supply) -> str:
        last = next((r for r in reversed(supply.ac_parts) if self.wiring.parts[r].kind == "fuse"), "")
        ends = [
            (supply.regulator, "output of its regulator"),
            (supply.capacitor, "plus of its capacitor"),
            (next(iter(supply.rectifiers), ""), "plus of its bridge"),
            (last, "far clip of its fuse"),
        ]
        rail = f"the {supply.title or supply.name} rail"
        for reference, where in ends:
            part = self.wiring.parts.get(reference)
            if part is not None:
                name = part.aliases[0] if part.aliases else ""
                own = name.removeprefix("fuse ") if part.kind == "fuse" else name
                return rail + _detail(f"{where} {own}".rstrip(), part.place)
        return rail

    def _board(self, prefix: str, _: str, here: list[Part]) -> str:
        """On the board, before the header."""
        name, title = self._owner(prefix)
        pins = [_pin(part) for part in here if part.connector]
        drive = next((f"drive part {p.aliases[0]}" for p in here if p.reference.endswith("/driver")
                      and p.aliases), "")  # fmt: skip
        place = self._place([part for part in here if part.board] or here)
        if len(set(pins)) == 1 and pins[0]:
            return f"board side of pin {pins[0]}" + _detail(name, title, drive, place)
        return f"board side of the pin of {name}" + _detail(title, drive, place)

    def _pin(self, prefix: str, last: str, here: list[Part]) -> str:
        """The pin of the header, or the terminal in the plug with its wire."""
        name, title = self._owner(prefix)
        back = " return" if last.startswith("return") else ""
        side = "header pin" if last.endswith("header") else "plug side of pin"
        colour = "" if last.endswith("header") else self._wire(here)
        place = self._place([part for part in here if part.kind == "pin"])
        pin = next((found for part in here if (found := _pin(part))), "")
        if pin:
            return f"{side} {pin}" + _detail(f"{name}{back}", title, colour, place)
        own = "header pin" if last.endswith("header") else "plug side of the pin"
        return f"{own} of {name}{back}" + _detail(title, colour, place)

    def _supplied(self, prefix: str, _: str, here: list[Part]) -> str:
        """The supply's lug, or the supply's side of a drive that stands between."""
        name, title = self._owner(prefix)
        drives = [part for part in here if part.kind.startswith("high_side")]
        if drives and all(part.kind in _CARRIES or part in drives for part in here):
            called = f" {drives[0].aliases[0]}" if len(drives) == 1 and drives[0].aliases else ""
            own = f"drive part{called}" if len(drives) == 1 else "drive parts"
            return f"supply side of the {own} of {name}" + _detail(title, self._wire(here), drives[0].place)
        fed = [part for part in here if part.reference == f"{prefix}/feed"]
        return f"supply lug of {name}" + _detail(title, self._wire(fed or here), self._place(here))

    def _fused(self, prefix: str, _: str, here: list[Part]) -> str:
        """A clip of a fuse: behind it, seen from the supply, or (``wire``) before it."""
        name, title = self._owner(prefix)
        fuse = next((part for part in here if part.kind == "fuse"), None)
        if fuse is None:
            return self._terminal(f"{prefix}/fused", here)
        called = fuse.aliases[0] if fuse.aliases else ""
        words = called if called.lower().startswith("fuse") else f"fuse {called}".strip()
        clip = (
            "far clip"
            if fuse.nets[1].endswith("/fused") and fuse.nets[1] in self._nets(here)
            else "near clip"
        )
        return f"{clip} of {words}" + _detail(name, title, fuse.place)

    @staticmethod
    def _nets(here: list[Part]) -> set[str]:
        """Nets that all of some parts share."""
        shared = set(here[0].nets)
        for part in here[1:]:
            shared &= set(part.nets)
        return shared

    def _middle(self, prefix: str, _: str, here: list[Part]) -> str:
        name, title = self._owner(prefix)
        words = [_KIND_WORDS.get(part.kind, part.kind.replace("_", " ")) for part in here]
        kinds = list(dict.fromkeys(words))
        between = f"between {kinds[0]} and {kinds[1]}" if len(kinds) > 1 else "between the windings"
        if words.count("winding") > 1:
            between = "between the windings"
        return f"lug {between} of {name}" + _detail(title, self._place(here))

    def _resistor(self, prefix: str, _: str, here: list[Part]) -> str:
        name, title = self._owner(prefix)
        part = next((p for p in here if p.kind == "resistor"), here[0])
        called = f" {part.aliases[0]}" if part.aliases else ""
        end = "lamp" if any(p.kind == "lamp" for p in here) else "connector"
        return f"end of resistor{called} towards the {end}" + _detail(name, title, part.place)

    def _lug(self, prefix: str, here: list[Part]) -> str:
        """A lug on the wire of a line, told by the cell that hangs there."""
        name, title = self._owner(prefix)
        cell = next((self._cells[p.reference] for p in here if p.reference in self._cells), "")
        colour = next((part.colour for part in here if part.colour), "")
        wire = f"{name} wire {colour}".rstrip()
        if not cell:
            return wire + _detail(title, self._place(here))
        device, device_title = self._owner(cell)
        own = [p for p in here if p.reference in self._cells]
        return f"{wire} at {device}" + _detail(device_title, self._place(own))

    def _terminal(self, net: str, here: list[Part]) -> str:
        """A terminal of the part that stands stillest there."""
        part = min(here, key=lambda p: p.kind in _CARRIES)
        names = load_kind_table().kind(part.kind).terminals
        index = part.nets.index(net)
        end = names[index].replace("_", " ") if index < len(names) else ""
        ends = {"a": "first end", "b": "second end"}
        words = part.title or part.reference.replace("/", " ", 1)
        return f"{ends.get(end, end)} of {words}" + _detail(part.place)

    # -- pieces --------------------------------------------------------------------------------

    def _owner(self, prefix: str) -> tuple[str, str]:
        """What a net belongs to, and its title where that says more: ``coil 5``, ``crate bank reset``."""
        line = _LINE.fullmatch(prefix)
        if line and not _CELL.fullmatch(prefix):
            return f"{line['matrix']} {'column' if line['letter'] == 'C' else 'row'} {line['number']}", ""
        wiring = self.wiring
        name = prefix.replace("/", " ", 1)
        if prefix.startswith("coil/") and " flipper" in prefix:
            name = prefix.removeprefix("coil/").replace("/hold drive", " hold winding")
        if prefix.startswith("supply/"):
            supply = wiring.supplies.get(prefix.removeprefix("supply/"))
            return (f"the {supply.title}" if supply and supply.title else name), ""
        device = wiring.switches.get(prefix) or wiring.lamps.get(prefix) or wiring.coils.get(prefix)
        title = device.title if device is not None else ""
        said = set(name.split()) <= set(title.split()) or title in name
        return name, "" if said else title

    @staticmethod
    def _wire(here: list[Part]) -> str:
        return next((f"wire {part.colour}" for part in here if part.kind == "wire" and part.colour), "")

    @staticmethod
    def _place(here: list[Part]) -> str:
        still = [part for part in here if part.kind not in _CARRIES] or here
        return next((part.place for part in still if part.place), "")


_KIND_WORDS = {
    "coil": "winding",
    "led": "lamp",
    "phototransistor": "receiver",
    "low_side_npn": "output",
}


def _pin(part: Part) -> str:
    return f"{part.connector}-{part.position}" if part.connector and part.position is not None else ""


def _detail(*words: str) -> str:
    told = ", ".join(word for word in words if word)
    return f" ({told})" if told else ""


_MOST = 4
_MADE: dict[int, LeadWords] = {}


def lead_words(wiring: Wiring) -> LeadWords:
    """The words of a machine, made once; the last few machines are remembered."""
    found = _MADE.get(id(wiring))
    if found is None or found.wiring is not wiring:
        while len(_MADE) >= _MOST:
            _MADE.pop(next(iter(_MADE)))
        found = _MADE[id(wiring)] = LeadWords(wiring)
    return found
