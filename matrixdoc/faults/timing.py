"""Faults that only timing shows: which parts of a machine can have them, and how often.

They change nothing that a direct-current model computes, so they are kept beside the faults that do, and
what they make a coil do is a rule (see ``checks.timing``).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from matrixdoc.circuit.patch import Patch
from matrixdoc.definition.wiring import Coil, Part, Wiring
from matrixdoc.faults.catalogue import Catalogue, TimingRule
from matrixdoc.faults.priors import Fault, PossibleFault


def timed_parts(wiring: Wiring, coil: Coil) -> Iterator[tuple[str, Part]]:
    """(place, part) of the parts whose timing a coil depends on: the switch that fires it without the logic,
    with the capacitor across it, and its end-of-stroke contact.
    """
    switch = wiring.switches.get(coil.fired_by)
    if switch is not None and not coil.end_of_stroke and not coil.holds:
        contact = wiring.parts[switch.contact]
        yield "firing switch", contact
        for part in wiring.parts.values():
            if part.kind == "capacitor" and set(part.nets) == set(contact.nets):
                yield "firing switch", part
    if coil.end_of_stroke in wiring.parts:
        yield "end of stroke", wiring.parts[coil.end_of_stroke]


def timing_faults(
    wiring: Wiring, catalogue: Catalogue, possible: Mapping[Fault, PossibleFault]
) -> dict[Fault, PossibleFault]:
    """The faults of timing that a machine can have, by the odds of the other faults of the same part."""
    odds: dict[str, float] = {}
    for fault, entry in possible.items():
        odds[fault.part] = odds.get(fault.part, 0.0) + entry.odds
    found: dict[Fault, PossibleFault] = {}
    for coil in wiring.coils.values():
        for place, part in timed_parts(wiring, coil):
            for rule in catalogue.timing:
                if rule.place == place and part.kind in rule.kinds:
                    fault = Fault(part.reference, rule.name)
                    found.setdefault(fault, _entry(fault, rule, rule.share * odds.get(part.reference, 0.0)))
    return {fault: entry for fault, entry in found.items() if entry.odds > 0.0 and fault not in possible}


def _entry(fault: Fault, rule: TimingRule, odds: float) -> PossibleFault:
    return PossibleFault(
        fault,
        probability=odds / (1.0 + odds),
        odds=odds,
        patch=Patch(),
        words=rule.words,
        repair=rule.repair.words,
        repair_minutes=rule.repair.minutes,
        success=rule.repair.success,
        action=rule.repair.action,
        cost=rule.repair.cost,
        twice=rule.twice,
    )
