"""Many decks through two stock simulators: neospice in process, ngspice a few dozen to a process."""

from __future__ import annotations

import subprocess
from collections.abc import Iterator, Sequence
from pathlib import Path

import neospice

from tests.proof.deck import Deck
from tests.proof.machine import EARTH

Volts = dict[str, float]
BATCH = 50
"""Decks in one ngspice process."""


def by_neospice(decks: Sequence[Deck]) -> list[Volts]:
    """Volts of every net of each deck."""
    simulator = neospice.Simulator()
    found = []
    for deck in decks:
        circuit = simulator.parse(deck.text("proof"))
        circuit.options.reltol = 1e-7
        result = simulator.run_dc(circuit)
        volts = {net: float(result.voltage(node)) for net, node in deck.nodes.items()}
        found.append({**volts, EARTH: 0.0})
    return found


def by_ngspice(decks: Sequence[Deck], folder: Path) -> list[Volts]:
    """As :func:`by_neospice`, by the ngspice program; decks go to files in ``folder``."""
    found: list[Volts] = []
    for start in range(0, len(decks), BATCH):
        found.extend(_one_process(decks[start : start + BATCH], folder))
    return found


def _one_process(decks: Sequence[Deck], folder: Path) -> Iterator[Volts]:
    orders = ["many decks", ".control", "set numdgt=12", "set noaskquit"]
    for number, deck in enumerate(decks):
        path = folder / f"deck{number}.cir"
        path.write_text(deck.text("proof") + ".end\n", encoding="utf-8")
        orders += [f"source {path}", "op", f"echo deck {number}", "print all", "destroy all", "remcirc"]
    orders += ["quit", ".endc", ".end"]
    master = folder / "many.cir"
    master.write_text("\n".join(orders) + "\n", encoding="utf-8")
    done = subprocess.run(
        ["ngspice", "-b", str(master)], capture_output=True, text=True, timeout=300, check=False
    )
    values: list[dict[str, float]] = [{} for _ in decks]
    current = -1
    for line in done.stdout.splitlines():
        words = line.split()
        if len(words) == 2 and words[0] == "deck":
            current = int(words[1])
        elif len(words) == 3 and words[1] == "=" and current >= 0:
            values[current][words[0]] = float(words[2])
    for number, deck in enumerate(decks):
        volts = values[number]
        assert len(volts) >= len(deck.nodes), f"deck {number}: {done.stdout[-2000:]}{done.stderr[-2000:]}"
        yield {**{net: volts[node] for net, node in deck.nodes.items()}, EARTH: 0.0}
