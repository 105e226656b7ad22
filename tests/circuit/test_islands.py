"""What is looked at, what is called floating, what is solved once, and what fails softly."""

from __future__ import annotations

import math

import numpy as np
import pytest

from matrixdoc.circuit import newton
from matrixdoc.circuit.netlist import Instant, Lead, Solver, build_circuit, operating_points
from matrixdoc.circuit.newton import Problem, Shape, Solution, solve, wright_omega
from matrixdoc.circuit.patch import Patch
from matrixdoc.definition.wiring import GROUND
from tests.circuit.wirings import WiringBuilder, lamp_matrix, switch_matrix

ROWS = tuple(f"switch/R{r}/board" for r in range(1, 9))


def solved(nets: int, branches) -> Solution:
    """One circuit; branches: net, net, ohm, saturation_a, emission, emf_v."""
    laws = tuple((a, b, *rest) for a, b, _, *rest in branches)
    ohms = np.array([ohm for _, _, ohm, *_ in branches])
    return solve([Problem(Shape.of(nets, laws), ohms.tobytes())])[0]


def closed(*cells):
    return frozenset(f"switch/{cell}/contact" for cell in cells)


def test_equal_rows_are_one_circuit():
    circuit = build_circuit(switch_matrix(8, 8).build())
    solver = Solver()
    points = operating_points(circuit, [Instant(frozenset(), {}, ROWS)], solver)
    assert solver.solved == 1
    assert all(volts == pytest.approx(5.0, abs=1e-3) for volts in points[0].volts.values())
    operating_points(circuit, [Instant(frozenset({"switch/C3/drive"}), {}, ROWS)], solver)
    assert solver.solved == 1


def test_the_cache_is_bounded():
    circuit = build_circuit(switch_matrix(4, 4).build())
    solver = Solver(capacity=4)
    for ohm in range(1, 30):
        patches = {"switch/R1/pull": Patch(values={"ohm": 100.0 * ohm})}
        operating_points(circuit, [Instant(frozenset(), patches, ROWS[:4])], solver)
        assert len(solver.solutions) <= 4
    assert solver.solved >= 29


def test_reference_run_of_a_phantom():
    """5 V, 1 kohm pull-ups, three corners closed, the diode at one shorted: 0.77 V, 1.42 V, 5.0 V.

    Simulated independently without wires and contacts (a 0.01 ohm short, a sink near 0 ohm).
    """
    circuit = build_circuit(switch_matrix(8, 8).build())
    patches = {"switch/C1R1/diode": Patch(absent=True, shunt_ohm=0.01)}
    instant = Instant(closed("C1R1", "C1R2", "C2R1") | {"switch/C2/drive"}, patches, ROWS)
    (point,) = operating_points(circuit, [instant])
    assert point.volts[ROWS[0]] == pytest.approx(0.77, abs=0.06)
    assert point.volts[ROWS[1]] == pytest.approx(1.42, abs=0.08)
    assert point.volts[ROWS[2]] == pytest.approx(5.0, abs=0.01)


def test_a_row_without_its_pull_up_floats_unless_a_closed_switch_pulls_it():
    circuit = build_circuit(switch_matrix(4, 4, drive="strobe_push_pull").build())
    patches = {"switch/R1/pull": Patch(absent=True)}
    idle, pulled, away = operating_points(
        circuit,
        [
            Instant(frozenset({"switch/C2/drive"}), patches, ROWS[:4]),
            Instant(closed("C2R1") | {"switch/C2/drive"}, patches, ROWS[:4]),
            Instant(closed("C3R1") | {"switch/C2/drive"}, patches, ROWS[:4]),
        ],
    )
    assert idle.floating == {ROWS[0]}
    assert pulled.floating == frozenset()
    assert pulled.volts[ROWS[0]] == pytest.approx(0.0, abs=0.1)
    # Its switch leads to a column that is driven high: the diode is off, nothing holds the row.
    assert away.floating == {ROWS[0]}


def test_nets_on_nothing_float_and_boundaries_do_not():
    builder = WiringBuilder()
    builder.supply("five", "rail", 5.0)
    builder.add("wire", "wire", "a", "b")
    builder.add("feed", "resistor", "rail", "c", ohm=100.0)
    circuit = build_circuit(builder.build())
    (point,) = operating_points(circuit, [Instant(frozenset(), {}, ("a", "b", "c", "rail", GROUND))])
    assert point.floating == {"a", "b"}
    assert point.volts["rail"] == 5.0
    assert point.volts[GROUND] == 0.0
    assert point.volts["c"] == pytest.approx(5.0, abs=1e-6)


def test_a_dead_rail_is_a_net_with_its_load():
    builder = WiringBuilder()
    builder.supply("five", "rail", 5.0, load_a=0.5)
    builder.add("one", "resistor", "rail", "a", ohm=1000.0)
    builder.add("two", "resistor", "rail", "b", ohm=1000.0)
    circuit = build_circuit(builder.build())
    off = {"rail": (0.0, math.inf)}
    across = Instant(frozenset(), {}, ("a", "b"), leads=(Lead("a", "b", 1000.0, 1.0),), rails=off)
    ground = Instant(frozenset(), {}, ("a",), leads=(Lead("a", GROUND, 1000.0, 1.0),), rails=off)
    alive = Instant(frozenset(), {}, ("a",), leads=(Lead("a", GROUND, 1e7),))
    points = operating_points(circuit, [across, ground, alive])
    # 2 kohm through the rail; 1 kohm and the load of 10 ohm to ground.
    assert points[0].volts["a"] - points[0].volts["b"] == pytest.approx(1.0 * 2000.0 / 3000.0, abs=1e-6)
    assert points[1].volts["a"] == pytest.approx(1010.0 / 2010.0, abs=1e-6)
    assert points[2].volts["a"] == pytest.approx(5.0, abs=1e-3)


def test_a_soft_rail_sags():
    builder = WiringBuilder()
    builder.supply("coil", "rail", 50.0, stiff=False, ohm=2.0)
    builder.add("fuse", "fuse", "rail", "feed", ohm=0.02)
    builder.add("coil", "coil", "feed", "driven", ohm=8.0)
    builder.add("drive", "low_side_npn", "driven", GROUND, on_ohm=0.5)
    circuit = build_circuit(builder.build())
    rest, pulse = operating_points(
        circuit,
        [
            Instant(frozenset(), {}, ("rail", "driven"), ("coil",)),
            Instant(frozenset({"drive"}), {}, ("rail", "driven"), ("coil",)),
        ],
    )
    assert rest.volts["driven"] == pytest.approx(50.0, abs=1e-6)
    assert rest.amps["coil"] == 0.0
    assert pulse.amps["coil"] == pytest.approx(50.0 / 10.52, rel=1e-9)
    assert pulse.volts["rail"] == pytest.approx(50.0 * 8.52 / 10.52, rel=1e-9)


def test_a_coil_diode_that_is_backwards_shorts_the_drive():
    builder = WiringBuilder()
    builder.supply("coil", "rail", 50.0, stiff=False, ohm=1.0)
    builder.add("feed", "wire", "rail", "lug1")
    for number in (1, 2):
        builder.add(f"coil{number}", "coil", "lug1", f"lug{number + 1}", ohm=10.0)
        builder.add(f"diode{number}", "diode", f"lug{number + 1}", "lug1", type_name="1N4004")
        builder.add(f"drive{number}", "low_side", f"lug{number + 1}", GROUND)
    circuit = build_circuit(builder.build())
    active = frozenset({"drive1"})
    good, bad = operating_points(
        circuit,
        [
            Instant(active, {}, (), ("diode1", "coil1", "coil2", "diode2")),
            Instant(active, {"diode1": Patch(reversed=True)}, (), ("diode1", "coil1", "coil2", "diode2")),
        ],
    )
    assert good.amps["coil1"] > 4.0
    assert abs(good.amps["diode1"]) < 1e-6
    assert bad.amps["diode1"] < -20.0
    # The transistor that is off leaks 1 nA through its built-in diode.
    assert bad.amps["coil2"] == pytest.approx(0.0, abs=1e-7)


def test_filaments_are_cold_with_the_power_off():
    circuit = build_circuit(lamp_matrix(2, 2).build())
    off = {"rail/lamp": (0.0, math.inf)}
    nets = ("lamp/C1/lug1", "lamp/C1R1/middle")
    instant = Instant(frozenset(), {}, nets, leads=(Lead(*nets, 100.0, 0.2),), rails=off)
    (point,) = operating_points(circuit, [instant])
    # Lamp 47: 42 ohm hot, a tenth of that cold (cold 1/10 to 1/15: OpenStax College Physics and others).
    assert point.volts[nets[0]] - point.volts[nets[1]] == pytest.approx(0.2 * 4.2 / 104.2, rel=1e-3)


def test_values_of_an_instant_come_before_patches():
    builder = WiringBuilder()
    builder.supply("six", "rail", 6.0)
    builder.add("feed", "resistor", "rail", "a", ohm=10.0)
    builder.add("lamp", "lamp", "a", GROUND)
    circuit = build_circuit(builder.build())
    values = {"lamp": {"ohm": 20.0}}
    warm, shorted = operating_points(
        circuit,
        [
            Instant(frozenset(), {}, ("a",), values=values),
            Instant(frozenset(), {"lamp": Patch(values={"ohm": 5.0})}, ("a",), values=values),
        ],
    )
    assert warm.volts["a"] == pytest.approx(4.0, abs=1e-9)
    assert shorted.volts["a"] == pytest.approx(2.0, abs=1e-9)


def test_a_part_between_two_boundaries():
    builder = WiringBuilder()
    builder.supply("six", "rail", 6.0)
    builder.add("lamp", "lamp", "rail", GROUND, ohm=12.0)
    circuit = build_circuit(builder.build())
    (point,) = operating_points(circuit, [Instant(frozenset(), {}, (), ("lamp",))])
    assert point.amps["lamp"] == pytest.approx(0.5, rel=1e-9)


@pytest.mark.parametrize("z", [-800.0, -50.0, -19.0, -3.0, -1.0, 0.0, 0.5, 1.0, 2.0, 10.0, 200.0, 1e5])
def test_wright_omega_meets_its_definition(z):
    """omega + ln omega = z (Corless and Jeffrey, "The Wright omega function", 2002)."""
    (w,) = wright_omega(np.array([z]))
    if z > -700.0:
        assert w + math.log(w) == pytest.approx(z, rel=1e-13, abs=1e-13)
    else:
        assert w == 0.0


def test_wright_omega_at_one_is_one():
    assert wright_omega(np.array([1.0]))[0] == pytest.approx(1.0, abs=1e-15)


def test_hard_circuits_converge():
    """A chain of ten diodes from 1000 V to ground behind a milliohm, and stiff against weak branches."""
    diode = (4.352e-9, 1.906)
    chain = [(number, number + 1, 1e-6, *diode, 0.0) for number in range(10)]
    chain += [(0, 10, 1e-3, 0.0, 1.0, 1000.0)]
    weak = [(0, 1, 1e-6, 0.0, 1.0, 0.0), (1, 2, 1e9, 0.0, 1.0, 0.0), (0, 2, 1e-6, *diode, 5.0)]
    for nets, branches in ((10, chain), (2, weak)):
        found = solved(nets, branches)
        assert found.converged
        assert all(math.isfinite(value) for value in (*found.volts, *found.amps))


def test_newton_without_a_line_search_would_cycle():
    """Found by a search over 20,000 random circuits: ten of them cycle for ever with whole steps."""
    branches = (
        (0, 1, 544.0539983362786, 0.0, 1.0, 70.0),
        (1, 2, 133.64910562807765, 0.0, 1.0, 70.0),
        (0, 2, 0.521505024485696, 5.531510957444209e-15, 1.9, 3.0),
        (1, 0, 0.027438243043490664, 1.6328201052144938e-18, 1.9, 3.0),
        (1, 2, 0.10293263887852835, 1.0720584940195957e-16, 1.9, 0.0),
        (0, 1, 1.9688717840749773e-06, 3.326296925684923e-08, 2.5, 3.0),
        (1, 0, 0.0005562397607226347, 2.276252992663391e-21, 1.0, 0.0),
    )
    found = solved(2, branches)
    assert found.converged
    for net in (0, 1):
        out = sum(
            amps * ((a == net) - (b == net)) for amps, (a, b, *_) in zip(found.amps, branches, strict=True)
        )
        assert out == pytest.approx(0.0, abs=1e-6)


def test_an_idle_floating_column_is_lifted_by_its_row():
    """Current can only enter it, so it carries none: its volts are those of the row, up to leakage."""
    circuit = build_circuit(switch_matrix(4, 4, column_pull_ohm=None).build())
    instant = Instant(closed("C1R1") | {"switch/C2/drive"}, {}, ("switch/C1/board", "switch/C3/board"))
    (point,) = operating_points(circuit, [instant])
    assert point.volts["switch/C1/board"] == pytest.approx(5.0, abs=2e-3)
    assert "switch/C1/board" not in point.floating
    assert "switch/C3/board" in point.floating


def test_what_carries_no_current_is_not_solved():
    """One lamp of 64 lit: one column, one row, one cell: a handful of nets, not 400."""
    circuit = build_circuit(lamp_matrix().build())
    solver = Solver()
    instant = Instant(
        frozenset({"lamp/C2/drive", "lamp/R3/drive"}), {}, (), ("lamp/C2R3/lamp", "lamp/C4R3/lamp")
    )
    (point,) = operating_points(circuit, [instant], solver)
    assert point.amps["lamp/C2R3/lamp"] > 0.3
    assert point.amps["lamp/C4R3/lamp"] == 0.0
    assert max(problem.shape.nets for problem in solver.solutions) <= 2


def test_numbers_no_float_can_solve_end_as_a_flag():
    found = solved(1, ((0, 1, 1e-6, 1e-300, 1e-6, -1e308), (0, 1, 1e-6, 0.0, 1.0, 1e308)))
    assert not found.converged


def test_not_converging_is_a_result(monkeypatch):
    """With one Newton step allowed a diode circuit is not solved: said, not raised."""
    monkeypatch.setattr(newton, "STEPS", 1)
    builder = WiringBuilder()
    builder.supply("five", "rail", 5.0)
    builder.add("feed", "resistor", "rail", "a", ohm=1000.0)
    builder.add("load", "resistor", "a", GROUND, ohm=1000.0)
    builder.add("other", "resistor", "rail", "b", ohm=1000.0)
    builder.add("diode", "diode", "b", GROUND)
    builder.add("leak", "resistor", "b", GROUND, ohm=1000.0)
    circuit = build_circuit(builder.build())
    plain, junction = operating_points(
        circuit, [Instant(frozenset(), {}, ("a",)), Instant(frozenset(), {}, ("b",))]
    )
    assert plain.converged
    assert plain.volts["a"] == pytest.approx(2.5, abs=1e-6)
    assert not junction.converged


def test_islands_of_one_form_are_reduced_once_and_keep_their_own_ohms():
    """Other columns, other pull-ups: one form, and each answer is that of the instant by itself."""
    circuit = build_circuit(switch_matrix(4, 4).build())
    solver = Solver()
    asked = [
        Instant(
            closed(f"C{c}R2") | {f"switch/C{c}/drive"},
            {"switch/R2/pull": Patch(values={"ohm": ohm})},
            ("switch/R2/board",),
        )
        for c, ohm in [(2, 470.0), (3, 1500.0), (2, 4700.0), (3, 2.2e5)]
    ]
    together = operating_points(circuit, asked, solver)
    assert len(solver._templates) == 1
    assert [operating_points(circuit, [instant])[0] for instant in asked] == together
    whole = operating_points(circuit, asked, reduce=False)
    for one, other in zip(together, whole, strict=True):
        assert one.volts == pytest.approx(other.volts, abs=1e-6)
    lows = [volts for point in together for volts in point.volts.values()]
    assert lows == sorted(lows, reverse=True)


def test_what_holds_a_net_depends_on_ohms_within_one_form():
    """Less than a megohm holds, more does not; the reduction is the same."""
    builder = WiringBuilder()
    builder.supply("five", "rail", 5.0)
    for name, ohm in (("a", 9e5), ("b", 2e6)):
        builder.add(f"pull {name}", "resistor", "rail", name, ohm=ohm)
        builder.add(f"wire {name}", "wire", name, f"{name} end")
    circuit = build_circuit(builder.build())
    solver = Solver()
    (point,) = operating_points(circuit, [Instant(frozenset(), {}, ("a end", "b end"))], solver)
    assert len(solver._templates) == 1
    assert point.floating == {"b end"}
