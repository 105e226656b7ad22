"""The scalars of the authoring form: text, names, yes and no, quantities with units, charts.

A definition file gives every scalar as text; these types turn it into what is meant, and take
ready numbers as well. Each says in its JSON Schema what an editor may offer.
"""

from __future__ import annotations

import re
from functools import partial
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, WithJsonSchema

from matrixdoc.definition.chains import MOST_BRANCHING, Entries, chain_from_text
from matrixdoc.definition.numbers import parse_colour, parse_quantity

_NAME = re.compile(r"[^\s/~\x00-\x1f\x7f](?:[^/~\x00-\x1f\x7f]*[^\s/~\x00-\x1f\x7f])?")
MOST_CHARACTERS = 60
_YES = {"yes": True, "true": True, "no": False, "false": False}


def _text(value: object) -> object:
    """Numbers count as text where text is wanted (``title: 1984``)."""
    if isinstance(value, bool) or not isinstance(value, (str, int, float)):
        return value
    return str(value).strip()


def _name(value: object) -> object:
    if not isinstance(value, str):
        value = _text(value)
    if isinstance(value, str) and not _NAME.fullmatch(value):
        raise ValueError("a name without '/' or '~'")
    return value


def _flag(value: object) -> object:
    if isinstance(value, str) and value.strip().lower() in _YES:
        return _YES[value.strip().lower()]
    if isinstance(value, bool):
        return value
    raise ValueError("yes or no")


def count_of(value: object) -> object:
    """Plain digits as a number; anything else is left for the schema to judge."""
    if isinstance(value, str) and re.fullmatch(r"[0-9]{1,6}", value.strip()):
        return int(value)
    return value


def _quantity(value: object, unit: str) -> object:
    return parse_quantity(value.strip(), unit) if isinstance(value, str) else value


def _quantity_or_none(value: object, unit: str) -> object:
    if isinstance(value, str) and value.strip().lower() == "none":
        return 0.0
    return _quantity(value, unit)


def _colour(value: object) -> object:
    return parse_colour(value) if isinstance(value, str) else value


def _chart(value: object) -> object:
    """A block of text with one row a line and ``|`` between the cells, or a list of lists."""
    if isinstance(value, str):
        lines = [line.strip() for line in value.strip().splitlines() if line.strip()]
        value = [line.removeprefix("|").removesuffix("|").split("|") for line in lines]
    if isinstance(value, (list, tuple)):
        return [[_cell_text(c) for c in row] if isinstance(row, (list, tuple)) else row for row in value]
    return value


def _cell_text(value: object) -> object:
    return "" if value is None else _text(value)


def _chain(value: object) -> object:
    """A word about the order, names in text with branches in parentheses, or nested lists."""
    if isinstance(value, str):
        text = value.strip()
        if text in ("unknown", "as the chart"):
            return text
        value = chain_from_text(text)
    return _entries(value)


def _entries(value: object) -> object:
    """A chain as nested tuples of names; what is no list is left for the schema to judge."""
    return tuple(_entry(entry, 0) for entry in value) if isinstance(value, (list, tuple)) else value


def _entry(value: object, depth: int) -> object:
    if isinstance(value, (list, tuple)):
        if not value:
            raise ValueError("names in wiring order; a list among them is a branch with a name in it")
        if depth >= MOST_BRANCHING:
            raise ValueError(f"at most {MOST_BRANCHING} branches that leave from each other")
        return tuple(_entry(entry, depth + 1) for entry in value)
    name = _name(value)
    if not isinstance(name, str):
        raise ValueError("names in wiring order; a list among them is a branch")  # noqa: TRY004 - as the others
    if len(name) > MOST_CHARACTERS:
        raise ValueError(f"names of at most {MOST_CHARACTERS} characters")
    return name


def _size(value: object) -> object:
    """``5 x 8``: columns and rows."""
    if not isinstance(value, str):
        return value
    found = re.fullmatch(r"([0-9]{1,3})\s*[xX]\s*([0-9]{1,3})", value.strip())
    if found is None:
        raise ValueError("columns and rows, such as 5 x 8")
    return [int(found[1]), int(found[2])]


_TEXT_OR_NUMBER = WithJsonSchema({"type": ["string", "number"]})
_ANY_TEXT = WithJsonSchema({"type": ["string", "number"], "maxLength": 400})

Text = Annotated[str, BeforeValidator(_text), Field(max_length=400), _ANY_TEXT]
Name = Annotated[str, BeforeValidator(_name), Field(min_length=1, max_length=MOST_CHARACTERS), _ANY_TEXT]
Flag = Annotated[bool, BeforeValidator(_flag), WithJsonSchema({"enum": ["yes", "no", True, False]})]
Count = Annotated[int, BeforeValidator(count_of), Field(ge=0, le=9999), _TEXT_OR_NUMBER]
Line = Annotated[int, Field(ge=1, le=32)]
Size = Annotated[
    tuple[Line, Line],
    BeforeValidator(_size),
    WithJsonSchema({"type": "string", "pattern": r"^[0-9]+\s*[xX]\s*[0-9]+$"}),
]
Position = Annotated[int, BeforeValidator(count_of), Field(ge=1, le=200), _TEXT_OR_NUMBER]
Colour = Annotated[str, BeforeValidator(_colour), WithJsonSchema({"type": "string"})]


_POSITIVE = Field(gt=0, allow_inf_nan=False)
_NOT_NEGATIVE = Field(ge=0, allow_inf_nan=False)

Volts = Annotated[float, BeforeValidator(partial(_quantity, unit="V")), _POSITIVE, _TEXT_OR_NUMBER]
Amperes = Annotated[float, BeforeValidator(partial(_quantity, unit="A")), _POSITIVE, _TEXT_OR_NUMBER]
Ohms = Annotated[float, BeforeValidator(partial(_quantity, unit="ohm")), _POSITIVE, _TEXT_OR_NUMBER]
Farads = Annotated[float, BeforeValidator(partial(_quantity, unit="F")), _POSITIVE, _TEXT_OR_NUMBER]
Henries = Annotated[float, BeforeValidator(partial(_quantity, unit="H")), _POSITIVE, _TEXT_OR_NUMBER]
Milliseconds = Annotated[float, BeforeValidator(partial(_quantity, unit="ms")), _POSITIVE, _TEXT_OR_NUMBER]
Minutes = Annotated[
    float, BeforeValidator(partial(_quantity, unit="min")), Field(ge=0, le=1000), _TEXT_OR_NUMBER
]
OhmsOrNone = Annotated[
    float, BeforeValidator(partial(_quantity_or_none, unit="ohm")), _NOT_NEGATIVE, _TEXT_OR_NUMBER
]
FaradsOrNone = Annotated[
    float, BeforeValidator(partial(_quantity_or_none, unit="F")), _NOT_NEGATIVE, _TEXT_OR_NUMBER
]
Chart = Annotated[
    tuple[tuple[Annotated[str, Field(max_length=60)], ...], ...],
    BeforeValidator(_chart),
    WithJsonSchema(
        {
            "anyOf": [
                {"type": "string", "description": "one row a line, | between the cells"},
                {
                    "type": "array",
                    "items": {"type": "array", "items": {"type": ["string", "number", "null"]}},
                },
            ]
        }
    ),
]


def _entry_schema(depth: int) -> dict[str, object]:
    """JSON Schema of one entry: a name or a branch. Two branches in each other are spelled out."""
    inner = _entry_schema(depth - 1) if depth else {}
    branch = {"type": "array", "items": inner, "minItems": 1, "description": "a branch that leaves here"}
    return {"anyOf": [{"type": ["string", "number"]}, branch]}


_ENTRIES_SCHEMA = {"type": "array", "items": _entry_schema(1)}
Chain = Annotated[
    Literal["unknown", "as the chart"] | Entries,
    BeforeValidator(_chain),
    WithJsonSchema({"anyOf": [{"type": "string"}, _ENTRIES_SCHEMA]}),
]
FeedChain = Annotated[Entries, BeforeValidator(_entries), WithJsonSchema(_ENTRIES_SCHEMA)]
