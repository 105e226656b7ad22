"""Faults to inject: drawn by the catalogue's own rates, with a floor for rare kinds, and all by seed."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass

from matrixdoc.faults.priors import Fault
from tests.benchmarks.repairs.plant import Plant

BY_RATE = 0.7
"""Share of draws by rate alone; the others draw the kind of part evenly first, so that rare kinds occur."""
NEAR = 0.5
"""Share of double faults whose second part lies on the same lines or at the same device."""
SINGLE, DOUBLE, LOOSE = "single", "double", "intermittent"
CLASSES = (SINGLE,) * 6 + (DOUBLE,) * 3 + (LOOSE,)
GOLDEN = 0.6180339887498949


@dataclass(frozen=True)
class Draw:
    """What a case is made from. The report gets its wrong entry where ``slip`` lies below the share
    of wrong reports asked for."""

    number: int
    seed: int
    machine: str
    kind: str
    slip: float

    def rng(self, *use: object) -> random.Random:
        """A generator for one use of the case."""
        return random.Random(f"{self.seed} {self.number} {' '.join(map(str, use))}")


def draws(cases: int, seed: int, machines: Sequence[str]) -> list[Draw]:
    """The cases: kinds in their shares, machines in turn, slips spread evenly."""
    shuffled = random.Random(f"{seed} order")
    start = shuffled.random()
    found = []
    for number in range(cases):
        machine = machines[(number + number // len(CLASSES)) % len(machines)]
        slip = (start + number * GOLDEN) % 1.0
        found.append(Draw(number, seed, machine, CLASSES[number % len(CLASSES)], slip))
    return found


def heads(plant: Plant, part: str) -> set[str]:
    """Devices and lines that a part belongs to, as the first words of references: ``switch/C3R5``."""
    ends = [part]
    if part in plant.circuit.bridges:
        ends = [plant.at[net][0] for net in plant.circuit.bridges[part].nets if net != "ground"]
    found = set()
    for end in ends:
        root, _, rest = end.partition("/")
        first = rest.split("/")[0]
        found.add(f"{root}/{first}")
        if first.startswith("C") and "R" in first and root in plant.wiring.matrices:
            column, _, row = first.partition("R")
            found |= {f"{root}/{column}", f"{root}/R{row}"}
    return found


def _one(plant: Plant, rng: random.Random, faults: Sequence[Fault]) -> Fault:
    if rng.random() < BY_RATE:
        return rng.choices(faults, [plant.possible[f].probability for f in faults])[0]
    kind = rng.choice(sorted({plant.possible[f].row for f in faults}))
    some = [f for f in faults if plant.possible[f].row == kind]
    return rng.choices(some, [plant.possible[f].probability for f in some])[0]


def faults_of(plant: Plant, draw: Draw, rng: random.Random) -> tuple[Fault, ...]:
    """One draw of faults (whether they show is for others to say)."""
    lasting = [f for f, entry in plant.possible.items() if entry.duty == 0.0]
    loose = [f for f, entry in plant.possible.items() if entry.duty > 0.0]
    if draw.kind == LOOSE:
        return (_one(plant, rng, loose),)
    first = _one(plant, rng, lasting)
    if draw.kind == SINGLE:
        return (first,)
    others = [f for f in lasting if f.part != first.part]
    if rng.random() < NEAR:
        own = heads(plant, first.part)
        others = [f for f in others if own & heads(plant, f.part)] or others
    return tuple(sorted((first, _one(plant, rng, others))))
