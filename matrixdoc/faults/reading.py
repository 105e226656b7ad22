"""Read a fault catalogue from TOML text and check it: all mistakes at once, each with its place."""

from __future__ import annotations

import difflib
import hashlib
import math
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import fields
from typing import Any, cast, get_args

from matrixdoc.circuit.patch import Patch
from matrixdoc.definition.errors import FIELD_LIMIT, printable
from matrixdoc.faults.catalogue import (
    CASCADE_RELATIONS,
    Action,
    CascadeRule,
    Catalogue,
    CatalogueError,
    ConditionName,
    ConditionRule,
    Cost,
    KindFaults,
    Mode,
    Repair,
    ServiceRule,
    TimingRule,
)

_REPAIR_KEYS = {"action": str, "repair": str, "minutes": float, "success": float, "cost": str}
_KIND_KEYS = {
    "rate": float,
    "rate_source": str,
    "handbook_rate_per_1e6_h": float,
    "handbook_source": str,
    "published": str,
    "mode": list,
    "damage": str,
    **_REPAIR_KEYS,
}
_MODE_KEYS = {
    "name": str,
    "share": float,
    "source": str,
    "words": str,
    "patch": dict,
    "factor": dict,
    "damage": str,
    "duty": float,
    "restless": bool,
    "warmth": dict,
    **_REPAIR_KEYS,
}
_WARMTH_KEYS = {"opens_warm": float, "opens_cold": float, "source": str}
_CASCADE_KEYS = {
    "kinds": list,
    "modes": list,
    "damaged": str,
    "damaged_modes": dict,
    "probability": float,
    "words": str,
    "source": str,
}
_TIMING_KEYS = {
    "place": str,
    "kinds": list,
    "name": str,
    "share": float,
    "twice": float,
    "words": str,
    "action": str,
    "repair": str,
    "minutes": float,
    "success": float,
    "cost": str,
    "source": str,
}
TIMING_PLACES = ("firing switch", "end of stroke")
"""Parts that a rule of timing may speak of."""
_SERVICE_KEYS = {
    "pattern": str,
    "kinds": list,
    "factor": float,
    "use": str,
    "damage": str,
    "source": str,
}
_CONDITION_KEYS = {"name": str, "where": str, "kinds": list, "modes": list, "factor": float, "source": str}
_PATCH_KEYS = {
    "values": dict,
    "absent": bool,
    "shunt_ohm": float,
    "ground_ohm": float,
    "ground_terminal": int,
    "reversed": bool,
    "stuck": str,
}
_TYPE_WORDS = {
    dict: "a table",
    list: "a list",
    str: "text",
    float: "a number",
    int: "a whole number",
    bool: "true or false",
}
_SHARE_TOLERANCE = 1e-6
_LARGEST = 1e15  # no figure of this trade is larger; also keeps whole numbers within a float
_LAST_TERMINAL = 2  # no kind has more than three terminals


def read_catalogue(text: str, name: str) -> Catalogue:
    """The catalogue written in ``text``.

    Args:
        text: TOML, in the form that the head of ``catalogue.toml`` explains.
        name: the file's name, for messages.

    Raises:
        CatalogueError: the text is not TOML, or breaks a rule; the message lists every mistake.
    """
    try:
        document = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise CatalogueError(f"{name}: this is not TOML: {printable(error, FIELD_LIMIT)}") from None
    reader = _Reader(name)
    catalogue = reader.catalogue(document, hashlib.sha256(text.encode("utf-8")).hexdigest())
    if reader.mistakes:
        raise CatalogueError("\n".join(reader.mistakes))
    return catalogue


class _Reader:
    """Turns the document into values and collects mistakes on the way."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.mistakes: list[str] = []
        self.sources: dict[str, str] = {}

    def wrong(self, where: str, words: str) -> None:
        self.mistakes.append(f"{self.name}: {printable(where)}: {printable(words, FIELD_LIMIT)}")

    # -- pieces --------------------------------------------------------------------------------

    def table(self, value: object, keys: Mapping[str, type], where: str) -> dict[str, Any]:
        """``value`` as a table of known keys and right types; wrong entries are left out."""
        if not isinstance(value, dict):
            self.wrong(where, "should be a table")
            return {}
        kept: dict[str, Any] = {}
        for key, found in value.items():
            wanted = keys.get(key)
            if wanted is None:
                near = difflib.get_close_matches(key, keys, 1)
                hint = f"; did you mean {near[0]!r}?" if near else f"; known: {', '.join(keys)}"
                self.wrong(where, f"unknown key {key!r}{hint}")
            elif wanted is float and (not isinstance(found, int | float) or isinstance(found, bool)):
                self.wrong(where, f"{key} should be a number, not {found!r}")
            elif wanted is float and not -_LARGEST < found < _LARGEST:
                self.wrong(where, f"{key} should be a finite number of ordinary size, not {found!r}")
            elif wanted is not float and type(found) is not wanted:
                words = _TYPE_WORDS.get(wanted, wanted.__name__)
                self.wrong(where, f"{key} should be {words}, not {found!r}")
            else:
                kept[key] = float(found) if wanted is float else found
        return kept

    def tables(self, value: object, where: str) -> list[object]:
        if isinstance(value, list):
            return value
        self.wrong(where, "should be a list of tables")
        return []

    def text(self, table: Mapping[str, Any], key: str, where: str) -> str:
        found = cast("str", table.get(key, "")).strip()
        if not found:
            self.wrong(where, f"{key} is missing")
        return found

    def positive(self, table: Mapping[str, Any], key: str, where: str, most: float = math.inf) -> float:
        found = table.get(key)
        if found is None:
            self.wrong(where, f"{key} is missing")
            return 1.0
        if not 0.0 < found <= most:
            limit = "above 0" if most == math.inf else f"above 0 and at most {most:g}"
            self.wrong(where, f"{key} should be {limit}, not {found!r}")
            return 1.0
        return cast("float", found)

    def source(self, table: Mapping[str, Any], key: str, where: str) -> str:
        """The full words of a source: a key of [sources], then after a colon what was done.

        Several sources stand with `` | `` between them.
        """
        found = self.text(table, key, where)
        if not found:
            return ""
        parts = []
        for part in found.split(" | "):
            name, _, rest = part.strip().partition(":")
            full = self.sources.get(name)
            if full is None:
                self.wrong(where, f"{key} names the source {name!r}, which [sources] does not have")
                full = name
            parts.append(f"{full}: {rest.strip()}" if rest.strip() else full)
        return "; ".join(parts)

    def choice(self, table: Mapping[str, Any], key: str, allowed: Iterable[str], where: str) -> str:
        found = self.text(table, key, where)
        names = tuple(allowed)
        if found and found not in names:
            self.wrong(where, f"{key} should be one of {', '.join(names)}, not {found!r}")
        return found

    def numbers(self, table: Mapping[str, Any], where: str) -> dict[str, float]:
        """A table of value name -> positive number."""
        kept = {}
        for key, found in table.items():
            if isinstance(found, bool) or not isinstance(found, int | float) or not 0 < found < _LARGEST:
                self.wrong(where, f"{key} should be a number above 0, not {found!r}")
            else:
                kept[key] = float(found)
        return kept

    def names(self, table: Mapping[str, Any], key: str, known: Iterable[str], where: str) -> frozenset[str]:
        found = table.get(key, [])
        known = frozenset(known)
        for name in found:
            if not isinstance(name, str) or name not in known:
                near = difflib.get_close_matches(str(name), known, 1)
                hint = f"; did you mean {near[0]!r}?" if near else ""
                self.wrong(where, f"{key} names {name!r}, which this catalogue does not have{hint}")
        return frozenset(name for name in found if isinstance(name, str))

    # -- rows ----------------------------------------------------------------------------------

    def patch(self, value: object, where: str) -> Patch:
        table = self.table(value, _PATCH_KEYS, where)
        if "values" in table:
            table["values"] = self.numbers(table["values"], f"{where}.values")
        for key in ("shunt_ohm", "ground_ohm"):
            if key in table and table[key] <= 0:
                self.wrong(where, f"{key} should be above 0 ohm, not {table[key]!r}")
        if not 0 <= table.get("ground_terminal", 0) <= _LAST_TERMINAL:
            self.wrong(
                where, f"ground_terminal should be 0 to {_LAST_TERMINAL}, not {table['ground_terminal']}"
            )
            table.pop("ground_terminal")
        if table.get("stuck", "") not in ("", "active", "idle"):
            self.wrong(where, f"stuck should be 'active' or 'idle', not {table['stuck']!r}")
            table.pop("stuck")
        return Patch(**table)

    def cure(self, table: Mapping[str, Any], where: str) -> Repair:
        """What cures a mode."""
        return Repair(
            cast("Action", self.choice(table, "action", get_args(Action), where)),
            self.text(table, "repair", where),
            self.positive(table, "minutes", where),
            self.positive(table, "success", where, most=1.0),
            cast("Cost", self.choice(table, "cost", get_args(Cost), where)),
        )

    def mode(self, value: object, kind: Mapping[str, Any], where: str) -> Mode:
        table = self.table(value, _MODE_KEYS, where)
        name = self.text(table, "name", where)
        where = f"{where} {name!r}"
        both = {**{k: kind[k] for k in (*_REPAIR_KEYS, "damage") if k in kind}, **table}
        repair = self.cure(both, where)
        patch = self.patch(table.get("patch", {}), f"{where} patch")
        factor = self.numbers(table.get("factor", {}), f"{where} factor")
        if "duty" in table:
            self.positive(table, "duty", where, most=1.0)
        if patch == Patch() and not factor:
            self.wrong(where, "patch changes nothing: name a field of the patch, or a factor")
        warmth = self.table(table.get("warmth", {}), _WARMTH_KEYS, f"{where} warmth")
        if warmth:
            self.warmth(warmth, f"{where} warmth", duty="duty" in table)
        return Mode(
            name,
            self.positive(table, "share", where, most=1.0),
            self.source(table, "source", where),
            self.text(table, "words", where),
            patch,
            repair,
            factor,
            cast("str", both.get("damage", "")),
            cast("float", table.get("duty", 0.0)),
            cast("bool", table.get("restless", False)),
            cast("float", warmth.get("opens_warm", 0.0)),
            cast("float", warmth.get("opens_cold", 0.0)),
            self.source(warmth, "source", f"{where} warmth") if warmth else "",
        )

    def warmth(self, table: Mapping[str, Any], where: str, *, duty: bool) -> None:
        """Check how a mode that comes and goes follows warmth."""
        chances = [self.positive(table, key, where, most=1.0) for key in ("opens_warm", "opens_cold")]
        if sum(chances) > 1.0:
            self.wrong(where, f"opens_warm and opens_cold sum to {sum(chances):.6g}, to more than 1")
        if not duty:
            self.wrong(where, "stands at a mode without a duty: only what comes and goes follows warmth")

    def kind(self, name: str, value: object) -> KindFaults:
        where = f"kind.{name}"
        table = self.table(value, _KIND_KEYS, where)
        modes = tuple(
            self.mode(entry, table, f"{where} mode")
            for entry in self.tables(table.get("mode", []), f"{where} mode")
        )
        if not modes:
            self.wrong(where, f"has no failure mode: add [[{where}.mode]] tables")
        elif abs(sum(m.share for m in modes) - 1.0) > _SHARE_TOLERANCE:
            self.wrong(where, f"the shares of its modes sum to {sum(m.share for m in modes):.6g}, not to 1")
        for mode_name in {m.name for m in modes}:
            if sum(m.name == mode_name for m in modes) > 1:
                self.wrong(where, f"two modes are called {mode_name!r}")
        return KindFaults(
            name,
            self.positive(table, "rate", where),
            self.source(table, "rate_source", where),
            self.positive(table, "handbook_rate_per_1e6_h", where),
            self.source(table, "handbook_source", where),
            self.source(table, "published", where),
            modes,
        )

    def kinds(self, value: object) -> dict[str, KindFaults]:
        if not isinstance(value, dict):
            self.wrong("kind", "there are no [kind.…] tables")
            return {}
        rows: dict[str, KindFaults] = {}
        for name, row in value.items():
            if not (isinstance(row, dict) and "same_as" in row):
                rows[name] = self.kind(name, row)
                continue
            other = value.get(row["same_as"]) if isinstance(row["same_as"], str) else None
            if not isinstance(other, dict) or "same_as" in other:
                self.wrong(f"kind.{name}", f"same_as names {row['same_as']!r}, which is no full row")
                continue
            # What the row says itself replaces what it takes over from the other.
            own = {key: found for key, found in row.items() if key != "same_as"}
            rows[name] = self.kind(name, {**other, **own})
        return rows

    def service(self, value: object, kinds: Mapping[str, KindFaults]) -> ServiceRule:
        table = self.table(value, _SERVICE_KEYS, "service")
        pattern = self.text(table, "pattern", "service")
        where = f"service {pattern!r}"
        use = cast("str", table.get("use", ""))
        if use and use not in kinds:
            self.wrong(where, f"use names {use!r}, and there is no [kind.{use}]")
        return ServiceRule(
            pattern,
            self.names(table, "kinds", kinds, where),
            self.positive({"factor": 1.0, **table}, "factor", where),
            use,
            self.source(table, "source", where),
            cast("str", table.get("damage", "")).strip(),
        )

    def condition(self, value: object, kinds: Mapping[str, KindFaults]) -> ConditionRule:
        table = self.table(value, _CONDITION_KEYS, "condition")
        name = self.choice(table, "name", get_args(ConditionName), "condition")
        where = f"condition {name!r}"
        place = self.choice(table, "where", ("everywhere", "near"), where)
        modes = {mode.name for row in kinds.values() for mode in row.modes}
        return ConditionRule(
            cast("ConditionName", name),
            place == "near",
            self.names(table, "kinds", kinds, where),
            self.names(table, "modes", modes, where),
            self.positive(table, "factor", where),
            self.source(table, "source", where),
        )

    def cascade(self, value: object, kinds: Mapping[str, KindFaults]) -> CascadeRule:
        table = self.table(value, _CASCADE_KEYS, "cascade")
        modes = {mode.name for row in kinds.values() for mode in row.modes}
        damaged = self.choice(table, "damaged", CASCADE_RELATIONS, "cascade")
        shares = self.numbers(table.get("damaged_modes", {}), "cascade damaged_modes")
        for name in shares:
            if name not in modes:
                self.wrong("cascade damaged_modes", f"{name!r} is no failure mode of this catalogue")
        return CascadeRule(
            self.names(table, "kinds", kinds, "cascade"),
            self.names(table, "modes", modes, "cascade"),
            damaged,
            shares,
            self.positive(table, "probability", "cascade", most=1.0),
            self.text(table, "words", "cascade"),
            self.source(table, "source", "cascade"),
        )

    def timing(self, value: object, kinds: Mapping[str, KindFaults]) -> TimingRule:
        table = self.table(value, _TIMING_KEYS, "timing")
        return TimingRule(
            self.choice(table, "place", TIMING_PLACES, "timing"),
            self.names(table, "kinds", kinds, "timing"),
            self.text(table, "name", "timing"),
            self.positive(table, "share", "timing", most=1.0),
            self.positive(table, "twice", "timing", most=1.0),
            self.text(table, "words", "timing"),
            self.cure(table, "timing"),
            self.source(table, "source", "timing"),
        )

    def catalogue(self, document: Mapping[str, Any], digest: str) -> Catalogue:
        known = {
            "format": int,
            "sources": dict,
            "kind": dict,
            "service": list,
            "condition": list,
            "cascade": list,
            "timing": list,
        }
        table = self.table(dict(document), known, "top")
        if table.get("format") != 1:
            self.wrong("top", f"format should be 1, not {table.get('format')!r}")
        for key, words in table.get("sources", {}).items():
            if isinstance(words, str) and words.strip():
                self.sources[key] = words.strip()
            else:
                self.wrong("sources", f"{key} should be text that names the source, not {words!r}")
        kinds = self.kinds(table.get("kind"))
        service = [self.service(row, kinds) for row in self.tables(table.get("service", []), "service")]
        conditions = [
            self.condition(row, kinds) for row in self.tables(table.get("condition", []), "condition")
        ]
        cascades = [self.cascade(row, kinds) for row in self.tables(table.get("cascade", []), "cascade")]
        timing = [self.timing(row, kinds) for row in self.tables(table.get("timing", []), "timing")]
        return Catalogue(kinds, tuple(service), tuple(conditions), digest, tuple(cascades), tuple(timing))


# A new field of Patch must be readable from the file: say so when the module is imported, not at the bench.
if {field.name for field in fields(Patch)} != set(_PATCH_KEYS):
    raise AssertionError("the fields of Patch and the keys of a patch in the catalogue differ")
