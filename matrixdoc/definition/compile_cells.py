"""What switch and lamp matrices have in common: lines, stubs, the order inside a cell.

Cell circuits run from the column lug to the row lug: column stub, first element, second element,
row stub, where "contact first" (lamp first) or "diode first" counts from the column.
"""

from __future__ import annotations

from dataclasses import dataclass

from matrixdoc.definition.compile_builder import Builder
from matrixdoc.definition.compile_lines import CellPlan, LinePlan, MatrixPlan, Wired
from matrixdoc.definition.schema_matrices import CellOrder
from matrixdoc.definition.wiring import Line, Origin


@dataclass(frozen=True)
class Ends:
    """The nets of a cell's parts."""

    column_lug: str
    row_lug: str


def make_line(
    plan: MatrixPlan,
    line: LinePlan,
    inner: str,
    wired: Wired,
    parts: list[str],
    drive: str = "",
    sensor: str = "",
) -> Line:
    """The finished line: its own parts first, then those of its harness."""
    return Line(
        line.key,
        line.facts.title or line.words(plan.name),
        inner,
        wired.lug_nets,
        drive,
        sensor,
        line.chain_order,
        (*parts, *wired.parts),
        line.facts.wire,
        lugs_before=wired.before,
    )


def cell_order(cell: CellPlan, plan: MatrixPlan) -> tuple[CellOrder, Origin]:
    """What comes first from the column, and whether anybody said so."""
    stated = cell.facts.order or plan.form.order
    return ("unknown", "assumed") if stated is None or stated == "unknown" else (stated, "stated")


def add_stubs(builder: Builder, prefix: str, words: str, ends: Ends, place: str) -> tuple[str, str]:
    """The two stubs of a cell with their lugs; the lugs lie side by side."""
    made = []
    for side, lug in (("column", ends.column_lug), ("row", ends.row_lug)):
        made.append(
            builder.add(
                f"{prefix}/{side}_stub",
                "wire",
                (lug, f"{prefix}/{side}"),
                title=f"{words}, lug and stub to the {side} wire",
                place=place,
            )
        )
    builder.neighbour(ends.column_lug, ends.row_lug, f"lugs of {words}")
    return made[0], made[1]
