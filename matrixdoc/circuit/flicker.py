"""Light that pulses: what is left of the supply's pulsing after the filament's thermal lag.

A filament stores heat ``C T`` and gives it off as ``P (T / Td)^4``. Small pulsing of its power at ``f``
moves its temperature by ``1/4`` of the power's depth, divided by ``sqrt(1 + (2 pi f t)^2)``, with the time
constant ``t = C T / (4 P)``; the light follows by ``P^(3.4 / 1.55)`` (the re-rating law, see ``lamps``). An
LED's light follows its current at once.

The filament's heat comes from its watts and volts alone: a straight wire of tungsten that gives off its
watts at its working temperature has one length and one thickness. Tungsten at 2400 K: resistivity 0.67
microhm metre, total emissivity 0.28 (H. A. Jones, I. Langmuir, "The characteristics of tungsten filaments as
functions of temperature", General Electric Review 30, 1927; from memory), 19,300 kg/m3, 180 J/(kg K)
(handbook values, from memory).
"""

from __future__ import annotations

import math

from matrixdoc.circuit.lamps import LIGHT_EXPONENT, POWER_EXPONENT

WORKING_K = 2400.0
RESISTIVITY_OHM_M = 0.67e-6
RADIATED_W_PER_M2 = 0.28 * 5.670e-8 * WORKING_K**4
HEAT_J_PER_M3_K = 19300.0 * 180.0

HALF_WAVE_DEPTH = 16.0 / (3.0 * math.pi)
"""Power of a half-wave rectified sine in a resistance: depth at the mains frequency (its Fourier series)."""
FULL_WAVE_DEPTH = 1.0
"""The same for both halves, at twice the mains frequency: sin^2 is (1 - cos 2x) / 2."""


def heat_capacity_j_per_k(design_v: float, design_a: float) -> float:
    """Heat capacity of the filament of a lamp, from its volts and amperes.

    Raises ``ValueError`` where one is not positive.
    """
    if design_v <= 0.0 or design_a <= 0.0:
        raise ValueError(f"wanted volts and amperes above 0; found {design_v} V, {design_a} A")
    surface = design_v * design_a / RADIATED_W_PER_M2
    squares = design_v / design_a / RESISTIVITY_OHM_M
    # surface = pi d l and squares = l / (pi d^2 / 4): d^3 = 4 surface / (pi^2 squares)
    thickness = math.pow(4.0 * surface / (math.pi**2 * squares), 1.0 / 3.0)
    return surface * thickness / 4.0 * HEAT_J_PER_M3_K


def thermal_time_s(design_v: float, design_a: float, relative_power: float = 1.0) -> float:
    """Time constant of the filament's temperature at a share of its design power."""
    capacity = heat_capacity_j_per_k(design_v, design_a)
    power = design_v * design_a * max(relative_power, 1e-3)
    return capacity * WORKING_K * math.pow(max(relative_power, 1e-3), 0.25) / (4.0 * power)


def filament_depth(power_depth: float, hertz: float, time_s: float) -> float:
    """Depth of the light's pulsing (amplitude over mean) for a depth of the filament's power."""
    lag = math.hypot(1.0, 2.0 * math.pi * hertz * time_s)
    return LIGHT_EXPONENT / POWER_EXPONENT * power_depth / lag


def ripple_depth(ripple_v: float, mean_v: float, bare: float) -> float:
    """Depth of the power's pulsing under a ripple taken as a sawtooth, peak to peak on a mean; at most
    ``bare``, that of the rectified sine itself.
    """
    if mean_v <= 0.0:
        return bare
    return min(bare, 2.0 * ripple_v / (math.pi * mean_v))


def visible_depth(hertz: float) -> float:
    """Depth from which a person sees light pulse at this frequency.

    About 1 % around 10 Hz; above 35 Hz ten times as much for every 25 Hz, up to all of it at 85 Hz, for
    something bright seen beside the line of sight (H. de Lange, Journal of the Optical Society of America 48,
    1958, p. 777; D. H. Kelly, the same 51, 1961, p. 422; IEEE Std 1789-2015 calls flicker visible up to about
    90 Hz; the figures read off from memory).
    """
    return 0.01 * math.pow(10.0, max(0.0, hertz - 35.0) / 25.0)
