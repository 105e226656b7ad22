"""How fast operating points come, against a stock simulator in process. Prints; asserts nothing on time.

Run: ``python tests/benchmarks/bench_solver.py [points]``. The machine: an 8x8 switch matrix, every wire,
chain segment, stub, joint and pin a part, three closed switches, one column driven; every point differs
(other switches, another column, and in the second run another pull-up, so that no two circuits are equal).
"""

from __future__ import annotations

import random
import sys
import time
from pathlib import Path

import neospice

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from matrixdoc.circuit.deck import node_name, spice_deck
from matrixdoc.circuit.netlist import Instant, Solver, build_circuit, operating_points
from matrixdoc.circuit.patch import Patch
from matrixdoc.cli.main import collect_seldom
from tests.circuit.wirings import lamp_matrix, switch_matrix

ROWS = tuple(f"switch/R{r}/board" for r in range(1, 9))
LAMPS = tuple(f"lamp/C{c}R{r}/lamp" for c in range(1, 9) for r in range(1, 9))


def switch_instants(count: int, *, unequal: bool) -> list[Instant]:
    """Distinct instants; ``unequal`` gives each its own pull-up on every row."""
    rng = random.Random(1)
    cells = [f"C{c}R{r}" for c in range(1, 9) for r in range(1, 9)]
    seen: set[tuple[int, tuple[str, ...]]] = set()
    found: list[Instant] = []
    while len(found) < count:
        closed, column = tuple(sorted(rng.sample(cells, 3))), rng.randint(1, 8)
        if (column, closed) in seen:
            continue
        seen.add((column, closed))
        active = frozenset({f"switch/C{column}/drive", *(f"switch/{cell}/contact" for cell in closed)})
        patches = {}
        if unequal:
            patches = {
                f"switch/R{r}/pull": Patch(values={"ohm": 900.0 + rng.random() * 200.0}) for r in range(1, 9)
            }
        found.append(Instant(active, patches, ROWS))
    return found


def lamp_instants(count: int) -> list[Instant]:
    """One column on, some rows on, one random fault; the currents of all 64 lamps are wanted."""
    rng = random.Random(2)
    found = []
    for _ in range(count):
        rows = rng.sample(range(1, 9), rng.randint(1, 8))
        active = frozenset({f"lamp/C{rng.randint(1, 8)}/drive", *(f"lamp/R{r}/drive" for r in rows)})
        part = f"lamp/C{rng.randint(1, 8)}R{rng.randint(1, 8)}/{rng.choice(['diode', 'lamp'])}"
        found.append(
            Instant(active, {part: rng.choice([Patch(absent=True), Patch(shunt_ohm=0.01)])}, (), LAMPS)
        )
    return found


def ours(wiring, instants: list[Instant]) -> tuple[float, Solver, list]:
    """Seconds a point, building the circuit and its structures included, nothing kept from before."""
    start = time.perf_counter()
    solver = Solver()
    points = operating_points(build_circuit(wiring), instants, solver)
    return (time.perf_counter() - start) / len(instants), solver, points


def theirs(wiring, instants: list[Instant]) -> tuple[float, float, list[list[float]]]:
    """Seconds a point of neospice on the whole circuit: solving alone, and with reading the deck."""
    circuit = build_circuit(wiring)
    decks = [spice_deck(circuit, instant, "point") for instant in instants]
    nodes = [node_name(circuit, net) for net in instants[0].nets]
    simulator = neospice.Simulator()  # type: ignore[attr-defined]
    start = time.perf_counter()
    read = [simulator.parse(deck) for deck in decks]
    middle = time.perf_counter()
    results = [simulator.run_dc(one) for one in read]
    end = time.perf_counter()
    volts = [[float(result.voltage(node)) for node in nodes] for result in results]
    return (end - middle) / len(decks), (end - start) / len(decks), volts


def main(count: int) -> None:
    """Print the figures."""
    collect_seldom()  # as the command does
    wiring = switch_matrix(8, 8).build()
    circuit = build_circuit(wiring)
    print(f"8x8 switch matrix: {len(circuit.parts)} parts, {len(circuit.net_names)} nets; {count} points")
    for unequal in (False, True):
        instants = switch_instants(count, unequal=unequal)
        seconds, solver, points = ours(wiring, instants)
        sample = instants[: min(count, 200)]
        solving, whole, volts = theirs(wiring, sample)
        worst = max(
            abs(point.volts[net] - volt)
            for point, row in zip(points, volts, strict=False)
            for net, volt in zip(ROWS, row, strict=True)
        )
        words = "every row its own pull-up" if unequal else "equal rows"
        print(f"{words}:")
        print(f"  ours      {seconds * 1e6:9.1f} us a point with set-up ({solver.solved} distinct circuits)")
        print(f"  neospice  {solving * 1e6:9.1f} us a point solving, {whole * 1e6:.1f} with reading the deck")
        print(f"  ratio     {solving / seconds:9.1f} (goal 15), {whole / seconds:.1f} with reading")
        print(f"  largest difference {worst * 1e6:.1f} uV over {len(sample)} points")
    instants = lamp_instants(count // 2)
    seconds, solver, _ = ours(lamp_matrix(8, 8).build(), instants)
    print(f"8x8 lamp matrix, 64 currents: {seconds * 1e6:.1f} us a point ({solver.solved} distinct circuits)")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
