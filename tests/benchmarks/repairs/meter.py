"""A meter, a fuse out of its clip, and a new fuse, on the benchmark's simulation.

The meter is a part of the deck: 10 Mohm for volts, 0.3 V behind 1 kohm for ohms, 3 V behind 2.4 kohm for the
diode test. On a strobed line it shows the mean over the scan.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from matrixdoc.checks.situation import ALL_LAMPS, OPEN_LOOP, Look, Situation
from tests.benchmarks.repairs.coils import on_now
from tests.benchmarks.repairs.scan import closed_contacts
from tests.proof.deck import Card, Damage, Moment
from tests.proof.machine import EARTH, Grid

if TYPE_CHECKING:
    from tests.benchmarks.repairs.simulation import Simulation

INPUT_OHM = 10e6
SOURCES = {"ohms": (0.3, 1000.0), "diode": (3.0, 2400.0)}
MOST_OHM, MOST_DIODE_V = 20e6, 2.2
TWO_WAY = {"strobe_push_pull", "strobe_source_push_pull"}
"""Stages that drive both ways: without power neither transistor conducts."""

AT_ONCE, LATER = 3.3, 1.8
"""Times the rating: between the gates of IEC 60127-2 sheet 3 (2.1 times: two minutes at most; 2.75 times:
0.6 to 10 s; 4 times: 0.15 to 3 s)."""
IN_A_PULSE = 7.0
"""Times the rating that some tens of milliseconds need (4 times: 0.15 s at least; 10 times: 20 ms)."""


def reading(sim: Simulation, situation: Situation, look: Look) -> float | str:
    """What an ideal meter shows between the nets of the look: a number, or OL."""
    ends = [sim.machine.net(*sim.plant.at[net]) for net in (look.red, look.black)]
    if ends[0] == ends[1]:
        return 0.0
    before = _before_rectifier(sim, look)
    if before and look.function == "ohms" and not situation.power:
        return _series_ohm(sim, before)
    if look.function == "volts":
        meter = Card(ends[0], ends[1], INPUT_OHM, 0.0, 1.0, 0.0, "meter")
        phases = _phases(sim, situation, ends)
    else:
        volts, ohm = SOURCES[look.function]
        meter = Card(ends[0], ends[1], ohm, 0.0, 1.0, volts, "meter")
        phases = [closed_contacts(sim, situation)]
    across = []
    for on in phases:
        moment = sim.moment(situation, on)
        if not situation.power:
            elements = sim.machine.elements
            idle = {r for r, e in elements.items() if e.kind in TWO_WAY and r not in sim.damage}
            moment = _without(moment, idle)
        (at,) = sim.volts([sim.deck(moment, [n for n in ends if n != EARTH], [meter])])
        across.append(at[ends[0]] - at[ends[1]])
    mean = sum(across) / len(across)
    if look.function == "volts":
        return mean
    if look.function == "diode":
        return OPEN_LOOP if mean > MOST_DIODE_V else mean
    volts, ohm = SOURCES["ohms"]
    amps = (volts - mean) / ohm
    ohms = mean / amps if amps > 1e-12 else float("inf")
    return OPEN_LOOP if ohms > MOST_OHM else max(ohms, 0.0)


def _before_rectifier(sim: Simulation, look: Look) -> str:
    """The part between a winding and its rectifier that the leads are across. The decks leave these out: a
    rail is what the transient of its supply makes of them."""
    wiring = sim.plant.wiring
    for name, supply in wiring.supplies.items():
        if f"supply/{name}/rectifier1" not in sim.machine.elements:
            continue
        own = [r for r in supply.ac_parts if r.startswith(f"supply/{name}/") and "rectifier" not in r]
        for reference in own:
            if {look.red, look.black} == set(wiring.parts[reference].nets):
                return reference
    return ""


def _series_ohm(sim: Simulation, part: str) -> float | str:
    """Ohms of such a part: it lies in a ring with the winding and the rectifier, which blocks."""
    patch = sim.patches.get(part)
    ohm = sim.machine.elements[part].values.get("ohm", 0.0)
    if part in sim.blown or (patch is not None and patch.absent):
        return OPEN_LOOP
    if patch is not None and patch.shunt_ohm is not None:
        return min(ohm, patch.shunt_ohm)
    return patch.values.get("ohm", ohm) if patch is not None else ohm


def _without(moment: Moment, idle: set[str]) -> Moment:
    return replace(moment, damage={**dict.fromkeys(idle, Damage(opened=True)), **moment.damage})


def _phases(sim: Simulation, situation: Situation, ends: list[str]) -> list[set[str]]:
    """What conducts in each phase of the scans that the leads can see."""
    still = on_now(sim, situation, situation.pulsed)
    single = sim.machine.single_lamps
    commands = [command for _, command in single.values()]
    lit = {c.output for n, (_, c) in single.items() if n in situation.lamps or ALL_LAMPS in situation.lamps}
    still |= sim.outputs(commands, set() if sim.logic_dead else lit)
    deck = sim.deck(sim.moment(situation, still), [n for n in ends if n != EARTH])
    seen = set(deck.nodes) | set(ends)
    grids: list[Grid] = []
    for grid in (*sim.machine.switches.values(), *sim.machine.lamps.values()):
        lines = {sim.machine.net(c.output) for c in grid.drivers.values()}
        lines |= {sim.machine.net(i.sensing) for i in grid.inputs.values()}
        if lines & seen:
            grids.append(grid)
    count = max((len(g.phases) for g in grids), default=1)
    found = []
    for number in range(count):
        on = set(still)
        for grid in grids:
            line = grid.phases[number % len(grid.phases)]
            keys = {line}
            if grid.name in sim.machine.lamps:
                for key, cell in grid.cells.items():
                    if line in (cell.column, cell.row) and (
                        f"{grid.name}/{key}" in situation.lamps or ALL_LAMPS in situation.lamps
                    ):
                        keys |= {cell.column, cell.row}
            wanted = set() if sim.logic_dead else {grid.drivers[k].output for k in keys if k in grid.drivers}
            on |= sim.outputs(grid.drivers.values(), wanted)
        found.append(on)
    return found


def fuse_word(sim: Simulation, fuse: str) -> str:
    """A fuse measured out of its clip."""
    patch = sim.patches.get(fuse)
    return "open" if fuse in sim.blown or (patch is not None and patch.absent) else "good"


def new_fuse_load(sim: Simulation, situation: Situation, fuse: str) -> float:
    """Times its rating that a new fuse carries, standing or during the pulse."""
    element = sim.machine.elements[fuse]
    rated = element.values["rated_a"]
    moment = sim.moment(situation, on_now(sim, situation, situation.pulsed))
    if not fuse.startswith("supply/"):
        (at,) = sim.volts([sim.deck(moment, sim.nets_of([fuse]))])
        return abs(sim.amps(moment, at, [fuse])[fuse]) / rated
    rail = sim.machine.rails[fuse.split("/")[1]]
    if rail.name in sim.dead:
        return 100.0 if fuse in sim.blown else 0.0
    factor = 1.8 if f"supply/{rail.name}/capacitor" in sim.machine.elements else 1.11
    if rail.stiff:
        return factor * rail.load_a / rated
    (at,) = sim.volts([sim.deck(moment, [rail.net])])
    return factor * (rail.open_v - at[rail.net]) / max(rail.source_ohm, 1e-3) / rated


def new_fuse_word(load: float, *, pulsed: bool) -> str:
    """What happens to it."""
    if load >= (IN_A_PULSE if pulsed else AT_ONCE):
        return "blows at once"
    return "blows after a while" if load >= LATER and not pulsed else "holds"
