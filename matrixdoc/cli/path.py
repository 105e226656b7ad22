"""``matrixdoc path``: every part of one place's circuit, with where to find it."""

from __future__ import annotations

import argparse

from matrixdoc.case.feeds import feeds_of, string_title, strings_of
from matrixdoc.case.names import Names, NameTrouble
from matrixdoc.checks.wording import device_words
from matrixdoc.circuit.netlist import Circuit, build_circuit
from matrixdoc.circuit.sharing import shared_by
from matrixdoc.cli.inputs import load
from matrixdoc.cli.path_feeds import UNPLUG, feed_steps, feed_text, string_steps, string_text
from matrixdoc.cli.path_rows import told
from matrixdoc.cli.path_steps import Step, path_steps, told_for
from matrixdoc.cli.text import heading, safe, wrapped
from matrixdoc.definition.errors import InputError, Problem, quoted
from matrixdoc.definition.wiring import Wiring


def path(arguments: argparse.Namespace) -> int:
    """Print the path of a place.

    Raises:
        MatrixdocError: the machine cannot be loaded, or it has no such place.
    """
    wiring = load(arguments.machine)
    circuit = build_circuit(wiring)
    reference = find_place(wiring, arguments.place)
    feed = feeds_of(wiring).get(reference.removeprefix("feed/"))
    if feed is not None and reference == f"feed/{feed.name}":
        steps, title = feed_steps(circuit, feed), f"{reference} ({feed.title})"
        text = feed_text(circuit, feed, steps)
    elif reference in (lamps_of := strings_of(wiring)):
        steps, title = string_steps(circuit, lamps_of[reference]), string_title(wiring, reference)
        text = string_text(circuit, reference, lamps_of[reference], steps)
    else:
        steps, title = path_steps(circuit, reference), _title(wiring, reference)
        text = path_text(circuit, reference, steps)
    print(_json(wiring, reference, title, steps) if arguments.json else text)
    return 0


def find_place(wiring: Wiring, words: str) -> str:
    """The switch, lamp, coil, part, feed (``feed/lower``) or illumination string that is meant.

    Raises:
        InputError: nothing, or several things, go by that name.
    """
    feeds = {f"feed/{name}" for name in feeds_of(wiring)}
    strings = strings_of(wiring)
    known = {*wiring.switches, *wiring.lamps, *wiring.coils, *strings, *feeds}
    if words in known or words in wiring.parts:
        return words
    names = Names(wiring)
    if (feed := names.feed(words)) is not None:
        return f"feed/{feed.name}"
    found: dict[str, None] = {}
    suggestion = ""
    lamps = set(names.string(words))
    string = next((stem for stem, own in strings.items() if lamps == set(own)), "")
    if string:
        found[string] = None
    for find in (names.switch, *(() if string else (names.lamp,)), names.coil, names.part):
        if find == names.part and not found and f"feed/{words}" in feeds:
            return f"feed/{words}"
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
    expected = "a switch, lamp, coil, part, feed or illumination string of this machine"
    raise InputError([Problem("PLACE", 0, 0, "", quoted(words), expected, suggestion)])


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
    pieces.append("\n" + wrapped(UNPLUG))
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


def _json(wiring: Wiring, reference: str, title: str, steps: list[Step]) -> str:
    from matrixdoc.cli.results import PathResult, StepResult

    return PathResult(
        machine=wiring.title,
        place=reference,
        title=title,
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
