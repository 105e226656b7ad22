"""What a switch scan shows that it should not, by matrix and line."""

from __future__ import annotations

import re
from collections.abc import Sequence

from matrixdoc.case.wording import device_words, short_words
from matrixdoc.cli.grouping import together
from matrixdoc.cli.simulate_seen import SURE, Seen
from matrixdoc.definition.wiring import Wiring

References = frozenset[str]
Place = tuple[str, str, str]
_EMPTY = re.compile(r"(.*)/(C\d+)(R\d+)")
_MANY = 3
"""From so many switches of one line on, the line is told in their stead."""


def switch_lines(wiring: Wiring, seen: Sequence[Seen]) -> list[str]:
    """At rest, pressed one by one, held together; presses that differ in the same way share a line."""
    odd = [one for one in seen if one.look.kind == "reads" and one.differs]
    added: References = frozenset()
    missing: References = frozenset()
    lines: list[str] = []
    for one in odd:
        if not one.situation.held:
            added, missing = _difference(one)
            lines.extend(_resting(wiring, one, added, missing))
    groups: dict[tuple[str, str], list[str]] = {}
    together_held = []
    for one in odd:
        if len(one.situation.held) > 1:
            together_held.append(one)
        elif one.situation.held:
            more, less = _difference(one)
            words = _pressed(wiring, one, more - added, less - missing)
            if words:
                groups.setdefault((words, _chance(one)), []).append(one.situation.held[0])
    lines.extend(
        f"{words} when pressed{chance}: {together(wiring, held)}" for (words, chance), held in groups.items()
    )
    lines.extend(_held(one) for one in together_held)
    return lines


def _odd_set(one: Seen) -> References:
    return next((outcome for outcome in one.odd if isinstance(outcome, frozenset)), frozenset())


def _difference(one: Seen) -> tuple[References, References]:
    """What reads that should not, and what should and does not."""
    usual = one.usual if isinstance(one.usual, frozenset) else frozenset()
    now = _odd_set(one) if one.odd else usual
    return now - usual, usual - now


def _chance(one: Seen) -> str:
    return "" if one.chance >= SURE else f" (about {round(10 * one.chance) * 10 or 5} %)"


def _resting(wiring: Wiring, one: Seen, added: References, missing: References) -> list[str]:
    lines = []
    if added:
        lines.append(f"read with nothing pressed{_chance(one)}: {together(wiring, sorted(added))}")
    if missing:
        what = "normally closed, no longer read at rest"
        lines.append(f"{what}{_chance(one)}: {together(wiring, sorted(missing))}")
    return lines


def _pressed(wiring: Wiring, one: Seen, more: References, less: References) -> str:
    """How a press differs beyond what differs at rest, told relative to the pressed switch."""
    (own,) = one.situation.held
    others = _others(wiring, own, more)
    gone = less - {own}
    words = []
    if own in less:
        words.append(f"read {' and '.join(others)} instead of themselves" if others else "read nothing")
    elif others:
        words.append(f"also read {' and '.join(others)}")
    if gone:
        words.append(f"stop {short_words(gone)} from reading")
    if own in more and wiring.switches[own].normally_closed:
        words = ["still read"]
    return ", ".join(words)


def _others(wiring: Wiring, own: str, more: References) -> list[str]:
    """What else reads; many of one line in one word, so that the same at other places is told the same."""
    mine = _place(wiring, own)
    told: list[str] = []
    left = set(more)
    for axis, words in ((2, "row"), (1, "column")) if mine is not None else ():
        line = {r for r in wiring.switches if r != own and _beside(mine, _place(wiring, r), axis)}
        # A scan may show places where nothing is fitted, too.
        there = {r for r in left if _beside(mine, _place(wiring, r), axis)}
        if len(there) >= _MANY and 2 * len(there) > len(line):
            told.append(f"{'all' if there >= line else 'most'} others of their {words}")
            left -= there
    return [*told, *sorted({_relative(wiring, own, other) for other in left})]


def _beside(one: Place | None, two: Place | None, axis: int) -> bool:
    return one is not None and two is not None and one[0] == two[0] and one[axis] == two[axis]


def _relative(wiring: Wiring, own: str, other: str) -> str:
    """Another switch as the pressed one sees it: in its own column, in its own row, or by name."""
    mine, its = _place(wiring, own), _place(wiring, other)
    if mine is None or its is None or mine[0] != its[0]:
        return device_words(wiring, other)
    if mine[1] == its[1]:
        return f"row {its[2]} of their column"
    if mine[2] == its[2]:
        return f"column {its[1]} of their row"
    return device_words(wiring, other)


def _place(wiring: Wiring, reference: str) -> Place | None:
    """Matrix, column and row of a switch, or of a place where none is fitted; None outside a matrix."""
    if reference in wiring.switches:
        matrix = wiring.matrices.get(wiring.switches[reference].matrix)
        contact = wiring.switches[reference].contact
        cells = matrix.cells if matrix is not None else ()
        return next(((matrix.name, c.column, c.row) for c in cells if matrix and c.element == contact), None)
    match = _EMPTY.fullmatch(reference)
    return (match[1], match[2], match[3]) if match is not None and match[1] in wiring.matrices else None


def _held(one: Seen) -> str:
    added, missing = _difference(one)
    told = [
        f"reads {short_words(added)} too" if added else "",
        f"{short_words(missing)} goes missing" if missing else "",
    ]
    shown = ", and ".join(filter(None, told)) or "reads differently"
    return f"no single press shows it; hold {short_words(one.situation.held)} together{_chance(one)}: {shown}"
