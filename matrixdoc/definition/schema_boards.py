"""The authoring form of what the circuits hang on: places, boards, connectors, supplies, feeds."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Annotated

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    GetJsonSchemaHandler,
    WithJsonSchema,
)
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema

from matrixdoc.definition.errors import InputError, refusal
from matrixdoc.definition.fuse_words import Blow, parse_fuse
from matrixdoc.definition.schema_types import (
    Amperes,
    Colour,
    FaradsOrNone,
    FeedChain,
    Flag,
    Minutes,
    Name,
    Ohms,
    Position,
    Text,
    Volts,
)

MOST_ENTRIES = 256

_PIN = re.compile(r"(?P<connector>\S(?:.*\S)?)\s*-\s*(?P<position>[0-9]{1,3})")


def _pin(value: object) -> object:
    if not isinstance(value, str):
        return value
    found = _PIN.fullmatch(value.strip())
    if found is None:
        raise ValueError("a connector and a position, such as S1-4")
    return {"connector": found["connector"].strip(), "position": int(found["position"])}


def _fuse(value: object) -> object:
    """One text is what is printed on the fuse (``5 A``, ``F3 T 5 A``); ``none`` says there is none.

    What the rating says besides (``T 5 A``, ``5 A slow``) goes to its own key. A marking that cannot be
    read, or says otherwise than the other keys, is left to the rating to refuse, at its place.
    """
    if isinstance(value, str):
        value = {"fitted": False} if value.strip().lower() == "none" else {"rating": value}
    if not isinstance(value, dict) or not isinstance(value.get("rating"), str):
        return value
    try:
        said = parse_fuse(value["rating"])
    except InputError:
        return value
    besides = {key: text for key, text in (("name", said.name), ("blow", said.blow)) if text}
    if any(value.get(key, text) != text for key, text in besides.items()):
        return value
    return {**value, "rating": said.rating_a, **besides}


def _fuse_rating(value: object) -> object:
    if not isinstance(value, str):
        return value
    said = parse_fuse(value)
    raise refusal(value, "the rating alone", f"{said.blow or said.name} contradicts another key of this fuse")


def _bridge(value: object) -> object:
    """``none`` says there is no rectifier; other text is the type of the bridge's diodes."""
    if isinstance(value, str):
        return {"fitted": False} if value.strip().lower() == "none" else {"type": value}
    return value


def words_of(value: object) -> object:
    """One text where a list of texts is wanted counts as a list of one."""
    return [value] if isinstance(value, str) else value


Notes = Annotated[tuple[Text, ...], BeforeValidator(words_of)]


class Form(BaseModel):
    """What all models of the authoring form have in common."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class _OrText:
    """Says in the JSON Schema that a model may be written as one text."""

    def __get_pydantic_json_schema__(
        self, core: CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        """The model's own schema, or a text."""
        return {"anyOf": [handler(core), {"type": ["string", "number"]}]}


class PinPlace(Form):
    """A position of a connector; may be written ``S1-4``."""

    connector: Name
    position: Position


Pin = Annotated[
    PinPlace,
    BeforeValidator(_pin),
    WithJsonSchema({"type": "string", "pattern": r"^.+-\s*[0-9]{1,3}$"}),
]


FuseAmperes = Annotated[
    float,
    BeforeValidator(_fuse_rating),
    Field(gt=0, allow_inf_nan=False),
    WithJsonSchema({"type": ["string", "number"]}),
]


class FuseForm(Form):
    """A fuse: its rating, and what is printed beside its clip. May be written as one text (``T 5 A``)."""

    fitted: Flag = True
    name: Text = ""
    rating: FuseAmperes | None = None
    blow: Blow = ""
    place: Name | None = None
    note: Text = ""


Fuse = Annotated[FuseForm, BeforeValidator(_fuse), _OrText()]


class BridgeForm(Form):
    """Four rectifier diodes in a bridge, or its type alone."""

    fitted: Flag = True
    name: Text = ""
    type: Text = ""
    place: Name | None = None
    note: Text = ""


Bridge = Annotated[BridgeForm, BeforeValidator(_bridge), _OrText()]


class PlaceForm(Form):
    """A door or panel: minutes to open it, and whether power must be off to work behind it."""

    title: Text = ""
    minutes: Minutes
    power_off: Flag = False


class BoardForm(Form):
    """A circuit board and where it sits."""

    title: Text = ""
    place: Name | None = None
    battery: Flag = False
    note: Text = ""


class LinkForm(Form):
    """The many-pin link between the logic board and the board that carries the drives."""

    boards: tuple[Name, Name]
    pins: Position | None = None
    title: Text = ""
    place: Name | None = None
    note: Text = ""


class ConnectorForm(Form):
    """A connector. ``also`` names what sits on positions that no line claims: a supply, or ground."""

    title: Text = ""
    board: Name | None = None
    place: Name | None = None
    pins: Position | None = None
    also: Mapping[str, Name] = Field(default_factory=dict)
    note: Text = ""


class SupplyForm(Form):
    """A rail and what makes it: winding, fuse before the rectifier, rectifier, capacitor, regulator."""

    title: Text = ""
    volts: Volts | None = None
    alternating: Flag = False
    stiff: Flag | None = None
    source: Ohms | None = None
    winding: Volts | None = None
    winding_ohms: Ohms | None = None
    winding_fuse: Fuse | None = None
    bridge: Bridge | None = None
    capacitor: FaradsOrNone | None = None
    regulator: Text | None = None
    load: Amperes | None = None
    board: Name | None = None
    place: Name | None = None
    note: Text = ""
    verified: Flag = False


class InterlockForm(Form):
    """A switch at a door that cuts a supply while the door is open.

    It stands between the rail and the feeds that name it: out over ``pin`` and ``wire``, back over
    ``return_wire`` and ``return_pin``.
    """

    title: Text = ""
    supply: Name
    pin: Pin | None = None
    wire: Colour = ""
    return_pin: Pin | None = None
    return_wire: Colour = ""
    board: Name | None = None
    place: Name | None = None
    note: Text = ""
    verified: Flag = False


class FeedForm(Form):
    """What carries a supply from its rail into the harness: fuse, pin, wire. Coils and lamps name it.

    ``interlock`` names the door switch that it comes through, if any.
    ``chain`` lists all that hangs on it in wiring order: ``coil 5`` or ``5``, ``left flipper``,
    ``flash 3``, ``direct lamp credit``, ``illumination left``, and a matrix by its name, or the lines
    that switch its supply one by one (``coil bank C1``). A list among them is a branch that leaves at
    the one before it. Without a chain everything has a wire of its own from the end of the feed.
    """

    title: Text = ""
    supply: Name
    interlock: Name | None = None
    fuse: Fuse | None = None
    pin: Pin | None = None
    wire: Colour = ""
    chain: Annotated[FeedChain, Field(max_length=MOST_ENTRIES)] = ()
    board: Name | None = None
    place: Name | None = None
    note: Text = ""
    verified: Flag = False
