"""What a fault of the alternating side does to a rail: a transient of the stock simulator over the mains.

Winding as a sine behind the rail's resistance, rectifier, capacitor, the usual load; healthy and faulty.
The rail's stated volts are scaled by the ratio of the two runs: means behind a capacitor, effective volts
without one, a regulator's output as its input lets it. A winding's fuse that would carry 2.75 times its
rating as long as the machine is on has blown by the time somebody looks (IEC 60127-2 sheet 3: 0.6 to 10 s).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from neospice import Simulator  # type: ignore[attr-defined]

from matrixdoc.circuit.patch import Patch
from tests.benchmarks.repairs.plant import Plant
from tests.proof.authoring import quantity
from tests.proof.machine import Rail

MAINS_HZ = 60.0
DROPOUT_V = 2.0
CYCLES, CYCLES_KEPT = 40, 5
BLOWS_AT_ONCE, BLOWS_IN_TIME = 10.0, 2.75
OPEN_OHM = 1e9
LEAST_OHM = 0.02
DIODE = ".model dio D(IS=5n N=1.5 RS=6m)"
"""Near the curves of 3 A to 6 A rectifiers: 0.75 V at 1 A, 0.93 V at 10 A."""


@dataclass(frozen=True)
class Delivered:
    """What a rail is under some faults: None is dead. ``blown`` is the winding's fuse, if it blew."""

    rail: Rail | None
    blown: str = ""
    least_share: float = 1.0
    """Of the healthy volts, at the bottom of the ripple."""


@dataclass(frozen=True)
class _Run:
    """Volts that count, and effective amperes of the winding."""

    volts: float
    winding_a: float
    least_v: float
    out: np.ndarray
    """Volts over one cycle of the mains."""


def waveform(plant: Plant, name: str, patches: Mapping[str, Patch]) -> np.ndarray:
    """Volts of the rail ``name`` over one cycle of the mains, as the faults of its supply leave them, under
    its usual load; behind a regulator as that lets them."""
    own = {part: patch for part, patch in patches.items() if part.startswith(f"supply/{name}/")}
    key = ("waveform", name, tuple(sorted((part, repr(patch)) for part, patch in own.items())))
    if key not in plant.known:
        plant.known[key] = _run(plant, plant.machine.rails[name], own).out
    found: np.ndarray = plant.known[key]
    return found


def delivered(plant: Plant, name: str, patches: Mapping[str, Patch]) -> Delivered:
    """The rail ``name`` with the faults of its supply's parts among ``patches``."""
    own = {part: patch for part, patch in patches.items() if part.startswith(f"supply/{name}/")}
    rail = plant.machine.rails[name]
    if not own:
        return Delivered(rail)
    key = ("supply", name, tuple(sorted((part, repr(patch)) for part, patch in own.items())))
    if key not in plant.known:
        plant.known[key] = _delivered(plant, rail, own)
    found: Delivered = plant.known[key]
    return found


def _delivered(plant: Plant, rail: Rail, own: Mapping[str, Patch]) -> Delivered:
    prefix = f"supply/{rail.name}"
    fuse = f"{prefix}/fuse" if f"{prefix}/fuse" in plant.machine.elements else ""
    healthy, faulty = _run(plant, rail, {}), _run(plant, rail, own)
    winding = own.get(f"{prefix}/winding")
    if winding is not None and winding.shunt_ohm is not None:
        return Delivered(None)  # a short inside it: what blows sits on the mains side
    if fuse and faulty.winding_a > BLOWS_IN_TIME * plant.machine.elements[fuse].values["rated_a"]:
        return Delivered(None, fuse)
    if not fuse and faulty.winding_a > 10.0 * max(healthy.winding_a, 0.1):
        return Delivered(None)  # the winding burns
    ratio = faulty.volts / healthy.volts
    if ratio < 0.02:
        return Delivered(None)
    extra = sum(_series(part, own, plant) for part in own)
    # The usual load draws less from a lower rail.
    load_a = rail.load_a * ratio
    return Delivered(
        replace(rail, nominal_v=rail.nominal_v * ratio, source_ohm=rail.source_ohm + extra, load_a=load_a),
        least_share=faulty.least_v / max(healthy.least_v, 1e-3),
    )


def _series(part: str, own: Mapping[str, Patch], plant: Plant) -> float:
    """Ohms that a fault adds in series with the winding."""
    patch, element = own[part], plant.machine.elements[part]
    if element.kind not in ("winding", "pin", "wire", "fuse"):
        return 0.0
    if patch.absent:
        return OPEN_OHM
    usual = element.values.get("ohm", 0.0)
    return max(0.0, patch.values.get("ohm", usual) - usual)


def _run(plant: Plant, rail: Rail, own: Mapping[str, Patch]) -> _Run:
    prefix, elements = f"supply/{rail.name}", plant.machine.elements
    facts: dict[str, Any] = plant.form.get("supplies", {}).get(rail.name, {})
    rectified = f"{prefix}/rectifier1" in elements
    regulator = f"{prefix}/regulator" in elements
    winding_v = quantity(facts.get("winding"), (rail.nominal_v + 4.0 * regulator + 2.0 * rectified) / 1.3)
    load_v = rail.nominal_v + (DROPOUT_V + 2.0 if regulator else 0.0)
    series = max(LEAST_OHM, 0.1 if regulator else rail.source_ohm)
    series += sum(_series(part, own, plant) for part in own)
    lines = [
        "supply",
        f"v1 w 0 SIN(0 {math.sqrt(2.0) * winding_v:.9g} {MAINS_HZ:g})"
        if not rectified
        else f"v1 w b SIN(0 {math.sqrt(2.0) * winding_v:.9g} {MAINS_HZ:g})",
        f"rw w a {series:.9g}",
        "rb b 0 100meg",
        DIODE,
    ]
    for part, patch in own.items():
        if patch.ground_ohm is not None:
            # Whatever comes after the winding's own resistance, up to the regulator's two sides.
            lines.append(f"rg{len(lines)} {'a' if elements[part].kind != 'regulator' else 'out'} 0 0.1")
    if rectified:
        ends = {1: ("a", "out"), 2: ("b", "out"), 3: ("0", "a"), 4: ("0", "b")}
        for number, (anode, cathode) in ends.items():
            patch = own.get(f"{prefix}/rectifier{number}", Patch())
            if patch.shunt_ohm is not None:
                lines.append(f"rd{number} {anode} {cathode} {patch.shunt_ohm:.9g}")
            if not patch.absent:
                turned = (cathode, anode) if patch.reversed else (anode, cathode)
                lines.append(f"d{number} {turned[0]} {turned[1]} dio")
    else:
        lines.append("rj a out 1m")
    capacitor = f"{prefix}/capacitor"
    if capacitor in elements:
        patch = own.get(capacitor, Patch())
        farad = patch.values.get("capacitance_f", elements[capacitor].values["capacitance_f"])
        if not patch.absent:
            lines.append(f"c1 out 0 {farad:.9g}")
        if patch.shunt_ohm is not None:
            lines.append(f"rc out 0 {patch.shunt_ohm:.9g}")
    lines += [f"rl out 0 {load_v / max(rail.load_a, 0.05):.9g}", ".end"]
    simulator = Simulator()
    end = CYCLES / MAINS_HZ
    result = simulator.run_transient(simulator.parse("\n".join(lines) + "\n"), 5e-5, end)
    at = np.array(result.time)
    grid = np.linspace(end - CYCLES_KEPT / MAINS_HZ, end, 2000)
    out = np.interp(grid, at, np.array(result.voltage("out")))
    ends_v = [np.interp(grid, at, np.array(result.voltage(node))) for node in ("w", "a")]
    amps = float(np.sqrt(np.mean(((ends_v[0] - ends_v[1]) / series) ** 2)))
    cycle = out[: len(out) // CYCLES_KEPT]
    if regulator:
        behind = _regulated(own.get(f"{prefix}/regulator", Patch()), rail, out)
        return _Run(float(np.mean(behind)), amps, float(np.min(behind)), behind[: len(out) // CYCLES_KEPT])
    filtered = capacitor in elements
    volts = float(np.mean(out)) if filtered else float(np.sqrt(np.mean(out**2)))
    return _Run(volts, amps, float(np.min(out)), cycle)


def _regulated(patch: Patch, rail: Rail, raw: np.ndarray) -> np.ndarray:
    """Output of a series regulator."""
    if patch.absent or patch.ground_ohm is not None:
        return np.zeros_like(raw)
    if patch.shunt_ohm is not None:
        return raw
    return np.asarray(np.clip(raw - DROPOUT_V, 0.0, rail.nominal_v))
