"""The whole switch scan as the program predicts it, against one simulated phase by phase.

Faults are those of the published catalogue (their patches are data), the signal layer included; how a
stuck or open signal part acts on a drive or an input is worked out here a second time.
"""

from __future__ import annotations

import random
from collections.abc import Mapping
from dataclasses import dataclass

import pytest

from matrixdoc.checks.model import build_model
from matrixdoc.checks.predictor import Predictor
from matrixdoc.checks.situation import Look, Situation
from matrixdoc.circuit.netlist import Circuit, build_circuit
from matrixdoc.circuit.patch import Patch
from matrixdoc.definition.library import machine_from_text
from matrixdoc.faults.catalogue import load_catalogue
from matrixdoc.faults.priors import Fault, possible_faults
from tests.proof.compare import HELD_OHM, READING_MARGIN_V, Tally, scaled, seed, source_ohms
from tests.proof.damage import Terminal, damage_of
from tests.proof.deck import Deck, Moment, deck_for
from tests.proof.definitions import SHIPPED, SWITCH_STYLES, text_of
from tests.proof.expansion import expand
from tests.proof.machine import Command, Grid, Input, Machine
from tests.proof.simulate import Volts, by_neospice

SHIPPED_SCANS, STYLED_SCANS, PER_MACHINE = 5, 4, 2
OPTICAL = {
    *("emitter", "emitter_feed", "emitter_resistor", "emitter_return"),
    *("phototransistor", "receiver_pull", "buffer", "output"),
}
"""Light is no part of the circuit: faults of optical pairs are left to the tests of the checks."""
OPEN, CLOSED, UNSURE = "open", "closed", "unsure"


@dataclass(frozen=True)
class Scan:
    """A situation with faults, its strobed phases as moments and decks."""

    held: tuple[str, ...]
    faults: tuple[Fault, ...]
    patches: Mapping[str, Patch]
    decks: dict[str, Deck]


def commanded(command: Command, on: bool, patches: Mapping[str, Patch]) -> bool:
    """Whether the output is told to conduct: the part nearest to it has the last word; a break idles it."""
    for part in command.path:
        patch = patches.get(part)
        if patch is not None and patch.stuck:
            on = patch.stuck == "active"
        elif patch is not None and patch.absent:
            on = False
    return on


def conducting(grid: Grid, phase: str, patches: Mapping[str, Patch]) -> set[str]:
    """Outputs that conduct while the logic wants the column ``phase``.

    A decoder drives the output whose number is on its select lines: a stuck or open line (open: low)
    turns the number into another one; the part nearest to the decoder has the last word.
    """
    wanted = grid.drivers[phase]
    address = 0
    for bit, line in enumerate(wanted.lines):
        high = bool(wanted.number >> bit & 1)
        for part in line:
            patch = patches.get(part)
            if patch is not None and (patch.stuck or patch.absent):
                high = patch.stuck == "active"
        address |= int(high) << bit
    found = set()
    for key, command in grid.drivers.items():
        on = command.number == address if command.lines else key == phase
        if commanded(command, on, patches):
            found.add(command.output)
    return found


def level(one: Input, volts: float, ohm: float, patches: Mapping[str, Patch]) -> str:
    """What the logic makes of an input."""
    floats = {"undefined": UNSURE}.get(one.floating, CLOSED if one.floating == one.closed else OPEN)
    if ohm > 1.1 * HELD_OHM:
        state = floats
    elif ohm > 0.9 * HELD_OHM or one.low_v - READING_MARGIN_V <= volts <= one.high_v + READING_MARGIN_V:
        state = UNSURE
    else:
        state = CLOSED if (volts <= one.low_v) == (one.closed == "low") else OPEN
    for part in (one.sensing, *one.path):
        patch = patches.get(part)
        if patch is not None and patch.stuck:
            state = CLOSED if patch.stuck == "active" else OPEN
        elif patch is not None and patch.absent:
            state = floats
    return state


def random_scan(
    rng: random.Random, machine: Machine, grid: Grid, circuit: Circuit, possible: Mapping[Fault, Patch]
) -> Scan:
    """3 to 12 switches held, 0 to 3 faults of the catalogue, most of them near what is held."""
    keys = list(grid.cells)
    few = rng.sample(grid.columns, min(3, len(grid.columns)))
    dense = [k for k in keys if grid.cells[k].column in few]
    pressed = rng.sample(dense if rng.random() < 0.6 and len(dense) >= 3 else keys, 3)
    pressed += [k for k in rng.sample(keys, min(len(keys), rng.randint(0, 9))) if k not in pressed]
    held = [f"{grid.name}/{k}" for k in pressed]
    held += [name for name in machine.direct if rng.random() < 0.2]
    heads = {f"{grid.name}/{x}" for k in pressed for x in (k, grid.cells[k].column, grid.cells[k].row)}
    roots = (f"{grid.name}/", f"bridge/{grid.name}/", "direct switch/")
    own = [f for f in possible if f.part.startswith(roots) and not OPTICAL & set(f.part.split("/"))]
    near = [f for f in own if f.part.rsplit("/", 1)[0] in heads or any(h in f.part for h in heads)]
    chosen: dict[str, Fault] = {}
    for _ in range(rng.choice([0, 1, 1, 2, 2, 3])):
        fault = rng.choice(near if rng.random() < 0.75 else own)
        chosen[fault.part] = fault
    faults = tuple(sorted(chosen.values()))
    patches = {fault.part: possible[fault] for fault in faults}
    return Scan(tuple(sorted(held)), faults, patches, _decks(machine, grid, circuit, held, patches))


def _decks(
    machine: Machine, grid: Grid, circuit: Circuit, held: list[str], patches: Mapping[str, Patch]
) -> dict[str, Deck]:
    pressed = {c.element for key, c in grid.cells.items() if f"{grid.name}/{key}" in held}
    on = pressed ^ {cell.element for cell in grid.cells.values() if cell.rests_closed}
    direct = machine.direct.items()
    on |= {contact for name, (contact, _) in direct if (name in held) != (name in machine.rests_closed)}
    bridges, damage, at = [], {}, _terminals(circuit)
    for part, patch in patches.items():
        if part in circuit.bridges:
            one, two = circuit.bridges[part].nets
            bridges.append((at[one], at[two], patch.shunt_ohm or 0.0))
        elif machine.elements[part].nets and not (machine.elements[part].kind == "sensing" and patch.stuck):
            damage[part] = damage_of(patch)
    decks = {}
    for phase in grid.phases:
        driven = conducting(grid, phase, patches)
        nets = [machine.net(one.sensing) for one in grid.inputs.values()]
        if phase == grid.phases[-1]:
            nets += [machine.net(one.sensing) for _, one in machine.direct.values()]
        decks[phase] = deck_for(machine, Moment(frozenset(on | driven), damage, tuple(bridges)), nets)
    return decks


def _terminals(circuit: Circuit) -> dict[str, Terminal]:
    at: dict[str, Terminal] = {}
    for reference, part in circuit.wiring.parts.items():
        for number, net in enumerate(part.nets):
            at.setdefault(net, (reference, number))
    return at


def states(machine: Machine, grid: Grid, scan: Scan, volts: dict[str, Volts]) -> dict[str, str]:
    """What each place of the matrix, and each direct switch, reads."""
    found = {}
    for phase, deck in scan.decks.items():
        at = volts[phase]
        looked = {f"{grid.name}/{phase}{row}": one for row, one in grid.inputs.items()}
        if phase == grid.phases[-1]:
            looked |= {name: one for name, (_, one) in machine.direct.items()}
        nets = {place: machine.net(one.sensing) for place, one in looked.items()}
        ohms = source_ohms(deck, at, list(nets.values()))
        for place, one in looked.items():
            found[place] = level(one, at[nets[place]], ohms[nets[place]], scan.patches)
    return found


@pytest.mark.parametrize("name", [*SHIPPED, *SWITCH_STYLES])
def test_random_scans(name, record_property):
    count, tally = scaled(SHIPPED_SCANS if name in SHIPPED else STYLED_SCANS), Tally(f"{name}, whole scans")
    each = count if name in SHIPPED else PER_MACHINE
    for start in range(0, count, each):
        text = text_of(name, seed() + start)
        machine, circuit = expand(text), build_circuit(machine_from_text(text))
        known = possible_faults(circuit, load_catalogue())
        predictor = Predictor(build_model(circuit, known))
        patches = {fault: one.patch for fault, one in known.items()}
        for grid in machine.switches.values():
            rng = random.Random(f"{seed()} {name} {start} {grid.name} scans")
            number = min(each, count - start)
            found = [random_scan(rng, machine, grid, circuit, patches) for _ in range(number)]
            decks = [deck for scan in found for deck in scan.decks.values()]
            solved = iter(by_neospice(decks))
            for scan in found:
                volts = {phase: next(solved) for phase in scan.decks}
                tally.situations += 1
                tally.points += len(volts)
                good = {phase: at for phase, at in volts.items() if at is not None}
                if len(good) < len(volts):
                    tally.lost += 1
                    continue
                _check(tally, predictor, scan, states(machine, grid, scan, good), name)
    record_property("proof volts and readings", tally.row())
    assert not tally.verdict(), tally.verdict()


def _check(tally: Tally, predictor: Predictor, scan: Scan, seen: dict[str, str], name: str) -> None:
    outcomes = predictor.predict(Situation(held=scan.held), Look("reads"), scan.faults)
    assert sum(share for _, share in outcomes) == pytest.approx(1.0)
    sets = [outcome for outcome, share in outcomes if isinstance(outcome, frozenset) and share > 0.0]
    assert sets
    sure, maybe = frozenset.intersection(*sets), frozenset.union(*sets)
    for place, state in seen.items():
        if state == UNSURE:
            tally.undecided += 1
            continue
        tally.readings += 1
        predicted = CLOSED if place in sure else UNSURE if place in maybe else OPEN
        if predicted != state:
            tally.differing += 1
            words = f"held {scan.held}, {scan.faults}"
            tally.failures.append(f"seed {seed()} {name}: {place} is {state}, predicted {predicted}; {words}")
    stray = maybe - set(seen)
    if stray:
        tally.failures.append(f"seed {seed()} {name}: {sorted(stray)} are no places that read")
