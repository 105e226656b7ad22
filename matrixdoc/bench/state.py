"""The whole state of the bench as one immutable value, and what each event makes of it.

Screens hold nothing of their own: an event goes through one of the functions below, which gives a
new :class:`View` (or raises a :class:`MatrixdocError` with a message for the person), and the
screen is drawn from that. Times come in from the edge. Nothing here imports a screen, and nothing
here computes a diagnosis.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Literal

from matrixdoc.bench import history
from matrixdoc.bench.marks import (
    Seen,
    coil_finding,
    lamp_finding,
    locked_coils,
    resting_entry,
    resting_reads,
    same_question,
    seen_on,
    switch_finding,
    usual_resting,
)
from matrixdoc.bench.places import Owners, Place, Position, Spot, owners_of, places_of
from matrixdoc.bench.signs import PATTERNS, sign_of
from matrixdoc.checks.situation import ALL_LAMPS, NOT_SURE, Check, Finding, Look, Outcome, Situation
from matrixdoc.checks.wording import finding_words, look_words, situation_words
from matrixdoc.definition.errors import MatrixdocError

if TYPE_CHECKING:
    from matrixdoc.case.case import Case, Entry
    from matrixdoc.diagnosis.results import Cause, Diagnosis, RankedCheck

Pane = Literal["place", "causes", "checks", "log"]
PROOF_KEY = "proof"
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
    return _with_case(view, case, "not saved")


def _first_fitted(place: Place) -> Position:
    fitted = sorted((r, c) for (c, r), spot in place.spots.items() if spot.fitted)
    return (fitted[0][1], fitted[0][0]) if fitted else (0, 0)


def _with_case(view: View, case: Case, said: str) -> View:
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
    if view.choosing is not None and view.places[index].device != _choosing_device(view.choosing):
        return view
    return replace(view, place_index=index, pane="place")


def _choosing_device(choosing: Choosing) -> str:
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


# -- marking -------------------------------------------------------------------------------------


def _device_here(view: View) -> tuple[Place, Spot]:
    place, spot = view.place, view.spot
    if place is None or spot is None:
        raise BenchError("this machine has nothing to mark here")
    if not spot.fitted:
        raise BenchError(f"nothing is fitted at {spot.name}: move to a place with a device to mark it")
    return place, spot


def _record(view: View, finding: Finding, stamp: Stamp, said: str) -> View:
    """Enter a finding; what answered the same question before is corrected by it."""
    case = view.case
    older = same_question(case, finding)
    if older and older[-1].finding == finding:
        return replace(view, choosing=None, said=f"{said} (as before)")
    for entry in older:
        case = case.with_retraction(entry.number, time=stamp.time, author=stamp.author, text=history.REPLACED)
    case = case.with_finding(finding, time=stamp.time, author=stamp.author)
    return _with_case(view, case, f"{said}; noted as entry {len(case.entries)}")


def _drop_resting(view: View, spot: Spot, stamp: Stamp) -> View:
    """Before a mark that says a switch does not read at rest: take it out of the resting scan."""
    entry = resting_entry(view.case)
    resting = resting_reads(view.case)
    if entry is None or spot.normally_closed or spot.reference not in resting:
        return view
    left = resting - {spot.reference}
    case = view.case.with_retraction(
        entry.number, time=stamp.time, author=stamp.author, text=history.REPLACED
    )
    if left != usual_resting(case.wiring):
        case = case.with_finding(
            Finding(Situation(), Look("reads"), left), time=stamp.time, author=stamp.author
        )
    return _with_case(view, case, view.said)


def mark(view: View, key: str, stamp: Stamp) -> View:
    """Mark what was seen on the device under the cursor. "Reads others" and "lights uncommanded"
    begin a choice instead; see :func:`finish_choosing`.

    Raises:
        BenchError: there is no device here, or this device has no such mark.
    """
    place, spot = _device_here(view)
    try:
        sign = sign_of(place.device, key)
    except KeyError:
        raise BenchError(f"{key} is no mark for a {place.device}") from None
    if view.choosing is not None:
        return view
    said = f"{spot.words}: {sign.words}"
    if place.device == "switch":
        if key == "others":
            chosen = resting_reads(view.case) | {spot.reference}
            return replace(view, choosing=Choosing("reads", spot, chosen), said="")
        if key in ("never", "fine"):
            view = _drop_resting(view, spot, stamp)
        return _record(view, switch_finding(view.case, spot, key), stamp, said)
    if place.device == "lamp":
        if key == "stray":
            return replace(view, choosing=Choosing("commanded", spot, frozenset()), said="")
        said += f" ({PATTERNS[view.pattern]})"
        return _record(view, lamp_finding(spot, key, view.pattern), stamp, said)
    return _record(view, coil_finding(spot, key, locked_coils(view.case)), stamp, said)


def clear_mark(view: View, stamp: Stamp) -> View:
    """Take the mark under the cursor off: its entry is retracted.

    Raises:
        BenchError: there is no mark here.
    """
    _, spot = _device_here(view)
    seen = view.seen.get(spot.reference)
    if seen is None:
        raise BenchError(f"{spot.words} has no mark to take off")
    entry = view.case.entries[seen.number - 1]
    case = view.case.with_retraction(entry.number, time=stamp.time, author=stamp.author, text=history.CLEARED)
    found = entry.finding
    if found is not None and isinstance(found.outcome, frozenset) and not found.situation.held:
        # One finding about several devices: the others stay as they were.
        left = found.outcome - {spot.reference}
        usual = usual_resting(case.wiring) if found.look.kind == "reads" else frozenset()
        if left != usual:
            case = case.with_finding(replace(found, outcome=left), time=stamp.time, author=stamp.author)
    return _with_case(view, case, f"{spot.words}: mark taken off")


def toggle(view: View) -> View:
    """While choosing: add the device under the cursor to the choice, or take it out."""
    if view.choosing is None or view.spot is None or view.place is None:
        return view
    if view.place.device != _choosing_device(view.choosing):
        return view
    if view.choosing.purpose == "commanded" and not view.spot.fitted:
        return view
    reference = view.spot.reference
    if (
        view.choosing.purpose == "commanded"
        and view.choosing.spot
        and reference == view.choosing.spot.reference
    ):
        return replace(view, said="this is the lamp that lights uncommanded: choose what WAS commanded")
    return replace(view, choosing=replace(view.choosing, chosen=view.choosing.chosen ^ {reference}), said="")


def cancel_choosing(view: View) -> View:
    """Leave the choice; nothing is recorded."""
    return replace(view, choosing=None, said="nothing was noted") if view.choosing is not None else view


def finish_choosing(view: View, stamp: Stamp) -> View:
    """The choice is complete: enter it as a finding."""
    choosing = view.choosing
    if choosing is None:
        return view
    if choosing.check is not None:
        return answer_check(view, choosing.check, choosing.chosen, stamp)
    spot = choosing.spot
    if spot is None:
        return cancel_choosing(view)
    if choosing.purpose == "commanded":
        finding = lamp_finding(spot, "stray", "none", tuple(choosing.chosen))
        return _record(view, finding, stamp, f"{spot.words}: {sign_of('lamp', 'stray').words}")
    finding = switch_finding(view.case, spot, "others", choosing.chosen)
    return _record(view, finding, stamp, f"{spot.words}: reads {len(choosing.chosen)} in all")


def choose_for_check(view: View, check: Check) -> View:
    """Answer a scan check by choosing on the grid what reads."""
    start = resting_reads(view.case)
    held = check.situation.held
    index = next((i for i, p in enumerate(view.places) if held and held[0] in p.find), None)
    if index is None:
        index = next((i for i, p in enumerate(view.places) if p.device == "switch"), view.place_index)
    view = replace(view, place_index=index, pane="place")
    if held and held[0] in view.places[index].find:
        view = put_cursor(view, view.places[index].find[held[0]])
    return replace(view, choosing=Choosing("reads", None, start | set(held), check), said="")


# -- checks, repairs, notes, history -----------------------------------------------------------------


def answer_check(view: View, check: Check, outcome: Outcome, stamp: Stamp, words: str = "") -> View:
    """Enter the result of a check as a finding; ``words`` are the person's own."""
    finding = Finding(check.situation, check.look, outcome, words)
    case = view.case.with_finding(finding, time=stamp.time, author=stamp.author)
    said = f"noted as entry {len(case.entries)}: {finding_words(case.wiring, finding)}"
    if check.key == PROOF_KEY:
        if outcome == NOT_SURE:
            said = "not sure is no proof: look again when you can"
        elif is_sound(view.case, finding):
            said = f"THE REPAIR IS PROVEN: {finding_words(case.wiring, finding)}"
        else:
            said = f"not cured: {finding_words(case.wiring, finding)}; the causes are ranked again"
    return _with_case(view, case, said)


def decline(view: View, check: Check, stamp: Stamp) -> View:
    """The person cannot do this check: the others are ranked again without it."""
    case = view.case.with_decline(check.key, time=stamp.time, author=stamp.author, text=check.title)
    return _with_case(view, case, f"left out: {check.title}")


def repair(view: View, parts: Sequence[str], action: str, stamp: Stamp) -> View:
    """Parts were mended.

    Raises:
        CaseError: no part was named, or one that the machine lacks.
    """
    proof = proof_check(view.case, parts, view.ranked)
    case = view.case.with_repair(parts, action, time=stamp.time, author=stamp.author)
    done = history.entry_words(case, case.entries[-1])
    return replace(_with_case(view, case, f"{done}; now prove it"), proof=proof)


def note(view: View, text: str, stamp: Stamp) -> View:
    """Enter free words.

    Raises:
        BenchError: there are none.
    """
    words = " ".join(text.split())
    if not words:
        raise BenchError("a note needs some words")
    return _with_case(view, view.case.with_note(words[:2000], time=stamp.time, author=stamp.author), "noted")


def undo(view: View, stamp: Stamp) -> View:
    """Take back the last own act.

    Raises:
        BenchError: there is nothing to take back.
    """
    if view.choosing is not None:
        return cancel_choosing(view)
    targets = history.undo_targets(view.case, stamp.author)
    if not targets:
        raise BenchError("there is nothing to undo")
    case = view.case
    words = history.entry_words(case, case.entries[targets[0] - 1])
    for number in targets:
        case = case.with_retraction(number, time=stamp.time, author=stamp.author, text=history.UNDO)
    return _with_case(view, case, f"undone: {words}")


def redo(view: View, stamp: Stamp) -> View:
    """Bring back what the last undo took.

    Raises:
        BenchError: nothing was undone.
    """
    targets = history.redo_targets(view.case, stamp.author)
    if not targets:
        raise BenchError("there is nothing to bring back: redo works right after undo")
    case = view.case
    first = case.entries[targets[-1] - 1]
    words = history.entry_words(case, case.entries[first.target - 1])
    for number in targets:
        case = case.with_retraction(number, time=stamp.time, author=stamp.author, text=history.REDO)
    return _with_case(view, case, f"brought back: {words}")


def take_back(view: View, stamp: Stamp) -> View:
    """Take back the entry under the cursor of the log.

    Raises:
        BenchError: there is none, or it was taken back already.
    """
    entries = view.case.entries
    number = len(entries) - view.log_index
    if not 1 <= number <= len(entries):
        raise BenchError("the log is empty")
    entry = entries[number - 1]
    if number in history.taken_back(view.case) or entry.kind == "retraction":
        raise BenchError(f"entry {number} does not count any more: there is nothing to take back")
    case = view.case.with_retraction(number, time=stamp.time, author=stamp.author, text=history.CLEARED)
    return _with_case(view, case, f"taken back: {history.entry_words(case, entry)}")


def proof_check(case: Case, parts: Sequence[str], ranked: Sequence[RankedCheck]) -> Check | None:
    """The check that proves a repair of ``parts``: the look of the repair's own check where it was
    ranked, else the look that first showed the trouble; None on a case without findings.
    """
    for one in ranked:
        if one.check.kind == "act" and set(one.check.mends) & set(parts):
            return _proof(case, one.check.situation, one.check.look)
    complaint = _complaint(case)
    if complaint is None:
        return None
    return _proof(case, complaint.situation, complaint.look)


def _complaint(case: Case) -> Finding | None:
    found: list[Entry] = [e for e in case.standing if e.finding is not None]
    for entry in found:
        finding = entry.finding
        if finding is None or finding.look.kind in ("meter", "fuse"):
            continue
        if finding.outcome != NOT_SURE and not is_sound(case, finding):
            return finding
    return found[0].finding if found else None


def is_sound(case: Case, finding: Finding) -> bool:
    """Whether this is what a sound machine shows, as far as a person can tell without computing."""
    situation, look, outcome = finding.situation, finding.look, finding.outcome
    switches = case.wiring.switches
    if look.kind == "reads" and isinstance(outcome, frozenset):
        closed = {h for h in situation.held if h in switches and not switches[h].normally_closed}
        usual = usual_resting(case.wiring) - set(situation.held)
        return outcome - usual == closed
    if look.kind == "resting coils":
        return outcome == frozenset()
    if look.kind == "lamp":
        on = look.target in situation.lamps or ALL_LAMPS in situation.lamps
        lamp = case.wiring.lamps.get(look.target)
        return outcome == ("normal" if on or (lamp is not None and lamp.always_on) else "off")
    return outcome in ("fires", "good")


def _proof(case: Case, situation: Situation, look: Look) -> Check:
    what = f"{look_words(case.wiring, look)}; {situation_words(case.wiring, situation)}"
    return Check(
        title=f"prove the repair: {what}",
        kind="look",
        situation=situation,
        look=look,
        minutes=1.0,
        set_up=("put everything back first: fuses, connectors, lugs, panels that must be closed",),
        cautions=("be ready to switch off at once",),
        key=PROOF_KEY,
    )


def unproven_proof(view: View) -> Check | None:
    """The proof that the case still waits for; None when every repair is proven."""
    if not view.case.unproven():
        return None
    if view.proof is not None:
        return view.proof
    last = next((e for e in reversed(view.case.standing) if e.kind == "repair"), None)
    return proof_check(view.case, last.parts if last is not None else (), view.ranked)


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
