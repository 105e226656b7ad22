"""``matrixdoc path``: every part of one place's circuit, with where to find it."""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from typing import Literal

from matrixdoc.case.names import Names, NameTrouble
from matrixdoc.circuit.netlist import Circuit, build_circuit
from matrixdoc.circuit.paths import current_path, drive_of, shared_by, upstream
from matrixdoc.cli.inputs import load
from matrixdoc.cli.text import WIDTH, heading, safe, table, wrapped
from matrixdoc.definition.errors import InputError, Problem, quoted
from matrixdoc.definition.wiring import Part, Wiring

Layer = Literal["current", "command", "sensing"]


@dataclass(frozen=True, slots=True)
class Step:
    """One part on the path, between two nets (empty for a part of the signal layer)."""

    part: Part
    layer: Layer
    enters: str
    leaves: str
    devices: tuple[str, ...]


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
        print(path_text(wiring, reference, steps))
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
    """Parts in the order of the current, then those that command it, then those that sense it."""
    wiring = circuit.wiring

    def step(name: str, layer: Layer, enters: str = "", leaves: str = "") -> Step:
        return Step(circuit.parts[name], layer, enters, leaves, shared_by(circuit, name))

    steps = [step(s.reference, "current", s.enters, s.leaves) for s in current_path(circuit, reference)]
    named = {one.part.reference for one in steps}
    for drive in drive_of(circuit, reference) if steps else ():
        steps.extend(step(name, "command") for name in drive.path if name not in named)
        named.update(drive.path)
    for name in upstream(circuit, reference) if steps else ():
        if name not in named:
            coil = wiring.coils.get(reference)
            layer: Layer = "command" if coil is not None and name in coil.enable else "sensing"
            steps.append(step(name, layer))
    if not steps and reference in circuit.parts:
        steps.append(step(reference, "command"))
    return steps


_HEADS = {
    "current": "THE CURRENT, from the supply to ground",
    "command": "COMMANDED BY, from the logic to the drive",
    "sensing": "SENSED BY",
}


def path_text(wiring: Wiring, reference: str, steps: list[Step]) -> str:
    """The path in sections, a part on each line."""
    pieces = [heading(f"{safe(wiring.title)}: {_title(wiring, reference)}")]
    for layer, head in _HEADS.items():
        rows = [
            (one.part.reference, _pin(one.part), one.part.colour or "-", _what(one))
            for one in steps
            if one.layer == layer
        ]
        if rows:
            pieces.append(
                f"\n{head}\n{table(rows, ('PART', 'PIN', 'WIRE', 'WHAT, WHERE, AND WHAT ELSE HANGS ON IT'))}"
            )
    if not steps:
        pieces.append(wrapped("Nothing leads through it: a loose end, or a part that carries no current."))
    pieces.append(
        "\n" + wrapped("Unplug before you follow wires; let capacitors discharge and measure that they have.")
    )
    return "\n".join(pieces)


def _title(wiring: Wiring, reference: str) -> str:
    device = wiring.switches.get(reference) or wiring.lamps.get(reference) or wiring.coils.get(reference)
    title = device.title if device else wiring.parts[reference].title
    return f"{reference} ({title})" if title else reference


def _pin(part: Part) -> str:
    if not part.connector:
        return "-"
    return f"{part.connector}-{part.position}" if part.position is not None else part.connector


def _what(step: Step) -> str:
    part = step.part
    told = [part.title or part.kind.replace("_", " "), part.type_name, *part.aliases, part.place]
    count = len(step.devices)
    if count > 1:
        told.append(f"serves {count}")
    return ", ".join(dict.fromkeys(filter(None, told)))[: WIDTH * 4]


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
