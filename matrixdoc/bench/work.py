"""What a person does to the case at the bench: marks, checks, repairs, notes, and the windows for them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from matrixdoc.bench import state
from matrixdoc.bench.core import BenchCore
from matrixdoc.bench.signs import clean

if TYPE_CHECKING:
    from matrixdoc.bench.check_dialog import Answer
    from matrixdoc.checks.situation import Check
    from matrixdoc.diagnosis.results import RankedCheck


class BenchWork(BenchCore):
    """The actions that change the case or open a part of it in full."""

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

        self._push(MarkMenu(view.place.device, view.spot, plain=self.plain), chosen)

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
