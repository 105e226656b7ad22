"""Random moments of coils, flippers, flash lamps, lamps and switches of their own, illumination.

Coils are judged by steady currents: the operating point that a pulse approaches.
"""

from __future__ import annotations

import math
import random
from dataclasses import replace
from functools import lru_cache

import pytest

from matrixdoc.circuit.netlist import Circuit, Instant, OperatingPoint, build_circuit, operating_points
from matrixdoc.definition.library import machine_from_text
from tests.proof.compare import Tally, compare_volts, scaled, seed
from tests.proof.damage import neighbour_terminals, patches_of, random_moment
from tests.proof.deck import Deck, Moment, deck_for
from tests.proof.definitions import SHIPPED, text_of
from tests.proof.expansion import expand
from tests.proof.machine import Machine, Winding
from tests.proof.simulate import Volts, by_neospice, by_ngspice

SHIPPED_MOMENTS, MADE_UP_MOMENTS, PER_MACHINE = 16, 24, 6
OUTPUTS = "outputs"
ROOTS = (
    "coil/",
    "flash/",
    "feed/",
    "output/",
    "interlock/",
    "direct lamp/",
    "direct switch/",
    "illumination/",
)
NAMES = [name for name in SHIPPED if expand(text_of(name, 0)).windings] + [OUTPUTS]
AMPERES, SHARE = 1e-4, 0.005
Case = tuple[Machine, Circuit, Moment, list[tuple[str, int]], OperatingPoint, Deck]


def random_output_moment(rng: random.Random, machine: Machine, bridges: list) -> Moment:
    """Up to three windings pulsed, some lamps and switches on, an end of stroke or two reached."""
    pulsed: list[Winding] = rng.sample(list(machine.windings.values()), rng.randint(0, 3))
    on = {output for w in pulsed for output in w.outputs} | {contact for w in pulsed for contact in w.pressed}
    resting = sorted({contact for w in machine.windings.values() for contact in w.resting})
    on |= {contact for contact in machine.resting if rng.random() < 0.95}
    on |= {contact for contact in resting if rng.random() < 0.7}
    on |= {command.output for _, command in machine.single_lamps.values() if rng.random() < 0.4}
    on |= {contact for contact, _ in machine.direct.values() if rng.random() < 0.4}
    roots = (*ROOTS, *(f"{name}/" for name in machine.coil_matrices))
    own = [r for r, e in machine.elements.items() if r.startswith(roots) and e.nets]
    heads = {w.reference.removesuffix("/power").removesuffix("/hold") + "/" for w in pulsed}
    near = [r for r in own if any(r.startswith(h) for h in heads)] or own
    mine = [pair for pair in bridges if any(end[0].startswith(roots) for end in pair)]
    dead = [rail.name for rail in machine.rails.values() if rng.random() < 0.05]
    return replace(random_moment(rng, machine, frozenset(on), near, own, mine), dead=frozenset(dead))


@lru_cache(maxsize=1)
def cases(name: str) -> list[Case]:
    """Moments with what is looked at, what the package says, and their decks."""
    count = scaled(SHIPPED_MOMENTS if name in SHIPPED else MADE_UP_MOMENTS)
    each, found = count if name in SHIPPED else PER_MACHINE, []
    for start in range(0, count, each):
        text = text_of(name, seed() + start)
        machine, circuit = expand(text), build_circuit(machine_from_text(text))
        rng = random.Random(f"{seed()} {name} {start} outputs")
        bridges = neighbour_terminals(circuit)
        moments = [random_output_moment(rng, machine, bridges) for _ in range(min(each, count - start))]
        parts = [w.element for w in machine.windings.values()] + machine.lights
        parts += [element for element, _ in machine.single_lamps.values()]
        looked = [(part, end) for part in parts for end in (0, 1)]
        looked += [(w.command.output, 0) for w in machine.windings.values()]
        looked += [(one.sensing, 0) for _, one in machine.direct.values()]
        nets = tuple(dict.fromkeys(circuit.parts[r].nets[end] for r, end in looked))
        instants = [
            Instant(
                m.on,
                patches_of(circuit, m),
                nets,
                tuple(parts),
                rails={circuit.wiring.supplies[d].rail: (0.0, math.inf) for d in m.dead} or None,
            )
            for m in moments
        ]
        wanted = [machine.net(*end) for end in looked]
        for moment, point in zip(moments, operating_points(circuit, instants), strict=True):
            assert point.converged
            found.append((machine, circuit, moment, looked, point, deck_for(machine, moment, wanted)))
    return found


def _check(tally: Tally, case: Case, theirs: Volts, words: str) -> None:
    machine, circuit, moment, looked, point, deck = case
    by_net = {machine.net(*e): point.volts[circuit.parts[e[0]].nets[e[1]]] for e in looked}
    compare_volts(tally, deck, by_net, theirs, words)
    for part, amps in point.amps.items():
        element = machine.elements[part]
        if element.kind not in ("coil", "lamp") or part in moment.damage:
            continue
        ends = [theirs.get(net, 0.0) for net in element.nets]
        simulated = (ends[0] - ends[1]) / element.values["ohm"]
        tally.readings += 1
        if abs(amps - simulated) > max(AMPERES, SHARE * abs(simulated)):
            tally.differing += 1
            tally.failures.append(f"{words}: {part} carries {simulated:.6g} A, we say {amps:.6g} A")


@pytest.mark.parametrize("simulator", ["neospice", pytest.param("ngspice", marks=pytest.mark.ngspice)])
@pytest.mark.parametrize("name", NAMES)
def test_random_moments_of_outputs(name, simulator, record_property, tmp_path):
    tally, found = Tally(f"{name}, outputs, {simulator}"), cases(name)
    decks = [case[-1] for case in found]
    solved = by_neospice(decks) if simulator == "neospice" else by_ngspice(decks, tmp_path)
    for number, (case, theirs) in enumerate(zip(found, solved, strict=True)):
        tally.situations += 1
        tally.points += 1
        if theirs is None:
            tally.lost += 1
            continue
        _check(tally, case, theirs, f"seed {seed()} {name} number {number} {case[2]}")
    record_property("proof volts and currents of outputs", tally.row())
    assert not tally.verdict(), tally.verdict()
    assert tally.readings > 10 * tally.situations
