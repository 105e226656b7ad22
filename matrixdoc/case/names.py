"""Find what a person means: a cell, a running number, a printed name, a full reference.

People write ``C3R5``, ``switch C3R5``, ``29``, or what the label on the game says. All of these
are looked up here, in tiers (full reference, short form, printed name, title); the first tier that
knows the words decides, and words that mean two things are refused with both named.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches
from functools import cached_property

from matrixdoc.circuit.kinds import load_kind_table
from matrixdoc.definition.errors import quoted
from matrixdoc.definition.wiring import GROUND, Line, Matrix, Wiring

_SEPARATORS = re.compile(r"[\s_/\-]+")
_LINE_WORDS = re.compile(r"^(?:(.*) )?(column|col|c|row|r) ?(\d+)$")
_PLACE = re.compile(r"^(?:(.*) )?c(\d+) ?r(\d+)$")
_SEVERAL = "this means"
LONGEST_NAME = 200
"""Longer words are no name on a machine; they are refused before any comparing."""


class NameTrouble(Exception):  # noqa: N818 - becomes one line of an error, is none by itself
    """Words that name nothing, or several things: what was found, what would be right."""

    def __init__(self, found: str, expected: str, suggestion: str = "") -> None:
        super().__init__(found, expected, suggestion)
        self.found = found
        self.expected = expected
        self.suggestion = suggestion

    @property
    def ambiguous(self) -> bool:
        """Whether the words mean several things (and the suggestion names them)."""
        return self.suggestion.startswith(_SEVERAL)

    def __str__(self) -> str:
        """The whole as one sentence."""
        hint = f"; {self.suggestion}" if self.suggestion else ""
        return f"found {quoted(self.found)}; expected {self.expected}{hint}"


@dataclass
class _Index:
    """Names of one kind of thing, in tiers of falling authority."""

    what: str
    tiers: tuple[dict[str, list[str]], ...] = field(default_factory=lambda: ({}, {}, {}, {}))
    written: dict[str, str] = field(default_factory=dict)

    def add(self, tier: int, words: str, reference: str) -> None:
        key = plain(words)
        if not key:
            return
        targets = self.tiers[tier].setdefault(key, [])
        if reference not in targets:
            targets.append(reference)
        self.written.setdefault(key, words)

    def find(self, words: str) -> str:
        key = plain(words)
        for tier in self.tiers if len(words) <= LONGEST_NAME else ():
            targets = tier.get(key)
            if not targets:
                continue
            if len(targets) > 1:
                shown = ", ".join(targets[:4]) + (" ..." if len(targets) > 4 else "")
                raise NameTrouble(words, f"one {self.what}", f"{_SEVERAL} {len(targets)} of them: {shown}")
            return targets[0]
        raise NameTrouble(words, f"a {self.what} of this machine", self.near(key))

    def near(self, key: str) -> str:
        close = get_close_matches(key[:LONGEST_NAME], self.written, n=3, cutoff=0.6)
        return "did you mean " + " or ".join(self.written[c] for c in close) + "?" if close else ""


def plain(words: str) -> str:
    """Words as they are compared: lower case, one space for any run of blanks, ``/``, ``_``, ``-``."""
    return _SEPARATORS.sub(" ", words).strip().casefold()


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
        return self._found(self._lamps, words, "lamp")

    def lamps(self, words: str) -> tuple[str, ...]:
        """One lamp, or every lamp of a column or row."""
        return self._one_or_line(words, self._lamps, "lamp")

    def coil(self, words: str) -> str:
        """The reference of one coil."""
        return self._coils.find(words)

    def part(self, words: str) -> str:
        """The reference of one part: by reference, printed name or title."""
        return self._parts.find(words)

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
            raise NameTrouble("no matrix named", expected, ", ".join(m.name for m in fitting))
        for one in fitting:
            if plain(one.name) == plain(words):
                return one
        raise NameTrouble(words, f"a {device} matrix", ", ".join(m.name for m in fitting))

    def point(self, words: str) -> str:
        """The net that a meter lead touches: a net's name, ``ground``, or ``part.terminal``."""
        if words in self._nets:
            return words
        key = plain(words)
        if key in self._plain_nets:
            return self._plain_nets[key]
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

    # -- indexes, each made when first asked for ------------------------------------------------

    @cached_property
    def _switches(self) -> _Index:
        index = _Index("switch")
        for reference, switch in self.wiring.switches.items():
            self._add_thing(index, reference, switch.title, switch.contact)
        self._add_cells(index, "switch", {s.contact: r for r, s in self.wiring.switches.items()})
        return index

    @cached_property
    def _lamps(self) -> _Index:
        index = _Index("lamp")
        for reference, lamp in self.wiring.lamps.items():
            self._add_thing(index, reference, lamp.title, lamp.element)
        self._add_cells(index, "lamp", {one.element: r for r, one in self.wiring.lamps.items()})
        return index

    @cached_property
    def _coils(self) -> _Index:
        index = _Index("coil")
        for reference, coil in self.wiring.coils.items():
            self._add_thing(index, reference, coil.title, coil.element)
            # A flipper has two windings: its own name means both, and is refused with both named.
            stem = reference.rpartition("/")[0]
            if "/" in stem:
                index.add(2, stem, reference)
                index.add(2, stem.partition("/")[2], reference)
        return index

    @cached_property
    def _parts(self) -> _Index:
        index = _Index("part")
        self._add_parts(index, self.wiring.parts)
        return index

    @cached_property
    def _fuses(self) -> _Index:
        index = _Index("fuse")
        fuses = [r for r, p in self.wiring.parts.items() if p.kind == "fuse"]
        self._add_parts(index, fuses)
        for reference in fuses:
            # "supply/coil/fuse" is also "coil fuse" to the person who holds it.
            index.add(1, reference.partition("/")[2], reference)
            index.add(2, reference.removesuffix("/fuse"), reference)
            index.add(2, reference.removesuffix("/fuse").partition("/")[2], reference)
        return index

    @cached_property
    def _places(self) -> _Index:
        index = _Index("place")
        for key, place in self.wiring.places.items():
            index.add(0, key, key)
            index.add(3, place.title, key)
        return index

    @cached_property
    def _worked_at(self) -> _Index:
        index = _Index("place, board or part")
        for key, place in self.wiring.places.items():
            index.add(0, key, key)
            index.add(3, place.title, key)
        for part in self.wiring.parts.values():
            for words in (part.board, part.place):
                if words and words not in self.wiring.places:
                    index.add(1, words, words)
        self._add_parts(index, self.wiring.parts)
        return index

    @cached_property
    def _nets(self) -> frozenset[str]:
        return frozenset(net for part in self.wiring.parts.values() for net in part.nets) | {GROUND}

    @cached_property
    def _plain_nets(self) -> dict[str, str]:
        found: dict[str, str] = {}
        for net in sorted(self._nets):
            found.setdefault(plain(net), net)
        return found

    # -- helpers -------------------------------------------------------------------------------

    def _add_thing(self, index: _Index, reference: str, title: str, element: str) -> None:
        index.add(0, reference, reference)
        index.add(1, reference.partition("/")[2], reference)
        index.add(1, element, reference)
        part = self.wiring.parts.get(element)
        for alias in part.aliases if part else ():
            index.add(2, alias, reference)
        index.add(3, title, reference)
        if part and part.title:
            index.add(3, part.title, reference)

    def _add_cells(self, index: _Index, device: str, owners: Mapping[str, str]) -> None:
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

    def _add_parts(self, index: _Index, references: Iterable[str]) -> None:
        for reference in references:
            part = self.wiring.parts[reference]
            index.add(0, reference, reference)
            for alias in part.aliases:
                index.add(2, alias, reference)
            index.add(3, part.title, reference)

    def _one_or_line(self, words: str, index: _Index, device: str) -> tuple[str, ...]:
        line = self._line(words, device)
        if line is not None:
            return line
        return (self._found(index, words, device),)

    def _found(self, index: _Index, words: str, device: str) -> str:
        try:
            return index.find(words)
        except NameTrouble:
            match = _PLACE.match(plain(words)) if len(words) <= LONGEST_NAME else None
            if match is None:
                raise
            raise self._no_such_place(words, match, device) from None

    def _no_such_place(self, words: str, match: re.Match[str], device: str) -> NameTrouble:
        """Say of a cell whether it lies outside the matrix, or has nothing fitted, or is doubtful."""
        fitting = [m for m in self.wiring.matrices.values() if m.device == device]
        named = [m for m in fitting if match[1] in (None, plain(m.name), device)]
        if len(named) != 1:
            return NameTrouble(words, f"a {device} of this machine", ", ".join(m.name for m in fitting))
        (matrix,) = named
        column, row = f"C{int(match[2])}", f"R{int(match[3])}"
        if _has_line(matrix.columns, column) and _has_line(matrix.rows, row):
            return NameTrouble(words, f"a {device} that is fitted", "that place of the matrix is empty")
        columns = f"{matrix.columns[0].key} to {matrix.columns[-1].key}"
        rows = f"{matrix.rows[0].key} to {matrix.rows[-1].key}"
        return NameTrouble(words, f"a place of the {matrix.name} matrix", f"it has {columns} and {rows}")

    def _line(self, words: str, device: str) -> tuple[str, ...] | None:
        match = _LINE_WORDS.match(plain(words)) if len(words) <= LONGEST_NAME else None
        if match is None:
            return None
        name = match[1] or ""
        letter = "C" if match[2].startswith("c") else "R"
        key = f"{letter}{int(match[3])}"
        matrices = [
            m
            for m in self.wiring.matrices.values()
            if m.device == device and name in ("", plain(m.name), device)
        ]
        hit = [m for m in matrices if _has_line(m.columns if letter == "C" else m.rows, key)]
        if not hit:
            return None
        if len(hit) > 1:
            raise NameTrouble(
                words, "one line", "name the matrix: " + ", ".join(f"{m.name} {key}" for m in hit)
            )
        owners = self._owners(device)
        return tuple(
            owners[cell.element]
            for cell in hit[0].cells
            if key in (cell.column, cell.row) and cell.element in owners
        )

    def _owners(self, device: str) -> dict[str, str]:
        if device == "switch":
            return {s.contact: r for r, s in self.wiring.switches.items()}
        return {one.element: r for r, one in self.wiring.lamps.items()}

    def _only_net(self, words: str) -> str:
        try:
            reference = self.part(words)
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
        choices = " or ".join(f"{reference}.{name}" for name in names)
        raise NameTrouble(words, "which terminal of that part the lead touches", choices)

    @staticmethod
    def _terminals(kind: str, count: int) -> tuple[str, ...]:
        row = load_kind_table().kinds.get(kind)
        return row.terminals[:count] if row is not None else tuple("abc"[:count])


def _has_line(lines: tuple[Line, ...], key: str) -> bool:
    return any(line.key == key for line in lines)
