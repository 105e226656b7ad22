"""Filaments over a scan, LEDs, coils at the end of a pulse."""

from __future__ import annotations

import math

import pytest

from matrixdoc.circuit import coils, lamps
from matrixdoc.circuit.netlist import Instant, build_circuit
from matrixdoc.circuit.patch import Patch
from matrixdoc.definition.wiring import GROUND
from tests.circuit.wirings import WiringBuilder, lamp_matrix

CELLS = tuple(f"lamp/C{c}R{r}/lamp" for c in range(1, 9) for r in range(1, 9))


def scan(rows, patches=None, stuck=()):
    phases = tuple(
        (
            1.0 / 8.0,
            Instant(
                frozenset({f"lamp/C{c}/drive"} | {f"lamp/R{r}/drive" for r in rows}),
                {**(patches or {}), **{name: Patch(stuck="active") for name in stuck}},
                (),
            ),
        )
        for c in range(1, 9)
    )
    return lamps.Scan(phases, CELLS)


@pytest.mark.parametrize("share", [0.5, 0.8, 0.9, 1.0, 1.2])
def test_the_law_follows_the_published_exponent(share):
    """I = Id (V/Vd)^0.55 (Fink and Beaty, Standard Handbook for Electrical Engineers, p. 22-8)."""
    volts, amps = 6.3 * share, 0.25 * share**0.55
    assert lamps.filament_current_a(volts, 6.3, 0.25) == pytest.approx(amps, rel=1e-12)
    assert lamps.filament_ohm(volts * amps, 6.3, 0.25, 1.0) == pytest.approx(volts / amps, rel=1e-9)


def test_re_rated_lamp():
    """A 6.3 V, 0.25 A lamp at 5.67 V: 0.236 A (arithmetic on the published exponent)."""
    assert lamps.filament_current_a(5.67, 6.3, 0.25) == pytest.approx(0.236, abs=5e-4)


def test_a_lamp_on_direct_current_settles_on_the_law():
    builder = WiringBuilder()
    builder.supply("lamp", "rail", 5.0)
    builder.add("lamp", "lamp", "rail", GROUND, type_name="44")
    circuit = build_circuit(builder.build())
    (state,) = lamps.settle_lamps(circuit, [lamps.Scan(((1.0, Instant(frozenset(), {}, ())),), ("lamp",))])
    # 1 %: resistances are kept to three digits and settle to 0.5 %.
    assert state["lamp"].converged
    assert state["lamp"].average_a == pytest.approx(0.25 * (5.0 / 6.3) ** 0.55, rel=0.01)
    assert state["lamp"].relative_power == pytest.approx((5.0 / 6.3) ** 1.55, rel=0.01)


def test_one_eighth_of_eighteen_volts_lights_a_lamp_for_six():
    """18 V * sqrt(1/8) = 6.36 V effective (definition); drops take a fifth to a third of the power."""
    circuit = build_circuit(lamp_matrix().build())
    (state,) = lamps.settle_lamps(circuit, [scan((3,))])
    lit = state["lamp/C2R3/lamp"]
    assert lit.converged
    assert 0.6 < lit.relative_power < 1.0
    assert state["lamp/C2R4/lamp"].power_w < 1e-9
    assert state["lamp/C2R4/lamp"].relative_light < 1e-6


def test_a_shorted_row_drive_lights_its_row_normally():
    """Common practice, no source: the whole row lit at normal brightness whatever is commanded."""
    circuit = build_circuit(lamp_matrix().build())
    plain, stuck = lamps.settle_lamps(circuit, [scan((1,)), scan((1,), stuck=("lamp/R5/drive",))])
    normal = plain["lamp/C1R1/lamp"].relative_power
    assert stuck["lamp/C3R5/lamp"].relative_power == pytest.approx(normal, rel=0.05)
    assert stuck["lamp/C3R6/lamp"].relative_power < 1e-6


@pytest.mark.parametrize(
    ("commanded", "least", "most"), [(1, 0.85, 1.1), (2, 1.3, 1.8), (4, 2.2, 3.0), (8, 4.0, 6.0)]
)
def test_a_shorted_column_drive_over_heats_its_lamps(commanded, least, most):
    """Common practice, no source (from an independent simulation): against a normally lit lamp 1 for one
    commanded lamp of the row, about 1.5 for two, 2.6 for four, over 4 for all eight.
    """
    circuit = build_circuit(lamp_matrix().build())
    phases = tuple(
        (
            1.0 / 8.0,
            Instant(
                frozenset({f"lamp/C{c}/drive"} | ({"lamp/R1/drive"} if (c - 4) % 8 < commanded else set())),
                {"lamp/C3/drive": Patch(stuck="active")},
                (),
            ),
        )
        for c in range(1, 9)
    )
    plain, stuck = lamps.settle_lamps(circuit, [scan((1,)), lamps.Scan(phases, CELLS)])
    ratio = stuck["lamp/C3R1/lamp"].relative_power / plain["lamp/C1R1/lamp"].relative_power
    assert least < ratio < most


def test_scans_solved_together_equal_scans_solved_alone():
    circuit = build_circuit(lamp_matrix(4, 4).build())
    cells = tuple(name for name in CELLS if name in circuit.parts)
    scans = []
    for rows in ((1,), (1, 2), (3,)):
        whole = scan(rows)
        scans.append(lamps.Scan(whole.phases[:4], cells))
    together = lamps.settle_lamps(circuit, scans)
    for one, states in zip(scans, together, strict=True):
        assert lamps.settle_lamps(circuit, [one])[0] == states


def test_a_dead_lamp_has_no_power_and_an_led_counts_current():
    builder = WiringBuilder()
    builder.supply("lamp", "rail", 6.3)
    builder.add("led", "led", "rail", GROUND)
    builder.add("lamp", "lamp", "rail", GROUND)
    circuit = build_circuit(builder.build())
    instant = Instant(frozenset(), {"lamp": Patch(absent=True)}, ())
    (state,) = lamps.settle_lamps(circuit, [lamps.Scan(((0.5, instant),), ("led", "lamp"))])
    assert state["lamp"].power_w == 0.0
    # About 13 mA while on, half of the time (resistor: common practice, no source).
    assert state["led"].average_a == pytest.approx(0.0065, rel=0.1)
    assert state["led"].relative_light == pytest.approx(0.5, rel=0.1)
    assert math.isnan(state["led"].ohm)


def test_pulse_end():
    steady = 50.0 / 10.0
    assert coils.pulse_end_a(steady, 50.0, 0.02, 40.0) == pytest.approx(5.0 * (1 - math.exp(-20.0)), rel=1e-9)
    assert coils.pulse_end_a(-steady, 50.0, 0.02, 2.0) == pytest.approx(-5.0 * (1 - math.exp(-1.0)), rel=1e-9)
    assert coils.pulse_end_a(0.0, 50.0, 0.02, 2.0) == 0.0


@pytest.mark.parametrize(
    ("volts", "ohm", "seconds"), [(24.0, 10.0, 52.0), (50.0, 10.0, 12.0), (50.0, 4.0, 5.0)]
)
def test_heating_of_a_locked_coil(volts, ohm, seconds):
    """60 g of copper, +130 K, all heat kept (adiabatic estimate; specific heat of copper 385 J/(kg K))."""
    assert coils.heating_s(volts * volts / ohm, 0.060, 130.0) == pytest.approx(seconds, rel=0.04)


def test_impossible_coils_are_refused():
    with pytest.raises(ValueError, match="wanted ohm > 0"):
        coils.current_after_a(5.0, 0.0, 1.0, 1.0)
    with pytest.raises(ValueError, match="wanted ohm > 0"):
        coils.decay_a(5.0, 1.0, 0.0, 1.0)
