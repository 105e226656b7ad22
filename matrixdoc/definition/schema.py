"""The authoring form: what a person types about a machine, and nothing more than they know.

A matrix with a chart is enough; every further fact sharpens the answer. All models are frozen and
refuse unknown keys. They take text (a definition file's scalars all arrive as text) as well as
ready numbers; units are written with the number (``4.7 kohm``, ``10 A``, ``18 V``).

:func:`machine_schema` gives the JSON Schema for editors. ``compile.py`` turns a
:class:`MachineForm` into the resolved :class:`~matrixdoc.definition.wiring.Wiring`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, WithJsonSchema

from matrixdoc.definition.schema_boards import (
    MOST_ENTRIES,
    BoardForm,
    ConnectorForm,
    FeedForm,
    Form,
    Fuse,
    LinkForm,
    Notes,
    Pin,
    PlaceForm,
    SupplyForm,
    words_of,
)
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
    Text,
    Volts,
    count_of,
)

MOST_LINES = 32
MOST_LAMPS = 64
CellOrder = Literal["contact first", "lamp first", "diode first", "unknown"]


class DrivePath(Form):
    """The parts that command an output, and the wire behind it."""

    title: Text = ""
    drive: Text = ""
    drive_type: Text = ""
    pre_driver: Text = ""
    logic: Text = ""
    link: Position | None = None
    board: Name | None = None
    pin: Pin | None = None
    wire: Colour = ""
    place: Name | None = None
    note: Text = ""


class LineForm(DrivePath):
    """A column or a row.

    ``chain`` lists its cells in wiring order; ``drive`` of a row that is sensed names its sensing
    part.
    """

    chain: Chain | None = None
    resistor: Text = ""


class CellForm(Form):
    """What is known of one cell beyond its name in the chart."""

    title: Text = ""
    number: Text = ""
    normally: Literal["open", "closed"] = "open"
    element: Literal["", "leaf", "snap-action", "reed", "filament", "LED"] = ""
    lamp: Text = ""
    diode: Text = ""
    order: CellOrder | None = None
    capacitor: Farads | None = None
    place: Name | None = None
    note: Text = ""


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
    """A switch or lamp matrix: its chart, and whatever else is known."""

    device: Literal["switch", "lamp"] | None = None
    title: Text = ""
    style: Text = ""
    sensing: Text = ""
    chart: Chart
    across: Literal["columns", "rows"] = "columns"
    numbered_from: Annotated[Literal[0, 1], BeforeValidator(count_of), WithJsonSchema({"enum": [0, 1]})] = 1
    numbering: NumberingForm | None = None
    scan: Milliseconds | None = None
    supply: Name | None = None
    feed: Name | None = None
    order: CellOrder | None = None
    element: Literal["", "leaf", "snap-action", "reed", "filament", "LED"] = ""
    diode: Text = ""
    lamp: Text = ""
    row_pull: Ohms | None = None
    column_pull: OhmsOrNone | None = None
    column_drive: Ohms | None = None
    column_type: Text = ""
    row_type: Text = ""
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


class EnableForm(Form):
    """A line without which some coils do not fire: from the logic, over the link if there is one."""

    title: Text = ""
    logic: Text = ""
    link: Position | None = None
    board: Name | None = None
    note: Text = ""


class CoilForm(DrivePath):
    """A coil with its own drive. ``fired_by`` names a switch that fires it without the logic."""

    number: Text = ""
    style: Text = ""
    supply: Name | None = None
    feed: Name | None = None
    fuse: Fuse | None = None
    resistance: Ohms | None = None
    inductance: Henries | None = None
    pulse: Milliseconds | None = None
    holds: Flag = False
    diode: Text = ""
    fired_by: Text = ""
    enable: Annotated[tuple[Name, ...], BeforeValidator(words_of)] = ()


class FlashForm(DrivePath):
    """A flash lamp: a lamp that is pulsed like a coil, through a resistor where one is fitted."""

    number: Text = ""
    style: Text = ""
    supply: Name | None = None
    feed: Name | None = None
    fuse: Fuse | None = None
    lamp: Text = ""
    resistor: OhmsOrNone | None = None
    pulse: Milliseconds | None = None


class ButtonForm(Form):
    """The cabinet button of a flipper whose contact carries the coil current."""

    title: Text = ""
    pin: Pin | None = None
    wire: Colour = ""
    place: Name | None = None
    note: Text = ""


class FlipperForm(DrivePath):
    """A flipper: power winding, hold winding, end-of-stroke switch of either type.

    ``high-current``: the contact carries the winding current and bridges the hold winding until the
    stroke ends; ``drive`` names the shared enabling output of the flippers. ``low-current``: the
    contact only tells the logic; ``eos`` names that switch, ``button`` the switch that the logic
    reads, and each winding has its own drive.
    """

    end_of_stroke: Literal["high-current", "low-current"] = "high-current"
    number: Text = ""
    supply: Name | None = None
    feed: Name | None = None
    fuse: Fuse | None = None
    power: Ohms | None = None
    hold: Ohms | None = None
    diode: Text = ""
    output: Name | None = None
    cabinet: ButtonForm | None = None
    eos: Text = ""
    button: Text = ""
    hold_drive: DrivePath | None = None
    style: Text = ""


class OutputForm(DrivePath):
    """A drive that several circuits share, such as the enabling output of the flippers."""

    style: Text = ""


class DirectSwitchForm(Form):
    """A switch wired straight to an input, with no matrix.

    ``read_by: driver`` is for one that only the driver board hears: it fires a coil.
    """

    title: Text = ""
    number: Text = ""
    normally: Literal["open", "closed"] = "open"
    element: Literal["", "leaf", "snap-action", "reed"] = ""
    read_by: Literal["logic", "driver"] = "logic"
    sensing: Text = ""
    supply: Name | None = None
    pull: Ohms | None = None
    sensor: Text = ""
    logic: Text = ""
    link: Position | None = None
    board: Name | None = None
    pin: Pin | None = None
    wire: Colour = ""
    place: Name | None = None
    note: Text = ""


class DirectLampForm(DrivePath):
    """A lamp with a drive of its own."""

    number: Text = ""
    style: Text = ""
    supply: Name | None = None
    feed: Name | None = None
    lamp: Text = ""
    element: Literal["", "filament", "LED"] = ""


class IlluminationForm(Form):
    """A general-illumination line: fused, always on. ``lamps`` counts its lamps or names them."""

    title: Text = ""
    supply: Name | None = None
    feed: Name | None = None
    fuse: Fuse | None = None
    pin: Pin | None = None
    wire: Colour = ""
    return_pin: Pin | None = None
    return_wire: Colour = ""
    lamps: (
        Annotated[int, BeforeValidator(count_of), Field(ge=1, le=MOST_LAMPS)]
        | Annotated[tuple[Text, ...], Field(min_length=1, max_length=MOST_LAMPS)]
    ) = 1
    lamp: Text = ""
    board: Name | None = None
    place: Name | None = None
    note: Text = ""


class BundleForm(Form):
    """Wires that lie side by side in one bundle, in order: ``switch C3``, ``coil 7``, ``feed left``."""

    title: Text = ""
    lines: Annotated[tuple[Text, ...], Field(min_length=2, max_length=MOST_ENTRIES)]


class MachineForm(Form):
    """A machine as a person describes it. Only the title and one circuit are needed."""

    title: Annotated[Text, Field(min_length=1)]
    notes: Notes = ()
    self_tests: tuple[Literal["switch scan", "lamp test", "coil test"], ...] | None = None
    places: Mapping[Name, PlaceForm] = Field(default_factory=dict, max_length=MOST_ENTRIES)
    boards: Mapping[Name, BoardForm] = Field(default_factory=dict, max_length=MOST_ENTRIES)
    link: LinkForm | None = None
    connectors: Mapping[Name, ConnectorForm] = Field(default_factory=dict, max_length=MOST_ENTRIES)
    supplies: Mapping[Name, SupplyForm] = Field(default_factory=dict, max_length=MOST_ENTRIES)
    feeds: Mapping[Name, FeedForm] = Field(default_factory=dict, max_length=MOST_ENTRIES)
    matrices: Mapping[Name, MatrixForm] = Field(default_factory=dict, max_length=MOST_ENTRIES)
    enables: Mapping[Name, EnableForm] = Field(default_factory=dict, max_length=MOST_ENTRIES)
    outputs: Mapping[Name, OutputForm] = Field(default_factory=dict, max_length=MOST_ENTRIES)
    coils: Mapping[Name, CoilForm] = Field(default_factory=dict, max_length=MOST_ENTRIES)
    flippers: Mapping[Name, FlipperForm] = Field(default_factory=dict, max_length=MOST_ENTRIES)
    flash_lamps: Mapping[Name, FlashForm] = Field(default_factory=dict, max_length=MOST_ENTRIES)
    direct_switches: Mapping[Name, DirectSwitchForm] = Field(default_factory=dict, max_length=MOST_ENTRIES)
    direct_lamps: Mapping[Name, DirectLampForm] = Field(default_factory=dict, max_length=MOST_ENTRIES)
    illumination: Mapping[Name, IlluminationForm] = Field(default_factory=dict, max_length=MOST_ENTRIES)
    bundles: Annotated[tuple[BundleForm, ...], Field(max_length=MOST_ENTRIES)] = ()


def machine_schema() -> dict[str, Any]:
    """The JSON Schema (2020-12) of the authoring form, for editors and other programs."""
    schema = MachineForm.model_json_schema(mode="validation")
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}
