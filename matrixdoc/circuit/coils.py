"""Coils judged at the end of their pulse: current through a resistance and an inductance in series.

Rise ``i = V / R (1 - exp(-t R / L))`` and decay ``i = i0 exp(-t R / L)``: OpenStax College Physics,
"RL Circuits"; Kuphaldt, Lessons In Electric Circuits I ch. 16.
"""

from __future__ import annotations

import math

COPPER_HEAT_J_PER_KG_K = 385.0
"""Specific heat of copper (OpenStax College Physics, table of specific heats: 387; from memory 385)."""


def current_after_a(volts: float, ohm: float, inductance_h: float, seconds: float) -> float:
    """Current a time after ``volts`` were switched on to ``ohm`` in series with the inductance.

    ``ohm`` is everything in the path, the winding included. Raises ``ValueError`` for a
    resistance or an inductance that is not positive, or a negative time.
    """
    if ohm <= 0.0 or inductance_h < 0.0 or seconds < 0.0:
        raise ValueError(f"wanted ohm > 0, henry >= 0, seconds >= 0; found {ohm}, {inductance_h}, {seconds}")
    if inductance_h == 0.0:
        return volts / ohm
    return volts / ohm * -math.expm1(-seconds * ohm / inductance_h)


def decay_a(start_a: float, ohm: float, inductance_h: float, seconds: float) -> float:
    """Current a time after the source was taken away, ``ohm`` closing the loop."""
    if ohm <= 0.0 or inductance_h <= 0.0 or seconds < 0.0:
        raise ValueError(f"wanted ohm > 0, henry > 0, seconds >= 0; found {ohm}, {inductance_h}, {seconds}")
    return start_a * math.exp(-seconds * ohm / inductance_h)


def pulse_end_a(steady_a: float, winding_v: float, inductance_h: float, pulse_ms: float) -> float:
    """Current at the end of a pulse from a solved operating point.

    ``steady_a`` is the solved current of the winding, ``winding_v`` the open-circuit volts that
    drive the loop (the rail): their ratio is the resistance of the whole path.
    """
    if steady_a == 0.0 or winding_v == 0.0:
        return 0.0
    return current_after_a(abs(winding_v), abs(winding_v / steady_a), inductance_h, pulse_ms / 1000.0) * (
        1.0 if steady_a > 0 else -1.0
    )


def heating_s(power_w: float, copper_kg: float, rise_k: float) -> float:
    """Seconds until a winding that keeps all its heat is ``rise_k`` warmer (adiabatic estimate)."""
    if power_w <= 0.0:
        return math.inf
    return copper_kg * COPPER_HEAT_J_PER_KG_K * rise_k / power_w
