"""The table of part kinds: terminals, branches, healthy values and types (``kinds.toml``)."""

from __future__ import annotations

import difflib
import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Any, Literal

When = Literal["always", "active", "idle"]


@dataclass(frozen=True, slots=True)
class BranchRule:
    """One branch of a kind: terminal numbers, state, and the names of its values.

    ``saturation`` and ``emission`` are empty for a resistance. ``source`` names a voltage that
    lifts the second terminal. ``cold_ohm`` names the resistance while no rail is live.
    """

    first: int
    second: int
    when: When
    ohm: str
    saturation: str = ""
    emission: str = ""
    source: str = ""
    cold_ohm: str = ""


@dataclass(frozen=True, slots=True)
class Value:
    """A healthy value (unit in its name) with its source; ``rule`` works it out from others."""

    name: str
    value: float
    source: str
    rule: Literal["", "quotient", "product"] = ""
    of: tuple[str, str] = ("", "")


@dataclass(frozen=True, slots=True)
class Kind:
    """A row of the table of kinds."""

    name: str
    words: str
    terminals: tuple[str, ...]
    branches: tuple[BranchRule, ...]
    values: Mapping[str, Value]
    default_type: str


@dataclass(frozen=True, slots=True)
class PartType:
    """Values of one type of a kind, for example diode 1N4148."""

    kind: str
    name: str
    values: Mapping[str, float]
    source: str


@dataclass(frozen=True, slots=True)
class Threshold:
    """Input levels of a logic family at ``supply_v``: ``low_v`` and below low, ``high_v`` and above high."""

    name: str
    low_v: float
    high_v: float
    supply_v: float
    floating: str
    source: str


@dataclass(frozen=True, slots=True)
class KindTable:
    """Everything in ``kinds.toml``: kinds by name, types by (kind, type name), thresholds by family."""

    kinds: Mapping[str, Kind]
    types: Mapping[tuple[str, str], PartType]
    thresholds: Mapping[str, Threshold]

    def kind(self, name: str) -> Kind:
        """The kind of that name; ``ValueError`` with the nearest name when there is none."""
        found = self.kinds.get(name)
        if found is None:
            raise ValueError(f"unknown part kind {name!r}{nearest(name, self.kinds)}")
        return found

    def type_names(self, kind: str) -> tuple[str, ...]:
        """Names of the types of a kind, in the order of the table."""
        return tuple(name for of_kind, name in self.types if of_kind == kind)

    def values(
        self, kind: str, type_name: str = "", own: Mapping[str, float] | None = None
    ) -> dict[str, float]:
        """Healthy values of a part: the kind's, replaced by the type's, replaced by its own.

        A type name that the table does not know (a machine may carry any marking) leaves the
        kind's values; ``ValueError`` for a value name that the kind does not have or a number
        that is not finite, or negative where it is not a voltage.
        """
        row = self.kind(kind)
        chosen: dict[str, float] = {}
        if type_name and (kind, type_name) in self.types:
            chosen.update(self.types[(kind, type_name)].values)
        if own:
            check_values(row, own)
            chosen.update(own)
        values: dict[str, float] = {}
        for name, value in row.values.items():
            if name in chosen:
                values[name] = chosen[name]
            elif value.rule:
                first, second = values[value.of[0]], values[value.of[1]]
                if value.rule == "quotient":
                    values[name] = first / second if second else math.inf
                else:
                    values[name] = first * second
            else:
                values[name] = value.value
        return values


def nearest(name: str, known: Mapping[str, Any] | tuple[str, ...]) -> str:
    """A hint for a message: the nearest known word, or the whole list if it is short."""
    close = difflib.get_close_matches(name, list(known), n=1)
    if close:
        return f"; did you mean {close[0]!r}?"
    words = sorted(known)
    return f"; known: {', '.join(words)}" if words and len(words) <= 40 else ""


def check_values(kind: Kind, values: Mapping[str, float]) -> None:
    """Refuse value names that the kind does not have, and impossible numbers (``ValueError``)."""
    for name, value in values.items():
        if name not in kind.values:
            raise ValueError(f"a {kind.words or kind.name} has no value {name!r}{nearest(name, kind.values)}")
        if math.isnan(value) or (value < 0 and not name.endswith("_v")):
            raise ValueError(
                f"{name} of a {kind.words or kind.name} must be a number of 0 or more, found {value}"
            )


def _rule(terminals: tuple[str, ...], raw: Mapping[str, str]) -> BranchRule:
    when = raw["when"]
    if when not in ("always", "active", "idle"):
        raise ValueError(f"branch state {when!r}: wanted always, active or idle")
    return BranchRule(
        terminals.index(raw["from"]),
        terminals.index(raw["to"]),
        when,  # type: ignore[arg-type]
        raw["ohm"],
        raw.get("saturation", ""),
        raw.get("emission", ""),
        raw.get("source", ""),
        raw.get("cold_ohm", ""),
    )


def _value(name: str, raw: Mapping[str, Any]) -> Value:
    if "quotient" in raw:
        return Value(name, math.nan, raw["source"], "quotient", tuple(raw["quotient"]))
    if "product" in raw:
        return Value(name, math.nan, raw["source"], "product", tuple(raw["product"]))
    return Value(name, float(raw["value"]), raw["source"])


def read_kind_table(text: str) -> KindTable:
    """Parse the text of a table of kinds; ``ValueError`` or ``KeyError`` if it is malformed."""
    raw = tomllib.loads(text)
    kinds: dict[str, Kind] = {}
    for name, row in raw["kind"].items():
        terminals = tuple(row["terminals"])
        values = {key: _value(key, entry) for key, entry in row.get("values", {}).items()}
        rules = tuple(_rule(terminals, entry) for entry in row["branches"])
        for rule in rules:
            for needed in (rule.ohm, rule.saturation, rule.emission, rule.source, rule.cold_ohm):
                if needed and needed not in values:
                    raise ValueError(f"kind {name}: a branch names the value {needed!r}, which is not given")
        kinds[name] = Kind(
            name,
            row.get("words", ""),
            terminals,
            rules,
            MappingProxyType(values),
            row.get("default_type", ""),
        )
    types: dict[tuple[str, str], PartType] = {}
    for kind, rows in raw.get("type", {}).items():
        for name, row in rows.items():
            numbers = {key: float(entry) for key, entry in row.items() if key != "source"}
            check_values(kinds[kind], numbers)
            types[(kind, name)] = PartType(kind, name, MappingProxyType(numbers), row["source"])
    thresholds = {
        name: Threshold(name, row["low_v"], row["high_v"], row["supply_v"], row["floating"], row["source"])
        for name, row in raw.get("threshold", {}).items()
    }
    return KindTable(MappingProxyType(kinds), MappingProxyType(types), MappingProxyType(thresholds))


@cache
def load_kind_table() -> KindTable:
    """The table that ships with the program."""
    return read_kind_table(files("matrixdoc.circuit").joinpath("kinds.toml").read_text(encoding="utf-8"))
