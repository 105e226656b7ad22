"""What the bench shows, as one immutable value; how it opens, turns and takes computed answers.

Screens hold nothing of their own: an event goes through a function here or in
:mod:`matrixdoc.bench.state`, which gives a new :class:`View`, and the screen is drawn from that.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Literal

from matrixdoc.bench.marks import Seen, seen_on
from matrixdoc.bench.places import Owners, Place, Position, Spot, owners_of, places_of
from matrixdoc.bench.signs import PATTERNS
from matrixdoc.checks.situation import Check
from matrixdoc.definition.errors import MatrixdocError

if TYPE_CHECKING:
    from matrixdoc.case.case import Case
    from matrixdoc.diagnosis.results import Cause, Diagnosis, RankedCheck

Pane = Literal["place", "causes", "checks", "log"]
PANES: tuple[Pane, ...] = ("place", "causes", "checks", "log")


class BenchError(MatrixdocError):
    """Something that cannot be done here; the message says what can."""


@dataclass(frozen=True, slots=True)
class Stamp:
    """When and by whom, as the edge says it."""

    time: str = ""
    author: str = ""


@dataclass(frozen=True, slots=True)
class Choosing:
    """Choosing several devices on a grid: what else reads, or which lamps were commanded.

    ``check`` is filled where the choice answers a check instead of a mark on ``spot``.
    """

    purpose: Literal["reads", "commanded"]
    spot: Spot | None
    chosen: frozenset[str]
    check: Check | None = None


@dataclass(frozen=True)
class View:
    """Everything that the bench shows."""

    case: Case
    places: tuple[Place, ...]
    owners: Owners
    place_index: int = 0
    pane: Pane = "place"
    cursors: tuple[Position, ...] = ()
    pattern: str = "itself"
    choosing: Choosing | None = None
    seen: Mapping[str, Seen] = field(default_factory=dict)
    diagnosis: Diagnosis | None = None
    diagnosed: int = -1
    ranked: tuple[RankedCheck, ...] = ()
    checked: int = -1
    suspects: Mapping[str, float] = field(default_factory=dict)
    suspect_lines: Mapping[tuple[str, str], float] = field(default_factory=dict)
    busy: str = ""
    said: str = ""
    cause_index: int = 0
    check_index: int = 0
    log_index: int = 0
    proof: Check | None = None

    @property
    def place(self) -> Place | None:
        """The place that is shown; None on a machine without any device."""
        return self.places[self.place_index] if self.places else None

    @property
    def cursor(self) -> Position:
        """Where the cursor is in the place that is shown."""
        return self.cursors[self.place_index] if self.cursors else (0, 0)

    @property
    def spot(self) -> Spot | None:
        """What is under the cursor."""
        return self.place.spot(self.cursor) if self.place is not None else None

    @property
    def stale(self) -> bool:
        """Whether the causes shown are older than the entries."""
        return bool(self.case.entries) and self.diagnosed != len(self.case.entries)

    @property
    def causes(self) -> tuple[Cause, ...]:
        """The causes last computed."""
        return self.diagnosis.causes if self.diagnosis is not None else ()

    @property
    def cause(self) -> Cause | None:
        """The cause under the cursor of its list."""
        return self.causes[self.cause_index] if self.cause_index < len(self.causes) else None


def open_view(case: Case, said: str = "") -> View:
    """The bench as it opens on ``case``."""
    places = places_of(case.wiring)
    starts = tuple(_first_fitted(place) for place in places)
    return View(case, places, owners_of(case.wiring), cursors=starts, seen=seen_on(case), said=said)


def open_again(view: View, case: Case) -> View:
    """The view after only a part of the new entries could be saved: it shows those and no more."""
    return with_case(view, case, "not saved")


def _first_fitted(place: Place) -> Position:
    fitted = sorted((r, c) for (c, r), spot in place.spots.items() if spot.fitted)
    return (fitted[0][1], fitted[0][0]) if fitted else (0, 0)


def with_case(view: View, case: Case, said: str) -> View:
    """The view with more entries; ``said`` tells the person what was done."""
    return replace(view, case=case, seen=seen_on(case), said=said, choosing=None, log_index=0)


# -- moving about --------------------------------------------------------------------------------


def move(view: View, columns: int, rows: int) -> View:
    """Move the cursor; it stops at the edges."""
    column, row = view.cursor
    return put_cursor(view, (column + columns, row + rows))


def put_cursor(view: View, position: Position) -> View:
    """Put the cursor at ``position``, or as near to it as the place allows."""
    place = view.place
    if place is None:
        return view
    column = max(0, min(position[0], place.columns - 1))
    row = max(0, min(position[1], place.rows - 1))
    cursors = list(view.cursors)
    cursors[view.place_index] = (column, row)
    return replace(view, cursors=tuple(cursors))


def show_place(view: View, index: int) -> View:
    """Show the place with this number (from 0); a number that is too large changes nothing."""
    if not 0 <= index < len(view.places):
        return view
    if view.choosing is not None and view.places[index].device != choosing_device(view.choosing):
        return view
    return replace(view, place_index=index, pane="place")


def choosing_device(choosing: Choosing) -> str:
    """The kind of device that this choice is about."""
    return "lamp" if choosing.purpose == "commanded" else "switch"


def show_pane(view: View, pane: Pane) -> View:
    """Turn to the place, the causes, the checks or the log."""
    if view.choosing is not None:
        return view
    return replace(view, pane=pane)


def next_place(view: View, step: int = 1) -> View:
    """Turn to the next place, or back to the first."""
    if not view.places:
        return view
    return show_place(view, (view.place_index + step) % len(view.places))


def pick(view: View, pane: Pane, index: int) -> View:
    """Put the cursor of a list on line ``index``."""
    if pane == "causes":
        return replace(view, cause_index=max(0, index))
    if pane == "checks":
        return replace(view, check_index=max(0, index))
    if pane == "log":
        return replace(view, log_index=max(0, index))
    return view


def turn_pattern(view: View) -> View:
    """Say which lamps are commanded while looking: the next of PATTERNS."""
    names = list(PATTERNS)
    pattern = names[(names.index(view.pattern) + 1) % len(names)]
    return replace(view, pattern=pattern, said=f"lamps are looked at with {PATTERNS[pattern]}")


# -- answers of the worker ---------------------------------------------------------------------------


def with_diagnosis(view: View, diagnosis: Diagnosis, entries: int) -> View:
    """The causes arrived; an answer about fewer entries than there are now is dropped."""
    if entries != len(view.case.entries):
        return view
    devices: dict[str, float] = {}
    lines: dict[tuple[str, str], float] = {}
    for (part, _), share in diagnosis.marginals.items():
        for device in view.owners.devices.get(part, ()):
            devices[device] = devices.get(device, 0.0) + share
        for line in view.owners.lines.get(part, ()):
            lines[line] = lines.get(line, 0.0) + share
    index = min(view.cause_index, max(0, len(diagnosis.causes) - 1))
    return replace(
        view,
        diagnosis=diagnosis,
        diagnosed=entries,
        suspects=devices,
        suspect_lines=lines,
        cause_index=index,
    )


def with_checks(view: View, ranked: Sequence[RankedCheck], entries: int) -> View:
    """The checks arrived; an answer about fewer entries than there are now is dropped."""
    if entries != len(view.case.entries):
        return view
    return replace(view, ranked=tuple(ranked), checked=entries, busy="", check_index=0)


def with_busy(view: View, words: str) -> View:
    """Say what is being worked on; empty when nothing is."""
    return replace(view, busy=words)
