"""The authoring form of matrices: charts, lines, cells, decoders, optical pairs."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, WithJsonSchema

from matrixdoc.definition.schema_boards import Form, Notes, Pin
from matrixdoc.definition.schema_types import (
    Chain,
    Chart,
    Colour,
    Count,
    Farads,
    Flag,
    Henries,
    Milliseconds,
    Name,
    Ohms,
    OhmsOrNone,
    Position,
    Size,
    Text,
    Volts,
    count_of,
)

MOST_LINES = 32
CellOrder = Literal["contact first", "lamp first", "coil first", "diode first", "unknown"]
Contact = Literal["", "leaf", "snap-action", "reed", "opto"]


Marking = Annotated[
    Text,
    Field(
        description="What is printed on the drive part (TIP102). A type that is known brings its figures "
        "with it. On which side of its load a drive stands, and of what kind it is, says the style."
    ),
]


class DrivePath(Form):
    """The parts that command an output, and the wire behind it.

    ``drive`` is the name beside the drive part on its board (``Q31``), ``drive_type`` what is printed
    on it (``TIP102``): a marking, which does not choose what kind of drive it is. The style does.
    """

    title: Text = ""
    drive: Text = ""
    drive_type: Marking = ""
    pre_driver: Text = ""
    logic: Text = ""
    link: Position | None = None
    board: Name | None = None
    pin: Pin | None = None
    wire: Colour = ""
    place: Name | None = None
    note: Text = ""
    verified: Flag = False


class LineForm(DrivePath):
    """A column or a row.

    ``chain`` lists its cells in wiring order, a list among them is a branch that leaves at the one
    before it; ``drive`` of a row that is sensed names its sensing part.
    """

    chain: Chain | None = None
    resistor: Text = ""


class OptoForm(Form):
    """An optical pair in the place of a contact.

    ``blocked`` says what it reads while something stands in the beam: ``open`` where the receiver
    itself is the contact, ``closed`` where a buffer turns that round. ``supply`` or ``feed`` is what
    the emitters hang on.
    """

    blocked: Literal["open", "closed"] | None = None
    supply: Name | None = None
    feed: Name | None = None
    emitter_resistor: Ohms | None = None
    receiver_pull: Ohms | None = None


class CellForm(Form):
    """What is known of one cell beyond its name in the chart."""

    title: Text = ""
    number: Text = ""
    normally: Literal["open", "closed"] = "open"
    element: Contact | Literal["filament", "LED"] = ""
    opto: OptoForm | None = None
    lamp: Text = ""
    resistance: Ohms | None = None
    inductance: Henries | None = None
    pulse: Milliseconds | None = None
    holds: Flag = False
    diode: Text = ""
    order: CellOrder | None = None
    capacitor: Farads | None = None
    place: Name | None = None
    note: Text = ""
    verified: Flag = False


class NumberingForm(Form):
    """Running numbers of the cells, kept as aliases: counted down the columns or along the rows."""

    along: Literal["columns", "rows"] = "columns"
    first: Count = 1


class SelectForm(Form):
    """One select line of a decoder: from the logic, over the link if there is one."""

    logic: Text = ""
    link: Position | None = None


class DecoderForm(Form):
    """A decoder that picks one column by the number on its select lines, lowest bit first."""

    name: Text = ""
    lines: Annotated[tuple[SelectForm, ...], Field(min_length=1, max_length=5)]
    note: Text = ""


class MatrixForm(Form):
    """A matrix of switches, lamps or coils: its chart, and whatever else is known.

    Where the paper lists running numbers instead of a table, ``by_number`` holds the names and
    ``size`` the number of columns and rows; ``numbering`` says how the numbers run.
    """

    device: Literal["switch", "lamp", "coil"] | None = None
    title: Text = ""
    style: Text = ""
    sensing: Text = ""
    chart: Chart | None = None
    by_number: Mapping[Name, Text] = Field(default_factory=dict, max_length=MOST_LINES * MOST_LINES)
    size: Size | None = None
    across: Literal["columns", "rows"] = "columns"
    numbered_from: Annotated[Literal[0, 1], BeforeValidator(count_of), WithJsonSchema({"enum": [0, 1]})] = 1
    numbering: NumberingForm | None = None
    scan: Milliseconds | None = None
    supply: Name | None = None
    feed: Name | None = None
    order: CellOrder | None = None
    element: Contact | Literal["filament", "LED"] = ""
    opto: OptoForm | None = None
    diode: Text = ""
    lamp: Text = ""
    resistance: Ohms | None = None
    inductance: Henries | None = None
    pulse: Milliseconds | None = None
    row_pull: Ohms | None = None
    column_pull: OhmsOrNone | None = None
    column_drive: Ohms | None = None
    column_type: Marking = ""
    row_type: Marking = ""
    row_resistor: OhmsOrNone | None = None
    reads_low_at: Volts | None = None
    reads_high_at: Volts | None = None
    decoder: DecoderForm | None = None
    board: Name | None = None
    place: Name | None = None
    columns: Mapping[Name, LineForm] = Field(default_factory=dict)
    rows: Mapping[Name, LineForm] = Field(default_factory=dict)
    cells: Mapping[Name, CellForm] = Field(default_factory=dict)
    notes: Notes = ()
