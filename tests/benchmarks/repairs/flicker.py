"""Whether a lamp of the benchmark's simulation is seen to flicker: its supply pulses more than it does when
whole.

The rail's volts are those of the transient over the mains (``supplies.py``). A filament takes up their square
while its phase of the scan lasts, gives off heat with the fourth power of its temperature, and stores some:
its temperature is followed step by step for two seconds, and the light's spectrum is compared with what an
eye sees at each frequency. The beat of scan and mains is in it, whatever it comes to.

Tungsten at 2400 K: 0.67 microhm metre, emissivity 0.28 (Jones and Langmuir 1927, from memory), 19,300 kg/m3,
180 J/(kg K) (handbook values, from memory). Light goes with the power 3.4 of the volts and power with 1.55
(Fink and Beaty, Standard Handbook for Electrical Engineers, 11th ed., p. 22-8). What an eye sees: 1 % around
10 Hz, ten times as much for every 25 Hz above 35 Hz (de Lange 1958, read off from memory).
"""

from __future__ import annotations

import math
import random
from typing import TYPE_CHECKING, Any

import numpy as np

from tests.benchmarks.repairs.supplies import MAINS_HZ, waveform
from tests.proof.authoring import quantity

if TYPE_CHECKING:
    from tests.benchmarks.repairs.plant import Plant
    from tests.benchmarks.repairs.simulation import Simulation

Array = np.ndarray[Any, np.dtype[np.float64]]

STEP_S, SETTLING_S, WATCHED_S = 5e-4, 0.5, 2.0
SCAN_MS = 16.0
CLEARLY, SPREAD = 2.0, 0.4
"""Times as deep as when whole before it is called so; spread of people, in natural logarithm (common
practice, no source)."""
ONE_WORD = 0.5
"""Share of people who say "flickers" of a lamp that is dim or bright as well (common practice, no source)."""


def flickers(sim: Simulation, lamp: str, word: str, rng: random.Random) -> bool:
    """Whether a person calls a lamp flickering whose brightness they would call ``word``."""
    name = rail_of(sim.plant, lamp)
    faulty = any(part.startswith(f"supply/{name}/") for part in sim.patches)
    if word == "off" or not faulty or f"supply/{name}/rectifier1" not in sim.machine.elements:
        return False
    now, usual = (_seen(one, lamp, name) for one in (sim, sim.healthy))
    limit = max(1.0, CLEARLY * usual)
    if now <= 0.0 or math.log(now / limit) + rng.gauss(0.0, SPREAD) < 0.0:
        return False
    return word == "normal" or rng.random() < ONE_WORD


def rail_of(plant: Plant, lamp: str) -> str:
    """Name of the supply that a lamp lives by."""
    root, _, key = lamp.rpartition("/")
    form = plant.form
    if root in form.get("matrices", {}):
        facts, default = form["matrices"][root], "lamp"
    elif root == "direct lamp":
        facts, default = form["direct_lamps"][key], "lamp"
    else:
        facts, default = form["illumination"][root.partition("/")[2]], "illumination"
    feed = form.get("feeds", {}).get(facts.get("feed"), {})
    return str(feed.get("supply") or facts.get("supply") or default)


def _seen(sim: Simulation, lamp: str, name: str) -> float:
    """How many times as deep as an eye can just see the light pulses; kept."""
    grid = next((g for n, g in sim.machine.lamps.items() if lamp.startswith(f"{n}/")), None)
    element = grid.cells[lamp.rpartition("/")[2]].element if grid else lamp
    if not grid and lamp in sim.machine.single_lamps:
        element = sim.machine.single_lamps[lamp][0]
    part = sim.machine.elements[element]
    design = (part.values.get("design_v", 0.0), part.values.get("design_a", 0.0))
    phases = len(grid.phases) if grid else 1
    key = ("flicker", name, part.kind, design, phases, sim.faults)
    if key not in sim.plant.known:
        stated = sim.plant.form["matrices"][grid.name].get("scan") if grid else None
        scan_s = (quantity(stated.removesuffix("ms").strip()) if stated else SCAN_MS) / 1000.0
        power = _power(waveform(sim.plant, name, sim.patches), waveform(sim.plant, name, {}))
        at = STEP_S * np.arange(len(power))
        lit = (at % scan_s) < scan_s / phases
        share = phases * power * lit
        light = _light(share, *design) if part.kind == "lamp" else np.sqrt(share)
        sim.plant.known[key] = _depth(light[round(SETTLING_S / STEP_S) :])
    return float(sim.plant.known[key])


def _power(volts: Array, usual: Array) -> Array:
    """Power against that of the whole supply, at every step; ``volts`` are whole cycles of the mains."""
    steps = round((SETTLING_S + WATCHED_S) / STEP_S)
    place = (STEP_S * np.arange(steps) * MAINS_HZ) % 1.0
    cycle = np.linspace(0.0, 1.0, len(volts), endpoint=False)
    now: Array = np.interp(place, cycle, volts, period=1.0)
    return now * now / float(np.mean(usual * usual))


def _light(share: Array, design_v: float, design_a: float) -> Array:
    """Light of a filament against its own design, from its power against its design."""
    watts = design_v * design_a
    surface = watts / (0.28 * 5.670e-8 * 2400.0**4)
    squares = design_v / design_a / 0.67e-6
    thickness = (4.0 * surface / (math.pi**2 * squares)) ** (1.0 / 3.0)
    joule_per_k = surface * thickness / 4.0 * 19300.0 * 180.0
    rise = watts * STEP_S / joule_per_k / 2400.0
    warmth = max(float(np.mean(share)), 1e-3) ** 0.25
    found = np.empty(len(share))
    for step, taken in enumerate(share):
        found[step] = warmth
        warmth += rise * (float(taken) - warmth**4)
    return np.asarray(found ** (4.0 * 3.4 / 1.55))


def _depth(light: Array) -> float:
    """The deepest pulsing at any frequency, over what an eye can just see there."""
    mean = float(np.mean(light))
    if mean <= 0.0:
        return 0.0
    lines = 2.0 * np.abs(np.fft.rfft(light)) / len(light) / mean
    hertz = np.fft.rfftfreq(len(light), STEP_S)
    least = 0.01 * 10.0 ** (np.maximum(0.0, hertz - 35.0) / 25.0)
    slow = hertz >= 1.0
    return float(np.max(lines[slow] / least[slow]))
