"""A cause in full, and the window in which a repair is noted."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.content import Content
from textual.widget import Widget
from textual.widgets import OptionList, SelectionList, Static
from textual.widgets.selection_list import Selection

from matrixdoc.bench.dialogs import Dialog, block, general_cautions, options_of
from matrixdoc.bench.panes import StraightList
from matrixdoc.bench.signs import clean, percent
from matrixdoc.bench.state import View
from matrixdoc.checks.wording import part_words
from matrixdoc.diagnosis.results import Cause, FaultName, Reason

REPAIR_ACTIONS = {
    "clean": "cleaned or adjusted it",
    "reseat": "reseated it (plug off and on, part in its socket)",
    "swap": "swapped it with one known to be good",
    "replace": "replaced it",
    "repair": "repaired it (soldered, rewired, freed)",
}
MOST_PARTS = 40


def suggested_action(cause: Cause) -> str:
    """What the repair of this cause most likely is."""
    words = cause.repair.casefold()
    found = [(words.find(action), action) for action in REPAIR_ACTIONS if action in words]
    return min(found)[1] if found else "repair"


def repair_parts(cause: Cause) -> tuple[FaultName, ...]:
    """The parts that a repair of this cause may be about, the most probable first, each once."""
    found: dict[str, FaultName] = {}
    for faults, _ in sorted(cause.members, key=lambda m: -m[1]):
        for fault in faults:
            found.setdefault(fault.part, fault)
    for fault in cause.faults:
        found.setdefault(fault.part, fault)
    return tuple(found.values())[:MOST_PARTS]


def fault_words(view: View, fault: FaultName) -> str:
    """A fault as a person finds it: part, mode, place."""
    wiring = view.case.wiring
    part = wiring.parts.get(fault.part)
    name = fault.title or (part_words(part) if part is not None else fault.part)
    place_key = fault.place or (part.place if part is not None else "")
    place = wiring.places.get(place_key)
    where = place.title if place is not None else place_key
    return clean(f"{name}: {fault.mode}" + (f" ({where})" if where else ""), 200)


def _reasons(reasons: Sequence[Reason]) -> list[str]:
    return [f"{reason.bits:+.1f} bits  {reason.words}" for reason in reasons[:12]]


class CauseDialog(Dialog[str | None]):
    """For and against, members, where it is. Answers "repair" when that is asked for."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("r", "repair", "repair", show=False),
        Binding("enter", "close", "close", show=False),
        Binding("up", "scroll_body(-1)", show=False),
        Binding("down", "scroll_body(1)", show=False),
        Binding("pageup", "scroll_body(-8)", show=False),
        Binding("pagedown", "scroll_body(8)", show=False),
    ]
    keys_line = "r: I mended it · Up, Down: read on · Enter or Esc: close"

    def __init__(self, view: View, cause: Cause) -> None:
        super().__init__(classes="cause")
        self.view = view
        self.cause = cause
        self.heading = f"{percent(cause.probability)} · {clean(cause.title, 300)}"

    def body(self) -> Iterable[Widget]:
        """Caution, repair, members, evidence."""
        cause, view = self.cause, self.view
        if cause.caution:
            yield Static(Content(f"!! {clean(cause.caution)}"), classes="caution")
        yield Static(block("Repair", (cause.repair,)))
        if len(cause.members) > 1:
            lines = [
                f"{percent(share):>5}  " + " and ".join(fault_words(view, f) for f in faults)
                for faults, share in cause.members[:MOST_PARTS]
            ]
            yield Static(block("One of these; no check at hand tells them apart", lines))
        else:
            yield Static(block("What and where", [fault_words(view, f) for f in cause.faults]))
        references = {f.part for f in cause.faults}
        yield Static(block("Part", sorted(references), "$bench-dim"))
        yield Static(block("Speaks for it", _reasons(cause.for_)))
        yield Static(block("Speaks against it", _reasons(cause.against)))
        yield Static(block("Always", general_cautions(view), "$bench-dim"))

    def action_repair(self) -> None:
        """Go on to note the repair."""
        self.dismiss("repair")

    def action_scroll_body(self, lines: int) -> None:
        """Read on."""
        self.query_one("#body").scroll_relative(y=lines, animate=False)


Repair = tuple[tuple[str, ...], str]
"""Parts and what was done to them."""


class StraightSelection(SelectionList[str], StraightList):
    """Parts to choose from; the ends of the list are ends."""


class RepairDialog(Dialog[Repair | None]):
    """What was mended, and how."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("tab", "turn", show=False)]
    heading = "What did you mend?"
    keys_line = "Up, Down, Space: parts · Tab: parts or action · Enter on the action: note it · Esc: close"

    def __init__(self, view: View, cause: Cause) -> None:
        super().__init__(classes="repair")
        self.view = view
        self.cause = cause
        self.parts = tuple(f for f in repair_parts(cause) if view.case.can_be_mended(f.part))

    def controls(self) -> Iterable[Widget]:
        """Parts above, actions below; the likely ones are chosen already."""
        first = {f.part for f in self.cause.faults}
        yield StraightSelection(
            *[Selection(self._row(f, chosen=f.part in first), f.part, f.part in first) for f in self.parts]
        )
        yield Static(Content("What did you do?"), classes="ask")
        yield StraightList(
            *options_of([(k, Content(f" {k:<8} I {w}")) for k, w in REPAIR_ACTIONS.items()]),
            markup=False,
            id="action",
        )
        yield Static("", id="refused", markup=False)

    def _row(self, fault: FaultName, *, chosen: bool) -> Content:
        """A part with a word for its state: the box tells it by colour alone."""
        return Content(f"{'mended' if chosen else 'left  '} {fault_words(self.view, fault)}")

    def on_selection_list_selected_changed(self, event: SelectionList.SelectedChanged[str]) -> None:
        """Say in words which parts are chosen now."""
        listing = event.selection_list
        for index, fault in enumerate(self.parts):
            row = self._row(fault, chosen=fault.part in listing.selected)
            listing.replace_option_prompt_at_index(index, row)

    @property
    def _action(self) -> OptionList:
        return self.query_one("#action", OptionList)

    def on_mount(self) -> None:
        """The likely action is one key away."""
        self.set_focus(self._action)
        self._action.highlighted = list(REPAIR_ACTIONS).index(suggested_action(self.cause))

    def action_turn(self) -> None:
        """From the parts to the action, and back."""
        parts = self.query_one(SelectionList)
        (self._action if parts.has_focus else parts).focus()

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """The action was chosen: the repair is complete if a part is."""
        if event.option_list is not self._action:
            return
        event.stop()
        chosen = tuple(self.query_one(SelectionList).selected)
        if not chosen:
            self.query_one("#refused", Static).update(
                Content("choose at least one part: Tab, then Space on it")
            )
            return
        self.dismiss((chosen, event.option_id or "repair"))
