"""What each event makes of the bench: pure functions from a :class:`View` to a new one.

Each returns the new view, or raises a :class:`MatrixdocError` with a message for the person. Times
come in from the edge. Nothing here imports a screen, and nothing here computes a diagnosis.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from matrixdoc.bench import history
from matrixdoc.bench.marks import (
    coil_finding,
    lamp_finding,
    locked_coils,
    resting_entry,
    resting_reads,
    same_question,
    switch_finding,
)
from matrixdoc.bench.places import Place, Spot
from matrixdoc.bench.proof import PROOF_KEY, is_sound, proof_check, unproven_proof
from matrixdoc.bench.signs import PATTERNS, meaning, sign_of
from matrixdoc.bench.view import (
    BenchError,
    Choosing,
    Pane,
    Stamp,
    View,
    choosing_device,
    move,
    next_place,
    open_again,
    open_view,
    pick,
    put_cursor,
    show_pane,
    show_place,
    turn_pattern,
    with_busy,
    with_case,
    with_checks,
    with_diagnosis,
)
from matrixdoc.checks.situation import NOT_SURE, Check, Finding, Look, Outcome, Situation
from matrixdoc.checks.wording import seen_words, usual_resting

__all__ = [
    "PROOF_KEY",
    "BenchError",
    "Choosing",
    "Pane",
    "Stamp",
    "View",
    "answer_check",
    "cancel_choosing",
    "choose_for_check",
    "clear_mark",
    "decline",
    "finish_choosing",
    "mark",
    "move",
    "next_place",
    "note",
    "open_again",
    "open_view",
    "pick",
    "put_cursor",
    "redo",
    "repair",
    "show_pane",
    "show_place",
    "take_back",
    "toggle",
    "turn_pattern",
    "undo",
    "unproven_proof",
    "with_busy",
    "with_checks",
    "with_diagnosis",
]

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
    return with_case(view, case, f"{said}; noted as entry {len(case.entries)}")


def _drop_marks(view: View, spot: Spot, stamp: Stamp, *, resting: bool) -> View:
    """Before a mark on a switch: take back what older marks on it said, except the one that answers
    the same question (the ``resting`` scan, or the press), which the mark itself replaces.
    """
    case, one = view.case, spot.reference
    usual = usual_resting(case.wiring)
    entry = resting_entry(case)
    seen = resting_reads(case)
    if entry is not None and not resting and one in seen ^ usual:
        left = seen ^ {one}
        case = case.with_retraction(entry.number, time=stamp.time, author=stamp.author, text=history.REPLACED)
        if left != usual:
            scan = Finding(Situation(), Look("reads"), left)
            case = case.with_finding(scan, time=stamp.time, author=stamp.author)
    if resting:
        for older in same_question(case, Finding(Situation(held=(one,)), Look("reads"), NOT_SURE)):
            case = case.with_retraction(
                older.number, time=stamp.time, author=stamp.author, text=history.REPLACED
            )
    return view if case is view.case else with_case(view, case, view.said)


def _mark_switch(view: View, spot: Spot, key: str, stamp: Stamp, chosen: frozenset[str], said: str) -> View:
    resting = key == ("never" if spot.normally_closed else "always")
    view = _drop_marks(view, spot, stamp, resting=resting)
    return _record(view, switch_finding(view.case, spot, key, chosen), stamp, said)


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
    said = f"{spot.words}: {meaning(sign, normally_closed=spot.normally_closed)}"
    if place.device == "switch":
        if key == "others":
            chosen = resting_reads(view.case) | {spot.reference}
            return replace(view, choosing=Choosing("reads", spot, chosen), said="")
        return _mark_switch(view, spot, key, stamp, frozenset(), said)
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
    return with_case(view, case, f"{spot.words}: mark taken off")


def toggle(view: View) -> View:
    """While choosing: add the device under the cursor to the choice, or take it out."""
    if view.choosing is None or view.spot is None or view.place is None:
        return view
    if view.place.device != choosing_device(view.choosing):
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
    said = f"{spot.words}: reads {len(choosing.chosen)} in all"
    return _mark_switch(view, spot, "others", stamp, choosing.chosen, said)


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
    said = f"noted as entry {len(case.entries)}: {seen_words(case.wiring, finding)}"
    if check.key == PROOF_KEY:
        if outcome == NOT_SURE:
            said = "not sure is no proof: look again when you can"
        elif is_sound(view.case, finding):
            said = f"THE REPAIR IS PROVEN: {seen_words(case.wiring, finding)}"
        else:
            said = f"not cured: {seen_words(case.wiring, finding)}; the causes are ranked again"
    return with_case(view, case, said)


def decline(view: View, check: Check, stamp: Stamp) -> View:
    """The person cannot do this check: the others are ranked again without it."""
    case = view.case.with_decline(check.key, time=stamp.time, author=stamp.author, text=check.title)
    return with_case(view, case, f"left out: {check.title}")


def repair(view: View, parts: Sequence[str], action: str, stamp: Stamp) -> View:
    """Parts were mended.

    Raises:
        CaseError: no part was named, or one that the machine lacks.
    """
    proof = proof_check(view.case, parts, view.ranked)
    case = view.case.with_repair(parts, action, time=stamp.time, author=stamp.author)
    done = history.entry_words(case, case.entries[-1])
    return replace(with_case(view, case, f"{done}; now prove it"), proof=proof)


def note(view: View, text: str, stamp: Stamp) -> View:
    """Enter free words; words that begin with "override" say that one goes on under power.

    Raises:
        BenchError: there are none.
    """
    words = " ".join(text.split())
    if not words:
        raise BenchError("a note needs some words")
    first, _, rest = words.partition(" ")
    if first.casefold().rstrip(":") == "override":
        if not rest:
            raise BenchError("override wants words: who watches, and what stays off")
        case = view.case.with_override(rest[:2000], time=stamp.time, author=stamp.author)
        return with_case(view, case, "noted: going on under power")
    return with_case(view, view.case.with_note(words[:2000], time=stamp.time, author=stamp.author), "noted")


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
    return with_case(view, case, f"undone: {words}")


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
    return with_case(view, case, f"brought back: {words}")


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
    return with_case(view, case, f"taken back: {history.entry_words(case, entry)}")
