"""The authoring form of what is driven or read on its own: coils, flippers, lamps, switches, relays."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BeforeValidator, Field

from matrixdoc.definition.schema_boards import MOST_ENTRIES, Form, Fuse, Pin, words_of
from matrixdoc.definition.schema_matrices import Contact, DecoderForm, DrivePath, OptoForm
from matrixdoc.definition.schema_types import (
    Colour,
    Flag,
    Henries,
    Milliseconds,
    Name,
    Ohms,
    OhmsOrNone,
    Position,
    Text,
    count_of,
)

MOST_LAMPS = 64


OutputStyleName = Annotated[
    Text,
    Field(
        description="Kind of the drive and the side it stands on: 'low-side ...' between load and ground, "
        "'high-side ...' between supply and load. 'matrixdoc validate' lists them where a name is wrong."
    ),
]


class EnableForm(Form):
    """A line without which some coils do not fire: from the logic, over the link if there is one."""

    title: Text = ""
    logic: Text = ""
    link: Position | None = None
    board: Name | None = None
    note: Text = ""


class ReturnForm(DrivePath):
    """A load with a drive of its own, of an output style.

    With a low-side style one lug is always at the supply and the drive pulls the other to ground. With
    a high-side style the drive stands between supply and load, and the other lug goes to ground:
    ``return_wire`` and, where it goes over a connector, ``return_pin`` say how.
    """

    return_pin: Pin | None = None
    return_wire: Colour = ""


class CoilForm(ReturnForm):
    """A coil with its own drive. ``fired_by`` names a switch that fires it without the logic.

    A coil without a drive of its own ``shares`` that of another coil: the contact set of ``relay``
    sends the drive to the other coil at rest, to this one while the relay pulls.
    """

    number: Text = ""
    style: OutputStyleName = ""
    supply: Name | None = None
    feed: Name | None = None
    fuse: Fuse | None = None
    resistance: Ohms | None = None
    inductance: Henries | None = None
    pulse: Milliseconds | None = None
    holds: Flag = False
    diode: Text = ""
    fired_by: Text = ""
    shares: Name | None = None
    relay: Name | None = None
    enable: Annotated[tuple[Name, ...], BeforeValidator(words_of)] = ()


class FlashForm(ReturnForm):
    """A flash lamp: a lamp that is pulsed like a coil, through a resistor where one is fitted."""

    number: Text = ""
    style: OutputStyleName = ""
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


class FlipperForm(ReturnForm):
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
    style: OutputStyleName = ""


class OutputForm(DrivePath):
    """A drive that several circuits share, such as the enabling output of the flippers."""

    style: OutputStyleName = ""


class RelayForm(DrivePath):
    """A relay whose contact sets send drives to one coil or to another; ``drive`` is its name."""


class SharedDecoderForm(DecoderForm):
    """A decoder that picks the drives of lamps of their own."""

    title: Text = ""
    board: Name | None = None


class DirectSwitchForm(Form):
    """A switch wired straight to an input, with no matrix.

    ``read_by: driver`` is for one that only the driver board hears: it fires a coil.
    """

    title: Text = ""
    number: Text = ""
    normally: Literal["open", "closed"] = "open"
    element: Contact = ""
    opto: OptoForm | None = None
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
    verified: Flag = False


class DirectLampForm(ReturnForm):
    """A lamp with a drive of its own, which ``output`` of a ``decoder`` may pick."""

    number: Text = ""
    style: OutputStyleName = ""
    supply: Name | None = None
    feed: Name | None = None
    lamp: Text = ""
    element: Literal["", "filament", "LED"] = ""
    decoder: Name | None = None
    output: Annotated[int, BeforeValidator(count_of), Field(ge=0, le=31)] | None = None


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
