"""Charts, and the daisy chain of a column or a row."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from matrixdoc.definition.chains import links, straight
from matrixdoc.definition.compile_builder import Builder, FormPath, coloured, whole_number
from matrixdoc.definition.compile_charts import NO_CELL, chart_grid, numbering_of, running_number
from matrixdoc.definition.errors import quoted
from matrixdoc.definition.references import cell_key, cell_numbers, line_number
from matrixdoc.definition.schema_matrices import CellForm, LineForm, MatrixForm
from matrixdoc.definition.wiring import ChainOrder, Origin

Letter = Literal["C", "R"]


@dataclass(frozen=True)
class CellPlan:
    """A fitted cell: its lines, its name in the chart, what else is known, and its aliases."""

    column: str
    row: str
    title: str
    facts: CellForm
    aliases: tuple[str, ...]

    @property
    def key(self) -> str:
        """``C3R5``."""
        return cell_key(self.column, self.row)


@dataclass(frozen=True)
class LinePlan:
    """A column or row before it is wired: its key and number, its facts, its cells in chain order.

    ``before``: the position of the cell that the wire of each comes from, -1 for the connector.
    """

    letter: Letter
    number: int
    facts: LineForm
    cells: tuple[CellPlan, ...]
    before: tuple[int, ...]
    chain_order: ChainOrder
    path: FormPath

    @property
    def key(self) -> str:
        """``C3`` or ``R5``."""
        return f"{self.letter}{self.number}"

    def words(self, matrix: str) -> str:
        """``switch column 3``."""
        return f"{matrix} {'column' if self.letter == 'C' else 'row'} {self.number}"


@dataclass
class MatrixPlan:
    """A matrix before it is wired."""

    name: str
    form: MatrixForm
    path: FormPath
    columns: tuple[LinePlan, ...] = ()
    rows: tuple[LinePlan, ...] = ()
    cells: tuple[CellPlan, ...] = ()


@dataclass(frozen=True)
class Wired:
    """A line's harness side: lug net of each cell by cell key, all lug nets in order, the parts.

    ``before`` is filled where the line has branches, see :class:`~.wiring.Line`.
    """

    lug_of: Mapping[str, str] = field(default_factory=dict)
    lug_nets: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    before: tuple[int, ...] = ()


def _line_facts(
    builder: Builder, stated: Mapping[str, LineForm], letter: Letter, numbers: Sequence[int], path: FormPath
) -> dict[int, tuple[LineForm, FormPath]]:
    found: dict[int, tuple[LineForm, FormPath]] = {}
    word = "columns" if letter == "C" else "rows"
    for key, facts in stated.items():
        here = (*path, word, key)
        number = whole_number(key)
        if number is None:
            number = line_number(key, letter)
        if number is None or number not in numbers:
            expected = f"a line of the chart: {letter}{numbers[0]} to {letter}{numbers[-1]}"
            builder.problem(here, quoted(key), expected, key=True)
        elif number in found:
            builder.problem(here, f"{letter}{number} again", "each line once", key=True)
        else:
            found[number] = (facts, here)
    return found


def _cell_facts(
    builder: Builder, form: MatrixForm, fitted: Mapping[tuple[int, int], str], path: FormPath
) -> dict[tuple[int, int], CellForm]:
    found: dict[tuple[int, int], CellForm] = {}
    for key, facts in form.cells.items():
        here = (*path, "cells", key)
        numbers = cell_numbers(key)
        if numbers is None:
            builder.problem(here, quoted(key), "a cell, such as C3R5", key=True)
        elif numbers not in fitted:
            builder.problem(here, quoted(key), "a cell that has a name in the chart", key=True)
        elif numbers in found:
            builder.problem(here, f"{key} again", "each cell once", key=True)
        else:
            found[numbers] = facts
    return found


def _chain(
    builder: Builder, letter: Letter, number: int, facts: LineForm, cells: Sequence[CellPlan], path: FormPath
) -> tuple[tuple[CellPlan, ...], tuple[int, ...], ChainOrder]:
    """The cells of a line in wiring order, and where the wire of each comes from."""
    in_line = straight(len(cells))
    if facts.chain is None:
        return tuple(cells), in_line, "assumed"
    if isinstance(facts.chain, str):
        return tuple(cells), in_line, "unknown" if facts.chain == "unknown" else "known"
    other: Letter = "R" if letter == "C" else "C"
    by_number: dict[int, CellPlan] = {}
    for cell in cells:
        crossing = line_number(cell.row if letter == "C" else cell.column, other)
        assert crossing is not None  # noqa: S101 - plans are made with such keys
        by_number[crossing] = cell
    order: list[CellPlan] = []
    bad = False
    chain = links(facts.chain)
    for link in chain:
        name, spot = link.name, (*path, "chain", *link.path)
        pair = cell_numbers(name)
        if pair is not None and pair[0 if letter == "C" else 1] == number:
            wanted: int | None = pair[1 if letter == "C" else 0]
        else:
            wanted = whole_number(name)
            if wanted is None:
                wanted = line_number(name, other)
        found = by_number.get(wanted) if wanted is not None else None
        if found is None:
            expected = f"a fitted cell of {letter}{number}, such as {other}{next(iter(by_number), 1)}"
            builder.problem(spot, quoted(name), expected)
            bad = True
        elif found in order:
            builder.problem(spot, f"{quoted(name)} again", "each cell once")
            bad = True
        else:
            order.append(found)
    missing = [c.key for c in cells if c not in order]
    if missing and not bad:
        builder.problem(
            (*path, "chain"), f"a chain without {', '.join(missing)}", "every fitted cell of the line"
        )
    if missing or bad:
        return tuple(cells), in_line, "assumed"
    return tuple(order), tuple(link.before for link in chain), "known"


def plan_matrix(builder: Builder, name: str, form: MatrixForm) -> MatrixPlan:
    """Read a chart and its exceptions; problems are noted, and what can be planned is planned."""
    path: FormPath = ("matrices", name)
    plan = MatrixPlan(name, form, path)
    grid = chart_grid(builder, form, path)
    numbering = numbering_of(form)
    if not grid:
        return plan
    start = form.numbered_from
    row_numbers = range(start, start + len(grid))
    column_numbers = range(start, start + len(grid[0]))
    fitted = {
        (c, r): grid[r - start][c - start]
        for c in column_numbers
        for r in row_numbers
        if grid[r - start][c - start] not in NO_CELL
    }
    if not fitted:
        builder.problem((*path, "chart"), "a chart without a name in it", "a name in at least one cell")
    column_facts = _line_facts(builder, form.columns, "C", column_numbers, path)
    row_facts = _line_facts(builder, form.rows, "R", row_numbers, path)
    cell_facts = _cell_facts(builder, form, fitted, path)
    cells: dict[tuple[int, int], CellPlan] = {}
    for (c, r), title in fitted.items():
        facts = cell_facts.get((c, r), CellForm())
        aliases = [facts.number] if facts.number else []
        if numbering:
            number = running_number(numbering, c - start, r - start, len(grid[0]), len(grid))
            aliases.append(str(number))
        cells[c, r] = CellPlan(f"C{c}", f"R{r}", facts.title or title, facts, tuple(dict.fromkeys(aliases)))
    lines: dict[Letter, list[LinePlan]] = {"C": [], "R": []}
    sides: tuple[tuple[Letter, range, range, dict[int, tuple[LineForm, FormPath]]], ...] = (
        ("C", column_numbers, row_numbers, column_facts),
        ("R", row_numbers, column_numbers, row_facts),
    )
    for letter, numbers, crossing, stated in sides:
        for number in numbers:
            line_facts, here = stated.get(number, (LineForm(), path))
            keys = [(number, x) if letter == "C" else (x, number) for x in crossing]
            own = [cells[k] for k in keys if k in cells]
            chained, before, order = _chain(builder, letter, number, line_facts, own, here)
            lines[letter].append(LinePlan(letter, number, line_facts, chained, before, order, here))
    plan.columns, plan.rows, plan.cells = tuple(lines["C"]), tuple(lines["R"]), tuple(cells.values())
    return plan


# -- the harness of a line ------------------------------------------------------------------------------


def wire_line(builder: Builder, plan: MatrixPlan, line: LinePlan, inner: str, board: str) -> Wired:
    """Header joint, pin, wire to the first lug and the segments from lug to lug.

    A line without cells and without facts has no wire: it ends on the board.
    """
    facts = line.facts
    if not line.cells and facts.pin is None:
        return Wired()
    prefix = f"{plan.name}/{line.key}"
    words = line.words(plan.name)
    outer, ends = builder.harness(prefix, inner, words, facts.pin, board, line.path)
    builder.line_nets[f"{plan.name} {line.key}"] = outer
    place = builder.place(facts.place or plan.form.place, (*line.path, "place"), "playfield")
    colour = coloured(facts.wire)
    at = f"pin {facts.pin.position} of connector {facts.pin.connector}" if facts.pin else "the connector pin"
    parts = [*ends]
    lugs: list[str] = []
    known = line.chain_order == "known"
    for index, (cell, before) in enumerate(zip(line.cells, line.before, strict=True), start=1):
        lug = f"{prefix}/lug{index}"
        stated: Origin = "stated" if (facts.wire if index == 1 else known) else "assumed"
        start = f"lug {before + 1} ({line.cells[before].title})" if before >= 0 else at
        reference, way = f"{prefix}/segment{index}", f"from {start} to lug {index} ({cell.title})"
        if index == 1:
            reference, way = f"{prefix}/wire", f"from {at} to the first lug ({cell.title})"
        leaving = line.before.count(before)
        branches = f", one of {leaving} wires from there" if leaving > 1 else ""
        parts.append(
            builder.add(
                reference,
                "wire",
                (lugs[before] if before >= 0 else outer, lug),
                title=f"{words} wire{colour}, {way}{branches}",
                place=place,
                colour=facts.wire,
                origin=stated,
            )
        )
        lugs.append(lug)
    branched = line.before if line.before != straight(len(lugs)) else ()
    by_cell = {cell.key: lug for cell, lug in zip(line.cells, lugs, strict=True)}
    return Wired(by_cell, tuple(lugs), tuple(parts), branched)
