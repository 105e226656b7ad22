"""A fault tree as drawings: boxes from left to right on sheets that fit a landscape A4 page.

The likeliest branch runs straight along the top; what is seen stands above the box it leads to. A
part of the tree that does not fit is continued on a sheet of its own. A step that another branch
has led to already is not drawn twice: a small box says where it is. Black on white only: kinds of
steps differ by their border, never by colour.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass, field
from html import escape

from matrixdoc.diagnosis.tree_words import FaultTree, PlanStep

SHEET_WIDTH, SHEET_HEIGHT = 1040.0, 640.0
COLUMNS = 4
BOX_WIDTH, COLUMN_WIDTH = 222.0, 266.0
FONT, LINE = 10.5, 13.0
LETTERS = 36
"""Letters to a line of a box: its width over 0.56 of the letter size, less the margins."""
TITLE_LINES, SEEN_LINES = 3, 2
PADDING, GAP = 5.0, 10.0


@dataclass
class Box:
    """A drawn box: where it stands, its words, and the boxes after it."""

    step: int
    column: int
    seen: tuple[str, ...]
    head: str
    share: str
    lines: tuple[str, ...]
    style: str
    children: list[Box] = field(default_factory=list)
    x: float = 0.0
    y: float = 0.0

    @property
    def seen_height(self) -> float:
        """Height of the words above the box."""
        return LINE * len(self.seen)

    @property
    def box_height(self) -> float:
        """Height of the box itself."""
        return LINE * (1 + len(self.lines)) + 2 * PADDING

    @property
    def height(self) -> float:
        """Height of the box with what follows it."""
        own = self.seen_height + self.box_height + GAP
        return max(own, sum(child.height for child in self.children))

    @property
    def saving(self) -> float:
        """What the sheet gains if all after the box goes elsewhere."""
        return self.height - (self.seen_height + self.box_height + LINE + GAP)

    def every(self) -> list[Box]:
        """The box and all after it."""
        return [self, *(b for child in self.children for b in child.every())]


@dataclass
class Sheet:
    """One page: its number, the first box, and the step numbers that it continues elsewhere."""

    number: int
    root: Box


def percent(probability: float) -> str:
    """A probability in percent: whole, or with one decimal place below 10."""
    value = 100.0 * probability
    if value < 0.1:
        return "< 0.1 %"
    return f"{value:.0f} %" if value >= 9.95 else f"{value:.1f} %"


def minutes_words(minutes: float) -> str:
    """Minutes, with a decimal only where it matters."""
    return f"{minutes:.0f} min" if minutes >= 20 or minutes == int(minutes) else f"{minutes:.1f} min"


def cut_lines(text: str, count: int) -> tuple[str, ...]:
    """``text`` in at most ``count`` lines; what is left over becomes three dots."""
    lines = textwrap.wrap(text, LETTERS) or [""]
    if len(lines) > count:
        lines = lines[:count]
        lines[-1] = lines[-1][: LETTERS - 4].rstrip() + " ..."
    return tuple(lines)


def sheets_of(tree: FaultTree) -> list[Sheet]:
    """The whole tree on as many sheets as it takes. Each step has one full box."""
    drawn: dict[int, int] = {}
    apart: list[int] = [1]
    sheets: list[Sheet] = []
    while apart:
        start = apart.pop(0)
        number = len(sheets) + 1
        moved: set[int] = set()
        while True:
            taken = dict(drawn)
            later: list[int] = []
            root = _box(tree, start, 0, (), moved, taken, later, number)
            if root.height <= SHEET_HEIGHT:
                break
            candidates = [b for b in root.every() if b.children and b.column > 0 and b.saving > 0.0]
            if not candidates:
                break
            # The smallest part whose going makes the rest fit; else the largest.
            enough = [b for b in candidates if b.saving >= root.height - SHEET_HEIGHT]
            chosen = (
                min(enough, key=lambda b: b.saving) if enough else max(candidates, key=lambda b: b.saving)
            )
            moved.add(chosen.step)
        drawn = taken
        apart.extend(n for n in later if n not in apart)
        _place(root, 1.0, 1.0)
        sheets.append(Sheet(number, root))
    return sheets


def _box(
    tree: FaultTree,
    number: int,
    column: int,
    seen: tuple[str, ...],
    moved: set[int],
    drawn: dict[int, int],
    later: list[int],
    sheet: int,
) -> Box:
    """The box of a step with those after it, as far as they belong on this sheet."""
    step = tree.step(number)
    onward = [b for b in step.branches if b.target]
    if column > 0 and number in drawn:
        return Box(number, column, seen, f"go to step {number}", "", (), "again")
    drawn[number] = sheet
    lines = list(cut_lines(step.title, TITLE_LINES))
    if step.kind == "cut":
        lines = [*cut_lines(step.title, 1), f"and on: about {minutes_words(step.finish)} more"]
    lines += [f"{b.words[0]}, {percent(b.probability)}: done" for b in step.branches if not b.target]
    box = Box(number, column, seen, _head(step), percent(step.probability), (), _style(step))
    if onward and column > 0 and (column == COLUMNS - 1 or number in moved):
        lines.append(f"goes on: sheet of step {number}")
        later.append(number)
    else:
        for branch in onward:
            words = cut_lines(f"{' / '.join(branch.words)}, {percent(branch.probability)}", SEEN_LINES)
            box.children.append(_box(tree, branch.target, column + 1, words, moved, drawn, later, sheet))
    box.lines = tuple(lines)
    return box


def _head(step: PlanStep) -> str:
    if step.kind != "do":
        return f"{step.number}."
    return f"{step.number}.  {minutes_words(step.minutes)}, {'power on' if step.power else 'unplugged'}"


def _style(step: PlanStep) -> str:
    if step.kind != "do":
        return "open"
    return "act" if any(not b.target for b in step.branches) else "check"


def _place(box: Box, x: float, y: float) -> None:
    box.x, box.y = x, y + box.seen_height
    for child in box.children:
        _place(child, x + COLUMN_WIDTH, y)
        y += child.height


BORDERS = {
    "check": 'stroke-width="1"',
    "act": 'stroke-width="2.4" rx="9"',
    "open": 'stroke-width="1" stroke-dasharray="5 3"',
    "again": 'stroke-width="0.8" stroke-dasharray="1.5 2.5"',
}


def sheet_svg(sheet: Sheet, title: str) -> str:
    """One sheet as an inline drawing."""
    height = max(sheet.root.height, 120.0) + 4.0
    opening = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {SHEET_WIDTH:.0f} {height:.0f}" role="img" '
        f'font-family="sans-serif" font-size="{FONT}" fill="black">'
    )
    parts = [opening, f"<title>{escape(title)}</title>"]
    for box in sheet.root.every():
        parts.extend(_box_svg(box))
    parts.append("</svg>")
    return "\n".join(parts)


def _box_svg(box: Box) -> list[str]:
    frame = (
        f'<rect x="{box.x:.1f}" y="{box.y:.1f}" width="{BOX_WIDTH:.0f}" height="{box.box_height:.1f}" '
        f'fill="white" stroke="black" {BORDERS[box.style]}/>'
    )
    parts = [
        frame,
        *_texts([box.head], box.x + 7.0, box.y + PADDING, 'font-weight="bold"'),
        *_texts([box.share], box.x + BOX_WIDTH - 7.0, box.y + PADDING, 'text-anchor="end"'),
        *_texts(box.lines, box.x + 7.0, box.y + PADDING + LINE, ""),
        *_texts(box.seen, box.x + 2.0, box.y - box.seen_height - 2.0, 'font-style="italic"'),
    ]
    middle = box.y + PADDING + LINE / 2.0
    for child in box.children:
        target = child.y + PADDING + LINE / 2.0
        turn = box.x + BOX_WIDTH + 14.0
        path = f"M{box.x + BOX_WIDTH:.1f} {middle:.1f} H{turn:.1f} V{target:.1f} H{child.x - 5.0:.1f}"
        tip = f"M{child.x - 6.0:.1f} {target - 3.5:.1f} L{child.x:.1f} {target:.1f} l-6 3.5 z"
        parts.append(f'<path d="{path}" fill="none" stroke="black"/><path d="{tip}"/>')
    return parts


def _texts(lines: Sequence[str], x: float, y: float, look: str) -> list[str]:
    return [
        f'<text x="{x:.1f}" y="{y + LINE * (k + 1) - 3.0:.1f}" {look}>{escape(line)}</text>'
        for k, line in enumerate(lines)
    ]
