"""Causes, checks, log and the status lines as styled text, made from the state alone.

Everything that came from a file or a person passes through :func:`clean` and is never read as
markup. Styles name the theme's own colours, so they follow any theme.
"""

from __future__ import annotations

from collections.abc import Sequence

from rich.cells import cell_len, chop_cells
from textual.content import Content

from matrixdoc.bench import history
from matrixdoc.bench.signs import PATTERNS, RICH_GLYPHS, clean, minutes_words, percent
from matrixdoc.bench.state import View, unproven_proof
from matrixdoc.diagnosis.results import Cause, RankedCheck

STRONG = "bold $foreground"
TEXT = "$foreground"
DIM = "$bench-dim"
HEAD = "bold $bench-head"
AMBER = "bold $warning"


def _bar(share: float, *, plain: bool) -> str:
    """A probability as a bar of at most 8 marks; the number stands beside it."""
    mark = "#" if plain else "█"
    empty = "." if plain else "░"
    filled = max(0, min(8, round(share * 8)))
    return mark * filled + empty * (8 - filled)


def hang(front: Content, text: str, tone: str, width: int) -> Content:
    """``text`` behind ``front``, its further lines set in below its first."""
    inset = front.cell_length
    lines = wrap(text, max(12, width - inset)) or [""]
    return Content.assemble(front, (("\n" + " " * inset).join(lines), tone))


def wrap(text: str, width: int) -> list[str]:
    """``text`` in lines of at most ``width`` columns, broken between words; wide letters count two."""
    lines: list[str] = []
    line = ""
    for word in text.split():
        for piece in chop_cells(word, width) if cell_len(word) > width else [word]:
            longer = f"{line} {piece}" if line else piece
            if cell_len(longer) > width:
                lines.append(line)
                longer = piece
            line = longer
    return [*lines, line] if line else lines


def cause_row(cause: Cause, width: int, *, plain: bool, faint: bool = False) -> Content:
    """A cause in its list: rank, probability, title; a bar where there is room for it."""
    bar = _bar(cause.probability, plain=plain) + " " if width >= 60 else ""
    front = Content.assemble(
        (f"{cause.rank:>2} ", HEAD), (f"{percent(cause.probability):>5} ", STRONG), (bar, AMBER)
    )
    return hang(front, clean(cause.title), DIM if faint else (STRONG if cause.rank == 1 else TEXT), width)


def causes_footnote(view: View) -> str:
    """What the list of causes leaves over, in words."""
    diagnosis = view.diagnosis
    if diagnosis is None:
        return ""
    words = [
        f"nothing wrong {percent(diagnosis.healthy)}",
        f"outside the model {percent(diagnosis.outside_model)}",
    ]
    if diagnosis.discarded_mass > 1e-4:
        words.append(f"not searched at most {percent(diagnosis.discarded_mass)}")
    said = [" · ".join(words), *(f"contradiction: {clean(c)}" for c in diagnosis.contradictions)]
    return "\n".join(said)


def causes_empty(view: View) -> str:
    """What stands in place of the causes while there are none."""
    if not view.case.entries:
        return "Nothing noted yet. Mark what you saw on the grid: press g, move to the cell, press a letter."
    if view.stale:
        return "working out the causes ..."
    return "No cause stands out: what was noted fits a sound machine."


def check_row(ranked: RankedCheck, width: int, *, stale: bool) -> Content:
    """A check in its list: rank, minutes, power, title, the reason below."""
    check = ranked.check
    # The situation of an act is that of its proof: the work itself is done unplugged.
    live = check.situation.power and check.kind != "act"
    power = "power on" if live else "UNPLUGGED"
    front = Content.assemble(
        (f"{ranked.rank:>2} ", HEAD),
        (f"{minutes_words(ranked.minutes):>7} ", STRONG),
        (f"{power:<9} ", AMBER if power != "power on" else DIM),
    )
    row = hang(front, clean(check.title), DIM if stale else TEXT, width)
    if not ranked.reason:
        return row
    return Content.assemble(row, "\n", hang(Content(" " * 11), clean(ranked.reason), DIM, width))


def check_rows(view: View, width: int) -> list[Content]:
    """The rows of the list of checks: a proof that is still owed comes first."""
    stale = view.checked != len(view.case.entries)
    rows = [check_row(ranked, width, stale=stale) for ranked in view.ranked]
    proof = unproven_proof(view)
    if proof is not None:
        rows.insert(
            0, hang(Content.assemble((" v ", HEAD), ("PROVE IT ", AMBER)), clean(proof.title), STRONG, width)
        )
    return rows


def log_row(row: history.LogRow, width: int) -> Content:
    """An entry in the log."""
    day, _, clock = row.time.partition("T")
    when = f"{clock[:5] or day[:10]:>5} " if row.time else ""
    front = Content.assemble((f"{row.number:>3} ", DIM if row.gone else HEAD), (when, DIM))
    if row.gone:
        return hang(front, f"(taken back) {row.words}", DIM, width)
    return hang(front, row.words, {"repair": AMBER, "finding": TEXT}.get(row.kind, DIM), width)


def title_line(view: View | None, name: str, width: int) -> Content:
    """The first line: machine and case; what is being worked on."""
    if view is None:
        return Content.assemble((" matrixdoc ", HEAD), ("opening ...", DIM))
    machine = clean(view.case.wiring.title, 40)
    case = f" · {clean(name, 30)}" if name else ""
    busy = f" {view.busy} ..." if view.busy else ""
    entries = len(view.case.standing)
    state = busy or f" {entries} noted" if entries or busy else " nothing noted yet"
    left = Content.assemble((f" {machine}", STRONG), (case, DIM))
    right = Content.styled(f"{state} ", AMBER if busy else DIM)
    gap = max(1, width - left.cell_length - right.cell_length)
    return Content.assemble(left, " " * gap, right)


def tab_items(view: View, *, narrow: bool) -> list[tuple[str, str, bool]]:
    """The tabs: (words, target, shown). A target is a place's number or a pane's name."""
    items: list[tuple[str, str, bool]] = []
    for index, place in enumerate(view.places):
        shown = index == view.place_index and (view.pane == "place" or not narrow)
        items.append((f"{index + 1} {place.title}", str(index), shown))
    for letter, pane, words in (("c", "causes", "causes"), ("k", "checks", "checks"), ("h", "log", "log")):
        items.append((f"{letter} {words}", pane, view.pane == pane))
    return items


def legend(view: View) -> str:
    """What the sign on unmarked cells means, where the place has any that are normally closed."""
    if view.place is None or view.choosing is not None or view.pane != "place":
        return ""
    closed = any(spot.normally_closed for spot in view.place.spots.values())
    return f"{RICH_GLYPHS.closed} normally closed: reads" if closed else ""


def position_line(view: View) -> Content:
    """Where the cursor is and what was seen there, in words."""
    place, spot = view.place, view.spot
    if place is None or spot is None:
        return Content.styled("this machine has no devices", DIM)
    if view.choosing is not None:
        return _choosing_line(view)
    seen = view.seen.get(spot.reference)
    if not spot.fitted:
        words, tone = "nothing is fitted here", DIM
    elif seen is None:
        words, tone = "not marked", DIM
    else:
        words, tone = seen.words + (" (before the repair)" if seen.old else ""), AMBER
    parts = [(spot.name + " ", HEAD), (f"{spot.title}: " if spot.fitted else ": ", STRONG), (words, tone)]
    if spot.normally_closed:
        told = "" if seen is not None else ": reads at rest, opens when pressed"
        parts.append((f" · normally closed{told}", DIM))
    if place.device == "lamp":
        parts.append((f" · looking with {PATTERNS[view.pattern]} (p)", DIM))
    return Content.assemble(*parts)


def _choosing_line(view: View) -> Content:
    choosing = view.choosing
    if choosing is None or view.spot is None:
        return Content("")
    reads = choosing.purpose == "reads"
    here = "chosen" if view.spot.reference in choosing.chosen else "not chosen"
    parts = [
        ("Choose ALL that read" if reads else "Choose what WAS commanded", AMBER),
        (f" ({len(choosing.chosen)} so far) · ", DIM),
        (f"{view.spot.words}: {here}", STRONG),
    ]
    if choosing.spot is not None:
        parts.append((f" · for {choosing.spot.name}", DIM))
    return Content.assemble(*parts)


def around_line(view: View) -> Content:
    """Column and row of the cursor with their wires; how suspect the place is."""
    spot = view.spot
    if spot is None:
        return Content("")
    share = view.suspects.get(spot.reference, 0.0)
    words = f" · suspect {percent(share)}" if share >= 0.01 else ""
    return Content.assemble((spot.around, DIM), (words, AMBER))


def strip_lines(view: View, room: int, width: int, *, plain: bool) -> list[Content]:
    """The lines below the grid on a small screen: leading causes, then the next checks, one line each."""
    if not view.case.entries:
        return [Content.styled("Mark what you saw; causes and next checks appear here.", DIM)]
    following: list[Content] = []
    proof = unproven_proof(view)
    if proof is not None:
        following.append(Content.assemble(("NEXT  v ", AMBER), (clean(proof.title), STRONG)))
    for ranked in view.ranked:
        words = f"{clean(ranked.check.title, 200)} ({minutes_words(ranked.minutes)})"
        front = "NEXT  " if not following else "      "
        tone = DIM if view.stale else (STRONG if not following else TEXT)
        following.append(Content.assemble((front, AMBER), (words, tone)))
    if not following and view.busy:
        following.append(Content.styled(f"NEXT  {view.busy} ...", DIM))
    # Half and half where there is room; at least one of each.
    of_checks = min(len(following), max(1, room // 2)) if following else 0
    causes = [
        cause_row(c, 1000, plain=plain, faint=view.stale) for c in view.causes[: max(1, room - of_checks)]
    ]
    if not causes:
        causes = [Content.styled(causes_empty(view), DIM)]
    lines = [*causes, *following[: max(1, room - len(causes))]][:room]
    return [line.truncate(width, ellipsis=True) for line in lines]


def expected_lines(ranked: RankedCheck, causes: Sequence[Cause]) -> list[Content]:
    """What each leading suspect would show at a check."""
    by_rank = {cause.rank: cause for cause in causes}
    lines: list[Content] = []
    for expected in ranked.expected[:8]:
        cause = by_rank.get(expected.cause)
        name = clean(cause.title, 120) if cause is not None else "none of them"
        share = f", {percent(expected.share)}" if expected.share < 0.995 else ""
        lines.append(
            Content.assemble(
                (f" {expected.cause} ", HEAD) if cause is not None else ("   ", DIM),
                (clean(expected.words, 120), STRONG),
                (share, DIM),
                (f"  if {name}{f', {clean(expected.where, 120)}' if expected.where else ''}", DIM),
            )
        )
    return lines
