"""Running a deck through the stock simulator programs: ngspice as a program, neospice in process."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import warnings
from pathlib import Path

import neospice
import pytest

NGSPICE = shutil.which("ngspice")


class NgspiceMissing(UserWarning):
    """The stock simulator is not installed: its checks do not run."""


def need_ngspice() -> None:
    """Leave a check out loudly where ngspice is missing; an error where CI=true."""
    if NGSPICE:
        return
    if os.environ.get("CI") == "true":
        pytest.fail("ngspice is not installed, and CI=true: the checks against it must run")
    with warnings.catch_warnings():
        warnings.simplefilter("always")
        warnings.warn(
            "ngspice is not installed: checks against it are LEFT OUT", NgspiceMissing, stacklevel=2
        )
    pytest.skip("ngspice is not installed")


def run_ngspice(deck: str, folder: Path) -> dict[str, float]:
    """Printed values of an operating point, by name as printed (lower case)."""
    path = folder / "deck.cir"
    path.write_text(deck, encoding="utf-8")
    done = subprocess.run(
        [NGSPICE or "ngspice", "-b", str(path)], capture_output=True, text=True, timeout=60, check=False
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
