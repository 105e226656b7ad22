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
from collections.abc import Iterable

from matrixdoc.checks.kin import drive_runs, series_runs
from matrixdoc.checks.model import MachineModel, opens_only
from matrixdoc.diagnosis.branches import State, Variable
from matrixdoc.faults.priors import Fault


def build_variables(
    model: MachineModel,
    faults: Iterable[Fault],
    extra: Iterable[Variable] = (),
    *,
    merge: bool = True,
    apart: frozenset[str] = frozenset(),
) -> list[Variable]:
    """Variables over ``faults``, in a fixed order; ``extra`` are added as they are.

    Parts in ``apart`` (repaired ones: they no longer open with their neighbours) are not merged.
    """
    runs = {**series_runs(model), **drive_runs(model)} if merge else {}
    merged: dict[str, list[Fault]] = {}
    single: dict[str, list[Fault]] = {}
    for fault in sorted(faults):
        effect = model.effects[fault]
        run = runs.get(fault.part) if fault.part not in apart else None
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
            State(f, model.possible[f].odds, ((f, model.possible[f].odds),), _opens(model, f))
            for f in members
            if model.possible[f].odds > 0.0
        )
        if states:
            variables.append(Variable(states))
    return [*variables, *extra]


def _opens(model: MachineModel, fault: Fault) -> bool:
    """Whether the fault composes with other opens: a look fails as soon as one is there.

    An open in the supply of the logic does not: no self-test runs, which is another thing to see.
    """
    effect = model.effects[fault]
    if effect.supply and model.circuit.wiring.supplies[effect.supply].rail in model.logic_rails:
        return False
    return opens_only(effect)
