"""The path of a feed and of an illumination string: what leads there, and what hangs on it."""

from __future__ import annotations

from matrixdoc.case.feeds import Feed, string_title
from matrixdoc.checks.wording import device_words
from matrixdoc.circuit.netlist import Circuit
from matrixdoc.circuit.paths import current_path
from matrixdoc.circuit.sharing import shared_by
from matrixdoc.cli.path_rows import told
from matrixdoc.cli.path_steps import Step, path_steps
from matrixdoc.cli.text import heading, safe, wrapped

UNPLUG = "Unplug before you follow wires; let capacitors discharge and measure that they have."
_LEADING = ("feed", "fuse")
"""Last names of the parts that lead from a feed to what hangs on it."""


def feed_steps(circuit: Circuit, feed: Feed) -> list[Step]:
    """From the winding to the far end of a feed, then what leads to each load, in wiring order."""
    served = shared_by(circuit, feed.parts[-1])
    path = path_steps(circuit, served[0]) if served else []
    # A feed of optical pairs is on the way of their light, not of what the switch itself carries.
    lit = any(one.light for one in path if one.part.reference in feed.parts)
    path = [one for one in path if one.layer == "current" and one.light == lit]
    last = max((k for k, one in enumerate(path) if one.part.reference in feed.parts), default=-1)
    steps = path[: last + 1]
    for stem in feed.stems:
        for name in _LEADING:
            part = circuit.parts.get(f"{stem}/{name}")
            if part is not None and len(part.nets) > 1:
                steps.append(_step(circuit, part.reference, part.nets[0], part.nets[1]))
    return steps


def feed_text(circuit: Circuit, feed: Feed, steps: list[Step]) -> str:
    """The path of a feed in two sections: to its end, and what hangs on it."""
    wiring = circuit.wiring
    hanging = [one for one in steps if any(one.part.reference.startswith(f"{stem}/") for stem in feed.stems)]
    before = [one for one in steps if one not in hanging]
    pieces = [heading(f"{safe(wiring.title)}: feed/{feed.name} ({feed.title})")]
    pieces.append("\nTHE CURRENT, from the supply into the harness")
    pieces.extend(told((one.part, len(one.devices)) for one in before))
    stated = all(one.part.origin == "stated" for one in hanging if one.part.kind == "wire")
    order = ", in wiring order" if stated else ", the order is not stated"
    pieces.append(f"\nWHAT HANGS ON IT{order if len(hanging) > 1 else ''}")
    pieces.extend(told((one.part, len(one.devices)) for one in hanging))
    led = {one.part.reference.rpartition("/")[0] for one in hanging}
    bare = [_words(circuit, stem) for stem in feed.stems if stem not in led]
    if bare:
        pieces.append("\n" + wrapped(f"Straight at its end: {', '.join(bare)}.", 0, 2))
    pieces.append("\n" + wrapped(UNPLUG))
    return "\n".join(pieces)


def _words(circuit: Circuit, stem: str) -> str:
    wiring = circuit.wiring
    if stem in wiring.matrices:
        return f"the {stem} matrix"
    if stem in wiring.coils or stem in wiring.lamps or stem in wiring.switches:
        return device_words(wiring, stem)
    return string_title(wiring, stem) or stem.replace("/", " ", 1)


def string_steps(circuit: Circuit, lamps: tuple[str, ...]) -> list[Step]:
    """From the winding to the lamps of a string (all of them, each with its socket) and to ground."""
    path = current_path(circuit, lamps[0])
    own = [k for k, one in enumerate(path) if len(shared_by(circuit, one.reference)) == 1]
    if len(lamps) == 1:
        own = []
    steps = [
        _step(circuit, one.reference, one.enters, one.leaves) for k, one in enumerate(path) if k not in own
    ]
    beside = [
        _step(circuit, one.reference, one.enters, one.leaves)
        for lamp in lamps[: len(lamps) if own else 0]
        for one in current_path(circuit, lamp)
        if len(shared_by(circuit, one.reference)) == 1
    ]
    at = own[0] if own else 0
    return [*steps[:at], *beside, *steps[at:]]


def string_text(circuit: Circuit, stem: str, lamps: tuple[str, ...], steps: list[Step]) -> str:
    """The path of a string: what its lamps share, told like any path, and the lamps side by side."""
    wiring = circuit.wiring
    title = string_title(wiring, stem)
    named = f"{stem} ({title})" if title and title != stem.replace("/", " ", 1) else stem
    shared = [one for one in steps if len(one.devices) > 1 or len(lamps) == 1]
    at = next((k for k, one in enumerate(steps) if len(one.devices) == 1), len(shared))
    pieces = [heading(f"{safe(wiring.title)}: {named}"), "\nTHE CURRENT, from the supply to its lamps"]
    pieces.extend(told((one.part, len(one.devices)) for one in shared[:at]))
    types = sorted({wiring.parts[wiring.lamps[lamp].element].type_name for lamp in lamps} - {""})
    kind = f", type {' and '.join(types)}" if types else ""
    places = dict.fromkeys(wiring.parts[wiring.lamps[lamp].element].place for lamp in lamps)
    pieces.append(f"\n{wrapped(f'ITS LAMPS, {len(lamps)} side by side, each in a socket{kind}')}")
    own = [_own(wiring.lamps[lamp].title, title) for lamp in lamps]
    keys = [lamp.rpartition("/")[2] for lamp in lamps]
    titles = [f"{key} {words}".strip() for key, words in zip(keys, own, strict=True)]
    if len(lamps) > 2 and not any(own):
        titles = [f"{keys[0]} to {keys[-1]}"]
    pieces.append(wrapped(", ".join(titles) + (f"; {', '.join(places)}" if any(places) else ""), 2, 4))
    pieces.append("\nBACK TO GROUND")
    pieces.extend(told((one.part, len(one.devices)) for one in shared[at:]))
    pieces.append("\n" + wrapped(UNPLUG))
    return "\n".join(pieces)


def _own(lamp: str, string: str) -> str:
    """What the title of a lamp says beyond its string and its number."""
    rest = lamp.removeprefix(string).strip(" ,")
    words = rest.split()
    return "" if len(words) == 2 and words[0] == "lamp" and words[1].isdecimal() else f"({rest})"


def _step(circuit: Circuit, name: str, enters: str, leaves: str) -> Step:
    return Step(circuit.parts[name], "current", enters, leaves, shared_by(circuit, name))
