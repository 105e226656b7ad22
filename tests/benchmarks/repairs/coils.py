"""Windings of the benchmark's simulation: what is commanded, what flows, how hard they pull.

A pull is the current at the end of the pulse (resistance and inductance in series: OpenStax College
Physics, "RL Circuits") times the turns that are left, against the healthy machine.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from matrixdoc.checks.situation import Situation
from tests.benchmarks.repairs.plant import is_hold
from tests.benchmarks.repairs.scan import closed_contacts
from tests.proof.compare import source_ohms
from tests.proof.deck import Moment
from tests.proof.machine import Command, Winding
from tests.proof.test_scans import CLOSED, level

if TYPE_CHECKING:
    from tests.benchmarks.repairs.simulation import Simulation

PULLED = 0.5
"""Share of the healthy pull from which a plunger moves."""


def _commands(winding: Winding) -> list[Command]:
    return [c for c in (winding.command, *winding.also) if c.output]


def _enabled(sim: Simulation, winding: Winding) -> bool:
    patches = [sim.patches[part] for part in winding.enable if part in sim.patches]
    return not any(patch.absent or patch.stuck == "idle" for patch in patches)


def _fired(sim: Simulation, situation: Situation, contacts: set[str]) -> list[str]:
    """Windings whose own switch fires them."""
    triggers = sim.plant.triggers
    if not triggers:
        return []
    nets = {ref: sim.machine.net(one.sensing) for ref, (one, _) in triggers.items()}
    deck = sim.deck(sim.moment(situation, contacts), list(nets.values()))
    (at,) = sim.volts([deck])
    ohms = source_ohms(deck, at, list(nets.values()))
    return [
        ref
        for ref, (one, _) in triggers.items()
        if level(one, at[nets[ref]], ohms[nets[ref]], sim.patches) == CLOSED
    ]


def on_now(sim: Simulation, situation: Situation, pulsed: str) -> set[str]:
    """Contacts and outputs that conduct in the coil circuits."""
    windings = sim.machine.windings
    contacts = set(closed_contacts(sim, situation))
    wanted: set[str] = set()
    if not sim.logic_dead:
        names = [pulsed] if pulsed else []
        for name in [*names, *_fired(sim, situation, contacts)]:
            if _enabled(sim, windings[name]):
                wanted |= {c.output for c in _commands(windings[name])}
    if pulsed:
        contacts |= set(windings[pulsed].pressed)
        if is_hold(windings[pulsed]):
            contacts -= set(windings[pulsed].resting)
    return contacts | sim.outputs([c for w in windings.values() for c in _commands(w)], wanted)


def resting_moment(sim: Simulation) -> Moment:
    """Power on, nothing commanded, the coils that their own switches fire included."""
    situation = Situation()
    return sim.moment(situation, on_now(sim, situation, ""))


def pulls(sim: Simulation, situation: Situation, pulsed: str = "") -> dict[str, float]:
    """Pull of every winding, in ampere-turns over the healthy turns."""
    key = ("pulls", sim.faults, frozenset(sim.blown), situation, pulsed)
    known: dict[str, float] | None = sim.plant.known.get(key)
    if known is not None:
        return known
    windings = sim.machine.windings
    if not windings or not situation.power:
        return dict.fromkeys(windings, 0.0)
    moment = sim.moment(situation, on_now(sim, situation, pulsed))
    parts = {w.element: name for name, w in windings.items()}
    (at,) = sim.volts([sim.deck(moment, sim.nets_of(parts))])
    found = {}
    for part, amps in sim.amps(moment, at, parts).items():
        usual = sim.machine.elements[part].values
        damage = moment.damage.get(part)
        turns = 1.0
        if damage is not None and "ohm" in damage.drifted:
            turns = min(1.0, damage.drifted["ohm"] / usual["ohm"])
        rise = 1.0
        drawn = abs(amps)
        if pulsed == parts[part] and drawn > 1e-6:
            rail_v = max(r.open_v for r in sim.machine.rails.values() if not r.stiff)
            path_ohm = min(rail_v / drawn, 1e6)
            henry = usual.get("inductance_h", 0.0) * turns * turns
            if henry > 0.0:
                rise = -math.expm1(-sim.plant.pulse_s[pulsed] * path_ohm / henry)
        found[parts[part]] = drawn * turns * rise
    sim.plant.known[key] = found
    return found


def relative(
    sim: Simulation, healthy: Simulation, situation: Situation, pulsed: str = ""
) -> dict[str, float]:
    """Pull of every winding over that of its healthy pulse."""
    now = pulls(sim, situation, pulsed)
    found = {}
    for name, value in now.items():
        usual = pulls(healthy, Situation(), name)[name]
        found[name] = value / usual if usual > 1e-9 else 0.0
    return found
