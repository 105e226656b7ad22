"""Undo, redo and the log: which entries count, and what a step back would take back.

Undo adds retractions, so nothing is ever lost. An entry that replaced an older one (a mark that
corrects a mark) is taken back together with the retraction of the older one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from matrixdoc.bench.signs import clean
from matrixdoc.checks.wording import net_words, part_words, seen_words

if TYPE_CHECKING:
    from matrixdoc.case.case import Case, Entry
    from matrixdoc.definition.wiring import Wiring

UNDO = "undo"
REDO = "redo"
REPLACED = "corrected by the next entry"
CLEARED = "mark taken off"

_BRIDGE = "bridge/"

DONE = {
    "clean": "cleaned",
    "reseat": "reseated",
    "swap": "swapped",
    "replace": "replaced",
    "repair": "repaired",
}


def taken_back(case: Case) -> frozenset[int]:
    """Numbers of the entries that a standing retraction takes back, retractions among them."""
    gone: set[int] = set()
    for entry in reversed(case.entries):
        if entry.kind == "retraction" and entry.number not in gone:
            gone.add(entry.target)
    return frozenset(gone)


def _is_step(entry: Entry) -> bool:
    return entry.kind == "retraction" and entry.text in (UNDO, REDO)


def undo_targets(case: Case, author: str = "") -> tuple[int, ...]:
    """What one undo takes back, newest first: the last own act that still counts, and with it the
    retractions that it made room with. Empty when there is nothing to undo.
    """
    gone = taken_back(case)
    acts = [e for e in case.entries if e.number not in gone and not _is_step(e)]
    own = [e for e in acts if e.author == author]
    if not own:
        return ()
    last = own[-1]
    targets = [last.number]
    if last.kind != "retraction":
        by_number = {e.number: e for e in acts}
        before = by_number.get(last.number - 1)
        while before is not None and before.kind == "retraction" and before.text == REPLACED:
            targets.append(before.number)
            before = by_number.get(before.number - 1)
    return tuple(targets)


def redo_targets(case: Case, author: str = "") -> tuple[int, ...]:
    """The retractions that one redo takes back, oldest last; empty when nothing was undone since
    the last act.
    """
    gone = taken_back(case)
    undone: list[Entry] = []
    for entry in reversed(case.entries):
        if entry.kind == "retraction" and entry.text == REDO:
            continue
        if entry.kind == "retraction" and entry.text == UNDO:
            if entry.number not in gone and entry.author == author:
                undone.append(entry)
            continue
        break
    if not undone:
        return ()
    by_number = {e.number: e for e in case.entries}
    targets = [undone[0].number]
    # Undo takes back the act first, then the retractions before it, one entry each: the newest
    # of a chain is the retraction of the retraction furthest back.
    for older in undone[1:]:
        target = by_number[undone[len(targets) - 1].target]
        if target.kind == "retraction" and target.text == REPLACED and older.target == target.number + 1:
            targets.append(older.number)
        else:
            break
    return tuple(targets)


def _mended_words(wiring: Wiring, reference: str) -> str:
    """A part by its title; a bridge, which is no part of the definition, by what it joins."""
    part = wiring.parts.get(reference)
    if part is not None:
        return part_words(part)
    if reference.startswith(_BRIDGE) and "~" in reference:
        one, two = (net_words(wiring, net) for net in reference.removeprefix(_BRIDGE).split("~", 1))
        return f"bridge between {one} and {two}"
    return reference


def entry_words(case: Case, entry: Entry) -> str:
    """One entry as a line of the log."""
    wiring = case.wiring
    if entry.finding is not None:
        return clean(seen_words(wiring, entry.finding), 300)
    if entry.kind == "repair":
        names = ", ".join(_mended_words(wiring, part) for part in entry.parts)
        return clean(f"{DONE.get(entry.action, entry.action or 'mended')} {names}", 300)
    if entry.kind == "decline":
        return clean(f"can't do: {entry.text or entry.check_key}", 300)
    if entry.kind == "retraction":
        words = {UNDO: "undone", REDO: "undo of"}.get(entry.text, "taken back")
        return clean(f"{words}: entry {entry.target}", 300)
    if entry.kind == "override":
        return clean(f"going on under power: {entry.text}", 300)
    return clean(f"note: {entry.text}", 300)


@dataclass(frozen=True, slots=True)
class LogRow:
    """One line of the log."""

    number: int
    time: str
    words: str
    gone: bool
    kind: str


def log_rows(case: Case) -> tuple[LogRow, ...]:
    """The log, newest first; what was taken back is kept and says so."""
    gone = taken_back(case)
    return tuple(
        LogRow(e.number, clean(e.time, 25), entry_words(case, e), e.number in gone, e.kind)
        for e in reversed(case.entries)
    )
