"""Running a deck through the stock simulator programs: ngspice as a program, neospice in process."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import neospice


def run_ngspice(deck: str, folder: Path) -> dict[str, float]:
    """Printed values of an operating point, by name as printed (its tests carry the mark ``ngspice``)."""
    path = folder / "deck.cir"
    path.write_text(deck, encoding="utf-8")
    done = subprocess.run(
        ["ngspice", "-b", str(path)], capture_output=True, text=True, timeout=60, check=False
    )
    found: dict[str, float] = {}
    names: list[str] = []
    for line in done.stdout.splitlines():
        if line.startswith("Index"):
            names = line.split()[1:]
        elif names and re.match(r"\d+\s", line):
            found.update(zip(names, map(float, line.split()[1:]), strict=True))
            names = []
        elif match := re.match(r"(\S+) = (\S+)$", line.strip()):
            found[match[1]] = float(match[2])
    assert found, done.stdout + done.stderr
    return found


def run_neospice(deck: str, nodes: list[str]) -> dict[str, float]:
    """Volts of nodes by neospice, in process; the usual tolerance of 0.1 % is too loose for a comparison."""
    result = neospice.dc(deck, reltol=1e-7)
    return {node: float(result.voltage(node)) for node in nodes}
