"""The switch scan of the benchmark's simulation: contacts, optical pairs, every strobed phase."""

from __future__ import annotations

from typing import TYPE_CHECKING

from matrixdoc.checks.situation import Situation
from tests.proof.compare import HELD_OHM, source_ohms
from tests.proof.deck import Card
from tests.proof.machine import EARTH, Input
from tests.proof.test_scans import CLOSED, UNSURE, level

if TYPE_CHECKING:
    from tests.benchmarks.repairs.plant import Optical
    from tests.benchmarks.repairs.simulation import Simulation

LEAK_OHM, LEAK_V = 1e7, 5.0
"""An input's leakage of half a microampere, towards ground or towards the logic's supply."""
LOOSE_FROM = 0.9
"""Share of the ohms that hold an input from which its leakage counts."""
SEES = 0.25
"""Share of the healthy emitter current from which a receiver sees light."""


def closed_contacts(sim: Simulation, situation: Situation) -> set[str]:
    """Contacts that the person's hands, springs and light close; what a fault does to them is damage."""
    held = set(situation.held)
    on = {
        contact
        for name, (contact, rests_closed) in sim.plant.contacts.items()
        if rests_closed != (name in held)
    }
    return on | _lit(sim, situation, held)


def _emitted(sim: Simulation, situation: Situation) -> dict[str, float]:
    key = ("emitters", sim.faults, frozenset(sim.blown), situation.opened, situation.jumpers)
    if key not in sim.plant.known:
        moment = sim.moment(Situation(opened=situation.opened, jumpers=situation.jumpers), ())
        emitters = [f"{own}/emitter" for own in sim.plant.optical]
        (at,) = sim.volts([sim.deck(moment, sim.nets_of(emitters))])
        sim.plant.known[key] = sim.amps(moment, at, emitters)
    found: dict[str, float] = sim.plant.known[key]
    return found


def _lit(sim: Simulation, situation: Situation, held: set[str]) -> set[str]:
    """What conducts in optical pairs: a receiver in the light, an output behind a dark one."""
    pairs: dict[str, Optical] = sim.plant.optical
    if not pairs or not situation.power:
        return set()
    now = _emitted(sim, situation)
    usual = _emitted(sim.healthy, Situation())
    bright = {
        own: now[f"{own}/emitter"] >= SEES * usual[f"{own}/emitter"] and own not in held for own in pairs
    }
    on = {f"{own}/phototransistor" for own, there in bright.items() if there}
    buffered = {own: pair.buffer for own, pair in pairs.items() if pair.buffer is not None}
    if not buffered:
        return on
    nets = {own: sim.machine.net(one.sensing) for own, one in buffered.items()}
    deck = sim.deck(sim.moment(situation, on), list(nets.values()))
    (at,) = sim.volts([deck])
    ohms = source_ohms(deck, at, list(nets.values()))
    for own, one in buffered.items():
        if level(one, at[nets[own]], ohms[nets[own]], sim.patches) == CLOSED:
            on.add(pairs[own].element)
    return on


def scan(sim: Simulation, situation: Situation) -> dict[str, str]:
    """What each place of the matrices and each direct switch reads: open, closed or unsure."""
    key = ("scan", sim.faults, frozenset(sim.blown), situation)
    known: dict[str, str] | None = sim.plant.known.get(key)
    if known is not None:
        return known
    on = closed_contacts(sim, situation)
    found: dict[str, str] = {}
    for grid in sim.machine.switches.values():
        for phase in grid.phases:
            driven = sim.outputs(grid.drivers.values(), {grid.drivers[phase].output})
            looked = {
                f"{grid.name}/{phase}{row}" if grid.strobed == "columns" else f"{grid.name}/{row}{phase}": one
                for row, one in grid.inputs.items()
            }
            found |= _levels(sim, situation, on | driven, looked)
    direct = {name: one for name, (_, one) in sim.machine.direct.items()}
    if direct:
        found |= _levels(sim, situation, on, direct)
    sim.plant.known[key] = found
    return found


def _levels(sim: Simulation, situation: Situation, on: set[str], looked: dict[str, Input]) -> dict[str, str]:
    nets = {place: sim.machine.net(one.sensing) for place, one in looked.items()}
    deck = sim.deck(sim.moment(situation, on), list(nets.values()))
    (at,) = sim.volts([deck])
    ohms = source_ohms(deck, at, list(nets.values()))
    found = {p: level(one, at[nets[p]], ohms[nets[p]], sim.patches) for p, one in looked.items()}
    loose = [p for p, state in found.items() if state == UNSURE and ohms[nets[p]] > LOOSE_FROM * HELD_OHM]
    return found | _leaked(sim, situation, on, {p: looked[p] for p in loose}) if loose else found


def _leaked(sim: Simulation, situation: Situation, on: set[str], looked: dict[str, Input]) -> dict[str, str]:
    """Inputs that nothing holds firmly: their own leakage, of whatever sign, decides, unless a diode that
    it would flow through holds them on one side of the threshold either way.
    """
    nets = {place: sim.machine.net(one.sensing) for place, one in looked.items()}
    moment, wanted = sim.moment(situation, on), list(dict.fromkeys(nets.values()))
    ends: list[dict[str, str]] = []
    for volts in (0.0, LEAK_V):
        leaks = [Card(net, EARTH, LEAK_OHM, 0.0, 0.0, volts, "") for net in wanted]
        (at,) = sim.volts([sim.deck(moment, wanted, leaks)])
        ends.append({p: level(one, at[nets[p]], 0.0, sim.patches) for p, one in looked.items()})
    return {p: ends[0][p] if ends[0][p] == ends[1][p] else UNSURE for p in looked}
