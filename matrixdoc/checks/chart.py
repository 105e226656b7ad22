"""The hypothesis that the definition is wrong: two places of a chart are exchanged.

It is a fault of the chart, not of a part: whoever holds the switch that the chart calls one name
closes the contact of the other. It enters prediction by exchanging the two names in what was set up
and looked at; what the machine shows stays by place.
"""

from __future__ import annotations

from dataclasses import replace

from matrixdoc.checks.situation import Look, Situation
from matrixdoc.circuit.patch import Patch
from matrixdoc.definition.wiring import Part
from matrixdoc.faults.priors import Fault, PossibleFault

CHART = "the chart"
CHART_PART = Part(CHART, "chart", title="the chart of the definition")
AND = " and "
EXCHANGED = " exchanged"
CHART_ODDS = 2e-4
"""Odds that two given places of a chart are exchanged, once a finding points at them (common
practice, no source: an order of magnitude below a dirty contact)."""


def exchanged(one: str, two: str) -> Fault:
    """The hypothesis that the chart has the places of two devices exchanged."""
    first, second = sorted((one, two))
    return Fault(CHART, f"{first}{AND}{second}{EXCHANGED}")


def devices(fault: Fault) -> tuple[str, str]:
    """The two devices of an exchange."""
    first, _, second = fault.mode.removesuffix(EXCHANGED).partition(AND)
    return first, second


def chart_entry(fault: Fault) -> PossibleFault:
    """What an exchange on the chart means to a person."""
    one, two = devices(fault)
    return PossibleFault(
        fault,
        probability=CHART_ODDS / (1.0 + CHART_ODDS),
        odds=CHART_ODDS,
        patch=Patch(),
        words=f"the chart has {one} and {two} the wrong way round",
        repair=f"follow the wires of {one} and {two} at the machine, then correct the definition",
        repair_minutes=4.0,
        success=0.98,
        action="repair",
    )


def as_wired(
    situation: Situation, look: Look, faults: tuple[Fault, ...]
) -> tuple[Situation, Look, tuple[Fault, ...]]:
    """Situation and look as the wiring sees them, and the faults left when the chart's are gone."""
    swaps = [devices(f) for f in faults if f.part == CHART]
    if not swaps:
        return situation, look, faults
    names: dict[str, str] = {}
    for one, two in swaps:
        names |= {one: two, two: one}
    situation = replace(
        situation,
        held=tuple(sorted(names.get(h, h) for h in situation.held)),
        lamps=tuple(names.get(lamp, lamp) for lamp in situation.lamps)
        if look.kind != "lamp"
        else situation.lamps,
    )
    # The machine commands a lamp by its place; the person looks at it by its name.
    return (
        situation,
        replace(look, target=names.get(look.target, look.target)),
        tuple(f for f in faults if f.part != CHART),
    )


class Possible(dict[Fault, PossibleFault]):
    """The possible faults of a machine, and any exchange on its chart that is asked for."""

    def __missing__(self, fault: Fault) -> PossibleFault:
        """Make the entry of an exchange on the chart."""
        if fault.part != CHART:
            raise KeyError(fault)
        return chart_entry(fault)
