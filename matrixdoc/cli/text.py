"""Plain text for a terminal of 80 columns: wrapped lines, tables, shares. No colour is needed."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterable, Sequence

from matrixdoc.definition.errors import printable

WIDTH = 80
_LONGEST = 4000
_UNIT = re.compile(r"(?<=\d) (?=(?:%|min|V|mV|ohm|kohm|Mohm|A)(?!\w))")
"""The blank between a number and its unit: no line ends there."""


def safe(text: object) -> str:
    """Any text from a file or a person as it may be shown: escapes are written out, not obeyed."""
    return printable(text, _LONGEST)


def wrapped(text: str, indent: int = 0, hanging: int | None = None) -> str:
    """``text`` in lines of at most 80 columns; ``hanging`` indents every line but the first."""
    filled = textwrap.fill(
        _UNIT.sub("\0", safe(text)),
        WIDTH,
        initial_indent=" " * indent,
        subsequent_indent=" " * (indent if hanging is None else hanging),
        break_on_hyphens=False,
    )
    return filled.replace("\0", " ")


def labelled(label: str, text: str, indent: int = 0, width: int = 10) -> str:
    """A label in a column of its own and text beside it, wrapped."""
    return wrapped(f"{label:<{width}}{text}", indent, indent + width)


def share(probability: float) -> str:
    """A probability as people read it: ``62 %``, ``3.1 %``, ``< 0.01 %``, never a false 0 or 100."""
    percent = 100.0 * probability
    if percent >= 99.95:
        return "100 %" if probability >= 1.0 else "> 99.9 %"
    if percent >= 99.0:
        return f"{percent:.1f} %"
    if percent >= 9.95:
        return f"{percent:.0f} %"
    if percent >= 0.095:
        return f"{percent:.1f} %"
    if percent >= 0.01:
        return f"{percent:.2f} %"
    return "< 0.01 %" if probability > 0.0 else "0 %"


def counted(count: int, one: str, many: str = "") -> str:
    """``1 look``, ``2 looks``; ``many`` where an s is not enough."""
    return f"{count} {one if count == 1 else many or f'{one}s'}"


def minutes(value: float) -> str:
    """Minutes in words: ``3 min``, ``1.5 min``, ``2 h 5 min``."""
    if value >= 90:
        return f"{int(value // 60)} h {int(value % 60)} min"
    return f"{value:.0f} min" if abs(value - round(value)) < 0.05 else f"{value:.1f} min"


_LEAST_FIRST, _LEAST_LAST = 10, 20
"""Characters that the first and the last column of a table get at least."""


def table(rows: Iterable[Sequence[str]], heads: Sequence[str] = (), least_last: int = _LEAST_LAST) -> str:
    """Rows under heads, columns two blanks apart; the last column is wrapped at 80 columns.

    Where that leaves the last column less than ``least_last`` characters, a long cell of the first
    column has its line to itself, and the rest of its row follows below.
    """
    body = [[safe(cell) for cell in row] for row in rows]
    if not body:
        return ""
    wide = [*body, *([list(heads)] if heads else [])]
    widths = [max(len(row[k]) for row in wide) for k in range(len(body[0]))]
    others = sum(widths[1:-1]) + 2 * (len(widths) - 1)
    if len(widths) > 1 and widths[0] + others > WIDTH - least_last:
        most = max(WIDTH - least_last - others, _LEAST_FIRST)
        widths[0] = max((len(row[0]) for row in wide if len(row[0]) <= most), default=most)
    shown = [list(heads), ["-" * width for width in widths]] if heads else []
    start = sum(widths[:-1]) + 2 * (len(widths) - 1)
    room = max(WIDTH - start, _LEAST_LAST)
    lines: list[str] = []
    for row in [*shown, *body]:
        last = textwrap.wrap(row[-1], room, break_on_hyphens=False) or [""]
        if row[-1].startswith("---"):
            last = ["-" * min(widths[-1], room)]
        before = row[:-1]
        if before and len(before[0]) > widths[0]:
            lines.append(before[0])
            before = ["", *before[1:]]
        ahead = "".join(f"{cell:<{width}}  " for cell, width in zip(before, widths[:-1], strict=True))
        lines.append((ahead + last[0]).rstrip())
        lines.extend(" " * start + more for more in last[1:])
    return "\n".join(lines)


def likely_words(words: str, chance: str) -> str:
    """What may be seen, and how likely: ``reads nothing (34 %)``, ``OL (open), 34 %``."""
    return f"{words}, {chance}" if words.endswith(")") else f"{words} ({chance})"


def heading(text: str) -> str:
    """A heading over a section, underlined."""
    shown = safe(text)
    return f"{shown}\n{'=' * min(len(shown), WIDTH)}"


def columns_grid(heads: Sequence[str], rows: Sequence[tuple[str, Sequence[str]]], lead: int) -> str:
    """A chart: ``heads`` across, row names down, every cell's words wrapped into its column.

    Wide charts are cut into blocks of columns that fit 80 columns each.
    """
    room = WIDTH - lead - 1
    count = max(1, min(len(heads), room // 10))
    # Blocks of equal width read better than one full block and a rest.
    blocks = -(-len(heads) // count)
    count = -(-len(heads) // blocks) if heads else 1
    width = min(room // count - 1, 24)
    lines: list[str] = []
    for first in range(0, len(heads), count):
        if lines:
            lines.append("")
        chosen = range(first, min(first + count, len(heads)))
        lines.extend(_grid_row("", [heads[k] for k in chosen], lead, width))
        for name, cells in rows:
            lines.append(" " * lead + "-" * ((width + 1) * len(chosen)))
            lines.extend(_grid_row(name, [cells[k] for k in chosen], lead, width))
    return "\n".join(lines)


def _grid_row(name: str, cells: Sequence[str], lead: int, width: int) -> list[str]:
    parts = [textwrap.wrap(safe(cell), width, break_on_hyphens=False) or [""] for cell in cells]
    height = max((len(part) for part in parts), default=1)
    lines = []
    for level in range(height):
        row = safe(name)[:lead] if level == 0 else ""
        row = f"{row:<{lead}}"
        row += "".join(f"|{(part[level] if level < len(part) else ''):<{width}}" for part in parts)
        lines.append(row.rstrip())
    return lines
