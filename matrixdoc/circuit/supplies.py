"""What a rail delivers: the laws of a supply, averaged over the mains cycle."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from matrixdoc.circuit.elements import Circuit
from matrixdoc.circuit.patch import Patch


@dataclass(frozen=True, slots=True)
class RailSource:
    """A rail as a source: open-circuit volts behind ohms, ripple peak to peak, words for it."""

    open_volts: float
    source_ohm: float
    ripple_v: float
    words: str


def rail_source(
    circuit: Circuit, supply_name: str, patches: Mapping[str, Patch], opened: frozenset[str]
) -> RailSource:
    """The source that a rail is, with faults on its alternating side (early form: being written)."""
    supply = circuit.wiring.supplies[supply_name]
    return RailSource(supply.nominal_v + supply.source_ohm * supply.load_a, supply.source_ohm, 0.0, "healthy")
