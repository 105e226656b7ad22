"""What somebody saw to be so at the machine: marked on parts, cells and lines."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from typing import Protocol

from matrixdoc.definition.compile_builder import Builder, whole_number
from matrixdoc.definition.compile_flippers import flipper_name
from matrixdoc.definition.errors import near_miss, quoted
from matrixdoc.definition.references import cell_numbers, line_number
from matrixdoc.definition.wiring import Matrix

MOST_SUGGESTIONS = 10


class _Verifiable(Protocol):
    @property
    def verified(self) -> bool: ...


def mark_verified(builder: Builder) -> None:
    """Mark everything under the entries that say ``verified``, and under the listed references."""
    seen = [*_flagged(builder), *_listed(builder)]
    if not seen:
        return
    whole = frozenset(seen)
    for reference, part in builder.parts.items():
        if _within(reference, whole):
            builder.parts[reference] = replace(part, verified=True)
    for name, matrix in builder.matrices.items():
        builder.matrices[name] = _marked(matrix, whole)


def _within(reference: str, whole: frozenset[str]) -> bool:
    """Whether ``reference`` or something that it is part of is in ``whole``."""
    while reference:
        if reference in whole:
            return True
        reference = reference.rpartition("/")[0]
    return False


def _marked(matrix: Matrix, whole: frozenset[str]) -> Matrix:
    columns, rows = (
        tuple(replace(ln, verified=True) if _within(f"{matrix.name}/{ln.key}", whole) else ln for ln in lines)
        for lines in (matrix.columns, matrix.rows)
    )
    cells = tuple(replace(c, verified=True) if _within(c.reference, whole) else c for c in matrix.cells)
    return replace(matrix, columns=columns, rows=rows, cells=cells)


def _flagged(builder: Builder) -> Iterator[str]:
    form = builder.form
    for name, matrix in form.matrices.items():
        for letter, lines in (("C", matrix.columns), ("R", matrix.rows)):
            for key in _yes(lines):
                number = whole_number(key)
                found = number if number is not None else line_number(key, "C" if letter == "C" else "R")
                yield f"{name}/{letter}{found}"
        for key in _yes(matrix.cells):
            column, row = cell_numbers(key) or (0, 0)
            yield f"{name}/C{column}R{row}"
    groups: tuple[tuple[str, Mapping[str, _Verifiable]], ...] = (
        ("coil", form.coils),
        ("flash", form.flash_lamps),
        ("direct lamp", form.direct_lamps),
        ("direct switch", form.direct_switches),
        ("output", form.outputs),
        ("relay", form.relays),
        ("feed", form.feeds),
        ("supply", form.supplies),
        ("interlock", form.interlocks),
    )
    for root, entries in groups:
        for key in _yes(entries):
            yield f"{root}/{key}"
    for key in _yes(form.flippers):
        yield f"coil/{flipper_name(key)}"


def _yes(entries: Mapping[str, _Verifiable]) -> Iterable[str]:
    return (key for key, facts in entries.items() if facts.verified)


def _listed(builder: Builder) -> Iterator[str]:
    """The references under ``verified:``; one that names nothing is a problem."""
    if not builder.form.verified:
        return
    known = set(builder.parts)
    for reference in builder.parts:
        while "/" in reference:
            reference = reference.rpartition("/")[0]
            known.add(reference)
    wrong = 0
    for index, text in enumerate(builder.form.verified):
        if text in known and "/" in text:
            yield text
            continue
        if builder.of_unread(text):
            continue
        wrong += 1
        # Thousands of references are searched for the nearest one: not for every line of a wrong list.
        nearest = near_miss(text, known) if wrong <= MOST_SUGGESTIONS else ""
        expected = "the reference of a part, a cell or a line, such as switch/C3R5"
        builder.problem(("verified", index), quoted(text), expected, nearest)
