"""A fuse that a coil's pulse blew: the coil's short and the blown fuse as one hypothesis.

A shorted winding or coil diode blows nothing while the machine stands; at the coil's first pulse the fuse
goes, or the drive part. Taken as two independent faults, a blown fuse and a shorted coil would be chance.
Whether a pulse blows the fuse is worked out (``checks.fuses``); how often it was the fuse, and not the drive
part, is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable

from matrixdoc.checks.fuses import AT_ONCE
from matrixdoc.checks.model import FaultEffect, MachineModel
from matrixdoc.diagnosis.branches import State, Variable
from matrixdoc.diagnosis.composites import Composite
from matrixdoc.diagnosis.evidence import Evidence
from matrixdoc.faults.priors import Fault

FUSE_FIRST = 0.3
"""Share of shorted coils and coil diodes that have blown their fuse by the time somebody looks; the others
have killed their drive part, or did not fire yet."""


def pulse_variables(
    evidence: Evidence, model: MachineModel, suspects: Iterable[Fault]
) -> tuple[list[Variable], dict[Fault, Composite]]:
    """For each blown fuse among the suspects that somebody looked at: what in a coil may have blown it."""
    asked = {f.look.target for f in evidence.findings if f.look.kind in ("fuse", "new fuse")}
    asked |= set(evidence.mended_now)
    variables: list[Variable] = []
    composites: dict[Fault, Composite] = {}
    blown = [f for f in suspects if f.part in asked and model.part(f.part).kind == "fuse"]
    for fault in sorted(
        f for f in set(blown) if model.effects[f].patch.absent and not model.possible[f].duty
    ):
        states = []
        for effect, share in _blowing(evidence, model, fault.part):
            alias = Fault(fault.part, f"{fault.mode} by {effect.part.reference} {effect.fault.mode}")
            odds = model.possible[effect.fault].odds * FUSE_FIRST * share
            composites[alias] = Composite(tuple(sorted((effect.fault, fault))))
            states.append(State(alias, odds, ((alias, odds),), opening=False))
        if states:
            variables.append(Variable(tuple(states)))
    return variables, composites


def _blowing(evidence: Evidence, model: MachineModel, fuse: str) -> list[tuple[FaultEffect, float]]:
    """Faults of coils behind a fuse whose pulse blows it, with the chance that one pulse does."""
    coils, fuses = evidence.predictor.coils, evidence.predictor.fuses
    supply = fuses.supply_of.get(fuse)
    rows: list[tuple[str, FaultEffect]] = []
    for name, coil in coils.coils.items():
        feeds = coils.feed_parts(name)
        rails = {net for part in feeds for net in model.part(part).nets}
        if fuse in feeds or (supply is not None and supply.rail in rails):
            own = (e for e in model.effects.values() if e.part.reference in (coil.element, coil.diode))
            rows += [(name, e) for e in own if e.adding or e.patch.values]
    fuses.prepare([(fuse, name, (effect,)) for name, effect in rows])
    found = []
    for name, effect in rows:
        share = dict(fuses.predict(fuse, name, (effect,))).get(AT_ONCE, 0.0)
        if share > 0.05:
            found.append((effect, share))
    return found
