"""The public names of the circuit: build one, ask for operating points."""

from matrixdoc.circuit.build import bridge_reference, build_circuit
from matrixdoc.circuit.elements import Branch, Circuit, Instant, Lead, OperatingPoint
from matrixdoc.circuit.operating import operating_points
from matrixdoc.circuit.solver import Solver

__all__ = [
    "Branch",
    "Circuit",
    "Instant",
    "Lead",
    "OperatingPoint",
    "Solver",
    "bridge_reference",
    "build_circuit",
    "operating_points",
]
