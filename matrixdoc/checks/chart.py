"""The hypotheses that the definition is wrong: two places exchanged, a chain in another order.

They are faults of the chart, not of a part. Exchanged: whoever holds the switch that the chart calls one
name closes the contact of the other. It enters prediction by exchanging the two names in what was set up
and looked at; what the machine shows stays by place. In another order: a break leaves dead what really
lies beyond it; it enters prediction as opens of the stubs of those places.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from matrixdoc.checks.situation import Look, Situation
from matrixdoc.circuit.patch import Patch
from matrixdoc.definition.wiring import Part
from matrixdoc.faults.priors import Fault, PossibleFault

CHART = "the chart"
CHART_PART = Part(CHART, "chart", title="the chart of the definition")
AND = " and "
EXCHANGED = " exchanged"
REORDERED = " wired in another order and broken before "
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


def reordered(line: str, places: Sequence[str]) -> Fault:
    """The hypothesis that ``line`` (``switch/C3``) is wired in another order and broken before ``places``."""
    return Fault(CHART, f"{line}{REORDERED}{AND.join(sorted(places))}")


def stub_of(place: str, line: str) -> str:
    """The part that ties a place to a line of the given key."""
    return f"{place}/{'column' if line.startswith('C') else 'row'}_stub"


def stubs_of(fault: Fault) -> tuple[Fault, ...]:
    """The opens that stand for a break in a chain of another order; nothing for another fault."""
    line, between, places = fault.mode.partition(REORDERED)
    if not between:
        return ()
    key = line.rpartition("/")[2]
    return tuple(Fault(stub_of(place, key), "open") for place in places.split(AND))


def chart_entry(fault: Fault, odds: float = CHART_ODDS) -> PossibleFault:
    """What is wrong on the chart means to a person."""
    line, between, places = fault.mode.partition(REORDERED)
    if between:
        name = line.replace("/", " ")
        return PossibleFault(
            fault,
            probability=odds / (1.0 + odds),
            odds=odds,
            patch=Patch(),
            words=f"{name} is wired in another order than the definition says, and broken before {places}",
            repair=f"follow the wire of {name} from its connector on, write its order down and correct the "
            "definition; the break lies before the first of the dead places",
            repair_minutes=10.0,
            success=0.95,
            action="repair",
        )
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
    wrong = [f for f in faults if f.part == CHART]
    if not wrong:
        return situation, look, faults
    stubs = [stub for f in wrong for stub in stubs_of(f)]
    faults = tuple(sorted({*stubs, *(f for f in faults if f.part != CHART)}))
    swaps = [devices(f) for f in wrong if REORDERED not in f.mode]
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
        faults,
    )


class Possible(dict[Fault, PossibleFault]):
    """The possible faults of a machine, and anything on its chart that is asked for."""

    def suspect(self, fault: Fault, odds: float) -> None:
        """Take in something wrong on the chart, with its odds."""
        self[fault] = chart_entry(fault, odds)

    def __missing__(self, fault: Fault) -> PossibleFault:
        """Make the entry of an exchange on the chart."""
        if fault.part != CHART:
            raise KeyError(fault)
        return chart_entry(fault)
