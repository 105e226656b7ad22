"""What a filament's heat leaves of a pulsing supply: against its law followed in time, here and by ngspice.

The law: radiation with the fourth power of temperature (Stefan and Boltzmann), light by the re-rating
exponents (Fink and Beaty, Standard Handbook for Electrical Engineers, 11th ed., p. 22-8).
"""

from __future__ import annotations

import math
import re
import subprocess

import numpy as np
import pytest

from matrixdoc.circuit.flicker import (
    FULL_WAVE_DEPTH,
    HALF_WAVE_DEPTH,
    WORKING_K,
    filament_depth,
    heat_capacity_j_per_k,
    ripple_depth,
    thermal_time_s,
    visible_depth,
)
from matrixdoc.circuit.lamps import LIGHT_EXPONENT, POWER_EXPONENT

LAMPS = [(6.3, 0.15), (6.3, 0.25), (14.0, 0.24), (13.0, 0.58)]
CYCLES, STEPS = 60, 2000


def followed(design_v, design_a, wave, hertz, power=1.0):
    """Depth of the light at ``hertz`` over its mean: ``C dT/dt = p(t) - P (T/Td)^4`` step by step, over the
    last of many cycles; ``wave`` is the power over a cycle, its mean set to ``power`` of the design."""
    capacity, design = heat_capacity_j_per_k(design_v, design_a), design_v * design_a
    cycle = wave((np.arange(STEPS) + 0.5) / STEPS)
    cycle *= power * design / cycle.mean()
    step = 1.0 / hertz / STEPS
    kelvin, light = WORKING_K * power**0.25, []
    for number in range(CYCLES):
        for watts in cycle:
            kelvin += step * (watts - design * (kelvin / WORKING_K) ** 4) / capacity
            if number == CYCLES - 1:
                light.append((kelvin / WORKING_K) ** (4.0 * LIGHT_EXPONENT / POWER_EXPONENT))
    spectrum = np.fft.rfft(light) / STEPS
    return 2.0 * abs(spectrum[1]) / spectrum[0].real


def half_wave(x):
    return np.where(x < 0.5, np.sin(2.0 * np.pi * x) ** 2, 0.0)


def full_wave(x):
    return np.sin(np.pi * x) ** 2


@pytest.mark.parametrize(("volts", "amps"), LAMPS)
@pytest.mark.parametrize(
    ("wave", "bare", "hertz"),
    [
        (half_wave, HALF_WAVE_DEPTH, 60.0),
        (full_wave, FULL_WAVE_DEPTH, 120.0),
        (half_wave, HALF_WAVE_DEPTH, 50.0),
    ],
)
@pytest.mark.parametrize("power", [1.0, 0.5])
def test_depth_is_that_of_the_law_followed_in_time(volts, amps, wave, bare, hertz, power):
    depth = filament_depth(bare, hertz, thermal_time_s(volts, amps, power))
    assert depth == pytest.approx(followed(volts, amps, wave, hertz, power), rel=0.05)


@pytest.mark.ngspice
@pytest.mark.parametrize(("volts", "amps"), LAMPS[:3])
def test_depth_is_that_of_a_stock_simulator(volts, amps, tmp_path):
    """The same lamp as a deck: a capacitor holds the heat (a volt is a kelvin), a source gives it off."""
    capacity, design = heat_capacity_j_per_k(volts, amps), volts * amps
    # Effective volts that give the design watts in the hot resistance, on half of the cycle.
    peak = 2.0 * volts
    deck = "\n".join(
        (
            "* half-wave lamp",
            f"Vmains in 0 SIN(0 {peak} 60)",
            "Bhalf out 0 V=max(V(in),0)",
            f"Rlamp out 0 {volts / amps}",
            f"Bheat 0 hot I=V(out)*V(out)/{volts / amps}",
            f"Bcold hot 0 I={design}*(V(hot)/{WORKING_K})^4",
            f"Cheat hot 0 {capacity} IC={WORKING_K}",
            f"Blight light 0 V=(V(hot)/{WORKING_K})^{4.0 * LIGHT_EXPONENT / POWER_EXPONENT}",
            ".tran 50u 1 0 50u UIC",
            ".four 60 V(light)",
            ".end",
            "",
        )
    )
    path = tmp_path / "lamp.cir"
    path.write_text(deck)
    run = subprocess.run(
        ["ngspice", "-b", str(path)], capture_output=True, text=True, timeout=120, check=False
    )
    rows = re.findall(r"^\s*([01])\s+([\d.e+-]+)\s+([\d.e+-]+)", run.stdout, re.MULTILINE)
    parts = {int(n): float(size) for n, _, size in rows}
    depth = filament_depth(HALF_WAVE_DEPTH, 60.0, thermal_time_s(volts, amps))
    assert depth == pytest.approx(parts[1] / parts[0], rel=0.05), run.stdout


def test_fourier_depths_of_rectified_power():
    x = (np.arange(100_000) + 0.5) / 100_000
    for wave, depth in ((half_wave, HALF_WAVE_DEPTH), (full_wave, FULL_WAVE_DEPTH)):
        spectrum = np.fft.rfft(wave(x))
        assert 2.0 * abs(spectrum[1]) / spectrum[0].real == pytest.approx(depth, rel=1e-4)


def test_a_sawtooth_ripple_on_a_mean():
    x = (np.arange(100_000) + 0.5) / 100_000
    volts = 17.0 + 2.5 * (0.5 - x)
    spectrum = np.fft.rfft(volts**2)
    assert ripple_depth(2.5, 17.0, 1.0) == pytest.approx(2.0 * abs(spectrum[1]) / spectrum[0].real, rel=0.02)
    assert ripple_depth(100.0, 17.0, 1.0) == 1.0
    assert ripple_depth(1.0, 0.0, 1.7) == 1.7


def test_known_lamps():
    """An ordinary 60 W lamp on 60 Hz mains pulses by some 5 to 10 % (handbooks of lighting; from memory)."""
    assert 0.05 < filament_depth(FULL_WAVE_DEPTH, 120.0, thermal_time_s(120.0, 0.5)) < 0.10


def test_half_a_cycle_is_seen_and_a_whole_one_is_not():
    for volts, amps in LAMPS:
        half = filament_depth(HALF_WAVE_DEPTH, 60.0, thermal_time_s(volts, amps, 0.5))
        whole = filament_depth(FULL_WAVE_DEPTH, 120.0, thermal_time_s(volts, amps))
        assert half > visible_depth(60.0)
        assert whole < visible_depth(120.0)
    # IEEE Std 1789-2015: low risk below 0.08 f per cent above 90 Hz (from memory).
    assert filament_depth(FULL_WAVE_DEPTH, 120.0, thermal_time_s(6.3, 0.25)) < 0.0008 * 120.0
    assert math.isclose(visible_depth(85.0), 1.0)


def test_impossible_lamps_are_refused():
    with pytest.raises(ValueError, match="above 0"):
        heat_capacity_j_per_k(0.0, 0.25)
