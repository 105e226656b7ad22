"""The running bench without its keys: it opens a case, saves every entry, computes in a worker.

Keys and touches become calls of pure functions; every new entry is written through before it is
shown; causes and checks are computed in one worker thread that only posts messages. Nothing heavy
is imported before the first paint.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from functools import partial
from pathlib import Path
from threading import Lock
from typing import TYPE_CHECKING, Any

from textual import events
from textual.app import App
from textual.screen import Screen
from textual.worker import get_current_worker

from matrixdoc.bench import state
from matrixdoc.bench.desk import Desk
from matrixdoc.bench.keyboard import Keyboard
from matrixdoc.bench.messages import Checked, Diagnosed, DialogReady, Failed, Found, Opening, Predicted
from matrixdoc.bench.opening import CaseStore, Opened
from matrixdoc.bench.palette import DAY, FALLBACK_VARIABLES, NIGHT, without_fonts
from matrixdoc.bench.signs import clean
from matrixdoc.bench.state import BenchError, Stamp, View
from matrixdoc.definition.errors import MatrixdocError

if TYPE_CHECKING:
    from matrixdoc.case.case import Case
    from matrixdoc.checks.situation import Check

DONE, WRONG_INPUT = 0, 1


def wall_clock() -> str:
    """The time now, with its zone, to the second."""
    return datetime.now().astimezone().isoformat(timespec="seconds")


class BenchCore(App[int]):
    """Opening, saving, computing. ``opener`` makes the case, in a worker, where ``opened`` does not."""

    TITLE = "matrixdoc"
    CSS_PATH = "bench.tcss"
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
        self._refused = False
        self.keyboard = Keyboard()
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

    def export_screenshot(self, *, title: str | None = None, simplify: bool = False) -> str:
        """The screen as SVG, with no link to a font outside."""
        return without_fonts(super().export_screenshot(title=title, simplify=simplify))

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
        self._refused = False
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

        def chosen(offer: object) -> None:
            if not isinstance(offer, Offer):
                self.exit(WRONG_INPUT if self._refused else DONE)
                return
            self._open(self._offer_opener(offer))

        self._push(Chooser(), chosen)
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
            self.keyboard.closed(screen)
            if callback is not None:
                callback(answer)
            if self.view is not None:
                self._desk.show(self.view)

        self.keyboard.opens(screen)
        self.push_screen(screen, closed)

    # -- keys, in order --------------------------------------------------------------------------

    async def on_event(self, event: events.Event) -> None:
        """Keys wait for a window that is opening; those for a window that is gone are dropped."""
        if isinstance(event, events.Key):
            screen = self.screen
            if event.is_forwarded:
                dropped = self.keyboard.late(event, screen)
            else:
                dropped = self.keyboard.closing is not None or self.keyboard.waits(event)
                if not dropped and screen is self._desk and await self.desk_key(event.key):
                    return
                self.keyboard.sends(event, screen)
            if dropped:
                return
        await super().on_event(event)

    async def desk_key(self, key: str) -> bool:
        """A key while no window is open, done at once; False leaves it to the widget in focus."""
        return not key

    async def on_dialog_ready(self, message: DialogReady) -> None:
        """A window can take keys: first those that waited for it."""
        for event in self.keyboard.ready(message.dialog):
            await self.on_event(event)

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
                self.post_message(Diagnosed(len(case.entries), case.first_causes()))
                if not worker.is_cancelled:
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

        self._refused = True
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


def _fault_words(error: Exception) -> str:
    return (
        f"The program itself failed here ({type(error).__name__}: {error}).\n"
        "The case is kept as it is: everything noted before this is saved. You can go on."
    )
