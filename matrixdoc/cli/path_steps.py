"""The parts of one place's circuit, in the order in which a person follows them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from matrixdoc.circuit.netlist import Circuit
from matrixdoc.circuit.paths import current_path, device_of
from matrixdoc.circuit.sharing import drive_of, shared_by, upstream
from matrixdoc.definition.wiring import Part

Layer = Literal["current", "command", "sensing"]


@dataclass(frozen=True, slots=True)
class Step:
    """One part on the path, between two nets (empty for a part of the signal layer).

    ``light``: it gives an optical pair its light.
    """

    part: Part
    layer: Layer
    enters: str
    leaves: str
    devices: tuple[str, ...]
    light: bool = False


def path_steps(circuit: Circuit, reference: str) -> list[Step]:
    """Parts in the order of the current, then those that command it, then those that sense it.

    Of a part: the path of the device that is told for it (``told_for``).
    """
    wiring = circuit.wiring
    device = told_for(circuit, reference) or reference
    named: set[str] = set()

    def step(name: str, layer: Layer, enters: str = "", leaves: str = "", *, light: bool = False) -> Step:
        named.add(name)
        return Step(circuit.parts[name], layer, enters, leaves, shared_by(circuit, name), light)

    steps = [step(s.reference, "current", s.enters, s.leaves) for s in current_path(circuit, device)]
    opto = wiring.optos.get(device)
    if opto is not None and opto.emitter in circuit.parts:
        emitting = current_path(circuit, opto.emitter)
        steps += [step(s.reference, "current", s.enters, s.leaves, light=True) for s in emitting]
    for drive in drive_of(circuit, device) if steps else ():
        parts = (*(part for part, _ in drive.select), *drive.path)
        steps.extend([step(name, "command") for name in parts if name not in named])
    coil = wiring.coils.get(device)
    for name in upstream(circuit, device) if steps else ():
        if name not in named:
            layer: Layer = "command" if coil is not None and name in coil.enable else "sensing"
            steps.append(step(name, layer))
    if not steps and reference in circuit.parts:
        steps.append(step(reference, "command"))
    return steps


def told_for(circuit: Circuit, reference: str) -> str:
    """The device whose path is told: the reference itself, or the first device that a part serves.

    A diode across a coil stands for the coil. Empty where a part serves none.
    """
    device = device_of(circuit, reference)
    if device or reference not in circuit.parts:
        return device
    coils = circuit.wiring.coils.values()
    across = (coil.reference for coil in coils if coil.diode == reference)
    return next(across, "") or next(iter(shared_by(circuit, reference)), "")
