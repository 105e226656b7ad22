"""The bench: a Textual application around :mod:`matrixdoc.bench.state`.

Keys and touches become calls of pure functions; every new entry is written through before it is
shown; causes and checks are computed in one worker thread that only posts messages. Nothing heavy
is imported before the first paint.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterable
from dataclasses import replace
from datetime import datetime
from functools import partial
from pathlib import Path
from threading import Lock
from typing import TYPE_CHECKING, Any, ClassVar

from textual.app import App, SystemCommand
from textual.binding import Binding, BindingType
from textual.css.query import NoMatches
from textual.screen import Screen
from textual.widgets import OptionList
from textual.worker import get_current_worker

from matrixdoc.bench import state
from matrixdoc.bench.actions import ACTIONS, actions_in, key_words
from matrixdoc.bench.desk import Desk, context_of
from matrixdoc.bench.grid import DeviceGrid
from matrixdoc.bench.messages import Checked, Diagnosed, Failed, Found, Opening, Predicted
from matrixdoc.bench.opening import CaseStore, Opened
from matrixdoc.bench.palette import DAY, FALLBACK_VARIABLES, NIGHT, TURN
from matrixdoc.bench.panes import FooterBar, RowList, TabBar
from matrixdoc.bench.signs import clean
from matrixdoc.bench.state import BenchError, Stamp, View
from matrixdoc.definition.errors import MatrixdocError

if TYPE_CHECKING:
    from matrixdoc.bench.check_dialog import Answer
    from matrixdoc.case.case import Case
    from matrixdoc.checks.situation import Check
    from matrixdoc.diagnosis.results import RankedCheck

DONE, WRONG_INPUT = 0, 1
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


def wall_clock() -> str:
    """The time now, with its zone, to the second."""
    return datetime.now().astimezone().isoformat(timespec="seconds")


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


class BenchApp(App[int]):
    """The application. ``opener`` makes the case (in a worker) where ``opened`` does not give it."""

    TITLE = "matrixdoc"
    CSS_PATH = "bench.tcss"
    BINDINGS: ClassVar[list[BindingType]] = _bindings()
    ENABLE_COMMAND_PALETTE = True
    COMMAND_PALETTE_BINDING = "ctrl+p"

    def __init__(
        self,
        opened: Opened | None = None,
        opener: Callable[[], Opened | None] | None = None,
        *,
        author: str = "",
        clock: Callable[[], str] = wall_clock,
        plain: bool = False,
        folder: Path | None = None,
    ) -> None:
        super().__init__()
        self.view: View | None = None
        self.store: CaseStore | None = None
        self.case_name = ""
        self.author = author
        self.clock = clock
        self.plain = plain
        self.folder = folder
        self._given = opened
        self._opener = opener
        self._computing = Lock()
        self._desk = Desk()
        self._desk.plain = plain
        self.register_theme(NIGHT)
        self.register_theme(DAY)
        self.theme = "bench-night"

    def get_default_screen(self) -> Screen[None]:
        """The desk is all there is; dialogs lie on top of it."""
        return self._desk

    def get_theme_variable_defaults(self) -> dict[str, str]:
        """Colours for themes that know nothing of the bench."""
        return dict(FALLBACK_VARIABLES)

    # -- opening -----------------------------------------------------------------------------

    def on_mount(self) -> None:
        """Show the empty desk at once; read the machine afterwards."""
        self._desk.set_class(self.plain, "plain")
        self.call_after_refresh(self._begin)

    async def _begin(self) -> None:
        if self._given is not None:
            await self._adopt(self._given)
        elif self._opener is not None:
            self._open(self._opener)
        else:
            self._choose()

    def _open(self, opener: Callable[[], Opened | None]) -> None:
        self.run_worker(
            partial(self._work_open, opener),
            thread=True,
            exclusive=True,
            group="opening",
            exit_on_error=False,
        )

    def _work_open(self, opener: Callable[[], Opened | None]) -> None:
        try:
            opened = opener()
        except MatrixdocError as error:
            self.post_message(Failed("This cannot be opened", str(error), opening=True))
        except Exception as error:  # noqa: BLE001 - a thread's crash must reach the person, not vanish
            self.post_message(Failed("This cannot be opened", _fault_words(error), opening=True))
        else:
            self.post_message(Opening(opened))

    async def on_opening(self, message: Opening) -> None:
        """The worker is done: a case, or nothing was named."""
        if message.opened is None:
            self._choose()
        else:
            await self._adopt(message.opened)

    async def _adopt(self, opened: Opened) -> None:
        self.store = opened.store
        self.case_name = opened.name
        self.view = state.open_view(opened.case, opened.said)
        await self._desk.set_up(self.view, opened.name)
        for warning in opened.warnings:
            self.notify(clean(warning), severity="warning", markup=False, timeout=15)
        if opened.said:
            self.notify(clean(opened.said), markup=False, timeout=8)
        self._rank()

    def _choose(self) -> None:
        from matrixdoc.bench.chooser import Chooser
        from matrixdoc.bench.opening import Offer

        def chosen(offer: Offer | None) -> None:
            if offer is None:
                self.exit(DONE)
                return
            self._open(self._offer_opener(offer))

        chooser = Chooser()
        chooser.set_class(self.plain, "plain")
        self.push_screen(chooser, chosen)
        self.run_worker(self._work_offers, thread=True, group="opening", exit_on_error=False)

    def _offer_opener(self, offer: object) -> Callable[[], Opened | None]:
        from matrixdoc.bench import opening

        kind, key = getattr(offer, "kind", ""), getattr(offer, "key", "")
        if kind == "case":
            return lambda: opening.open_stored(Path(key))
        return lambda: opening.open_new(key, None, None, self.clock(), self.author, self.folder)

    def _work_offers(self) -> None:
        from matrixdoc.bench.opening import find_offers

        try:
            self.post_message(Found(find_offers(self.folder)))
        except Exception as error:  # noqa: BLE001 - see _work_open
            self.post_message(Failed("Cases and machines cannot be listed", _fault_words(error)))

    def on_found(self, message: Found) -> None:
        """Cases and machines were listed."""
        from matrixdoc.bench.chooser import Chooser

        if isinstance(self.screen, Chooser):
            self.screen.show(message.offers)

    # -- one way in for every change --------------------------------------------------------------

    @property
    def stamp(self) -> Stamp:
        """Now, and who."""
        return Stamp(self.clock(), self.author)

    def change(self, make: Callable[[View], View]) -> bool:
        """Take the state one step on. New entries are saved before they are shown.

        Returns whether it was done; if not, the person has been told why.
        """
        view = self.view
        if view is None:
            return False
        try:
            new = make(view)
        except BenchError as error:
            self.notify(clean(str(error)), severity="warning", markup=False)
            return False
        except MatrixdocError as error:
            self.complain("This cannot be noted", str(error))
            return False
        except Exception as error:  # noqa: BLE001 - the screen stays, and what was noted before is safe
            self.complain("This could not be done", _fault_words(error))
            return False
        saved = self._save(view.case, new.case)
        if saved is not new.case:
            self.view = state.open_again(view, saved)
            self._desk.show(self.view)
            self._rank()
            return False
        self.view = new
        if new.case is not view.case:
            # The cautions on the desk come first; only then is anything computed.
            self._desk.show(new)
            self._rank()
        else:
            self._desk.show(new)
        return True

    def _save(self, old: Case, new: Case) -> Case:
        """Write the new entries through; what could not be written is not part of the case."""
        if self.store is None or new is old:
            return new
        for entry in new.entries[len(old.entries) :]:
            try:
                self.store.append(entry)
            except (MatrixdocError, OSError) as error:
                self.complain(
                    "NOT SAVED",
                    f"{error}\nWhat you just noted is not in the case. Everything before it is safe.",
                )
                return replace(new, entries=new.entries[: entry.number - 1])
        return new

    def complain(self, heading: str, text: str) -> None:
        """An error, in a window, with what would be right."""
        from matrixdoc.bench.dialogs import MessageDialog

        self._push(MessageDialog(heading, text, alarm=True))

    def _push(self, screen: Screen[Any], callback: Callable[[object], None] | None = None) -> None:
        screen.set_class(self.plain, "plain")

        def closed(answer: object) -> None:
            if callback is not None:
                callback(answer)
            if self.view is not None:
                self._desk.show(self.view)

        self.push_screen(screen, closed)

    # -- computing -----------------------------------------------------------------------------

    def _rank(self) -> None:
        view = self.view
        if view is None:
            return
        if view.case.entries:
            self.view = state.with_busy(view, "working out causes")
            self._desk.show(self.view)
        self.run_worker(
            partial(self._work_rank, view.case),
            thread=True,
            exclusive=True,
            group="ranking",
            exit_on_error=False,
        )

    def _work_rank(self, case: Case) -> None:
        worker = get_current_worker()
        # One at a time: a replaced worker's thread runs on, and the engine keeps what it solved.
        with self._computing:
            if worker.is_cancelled:
                return
            try:
                self.post_message(Diagnosed(len(case.entries), case.diagnose()))
                if not worker.is_cancelled:
                    self.post_message(Checked(len(case.entries), case.checks() if case.entries else ()))
            except MatrixdocError as error:
                self.post_message(Failed("The causes cannot be worked out", str(error)))
            except Exception as error:  # noqa: BLE001 - see _work_open
                self.post_message(Failed("The causes cannot be worked out", _fault_words(error)))

    def on_diagnosed(self, message: Diagnosed) -> None:
        """Causes arrived."""
        if self.view is not None:
            self.view = state.with_diagnosis(self.view, message.diagnosis, message.entries)
            if self.view.busy:
                self.view = state.with_busy(self.view, "ranking checks")
            self._desk.show(self.view)

    def on_checked(self, message: Checked) -> None:
        """Checks arrived."""
        if self.view is not None:
            self.view = state.with_checks(self.view, message.ranked, message.entries)
            self._desk.show(self.view)

    def on_failed(self, message: Failed) -> None:
        """Something in a worker went wrong."""
        if self.view is not None:
            self.view = state.with_busy(self.view, "")
            self._desk.show(self.view)
        if not message.opening:
            self.complain(message.heading, message.text)
            return
        from matrixdoc.bench.dialogs import MessageDialog

        self._push(MessageDialog(message.heading, message.text, alarm=True), lambda _: self._choose())

    def _predict(self, check: Check) -> None:
        view = self.view
        if view is None:
            return
        suspects = [tuple((f.part, f.mode) for f in cause.faults) for cause in view.causes[:4]]
        self.run_worker(
            partial(self._work_predict, view.case, suspects, check),
            thread=True,
            exclusive=True,
            group="predicting",
            exit_on_error=False,
        )

    def _work_predict(self, case: Case, suspects: list[tuple[tuple[str, str], ...]], check: Check) -> None:
        from matrixdoc.bench.opening import predicted_outcomes

        with self._computing:
            if get_current_worker().is_cancelled:
                return
            try:
                outcomes, healthy = predicted_outcomes(case, suspects, check.situation, check.look)
            except Exception:  # noqa: BLE001 - the dialog works without these lines; nothing is lost
                return
        self.post_message(Predicted(check, outcomes, healthy))

    def on_predicted(self, message: Predicted) -> None:
        """What suspects would show arrived: offer it in the open check."""
        from matrixdoc.bench.check_dialog import CheckDialog

        for screen in self.screen_stack:
            if isinstance(screen, CheckDialog) and screen.check is message.check:
                screen.offer(message.outcomes, message.healthy)

    # -- keys --------------------------------------------------------------------------------

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

    def action_mark(self, key: str) -> None:
        """Mark what was seen under the cursor."""
        self.change(lambda view: state.mark(view, key, self.stamp))

    def action_clear_mark(self) -> None:
        """Take the mark under the cursor off."""
        self.change(lambda view: state.clear_mark(view, self.stamp))

    def action_pattern(self) -> None:
        """Turn what is commanded while lamps are looked at."""
        self.change(state.turn_pattern)

    def action_choose_here(self) -> None:
        """Add what is under the cursor to the choice, or drop it."""
        self.change(state.toggle)

    def action_finish(self) -> None:
        """The choice is complete."""
        self.change(lambda view: state.finish_choosing(view, self.stamp))

    def action_cancel(self) -> None:
        """Leave the choice."""
        self.change(state.cancel_choosing)

    def action_undo(self) -> None:
        """Take back the last act."""
        if self.change(lambda view: state.undo(view, self.stamp)):
            self._say()

    def action_redo(self) -> None:
        """Bring back what undo took."""
        if self.change(lambda view: state.redo(view, self.stamp)):
            self._say()

    def _say(self) -> None:
        if self.view is not None and self.view.said:
            self.notify(clean(self.view.said, 200), markup=False)

    def action_mark_menu(self) -> None:
        """All marks of the device under the cursor."""
        from matrixdoc.bench.dialogs import MarkMenu

        view = self.view
        if view is None or view.spot is None or view.place is None:
            return
        if not view.spot.fitted:
            self.notify(f"nothing is fitted at {view.spot.name}", severity="warning", markup=False)
            return

        def chosen(key: object) -> None:
            if key == "clear":
                self.action_clear_mark()
            elif isinstance(key, str):
                self.action_mark(key)

        self._push(MarkMenu(view.place.device, view.spot.words, plain=self.plain), chosen)

    def action_open_cause(self) -> None:
        """The cause under the cursor in full."""
        from matrixdoc.bench.cause_dialog import CauseDialog

        view = self.view
        if view is None or view.cause is None:
            return
        self._push(
            CauseDialog(view, view.cause), lambda answer: self.action_repair() if answer == "repair" else None
        )

    def action_repair(self) -> None:
        """Note that the cause under the cursor was mended."""
        from matrixdoc.bench.cause_dialog import RepairDialog

        view = self.view
        if view is None or view.cause is None:
            return

        def mended(answer: object) -> None:
            if isinstance(answer, tuple):
                parts, action = answer
                self._repaired(parts, action)

        self._push(RepairDialog(view, view.cause), mended)

    def _repaired(self, parts: tuple[str, ...], action: str) -> None:
        if self.change(lambda view: state.repair(view, parts, action, self.stamp)):
            self.action_prove()

    def action_prove(self) -> None:
        """Open the check that proves the last repair."""
        view = self.view
        if view is None:
            return
        proof = state.unproven_proof(view)
        if proof is None:
            self.notify("no repair waits for its proof", markup=False)
            return
        self._open_check(proof, None)

    def action_open_check(self) -> None:
        """The check under the cursor in full."""
        view = self.view
        if view is None:
            return
        index = view.check_index
        if state.unproven_proof(view) is not None:
            if index == 0:
                self.action_prove()
                return
            index -= 1
        if index < len(view.ranked):
            self._open_check(view.ranked[index].check, view.ranked[index])

    def _open_check(self, check: Check, ranked: RankedCheck | None) -> None:
        from matrixdoc.bench.check_dialog import Answer, CheckDialog

        view = self.view
        if view is None:
            return

        def answered(answer: object) -> None:
            if isinstance(answer, Answer):
                self._answered(check, answer)

        self._push(CheckDialog(view, check, ranked), answered)
        self._predict(check)

    def _answered(self, check: Check, answer: Answer) -> None:
        if answer.kind == "decline":
            if check.key == state.PROOF_KEY:
                self.notify("the repair stays unproven: v asks for the proof again", markup=False)
            else:
                self.change(lambda view: state.decline(view, check, self.stamp))
        elif answer.kind == "done":
            self._repaired(check.mends, check.action or "repair")
        elif answer.kind == "choose":
            self.change(lambda view: state.choose_for_check(view, check))
        elif self.change(
            lambda view: state.answer_check(view, check, answer.outcome, self.stamp, answer.words)
        ):
            self._say()

    def action_decline(self) -> None:
        """The check under the cursor cannot be done."""
        view = self.view
        if view is None:
            return
        index = view.check_index - (1 if state.unproven_proof(view) is not None else 0)
        if 0 <= index < len(view.ranked):
            check = view.ranked[index].check
            self.change(lambda one: state.decline(one, check, self.stamp))

    def action_open_entry(self) -> None:
        """The entry under the cursor in full."""
        from matrixdoc.bench.dialogs import MessageDialog
        from matrixdoc.bench.history import log_rows

        view = self.view
        if view is None:
            return
        rows = log_rows(view.case)
        if view.log_index < len(rows):
            row = rows[view.log_index]
            gone = "\n(taken back: it no longer counts)" if row.gone else ""
            self._push(MessageDialog(f"Entry {row.number} · {row.time}", f"{row.words}{gone}"))

    def action_take_back(self) -> None:
        """Take back the entry under the cursor."""
        self.change(lambda view: state.take_back(view, self.stamp))

    def action_note(self) -> None:
        """Write a note."""
        from matrixdoc.bench.dialogs import NoteDialog

        def written(text: object) -> None:
            if isinstance(text, str):
                self.change(lambda view: state.note(view, text, self.stamp))

        if self.view is not None:
            self._push(NoteDialog(), written)

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
        context = context_of(self.view)
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
            self.change(lambda view: replace(state.pick(view, pane, message.index), pane=pane))

    async def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Enter, or a touch, on a row of a list."""
        if isinstance(event.option_list, RowList):
            await self.action_key("enter")

    def close_store(self) -> None:
        """Let the case file go."""
        if self.store is not None:
            self.store.close()


def _fault_words(error: Exception) -> str:
    return (
        f"The program itself failed here ({type(error).__name__}: {error}).\n"
        "The case is kept as it is: everything noted before this is saved. You can go on."
    )


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
        print(
            "matrixdoc: the bench needs a terminal; without one, use: matrixdoc diagnose MACHINE REPORT",
            file=sys.stderr,
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
        print(f"matrixdoc: the bench stopped by a fault of its own.{kept}", file=sys.stderr)
        return WRONG_INPUT
    return status if status is not None else DONE
