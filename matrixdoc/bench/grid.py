"""A matrix (or a list of devices) that draws itself, cell by cell.

One widget for each place; a move or a mark redraws the cells that changed and nothing else. The
head line and the line names stay put while the rest scrolls. What is drawn is worked out by
:func:`matrixdoc.bench.cells.cell_text`, which knows no screen.
"""

from __future__ import annotations

from typing import ClassVar

from rich.cells import set_cell_size
from rich.segment import Segment
from rich.style import Style
from textual import events
from textual.geometry import Region, Size
from textual.message import Message
from textual.scroll_view import ScrollView
from textual.strip import Strip

from matrixdoc.bench.cells import SUSPICION, GridModel, cell_text, sign_words
from matrixdoc.bench.places import Position
from matrixdoc.bench.signs import PLAIN_GLYPHS, RICH_GLYPHS, Glyphs, sign_of

LABEL_WIDTH = 4
LEAST_CELL, MOST_CELL = 2, 14


class DeviceGrid(ScrollView, can_focus=True, inherit_bindings=False):
    """The grid of one place. Arrow keys, mouse and touch move; the app does everything else."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {
        "grid--head",
        "grid--plain",
        "grid--row",
        "grid--none",
        "grid--bad",
        "grid--odd",
        "grid--good",
        "grid--unsure",
        "grid--chosen",
        "grid--asked",
        "grid--suspect",
        "grid--cursor",
        "grid--name",
    }

    class Moved(Message):
        """The person wants the cursor at ``position``; ``again`` if it was there already."""

        def __init__(self, position: Position, *, again: bool) -> None:
            self.position = position
            self.again = again
            super().__init__()

    def __init__(self, model: GridModel, *, id: str | None = None) -> None:  # noqa: A002 - Textual's name
        super().__init__(id=id)
        self.model = model
        self.cell_width = 8
        self.cell_height = 1
        self._styles: dict[tuple[str, ...], Style] = {}

    # -- size --------------------------------------------------------------------------------

    @property
    def is_list(self) -> bool:
        """Whether this is a list of devices with their whole names."""
        return not self.model.place.grid

    @property
    def head_lines(self) -> int:
        """Lines above the first row that stay put."""
        return 0 if self.is_list else 1

    def lines_wanted(self, roomy: bool) -> int:  # noqa: FBT001 - one plain question
        """How many lines the whole place takes; two for each cell where there is room."""
        rows = self.model.place.rows
        return rows * (2 if roomy and not self.is_list else 1) + self.head_lines

    def lay_out(self, width: int, *, roomy: bool) -> None:
        """Choose the size of a cell for ``width`` columns."""
        place = self.model.place
        if self.is_list:
            self.cell_width, self.cell_height = max(10, width), 1
        else:
            room = (width - LABEL_WIDTH) // max(1, place.columns)
            self.cell_width = max(LEAST_CELL, min(MOST_CELL, room))
            self.cell_height = 2 if roomy and self.cell_width >= 7 else 1
        label = 0 if self.is_list else LABEL_WIDTH
        self.virtual_size = Size(
            label + self.cell_width * place.columns, place.rows * self.cell_height + self.head_lines
        )
        self._styles.clear()
        self.refresh()
        self._keep_cursor_visible()

    # -- what is shown -------------------------------------------------------------------------

    def show(self, model: GridModel) -> None:
        """Show ``model``; only the cells that look different are drawn again."""
        old, self.model = self.model, model
        if (
            old.place is not model.place
            or old.plain != model.plain
            or old.suspect_lines != model.suspect_lines
        ):
            self.refresh()
        else:
            changed = {old.cursor, model.cursor}
            references: set[str] = set()
            if old.seen is not model.seen:
                references |= {r for r in {*old.seen, *model.seen} if old.seen.get(r) != model.seen.get(r)}
            if old.suspects is not model.suspects:
                references |= {
                    r
                    for r in {*old.suspects, *model.suspects}
                    if (old.suspects.get(r, 0.0) >= SUSPICION) != (model.suspects.get(r, 0.0) >= SUSPICION)
                }
            references |= (old.chosen or frozenset()) ^ (model.chosen or frozenset())
            references |= {old.asked, model.asked} if old.asked != model.asked else set()
            find = model.place.find
            changed |= {find[r] for r in references if r in find}
            for position in changed:
                self._refresh_cell(position)
            if not self.is_list and old.cursor != model.cursor:
                # The names of the line under the cursor are lit too.
                self.refresh(Region(0, 0, self.size.width, 1))
                self.refresh(Region(0, 0, LABEL_WIDTH, self.size.height))
        if old.cursor != model.cursor:
            self._keep_cursor_visible()

    def _cell_region(self, position: Position) -> Region:
        """Where a cell is in the whole drawing, which may be larger than the window."""
        column, row = position
        label = 0 if self.is_list else LABEL_WIDTH
        return Region(
            label + column * self.cell_width,
            self.head_lines + row * self.cell_height,
            self.cell_width,
            self.cell_height,
        )

    def _refresh_cell(self, position: Position) -> None:
        region = self._cell_region(position).translate((-self.scroll_offset.x, -self.scroll_offset.y))
        self.refresh(region)

    def _keep_cursor_visible(self) -> None:
        region = self._cell_region(self.model.cursor)
        x, y = self.scroll_offset
        room_y = max(1, self.size.height - self.head_lines)
        top = region.y - self.head_lines
        y = min(max(y, top + region.height - room_y), top) if self.size.height else y
        room_x = max(1, self.size.width - LABEL_WIDTH)
        left = region.x - (0 if self.is_list else LABEL_WIDTH)
        x = min(max(x, left + region.width - room_x), left) if self.size.width else x
        if (x, y) != tuple(self.scroll_offset):
            self.scroll_to(x, y, animate=False, immediate=True)
            self.refresh()

    def on_resize(self) -> None:
        """Keep the cursor in sight."""
        self._keep_cursor_visible()

    # -- drawing -----------------------------------------------------------------------------

    def _style(self, *names: str) -> Style:
        style = self._styles.get(names)
        if style is None:
            style = Style()
            for name in names:
                style += self.get_component_rich_style(f"grid--{name}", partial=name != names[0])
            self._styles[names] = style
        return style

    def notify_style_update(self) -> None:
        """Colours changed: forget the styles made from them."""
        self._styles.clear()
        super().notify_style_update()

    def render_line(self, y: int) -> Strip:
        """One line of the window."""
        width = self.size.width
        if self.is_list:
            return self._list_line(y + self.scroll_offset.y).adjust_cell_length(width, self.rich_style)
        if y == 0:
            label, cells = " " * LABEL_WIDTH, self._head()
            label_style = self._style("head")
        else:
            line = y - 1 + self.scroll_offset.y
            row, part = divmod(line, self.cell_height)
            place = self.model.place
            if row >= place.rows:
                return Strip.blank(width, self.rich_style)
            lit = row == self.model.cursor[1]
            suspect = self._line_suspect(place.row_heads[row])
            name = place.row_heads[row] + (self._glyphs.suspect if suspect else "") if part == 0 else ""
            label = set_cell_size(name, LABEL_WIDTH)
            label_style = self._style("head", *(("suspect",) if suspect else ()), *(("name",) if lit else ()))
            cells = Strip(
                [segment for c in range(place.columns) for segment in self._cell((c, row), part)],
            )
        x = self.scroll_offset.x
        shown = cells.crop(x, x + max(0, width - LABEL_WIDTH))
        joined = Strip.join([Strip([Segment(label, label_style)]), shown])
        return joined.adjust_cell_length(width, self._style("head") if y == 0 else self.rich_style)

    @property
    def _glyphs(self) -> Glyphs:
        return PLAIN_GLYPHS if self.model.plain else RICH_GLYPHS

    def _line_suspect(self, key: str) -> bool:
        return self.model.suspect_lines.get((self.model.place.key, key), 0.0) >= SUSPICION

    def _head(self) -> Strip:
        segments = []
        for column, key in enumerate(self.model.place.column_heads):
            lit = column == self.model.cursor[0]
            suspect = self._line_suspect(key)
            name = key + (self._glyphs.suspect if suspect else "")
            if self.cell_width < 4:
                # Too narrow for whole names: the number, every column that fits.
                name = key[1:] if len(key) - 1 <= self.cell_width else key[-self.cell_width :]
            else:
                name = " " + name
            style = self._style("head", *(("suspect",) if suspect else ()), *(("name",) if lit else ()))
            segments.append(Segment(set_cell_size(name, self.cell_width), style))
        return Strip(segments)

    def _cell(self, position: Position, part: int) -> list[Segment]:
        text = cell_text(self.model, position, self.cell_width, self.cell_height)
        names = [text.tone if part == 0 or text.tone in ("chosen", "none") else "plain"]
        if text.old and part == 0:
            names = ["plain"]
        if text.cursor:
            names.append("cursor")
        return [Segment(text.lines[part], self._style(*names))]

    def _list_line(self, row: int) -> Strip:
        spot = self.model.place.spot((0, row))
        if spot is None:
            return Strip.blank(self.size.width, self.rich_style)
        cursor = (0, row) == self.model.cursor
        seen = self.model.seen.get(spot.reference)
        front = self._glyphs.cursor if cursor else " "
        suspect = self.model.suspects.get(spot.reference, 0.0) >= SUSPICION
        device = self.model.place.device
        tone = "plain"
        sign = f"{self._glyphs.closed} closed" if spot.normally_closed else self._glyphs.unmarked
        if self.model.chosen is not None and spot.reference in self.model.chosen:
            tone, sign = "chosen", f"{self._glyphs.chosen} {'ON' if device == 'lamp' else 'READS'}"
        elif seen is not None:
            tone = "plain" if seen.old else sign_of(device, seen.mark).tone
            sign = sign_words(device, seen, plain=self.model.plain, width=9)
        mark = (self._glyphs.suspect if suspect else " ") + " "
        extra = ("cursor",) if cursor else ()
        name = set_cell_size(f"{front} {spot.words}", max(20, self.size.width - 14))
        return Strip(
            [
                Segment(name, self._style("row", *extra)),
                Segment(mark, self._style("suspect", *extra)),
                Segment(set_cell_size(sign, 12), self._style(tone, *extra)),
            ]
        )

    # -- mouse and touch -----------------------------------------------------------------------

    def on_click(self, event: events.Click) -> None:
        """Move to the cell that was touched; touching it again asks for the marks."""
        self.focus()
        x, y = event.x + self.scroll_offset.x, event.y
        if self.is_list:
            position = (0, y + self.scroll_offset.y)
        else:
            if y < 1 or event.x < LABEL_WIDTH:
                return
            position = (
                (x - LABEL_WIDTH) // self.cell_width,
                (y - 1 + self.scroll_offset.y) // self.cell_height,
            )
        if position[0] < self.model.place.columns and position[1] < self.model.place.rows:
            self.post_message(self.Moved(position, again=position == self.model.cursor))
