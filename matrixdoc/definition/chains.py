"""Daisy chains with branches: how they are written, and which wire leads to which place.

A chain is a list of names in wiring order. An entry that is itself a list is a branch: a wire of its own
that leaves at the place before it (at the beginning, where the list has none before it), while the chain
goes on from that place. As text a branch stands in parentheses: ``1 2 (5 6) 3``.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    ChainEntry: TypeAlias = "str | tuple[ChainEntry, ...]"
    Entries: TypeAlias = tuple[ChainEntry, ...]
else:  # pydantic reads this one: it knows no alias that names itself
    Entries = tuple

MOST_BRANCHING = 8
"""Branches that leave from branches; a harness hardly has two."""
BEGINNING = -1
_WORD = re.compile(r"[()]|[^\s,()]+")


@dataclass(frozen=True, slots=True)
class Link:
    """One place of a chain and the wire that leads to it.

    ``before`` is the position of the place that the wire comes from, ``BEGINNING`` for the connector or
    the end of the feed. ``path``: indexes in the nested list.
    """

    name: str
    before: int
    path: tuple[int, ...]


def links(chain: Entries) -> tuple[Link, ...]:
    """The places of a chain in the order in which they are written."""
    found: list[Link] = []
    _walk(chain, BEGINNING, (), found)
    return tuple(found)


def _walk(entries: Entries, before: int, path: tuple[int, ...], found: list[Link]) -> None:
    for index, entry in enumerate(entries):
        here = (*path, index)
        if isinstance(entry, str):
            found.append(Link(entry, before, here))
            before = len(found) - 1
        else:
            _walk(entry, before, here, found)


def chain_from_text(text: str) -> list[object]:
    """``1 2 (5 6) 3`` as nested lists.

    Raises:
        ValueError: a parenthesis without its partner, or too many in each other.
    """
    stack: list[list[object]] = [[]]
    for word in _WORD.findall(text):
        if word == "(":
            if len(stack) > MOST_BRANCHING:
                raise ValueError(f"at most {MOST_BRANCHING} branches that leave from each other")
            inner: list[object] = []
            stack[-1].append(inner)
            stack.append(inner)
        elif word != ")":
            stack[-1].append(word)
        elif len(stack) > 1:
            stack.pop()
        else:
            raise ValueError("a '(' before each ')': a branch stands in parentheses, such as 1 2 (5 6) 3")
    if len(stack) > 1:
        raise ValueError("a ')' for each '(': a branch stands in parentheses, such as 1 2 (5 6) 3")
    return stack[0]


def branched_text(names: Sequence[str], before: Sequence[int], between: str = " ") -> str:
    """Places with the position of the one before each, as text: ``1 2 (5 6) 3``.

    ``before`` runs as :func:`links` gives it. Of the wires that leave at one place the last written is
    the chain itself, the others are its branches.
    """
    onward: dict[int, list[int]] = {}
    for position, start in enumerate(before):
        onward.setdefault(start, []).append(position)

    def told(position: int) -> str:
        """The chain that begins at a place, to its end."""
        pieces = []
        while True:
            *branches, last = onward.get(position, [BEGINNING])
            pieces.append(" ".join((names[position], *(f"({told(branch)})" for branch in branches))))
            if last == BEGINNING:
                return between.join(pieces)
            position = last

    *branches, last = onward.get(BEGINNING, [BEGINNING])
    pieces = [f"({told(branch)})" for branch in branches]
    return between.join(pieces if last == BEGINNING else [*pieces, told(last)])


def straight(count: int) -> tuple[int, ...]:
    """Where the wire of each place comes from in a chain without branches."""
    return tuple(range(BEGINNING, count - 1))


def ends(before: Sequence[int]) -> tuple[int, ...]:
    """Positions of the places where a chain or a branch ends."""
    passed = set(before)
    return tuple(n for n in range(len(before)) if n not in passed)


def beyond(before: Sequence[int], start: int) -> frozenset[int]:
    """Positions of the place ``start`` and of all that its wire leads on to."""
    found = {start}
    for position in range(start + 1, len(before)):
        if before[position] in found:
            found.add(position)
    return frozenset(found)
