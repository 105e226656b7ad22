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

from pydantic import Field

from matrixdoc.definition.schema_boards import (
    MOST_ENTRIES,
    BoardForm,
    ConnectorForm,
    FeedForm,
    Form,
    InterlockForm,
    LinkForm,
    Notes,
    PlaceForm,
    SupplyForm,
)
from matrixdoc.definition.schema_loads import (
    BundleForm,
    CoilForm,
    DirectLampForm,
    DirectSwitchForm,
    EnableForm,
    FlashForm,
    FlipperForm,
    IlluminationForm,
    OutputForm,
    RelayForm,
    SharedDecoderForm,
)
from matrixdoc.definition.schema_matrices import MatrixForm
from matrixdoc.definition.schema_types import Name, Text

MOST_VERIFIED = 20_000


class MachineForm(Form):
    """A machine as a person describes it. Only the title and one circuit are needed.

    ``verified`` lists references (parts, cells, lines) that somebody saw to be so at the machine.
    """

    title: Annotated[Text, Field(min_length=1)]
    notes: Notes = ()
    self_tests: tuple[Literal["switch scan", "lamp test", "coil test"], ...] | None = None
    places: Mapping[Name, PlaceForm] = Field(default_factory=dict, max_length=MOST_ENTRIES)
    boards: Mapping[Name, BoardForm] = Field(default_factory=dict, max_length=MOST_ENTRIES)
    link: LinkForm | None = None
    connectors: Mapping[Name, ConnectorForm] = Field(default_factory=dict, max_length=MOST_ENTRIES)
    supplies: Mapping[Name, SupplyForm] = Field(default_factory=dict, max_length=MOST_ENTRIES)
    interlocks: Mapping[Name, InterlockForm] = Field(default_factory=dict, max_length=MOST_ENTRIES)
    feeds: Mapping[Name, FeedForm] = Field(default_factory=dict, max_length=MOST_ENTRIES)
    matrices: Mapping[Name, MatrixForm] = Field(default_factory=dict, max_length=MOST_ENTRIES)
    enables: Mapping[Name, EnableForm] = Field(default_factory=dict, max_length=MOST_ENTRIES)
    outputs: Mapping[Name, OutputForm] = Field(default_factory=dict, max_length=MOST_ENTRIES)
    relays: Mapping[Name, RelayForm] = Field(default_factory=dict, max_length=MOST_ENTRIES)
    decoders: Mapping[Name, SharedDecoderForm] = Field(default_factory=dict, max_length=MOST_ENTRIES)
    coils: Mapping[Name, CoilForm] = Field(default_factory=dict, max_length=MOST_ENTRIES)
    flippers: Mapping[Name, FlipperForm] = Field(default_factory=dict, max_length=MOST_ENTRIES)
    flash_lamps: Mapping[Name, FlashForm] = Field(default_factory=dict, max_length=MOST_ENTRIES)
    direct_switches: Mapping[Name, DirectSwitchForm] = Field(default_factory=dict, max_length=MOST_ENTRIES)
    direct_lamps: Mapping[Name, DirectLampForm] = Field(default_factory=dict, max_length=MOST_ENTRIES)
    illumination: Mapping[Name, IlluminationForm] = Field(default_factory=dict, max_length=MOST_ENTRIES)
    bundles: Annotated[tuple[BundleForm, ...], Field(max_length=MOST_ENTRIES)] = ()
    verified: Annotated[tuple[Text, ...], Field(max_length=MOST_VERIFIED)] = ()


def machine_schema() -> dict[str, Any]:
    """The JSON Schema (2020-12) of the authoring form, for editors and other programs."""
    schema = MachineForm.model_json_schema(mode="validation")
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}
