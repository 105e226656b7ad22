"""A made-up machine with a switch and a lamp matrix: its definition, and its paths as a person reads them.

The definition is text in the authoring form. The paths are worked out here from the chains and from the
published grammar of references alone, so that a comparison does not ask the package what hangs on what.
"""

from __future__ import annotations

import random
from dataclasses import dataclass

Cell = tuple[int, int]

HEADS = {
    ("switch", "C"): ("logic", "link", "predriver", "driver", "header", "pin", "wire"),
    ("switch", "R"): ("input", "link", "sensing", "header", "pin", "wire"),
    ("lamp", "C"): ("logic", "link", "predriver", "driver", "header", "pin", "wire"),
    ("lamp", "R"): ("logic", "link", "driver", "header", "pin", "wire"),
}
"""Parts of a line before its first lug, from the logic on."""
CELLS = {
    "switch": ("column_stub", "contact", "diode", "row_stub"),
    "lamp": ("column_stub", "socket", "lamp", "diode", "row_stub"),
}
SUPPLY = ("winding", "pin", "wire", "fuse")
"""What every lamp hangs on; each is the only way for the current."""
RUNS = (("header", "pin", "wire"), ("logic", "link", "predriver", "driver"))
"""Parts in plain series: whichever opens, it is the same open."""


@dataclass(frozen=True)
class Pair:
    """Two matrices of one size. ``chains[matrix, "C" | "R", number]``: crossing lines in wiring order."""

    columns: int
    rows: int
    chains: dict[tuple[str, str, int], tuple[int, ...]]

    @property
    def cells(self) -> list[Cell]:
        return [(c, r) for c in range(1, self.columns + 1) for r in range(1, self.rows + 1)]

    def lines(self, letter: str) -> range:
        return range(1, (self.columns if letter == "C" else self.rows) + 1)

    def text(self) -> str:
        """The definition."""
        chart = "\n".join(
            "      " + " | ".join(f"place {c} {r}" for c in self.lines("C")) for r in self.lines("R")
        )
        out = ["title: A pair of matrices", "boards:", "  logic: {title: logic board}"]
        out += ["  driver: {title: driver board}", "link: {boards: [logic, driver], pins: 200}"]
        out += ["connectors:"] + [f"  {name}: {{board: driver, pins: 40}}" for name in "ABDE"]
        out.append("matrices:")
        link, names = 0, iter("ABDE")
        for matrix in ("switch", "lamp"):
            out += [f"  {matrix}:", "    board: driver", "    chart: |", chart]
            out += ["    sensing: 74LS"] if matrix == "switch" else []
            for letter, word in (("C", "columns"), ("R", "rows")):
                connector = next(names)
                out.append(f"    {word}:")
                for number in self.lines(letter):
                    link += 1
                    chain = " ".join(map(str, self.chains[matrix, letter, number]))
                    facts = f"logic: U{letter}, link: {link}, pin: {connector}-{number}, chain: {chain}"
                    facts += ", pre_driver: U9" if letter == "C" else ""
                    out.append(f"      {letter}{number}: {{{facts}}}")
        return "\n".join(out) + "\n"

    def head(self, matrix: str, letter: str, number: int) -> list[str]:
        return [f"{matrix}/{letter}{number}/{part}" for part in HEADS[matrix, letter]]

    def segments(self, matrix: str, letter: str, number: int) -> list[str]:
        """Segments from lug to lug; the one at index i leads to lug i + 2."""
        return [f"{matrix}/{letter}{number}/segment{i}" for i in range(2, len(self.crossing(letter)) + 1)]

    def crossing(self, letter: str) -> range:
        return self.lines("R" if letter == "C" else "C")

    def cell(self, matrix: str, cell: Cell) -> list[str]:
        return [f"{matrix}/C{cell[0]}R{cell[1]}/{part}" for part in CELLS[matrix]]

    def supply(self, matrix: str) -> list[str]:
        return [f"supply/lamp/{part}" for part in SUPPLY] if matrix == "lamp" else []

    def lug(self, matrix: str, letter: str, number: int, crossing: int) -> int:
        """Which lug of a line (from 0 on) a crossing line hangs on."""
        return self.chains[matrix, letter, number].index(crossing)

    def parts(self) -> list[str]:
        """Every part on any path."""
        found: list[str] = []
        for matrix in ("switch", "lamp"):
            found += self.supply(matrix)
            for letter in "CR":
                for number in self.lines(letter):
                    found += self.head(matrix, letter, number) + self.segments(matrix, letter, number)
            for cell in self.cells:
                found += self.cell(matrix, cell)
        return found


def pair(columns: int, rows: int, *, shuffled: int | None = None) -> Pair:
    """A pair with its chains in chart order, or shuffled by a seed."""
    rng = random.Random(shuffled) if shuffled is not None else None
    chains = {}
    for matrix in ("switch", "lamp"):
        for letter, count, crossing in (("C", columns, rows), ("R", rows, columns)):
            for number in range(1, count + 1):
                order = list(range(1, crossing + 1))
                if rng is not None:
                    rng.shuffle(order)
                chains[matrix, letter, number] = tuple(order)
    return Pair(columns, rows, chains)


def column(machine: Pair, number: int) -> set[Cell]:
    """The cells of a column."""
    return {(number, r) for r in machine.lines("R")}


def row(machine: Pair, number: int) -> set[Cell]:
    """The cells of a row."""
    return {(c, number) for c in machine.lines("C")}
