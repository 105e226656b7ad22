"""From possible faults to independent variables: one for each part, and one for each open line.

Parts that lie in series with nothing attached between them (a pin, its joint and its wire; the
signal parts of one drive) make one and the same open, whichever of them opens. Summing over them
one by one would multiply the work and change nothing, so their opens are one variable whose odds
are those of "at least one of them". A part's other modes stay a variable of their own; that both
happen to one part is a product of two small odds and is neglected here. ``merge=False`` keeps
every part a variable with all its modes, exactly.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

from matrixdoc.checks.model import TWO_WAY_OUTPUTS, MachineModel, opens_only
from matrixdoc.diagnosis.posterior import State, Variable
from matrixdoc.faults.priors import Fault

SERIES_KINDS = frozenset({"wire", "joint", "pin", "socket"})


def series_key(model: MachineModel) -> Mapping[str, str]:
    """For each part in a plain series run: the name of the run. Worked out once for a machine.

    Two parts belong to one run when they share a net that has no third part.
    """
    known: dict[str, list[str]] = {}
    wiring = model.circuit.wiring
    for part in wiring.parts.values():
        for net in part.nets:
            known.setdefault(net, []).append(part.reference)
    parent: dict[str, str] = {}

    def find(name: str) -> str:
        parent.setdefault(name, name)
        while parent[name] != name:
            parent[name] = parent[parent[name]]
            name = parent[name]
        return name

    for references in known.values():
        if len(references) == 2 and all(wiring.parts[r].kind in SERIES_KINDS for r in references):
            parent[find(references[0])] = find(references[1])
    return {name: f"series {find(name)}" for name in list(parent)}


def drive_key(model: MachineModel) -> Mapping[str, str]:
    """For each signal part that serves one drive only, and the drive's one-way output: its name."""
    found: dict[str, str] = {}
    for reference, drives in model.drives_of.items():
        if len(drives) == 1 and reference not in model.sensors_of:
            drive = model.circuit.wiring.drives[drives[0]]
            if drive.open_input == "idle" and reference in drive.path:
                found[reference] = f"drive {drives[0]}"
    for name, drive in model.circuit.wiring.drives.items():
        if drive.open_input == "idle" and model.part(drive.output).kind not in TWO_WAY_OUTPUTS:
            found[drive.output] = f"drive {name}"
    return found


def build_variables(
    model: MachineModel,
    faults: Iterable[Fault],
    extra: Iterable[Variable] = (),
    *,
    merge: bool = True,
) -> list[Variable]:
    """Variables over ``faults``, in a fixed order; ``extra`` are added as they are."""
    runs = {**series_key(model), **drive_key(model)} if merge else {}
    merged: dict[str, list[Fault]] = {}
    single: dict[str, list[Fault]] = {}
    for fault in sorted(faults):
        effect = model.effects[fault]
        run = runs.get(fault.part)
        if run is not None and opens_only(effect):
            merged.setdefault(run, []).append(fault)
        else:
            single.setdefault(fault.part, []).append(fault)
    variables = []
    for members in merged.values():
        odds = [(f, model.possible[f].odds) for f in members]
        whole = math.prod(1.0 + o for _, o in odds) - 1.0
        likeliest = max(odds, key=lambda o: (o[1], o[0]))[0]
        variables.append(Variable((State(likeliest, whole, tuple(odds), opening=True),)))
    for members in single.values():
        states = tuple(
            State(f, model.possible[f].odds, ((f, model.possible[f].odds),), opens_only(model.effects[f]))
            for f in members
            if model.possible[f].odds > 0.0
        )
        if states:
            variables.append(Variable(states))
    return [*variables, *extra]
