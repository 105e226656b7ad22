"""Many decks through two stock simulators: neospice in process, ngspice a few dozen to a process."""

from __future__ import annotations

import subprocess
from collections.abc import Sequence
from pathlib import Path

from neospice import Simulator  # type: ignore[attr-defined]

from tests.proof.deck import Deck
from tests.proof.machine import EARTH

Volts = dict[str, float]
BATCH = 50
"""Decks in one ngspice process."""
STRICT = "reltol=1e-6"
EASY = "reltol=1e-5 vntol=1e-5 abstol=1e-9"
"""For decks that do not converge strictly: nets without any hold but leakage hunt by microvolts."""


def by_neospice(decks: Sequence[Deck]) -> list[Volts | None]:
    """Volts of every net of each deck; None where the simulator finds no operating point."""
    simulator = Simulator()
    return [_in_process(simulator, deck) for deck in decks]


def _in_process(simulator: Simulator, deck: Deck) -> Volts | None:
    for options in (STRICT, EASY):
        try:
            result = simulator.run_dc(simulator.parse(deck.text(options)))
        except RuntimeError:
            continue
        return {**{net: float(result.voltage(node)) for net, node in deck.nodes.items()}, EARTH: 0.0}
    return None


def by_ngspice(decks: Sequence[Deck], folder: Path) -> list[Volts | None]:
    """As :func:`by_neospice`, by the ngspice program; decks go to files in ``folder``."""
    found: list[Volts | None] = []
    for start in range(0, len(decks), BATCH):
        batch = decks[start : start + BATCH]
        volts = _one_process(batch, folder, STRICT)
        again = [number for number, values in enumerate(volts) if values is None]
        easier = _one_process([batch[number] for number in again], folder, EASY) if again else []
        for number, values in zip(again, easier, strict=True):
            volts[number] = values
        found.extend(volts)
    return found


def _one_process(decks: Sequence[Deck], folder: Path, options: str) -> list[Volts | None]:
    orders = ["many decks", ".control", "set numdgt=12", "set noaskquit"]
    for number, deck in enumerate(decks):
        path = folder / f"deck{number}.cir"
        path.write_text(deck.text(options) + ".end\n", encoding="utf-8")
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
    assert current == len(decks) - 1, done.stdout[-2000:] + done.stderr[-2000:]
    found: list[Volts | None] = []
    for number, deck in enumerate(decks):
        volts = values[number]  # none are printed where no operating point was found
        whole = set(deck.nodes.values()) <= set(volts)
        by_net = {EARTH: 0.0, **{net: volts[node] for net, node in deck.nodes.items()}} if whole else None
        found.append(by_net)
    return found
