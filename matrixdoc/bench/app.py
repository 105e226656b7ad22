"""The bench: keys and touches around :mod:`matrixdoc.bench.work`, and how to start it."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterable
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any, ClassVar

from textual.app import SystemCommand
from textual.binding import Binding, BindingType
from textual.screen import Screen
from textual.widgets import OptionList

from matrixdoc.bench import state
from matrixdoc.bench.actions import ACTIONS, actions_in, key_words
from matrixdoc.bench.core import DONE, WRONG_INPUT, wall_clock
from matrixdoc.bench.desk import context_of
from matrixdoc.bench.grid import DeviceGrid
from matrixdoc.bench.opening import CaseStore, Opened
from matrixdoc.bench.palette import TURN
from matrixdoc.bench.panes import FooterBar, RowList, TabBar
from matrixdoc.bench.work import BenchWork

if TYPE_CHECKING:
    from matrixdoc.case.case import Case

MOVE_KEYS = {
    "up": (0, -1),
    "down": (0, 1),
    "left": (-1, 0),
    "right": (1, 0),
    "home": (-1000, 0),
    "end": (1000, 0),
    "pageup": (0, -8),
    "pagedown": (0, 8),
}


LIST_MOVES = {
    "up": "cursor_up",
    "down": "cursor_down",
    "home": "first",
    "end": "last",
    "pageup": "page_up",
    "pagedown": "page_down",
}


def plain_terminal() -> bool:
    """Whether the terminal cannot be trusted with drawing letters."""
    encoding = (getattr(sys.__stdout__, "encoding", "") or "").lower()
    return "utf" not in encoding or os.environ.get("TERM", "") in ("linux", "dumb", "vt100")


def _bindings() -> list[BindingType]:
    keys = dict.fromkeys([*(key for action in ACTIONS for key in action.keys), *MOVE_KEYS])
    words = {key: action.words for action in reversed(ACTIONS) for key in action.keys}
    made: list[BindingType] = [
        Binding(key, f"key('{key}')", words.get(key, "move"), show=False, priority=key == "ctrl+q")
        for key in keys
    ]
    made.extend(Binding(str(n), f"place({n - 1})", "show this place", show=False) for n in range(1, 10))
    return made


class BenchApp(BenchWork):
    """The application: what each key and touch does."""

    BINDINGS: ClassVar[list[BindingType]] = _bindings()

    # -- keys --------------------------------------------------------------------------------

    async def desk_key(self, key: str) -> bool:
        """On the desk every key is done before the next is looked at."""
        listing = self.screen.focused
        if isinstance(listing, RowList) and key in LIST_MOVES:
            getattr(listing, f"action_{LIST_MOVES[key]}")()
            self._take_row()
            return True
        if key.isdigit() and key != "0":
            self.action_place(int(key) - 1)
            return True
        if key in MOVE_KEYS or any(key in action.keys for action in ACTIONS):
            self._take_row()
            await self.action_key(key)
            return True
        return False

    def _take_row(self) -> None:
        """The state knows the row under the cursor before a key is done to it."""
        listing = self.screen.focused
        if self.view is not None and isinstance(listing, RowList) and listing.highlighted is not None:
            self.view = state.pick(self.view, self.view.pane, listing.highlighted)

    async def action_key(self, key: str) -> None:
        """A key of the table: what it does depends on where the person is."""
        context = context_of(self.view)
        for action in (*actions_in(context), *actions_in("bench")):
            if key in action.keys:
                if (
                    context == "choosing"
                    and action.context == "bench"
                    and action.name not in ("help", "undo", "quit")
                ):
                    return
                await self.run_action(action.run)
                return
        if key in MOVE_KEYS and (self.view is None or self.view.pane == "place"):
            self.action_move(*MOVE_KEYS[key])

    def action_move(self, columns: int, rows: int) -> None:
        """Move the cursor of the grid."""
        self.change(lambda view: state.move(view, columns, rows))

    def action_place(self, index: int) -> None:
        """Show the place with this number."""
        self.change(lambda view: state.show_place(view, index))

    def action_next_place(self, step: int) -> None:
        """Show the next place, or the one before."""
        self.change(lambda view: state.next_place(view, step))

    def action_pane(self, pane: state.Pane) -> None:
        """Turn to the place, the causes, the checks or the log."""
        self.change(lambda view: state.show_pane(view, pane))

    def action_plain(self) -> None:
        """Signs of plain letters, and back."""
        self.plain = not self.plain
        self._desk.plain = self.plain
        self._desk.set_class(self.plain, "plain")
        if self.view is not None:
            self._desk.view = None
            self._desk.show(self.view)

    def action_light(self) -> None:
        """The next colours."""
        position = TURN.index(self.theme) if self.theme in TURN else -1
        self.theme = TURN[(position + 1) % len(TURN)]

    def action_menu(self) -> None:
        """Search everything that can be done here."""
        self.action_command_palette()

    def action_help(self) -> None:
        """The list of keys."""
        from matrixdoc.bench.dialogs import HelpDialog

        self._push(HelpDialog(context_of(self.view)))

    def action_leave(self) -> None:
        """Leave: everything that was noted is saved."""
        self.exit(DONE)

    def get_system_commands(self, screen: Screen[Any]) -> Iterable[SystemCommand]:
        """The command palette: the actions that hold here, from the one table."""
        context = context_of(self.view) if screen is self._desk else "bench"
        for action in (*actions_in(context), *(actions_in("bench") if context != "bench" else ())):
            if action.palette:
                title = f"{action.words} ({key_words(action.keys[0])})"
                yield SystemCommand(title, action.name, partial(self.run_action, action.run))

    # -- mouse and touch -----------------------------------------------------------------------

    def on_device_grid_moved(self, message: DeviceGrid.Moved) -> None:
        """A cell was touched."""
        view = self.view
        if view is None:
            return
        self.change(lambda one: state.put_cursor(replace(one, pane="place"), message.position))
        if view.choosing is not None:
            self.action_choose_here()
        elif message.again:
            self.action_mark_menu()

    async def on_tab_bar_chosen(self, message: TabBar.Chosen) -> None:
        """A tab was touched."""
        if message.target.isdigit():
            self.action_place(int(message.target))
        else:
            await self.run_action(f"pane('{message.target}')")

    async def on_footer_bar_chosen(self, message: FooterBar.Chosen) -> None:
        """An entry of the footer was touched."""
        await self.run_action(message.action.run)

    def on_row_list_picked(self, message: RowList.Picked) -> None:
        """The cursor of a list moved, or the list was touched."""
        pane: state.Pane = message.pane  # type: ignore[assignment]
        if self.view is not None and self.view.choosing is None:
            # Where the cursor is by now: an older message must not pull it back.
            at = self._desk.query_one(f"#{pane}", RowList).highlighted
            index = message.index if at is None else at
            self.change(lambda view: replace(state.pick(view, pane, index), pane=pane))

    async def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Enter, or a touch, on a row of a list."""
        if isinstance(event.option_list, RowList):
            await self.action_key("enter")

    def close_store(self) -> None:
        """Let the case file go."""
        if self.store is not None:
            self.store.close()


def run_bench(
    case: Case,
    case_store: CaseStore | None = None,
    *,
    name: str = "",
    author: str = "",
    clock: Callable[[], str] = wall_clock,
    plain: bool | None = None,
) -> int:
    """Open the bench on ``case``; entries are written through to ``case_store``. The exit status."""
    app = BenchApp(
        Opened(case, case_store, name),
        author=author,
        clock=clock,
        plain=plain_terminal() if plain is None else plain,
    )
    return _finish(app)


def run(machine: str | None = None, report: str | None = None, case_name: str | None = None) -> int:
    """Open the bench as the command line asks; with nothing named, the person chooses first.

    Returns the exit status: 0 done, 1 when nothing could be opened or the program failed.
    """
    if not _has_terminal():
        sys.stderr.write(
            "matrixdoc: the bench needs a terminal; without one, use: matrixdoc diagnose MACHINE REPORT\n"
        )
        return WRONG_INPUT

    def opener() -> Opened | None:
        from matrixdoc.bench.opening import open_asked

        return open_asked(machine or None, report or None, case_name or None, wall_clock(), "")

    named = bool(machine or report or case_name)
    return _finish(BenchApp(opener=opener if named else None, plain=plain_terminal()))


def _has_terminal() -> bool:
    if os.environ.get("TEXTUAL_DRIVER"):
        return True
    streams = (sys.__stdin__, sys.__stdout__)
    return all(stream is not None and stream.isatty() for stream in streams)


def _finish(app: BenchApp) -> int:
    try:
        status = app.run()
    finally:
        app.close_store()
    if app.return_code:
        path = getattr(getattr(app.store, "file", app.store), "path", None)
        kept = f" The case is kept in {path}." if path else ""
        sys.stderr.write(f"matrixdoc: the bench stopped by a fault of its own.{kept}\n")
        return WRONG_INPUT
    return status if status is not None else DONE
