"""How a path is told: parts that belong together under one head, what repeats itself said once."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import groupby, pairwise

from matrixdoc.cli.text import WIDTH, safe, wrapped
from matrixdoc.definition.wiring import Part

_FIRST = re.compile(r"(?:[^,(]|\([^)]*\))*")
_LUGS = re.compile(r"from lug (\d+) \((.*)\) to lug (\d+) \((.*)\)")
_NUMBER = re.compile(r".*\D(?=\d+$)")
_NAMES = 28
"""Widest column of part names; a longer one has its line to itself."""


@dataclass(frozen=True, slots=True)
class Row:
    """One line: the parts it stands for, its pin or wire, its words, its places, how many it serves."""

    parts: tuple[Part, ...]
    where: str
    words: str
    serves: tuple[int, ...]

    @property
    def head(self) -> str:
        """What its parts belong to: their references without the last name."""
        return self.parts[0].reference.rpartition("/")[0]

    @property
    def last(self) -> str:
        """The last name of its first part."""
        return self.parts[0].reference.rpartition("/")[2]


def told(steps: Iterable[tuple[Part, int]]) -> list[str]:
    """The lines of a path. ``steps``: its parts in order, each with the number of devices it serves."""
    rows = [_row(part, serves) for part, serves in steps]
    lines: list[str] = []
    for group in _groups(rows):
        lines.extend(["", *_group(group)])
    return lines


def _row(part: Part, serves: int) -> Row:
    where = f"{part.connector}-{part.position}" if part.position is not None else part.connector
    return Row((part,), " ".join(filter(None, (where, part.colour))), part.title, (serves,))


def _groups(rows: Sequence[Row]) -> list[list[Row]]:
    """Rows of one head together; the feed wires from load to load make one group."""
    groups = [list(some) for _, some in groupby(rows, key=lambda row: row.head)]
    found: list[list[Row]] = []
    for group in groups:
        passing = len(group) == 1 and group[0].last == "feed"
        if passing and found and all(row.last == "feed" for row in found[-1]):
            found[-1].extend(group)
        else:
            found.append(group)
    return found


def _group(rows: list[Row]) -> list[str]:
    heads = {row.head for row in rows}
    passing = len(heads) > 1
    name = _passing_name(rows) if passing else _owner([row.words for row in rows])
    shown = rows if passing else _folded([_without(row, name) for row in rows])
    counts = {count for row in shown for count in row.serves}
    places = {part.place for row in shown for part in row.parts}
    same_place = len(places) == 1
    same_count = len(counts) == 1
    shared = [next(iter(places)) if same_place else "", _serves(tuple(counts)) if same_count else ""]
    lines = [wrapped("; ".join(filter(None, (name or rows[0].head, *shared))), 0, 2)]
    names = [_names(row) for row in shown]
    width = min(max(len(safe(text)) for text in names), _NAMES)
    middle = max(len(row.where) for row in shown)
    for text, row in zip(names, shown, strict=True):
        own_place = "" if same_place else ", ".join(dict.fromkeys(p.place for p in row.parts if p.place))
        own_count = "" if same_count else _serves(row.serves)
        pieces = [row.words, *_extras(row)]
        if len(pieces) > 1 and pieces[1].startswith(f"{row.words} "):
            del pieces[0]
        words = "; ".join(filter(None, (*pieces, own_place, own_count)))
        ahead = f"  {safe(text):<{width}}  " + (f"{safe(row.where):<{middle}}  " if middle else "")
        if len(text) > width:
            lines.append(f"  {safe(text)}")
            ahead = " " * (width + 4) + ahead[len(text) + 4 :]
        lines.append(_hung(ahead, words))
    return lines


def _passing_name(rows: Sequence[Row]) -> str:
    """Feed wires of several loads: one runs on from the other, or each starts at the same place."""
    pairs = pairwise(row.parts[0] for row in rows)
    return "feed wires from lug to lug" if all(a.nets[-1] == b.nets[0] for a, b in pairs) else "feed wires"


def _hung(ahead: str, words: str) -> str:
    if len(ahead) > WIDTH - 24:
        return f"{ahead.rstrip()}\n{wrapped(words, 6)}"
    return ahead + wrapped(words, len(ahead)).lstrip()


def _names(row: Row) -> str:
    """References of the parts of a row: the first whole, of the others what differs."""
    first, *others = (part.reference for part in row.parts)
    if not others:
        return first
    if len(others) == 1:
        return f"{first}, {others[0].rpartition('/')[2]}"
    return f"{first} to {_NUMBER.sub('', others[-1])}"


def _serves(counts: tuple[int, ...]) -> str:
    low, high = min(counts), max(counts)
    if high < 2:
        return ""
    return f"serves {high}" if low == high else f"serves {counts[0]} to {counts[-1]}"


def _owner(titles: Sequence[str]) -> str:
    """The words that the titles of a group begin with: what the parts belong to.

    A title that begins otherwise than the first (a contact set between two coils) keeps all its words.
    """
    alike = [title for title in titles if title.partition(" ")[0] == titles[0].partition(" ")[0]]
    titles = alike if len(alike) > 1 else titles
    if len(titles) == 1:
        found = _FIRST.match(titles[0])
        return found[0].strip() if found and len(found[0]) < len(titles[0]) else ""
    first, *others = (title.split(" ") for title in titles)
    count = 0
    for count in range(len(first) + 1):
        same = [word.rstrip(",") for word in first[: count + 1]]
        if any([word.rstrip(",") for word in other[: count + 1]] != same for other in others):
            break
    words = " ".join(first[:count]).rstrip(",")
    if count == 1 and (own := _FIRST.match(titles[0])):
        return own[0].strip()  # "left" of a left flipper and a left button says nothing
    return words if words.count("(") == words.count(")") else ""


def _without(row: Row, owner: str) -> Row:
    words = row.words.removeprefix(owner).lstrip(" ,") if owner else row.words
    return replace(row, words=words or row.words)


def _folded(rows: Sequence[Row]) -> list[Row]:
    """Rows that are one thing to the eye made one: a pin and its joint, a bridge, wire from lug to lug."""
    found: list[Row] = []
    for row in rows:
        before = found[-1] if found else None
        joined = _joined(before, row) if before is not None else None
        if joined is None:
            found.append(row)
        else:
            found[-1] = joined
    return [_finished(row) for row in found]


def _joined(before: Row, row: Row) -> Row | None:
    one, two = before.parts[-1], row.parts[0]
    parts, serves = (*before.parts, *row.parts), (*before.serves, *row.serves)
    if {one.kind, two.kind} == {"joint", "pin"} and len(before.parts) == 1:
        if (one.connector, one.position) != (two.connector, two.position):
            return None
        pin, joint = (before, row) if one.kind == "pin" else (row, before)
        if "header" not in joint.last:
            return None
        return Row(parts, pin.where, f"{pin.words}, and the solder joint of its header", serves)
    if one.kind == two.kind == "rectifier":
        return Row(parts, before.where, before.words, serves)
    if _adjoin(one, two):
        return Row(parts, before.where, before.words, serves)
    return None


def _adjoin(one: Part, two: Part) -> bool:
    """Whether two stretches of wire from lug to lug follow each other in number.

    On the way along a branch numbers are left out; what is told as "segment2 to 4" leaves none out.
    """
    if not all("/segment" in part.reference and _LUGS.search(part.title) for part in (one, two)):
        return False
    numbers = [int(part.reference.rpartition("segment")[2]) for part in (one, two)]
    return abs(numbers[0] - numbers[1]) == 1


def _finished(row: Row) -> Row:
    if len(row.parts) < 2:
        return row
    if row.parts[0].kind == "rectifier":
        return replace(row, words=re.sub(r"^diode \d of", f"{len(row.parts)} diodes of", row.words))
    lugs = [found for part in row.parts if (found := _LUGS.search(part.title))]
    if len(lugs) < len(row.parts):
        return row
    # A path may run along the wire the other way: the lugs are told as the current meets them.
    ends = [[(one[1], one[2]), (one[3], one[4])] for one in lugs]
    if int(lugs[0][1]) > int(lugs[-1][1]):
        ends = [pair[::-1] for pair in ends]
    stops = [ends[0][0], *(pair[1] for pair in ends)]
    words = row.words.partition("from lug")[0].rstrip(" ,")
    way = ", ".join(f"{number} ({title})" for number, title in stops)
    return replace(row, words=f"{words}, from lug to lug: {way}")


def _extras(row: Row) -> list[str]:
    return extra_names(row.parts[0], row.words) if len(row.parts) == 1 else []


def extra_names(part: Part, words: str | None = None) -> list[str]:
    """Type and printed names of a part that ``words`` (its title) do not hold already."""
    told = part.title if words is None else words
    return [
        f"number {text}" if text.isdecimal() and text != part.type_name else text
        for text in dict.fromkeys((part.type_name, *part.aliases))
        if text and not re.search(rf"(?<!\w){re.escape(text)}(?!\w)", told)
    ]
