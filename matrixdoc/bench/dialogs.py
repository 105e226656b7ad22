"""Small windows over the bench: messages, help, the list of marks, a note."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import ClassVar, TypeVar

from textual import events
from textual.app import ComposeResult
from textual.await_complete import AwaitComplete
from textual.binding import Binding, BindingType
from textual.containers import Vertical, VerticalScroll
from textual.content import Content
from textual.css.query import NoMatches
from textual.screen import ModalScreen
from textual.widget import Widget
from textual.widgets import Input, OptionList, Static
from textual.widgets.option_list import Option

from matrixdoc.bench.actions import help_rows
from matrixdoc.bench.messages import DialogReady
from matrixdoc.bench.panes import StraightList
from matrixdoc.bench.places import Spot
from matrixdoc.bench.rows import hang
from matrixdoc.bench.signs import SIGNS, clean, meaning
from matrixdoc.bench.state import View

_T = TypeVar("_T")


def text_lines(text: str, most: int = 40) -> str:
    """Several lines from anywhere, each made safe to show."""
    lines = text.splitlines() or [""]
    shown = [clean(line, 600) for line in lines[:most]]
    if len(lines) > most:
        shown.append(f"... and {len(lines) - most} more lines")
    return "\n".join(shown)


LABEL, LINE = 9, 70
"""Columns of a label, and of a whole line, in a window."""


def block(heading: str, lines: Iterable[str], tone: str = "$foreground") -> Content:
    """Lines behind a label, or below it where the label is long; empty when there are none."""
    said = [clean(line) for line in lines if line]
    if not said:
        return Content("")
    short = len(heading) < LABEL
    front = Content.styled(heading.ljust(LABEL) if short else "  ", "bold $bench-head")
    inset = Content(" " * front.cell_length)
    made = [hang(front if i == 0 else inset, line, tone, LINE) for i, line in enumerate(said)]
    return Content("\n").join(made if short else [Content.styled(heading, "bold $bench-head"), *made])


def general_cautions(view: View) -> tuple[str, ...]:
    """What the diagnosis says about safety whatever is done; shown wherever work is described."""
    if view.diagnosis is None:
        return ()
    return tuple(c for c in view.diagnosis.cautions if c not in view.case.cautions())


class Dialog(ModalScreen[_T]):
    """A window with a heading, a body that scrolls, and a last line that names the keys."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "close", "close", show=False),
        Binding("q", "close", "close", show=False),
    ]
    heading = ""
    keys_line = "Esc or q: close"
    _answered = False

    def on_mount(self) -> None:
        """A field has the focus where there is one, else the list; then keys may come."""
        for kind in ("Input", "OptionList"):
            for widget in self.query(kind).results(Widget):
                if self.focused is None and widget.can_focus:
                    self.set_focus(widget)
        self.app.post_message(DialogReady(self))

    def dismiss(self, result: _T | None = None) -> AwaitComplete:
        """Give the answer, once: whatever comes while the window closes is ignored."""
        from matrixdoc.bench.core import BenchCore

        if self._answered or not self.is_active:
            return AwaitComplete()
        self._answered = True
        if isinstance(self.app, BenchCore):
            self.app.keyboard.closes(self)
        return super().dismiss(result)

    def compose(self) -> ComposeResult:
        """The frame with what :meth:`body` and :meth:`controls` give."""
        with Vertical(id="frame"):
            yield Static(Content(self.heading), id="heading")
            with VerticalScroll(id="body", can_focus=False):
                yield from self.body()
            yield from self.controls()
            yield Static(Content(self.keys_line), id="keys")

    def on_resize(self) -> None:
        """The body takes what the rest of the window leaves."""
        self.call_after_refresh(self._fit)

    def _fit(self) -> None:
        try:
            frame, body = self.query_one("#frame"), self.query_one("#body")
        except NoMatches:
            # Closed before it was ever drawn.
            return
        rest = sum(child.outer_size.height for child in frame.children if child is not body)
        body.styles.max_height = max(3, self.size.height - 2 - rest)

    def body(self) -> Iterable[Widget]:
        """What scrolls."""
        return ()

    def controls(self) -> Iterable[Widget]:
        """What stays below the body: fields and lists."""
        return ()

    def action_close(self) -> None:
        """Close without an answer."""
        self.dismiss(None)


class MessageDialog(Dialog[None]):
    """Something that the person must read: an error, an entry in full."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "close", "close", show=False),
        Binding("up", "scroll_body(-1)", show=False),
        Binding("down", "scroll_body(1)", show=False),
        Binding("pageup", "scroll_body(-8)", show=False),
        Binding("pagedown", "scroll_body(8)", show=False),
    ]
    keys_line = "Enter, Esc or q: close"

    def __init__(self, heading: str, content: Content | str, *, alarm: bool = False) -> None:
        super().__init__(classes="alarm" if alarm else "")
        self.heading = clean(heading, 100)
        self.content = Content(text_lines(content)) if isinstance(content, str) else content

    def body(self) -> Iterable[Widget]:
        """The message."""
        yield Static(self.content)

    def action_scroll_body(self, lines: int) -> None:
        """Scroll the message."""
        self.query_one("#body").scroll_relative(y=lines, animate=False)


class HelpDialog(MessageDialog):
    """Every key, those of the present place first; made from the action table."""

    def __init__(self, context: str) -> None:
        parts: list[tuple[str, str]] = []
        for title, keys, words in help_rows(context):
            if title:
                parts.append((f"{title}\n", "bold $bench-head"))
            else:
                parts.append((f"  {keys:<15} ", "bold $warning"))
                parts.append((f"{words}\n", "$foreground"))
        super().__init__("Keys", Content.assemble(*parts))


class MarkMenu(Dialog[str | None]):
    """All marks of a device as a list: for touch, and for who does not know the letters yet."""

    keys_line = "Enter: mark · or press the letter · Esc: close"

    def __init__(self, device: str, spot: Spot, *, plain: bool) -> None:
        super().__init__()
        kind = " (normally closed: reads at rest)" if spot.normally_closed else ""
        self.heading = f"{spot.words}{kind}: what did you see?"
        self.spot = spot
        self.signs = SIGNS[device]
        self.plain = plain

    def controls(self) -> Iterable[Widget]:
        """The marks."""
        yield StraightList(
            *[
                Option(
                    Content.assemble(
                        (f" {sign.letter} ", "bold"),
                        (f"{sign.plain if self.plain else sign.glyph} ", "bold"),
                        meaning(sign, normally_closed=self.spot.normally_closed),
                    ),
                    id=sign.key,
                )
                for sign in self.signs
            ],
            Option(Content.assemble((" x ", "bold"), "  take the mark off"), id="clear"),
            markup=False,
        )

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """A mark was chosen."""
        event.stop()
        self.dismiss(event.option_id)

    def key_x(self) -> None:
        """Take the mark off."""
        self.dismiss("clear")

    def on_key(self, event: events.Key) -> None:
        """A letter is the mark itself."""
        for sign in self.signs:
            if sign.letter == event.key:
                event.stop()
                self.dismiss(sign.key)


class NoteDialog(Dialog[str | None]):
    """Free words for the log."""

    heading = "Note for the log"
    keys_line = "Enter: note it · Esc: close. Smoke or a burning smell? Switch off first, then write it."

    def controls(self) -> Iterable[Widget]:
        """The field."""
        yield Input(placeholder="what should be remembered", max_length=2000)

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """The note is written."""
        event.stop()
        self.dismiss(event.value)


def options_of(rows: Sequence[tuple[str, Content]]) -> list[Option]:
    """Options from pairs of id and text."""
    return [Option(content, id=key) for key, content in rows]
