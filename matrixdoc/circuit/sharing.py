"""What devices depend on, and what they share: paths, and the signal parts that command or sense."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from types import MappingProxyType

from matrixdoc.circuit.elements import Circuit
from matrixdoc.circuit.paths import current_path, device_elements, device_of
from matrixdoc.definition.wiring import Drive


def drive_of(circuit: Circuit, reference: str) -> tuple[Drive, ...]:
    """Drives whose output parts are on the current path of a device."""
    names = {step.reference for step in current_path(circuit, reference)}
    return tuple(drive for drive in circuit.wiring.drives.values() if drive.output in names)


def upstream(circuit: Circuit, reference: str) -> tuple[str, ...]:
    """Parts without which a device gets neither current nor command.

    Its current path, then the signal parts of the drives on it, then the signal parts behind the
    input that senses it, then what gives an optical pair its light, then the receiver of a buffered
    pair and its buffer, in order, each once.
    """
    names: dict[str, None] = dict.fromkeys(step.reference for step in current_path(circuit, reference))
    reference = device_of(circuit, reference) or reference
    for drive in drive_of(circuit, reference):
        names.update(dict.fromkeys((*(part for part, _ in drive.select), *drive.path)))
    wiring = circuit.wiring
    switch = wiring.switches.get(reference)
    if switch is not None and switch.sensor in wiring.sensors:
        sensor = wiring.sensors[switch.sensor]
        names.update(
            (part.reference, None)
            for part in circuit.parts.values()
            if part.kind == "sensing" and part.nets and part.nets[0] == sensor.net
        )
        names.update(dict.fromkeys(sensor.path))
    coil = wiring.coils.get(reference)
    if coil is not None:
        names.update(dict.fromkeys(coil.enable))
    opto = wiring.optos.get(reference)
    if opto is not None and opto.emitter in circuit.parts:
        names.update(dict.fromkeys(step.reference for step in current_path(circuit, opto.emitter)))
    if opto is not None and opto.sensor in wiring.sensors:
        # A buffered pair: the receiver pulls the buffer's input down, the buffer commands the contact.
        sensor = wiring.sensors[opto.sensor]
        behind = [part.reference for part in circuit.parts.values() if sensor.net in part.nets]
        names.update(dict.fromkeys((*behind, sensor.reference, *sensor.path)))
    return tuple(names)


def _upstream_of_all(circuit: Circuit) -> Mapping[str, tuple[str, ...]]:
    found: Mapping[str, tuple[str, ...]] | None = circuit.structures.get("upstream")
    if found is None:
        found = MappingProxyType({name: upstream(circuit, name) for name in device_elements(circuit)})
        circuit.structures["upstream"] = found
    return found


def shared_by(circuit: Circuit, part: str) -> tuple[str, ...]:
    """Devices that a part serves: they all suffer when it fails. ``ValueError`` if unknown."""
    if part not in circuit.parts:
        raise ValueError(f"no part {part!r} in this machine")
    return tuple(device for device, names in _upstream_of_all(circuit).items() if part in names)


def shared_parts(circuit: Circuit, first: str, second: str) -> tuple[str, ...]:
    """Parts upstream of both devices, in the order of the first."""
    others = set(upstream(circuit, second))
    return tuple(name for name in upstream(circuit, first) if name in others)


def only_on(circuit: Circuit, device: str, others: Iterable[str] | None = None) -> tuple[str, ...]:
    """Parts upstream of a device and of none of the others (default: every other device).

    Devices that share their element (a switch and its cell) count as one.
    """
    elements = device_elements(circuit)
    own = elements.get(device, device)
    every = _upstream_of_all(circuit)
    rest = [name for name in (every if others is None else others) if elements.get(name) != own]
    taken: set[str] = set()
    for name in rest:
        taken.update(every[name] if name in every else upstream(circuit, name))
    return tuple(name for name in upstream(circuit, device) if name not in taken)
