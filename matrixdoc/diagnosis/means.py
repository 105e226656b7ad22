"""What a person has to work with: a meter, self-tests that run, parts in stock; and a way to isolate.

Checks that cannot be done here are not offered; a repair whose part has to be ordered first costs its
waiting. Before anything is switched on that may lock a coil on, its fuse or its plug comes out.
"""

from __future__ import annotations

from dataclasses import replace

from matrixdoc.checks.cautions import CAUTION_COIL, CAUTION_FUSE, CAUTION_OFF
from matrixdoc.checks.model import BUS_KINDS, MachineModel
from matrixdoc.checks.situation import Check, Look, Situation
from matrixdoc.checks.wording import apart_words, device_words
from matrixdoc.definition.wiring import Wiring
from matrixdoc.diagnosis.settings import Settings

ORDER_MINUTES = 60.0
"""What a part that is not at hand costs beside its fitting: finding it, ordering it, coming back (common
practice, no source)."""
ISOLATED_MINUTES = 4.0
ISOLATED = "isolated "
"""Keys of checks that are done with a coil that may be locked taken off its supply or its drive."""

TESTS = {"reads": "switch test", "lamp": "lamp test", "coil": "coil test"}
"""The self-test that a look needs; a coil fired by a jumper needs none."""


def can_be_done(check: Check, settings: Settings) -> bool:
    """Whether the person has what a check takes."""
    if not settings.lacks:
        return True
    look = check.look
    needs = look.function if look.kind == "meter" else TESTS.get(look.kind, "")
    if look.kind == "coil" and check.situation.jumpers:
        needs = ""
    if look.kind == "fuse":
        needs = "ohms"
    return needs not in settings.lacks


def waited_for(wiring: Wiring, check: Check, settings: Settings) -> Check:
    """The repair with the wait for a part that is not at hand, said in its set-up."""
    if not settings.stock or check.action != "replace":
        return check
    at_hand = {word.casefold() for word in settings.stock}
    for reference in check.mends:
        part = wiring.parts.get(reference)
        if part is None:
            continue
        names = {part.kind.casefold(), part.type_name.casefold(), *(a.casefold() for a in part.aliases)}
        if not at_hand & names:
            words = f"not at hand: {part.type_name or part.kind}"
            return replace(check, minutes=check.minutes + ORDER_MINUTES, set_up=(words, *check.set_up))
    return check


def whole_bridge(wiring: Wiring, check: Check) -> Check:
    """The repair of one rectifier diode as it is done: all diodes of the bridge are replaced together."""
    for name, supply in wiring.supplies.items():
        if len(supply.rectifiers) > 1 and len(check.mends) == 1 and check.mends[0] in supply.rectifiers:
            return replace(
                check,
                title=f"replace the rectifier bridge of the {supply.title or name}",
                mends=supply.rectifiers,
                key=f"replace supply/{name}/bridge",
            )
    return check


def isolation(model: MachineModel, coil: str) -> Check | None:
    """The machine switched on with the supply of a coil off: its fuse out, or else its feed unplugged.

    None where nothing between the coil and its supply can be taken out.
    """
    wiring = model.circuit.wiring
    feed = _between(model, coil)
    fuses = [p for p in feed if wiring.parts[p].kind == "fuse"]
    pins = [p for p in feed if wiring.parts[p].kind == "pin"]
    return _without(model, coil, (fuses or pins)[0]) if fuses or pins else None


def plug_off(model: MachineModel, coil: str) -> Check | None:
    """The machine switched on with the drive pin of a coil unplugged: what still pulls in is the harness's
    doing, what lets go was the board's. None for a coil without such a pin.
    """
    parts = model.circuit.wiring.parts
    pins = [p for p in model.circuit.wiring.coils[coil].parts if p in parts and parts[p].kind == "pin"]
    return _without(model, coil, pins[0]) if pins else None


def _without(model: MachineModel, coil: str, apart: str) -> Check:
    part = model.part(apart)
    words = apart_words(part)
    return Check(
        title=f"{device_words(model.circuit.wiring, coil)}: {words}; power on: what pulls in?",
        kind="look",
        situation=Situation(opened=(apart,)),
        look=Look("resting coils"),
        minutes=ISOLATED_MINUTES,
        places=(part.place,) if part.place else (),
        set_up=(f"power off and unplugged: {words}", "power on, a hand on the switch"),
        cautions=(CAUTION_COIL, CAUTION_FUSE if part.kind == "fuse" else CAUTION_OFF),
        key=f"{ISOLATED}{coil} {apart}",
    )


def _between(model: MachineModel, coil: str) -> list[str]:
    """Parts between a coil's own winding and its rail, by walking the feed back from the winding."""
    wiring = model.circuit.wiring
    element = wiring.coils[coil].element
    if not element:
        return []
    rails = {supply.rail for supply in wiring.supplies.values()}
    at: dict[str, list[str]] = {}
    for part in wiring.parts.values():
        if part.kind in BUS_KINDS:
            for net in part.nets:
                at.setdefault(net, []).append(part.reference)
    came: dict[str, list[str]] = {net: [] for net in model.part(element).nets[:2]}
    waiting = list(came)
    for net in waiting:
        if net in rails:
            return came[net]
        for reference in at.get(net, ()):
            for other in wiring.parts[reference].nets:
                if other not in came:
                    came[other] = [*came[net], reference]
                    waiting.append(other)
    return []
