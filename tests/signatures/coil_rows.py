"""The trade's list of coil signatures that a single fault can produce.

Left out: what needs a cascade (an open coil diode kills its transistor later: until then nothing is
seen), several coils locked by one reset line (no such part), and what a model without moving parts
cannot show (mechanical bind).
All of it: common practice, no source.
"""

from __future__ import annotations

import random

from matrixdoc.definition.wiring import GROUND, Coil, Part, Wiring
from tests.signatures.technician import Row, Technician, bridge, cells, feeds, supply_of

# -- places ----------------------------------------------------------------------------------------


def logic_coils(wiring: Wiring) -> list[str]:
    """Coils that the logic pulses, each with a drive of its own."""
    return [r for r, c in wiring.coils.items() if not c.fired_by and f"{r}/logic" in wiring.parts]


def own_coils(wiring: Wiring) -> list[str]:
    """Coils with a drive of their own, whoever fires them."""
    return [r for r in wiring.coils if f"{r}/driver" in wiring.parts]


def switch_fired(wiring: Wiring) -> list[str]:
    return [r for r, c in wiring.coils.items() if c.trigger]


def stem_of(reference: str) -> str:
    """What the parts of a coil are called after: a flipper's two windings share most of theirs."""
    return reference.removesuffix("/power").removesuffix("/hold")


def fed_by(wiring: Wiring, feed: str) -> list[str]:
    """Coils on one feed in the order of its chain, by following the feed wires from its end."""
    at = {f"feed/{feed}/end"}
    found: list[str] = []
    waiting = True
    while waiting:
        waiting = False
        for reference in wiring.coils:
            wire = wiring.parts.get(f"{stem_of(reference)}/feed")
            if wire is not None and wire.nets[0] in at and reference not in found:
                found.append(reference)
                at.add(wire.nets[1])
                waiting = True
    return found


def coil_feeds(wiring: Wiring) -> list[str]:
    """Feeds that coils hang on."""
    return [feed for feed in feeds(wiring) if fed_by(wiring, feed)]


def feed_of(wiring: Wiring, coil: str) -> str:
    return next(f for f in coil_feeds(wiring) if coil in fed_by(wiring, f))


def coil_supplies(wiring: Wiring) -> list[str]:
    return sorted({supply_of(wiring, feed) for feed in coil_feeds(wiring)})


def unfiltered(wiring: Wiring) -> list[str]:
    return [name for name in coil_supplies(wiring) if not wiring.supplies[name].capacitor]


def last_of_feed(wiring: Wiring) -> list[str]:
    """Coils at the end of the chain of their feed: there a break of the feed wire is their own."""
    return [c for c in logic_coils(wiring) if c == fed_by(wiring, feed_of(wiring, c))[-1]]


def strong_coils(wiring: Wiring) -> list[str]:
    """A joint of ten ohms is not felt by a winding of forty: the circuit says so."""
    ohms = {c: wiring.parts[wiring.coils[c].element].values.get("ohm", 1e9) for c in logic_coils(wiring)}
    return [c for c, ohm in ohms.items() if ohm < 20.0]


def flippers(wiring: Wiring) -> list[str]:
    return [r.removesuffix("/power") for r in wiring.coils if r.endswith("/power")]


def stroke_cells(wiring: Wiring) -> list[str]:
    """Cells of the switch matrix that are end-of-stroke switches: they only tell the logic."""
    found = {c.end_of_stroke.removesuffix("/contact") for c in wiring.coils.values() if c.end_of_stroke}
    return sorted(c.reference for c in cells(wiring, "switch") if c.reference in found)


def enables(wiring: Wiring) -> list[str]:
    return sorted(p.reference.split("/")[1] for p in wiring.parts.values() if p.kind == "enable")


def flipper_outputs(wiring: Wiring) -> list[str]:
    """Outputs that give several flippers their ground."""
    return sorted({r.split("/")[1] for r in wiring.parts if r.startswith("output/")})


def changeovers(wiring: Wiring) -> list[str]:
    """Coils whose drive a contact set turns over to a second coil."""
    return [r for r in wiring.coils if f"{r}/changeover" in wiring.parts]


def second_coils(wiring: Wiring) -> dict[str, str]:
    """For each coil with a changeover: the coil that shares its drive."""
    drives = {c.drive: r for r, c in wiring.coils.items() if not c.also}
    return {drives[c.drive]: r for r, c in wiring.coils.items() if c.also and c.drive in drives}


def relays(wiring: Wiring) -> list[str]:
    return sorted({r.split("/")[1] for r in wiring.parts if r.startswith("relay/")})


def interlocks(wiring: Wiring) -> list[str]:
    return sorted({r.split("/")[1] for r in wiring.parts if r.startswith("interlock/")})


def matrix_coils(wiring: Wiring) -> list[str]:
    return [r for r, c in wiring.coils.items() if c.matrix]


def coil_of(wiring: Wiring, reference: str) -> Coil:
    return wiring.coils[reference]


# -- reports ---------------------------------------------------------------------------------------


def neighbours(technician: Technician, coil: str, rng: random.Random) -> list[str]:
    """The coil before it on the chain of its feed (the next one for the first), one on another feed."""
    wiring = technician.case.wiring
    own = feed_of(wiring, coil)
    chain = fed_by(wiring, own)
    place = chain.index(coil)
    far = [c for f in coil_feeds(wiring) if f != own for c in fed_by(wiring, f)]
    near = [chain[place - 1 if place else 1]] if len(chain) > 1 else []
    return [*near, rng.choice(far)]


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
    wiring = technician.case.wiring
    supplied, driven = wiring.parts[coil_of(wiring, place).element].nets
    volts = technician.volts(supplied, GROUND)
    assert volts > 0.5 * wiring.supplies[supply_of(wiring, feed_of(wiring, place))].nominal_v
    assert technician.volts(driven, GROUND) < 0.2 * volts


def locked(technician: Technician, place: str, rng: random.Random) -> None:
    """It pulls in as soon as the game is on. Switched off at once: nothing else is looked at."""
    assert place in technician.resting_coils()


def locked_plug_off(technician: Technician, place: str, rng: random.Random) -> None:
    """Locked on; switched off; its drive pin unplugged; power on: still locked, or released."""
    assert place in technician.resting_coils()
    technician.resting_coils(f"{place}/pin")


def weak(technician: Technician, place: str, rng: random.Random) -> None:
    """It is weak, or does nothing, twice; one on the same feed and one on another; none is locked."""
    assert technician.pulse(place) != "fires"
    technician.again()
    for other in neighbours(technician, place, rng):
        technician.pulse(other)
    technician.resting_coils()


def shorting(technician: Technician, place: str, rng: random.Random) -> None:
    """As weak; what the fuse of its feed, renewed, does at the next pulse (behind a soft supply it may
    stand one); and the ohms of the winding, its diode across it.
    """
    weak(technician, place, rng)
    wiring = technician.case.wiring
    fuse = f"feed/{feed_of(wiring, place)}/fuse"
    if fuse in wiring.parts:
        technician.new_fuse(fuse, place)
    technician.ohms(*wiring.parts[coil_of(wiring, place).element].nets)


def low_ohms(technician: Technician, place: str, rng: random.Random) -> None:
    """It fires or nearly so on a stiff supply; its ohms, and those of another coil."""
    wiring = technician.case.wiring
    technician.pulse(place)
    for coil in (place, rng.choice([c for c in own_coils(wiring) if c != place])):
        technician.ohms(*wiring.parts[coil_of(wiring, coil).element].nets)


def feed_dead(technician: Technician, place: str, rng: random.Random) -> None:
    """Every coil of the feed does nothing, one of another feed fires."""
    wiring = technician.case.wiring
    for coil in fed_by(wiring, place):
        assert technician.pulse(coil) == "nothing"
    other = rng.choice([c for f in coil_feeds(wiring) if f != place for c in fed_by(wiring, f)])
    technician.pulse(other)


def one_per_feed(technician: Technician, supply: str, rng: random.Random) -> list[str]:
    """A coil of each of up to three feeds of a supply."""
    wiring = technician.case.wiring
    own = [f for f in coil_feeds(wiring) if supply_of(wiring, f) == supply]
    return [rng.choice(fed_by(wiring, f)) for f in rng.sample(own, min(3, len(own)))]


def all_dead(technician: Technician, place: str, rng: random.Random) -> None:
    """One coil of each of three feeds does nothing; the rail by meter."""
    for coil in one_per_feed(technician, place, rng):
        assert technician.pulse(coil) == "nothing"
    technician.volts(technician.case.wiring.supplies[place].rail, GROUND)


def all_weak(technician: Technician, place: str, rng: random.Random) -> None:
    """One coil of each of three feeds, weak or not; the rail by meter."""
    for coil in one_per_feed(technician, place, rng):
        technician.pulse(coil)
    technician.volts(technician.case.wiring.supplies[place].rail, GROUND)


def door_open(technician: Technician, place: str, rng: random.Random) -> None:
    """Behind an open interlock one coil of each of three feeds does nothing, one of another supply
    fires, and the rail is there."""
    wiring = technician.case.wiring
    cut = f"interlock/{place}/cut"
    behind = [f for f in coil_feeds(wiring) if any(cut in p.nets for p in parts_of_feed(wiring, f))]
    for feed in rng.sample(behind, min(3, len(behind))):
        assert technician.pulse(rng.choice(fed_by(wiring, feed))) == "nothing"
    others = [f for f in coil_feeds(wiring) if f not in behind]
    assert technician.pulse(rng.choice(fed_by(wiring, rng.choice(others)))) == "fires"
    technician.volts(wiring.supplies[supply_of(wiring, behind[0])].rail, GROUND)


def parts_of_feed(wiring: Wiring, feed: str) -> list[Part]:
    return [p for r, p in wiring.parts.items() if r.startswith(f"feed/{feed}/")]


def wrong_coil(technician: Technician, place: str, rng: random.Random) -> None:
    """A contact set that stays: of the two coils on one drive one is right and one fires for the other."""
    second = second_coils(technician.case.wiring)[place]
    first = technician.pulse(place), technician.pulse(second)
    assert sorted(word == "fires" for word in first) == [False, True], first
    technician.again()
    other = rng.choice([r for r in changeovers(technician.case.wiring) if r != place])
    assert technician.pulse(other) == "fires"
    technician.pulse(second_coils(technician.case.wiring)[other])


def wrong_bank(technician: Technician, place: str, rng: random.Random) -> None:
    """Two shared drives: the coils of one bank fire for those of the other."""
    wiring = technician.case.wiring
    for coil in rng.sample(changeovers(wiring), 2):
        both = technician.pulse(coil), technician.pulse(second_coils(wiring)[coil])
        assert "fires with others" in both, both


def twice(technician: Technician, place: str, rng: random.Random) -> None:
    """It fires twice for one hit, whenever somebody looks; another one fires once."""
    assert technician.pulse(place) == "fires twice"
    technician.again()
    others = [c for c in fired_by_switch(technician.case.wiring) if c != place]
    assert technician.pulse(rng.choice(others)) == "fires"


def fired_by_switch(wiring: Wiring) -> list[str]:
    """Coils that a switch fires without the logic, flippers left out."""
    return [r for r, c in wiring.coils.items() if c.trigger and not c.end_of_stroke and not c.holds]


def firing_switch(wiring: Wiring, place: str) -> str:
    """The contact that fires a coil."""
    return wiring.switches[wiring.coils[place].fired_by].contact


def fluttering(wiring: Wiring) -> list[str]:
    """Flippers whose end-of-stroke contact carries the power winding's current."""
    return [r.removesuffix("/power") for r, c in wiring.coils.items() if c.end_of_stroke == f"{r[:-6]}/eos"]


def flutters(technician: Technician, place: str, rng: random.Random) -> None:
    """The power winding lets go and begins anew; the hold winding does nothing."""
    assert technician.pulse(f"{place}/power") == "fires twice"
    technician.pulse(f"{place}/hold")


def matrix_coil(technician: Technician, place: str, rng: random.Random) -> None:
    """It does nothing, twice; one in its column and one in its row fire; nothing pulls in at rest."""
    wiring = technician.case.wiring
    assert technician.pulse(place) == "nothing"
    technician.again()
    table = {c.reference: c for c in wiring.matrices[wiring.coils[place].matrix].cells}
    own = table[place]
    for near in (
        [r for r, c in table.items() if c.column == own.column and r != place],
        [r for r, c in table.items() if c.row == own.row and r != place],
    ):
        assert technician.pulse(rng.choice(near)) == "fires"
    technician.resting_coils()


def matrix_line(technician: Technician, place: str, rng: random.Random) -> None:
    """Every coil of the line does nothing, one of another line fires."""
    wiring = technician.case.wiring
    name, _, line = place.rpartition("/")
    table = wiring.matrices[name].cells
    for cell in [c for c in table if line in (c.column, c.row)]:
        assert technician.pulse(cell.reference) == "nothing"
    assert technician.pulse(next(c.reference for c in table if line not in (c.column, c.row))) == "fires"


def matrix_lines(wiring: Wiring) -> list[str]:
    return [
        f"{m.name}/{line.key}"
        for m in wiring.matrices.values()
        if m.device == "coil"
        for line in (*m.columns, *m.rows)
    ]


def stroke_switch(technician: Technician, place: str, rng: random.Random) -> None:
    """Low-current type: the flipper works, its cell of the matrix does not read, or always."""
    wiring = technician.case.wiring
    coil = next(r for r, c in wiring.coils.items() if c.end_of_stroke == f"{place}/contact")
    assert technician.pulse(coil) == "fires"
    rest = technician.rest()
    assert (place in technician.press(place)) == (place in rest)
    technician.again()


def not_enabled(technician: Technician, place: str, rng: random.Random) -> None:
    """Two coils fired by switches do nothing, one pulsed by the logic fires."""
    wiring = technician.case.wiring
    own = [r for r, c in wiring.coils.items() if f"enable/{place}/logic" in c.enable]
    one = rng.choice(own)
    apart = [r for r in own if feed_of(wiring, r) != feed_of(wiring, one)]
    for coil in (one, rng.choice(apart or [r for r in own if r != one])):
        assert technician.pulse(coil) == "nothing"
    assert technician.pulse(rng.choice(logic_coils(wiring))) == "fires"


def together(technician: Technician, place: str, rng: random.Random) -> None:
    """Two coils fire together; another one alone."""
    wiring = technician.case.wiring
    one, two = (net.removesuffix("/pin") for net in place.removeprefix("bridge/").split("~"))
    for coil in (one, two):
        assert technician.pulse(coil) != "fires"
    far = [c for c in logic_coils(wiring) if feed_of(wiring, c) != feed_of(wiring, one)]
    technician.pulse(rng.choice([c for c in far if c not in (one, two)]))


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
    """Adjacent driven pins of two coils with a drive each."""
    pins = {f"{coil}/pin" for coil in logic_coils(wiring)}
    return [bridge(a, b) for a, b, _ in wiring.neighbours if {a, b} <= pins]


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
        last_of_feed,
        dead,
    ),
    Row("dead: winding open", ("{}/winding: open",), logic_coils, dead_winding),
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
        part=trigger_contact,
    ),
    Row(
        "weak: high-resistance joint",
        ("{}/pin: high resistance", "{}/header: high resistance", "{}/wire: high resistance"),
        strong_coils,
        weak,
    ),
    Row("shorted turns: low ohms", ("{}/winding: shorted turns",), own_coils, low_ohms),
    Row("shorted winding", ("{}/winding: shorted",), own_coils, shorting),
    Row(
        "diode shorted or backwards: shorts the supply at the first pulse",
        ("{}/diode: shorted", "{}/diode: reversed"),
        own_coils,
        shorting,
    ),
    Row(
        "dead: own fuse",
        ("feed/{}/fuse: blown", "feed/{}/header: open", "feed/{}/wire: open", "feed/{}/pin: open"),
        coil_feeds,
        feed_dead,
    ),
    Row(
        "all coils dead",
        ("supply/{}/fuse: blown", "supply/{}/winding: open", "supply/{}/wire: open", "supply/{}/pin: open"),
        coil_supplies,
        all_dead,
    ),
    Row(
        "weak: supply capacitor",
        ("supply/{}/capacitor: open",),
        coil_supplies,
        all_weak,
    ),
    Row("dead: enable", ("enable/{}/logic: never enables",), enables, not_enabled),
    Row("two drive lines bridged: coils fire together", ("{}: bridged",), pin_bridges, together),
    Row(
        "flipper flutters: hold winding open",
        ("{}/hold: open", "{}/hold drive/driver: open", "{}/hold drive/pin: open"),
        flippers,
        flipper,
    ),
    Row("end-of-stroke contact stuck open: weak flip", ("{}/eos: never closes",), flippers, flipper),
    Row(
        "both flippers dead: relay",
        ("output/{}/driver: stays at rest", "output/{}/relay: open"),
        flipper_outputs,
        both_flippers,
    ),
    Row(
        "end-of-stroke contact of the low-current type fails: the flip itself is as it was",
        ("{}/contact: never closes", "{}/contact: stuck closed"),
        stroke_cells,
        stroke_switch,
    ),
    Row(
        "weak: one rectifier diode open, unfiltered supply",
        ("supply/{}/rectifier1: open",),
        unfiltered,
        all_weak,
    ),
    Row(
        "door interlock open: all coils dead",
        ("interlock/{}/contact: never closes", "interlock/{}/pin: open", "interlock/{}/wire: open"),
        interlocks,
        door_open,
    ),
    Row(
        "shared coil fires the wrong one: changeover contacts",
        ("{}/changeover: stays at rest", "{}/changeover: stays pulled"),
        changeovers,
        wrong_coil,
    ),
    Row(
        "shared coils fire the wrong bank: changeover relay or its driver",
        (
            "relay/{}/relay: open",
            "relay/{}/relay: stuck active",
            "relay/{}/predriver: open",
            "relay/{}/link: open",
        ),
        relays,
        wrong_bank,
    ),
    Row(
        "fires twice for one hit: the switch that fires it (a rule of timing)",
        ("{}: bounces",),
        fired_by_switch,
        twice,
        part=firing_switch,
    ),
    Row("flipper flutters: hold winding open", ("{}/hold: open",), fluttering, flutters),
    Row(
        "coil matrix: one coil dead",
        (
            "{}/diode: open",
            "{}/diode: reversed",
            "{}/diode: missing",
            "{}/winding: open",
            "{}/column_stub: open",
        ),
        matrix_coils,
        matrix_coil,
    ),
    Row(
        "coil matrix: a line dead",
        ("{}/driver: open", "{}/pin: open", "{}/wire: open", "{}/predriver: open", "{}/logic: stuck idle"),
        matrix_lines,
        matrix_line,
    ),
)
