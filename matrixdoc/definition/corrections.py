"""Corrections of a definition that turned out to be wrong, made in the middle of a case.

A correction changes what the authoring form says and compiles it anew. References belong to places
and stay what they are: after two cells are swapped, ``switch/C3R5`` is still the crossing of column
3 and row 5, with the other device in it. :func:`moved` says where a device went, for findings that
name a device by what a person pressed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Annotated, Any, Literal

from pydantic import Field, TypeAdapter

from matrixdoc.definition.compile import compile_machine
from matrixdoc.definition.compile_builder import whole_number
from matrixdoc.definition.compile_charts import numbering_of, running_number
from matrixdoc.definition.document import Document, validate_model
from matrixdoc.definition.errors import InputError, Problem, choice, near_miss, quoted
from matrixdoc.definition.references import cell_key, cell_numbers, line_number
from matrixdoc.definition.schema import MachineForm
from matrixdoc.definition.schema_boards import Form
from matrixdoc.definition.schema_matrices import CellForm, LineForm, MatrixForm
from matrixdoc.definition.schema_types import Chain, Name
from matrixdoc.definition.wiring import Wiring

_OF_THE_PLACE = frozenset({"number", "verified"})
"""Facts of a cell that stay at its place: the number that the game shows for it."""


class SwapCells(Form):
    """Two cells of a chart whose devices are exchanged: each is where the chart has the other."""

    kind: Literal["swap cells"] = "swap cells"
    matrix: Name
    one: Name
    two: Name


class StateChain(Form):
    """The order in which a column or a row is wired, from its connector on."""

    kind: Literal["state chain"] = "state chain"
    matrix: Name
    line: Name
    chain: Chain


Correction = Annotated[SwapCells | StateChain, Field(discriminator="kind")]

_ADAPTER: TypeAdapter[SwapCells | StateChain] = TypeAdapter(Correction)


def correction_from(record: object) -> SwapCells | StateChain:
    """A correction from its record, such as ``{"kind": "swap cells", ...}``.

    Raises:
        ValidationError: it is no such record.
    """
    return _ADAPTER.validate_python(record)


def correction_record(correction: SwapCells | StateChain) -> dict[str, Any]:
    """The record of a correction: plain values, fit for JSON."""
    return correction.model_dump(mode="json")


def corrected(definition: MachineForm | Document, corrections: Sequence[SwapCells | StateChain]) -> Wiring:
    """The wiring of ``definition`` with all ``corrections`` made in order.

    Raises:
        InputError: the definition is wrong, or a correction names what it does not have.
    """
    document = definition if isinstance(definition, Document) else None
    form = validate_model(definition, MachineForm) if isinstance(definition, Document) else definition
    return compile_machine(corrected_form(form, corrections), document)


def corrected_form(form: MachineForm, corrections: Iterable[SwapCells | StateChain]) -> MachineForm:
    """The form with all ``corrections`` made in order.

    Raises:
        InputError: a correction names a matrix, a cell or a line that the form does not have.
    """
    for number, correction in enumerate(corrections, start=1):
        path = f"correction {number}"
        matrix = form.matrices.get(correction.matrix)
        if matrix is None:
            names = list(form.matrices)
            expected = f"a matrix: {choice(names)}" if names else "a machine with a matrix"
            raise _error(path, quoted(correction.matrix), expected, near_miss(correction.matrix, names))
        if isinstance(correction, SwapCells):
            changed = _swapped(matrix, correction, path)
        else:
            changed = _chained(matrix, correction, path)
        form = form.model_copy(update={"matrices": {**form.matrices, correction.matrix: changed}})
    return form


def moved(corrections: Iterable[SwapCells | StateChain]) -> Mapping[str, str]:
    """Where each device is after ``corrections``: reference before -> reference now.

    Holds only devices that moved. A person who pressed a switch by its name pressed the device;
    what the game showed stays with the place.
    """
    now: dict[str, str] = {}
    for correction in corrections:
        if not isinstance(correction, SwapCells):
            continue
        one, two = (f"{correction.matrix}/{_plain(key)}" for key in (correction.one, correction.two))
        before = {place: device for device, place in now.items()}
        now[before.get(one, one)], now[before.get(two, two)] = two, one
    return {device: place for device, place in now.items() if device != place}


def _plain(key: str) -> str:
    numbers = cell_numbers(key)
    return f"C{numbers[0]}R{numbers[1]}" if numbers else key


def _error(path: str, found: str, expected: str, suggestion: str = "") -> InputError:
    return InputError([Problem("", 0, 0, path, found, expected, suggestion)])


def _swapped(matrix: MatrixForm, correction: SwapCells, path: str) -> MatrixForm:
    """The matrix with two devices exchanged: names, and the facts that belong to the device."""
    one, two = (_place(matrix, key, path) for key in (correction.one, correction.two))
    if one == two:
        raise _error(path, f"{correction.one} with itself", "two cells")
    update: dict[str, object] = {}
    if matrix.chart is not None:
        grid = [list(row) for row in matrix.chart]
        (down, across), (other_down, other_across) = (_spot(matrix, place) for place in (one, two))
        first, second = grid[down][across], grid[other_down][other_across]
        grid[down][across], grid[other_down][other_across] = second, first
        update["chart"] = tuple(tuple(row) for row in grid)
    else:
        update["by_number"] = _swapped_numbers(matrix, one, two)
    facts: dict[tuple[int, int], tuple[str, CellForm]] = {}
    for key, cell in matrix.cells.items():
        numbers = cell_numbers(key)
        if numbers in (one, two):
            facts[numbers] = (key, cell)
    cells = {k: c for k, c in matrix.cells.items() if cell_numbers(k) not in (one, two)}
    for here, there in ((one, two), (two, one)):
        key = facts[here][0] if here in facts else cell_key(f"C{here[0]}", f"R{here[1]}")
        mixed = _device_at(facts.get(here), facts.get(there))
        if mixed.model_fields_set:
            cells[key] = mixed
    update["cells"] = cells
    return matrix.model_copy(update=update)


def _device_at(here: tuple[str, CellForm] | None, there: tuple[str, CellForm] | None) -> CellForm:
    """The facts of the device that comes from ``there``, with what stays at the place ``here``."""
    values: dict[str, object] = {}
    if there is not None:
        values = {f: getattr(there[1], f) for f in there[1].model_fields_set if f not in _OF_THE_PLACE}
    if here is not None:
        # The place was looked at again; what was said to be verified there was wrong.
        values |= {f: here[1].number for f in ("number",) if f in here[1].model_fields_set}
    return CellForm.model_validate(values)


def _swapped_numbers(matrix: MatrixForm, one: tuple[int, int], two: tuple[int, int]) -> dict[str, str]:
    names = dict(matrix.by_number)
    first, second = (_number(matrix, place) for place in (one, two))
    names[first], names[second] = names.get(second, ""), names.get(first, "")
    return names


def _number(matrix: MatrixForm, place: tuple[int, int]) -> str:
    """The running number of a place, in a matrix that is a list of numbers."""
    numbering = numbering_of(matrix)
    assert numbering is not None  # noqa: S101 - a list of numbers has a numbering
    columns, rows = matrix.size or (1, 1)
    start = matrix.numbered_from
    return str(running_number(numbering, place[0] - start, place[1] - start, columns, rows))


def _shape(matrix: MatrixForm) -> tuple[int, int]:
    """Columns and rows of the chart (0 and 0 where it is ragged or missing)."""
    if matrix.chart is None:
        return matrix.size or (0, 0)
    widths = {len(row) for row in matrix.chart}
    if len(widths) != 1:
        return 0, 0
    shape = widths.pop(), len(matrix.chart)
    return shape if matrix.across == "columns" else (shape[1], shape[0])


def _spot(matrix: MatrixForm, place: tuple[int, int]) -> tuple[int, int]:
    """The line and the position in it of a place in the chart as it is written."""
    column, row = place[0] - matrix.numbered_from, place[1] - matrix.numbered_from
    return (row, column) if matrix.across == "columns" else (column, row)


def _place(matrix: MatrixForm, key: str, path: str) -> tuple[int, int]:
    """Column and row number of a cell of the chart.

    Raises:
        InputError: it is no cell, or outside the chart.
    """
    numbers = cell_numbers(key)
    columns, rows = _shape(matrix)
    start = matrix.numbered_from
    if numbers is None:
        raise _error(path, quoted(key), "a cell, such as C3R5")
    if not (start <= numbers[0] < start + columns and start <= numbers[1] < start + rows):
        last = f"C{start + columns - 1}R{start + rows - 1}"
        raise _error(path, quoted(key), f"a cell from C{start}R{start} to {last}")
    return numbers


def _chained(matrix: MatrixForm, correction: StateChain, path: str) -> MatrixForm:
    """The matrix with the wiring order of one line stated."""
    for letter, lines, field in (("C", matrix.columns, "columns"), ("R", matrix.rows, "rows")):
        number = line_number(correction.line, "C" if letter == "C" else "R")
        if number is None:
            continue
        columns, rows = _shape(matrix)
        start, size = matrix.numbered_from, columns if letter == "C" else rows
        if not start <= number < start + size:
            break
        key = next((k for k in lines if _line(k, letter) == number), f"{letter}{number}")
        facts = lines.get(key, LineForm()).model_copy(update={"chain": correction.chain})
        return matrix.model_copy(update={field: {**lines, key: facts}})
    raise _error(path, quoted(correction.line), "a column or row of the chart, such as C3 or R5")


def _line(key: str, letter: str) -> int | None:
    number = whole_number(key)
    return number if number is not None else line_number(key, "C" if letter == "C" else "R")
