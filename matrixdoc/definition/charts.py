"""The chart of a matrix as a table: columns across, rows down, a name in every place.

:func:`chart_to_csv` writes it as the paper chart is laid out (RFC 4180)::

    switch,    ,        ,     ,      ,C1          ,C2
    title,     ,        ,     ,      ,left side   ,right side
    wire,      ,        ,     ,      ,GN-BN       ,GN-RD
    pin,       ,        ,     ,      ,S1-1        ,S1-2
    drive,     ,        ,     ,      ,Q1          ,Q2
    R1,  upper ,WH-BN   ,S2-1 ,U3    ,left lane   ,right lane
    R2,        ,WH-RD   ,S2-2 ,U3    ,            ,left bumper

with the heading ``title,wire,pin,drive`` above the facts of the rows, and only those lines of facts
that hold something. :func:`chart_from_csv` reads that back without loss, and reads the other habits
of charts too (:class:`Layout`).

A spreadsheet runs text that begins with ``=``, ``+``, ``-`` or ``@`` as a formula. Such text is
written with an apostrophe in front, which a spreadsheet takes as "this is text", and the apostrophe
is taken off again when the chart is read. Text that begins with apostrophes and then one of these
characters gets one more, so nothing is lost either way.

An empty place, or one that holds a single ``-``, has nothing fitted (a name that is a single ``-``
gets the apostrophe).
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import islice
from typing import Literal

from matrixdoc.definition.document import decode_text
from matrixdoc.definition.errors import HIDDEN, InputError, Problem, near_miss, quoted

Form = Literal["chart", "transposed", "list"]
Order = Literal["down the columns", "along the rows"]
Axis = Literal["column", "row"]

MOST_LINES = 32
MOST_CELL = 2_000
MOST_RECORDS = 2_000  # a list of the largest matrix, with room for blank lines
FACTS = ("title", "wire", "pin", "drive")

_TO_GUARD = re.compile(r"'*(?:[=+\-@\t\r\n＝＋－＠]|\s+-\s*\Z)")
_NUMBER = re.compile(r"(?P<word>column|col|row|c|r|)[ .]{,2}(?P<number>[0-9]{1,3})", re.IGNORECASE)
_INITIAL: Mapping[str, Axis | None] = {"c": "column", "r": "row", "": None}


@dataclass(frozen=True, slots=True)
class ChartLine:
    """A column or a row of a chart: its key (``C3``, ``R5``) and what the chart says beside it.

    ``wire`` is the colour as written, ``pin`` connector and position as written, ``drive`` the drive
    or sensing part. Text of blanks only counts as none.
    """

    key: str
    title: str = ""
    wire: str = ""
    pin: str = ""
    drive: str = ""

    def __post_init__(self) -> None:
        for name in FACTS:
            if not getattr(self, name).strip():
                object.__setattr__(self, name, "")


@dataclass(frozen=True)
class Chart:
    """One matrix on paper. ``cells`` maps (column index, row index), from 0, to the place's name.

    Places that are not in ``cells``, or whose name is blank, have nothing fitted.

    Raises:
        InputError: no lines or more than 32, a key that is no ``C`` or ``R`` with a number or is
            there twice, a cell outside, text that is too long or holds hidden characters.
    """

    name: str
    columns: tuple[ChartLine, ...]
    rows: tuple[ChartLine, ...]
    cells: Mapping[tuple[int, int], str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        object.__setattr__(self, "name", self.name if self.name.strip() else "")
        object.__setattr__(self, "cells", {at: name for at, name in self.cells.items() if name.strip()})
        problems = [
            Problem(self.name, 0, 0, path, found, expected) for path, found, expected in self._faults()
        ]
        if problems:
            raise InputError(problems)

    def _faults(self) -> Iterator[tuple[str, str, str]]:
        axes: tuple[tuple[Axis, tuple[ChartLine, ...]], ...] = (("column", self.columns), ("row", self.rows))
        for axis, lines in axes:
            letter = axis[0].upper()
            if not 1 <= len(lines) <= MOST_LINES:
                yield f"{axis}s", f"{len(lines)} {axis}s", f"1 to {MOST_LINES}"
            keys = [line.key for line in lines]
            for key in dict.fromkeys(keys):
                if not re.fullmatch(rf"{letter}(0|[1-9][0-9]{{0,2}})", key, re.ASCII):
                    yield f"{axis}s", f"the key {quoted(key)}", f"{letter} and a number, such as {letter}3"
                elif keys.count(key) > 1:
                    yield f"{axis}s", f"{key} twice", "each key once"
            for line in lines:
                yield from _text_faults(line.key, [line.title, line.wire, line.pin, line.drive])
        yield from _text_faults("name", [self.name])
        for (column, row), name in self.cells.items():
            if not (0 <= column < len(self.columns) and 0 <= row < len(self.rows)):
                yield "cells", f"a place at column {column}, row {row}", "a place inside the chart"
            else:
                yield from _text_faults(f"{self.columns[column].key}{self.rows[row].key}", [name])

    def transposed(self) -> Chart:
        """The same table with columns and rows exchanged; ``C3`` becomes ``R3`` and back."""
        columns = tuple(replace(line, key=f"C{line.key[1:]}") for line in self.rows)
        rows = tuple(replace(line, key=f"R{line.key[1:]}") for line in self.columns)
        return Chart(self.name, columns, rows, {(row, column): n for (column, row), n in self.cells.items()})


def _text_faults(path: str, texts: Sequence[str]) -> Iterator[tuple[str, str, str]]:
    for text in texts:
        hidden = HIDDEN.search(text)
        if hidden:
            yield path, f"a hidden character (U+{ord(hidden[0]):04X})", "plain text"
        if len(text) > MOST_CELL:
            yield path, f"a text of {len(text)} characters", f"at most {MOST_CELL}"


@dataclass(frozen=True, slots=True)
class Layout:
    """How the file of a chart is laid out.

    ``form``: ``chart`` (columns across, rows down), ``transposed`` (rows across, columns down) or
    ``list`` (two fields: running number and name). ``numbered_from`` is the number of the first
    column and row, and of the first entry of a list: 0 or 1. With ``None`` the numbers in the file
    count, and lines without any are numbered from 1. A list also needs how many ``columns`` and
    ``rows`` there are, and in which ``order`` its numbers run.
    """

    form: Form = "chart"
    numbered_from: Literal[0, 1] | None = None
    order: Order | None = None
    columns: int = 0
    rows: int = 0


# -- writing ---------------------------------------------------------------------------------------


def chart_to_csv(chart: Chart) -> str:
    """``chart`` as CSV text with CRLF line ends (write it with ``newline=""``)."""
    row_facts = [name for name in FACTS if any(getattr(line, name) for line in chart.rows)]
    column_facts = [name for name in FACTS if any(getattr(line, name) for line in chart.columns)]
    blank = [""] * len(row_facts)
    table = [[_guarded(chart.name), *row_facts, *(line.key for line in chart.columns)]]
    table += [
        [name, *blank, *(_guarded(getattr(line, name)) for line in chart.columns)] for name in column_facts
    ]
    for index, line in enumerate(chart.rows):
        facts = [_guarded(getattr(line, name)) for name in row_facts]
        names = [_guarded(chart.cells.get((column, index), "")) for column in range(len(chart.columns))]
        table.append([line.key, *facts, *names])
    text = io.StringIO()
    csv.writer(text, lineterminator="\r\n").writerows(table)
    return text.getvalue()


def _guarded(text: str) -> str:
    return f"'{text}" if _TO_GUARD.match(text) else text


def _unguarded(text: str) -> str:
    if text.startswith("'") and _TO_GUARD.match(text):
        return text[1:]
    return "" if text.strip() in ("", "-") else text


# -- reading ---------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Record:
    """One line of the table: its number in the file (from 1), its first line of text, its fields.

    Blank fields at the end are left out; :meth:`at` gives them.
    """

    number: int
    line: int
    fields: tuple[str, ...]

    def at(self, place: int) -> str:
        return self.fields[place] if place < len(self.fields) else ""


class _Reader:
    """Collects what is wrong while a table is read."""

    def __init__(self, source: str) -> None:
        self.source = source
        self.problems: list[Problem] = []

    def complain(self, record: _Record, place: int, found: str, expected: str, hint: str = "") -> None:
        """A problem in the field with index ``place`` of ``record``."""
        path = f"row {record.number}, column {place + 1}"
        self.problems.append(Problem(self.source, record.line, 0, path, found, expected, hint))

    def stop(self) -> None:
        """Raise what was collected, if anything was."""
        if self.problems:
            raise InputError(self.problems)

    def text(self, record: _Record, place: int) -> str:
        """The text meant by a field, complained about if it is too long."""
        text = _unguarded(record.at(place))
        if len(text) > MOST_CELL:
            self.complain(record, place, f"a text of {len(text)} characters", f"at most {MOST_CELL}")
        return text


def chart_from_csv(text: str | bytes, source: str, layout: Layout | None = None) -> Chart:
    """The chart that the CSV ``text`` holds; ``source`` is its name in messages.

    Fields are separated by commas, or by semicolons or tabs where the first line has no comma. The
    first field is the name of the matrix. Headings may be keys (``C1``), numbers (``1``,
    ``column 1``), or, if none of them is either, titles, or nothing.

    Raises:
        InputError: everything that does not fit, each with its line and its place in the table
            (``row 4, column 3``).
    """
    layout = layout or Layout()
    records = _records(decode_text(text, source), source)
    reader = _Reader(source)
    if layout.form == "list":
        return _from_list(reader, records, layout)
    return _from_table(reader, records, layout)


def _records(text: str, source: str) -> list[_Record]:
    """The lines of the table that hold anything; at least one."""
    separator = next((s for s in ",;\t" if len(_first_fields(text, s)) > 1), ",")
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    records: list[_Record] = []
    line = number = 0
    try:
        for fields in reader:
            number += 1
            if number > MOST_RECORDS:
                problem = Problem(
                    source, line + 1, 0, "", "more lines than any chart has", f"at most {MOST_RECORDS}"
                )
                raise InputError([problem])
            while fields and not fields[-1].strip():
                fields.pop()
            if fields:
                records.append(_Record(number, line + 1, tuple(fields)))
            line = reader.line_num
    except csv.Error as error:
        hint = "a field with quotes or separators in it stands between quotes, its own quotes doubled"
        said = "a quote that is not closed" if "end of data" in str(error) else "quotes out of place"
        said = f"a field of over {csv.field_size_limit()} characters" if "limit" in str(error) else said
        problem = Problem(source, line + 1, 0, f"row {number + 1}", said, "fields between separators", hint)
        raise InputError([problem]) from None
    if not records:
        raise InputError([Problem(source, 1, 0, "", "an empty file", "a chart as CSV")])
    return records


def _first_fields(text: str, separator: str) -> list[str]:
    try:
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
        records = islice(reader, MOST_RECORDS)
        return next((fields for fields in records if any(f.strip() for f in fields)), [])
    except csv.Error:
        return []


def _from_table(reader: _Reader, records: list[_Record], layout: Layout) -> Chart:
    heading, *others = records
    line_facts = _leading_facts(heading.fields[1:])
    first = 1 + len(line_facts)
    facts_across = _leading_facts([record.at(0) for record in others])
    fact_records, down = others[: len(facts_across)], others[len(facts_across) :]
    # Without any heading the longest line tells how many lines stand across.
    width = len(heading.fields) if len(heading.fields) > first else max(len(r.fields) for r in records)
    sizes = (("across", width - first), ("down", len(down)))
    for direction, size in sizes:
        if not 1 <= size <= MOST_LINES:
            reader.complain(heading, 0, f"{max(size, 0)} lines {direction}", f"1 to {MOST_LINES}")
    reader.stop()
    for record in others:
        for place in range(width, len(record.fields)):
            if record.at(place).strip():
                reader.complain(record, place, quoted(record.at(place)), "nothing behind the last heading")
    for record in fact_records:
        for place in range(1, first):
            if record.at(place).strip():
                reader.complain(record, place, quoted(record.at(place)), "nothing where the facts cross")
    axes: tuple[Axis, Axis] = ("row", "column") if layout.form == "transposed" else ("column", "row")
    across = _lines(reader, axes[0], [(heading, place) for place in range(first, width)], layout)
    along = _lines(reader, axes[1], [(record, 0) for record in down], layout)
    across = [
        _with_facts(
            line, {f: reader.text(r, first + i) for f, r in zip(facts_across, fact_records, strict=True)}
        )
        for i, line in enumerate(across)
    ]
    along = [
        _with_facts(line, {f: reader.text(record, 1 + i) for i, f in enumerate(line_facts)})
        for line, record in zip(along, down, strict=True)
    ]
    cells = {
        (i, j): reader.text(record, first + i) for j, record in enumerate(down) for i in range(width - first)
    }
    name = reader.text(heading, 0)
    reader.stop()
    if layout.form == "transposed":
        return Chart(name, tuple(along), tuple(across), {(j, i): text for (i, j), text in cells.items()})
    return Chart(name, tuple(across), tuple(along), cells)


def _leading_facts(texts: Sequence[str]) -> list[str]:
    """The names of facts at the start of ``texts``, up to the first that is none or is there twice."""
    facts: list[str] = []
    for text in texts:
        fact = text.strip().lower()
        if fact not in FACTS or fact in facts:
            break
        facts.append(fact)
    return facts


def _with_facts(line: ChartLine, facts: Mapping[str, str]) -> ChartLine:
    return replace(line, **{name: text for name, text in facts.items() if text.strip()})


def _lines(
    reader: _Reader, axis: Axis, spots: Sequence[tuple[_Record, int]], layout: Layout
) -> list[ChartLine]:
    """The lines whose headings stand at ``spots``, without facts."""
    letter = axis[0].upper()
    texts = [record.at(place).strip() for record, place in spots]
    matches = [_NUMBER.fullmatch(text) for text in texts]
    start = layout.numbered_from if layout.numbered_from is not None else 1
    if not any(matches):
        titles = [_unguarded(text) for text in texts]
        return [ChartLine(f"{letter}{start + i}", title) for i, title in enumerate(titles)]
    lines: list[ChartLine] = []
    seen: dict[int, int] = {}
    for (record, place), text, match in zip(spots, texts, matches, strict=True):
        number = int(match["number"]) if match else -1
        meant = _INITIAL[match["word"][:1].lower()] if match else None
        wanted = f"{letter} and a number, such as {letter}3"
        if not match:
            reader.complain(record, place, quoted(text), wanted, near_miss(text, FACTS))
        elif meant not in (None, axis):
            hint = "with rows across and columns down, read it as 'transposed'"
            reader.complain(record, place, f"the {meant} {quoted(text)}", f"a {axis}", hint)
        elif number in seen:
            reader.complain(record, place, f"{quoted(text)} again", "each number once")
        seen.setdefault(number, place)
        lines.append(ChartLine(f"{letter}{max(number, 0)}"))
    if layout.numbered_from is not None and min(seen) >= 0 and min(seen) != layout.numbered_from:
        found = f"{axis}s numbered from {min(seen)}"
        reader.complain(*spots[0], found, f"numbers from {layout.numbered_from}, as was said")
    return lines


def _from_list(reader: _Reader, records: list[_Record], layout: Layout) -> Chart:
    sizes = (layout.columns, layout.rows)
    if layout.order is None or not all(1 <= size <= MOST_LINES for size in sizes):
        found = f"{layout.columns} columns, {layout.rows} rows, order {quoted(layout.order)}"
        expected = f"1 to {MOST_LINES} columns and rows, and the order in which the numbers run"
        raise InputError([Problem(reader.source, 0, 0, "layout", found, expected)])
    start = layout.numbered_from if layout.numbered_from is not None else 1
    last = start + layout.columns * layout.rows - 1
    cells: dict[tuple[int, int], str] = {}
    seen: dict[int, int] = {}
    for index, record in enumerate(records):
        text = record.at(0).strip()
        number = int(text) if re.fullmatch("[0-9]{1,4}", text) else -1
        if number < 0 and index == 0:
            continue  # the heading of the list
        if not start <= number <= last:
            reader.complain(record, 0, quoted(text), f"a number from {start} to {last}")
        elif number in seen:
            reader.complain(record, 0, f"{number} again", f"each number once; row {seen[number]} has it")
        if len(record.fields) > 2:
            reader.complain(record, 2, quoted(record.at(2)), "a number and a name only")
        seen.setdefault(number, record.number)
        by_column = divmod(number - start, layout.rows)
        by_row = divmod(number - start, layout.columns)
        at = by_column if layout.order == "down the columns" else (by_row[1], by_row[0])
        cells[at] = reader.text(record, 1)
    reader.stop()
    columns = tuple(ChartLine(f"C{start + i}") for i in range(layout.columns))
    return Chart("", columns, tuple(ChartLine(f"R{start + i}") for i in range(layout.rows)), cells)
