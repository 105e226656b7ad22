"""Devices that do the same told as one: whole matrices, lines, strings and feeds before single names."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from matrixdoc.case.feeds import feeds_of
from matrixdoc.case.wording import device_words
from matrixdoc.cli.text import safe
from matrixdoc.definition.wiring import Line, Matrix, Wiring

_NAMED = 4
"""Up to so many single devices are told with their names, more by their places alone."""
_FEW = 4
"""A matrix is told by what is left out of it from so many times as many devices as are left out."""
_LEAST_LINE = 2
_LEAST_BUT_ONE = 3
"""Devices of a line that must be there for the line to be told in their stead: all of it, all but one."""
_FEED, _FEW_FEEDS = "all of the ", 2
"""How a feed is told that is there as a whole; up to so many of them with the names of their coils."""


def together(wiring: Wiring, references: Iterable[str]) -> str:
    """``row R2 but C3R2; switch C1R1 (start)``: the devices in as few words as they allow."""
    left = list(dict.fromkeys(references))
    told: list[str] = []
    for matrix in wiring.matrices.values():
        mine = [r for r in left if r in _cells(wiring, matrix)]
        left = [r for r in left if r not in mine]
        told.extend(_in_matrix(wiring, matrix, mine))
    coils = {r for r, coil in wiring.coils.items() if coil.drive}
    if len(coils) > _NAMED and coils <= set(left):
        left = [r for r in left if r not in coils]
        told.append(f"all {len(coils)} coils")
    there = set(left)
    whole = [one for one in _groups(wiring) if len(one[1]) >= _LEAST_LINE and there.issuperset(one[1])]
    for words, members in whole:
        left = [r for r in left if r not in members]
        feed = words.startswith(_FEED)
        told.append(f"{words}: {_listed(wiring, members)}" if feed and len(whole) <= _FEW_FEEDS else words)
    told.extend(_singly(wiring, left))
    return safe("; ".join(told))


def _cells(wiring: Wiring, matrix: Matrix) -> dict[str, tuple[str, str]]:
    """Device reference -> its column and row."""
    owners = {s.contact: r for r, s in wiring.switches.items()}
    owners |= {lamp.element: r for r, lamp in wiring.lamps.items()}
    owners |= {coil.element: r for r, coil in wiring.coils.items()}
    return {owners[c.element]: (c.column, c.row) for c in matrix.cells if c.element in owners}


def _in_matrix(wiring: Wiring, matrix: Matrix, mine: Sequence[str]) -> list[str]:
    places = _cells(wiring, matrix)
    if mine and len(mine) == len(places) > _LEAST_LINE:
        return [f"all {len(mine)} of the {matrix.name} matrix"]
    missed = [r for r in places if r not in mine]
    if mine and _FEW * len(missed) <= len(mine):
        return [f"all of the {matrix.name} matrix but {'; '.join(_in_matrix(wiring, matrix, missed))}"]
    told: list[str] = []
    left = list(mine)
    for missing in (0, 1):
        for line in (*matrix.columns, *matrix.rows):
            own = [r for r, at in places.items() if line.key in at]
            there = [r for r in own if r in left]
            least = _LEAST_LINE if missing == 0 else _LEAST_BUT_ONE
            if len(there) >= least and len(own) - len(there) == missing:
                left = [r for r in left if r not in there]
                told.append(_line_words(matrix, line, [r for r in own if r not in there], len(there)))
    return [*told, *_singly(wiring, left)]


def _line_words(matrix: Matrix, line: Line, without: Sequence[str], count: int) -> str:
    axis = "column" if line.key.startswith("C") else "row"
    but = f" but {without[0].rpartition('/')[2]}" if without else ""
    whole = f"all {count}" if count > _LEAST_LINE else "both"
    return f"{matrix.name} {axis} {line.key}{but or f' ({whole})'}"


def _groups(wiring: Wiring) -> list[tuple[str, Sequence[str]]]:
    """Whole illumination strings and feeds, with their words."""
    strings: dict[str, list[str]] = {}
    for reference, lamp in wiring.lamps.items():
        if lamp.always_on:
            strings.setdefault(reference.rpartition("/")[0], []).append(reference)
    found: list[tuple[str, Sequence[str]]] = [
        (f"{stem.replace('/', ' ')} (all {len(lamps)} lamps)", lamps) for stem, lamps in strings.items()
    ]
    for feed in feeds_of(wiring).values():
        coils = feed.coils(wiring)
        found.append((f"{_FEED}{feed.title}", coils))
    return found


def _singly(wiring: Wiring, left: Sequence[str]) -> list[str]:
    return [_listed(wiring, left)] if left else []


def _listed(wiring: Wiring, references: Sequence[str]) -> str:
    if len(references) <= _NAMED:
        return ", ".join(device_words(wiring, r) for r in references)
    heads: dict[str, list[str]] = {}
    for reference in references:
        head, _, tail = reference.partition("/")
        heads.setdefault(head, []).append(tail or head)
    return "; ".join(f"{head} {', '.join(tails)}" for head, tails in heads.items())
