"""The trade's list of coil signatures that a single fault of machine 1 can produce.

Left out: what needs a cascade (an open coil diode kills its transistor later: until then nothing is
seen), several coils locked by one reset line (no such part on this machine), a second bank behind a
changeover relay (none here), and what a model without moving parts cannot show (mechanical bind).
All of it: common practice, no source.
"""

from __future__ import annotations

import random

from matrixdoc.definition.wiring import Coil, Wiring
from tests.signatures.switch_rows import bridge
from tests.signatures.technician import Row, Technician

# -- places ----------------------------------------------------------------------------------------


def logic_coils(wiring: Wiring) -> list[str]:
    """Coils that the logic pulses, each with a drive of its own."""
    return [r for r, c in wiring.coils.items() if not c.fired_by and f"{r}/logic" in wiring.parts]


def own_coils(wiring: Wiring) -> list[str]:
    """Coils with a drive of their own, whoever fires them."""
    return [r for r in wiring.coils if f"{r}/driver" in wiring.parts]


def switch_fired(wiring: Wiring) -> list[str]:
    return [r for r, c in wiring.coils.items() if c.trigger]


def fed_by(wiring: Wiring, feed: str) -> list[str]:
    """Coils on one feed in the order of its chain, by following the feed wires from its end."""
    at = {f"feed/{feed}/end"}
    found: list[str] = []
    waiting = True
    while waiting:
        waiting = False
        for reference in wiring.coils:
            stem = reference.removesuffix("/power").removesuffix("/hold")
            wire = wiring.parts[f"{stem}/feed"]
            if wire.nets[0] in at and reference not in found:
                found.append(reference)
                at.add(wire.nets[1])
                waiting = True
    return found


def feeds(wiring: Wiring) -> list[str]:
    return sorted({r.split("/")[1] for r in wiring.parts if r.startswith("feed/")})


def feed_of(wiring: Wiring, coil: str) -> str:
    return next(f for f in feeds(wiring) if coil in fed_by(wiring, f))


def flippers(wiring: Wiring) -> list[str]:
    return [r.removesuffix("/power") for r in wiring.coils if r.endswith("/power")]


def coil_of(wiring: Wiring, reference: str) -> Coil:
    return wiring.coils[reference]


# -- reports ---------------------------------------------------------------------------------------


def neighbours(technician: Technician, coil: str, rng: random.Random) -> list[str]:
    """The coil before it on the chain of its feed (the next one for the first), one on another feed."""
    wiring = technician.case.wiring
    own = feed_of(wiring, coil)
    chain = fed_by(wiring, own)
    place = chain.index(coil)
    far = [c for f in feeds(wiring) if f != own for c in fed_by(wiring, f)]
    return [chain[place - 1 if place else 1], rng.choice(far)]


def dead(technician: Technician, place: str, rng: random.Random) -> None:
    """It does nothing; one on the same feed and one on another fire; nothing pulls in at rest."""
    assert technician.pulse(place) == "nothing"
    technician.again()
    for other in neighbours(technician, place, rng):
        assert technician.pulse(other) == "fires"
    technician.resting_coils()


def dead_winding(technician: Technician, place: str, rng: random.Random) -> None:
    """As dead, and volts on both lugs at rest: on the supply lug only."""
    dead(technician, place, rng)
    supplied, driven = technician.case.wiring.parts[coil_of(technician.case.wiring, place).element].nets
    assert technician.volts(supplied, "ground") > 30.0
    assert technician.volts(driven, "ground") < 5.0


def locked(technician: Technician, place: str, rng: random.Random) -> None:
    """It pulls in as soon as the game is on. Switched off at once: nothing else is looked at."""
    assert place in technician.resting_coils()


def locked_plug_off(technician: Technician, place: str, rng: random.Random) -> None:
    """Locked on; switched off; its drive pin unplugged; power on: still locked, or released."""
    assert place in technician.resting_coils()
    technician.resting_coils(f"{place}/pin")


def weak(technician: Technician, place: str, rng: random.Random) -> None:
    """It is weak, or does nothing, twice; one on the same feed and one on another."""
    assert technician.pulse(place) != "fires"
    technician.again()
    for other in neighbours(technician, place, rng):
        technician.pulse(other)


def low_ohms(technician: Technician, place: str, rng: random.Random) -> None:
    """It fires or nearly so on this stiff supply; its ohms, and those of a coil like any other."""
    wiring = technician.case.wiring
    technician.pulse(place)
    for coil in (place, neighbours(technician, place, rng)[1]):
        technician.ohms(*wiring.parts[coil_of(wiring, coil).element].nets)


def feed_dead(technician: Technician, place: str, rng: random.Random) -> None:
    """Every coil of the feed does nothing, one of another feed fires."""
    wiring = technician.case.wiring
    for coil in fed_by(wiring, place):
        assert technician.pulse(coil) == "nothing"
    other = rng.choice([c for f in feeds(wiring) if f != place for c in fed_by(wiring, f)])
    technician.pulse(other)


def all_dead(technician: Technician, place: str, rng: random.Random) -> None:
    """One coil of each of three feeds does nothing; the rail by meter."""
    wiring = technician.case.wiring
    for feed in rng.sample(feeds(wiring), 3):
        assert technician.pulse(rng.choice(fed_by(wiring, feed))) == "nothing"
    technician.volts(wiring.supplies[place].rail, "ground")


def all_weak(technician: Technician, place: str, rng: random.Random) -> None:
    """One coil of each of three feeds, weak or not; the rail by meter."""
    wiring = technician.case.wiring
    for feed in rng.sample(feeds(wiring), 3):
        technician.pulse(rng.choice(fed_by(wiring, feed)))
    technician.volts(wiring.supplies[place].rail, "ground")


def not_enabled(technician: Technician, place: str, rng: random.Random) -> None:
    """Two coils fired by switches do nothing, one pulsed by the logic fires."""
    wiring = technician.case.wiring
    for coil in rng.sample(switch_fired(wiring), 2):
        assert technician.pulse(coil) == "nothing"
    assert technician.pulse(rng.choice(logic_coils(wiring))) == "fires"


def together(technician: Technician, place: str, rng: random.Random) -> None:
    """Two coils fire together; another one alone."""
    wiring = technician.case.wiring
    one, two = sorted(net.removesuffix("/pin") for net in place.removeprefix("bridge/").split("~"))
    for coil in (one, two):
        assert technician.pulse(coil) != "fires"
    technician.pulse(rng.choice([c for c in logic_coils(wiring) if c not in (one, two)]))


def flipper(technician: Technician, place: str, rng: random.Random) -> None:
    """Power and hold winding of one flipper; the power winding of the other one."""
    technician.pulse(f"{place}/power")
    technician.pulse(f"{place}/hold")
    other = next(f for f in flippers(technician.case.wiring) if f != place)
    technician.pulse(f"{other}/power")


def both_flippers(technician: Technician, place: str, rng: random.Random) -> None:
    for name in flippers(technician.case.wiring):
        assert technician.pulse(f"{name}/power") == "nothing"
    technician.pulse(rng.choice(logic_coils(technician.case.wiring)))


def pin_bridges(wiring: Wiring) -> list[str]:
    """Adjacent driven pins of two coils."""
    return [
        bridge(a, b)
        for a, b, _ in wiring.neighbours
        if all(n.startswith("coil/") and n.endswith("/pin") for n in (a, b))
    ]


def trigger_contact(wiring: Wiring, coil: str) -> str:
    """The switch that fires the coil: its reference is the stem of its parts."""
    return wiring.coils[coil].fired_by


ROWS = (
    Row(
        "dead",
        (
            "{}/feed: open",
            "{}/pin: open",
            "{}/header: open",
            "{}/wire: open",
            "{}/driver: open",
            "{}/predriver: open",
            "{}/logic: stuck idle",
            "{}/link: open",
        ),
        lambda w: [c for c in logic_coils(w) if c == fed_by(w, feed_of(w, c))[-1]],
        dead,
    ),
    Row("dead: winding open", ("{}/winding: open",), logic_coils, dead_winding, times=2),
    Row(
        "locked on from power-up",
        (
            "{}/driver: shorted",
            "{}/predriver: stuck active",
            "{}/logic: stuck active",
            "{}/wire: grounded",
        ),
        logic_coils,
        locked,
    ),
    Row(
        "locked coil: unplug its drive connector; still locked = wire to ground, released = board",
        ("{}/driver: shorted", "{}/wire: grounded"),
        own_coils,
        locked_plug_off,
    ),
    Row(
        "a stuck switch locks the coil that it fires",
        ("{}/contact: stuck closed",),
        switch_fired,
        locked,
        times=2,
        part=trigger_contact,
    ),
    Row(
        "weak: high-resistance joint",
        ("{}/pin: high resistance", "{}/header: high resistance", "{}/wire: high resistance"),
        # A joint of ten ohms is not felt by a winding of forty: the circuit says so.
        lambda w: [c for c in logic_coils(w) if w.parts[w.coils[c].element].values["ohm"] < 20.0],
        weak,
        together=True,
    ),
    Row("shorted turns: low ohms", ("{}/winding: shorted turns",), own_coils, low_ohms, times=2),
    Row("shorted winding", ("{}/winding: shorted",), own_coils, weak),
    Row(
        "diode shorted or backwards: shorts the supply at the first pulse",
        ("{}/diode: shorted", "{}/diode: reversed"),
        own_coils,
        weak,
    ),
    Row(
        "dead: own fuse",
        ("feed/{}/fuse: blown", "feed/{}/header: open", "feed/{}/wire: open", "feed/{}/pin: open"),
        feeds,
        feed_dead,
    ),
    Row(
        "all coils dead",
        ("supply/{}/fuse: blown", "supply/{}/winding: open", "supply/{}/wire: open"),
        lambda w: ["coil"],
        all_dead,
    ),
    Row(
        "weak: supply capacitor",
        ("supply/{}/capacitor: tired", "supply/{}/capacitor: open"),
        lambda w: ["coil"],
        all_weak,
    ),
    Row("dead: enable", ("enable/play/logic: never enables",), lambda w: ["play"], not_enabled),
    Row("two drive lines bridged: coils fire together", ("{}: bridged",), pin_bridges, together, times=2),
    Row("flipper flutters: hold winding open", ("{}/hold: open",), flippers, flipper),
    Row("end-of-stroke contact stuck open: weak flip", ("{}/eos: never closes",), flippers, flipper),
    Row(
        "both flippers dead: relay",
        ("output/flippers/driver: stays at rest", "output/flippers/relay: open"),
        lambda w: ["flippers"],
        both_flippers,
    ),
)
