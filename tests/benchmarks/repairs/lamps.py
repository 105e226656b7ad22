"""Lamps of the benchmark's simulation: average watts of settled filaments over the scan, average amperes of
LEDs. The law of the filament is that of ``tests/proof/test_lamps.py`` (cited there).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from matrixdoc.checks.situation import ALL_LAMPS, Situation
from tests.proof.compare import junction_a
from tests.proof.deck import Moment, cards_of
from tests.proof.machine import Grid

if TYPE_CHECKING:
    from tests.benchmarks.repairs.simulation import Simulation

ROUNDS, SETTLED = 12, 0.01
LEAKS_A = 1e-4


def _grid_of(sim: Simulation, lamp: str) -> Grid | None:
    return next((g for n, g in sim.machine.lamps.items() if lamp.startswith(f"{n}/")), None)


def _element(sim: Simulation, lamp: str) -> str:
    grid = _grid_of(sim, lamp)
    if grid is not None:
        return grid.cells[lamp.rpartition("/")[2]].element
    return sim.machine.single_lamps[lamp][0] if lamp in sim.machine.single_lamps else lamp


def _phases(sim: Simulation, grid: Grid | None, pattern: tuple[str, ...]) -> list[set[str]]:
    """Outputs that conduct in each phase."""
    if grid is None:
        single = sim.machine.single_lamps
        lit = set() if sim.logic_dead else {n for n in single if n in pattern or ALL_LAMPS in pattern}
        wanted = {single[name][1].output for name in lit}
        return [sim.outputs([command for _, command in single.values()], wanted)]
    lit = {k for k in grid.cells if f"{grid.name}/{k}" in pattern or ALL_LAMPS in pattern}
    found = []
    for line in grid.phases:
        here = [grid.cells[k] for k in lit if line in (grid.cells[k].column, grid.cells[k].row)]
        across = [c.row if grid.strobed == "columns" else c.column for c in here]
        wanted = set() if sim.logic_dead else {grid.drivers[key].output for key in (line, *across)}
        found.append(sim.outputs(grid.drivers.values(), wanted))
    return found


def _values(sim: Simulation, moment: Moment, lamp: str) -> Mapping[str, float]:
    damage = moment.damage.get(lamp)
    own = sim.machine.elements[lamp].values
    return {**own, **damage.drifted} if damage is not None else own


def _filament_ohm(value: Mapping[str, float], watts: float) -> float:
    hot = value["design_v"] / value["design_a"]
    share = watts / (value["design_v"] * value["design_a"])
    return max(hot * share ** (0.45 / 1.55) if watts > 0.0 else 0.0, value["cold_ohm"])


def glow(sim: Simulation, situation: Situation, lamp: str) -> float:
    """What a lamp gives: average watts as a share of its own design watts (filament), or average amperes
    as a share of its design current (LED)."""
    grid = _grid_of(sim, lamp)
    key = ("glow", sim.faults, frozenset(sim.blown), situation, grid.name if grid else "")
    if key not in sim.plant.known:
        sim.plant.known[key] = _glows(sim, situation, grid)
    return float(sim.plant.known[key][_element(sim, lamp)])


def _glows(sim: Simulation, situation: Situation, grid: Grid | None) -> dict[str, float]:
    if grid is not None:
        lamps = [cell.element for cell in grid.cells.values()]
    else:
        lamps = [*(element for element, _ in sim.machine.single_lamps.values()), *sim.machine.lights]
    if not situation.power:
        return dict.fromkeys(lamps, 0.0)
    phases = [sim.moment(situation, on) for on in _phases(sim, grid, situation.lamps)]
    filaments = {r for r in lamps if sim.machine.elements[r].kind == "lamp"}
    ohms = {r: _values(sim, phases[0], r)["ohm"] for r in filaments}
    nets = sim.nets_of(lamps)
    powers: dict[str, float] = {}
    for _ in range(ROUNDS):
        powers = dict.fromkeys(lamps, 0.0)
        for moment in phases:
            hot = replace(moment, filaments={r: o for r, o in ohms.items() if r not in moment.damage})
            if any("ohm" in moment.damage[r].drifted for r in filaments & moment.damage.keys()):
                # A filament of another type is damage with values of its own: it settles there.
                hot = replace(hot, damage=_settled(moment, ohms, filaments))
            (at,) = sim.volts([sim.deck(hot, nets)])
            for card in cards_of(sim.machine, hot):
                if card.reference in powers:
                    drop = at.get(card.near, 0.0) - at.get(card.far, 0.0)
                    if card.saturation:
                        amps = junction_a(card, drop)
                        powers[card.reference] += amps if amps > LEAKS_A else 0.0
                    elif abs(drop) > LEAKS_A * card.ohm:
                        powers[card.reference] += drop * drop / card.ohm
        powers = {r: value / len(phases) for r, value in powers.items()}
        again = {r: _filament_ohm(_values(sim, phases[0], r), powers[r]) for r in filaments}
        change = max((abs(again[r] / ohms[r] - 1.0) for r in filaments), default=0.0)
        ohms = again
        if change < SETTLED:
            break
    found = {}
    for lamp, value in powers.items():
        design = _values(sim, phases[0], lamp)
        found[lamp] = value / (design["design_a"] * (design["design_v"] if lamp in filaments else 1.0))
    return found


def _settled(moment: Moment, ohms: Mapping[str, float], filaments: set[str]) -> dict:
    return {
        part: replace(what, drifted={**what.drifted, "ohm": ohms[part]})
        if part in filaments and "ohm" in what.drifted
        else what
        for part, what in moment.damage.items()
    }


def brightness(sim: Simulation, healthy: Simulation, situation: Situation, lamp: str) -> float:
    """Glow of a lamp over that of the healthy one under the same command (alone where not commanded)."""
    always = lamp in sim.machine.lights
    lit = always or lamp in situation.lamps or ALL_LAMPS in situation.lamps
    usual = glow(healthy, Situation(lamps=situation.lamps if lit else (lamp,)), lamp)
    return glow(sim, situation, lamp) / usual if usual > 0.0 else 0.0
