"""The bars and lists around the grid. Each shows what it is given and reports what was touched."""

from __future__ import annotations

from collections.abc import Sequence

from textual import events
from textual.content import Content
from textual.message import Message
from textual.widget import Widget
from textual.widgets import OptionList
from textual.widgets.option_list import Option

from matrixdoc.bench.actions import Action, key_words


class Line(Widget):
    """Some lines of text, drawn as given, never read as markup."""

    DEFAULT_CSS = "Line { height: 1; width: 1fr; }"

    def __init__(self, content: Content | None = None, *, id: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id)
        self.content = content or Content("")

    def show(self, content: Content) -> None:
        """Show ``content``."""
        if content != self.content:
            self.content = content
            self.refresh(layout=self.styles.is_auto_height)

    def render(self) -> Content:
        """The lines."""
        return self.content


class CautionBar(Line):
    """What cannot wait, over the whole width, above everything else."""

    DEFAULT_CSS = "CautionBar { height: auto; display: none; }"
    cautions: Sequence[str] = ()

    def warn(self, cautions: Sequence[str]) -> None:
        """Show the cautions; hide the bar when there are none."""
        self.cautions = cautions
        self.display = bool(cautions)
        self.show(Content("\n".join(f"!! {caution}" for caution in cautions)))
        self.refresh(layout=True)


class TabBar(Widget):
    """Places and lists by name and key; the one shown is in brackets."""

    DEFAULT_CSS = "TabBar { height: 1; width: 1fr; }"

    class Chosen(Message):
        """A tab was touched."""

        def __init__(self, target: str) -> None:
            self.target = target
            super().__init__()

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002 - Textual's name
        super().__init__(id=id)
        self.items: list[tuple[str, str, bool]] = []

    def show(self, items: list[tuple[str, str, bool]]) -> None:
        """Show these tabs."""
        if items != self.items:
            self.items = items
            self.refresh()

    def _pieces(self) -> list[tuple[str, str, bool]]:
        whole = [
            (f"[{words}]" if shown else f" {words}", target, shown) for words, target, shown in self.items
        ]
        width = sum(len(words) for words, _, _ in whole)
        if width <= self.size.width:
            return whole
        # Too many for the width: the ones that are not shown keep their key alone.
        return [
            (words if shown else f" {words.split()[0]}{words.strip()[1:5].rstrip()} ", target, shown)
            for words, target, shown in whole
        ]

    def render(self) -> Content:
        """The tabs in a row."""
        styles = {True: "bold $bench-cursor-text on $bench-cursor", False: "$foreground"}
        return Content.assemble(*[(words, styles[shown]) for words, _, shown in self._pieces()])

    def on_click(self, event: events.Click) -> None:
        """Tell which tab was touched."""
        end = 0
        for words, target, _ in self._pieces():
            end += len(words)
            if event.x < end:
                self.post_message(self.Chosen(target))
                return


class FooterBar(Widget):
    """The few keys that matter here; touching one does it."""

    DEFAULT_CSS = "FooterBar { height: 1; width: 1fr; }"

    class Chosen(Message):
        """An entry was touched."""

        def __init__(self, action: Action) -> None:
            self.action = action
            super().__init__()

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002 - Textual's name
        super().__init__(id=id)
        self.actions: tuple[Action, ...] = ()
        self.legend = ""

    def show(self, actions: tuple[Action, ...], legend: str = "") -> None:
        """Show these actions, and what a sign of the grid means."""
        if (actions, legend) != (self.actions, self.legend):
            self.actions, self.legend = actions, legend
            self.refresh()

    @staticmethod
    def entry(action: Action) -> str:
        """One entry: key and word."""
        return f" {key_words(action.keys[0])} {action.short} "

    def render(self) -> Content:
        """The entries in a row."""
        pieces: list[tuple[str, str]] = []
        for action in self.actions:
            pieces.append((f" {key_words(action.keys[0])} ", "bold $bench-cursor-text on $bench-head"))
            pieces.append((f"{action.short}  ", "$foreground"))
        if self.legend:
            pieces.append((self.legend, "$bench-dim"))
        return Content.assemble(*pieces)

    def on_click(self, event: events.Click) -> None:
        """Do what was touched."""
        end = 0
        for action in self.actions:
            end += len(self.entry(action)) + 1
            if event.x < end:
                self.post_message(self.Chosen(action))
                return


def has_row(listing: OptionList, step: int) -> bool:
    """Whether there is a row to go to, one way (1) or the other (-1)."""
    at = listing.highlighted
    start = 0 if at is None else at + 1
    rest = listing.options[: at or 0] if step < 0 else listing.options[start:]
    return any(not option.disabled for option in rest)


class StraightList(OptionList):
    """A list whose ends are ends: up on the first row and down on the last stay there."""

    def action_cursor_up(self) -> None:
        """One row up, if there is one."""
        if has_row(self, -1):
            super().action_cursor_up()

    def action_cursor_down(self) -> None:
        """One row down, if there is one."""
        if has_row(self, 1):
            super().action_cursor_down()


class RowList(StraightList):
    """A list of rows. What is under its cursor belongs to the state: it only reports moves."""

    class Picked(Message):
        """The cursor of the list moved."""

        def __init__(self, pane: str, index: int) -> None:
            self.pane = pane
            self.index = index
            super().__init__()

    def __init__(self, pane: str, *, id: str | None = None) -> None:  # noqa: A002 - Textual's name
        super().__init__(id=id, markup=False)
        self.pane = pane
        self.rows: list[Content] = []

    def show(self, rows: list[Content], index: int) -> None:
        """Show these rows with the cursor on ``index``."""
        if rows != self.rows:
            self.rows = rows
            with self.prevent(OptionList.OptionHighlighted):
                self.set_options([Option(row) for row in rows])
        wanted = min(index, len(rows) - 1) if rows else None
        if self.highlighted != wanted:
            with self.prevent(OptionList.OptionHighlighted):
                self.highlighted = wanted

    def on_focus(self) -> None:
        """A list that is touched is the one that the keys mean."""
        self.post_message(self.Picked(self.pane, self.highlighted or 0))

    def on_option_list_option_highlighted(self, event: OptionList.OptionHighlighted) -> None:
        """Report where the cursor went."""
        event.stop()
        self.post_message(self.Picked(self.pane, event.option_index))
