"""From the authoring form to the resolved wiring, with everything that is wrong said at once."""

from __future__ import annotations

import hashlib
import json
from contextlib import suppress
from dataclasses import MISSING, fields, replace
from functools import cache
from typing import Any

from matrixdoc.definition.compile_builder import Builder, TooManyProblems
from matrixdoc.definition.compile_checks import check_form, devices
from matrixdoc.definition.compile_coil_matrix import compile_coil_matrix
from matrixdoc.definition.compile_coils import compile_coils
from matrixdoc.definition.compile_feed_chains import compile_feed_chains
from matrixdoc.definition.compile_lamp_matrix import compile_lamp_matrix
from matrixdoc.definition.compile_lights import compile_lights
from matrixdoc.definition.compile_lines import plan_matrix
from matrixdoc.definition.compile_neighbours import compile_neighbours
from matrixdoc.definition.compile_supplies import feed_net, supply_rail
from matrixdoc.definition.compile_switch_matrix import compile_switch_matrix
from matrixdoc.definition.compile_switches import SwitchIndex, compile_direct_switches
from matrixdoc.definition.compile_verified import mark_verified
from matrixdoc.definition.document import Document
from matrixdoc.definition.errors import InputError
from matrixdoc.definition.schema import MachineForm
from matrixdoc.definition.wiring import Place, Wiring

_MATRICES = {
    "switch": compile_switch_matrix,
    "lamp": compile_lamp_matrix,
    "coil": compile_coil_matrix,
}
_PLAIN = frozenset({str, int, float, bool, type(None)})


def compile_machine(form: MachineForm, document: Document | None = None) -> Wiring:
    """The resolved wiring of ``form``; ``document`` gives problems their lines.

    Raises:
        InputError: everything that contradicts itself or names something that is not there.
    """
    builder = Builder(form, document)
    with suppress(TooManyProblems):
        _compile(builder)
    if builder.problems:
        raise InputError(sorted(dict.fromkeys(builder.problems), key=lambda p: (p.line, p.column)))
    return _wiring(builder)


def _compile(builder: Builder) -> None:
    form = builder.form
    check_form(builder)
    kinds = devices(builder)
    compile_feed_chains(builder, kinds)
    for name, matrix in form.matrices.items():
        plan = plan_matrix(builder, name, matrix)
        if name in kinds and plan.cells:
            _MATRICES[kinds[name]](builder, plan)
        else:
            builder.unread.add(name)
    compile_direct_switches(builder)
    compile_coils(builder, SwitchIndex(builder))
    compile_lights(builder)
    for name in form.supplies:
        supply_rail(builder, name)
    for name, feed in form.feeds.items():
        if feed.supply in builder.supply_names():
            feed_net(builder, name)
    compile_neighbours(builder)
    mark_verified(builder)


def _wiring(builder: Builder) -> Wiring:
    form = builder.form
    usual = frozenset({"switch scan", "lamp test", "coil test"})
    wiring = Wiring(
        title=form.title,
        parts=builder.parts,
        drives=builder.drives,
        sensors=builder.sensors,
        matrices=builder.matrices,
        switches=builder.switches,
        lamps=builder.lamps,
        coils=builder.coils,
        supplies=builder.supplies,
        places=_places(builder),
        connectors=builder.connectors(),
        neighbours=tuple((one, two, where) for (one, two), where in builder.neighbours.items()),
        self_tests=usual if form.self_tests is None else frozenset(form.self_tests),
        notes=form.notes,
        optos=builder.optos,
        batteries=tuple(key for key, board in form.boards.items() if board.battery),
    )
    return replace(wiring, digest=digest(wiring))


def _places(builder: Builder) -> dict[str, Place]:
    stated = {
        key: Place(key, facts.title or key, facts.minutes, facts.power_off)
        for key, facts in builder.form.places.items()
    }
    return builder.used_places | stated


def digest(wiring: Wiring) -> str:
    """SHA-256 of the canonical resolved content, in hexadecimal digits; the digest itself left out."""
    content = json.dumps(
        _canonical(replace(wiring, digest="")), sort_keys=True, ensure_ascii=True, separators=(",", ":")
    )
    return hashlib.sha256(content.encode("ascii")).hexdigest()


@cache
def _defaults(kind: object) -> tuple[tuple[str, object], ...]:
    """Field names of a dataclass, each with its default; a value that no field has stands for none."""
    row: list[tuple[str, object]] = []
    for entry in fields(kind):  # type: ignore[arg-type]  # a class of the wiring
        factory = entry.default_factory
        row.append((entry.name, entry.default if factory is MISSING else factory()))
    return tuple(row)


def _canonical(value: Any) -> Any:  # noqa: ANN401 - any value of the wiring becomes any JSON value
    """Plain lists and objects; sets sorted; fields that have their default left out.

    Leaving those out keeps old digests when a later release adds an optional field.
    """
    kind = type(value)
    if kind in _PLAIN:
        return value
    if kind is tuple or kind is list:
        return [_canonical(entry) for entry in value]
    if kind is dict:
        return {key: _canonical(entry) for key, entry in value.items()}
    if kind is frozenset:
        return sorted(value)
    row = {}
    for name, default in _defaults(value.__class__):
        entry = getattr(value, name)
        if entry != default:
            row[name] = entry if type(entry) in _PLAIN else _canonical(entry)
    return row
