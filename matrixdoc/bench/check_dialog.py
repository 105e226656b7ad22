"""A check in full: caution, set-up, leads, what each suspect would show; and its result."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import ClassVar, Literal

from textual import events
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Input, OptionList, Static

from matrixdoc.bench.answers import Choice, answer_hint, base_choices, parse_answer, with_predicted
from matrixdoc.bench.dialogs import Dialog, block, general_cautions, options_of, text_lines
from matrixdoc.bench.panes import StraightList
from matrixdoc.bench.rows import expected_lines
from matrixdoc.bench.signs import clean, minutes_words
from matrixdoc.bench.state import View
from matrixdoc.checks.situation import Check, Outcome
from matrixdoc.checks.wording import look_words, net_words, outcome_words, situation_words
from matrixdoc.definition.errors import InputError
from matrixdoc.diagnosis.results import RankedCheck


@dataclass(frozen=True, slots=True)
class Answer:
    """What came of an opened check: its outcome, "done" for a repair, "can't", or "choose" on the grid."""

    kind: Literal["outcome", "done", "decline", "choose"]
    outcome: Outcome = ""
    words: str = ""


class CheckDialog(Dialog[Answer | None]):
    """One check. ``ranked`` is empty for a proof, which no suspect is asked about."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("d", "decline", "can't", show=False),
        Binding("pageup", "scroll_body(-6)", show=False),
        Binding("pagedown", "scroll_body(6)", show=False),
    ]

    def __init__(self, view: View, check: Check, ranked: RankedCheck | None = None) -> None:
        super().__init__(classes="check")
        self.view = view
        self.check = check
        self.ranked = ranked
        self.choices: tuple[Choice, ...] = () if check.kind == "act" else base_choices(view, check)
        cost = ranked.minutes if ranked is not None else check.minutes
        # An act's situation is that of its proof look: the work itself is done unplugged.
        live = check.situation.power and check.kind != "act"
        power = "power on" if live else "power OFF and UNPLUGGED"
        self.heading = f"{clean(check.title, 300)} · {minutes_words(cost)} · {power}"
        keys = (
            "Enter: I did it · d: can't do it"
            if check.kind == "act"
            else "type it, Enter · or Down: list, there 1 to 9: choose, d: can't do it"
        )
        self.keys_line = f"{keys} · PgDn: read on · Esc: close"

    def body(self) -> Iterable[Widget]:
        """Caution first, then how to do it."""
        check, wiring = self.check, self.view.case.wiring
        cautions = [clean(c) for c in check.cautions]
        if cautions:
            yield Static(Content("\n".join(f"!! {c}" for c in cautions)), classes="caution")
        places = [wiring.places[p].title or p if p in wiring.places else p for p in check.places]
        situation = situation_words(wiring, check.situation)
        if check.kind == "act":
            yield Static(block("Work", ("power OFF and unplugged", *check.set_up)))
            then = f"everything back in place, then {situation}: {look_words(wiring, check.look)}"
            yield Static(block("Proof", (then,)))
        else:
            yield Static(block("Set up", (*check.set_up, situation)))
        if places:
            yield Static(block("Open", places))
        if check.look.kind == "meter":
            leads = (
                f"red on {net_words(wiring, check.look.red)}",
                f"black on {net_words(wiring, check.look.black)}",
            )
            yield Static(block("Leads", leads))
        if self.ranked is not None:
            lines = expected_lines(self.ranked, self.view.causes)
            if lines:
                yield Static(Content("\n").join([Content.styled("It shows", "bold $bench-head"), *lines]))
            yield Static(block("Why", (self.ranked.reason,), "$bench-dim"))
        yield Static("", id="healthy", markup=False)
        yield Static(block("Always", general_cautions(self.view), "$bench-dim"))

    def controls(self) -> Iterable[Widget]:
        """A field for what is typed, and the answers to choose from."""
        if self.check.kind != "act":
            yield Input(placeholder=f"result: {answer_hint(self.check)}", max_length=300)
        yield Static("", id="refused", markup=False)
        yield StraightList(*options_of(self._rows()), markup=False)

    def _rows(self) -> list[tuple[str, Content]]:
        rows = [
            (
                str(i),
                Content.assemble((f" {i + 1} ", "bold"), clean(c.words, 120), c.note),
            )
            for i, c in enumerate(self.choices)
        ]
        if self.check.kind == "act":
            rows.append(("done", Content(" I did it: note the repair, then prove it")))
        elif self.check.look.kind == "reads":
            rows.append(("choose", Content("   it reads others: choose them on the grid")))
        return rows

    def on_mount(self) -> None:
        """What was seen is typed, or chosen from the list; a repair has only the list."""
        if self.check.kind == "act":
            self.set_focus(self._list)
            self._list.highlighted = 0
        else:
            self.set_focus(self.query_one(Input))
            self._list.highlighted = None

    @property
    def _list(self) -> OptionList:
        return self.query_one(OptionList)

    def offer(self, predicted: Sequence[Outcome], healthy: Outcome | None) -> None:
        """What the suspects, and a sound machine, are predicted to show (from a worker)."""
        wiring = self.view.case.wiring
        if healthy is not None and self.check.kind != "act":
            words = outcome_words(wiring, self.check.look, healthy, self.check.situation.held)
            self.query_one("#healthy", Static).update(
                block("Sound", (f"{words}, on a machine without a fault",))
            )
        choices = with_predicted(wiring, self.check, self.choices, predicted) if self.choices else ()
        if choices != self.choices:
            at = self._list.highlighted
            self.choices = choices
            self._list.set_options(options_of(self._rows()))
            self._list.highlighted = at

    def on_key(self, event: events.Key) -> None:
        """Down leaves the field for the list, up on its first row goes back; in the list a number
        chooses an answer.
        """
        key = event.key
        if key == "down" and isinstance(self.focused, Input):
            event.stop()
            self.set_focus(self._list)
            self._list.highlighted = 0
        elif key == "up" and self.focused is self._list and not self._list.highlighted:
            event.stop()
            for field in self.query(Input):
                self.set_focus(field)
                self._list.highlighted = None
        elif key.isdigit() and self.focused is self._list and 0 < int(key) <= len(self.choices):
            event.stop()
            self._choose(str(int(key) - 1))

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """An answer was chosen."""
        event.stop()
        self._choose(event.option_id or "")

    def _choose(self, key: str) -> None:
        if key == "done":
            self.dismiss(Answer("done"))
        elif key == "choose":
            self.dismiss(Answer("choose"))
        elif key.isdigit() and int(key) < len(self.choices):
            choice = self.choices[int(key)]
            self.dismiss(Answer("outcome", choice.outcome))

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """A result was typed: it is taken, or what would be right is said below it."""
        event.stop()
        try:
            outcome = parse_answer(self.view, self.check, event.value)
        except InputError as error:
            self.query_one("#refused", Static).update(Content(text_lines(str(error), 4)))
            self.call_after_refresh(self._fit)
            return
        self.dismiss(Answer("outcome", outcome, event.value.strip()))

    def action_decline(self) -> None:
        """The person cannot do this."""
        self.dismiss(Answer("decline"))

    def action_scroll_body(self, lines: int) -> None:
        """Read on."""
        self.query_one("#body").scroll_relative(y=lines, animate=False)
