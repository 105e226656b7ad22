"""The parts that every form of a report is built from, and the settings that it may state."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, StringConstraints, WithJsonSchema

MOST_NAMES = 2000

# An editor takes 29 for a number and yes for a word; the reader takes both as text until a field
# types them. The published schema says what an editor should let pass.
Words = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, max_length=200),
    WithJsonSchema({"type": ["string", "number"], "minLength": 1, "maxLength": 200}),
]
MaybeWords = Annotated[
    str,
    StringConstraints(strip_whitespace=True, max_length=200),
    WithJsonSchema({"type": ["string", "number"], "maxLength": 200}),
]
Flag = Annotated[bool, WithJsonSchema({"enum": [True, False, "yes", "no", "on", "off"]})]
FreeText = Annotated[str, StringConstraints(max_length=2000)]


def _one_or_more(value: object) -> object:
    return [value] if isinstance(value, str) else value


Names = Annotated[
    list[Words],
    BeforeValidator(_one_or_more, json_schema_input_type=Words | list[Words]),
    Field(max_length=MOST_NAMES),
]
"""One name, or a list of names."""


def spaced(name: str) -> str:
    """A field's name as it is written in a report."""
    return name.rstrip("_").replace("_", " ")


class Form(BaseModel):
    """Unknown keys are refused; ``sat for years`` may be written ``sat_for_years``, too."""

    model_config = ConfigDict(extra="forbid", frozen=True, alias_generator=spaced, populate_by_name=True)


class ReportSettings(Form):
    """Settings of the diagnosis, where they differ from the usual ones."""

    expected_faults: Annotated[float, Field(gt=0, le=50)] | None = None
    outside_weight: Annotated[float, Field(ge=0, lt=1)] | None = None
    slip_rate: Annotated[float, Field(ge=0, lt=0.5)] | None = None
    meter_slip_rate: Annotated[float, Field(ge=0, lt=0.5)] | None = None
    meter_lead_ohm: Annotated[float, Field(ge=0, le=10)] | None = None
    meter_top_ohm: Annotated[float, Field(ge=1e3, le=1e9)] | None = None
    diode_test_ma: Annotated[float, Field(gt=0, le=10)] | None = None
    lacks: list[Literal["volts", "ohms", "diode", "switch test", "lamp test", "coil test"]] | None = Field(
        default=None,
        description="what cannot be done here: functions of the meter, self-tests that do not run",
    )
    stock: Names | None = Field(default=None, description="part types or kinds at hand, such as 1N4004")
    meter_accuracy: Annotated[float, Field(gt=0, le=0.5)] | None = None
    least_share: Annotated[float, Field(ge=0, le=0.1)] | None = None
    recent_repair: Names | None = Field(default=None, description="places, boards or parts worked at")
    battery_leak: Names | None = Field(
        default=None, description="places, boards or parts near a leaked battery"
    )
    open_places: Names | None = Field(default=None, description="doors and panels that are open now")
    sat_for_years: Flag | None = None
