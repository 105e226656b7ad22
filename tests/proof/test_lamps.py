"""Random lamp scans against stock simulators, and the thermal loop of filaments by itself.

Filaments: ``I = Id (V / Vd)^0.55`` near the design point (Fink and Beaty, Standard Handbook for
Electrical Engineers, 11th ed., p. 22-8), so ``P = Pd (V / Vd)^1.55`` and ``R = Rd (P / Pd)^(0.45 / 1.55)``;
never less than the cold resistance.
"""

from __future__ import annotations

import math
import random
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache

import pytest

from matrixdoc.circuit.lamps import LampState, Scan, settle_lamps
from matrixdoc.circuit.netlist import Circuit, Instant, OperatingPoint, build_circuit, operating_points
from matrixdoc.definition.library import machine_from_text
from tests.proof.compare import Tally, compare_volts, junction_a, scaled, seed
from tests.proof.damage import Terminal, neighbour_terminals, patches_of, random_moment
from tests.proof.deck import Deck, Moment, cards_of, deck_for
from tests.proof.definitions import LAMP_STYLES, SHIPPED, text_of
from tests.proof.expansion import expand
from tests.proof.machine import Grid, Machine
from tests.proof.simulate import Volts, by_neospice, by_ngspice

SHIPPED_SCANS, STYLED_SCANS, PER_MACHINE = 3, 4, 2
WITH_LAMPS = [name for name in SHIPPED if expand(text_of(name, 0)).lamps]
POWER_SHARE = 0.01
DARK = 1e-4
"""Of the design power (or design current): less is dark, and not compared by its share."""


@dataclass(frozen=True)
class LampScan:
    """One scan: its phases as moments, looked-at terminals, settled lamps, package points, decks."""

    machine: Machine
    circuit: Circuit
    grid: Grid
    words: str
    phases: tuple[Moment, ...]
    looked: tuple[Terminal, ...]
    states: Mapping[str, LampState]
    points: list[OperatingPoint]
    decks: list[Deck]


def _wrong_with(rng: random.Random, machine: Machine, grid: Grid, lit: list[str], bridges: list) -> Moment:
    lines = {line for k in lit for line in (grid.cells[k].column, grid.cells[k].row)}
    own = [r for r in machine.elements if r.startswith(f"{grid.name}/") and machine.elements[r].nets]
    heads = {f"{grid.name}/{k}" for k in (*lit, *lines)}
    near = [r for r in own if r.rsplit("/", 1)[0] in heads]
    mine = [pair for pair in bridges if any(end[0].startswith(f"{grid.name}/") for end in pair)]
    return random_moment(rng, machine, frozenset(), near, own, mine)


def phases_of(grid: Grid, lit: list[str], wrong: Moment) -> tuple[Moment, ...]:
    """One moment for each strobed line: its driver, and those of the other lines whose lamp is lit."""
    found = []
    for line in grid.phases:
        here = [grid.cells[k] for k in lit if line in (grid.cells[k].column, grid.cells[k].row)]
        across = [c.row if grid.strobed == "columns" else c.column for c in here]
        on = {grid.drivers[key].output for key in (line, *across)}
        found.append(replace(wrong, on=frozenset(on)))
    return tuple(found)


@cache
def scans(name: str) -> list[LampScan]:
    """Random scans of one style: several lamps commanded, 0 to 3 things wrong; settled by the package."""
    count = scaled(SHIPPED_SCANS if name in SHIPPED else STYLED_SCANS)
    each, found = count if name in SHIPPED else PER_MACHINE, []
    for start in range(0, count, each):
        text = text_of(name, seed() + start)
        machine, circuit = expand(text), build_circuit(machine_from_text(text))
        bridges = neighbour_terminals(circuit)
        for grid in machine.lamps.values():
            rng = random.Random(f"{seed()} {name} {start} {grid.name}")
            for number in range(min(each, count - start)):
                every = len(grid.cells)
                lit = rng.sample(list(grid.cells), rng.choice([1, 3, 8, every // 2, every]))
                wrong = _wrong_with(rng, machine, grid, lit, bridges)
                words = f"seed {seed()} {name} from {start} scan {number} lit {lit} {wrong}"
                found.append(_settled(machine, circuit, grid, words, phases_of(grid, lit, wrong)))
    return found


def _settled(
    machine: Machine, circuit: Circuit, grid: Grid, words: str, phases: tuple[Moment, ...]
) -> LampScan:
    looked = [(c.output, end) for c in grid.drivers.values() for end in (0, 1)]
    looked += [(cell.element, end) for cell in grid.cells.values() for end in (0, 1)]
    nets = tuple(dict.fromkeys(circuit.parts[r].nets[end] for r, end in looked))
    lamps = tuple(cell.element for cell in grid.cells.values())
    instants = [Instant(m.on, patches_of(circuit, m), ()) for m in phases]
    share = 1.0 / len(phases)
    states = settle_lamps(circuit, [Scan(tuple((share, one) for one in instants), lamps)])[0]
    hot = {r: s.ohm for r, s in states.items() if not math.isnan(s.ohm)}
    values = {r: {"ohm": ohm} for r, ohm in hot.items()}
    points = operating_points(circuit, [replace(one, values=values, nets=nets) for one in instants])
    phases = tuple(replace(m, filaments=hot) for m in phases)
    wanted = [machine.net(*end) for end in looked]
    decks = [deck_for(machine, m, wanted) for m in phases]
    return LampScan(machine, circuit, grid, words, phases, tuple(looked), states, points, decks)


def averages(
    machine: Machine, lamps: list[str], phases: tuple[Moment, ...], volts: list[Volts]
) -> dict[str, float]:
    """Average watts of filaments, average amperes of LEDs, over a scan, from simulated volts: what the
    element itself turns to heat and light, not what flows beside it."""
    found = dict.fromkeys(lamps, 0.0)
    for moment, at in zip(phases, volts, strict=True):
        for card in cards_of(machine, moment):
            if card.reference not in found:
                continue
            drop = at.get(card.near, 0.0) - at.get(card.far, 0.0)
            found[card.reference] += junction_a(card, drop) if card.saturation else drop * drop / card.ohm
    return {name: value / len(phases) for name, value in found.items()}


def design(machine: Machine, lamp: str) -> float:
    """Design watts of a filament, design amperes of an LED."""
    value = machine.elements[lamp].values
    return value["design_a"] * value.get("design_v", 1.0)


def filament_ohm(machine: Machine, lamp: str, watts: float) -> float:
    """Resistance of a filament at an average power, by the law in the docstring of this module."""
    value = machine.elements[lamp].values
    hot = value["design_v"] / value["design_a"]
    warm = hot * (watts / (value["design_v"] * value["design_a"])) ** (0.45 / 1.55) if watts > 0.0 else 0.0
    return max(warm, value["cold_ohm"])


def check(scan: LampScan, theirs: list[Volts | None], tally: Tally) -> None:
    """Volts in every phase, and every lamp's average."""
    for deck, our, their in zip(scan.decks, scan.points, theirs, strict=True):
        assert our.converged, scan.words
        if their is None:
            tally.lost += 1
            continue
        by_net = {
            scan.machine.net(*end): our.volts[scan.circuit.parts[end[0]].nets[end[1]]] for end in scan.looked
        }
        compare_volts(tally, deck, by_net, their, scan.words)
    tally.situations += 1
    tally.points += len(scan.phases)
    solved = [their for their in theirs if their is not None]
    if len(solved) < len(theirs):
        return
    if not all(state.converged for state in scan.states.values()):
        tally.failures.append(f"{scan.words}: the filaments do not settle")
    for lamp, value in averages(scan.machine, list(scan.states), scan.phases, solved).items():
        state, scale = scan.states[lamp], design(scan.machine, lamp)
        if not math.isnan(state.ohm) and lamp not in scan.phases[0].damage:
            # The simulated power at the settled resistance gives that resistance again.
            again = filament_ohm(scan.machine, lamp, value)
            if abs(again / state.ohm - 1.0) > POWER_SHARE:
                tally.failures.append(f"{scan.words}: {lamp} {state.ohm} ohm gives {again} ohm")
        ours = state.average_a if math.isnan(state.ohm) else state.power_w
        if max(abs(ours), abs(value)) < DARK * scale:
            continue
        tally.readings += 1
        off = abs(ours / value - 1.0) if value else math.inf
        tally.worst_share = max(tally.worst_share, off)
        if off > POWER_SHARE:
            tally.differing += 1
            tally.failures.append(f"{scan.words}: {lamp} {value:.6g}, we say {ours:.6g}")


@pytest.mark.parametrize("simulator", ["neospice", pytest.param("ngspice", marks=pytest.mark.ngspice)])
@pytest.mark.parametrize("name", [*WITH_LAMPS, *LAMP_STYLES])
def test_random_lamp_scans(name, simulator, record_property, tmp_path):
    tally = Tally(f"{name}, {simulator}")
    found = scans(name)
    decks = [deck for scan in found for deck in scan.decks]
    volts = iter(by_neospice(decks) if simulator == "neospice" else by_ngspice(decks, tmp_path))
    for scan in found:
        check(scan, [next(volts) for _ in scan.decks], tally)
    row = f"{tally.row().rsplit('|', 2)[0]}| {tally.worst_share:.2%} |"
    record_property("proof volts and powers of lamps", row)
    assert not tally.verdict(), tally.verdict()
    assert tally.readings > tally.situations


@pytest.mark.parametrize("name", WITH_LAMPS)
@pytest.mark.parametrize("start", [0.1, 4.0])
def test_another_loop_settles_to_the_same(name, start):
    # Started cold and started far too hot, without damping, with the simulator in the loop.
    for scan in scans(name)[:1]:
        filaments = [lamp for lamp, state in scan.states.items() if not math.isnan(state.ohm)]
        ohms = {lamp: start * scan.machine.elements[lamp].values["ohm"] for lamp in filaments}
        nets = [scan.machine.net(*end) for end in scan.looked]
        for _ in range(10):
            phases = tuple(replace(moment, filaments=ohms) for moment in scan.phases)
            found = by_neospice([deck_for(scan.machine, moment, nets) for moment in phases])
            volts = [one for one in found if one is not None]
            assert len(volts) == len(phases), scan.words
            powers = averages(scan.machine, filaments, phases, volts)
            ohms = {lamp: filament_ohm(scan.machine, lamp, powers[lamp]) for lamp in filaments}
        for lamp in filaments:
            if powers[lamp] > DARK * design(scan.machine, lamp):
                assert scan.states[lamp].power_w == pytest.approx(powers[lamp], rel=0.01), (scan.words, lamp)
