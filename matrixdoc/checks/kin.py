"""Faults that are one and the same to every look: kin.

Parts that lie in series with nothing attached between them (a pin, its joint and its wire; the
signal parts of one drive) make the same open, whichever of them opens, and the same short to
ground, but for milliohms. A look cannot tell them apart, so it is worked out once for all of them.
A meter can: its leads go between them, so meter checks are never worked out through kin.

Shorts have a wider kin: wherever along a line its wire touches ground, or two lines touch each other,
a look sees the same, as long as nothing else is broken along the line (:func:`find_line_kin`). That
holds for switches and lamps; a shorted coil feed carries so much that its milliohms count.
"""

from __future__ import annotations

from collections.abc import Mapping

from matrixdoc.checks.joins import Joins
from matrixdoc.checks.model import TWO_WAY_OUTPUTS, FaultEffect, MachineModel, opens_only
from matrixdoc.definition.wiring import GROUND
from matrixdoc.faults.priors import Fault

SERIES_KINDS = frozenset({"wire", "joint", "pin"})
SHORT_OHM = 1.0
"""Below this a shunt is a short: its exact value does not show in a look."""


def series_runs(model: MachineModel) -> dict[str, str]:
    """For each part in a plain series run: the name of the run.

    Two parts belong to one run when they share a net that has no third part.
    """
    at: dict[str, list[str]] = {}
    wiring = model.circuit.wiring
    for part in wiring.parts.values():
        for net in part.nets:
            at.setdefault(net, []).append(part.reference)
    joins: Joins[str] = Joins()
    members: set[str] = set()
    for references in at.values():
        if len(references) == 2 and all(wiring.parts[r].kind in SERIES_KINDS for r in references):
            joins.join(references)
            members.update(references)
    return {name: f"series {joins.find(name)}" for name in sorted(members)}


def drive_runs(model: MachineModel) -> dict[str, str]:
    """For each signal part that serves one drive only, and the drive's one-way output: its name."""
    found: dict[str, str] = {}
    wiring = model.circuit.wiring
    for reference, drives in model.drives_of.items():
        if len(drives) == 1 and reference not in model.sensors_of:
            drive = wiring.drives[drives[0]]
            if drive.open_input == "idle" and reference in drive.path:
                found[reference] = f"drive {drives[0]}"
    for name, drive in wiring.drives.items():
        if drive.open_input == "idle" and model.part(drive.output).kind not in TWO_WAY_OUTPUTS:
            found[drive.output] = f"drive {name}"
    return found


def find_kin(model: MachineModel) -> Mapping[Fault, Fault]:
    """For each possible fault: the first one that no look can tell from it (often itself)."""
    runs = {**series_runs(model), **drive_runs(model)}
    first: dict[tuple[object, ...], Fault] = {}
    return {fault: first.setdefault(_key(model, fault, runs), fault) for fault in sorted(model.effects)}


def _key(model: MachineModel, fault: Fault, runs: Mapping[str, str]) -> tuple[object, ...]:
    effect = model.effects[fault]
    place = runs.get(fault.part, fault.part)
    # On a sensing path an open input floats, while a stuck one reads for sure.
    reads = effect.signal and fault.part in model.sensors_of
    if opens_only(effect) and not reads:
        return place, "open"
    patch = effect.patch
    if effect.signal or effect.output is not None or effect.supply:
        return fault.part if effect.supply else place, patch.stuck, patch.absent, fault.mode
    shunt = patch.shunt_ohm
    if shunt is not None and shunt < SHORT_OHM and not patch.values:
        return place, "short", patch.stuck, patch.absent
    values = tuple(sorted(patch.values.items()))
    return place, values, shunt, patch.ground_ohm, patch.reversed, patch.stuck, patch.absent


def find_line_kin(model: MachineModel, kin: Mapping[Fault, Fault]) -> Mapping[Fault, Fault]:
    """For each possible fault: the first one that no look can tell from it where it is the only fault.

    ``kin`` is :func:`find_kin`. Nets that wires, joints and pins join are one line node: a short from
    anywhere on it to ground, or to another one, is the same but for some tens of milliohms.
    """
    joins: Joins[str] = Joins()
    for part in model.circuit.wiring.parts.values():
        if part.kind in SERIES_KINDS and len(part.nets) == 2 and GROUND not in part.nets:
            joins.join(part.nets)
    first: dict[tuple[object, ...], Fault] = {}
    found: dict[Fault, Fault] = {}
    for fault in sorted(model.effects):
        key = _short_key(model.effects[fault], joins)
        found[fault] = kin[fault] if key is None else first.setdefault(key, kin[fault])
    return found


def _short_key(effect: FaultEffect, joins: Joins[str]) -> tuple[object, ...] | None:
    """What makes two shorts of wiring one; None for anything else."""
    patch, part = effect.patch, effect.part
    if not effect.analog or patch.absent or patch.values or patch.reversed or patch.stuck:
        return None
    if part.kind in SERIES_KINDS and patch.ground_ohm is not None and patch.shunt_ohm is None:
        if patch.ground_ohm >= SHORT_OHM:
            return None
        return "ground", joins.find(part.nets[patch.ground_terminal]), patch.ground_ohm
    if part.kind == "bridge" and patch.shunt_ohm is not None and patch.ground_ohm is None:
        return "bridge", frozenset(joins.find(net) for net in part.nets), patch.shunt_ohm
    return None
