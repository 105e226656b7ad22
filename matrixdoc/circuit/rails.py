"""The rails of an instant: which are live, their volts, and every branch of the machine with them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from matrixdoc.circuit.elements import Circuit, RawBranch
from matrixdoc.circuit.islands import SOURCE_OFFSET
from matrixdoc.circuit.structure import Structure
from matrixdoc.circuit.touched import Touched, net_number

MIN_SOURCE_OHM = 1e-3
"""A rail that is solved with its load has at least this much behind it."""


@dataclass(frozen=True, slots=True)
class RailState:
    """Rails of an instant: live rail numbers, boundary volts by net, source branches by rail."""

    live: frozenset[int]
    boundary: Mapping[int, float]
    sources: dict[int, RawBranch]


def rail_state(circuit: Circuit, rails: Mapping[str, tuple[float, float]] | None) -> RailState:
    """Volts and ohms of every rail; ``ValueError`` for a net that is no rail or numbers that are not."""
    by_net: dict[int, tuple[float, float]] = {}
    for name, (volts, ohm) in (rails or {}).items():
        net = net_number(circuit, name)
        if net not in circuit.rail_of_net:
            raise ValueError(f"{name!r} is not the rail of a supply")
        if math.isnan(volts) or math.isnan(ohm) or ohm < 0 or math.isinf(volts):
            raise ValueError(f"rail {name!r}: wanted volts and ohms, found {volts}, {ohm}")
        by_net[net] = (volts, ohm)
    boundary = {0: 0.0}
    sources: dict[int, RawBranch] = {}
    live = set()
    for number, rail in enumerate(circuit.rails):
        volts, ohm = by_net.get(rail.net, (rail.open_volts, rail.source_ohm))
        if math.isinf(ohm) or rail.net == 0:
            continue
        live.add(number)
        if rail.stiff:
            boundary[rail.net] = volts - ohm * rail.load_a
        else:
            sources[number] = RawBranch(rail.net, 0, max(ohm, MIN_SOURCE_OHM), 0.0, 1.0, volts)
    return RailState(frozenset(live), boundary, sources)


def whole_branches(
    circuit: Circuit, structure: Structure, rails: RailState, touched: Sequence[Touched]
) -> list[tuple[RawBranch, int]]:
    """Every branch of the machine at an instant, with part numbers, sources of rails included."""
    changed = {item.part for item in touched if item.part >= 0}
    found = [
        (branch, part)
        for part, branches in enumerate(structure.idle)
        if part not in changed
        for branch in branches
    ]
    found.extend((branch, item.part) for item in touched for branch in item.branches)
    for number, rail in enumerate(circuit.rails):
        if number in rails.sources:
            found.append((rails.sources[number], SOURCE_OFFSET - number))
        elif number not in rails.live and rail.load_ohm != math.inf and rail.net != 0:
            found.append((RawBranch(rail.net, 0, rail.load_ohm, 0.0, 1.0, 0.0), SOURCE_OFFSET - number))
    return found
