"""What a person says who looks at the benchmark's simulation: words, sets, readings with their spread."""

from __future__ import annotations

import math
import random
from dataclasses import replace

from matrixdoc.checks.situation import NO_LOGIC, NOT_SURE, Look, Outcome, Situation
from matrixdoc.faults.priors import Fault
from tests.benchmarks.repairs import meter
from tests.benchmarks.repairs.coils import PULLED, relative
from tests.benchmarks.repairs.flicker import flickers
from tests.benchmarks.repairs.lamps import brightness
from tests.benchmarks.repairs.plant import Plant
from tests.benchmarks.repairs.scan import scan
from tests.benchmarks.repairs.simulation import Simulation, UnsolvedError
from tests.proof.test_scans import CLOSED, UNSURE

LAMP_EDGES = (("off", 0.08), ("dim", 0.55), ("normal", 1.75))
"""Ratios of power up to which a lamp is called so (the words of the published looks)."""
EYE = 0.2
"""Spread of a person's eye, in natural logarithm of power (common practice, no source)."""
COIL_EDGES = (("nothing", 0.4), ("weak", 0.82))
METER_SHARE, METER_LEAST = 0.015, {"volts": 0.02, "ohms": 0.15, "diode": 0.005}
"""A meter's relative and least spread: class 1.5, leads of a tenth of an ohm (common practice, no source)."""
PART_SHARE = 0.02
"""Tolerance of the parts that a reading goes through."""


class Unanswerable(Exception):  # noqa: N818 - not an error of the program
    """The simulation has no answer to a look of this kind."""


class Person:
    """Looks at a machine. ``present`` are the faults that are there at this moment."""

    def __init__(self, plant: Plant, rng: random.Random) -> None:
        self.plant = plant
        self.rng = rng
        self.unsolved = 0

    def simulation(self, present: frozenset[Fault]) -> Simulation:
        """The machine with these faults, kept."""
        if not present:
            return _healthy(self.plant)
        key = ("simulation", present)
        if key not in self.plant.known:
            self.plant.known[key] = Simulation(self.plant, present)
        found: Simulation = self.plant.known[key]
        return found

    def look(self, present: frozenset[Fault], situation: Situation, look: Look) -> Outcome:
        """What the person reports; "not sure" where the simulator gives up.

        Raises:
            Unanswerable: for a look that is no matter of volts, amperes and signals.
        """
        try:
            return self._look(self.simulation(present), situation, look)
        except UnsolvedError:
            self.unsolved += 1
            return NOT_SURE

    def _look(self, sim: Simulation, situation: Situation, look: Look) -> Outcome:
        match look.kind:
            case "reads":
                return self._reads(sim, situation)
            case "lamp":
                return self._lamp(sim, situation, look.target)
            case "coil":
                return self._coil(sim, situation, look.target)
            case "resting coils":
                return self._resting(sim, situation)
            case "meter":
                return self._meter(sim, situation, look)
            case "fuse":
                return meter.fuse_word(sim, look.target)
            case "new fuse":
                return self._new_fuse(sim, situation, look.target)
            case _:
                raise Unanswerable(look.kind)

    def _reads(self, sim: Simulation, situation: Situation) -> Outcome:
        if not situation.power:
            return frozenset()
        if sim.logic_dead:
            return frozenset({NO_LOGIC})
        states = scan(sim, situation)
        coins: dict[str, bool] = {}

        def closed(place: str, state: str) -> bool:
            if state == UNSURE:  # an input between its thresholds makes one decision in all phases
                row = place.rpartition("R")[2]
                return coins.setdefault(row, self.rng.random() < 0.5)
            return state == CLOSED

        return frozenset(place for place, state in sorted(states.items()) if closed(place, state))

    def _lamp(self, sim: Simulation, situation: Situation, lamp: str) -> str:
        ratio = brightness(sim, sim.healthy, situation, lamp)
        seen = ratio * math.exp(self.rng.gauss(0.0, EYE))
        word = next((word for word, edge in LAMP_EDGES if seen < edge), "bright")
        return "flickers" if flickers(sim, lamp, word, self.rng) else word

    def _coil(self, sim: Simulation, situation: Situation, coil: str) -> str:
        if not situation.power:
            return "nothing"
        alone = replace(situation, jumpers=())
        resting = relative(sim, sim.healthy, alone)
        if resting[coil] >= PULLED:
            return "locked on"
        pulsed = "" if situation.jumpers and not situation.pulsed else coil
        now = relative(sim, sim.healthy, situation, pulsed)
        windings = sim.machine.windings
        own = windings[coil].outputs
        together = {n for n, w in windings.items() if pulsed and w.outputs == own} | {coil}
        others = [n for n, q in now.items() if n not in together and q >= PULLED > resting[n]]
        strength = now[coil] + self.rng.gauss(0.0, 0.04)
        word = next((w for w, edge in COIL_EDGES if strength < edge), "fires")
        return "fires with others" if others and word != "weak" else word

    def _resting(self, sim: Simulation, situation: Situation) -> Outcome:
        if not situation.power:
            return frozenset()
        now = relative(sim, sim.healthy, situation)
        return frozenset(name for name, share in now.items() if share >= PULLED)

    def _meter(self, sim: Simulation, situation: Situation, look: Look) -> Outcome:
        exact = meter.reading(sim, situation, look)
        if isinstance(exact, str):
            return exact
        share = math.hypot(METER_SHARE, PART_SHARE)
        shown = exact * (1.0 + self.rng.gauss(0.0, share))
        shown += self.rng.gauss(0.0, METER_LEAST[look.function or "volts"])
        if look.function != "volts":
            shown = max(shown, 0.0)
        return float(f"{shown:.4g}") if abs(shown) >= 0.1 else round(shown, 3)

    def _new_fuse(self, sim: Simulation, situation: Situation, fuse: str) -> str:
        # The new fuse is good, whatever the old one was: that fault, if any, is out for this look.
        others = frozenset(f for f in sim.faults if f.part != fuse)
        fitted = Simulation(self.plant, others, fuses_hold=True)
        load = meter.new_fuse_load(fitted, situation, fuse) * math.exp(self.rng.gauss(0.0, 0.1))
        return meter.new_fuse_word(load, pulsed=bool(situation.pulsed))


def _healthy(plant: Plant) -> Simulation:
    found: Simulation = plant.known.get("healthy") or Simulation(plant, ())
    plant.known["healthy"] = found
    return found
