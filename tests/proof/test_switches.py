"""Random switch situations against stock simulators: volts of the lines, every reading, every phase."""

from __future__ import annotations

import random
from dataclasses import dataclass, replace
from functools import cache

import pytest

from matrixdoc.circuit.netlist import Circuit, Instant, OperatingPoint, build_circuit, operating_points
from matrixdoc.definition.library import machine_from_text
from tests.proof.compare import (
    HELD_OHM,
    READING_MARGIN_V,
    Tally,
    compare_volts,
    scaled,
    seed,
    source_ohms,
)
from tests.proof.damage import Terminal, neighbour_terminals, patches_of, random_moment
from tests.proof.deck import Damage, Deck, Moment, deck_for
from tests.proof.definitions import SHIPPED, SWITCH_STYLES, text_of
from tests.proof.expansion import expand
from tests.proof.machine import Grid, Machine
from tests.proof.simulate import Volts, by_neospice, by_ngspice

SHIPPED_SITUATIONS, STYLED_SITUATIONS, PHASES = 60, 40, 2
PER_MACHINE = 10
"""Situations of one made-up machine; then another one of the same style is made up."""

Point = tuple[str, Moment, list[Terminal], Deck]


def situation(
    rng: random.Random, machine: Machine, grid: Grid, bridges: list[tuple[Terminal, Terminal]]
) -> Moment:
    """3 to 12 closed switches, 0 to 3 things wrong; no column strobed yet."""
    keys = list(grid.cells)
    few = rng.sample(grid.columns, min(3, len(grid.columns)))
    # Closed corners meet in few columns and rows, or no sneak path would ever close.
    dense = [k for k in keys if grid.cells[k].column in few]
    pool = dense if rng.random() < 0.5 and len(dense) >= 3 else keys
    pressed = rng.sample(pool, min(len(pool), rng.randint(3, 12)))
    on = {grid.cells[k].element for k in pressed} ^ {c.element for c in grid.cells.values() if c.rests_closed}
    lines = {line for k in pressed for line in (grid.cells[k].column, grid.cells[k].row)}
    own = [r for r in machine.elements if r.startswith(f"{grid.name}/") and machine.elements[r].nets]
    cells = {f"{grid.name}/{k}/" for k in pressed} | {f"{grid.name}/{line}/" for line in lines}
    near = [r for r in own if r.rsplit("/", 1)[0] + "/" in cells]
    mine = [pair for pair in bridges if any(end[0].startswith(f"{grid.name}/") for end in pair)]
    return random_moment(rng, machine, frozenset(on), near, own, mine)


def points_of(rng: random.Random, machine: Machine, grid: Grid, moment: Moment) -> list[Point]:
    """One point for some strobed columns: its name, the moment, the terminals looked at, the deck."""
    looked = [(i.sensing, 0) for i in grid.inputs.values()]
    looked += [(c.output, 0) for c in grid.drivers.values()]
    closed = [cell.element for cell in grid.cells.values() if cell.element in moment.on]
    looked += [(reference, end) for reference in closed for end in (0, 1)]
    ends = [(reference, end) for reference in moment.damage for end in range(2)]
    looked += [end for end in ends if end not in looked]
    found = []
    busy = sorted({c.column for c in grid.cells.values() if c.element in moment.on})
    phases = {rng.choice(busy or grid.phases), *rng.sample(grid.phases, PHASES - 1)}
    for column in sorted(phases):
        here = replace(moment, on=moment.on | {grid.drivers[column].output})
        nets = [machine.net(*end) for end in looked]
        found.append((column, here, looked, deck_for(machine, here, nets)))
    return found


def instant_of(circuit: Circuit, moment: Moment, looked: list[Terminal]) -> Instant:
    """The same moment as the package is asked for it."""
    nets = dict.fromkeys(circuit.parts[reference].nets[end] for reference, end in looked)
    return Instant(moment.on, patches_of(circuit, moment), tuple(nets))


def check_readings(
    tally: Tally,
    machine: Machine,
    grid: Grid,
    circuit: Circuit,
    point: Point,
    ours: OperatingPoint,
    theirs: Volts,
    words: str,
) -> None:
    """Each row's level by us and by the simulator."""
    for row, one in grid.inputs.items():
        net = machine.net(one.sensing)
        volts, name = theirs[net], circuit.parts[one.sensing].nets[0]
        if name in ours.floating:
            ohm = source_ohms(point[3], theirs, [net])[net]
            if ohm < 0.9 * HELD_OHM:
                tally.failures.append(f"{words}: {row} is called floating, but {ohm:.3g} ohm hold it")
            tally.loose += 1
            continue
        if min(abs(volts - one.low_v), abs(volts - one.high_v)) <= READING_MARGIN_V:
            tally.undecided += 1
            continue
        tally.readings += 1
        levels = [(v <= one.low_v, v >= one.high_v) for v in (volts, ours.volts[name])]
        if levels[0] != levels[1] and source_ohms(point[3], theirs, [net])[net] < HELD_OHM:
            tally.differing += 1
            both = f"{volts:.5f} V, we say {ours.volts[name]:.5f} V"
            tally.failures.append(f"{words}: {row} reads otherwise: {both}")


@dataclass(frozen=True)
class Case:
    """Everything of one machine that both simulators are asked: points, and what the package says."""

    machine: Machine
    grid: Grid
    circuit: Circuit
    situations: int
    points: list[tuple[Moment, Point]]
    ours: list[OperatingPoint]
    start: int


@cache
def cases(name: str) -> list[Case]:
    """All situations of one style, over one machine or several made-up ones."""
    count = scaled(SHIPPED_SITUATIONS if name in SHIPPED else STYLED_SITUATIONS)
    each, found = count if name in SHIPPED else PER_MACHINE, []
    for start in range(0, count, each):
        text = text_of(name, seed() + start)
        machine, circuit = expand(text), build_circuit(machine_from_text(text))
        bridges = neighbour_terminals(circuit)
        for grid in machine.switches.values():
            rng = random.Random(f"{seed()} {name} {start} {grid.name}")
            moments = [situation(rng, machine, grid, bridges) for _ in range(min(each, count - start))]
            points = [(m, point) for m in moments for point in points_of(rng, machine, grid, m)]
            ours = operating_points(circuit, [instant_of(circuit, p[1], p[2]) for _, p in points])
            found.append(Case(machine, grid, circuit, len(moments), points, ours, start))
    return found


def check(case: Case, name: str, theirs: list[Volts | None], tally: Tally) -> None:
    """Compare one machine's points with what a simulator found."""
    for (moment, point), our, their in zip(case.points, case.ours, theirs, strict=True):
        words = f"seed {seed()} {name} from {case.start} phase {point[0]} {moment}"
        assert our.converged, words
        if their is None:
            tally.lost += 1
            continue
        by_net = {case.machine.net(*e): our.volts[case.circuit.parts[e[0]].nets[e[1]]] for e in point[2]}
        compare_volts(tally, point[3], by_net, their, words)
        check_readings(tally, case.machine, case.grid, case.circuit, point, our, their, words)
    tally.situations += case.situations
    tally.points += len(case.points)


@pytest.mark.parametrize("simulator", ["neospice", pytest.param("ngspice", marks=pytest.mark.ngspice)])
@pytest.mark.parametrize("name", [*SHIPPED, *SWITCH_STYLES])
def test_random_switch_situations(name, simulator, record_property, tmp_path):
    tally = Tally(f"{name}, {simulator}")
    for case in cases(name):
        decks = [point[3] for _, point in case.points]
        theirs = by_neospice(decks) if simulator == "neospice" else by_ngspice(decks, tmp_path)
        check(case, name, theirs, tally)
    record_property("proof volts and readings", tally.row())
    assert not tally.verdict(), tally.verdict()
    assert tally.readings > 4 * tally.situations


@pytest.mark.parametrize("name", SHIPPED)
def test_the_comparison_finds_a_wrong_circuit(name):
    # Every diode of the simulated machine backwards, its damage left out: readings and volts differ.
    case, tally = cases(name)[0], Tally(name)
    turned = {c.diode: Damage(turned=True) for c in case.grid.cells.values()}
    points = case.points[:16]
    nets = [[case.machine.net(*end) for end in point[2]] for _, point in points]
    moments = [Moment(point[1].on, turned) for _, point in points]
    decks = [deck_for(case.machine, moment, some) for moment, some in zip(moments, nets, strict=True)]
    changed = [(m, (*point[:3], deck)) for (m, point), deck in zip(points, decks, strict=True)]
    wrong = replace(case, points=changed, ours=case.ours[:16])
    check(wrong, name, by_neospice(decks), tally)
    assert tally.differing > 3
    assert len(tally.failures) > 2 * tally.differing
