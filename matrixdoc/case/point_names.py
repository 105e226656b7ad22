"""Where a meter lead goes: a net by its name, a rail, or a terminal of a part."""

from __future__ import annotations

from collections.abc import Callable
from difflib import get_close_matches
from functools import cached_property

from matrixdoc.case.name_index import NameTrouble, plain, without_kind
from matrixdoc.circuit.kinds import load_kind_table
from matrixdoc.definition.wiring import GROUND, Wiring


class PointNames:
    """Look-up of the points of one machine.

    ``part`` finds a part by its name, ``element`` the part of the device of a name (or nothing).
    """

    def __init__(self, wiring: Wiring, part: Callable[[str], str], element: Callable[[str], str]) -> None:
        self.wiring = wiring
        self.part = part
        self.element = element

    def find(self, words: str) -> str:
        """The net that a lead touches: a net's name, ``ground``, or ``part.terminal``.

        Raises:
            NameTrouble: no such point, or a part with several terminals and none named.
        """
        if words in self._nets:
            return words
        key = plain(words)
        for candidate in (key, *without_kind(key, ("the",))):
            if candidate in self._plain_nets:
                return self._plain_nets[candidate]
        stem, dot, terminal = words.rpartition(".")
        if not dot:
            return self._only_net(words)
        reference = self.part(stem)
        part = self.wiring.parts[reference]
        names = self._terminals(part.kind, len(part.nets))
        wanted = terminal.strip().casefold()
        for position, name in enumerate(names):
            if wanted in (name, "abc"[position] if position < 3 else ""):
                return part.nets[position]
        choices = ", ".join(f"{reference}.{name}" for name in names)
        raise NameTrouble(words, "a terminal of that part", choices or f"{reference} has no terminals")

    @cached_property
    def _nets(self) -> frozenset[str]:
        return frozenset(net for part in self.wiring.parts.values() for net in part.nets) | {GROUND}

    @cached_property
    def _plain_nets(self) -> dict[str, str]:
        found: dict[str, str] = {}
        for net in sorted(self._nets):
            found.setdefault(plain(net), net)
        for supply in self.wiring.supplies.values():
            words = (f"{supply.name} rail", f"{supply.name} supply", f"supply {supply.name}", supply.title)
            for one in words:
                found.setdefault(plain(one), supply.rail)
        return found

    def _only_net(self, words: str) -> str:
        try:
            reference = self.element(words) or self.part(words)
        except NameTrouble as trouble:
            close = get_close_matches(plain(words), self._plain_nets, n=3, cutoff=0.6)
            shown = " or ".join(self._plain_nets[c] for c in close) or "for example ground"
            raise NameTrouble(
                words, "a net, or a part and its terminal (part.terminal)", trouble.suggestion or shown
            ) from None
        part = self.wiring.parts[reference]
        if len(set(part.nets)) == 1:
            return part.nets[0]
        names = self._terminals(part.kind, len(part.nets))
        sides = ("towards the board", "towards the wire") if part.kind in ("pin", "joint") else ()
        told = [f"{reference}.{name}" for name in names]
        told = [f"{one} ({side})" for one, side in zip(told, sides, strict=False)] or told
        choices = " or ".join(told)
        raise NameTrouble(words, "which terminal of that part the lead touches", choices)

    @staticmethod
    def _terminals(kind: str, count: int) -> tuple[str, ...]:
        row = load_kind_table().kinds.get(kind)
        return row.terminals[:count] if row is not None else tuple("abc"[:count])
