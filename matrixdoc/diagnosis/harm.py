"""Acts that the circuit says would do harm are never offered.

A clip lead from a coil's driven lug to ground carries the coil's own current if all is well. Where it
would carry much more (a shorted winding or coil diode, a lug that is not the driven one, a drive on the
supply's side), it blows a fuse or burns a trace: the circuit is asked, for the healthy machine and for
every suspect. A coil that is driven on the supply's side is never grounded: that lug is at rest without
volts, and a drive that turns on meanwhile would feed a short.
"""

from __future__ import annotations

from collections.abc import Sequence

from matrixdoc.checks.acts import driven_lug
from matrixdoc.checks.predictor import Predictor
from matrixdoc.checks.situation import Check, both_ends
from matrixdoc.definition.wiring import GROUND
from matrixdoc.faults.priors import Fault

TOO_MUCH = 1.5
"""Times the coil's own current that a lead to ground may carry (common practice, no source)."""
LEAST_HARM = 0.02
"""Chance of harm from which an act is not offered (common practice, no source)."""


def grounding(check: Check) -> bool:
    """Whether the check puts a clip lead to ground on a machine that is switched on."""
    leads = check.situation.jumpers
    return check.situation.power and any(GROUND in both_ends(lead) for lead in leads)


def would_harm(
    predictor: Predictor,
    check: Check,
    hypotheses: Sequence[tuple[Fault, ...]],
    chances: Sequence[float],
) -> bool:
    """Whether a grounding check may carry too much current.

    ``hypotheses``: what may be wrong, each with its chance; nothing at all is asked about as well.
    """
    coil = check.look.target
    coils = predictor.coils
    if coil not in coils.coils or not driven_lug(predictor.model, coils.coils[coil]):
        return True
    asked = [(), *hypotheses]
    amps = coils.lead_amps([predictor.effects(check.situation, faults) for faults in asked])
    limit = TOO_MUCH * coils.amps(coil, (), ())[coil]
    if limit <= 0.0 or amps[0] > limit:
        return True
    return sum(p for p, value in zip(chances, amps[1:], strict=True) if value > limit) > LEAST_HARM
