"""Entries, findings and settings as plain JSON objects, and back without loss.

Fields that have their usual value are left out; sets are written sorted. Reading checks every type:
a file that somebody edited gives an entry or a :class:`RecordError`, never a half-made value.
"""

from __future__ import annotations

import math
from dataclasses import MISSING, fields
from typing import Any, TypeVar, get_args

from matrixdoc.case.case import Entry, EntryKind
from matrixdoc.checks.situation import Finding, Look, LookKind, MeterFunction, Outcome, Situation
from matrixdoc.diagnosis.settings import Settings

Record = dict[str, Any]

_T = TypeVar("_T", Situation, Look, Settings)


class RecordError(ValueError):
    """A JSON object that is not the record it should be."""


def finding_record(finding: Finding) -> Record:
    """A finding as a JSON object: situation, look, outcome, words."""
    record: Record = {
        "situation": _plain(finding.situation),
        "look": _plain(finding.look),
        "outcome": outcome_record(finding.outcome),
    }
    if finding.words:
        record["words"] = finding.words
    return record


def outcome_record(outcome: Outcome) -> list[str] | str | float:
    """A set as a sorted list, a word as it is, a number as a float."""
    if isinstance(outcome, frozenset):
        return sorted(outcome)
    return outcome if isinstance(outcome, str) else float(outcome)


def finding_from_record(record: object) -> Finding:
    """The finding that :func:`finding_record` wrote.

    Raises:
        RecordError: a field is missing, unknown or of the wrong type.
    """
    whole = _mapping(record, "finding", {"situation", "look", "outcome", "words"})
    look = _rebuild(Look, whole.get("look"), "look")
    if look.kind not in get_args(LookKind):
        raise RecordError(f"unknown kind of look {look.kind!r}")
    if look.function and look.function not in get_args(MeterFunction):
        raise RecordError(f"unknown meter function {look.function!r}")
    return Finding(
        situation=_rebuild(Situation, whole.get("situation"), "situation"),
        look=look,
        outcome=_outcome(whole.get("outcome")),
        words=_text(whole.get("words", ""), "words"),
    )


def entry_record(entry: Entry) -> Record:
    """An entry as a JSON object; empty fields are left out."""
    record: Record = {"number": entry.number, "kind": entry.kind}
    if entry.finding is not None:
        record["finding"] = finding_record(entry.finding)
    for name in ("time", "author", "check_key", "action", "text"):
        if value := getattr(entry, name):
            record[name] = value
    if entry.parts:
        record["parts"] = list(entry.parts)
    if entry.target:
        record["target"] = entry.target
    return record


def entry_from_record(record: object) -> Entry:
    """The entry that :func:`entry_record` wrote.

    Raises:
        RecordError: a field is missing, unknown or of the wrong type.
    """
    names = {one.name for one in fields(Entry)}
    whole = _mapping(record, "entry", names)
    kind: EntryKind | None = whole.get("kind")
    if kind is None or kind not in get_args(EntryKind):
        raise RecordError(f"unknown kind of entry {kind!r}")
    finding = whole.get("finding")
    if (kind == "finding") != (finding is not None):
        raise RecordError("an entry of kind finding, and no other, carries a finding")
    return Entry(
        number=_whole_number(whole.get("number"), "number", least=1),
        kind=kind,
        time=_text(whole.get("time", ""), "time"),
        author=_text(whole.get("author", ""), "author"),
        finding=None if finding is None else finding_from_record(finding),
        check_key=_text(whole.get("check_key", ""), "check_key"),
        parts=_texts(whole.get("parts", []), "parts"),
        action=_text(whole.get("action", ""), "action"),
        target=_whole_number(whole.get("target", 0), "target"),
        text=_text(whole.get("text", ""), "text"),
    )


def settings_record(settings: Settings) -> Record:
    """Settings as a JSON object; usual values are left out."""
    return _plain(settings)


def settings_from_record(record: object) -> Settings:
    """The settings that :func:`settings_record` wrote.

    Raises:
        RecordError: a field is unknown or of the wrong type.
    """
    return _rebuild(Settings, record, "settings")


def _plain(value: Situation | Look | Settings) -> Record:
    record: Record = {}
    for one in fields(value):
        found = getattr(value, one.name)
        if one.default is MISSING or found != one.default:
            record[one.name] = list(found) if isinstance(found, tuple) else found
    return record


def _rebuild(kind: type[_T], record: object, name: str) -> _T:
    """Build a flat frozen dataclass, each field of the type of its default."""
    described = {one.name: one for one in fields(kind)}
    whole = _mapping(record, name, set(described))
    values: Record = {}
    for field_name, one in described.items():
        where = f"{name}.{field_name}"
        default = "" if one.default is MISSING else one.default
        if field_name not in whole:
            if one.default is MISSING:
                raise RecordError(f"{where} is missing")
            continue
        values[field_name] = _like(default, whole[field_name], where)
    return kind(**values)


def _like(default: object, value: object, where: str) -> object:
    if isinstance(default, bool):
        if not isinstance(value, bool):
            raise RecordError(f"{where} must be true or false")
        return value
    if isinstance(default, float):
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            raise RecordError(f"{where} must be a number")
        return float(value)
    if isinstance(default, tuple):
        return _texts(value, where)
    return _text(value, where)


def _mapping(record: object, name: str, allowed: set[str]) -> Record:
    if not isinstance(record, dict):
        raise RecordError(f"{name} must be an object")
    if unknown := set(record) - allowed:
        raise RecordError(f"{name} has unknown fields: {', '.join(sorted(map(str, unknown)))}")
    return record


def _text(value: object, where: str) -> str:
    if not isinstance(value, str):
        raise RecordError(f"{where} must be text")
    return value


def _texts(value: object, where: str) -> tuple[str, ...]:
    if not isinstance(value, list):
        raise RecordError(f"{where} must be a list of texts")
    return tuple(_text(one, where) for one in value)


def _whole_number(value: object, where: str, least: int = 0) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or value < least:
        raise RecordError(f"{where} must be a whole number from {least}")
    return value


def _outcome(value: object) -> Outcome:
    if isinstance(value, list):
        return frozenset(_texts(value, "outcome"))
    if isinstance(value, str):
        return value
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise RecordError("outcome must be a list of references, a word or a number")
    return float(value)
