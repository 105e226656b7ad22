"""Filaments and LEDs over a whole scan: average power, the resistance it settles to, average current.

The published re-rating law of lamps, ``I = Id (V / Vd)^0.55`` near the design point (Fink and
Beaty, Standard Handbook for Electrical Engineers, 11th ed., p. 22-8), gives the power
``P = Pd (V / Vd)^1.55`` and the resistance ``R = Rd (V / Vd)^0.45``, so ``R = Rd (P / Pd)^(0.45/1.55)``,
never below the cold resistance. A filament in a strobed matrix is too slow to follow the scan: its
temperature, and so its resistance, follows the average power (see ``settle_lamps``).
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass

from matrixdoc.circuit.elements import Circuit, Instant, OperatingPoint
from matrixdoc.circuit.operating import operating_points
from matrixdoc.circuit.solver import Solver

CURRENT_EXPONENT = 0.55
"""I = Id (V/Vd)^0.55 (Fink and Beaty, as above)."""
POWER_EXPONENT = 1.0 + CURRENT_EXPONENT
RESISTANCE_EXPONENT = (1.0 - CURRENT_EXPONENT) / POWER_EXPONENT
LIGHT_EXPONENT = 3.4
"""Luminous intensity goes with (V/Vd)^3.4 to 3.5 (Fink and Beaty, as above)."""


@dataclass(frozen=True, slots=True)
class Scan:
    """One whole scan: phases as (share of the time, instant), and the lamp and LED parts to judge.

    The instants need not want any currents; that is added. Shares sum to 1 or less.
    """

    phases: tuple[tuple[float, Instant], ...]
    lamps: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LampState:
    """What a lamp settles to: average watts and amperes, ohms, watts against design.

    ``relative_power`` is average power over design power of a filament; for an LED the average
    forward current over its design current. ``converged`` False: no settled state was found.
    """

    power_w: float
    average_a: float
    ohm: float
    relative_power: float
    converged: bool

    @property
    def relative_light(self) -> float:
        """Light against design: filaments by the re-rating law; LEDs in proportion to current."""
        return self.relative_power if math.isnan(self.ohm) else light_of_power(self.relative_power)


def filament_current_a(volts: float, design_v: float, design_a: float) -> float:
    """``Id (V / Vd)^0.55``, volts and amperes."""
    return design_a * math.pow(abs(volts) / design_v, CURRENT_EXPONENT)


def filament_ohm(power_w: float, design_v: float, design_a: float, cold_ohm: float) -> float:
    """Resistance of a filament at an average power, never below ``cold_ohm``."""
    if power_w <= 0.0:
        return cold_ohm
    hot = design_v / design_a
    return max(cold_ohm, hot * math.pow(power_w / (design_v * design_a), RESISTANCE_EXPONENT))


def light_of_power(relative_power: float) -> float:
    """Relative light of a filament at a relative power: ``p^(3.4 / 1.55)``."""
    return math.pow(max(0.0, relative_power), LIGHT_EXPONENT / POWER_EXPONENT)


def settle_lamps(
    circuit: Circuit,
    scans: Sequence[Scan],
    solver: Solver | None = None,
    damping: float = 0.9,
    tolerance: float = 0.005,
    rounds: int = 20,
) -> list[dict[str, LampState]]:
    """Settled states of the lamps of several scans, all solved together.

    Fixed point over ``ln R``: solve every phase, average each filament's power over the scan, take
    the resistance of that power, go ``damping`` of the way, until no resistance moves by more than
    ``tolerance`` (a share). The map is a contraction (slope at most 0.29 in ln R, with either
    sign), so damping only guards against kinks. Resistances are kept to four digits, so that
    equal lamps stay equal circuits.
    """
    solver = solver if solver is not None else Solver()
    filaments = [[name for name in scan.lamps if circuit.parts[name].kind == "lamp"] for scan in scans]
    ohms: list[dict[str, float]] = [
        {name: _round(circuit.values(name)["ohm"]) for name in names} for names in filaments
    ]
    powers: list[dict[str, float]] = [{} for _ in scans]
    amps: list[dict[str, float]] = [{} for _ in scans]
    good = [True] * len(scans)
    waiting = list(range(len(scans)))
    for _ in range(rounds):
        instants = [
            _with_filaments(circuit, instant, ohms[number], scans[number].lamps)
            for number in waiting
            for _, instant in scans[number].phases
        ]
        points = iter(operating_points(circuit, instants, solver))
        moved = []
        for number in waiting:
            scan, ohm = scans[number], ohms[number]
            power, average = dict.fromkeys(scan.lamps, 0.0), dict.fromkeys(scan.lamps, 0.0)
            for share, instant in scan.phases:
                point = next(points)
                good[number] = good[number] and point.converged
                for name in scan.lamps:
                    current = _own_current(circuit, instant, name, point)
                    average[name] += share * current
                    power[name] += share * current * current * _own_ohm(instant, name, ohm)
            powers[number], amps[number] = power, average
            biggest = 0.0
            for name in filaments[number]:
                values = circuit.values(name)
                target = filament_ohm(power[name], values["design_v"], values["design_a"], values["cold_ohm"])
                step = math.log(target / ohm[name])
                biggest = max(biggest, abs(step))
                ohm[name] = _round(ohm[name] * math.exp(damping * step))
            if biggest > tolerance:
                moved.append(number)
        waiting = moved
        if not waiting:
            break
    for number in waiting:
        good[number] = False
    return [
        {
            name: _state(
                circuit, name, powers[n].get(name, 0.0), amps[n].get(name, 0.0), ohms[n], good=good[n]
            )
            for name in scan.lamps
        }
        for n, scan in enumerate(scans)
    ]


def _own_current(circuit: Circuit, instant: Instant, name: str, point: OperatingPoint) -> float:
    """Amperes through the filament itself: what a short beside it carries does not heat it."""
    patch = instant.patches.get(name)
    if patch is None:
        return point.amps[name]
    if patch.absent:
        return 0.0
    current = point.amps[name]
    first, second = circuit.parts[name].nets[:2]
    volts = {net: point.volts.get(net, 0.0) for net in (first, second)}
    if patch.shunt_ohm:
        current -= (volts[first] - volts[second]) / patch.shunt_ohm
    if patch.ground_ohm and patch.ground_terminal == 0:
        current -= volts[first] / patch.ground_ohm
    return current


def _own_ohm(instant: Instant, name: str, ohm: dict[str, float]) -> float:
    patch = instant.patches.get(name)
    if patch is not None and "ohm" in patch.values:
        return patch.values["ohm"]
    return ohm.get(name, 0.0)


def _with_filaments(
    circuit: Circuit, instant: Instant, ohm: dict[str, float], lamps: tuple[str, ...]
) -> Instant:
    nets = [net for name in lamps if name in instant.patches for net in circuit.parts[name].nets[:2]]
    values = {**instant.values, **{name: {"ohm": value} for name, value in ohm.items()}}
    parts = tuple(dict.fromkeys((*instant.parts, *lamps)))
    wanted = tuple(dict.fromkeys((*instant.nets, *nets)))
    return dataclasses.replace(instant, values=values, parts=parts, nets=wanted)


def _state(
    circuit: Circuit, name: str, power: float, average: float, ohm: dict[str, float], *, good: bool
) -> LampState:
    values = circuit.values(name)
    if circuit.parts[name].kind == "lamp":
        design = values["design_v"] * values["design_a"]
        return LampState(power, average, ohm[name], power / design, good)
    relative = average / values["design_a"] if values.get("design_a") else 0.0
    return LampState(power, average, math.nan, max(0.0, relative), good)


def _round(value: float) -> float:
    """Four significant digits: coarser ones let neighbouring filaments hop for ever."""
    return float(f"{value:.4g}")
