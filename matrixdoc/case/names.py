"""Find what a person means: a cell, a running number, a printed name, a full reference.

All of these are looked up in tiers (full reference, short form, printed name, title); the first tier
that knows the words decides, and words that mean two things are refused with both named.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cached_property

from matrixdoc.case.feeds import Feed, feeds_of, string_title, strings_of
from matrixdoc.case.name_index import LONGEST_NAME, Index, NameTrouble, plain, several, without_kind
from matrixdoc.case.part_names import PART_KINDS, add_groups, add_parts, feed_words, pins_of
from matrixdoc.case.point_names import PointNames
from matrixdoc.definition.wiring import Line, Matrix, Wiring

__all__ = ["NameTrouble", "Names"]

_LINE_WORDS = re.compile(r"^(?:(.*) )?(column|col|c|row|r) ?(\d+)$")
SWITCH_WORDS = ("switch", "direct switch", "contact", "button")
LAMP_WORDS = ("lamp", "lamps", "direct lamp", "illumination", "illumination string", "string", "lighting")
COIL_WORDS = ("coil", "coils", "flash lamp", "flash")
_PLACE = re.compile(r"^(?:(.*) )?c(\d+) ?r(\d+)$")


class Names:
    """Look-up of every name of one machine. Each method raises :class:`NameTrouble`."""

    def __init__(self, wiring: Wiring) -> None:
        self.wiring = wiring

    def switch(self, words: str) -> str:
        """The reference of one switch."""
        return self._found(self._switches, words, "switch")

    def switches(self, words: str) -> tuple[str, ...]:
        """One switch, or every switch of a column or row (``C3``, ``row 5``)."""
        return self._one_or_line(words, self._switches, "switch")

    def readings(self, words: str) -> tuple[str, ...]:
        """What a switch scan may show: switches, or a place of a matrix where none is fitted."""
        match = _PLACE.match(plain(words)) if len(words) <= LONGEST_NAME else None
        if match is not None:
            key = f"C{int(match[2])}R{int(match[3])}"
            fitting = [m for m in self.wiring.matrices.values() if m.device == "switch"]
            named = [m for m in fitting if match[1] in (None, plain(m.name), "switch")]
            for one in named if len(named) == 1 else ():
                column, row = key.split("R")
                if _has_line(one.columns, column) and _has_line(one.rows, f"R{row}"):
                    cell = [c.element for c in one.cells if (c.column, c.row) == (column, f"R{row}")]
                    return (self._owners("switch")[cell[0]],) if cell else (f"{one.name}/{key}",)
        return self.switches(words)

    def lamp(self, words: str) -> str:
        """The reference of one lamp."""
        if len(string := self.string(words)) > 1:
            raise several(words, "lamp", string)
        return string[0] if string else self._found(self._lamps, words, "lamp")

    def lamps(self, words: str) -> tuple[str, ...]:
        """One lamp, or every lamp of a column, a row or an illumination string."""
        return self.string(words) or self._one_or_line(words, self._lamps, "lamp")

    def string(self, words: str) -> tuple[str, ...]:
        """Every lamp of the illumination string that goes by this name; none if there is no such string."""
        key = plain(words)
        for candidate in (key, *without_kind(key, LAMP_WORDS)):
            if candidate in self._strings:
                return self._strings[candidate]
        return ()

    def beside(self, lamp: str) -> tuple[str, ...]:
        """The lamps of the illumination string of a lamp; none where it is of no string."""
        return next((lamps for lamps in self._strings.values() if lamp in lamps), ())

    def coil(self, words: str) -> str:
        """The reference of one coil."""
        if self._coils.find_all(words) or not (fed := self._on_feed(words)):
            return self._coils.find(words)
        if len(fed) > 1:
            raise several(words, "coil", fed)
        return fed[0]

    def coils(self, words: str) -> tuple[str, ...]:
        """One coil, or every coil of a feed or of a line of a coil matrix."""
        line = self._line(words, "coil")
        if line is not None:
            return line
        fed = self._on_feed(words)
        return fed if fed and not self._coils.find_all(words) else (self._coils.find(words),)

    def _on_feed(self, words: str) -> tuple[str, ...]:
        feed = self.feed(words)
        return feed.coils(self.wiring) if feed is not None else ()

    def feed(self, words: str) -> Feed | None:
        """The feed that goes by this name, said with the word feed or as its title; none if there is none."""
        key = plain(words)
        return next((feed for feed in self._feeds.values() if key in map(plain, feed_words(feed))), None)

    def device(self, words: str) -> str:
        """The switch, lamp or coil of a name.

        Raises:
            NameTrouble: nothing, or several things, go by that name.
        """
        found: dict[str, None] = {}
        hint = ""
        for find in (self.switch, self.lamp, self.coil):
            try:
                found[find(words)] = None
            except NameTrouble as trouble:
                if trouble.ambiguous:
                    raise
                hint = hint or trouble.suggestion
        if len(found) > 1:
            raise several(words, "switch, lamp or coil", found)
        if not found:
            raise NameTrouble(words, "a switch, lamp or coil of this machine", hint)
        return next(iter(found))

    def part(self, words: str) -> str:
        """The reference of one part: by reference, printed name or title."""
        return self._parts.find(words)

    def parts(self, words: str) -> tuple[str, ...]:
        """One part, or every pin of a connector."""
        key = plain(words)
        for name in self.wiring.connectors:
            if plain(name) in (key, *without_kind(key, ("connector", "plug"))):
                return pins_of(self.wiring, name) or (self.part(words),)
        return (self.part(words),)

    def fuse(self, words: str) -> str:
        """The reference of one fuse."""
        return self._fuses.find(words)

    def worked_at(self, words: str) -> str:
        """A place, a board or a part where somebody worked or a battery leaked."""
        return self._worked_at.find(words)

    def place(self, words: str) -> str:
        """The key of a place (a door or a panel)."""
        return self._places.find(words)

    def matrix(self, words: str, device: str) -> Matrix:
        """The matrix of that name; an empty name means the only one of its device."""
        fitting = [m for m in self.wiring.matrices.values() if m.device == device]
        if not words:
            if len(fitting) == 1:
                return fitting[0]
            expected = f"the name of a {device} matrix" if fitting else f"a machine with a {device} matrix"
            shown = " or ".join(m.name for m in fitting)
            raise NameTrouble("no matrix", expected, f"this machine has {shown}" if shown else "it has none")
        for one in fitting:
            if plain(one.name) == plain(words):
                return one
        shown = " or ".join(m.name for m in fitting) or "none"
        raise NameTrouble(words, f"a {device} matrix", f"this machine has {shown}")

    def point(self, words: str) -> str:
        """The net that a meter lead touches: a net's name, ``ground``, or ``part.terminal``."""
        return self._points.find(words)

    # -- indexes, each made when first asked for

    @cached_property
    def _switches(self) -> Index:
        index = Index("switch", SWITCH_WORDS)
        for reference, switch in self.wiring.switches.items():
            self._add_thing(index, reference, switch.title, switch.contact)
        self._add_cells(index, "switch", {s.contact: r for r, s in self.wiring.switches.items()})
        return index

    @cached_property
    def _lamps(self) -> Index:
        index = Index("lamp", LAMP_WORDS)
        for reference, lamp in self.wiring.lamps.items():
            self._add_thing(index, reference, lamp.title, lamp.element)
            if lamp.always_on:
                # lamp3 of a string is also "left side lamp 3".
                index.add(2, re.sub(r"(\d+)$", r" \1", reference.partition("/")[2]), reference)
        self._add_cells(index, "lamp", {one.element: r for r, one in self.wiring.lamps.items()})
        return index

    @cached_property
    def _coils(self) -> Index:
        index = Index("coil", COIL_WORDS)
        for reference, coil in self.wiring.coils.items():
            self._add_thing(index, reference, coil.title, coil.element)
            # A flipper has two windings: its own name means both, and is refused with both named.
            stem = reference.rpartition("/")[0]
            if "/" in stem:
                index.add(2, stem, reference)
                index.add(2, stem.partition("/")[2], reference)
        return index

    @cached_property
    def _parts(self) -> Index:
        index = Index("part", PART_KINDS)
        add_parts(index, self.wiring, self.wiring.parts)
        add_groups(index, self.wiring, self._feeds.values())
        return index

    @cached_property
    def _feeds(self) -> dict[str, Feed]:
        return feeds_of(self.wiring)

    @cached_property
    def _strings(self) -> dict[str, tuple[str, ...]]:
        """What illumination strings are called, and their lamps."""
        found: dict[str, tuple[str, ...]] = {}
        for stem, lamps in strings_of(self.wiring).items():
            for words in (stem, stem.partition("/")[2], string_title(self.wiring, stem)):
                found[plain(words)] = tuple(dict.fromkeys((*found.get(plain(words), ()), *lamps)))
        return found

    @cached_property
    def _fuses(self) -> Index:
        index = Index("fuse", ("fuse",))
        fuses = [r for r, p in self.wiring.parts.items() if p.kind == "fuse"]
        add_parts(index, self.wiring, fuses)
        for reference in fuses:
            # "supply/coil/fuse" is also "coil fuse" to the person who holds it.
            index.add(1, reference.partition("/")[2], reference)
            index.add(2, reference.removesuffix("/fuse"), reference)
            index.add(2, reference.removesuffix("/fuse").partition("/")[2], reference)
        for feed in self._feeds.values():
            for words in feed_words(feed) if feed.fuse else ():
                index.add(3, words, feed.fuse)
        return index

    @cached_property
    def _places(self) -> Index:
        index = Index("place", ("place",))
        for key, place in self.wiring.places.items():
            index.add(0, key, key)
            index.add(3, place.title, key)
        return index

    @cached_property
    def _worked_at(self) -> Index:
        index = Index("place, board or part")
        for key, place in self.wiring.places.items():
            index.add(0, key, key)
            index.add(3, place.title, key)
        for part in self.wiring.parts.values():
            for words in (part.board, part.place):
                if words and words not in self.wiring.places:
                    index.add(1, words, words)
        add_parts(index, self.wiring, self.wiring.parts)
        return index

    @cached_property
    def _points(self) -> PointNames:
        return PointNames(self.wiring, self.part, self._element)

    def _element(self, words: str) -> str:
        """The part that closes, glows or pulls in the one device of that name; empty where there is none."""
        found = {self.wiring.coils[r].element for r in self._coils.find_all(words)}
        found |= {self.wiring.lamps[r].element for r in self._lamps.find_all(words)}
        found |= {self.wiring.switches[r].contact for r in self._switches.find_all(words)}
        return found.pop() if len(found) == 1 else ""

    # -- helpers -------------------------------------------------------------------------------

    def _add_thing(self, index: Index, reference: str, title: str, element: str) -> None:
        index.add(0, reference, reference)
        index.add(1, reference.partition("/")[2], reference)
        index.add(1, element, reference)
        part = self.wiring.parts.get(element)
        for alias in part.aliases if part else ():
            index.add(2, alias, reference)
        index.add(3, title, reference)
        if part and part.title:
            index.add(3, part.title, reference)

    def _add_cells(self, index: Index, device: str, owners: Mapping[str, str]) -> None:
        matrices = [m for m in self.wiring.matrices.values() if m.device == device]
        for matrix in matrices:
            for cell in matrix.cells:
                reference = owners.get(cell.element)
                if reference is None:
                    continue
                key = f"{cell.column}{cell.row}"
                index.add(0, cell.reference, reference)
                index.add(1, key, reference)
                index.add(1, f"{matrix.name} {key}", reference)
                index.add(1, f"{device} {key}", reference)
                index.add(3, cell.title, reference)
                for alias in cell.aliases:
                    index.add(2, alias, reference)
                    index.add(2, f"{device} {alias}", reference)

    def _one_or_line(self, words: str, index: Index, device: str) -> tuple[str, ...]:
        line = self._line(words, device)
        if line is not None:
            return line
        return (self._found(index, words, device),)

    def _found(self, index: Index, words: str, device: str) -> str:
        try:
            return index.find(words)
        except NameTrouble as trouble:
            match = _PLACE.match(plain(words)) if len(words) <= LONGEST_NAME else None
            if match is None:
                line = () if trouble.ambiguous else self._line(words, device)
                if line:
                    raise several(words, device, line) from None
                raise
            raise self._no_such_place(words, match, device) from None

    def _no_such_place(self, words: str, match: re.Match[str], device: str) -> NameTrouble:
        """Say of a cell whether it lies outside the matrix, or has nothing fitted, or is doubtful."""
        fitting = [m for m in self.wiring.matrices.values() if m.device == device]
        named = [m for m in fitting if match[1] in (None, plain(m.name), device)]
        column, row = f"C{int(match[2])}", f"R{int(match[3])}"
        if not fitting:
            return NameTrouble(words, f"a {device} of this machine", f"it has no {device} matrix")
        if len(named) != 1:
            shown = " or ".join(f"{m.name} {column}{row}" for m in fitting)
            return NameTrouble(words, f"a place with its {device} matrix", f"say {shown}")
        (matrix,) = named
        if _has_line(matrix.columns, column) and _has_line(matrix.rows, row):
            return NameTrouble(words, f"a {device} that is fitted", "that place of the matrix is empty")
        return NameTrouble(words, f"a place of the {matrix.name} matrix", f"it has {_extent(matrix)}")

    def _line(self, words: str, device: str) -> tuple[str, ...] | None:
        match = _LINE_WORDS.match(plain(words)) if len(words) <= LONGEST_NAME else None
        if match is None:
            return None
        name = match[1] or ""
        letter = "C" if match[2].startswith("c") else "R"
        # "column C3" says it twice.
        twice = {"C": ("column", "col"), "R": ("row",)}[letter]
        name = (
            ""
            if name in twice
            else next((name.removesuffix(f" {w}") for w in twice if name.endswith(f" {w}")), name)
        )
        key = f"{letter}{int(match[3])}"
        matrices = [
            m
            for m in self.wiring.matrices.values()
            if m.device == device and name in ("", plain(m.name), device)
        ]
        hit = [m for m in matrices if _has_line(m.columns if letter == "C" else m.rows, key)]
        if not hit and matrices:
            extents = "; ".join(f"the {m.name} matrix has {_extent(m)}" for m in matrices)
            raise NameTrouble(words, f"a line of a {device} matrix", extents)
        if not hit:
            return None
        if len(hit) > 1:
            raise NameTrouble(words, "one line", "say " + " or ".join(f"{m.name} {key}" for m in hit))
        owners = self._owners(device)
        return tuple(
            owners[cell.element]
            for cell in hit[0].cells
            if key in (cell.column, cell.row) and cell.element in owners
        )

    def _owners(self, device: str) -> dict[str, str]:
        if device == "switch":
            return {s.contact: r for r, s in self.wiring.switches.items()}
        if device == "coil":
            return {c.element: r for r, c in self.wiring.coils.items()}
        return {one.element: r for r, one in self.wiring.lamps.items()}


def _extent(matrix: Matrix) -> str:
    """``C1 to C8 and R1 to R5``."""
    return " and ".join(f"{lines[0].key} to {lines[-1].key}" for lines in (matrix.columns, matrix.rows))


def _has_line(lines: tuple[Line, ...], key: str) -> bool:
    return any(line.key == key for line in lines)
