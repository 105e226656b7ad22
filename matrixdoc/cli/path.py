"""``matrixdoc path``: every part of one place's circuit, with where to find it."""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from typing import Literal

from matrixdoc.case.names import Names, NameTrouble
from matrixdoc.checks.wording import device_words
from matrixdoc.circuit.netlist import Circuit, build_circuit
from matrixdoc.circuit.paths import current_path, device_of
from matrixdoc.circuit.sharing import drive_of, shared_by, upstream
from matrixdoc.cli.inputs import load
from matrixdoc.cli.path_rows import told
from matrixdoc.cli.text import heading, safe, wrapped
from matrixdoc.definition.errors import InputError, Problem, quoted
from matrixdoc.definition.wiring import Part, Wiring

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


def path(arguments: argparse.Namespace) -> int:
    """Print the path of a place.

    Raises:
        MatrixdocError: the machine cannot be loaded, or it has no such place.
    """
    wiring = load(arguments.machine)
    reference = find_place(wiring, arguments.place)
    circuit = build_circuit(wiring)
    steps = path_steps(circuit, reference)
    if arguments.json:
        print(_json(wiring, reference, steps))
    else:
        print(path_text(circuit, reference, steps))
    return 0


def find_place(wiring: Wiring, words: str) -> str:
    """The switch, lamp, coil or part that is meant.

    Raises:
        InputError: nothing, or several things, go by that name.
    """
    known = {*wiring.switches, *wiring.lamps, *wiring.coils}
    if words in known or words in wiring.parts:
        return words
    names = Names(wiring)
    found: dict[str, None] = {}
    suggestion = ""
    for find in (names.switch, names.lamp, names.coil, names.part):
        try:
            found[find(words)] = None
        except NameTrouble as trouble:
            if trouble.ambiguous:
                expected = trouble.expected
                raise InputError(
                    [Problem("PLACE", 0, 0, "", quoted(words), expected, trouble.suggestion)]
                ) from None
            suggestion = suggestion or trouble.suggestion
            continue
        if find == names.coil:
            break  # a part's title is asked for only where no device has the name
    if len(found) == 1:
        return next(iter(found))
    if found:
        raise InputError(
            [Problem("PLACE", 0, 0, "", quoted(words), "one place", f"say {' or '.join(found)}")]
        )
    expected = "a switch, lamp, coil or part of this machine"
    raise InputError([Problem("PLACE", 0, 0, "", quoted(words), expected, suggestion)])


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


_HEADS = {
    ("current", False): "THE CURRENT, from the supply to ground",
    ("current", True): "THE LIGHT of its optical pair, from the supply to ground",
    ("command", False): "COMMANDED BY, from the logic to the drive",
    ("sensing", False): "SENSED BY",
}


def path_text(circuit: Circuit, reference: str, steps: list[Step]) -> str:
    """The path in sections: parts that belong together under one head, each with where to find it."""
    wiring = circuit.wiring
    named = reference if reference in wiring.parts else _title(wiring, reference)
    pieces = [heading(f"{safe(wiring.title)}: {named}")]
    if reference in wiring.parts and wiring.parts[reference].title:
        pieces.append(wrapped(wiring.parts[reference].title))
    device = told_for(circuit, reference)
    if device and device != reference:
        pieces.append(_stands_for(circuit, reference, device, steps))
    for (layer, light), head in _HEADS.items():
        some = [one for one in steps if one.layer == layer and one.light == light]
        if some:
            pieces.append(f"\n{head}")
            pieces.extend(told((one.part, len(one.devices)) for one in some))
    if not any(one.layer == "current" for one in steps):
        words = "No current of a supply leads through it in service: a loose end, or a part that only guards."
        pieces.append(f"\n{wrapped(words)}")
    coil = wiring.coils.get(device or reference)
    passed = {one.part.reference for one in steps if one.layer == "current"}
    if coil is not None and coil.fired_by and wiring.switches[coil.fired_by].contact not in passed:
        words = f"Fired by {device_words(wiring, coil.fired_by)}, without the logic."
        pieces.append(f"\n{wrapped(words)}")
    pieces.append(
        "\n" + wrapped("Unplug before you follow wires; let capacitors discharge and measure that they have.")
    )
    return "\n".join(pieces)


def _stands_for(circuit: Circuit, reference: str, device: str, steps: list[Step]) -> str:
    """Why the path of a device is told for a part."""
    wiring = circuit.wiring
    words = device_words(wiring, device)
    users = shared_by(circuit, reference) if reference in circuit.parts else ()
    coil = wiring.coils.get(device)
    if coil is not None and coil.diode == reference:
        said = f"It lies across {words} and carries current only for the instant after the coil is let go."
    elif any(one.part.reference == reference and one.layer == "current" for one in steps):
        more = f" and of {len(users) - 1} more" if len(users) > 1 else ""
        said = f"It carries the current of {words}{more}."
    elif len(users) > 1:
        said = f"It serves {words} and {len(users) - 1} more."
    else:
        said = f"It serves {words}."
    return wrapped(f"{said} The path is that of {device.replace('/', ' ', 1)}.")


def _title(wiring: Wiring, reference: str) -> str:
    device = wiring.switches.get(reference) or wiring.lamps.get(reference) or wiring.coils.get(reference)
    title = device.title if device else wiring.parts[reference].title
    return f"{reference} ({title})" if title else reference


def _json(wiring: Wiring, reference: str, steps: list[Step]) -> str:
    from matrixdoc.cli.results import PathResult, StepResult

    return PathResult(
        machine=wiring.title,
        place=reference,
        title=_title(wiring, reference),
        steps=[
            StepResult(
                part=one.part.reference,
                kind=one.part.kind,
                title=one.part.title,
                layer=one.layer,
                from_net=one.enters,
                to_net=one.leaves,
                connector=one.part.connector,
                position=one.part.position,
                colour=one.part.colour,
                place=one.part.place,
                type_name=one.part.type_name,
                origin=one.part.origin,
                shared_by=list(one.devices),
            )
            for one in steps
        ],
    ).model_dump_json(indent=2)
