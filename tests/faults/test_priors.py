"""Probabilities on arrival: their sum, their ratios, and what conditions do to them."""

from __future__ import annotations

import math

import pytest

from matrixdoc.definition.errors import MatrixdocError
from matrixdoc.definition.wiring import Part
from matrixdoc.faults.catalogue import CatalogueError, load_catalogue
from matrixdoc.faults.conditions import ConditionError, ServiceConditions
from matrixdoc.faults.priors import Fault, mode_rates, possible_faults
from tests.faults.typical import FakeCircuit, typical_circuit, wiring_of, workshop_circuit

CATALOGUE = load_catalogue()


def probabilities(circuit, **conditions):
    found = possible_faults(circuit, CATALOGUE, ServiceConditions(**conditions))
    return {(f.part, f.mode): entry.probability for f, entry in found.items()}


@pytest.mark.parametrize("expected", [0.01, 0.3, 1.5, 4.0, 30.0])
@pytest.mark.parametrize("circuit", [typical_circuit(), workshop_circuit()])
def test_probabilities_sum_to_the_expected_number_of_faults(circuit, expected):
    assert sum(probabilities(circuit, expected_faults=expected).values()) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(
    "conditions",
    [
        {"recent_repair": ("switch/C2R1", "drive board")},
        {"sat_for_years": True},
        {"battery_leak": ("head",)},
        {"vibration": False},
        {"recent_repair": ("playfield",), "sat_for_years": True, "battery_leak": ("lamp board",)},
    ],
)
def test_conditions_move_probability_and_never_the_sum(conditions):
    assert sum(probabilities(workshop_circuit(), **conditions).values()) == pytest.approx(1.5, rel=1e-9)
    assert probabilities(workshop_circuit(), **conditions) != probabilities(workshop_circuit())


def test_every_part_and_bridge_has_its_modes_in_order():
    circuit = typical_circuit()
    found = list(possible_faults(circuit, CATALOGUE))
    parts = list(dict.fromkeys(fault.part for fault in found))
    assert parts == [*circuit.wiring.parts, *circuit.bridges]
    assert [f.mode for f in found if f.part == "switch/C1R1/contact"] == [
        m.name for m in CATALOGUE.kinds["contact"].modes
    ]


@pytest.mark.parametrize("expected", [0.1, 1.5, 20.0])
def test_a_part_is_broken_with_the_chance_of_a_poisson_process(expected):
    """1 - exp(-k r) with one k for all parts, and modes in the ratio of their rates."""
    circuit = workshop_circuit()
    conditions = ServiceConditions(expected_faults=expected)
    rates = mode_rates(circuit, CATALOGUE, conditions)
    found = possible_faults(circuit, CATALOGUE, conditions)
    scales = []
    for part in (*circuit.wiring.parts, *circuit.bridges):
        rate = sum(r for f, r in rates.items() if f.part == part)
        broken = sum(e.probability for f, e in found.items() if f.part == part)
        scales.append(-math.log1p(-broken) / rate)
        for fault, entry in found.items():
            if fault.part == part:
                assert entry.probability == pytest.approx(broken * rates[fault] / rate, rel=1e-9)
                assert entry.odds == pytest.approx(entry.probability / (1.0 - broken), rel=1e-9)
    assert scales == pytest.approx([scales[0]] * len(scales), rel=1e-9)


@pytest.mark.parametrize("expected", [0.0, -1.0, 1e9, float("nan"), float("inf")])
def test_an_impossible_expectation_is_refused(expected):
    with pytest.raises(ConditionError, match="expected number of faults should be above 0 and below"):
        possible_faults(workshop_circuit(), CATALOGUE, ServiceConditions(expected_faults=expected))


def test_an_unknown_kind_is_refused_with_the_part():
    circuit = FakeCircuit(wiring_of([Part("coil/kicker/plunger", "plunger"), Part("coil/kicker/pin", "pin")]))
    with pytest.raises(
        CatalogueError, match=r"no row \[kind.plunger\], which part coil/kicker/plunger needs"
    ):
        possible_faults(circuit, CATALOGUE)


@pytest.mark.parametrize(
    "conditions",
    [ServiceConditions(recent_repair=("playfeld",)), ServiceConditions(battery_leak=("playfeld",))],
)
def test_an_unknown_place_is_refused_with_a_hint(conditions):
    with pytest.raises(ConditionError, match=r"called 'playfeld'; did you mean 'playfield'\?"):
        possible_faults(workshop_circuit(), CATALOGUE, conditions)
    assert issubclass(ConditionError, MatrixdocError)


def test_a_place_without_parts_is_no_mistake():
    assert probabilities(workshop_circuit(), recent_repair=("coin door",)) == probabilities(
        workshop_circuit()
    )


# -- recent repair: "parts fitted backwards, missing, or bridged become the first suspects" (common
#    practice, no source) ----------------------------------------------------------------------


def test_without_a_repair_a_backwards_diode_is_far_behind_an_open_one():
    found = probabilities(workshop_circuit())
    for mode in ("reversed", "missing"):
        assert found["switch/C3R1/diode", mode] < 0.1 * found["switch/C3R1/diode", "open"]


def test_after_a_repair_backwards_missing_and_bridged_lead_there():
    found = probabilities(workshop_circuit(), recent_repair=("switch/C3R1",))
    diode = "switch/C3R1/diode"
    assert found[diode, "reversed"] > found[diode, "open"]
    assert found[diode, "missing"] > found[diode, "open"]
    assert found[diode, "bypassed"] > found[diode, "shorted"]
    beside = "bridge/switch/C3R1/stub~switch/C3R1/middle"
    assert found[beside, "bridged"] > found[diode, "open"]


def test_a_repair_leaves_the_other_places_as_they_were():
    plain = mode_rates(workshop_circuit(), CATALOGUE, ServiceConditions())
    after = mode_rates(workshop_circuit(), CATALOGUE, ServiceConditions(recent_repair=("switch/C3R1",)))
    changed = {fault.part for fault in plain if after[fault] != plain[fault]}
    assert changed == {
        "switch/C3R1/diode",
        "switch/C3R1/column_stub",
        "bridge/switch/C3R1/stub~switch/C3R1/middle",
    }


@pytest.mark.parametrize(
    ("named", "numbers"),
    [
        ("playfield", range(1, 7)),
        ("cabinet", range(7, 13)),
        ("switch/C3R1/diode", [3]),
        ("switch", range(1, 13)),
    ],
)
def test_a_repair_may_name_a_place_a_part_or_whatever_lies_below_a_name(named, numbers):
    plain = mode_rates(workshop_circuit(), CATALOGUE, ServiceConditions())
    after = mode_rates(workshop_circuit(), CATALOGUE, ServiceConditions(recent_repair=(named,)))
    changed = {f.part for f in plain if f.mode == "reversed" and after[f] != plain[f]}
    assert changed == {f"switch/C{number}R1/diode" for number in numbers}


def test_a_connector_covers_its_pins_and_the_bridges_between_them():
    plain = mode_rates(workshop_circuit(), CATALOGUE, ServiceConditions())
    after = mode_rates(workshop_circuit(), CATALOGUE, ServiceConditions(recent_repair=("J one",)))
    changed = {f.part for f in plain if after[f] > plain[f]}
    assert "switch/C3/pin" in changed
    assert "bridge/switch/C3/board~switch/C4/board" in changed
    assert "switch/C3R1/diode" not in changed


# -- a game that sat, a leaked battery, a still cabinet ---------------------------------------------


def test_a_game_that_sat_for_years_has_dirty_contacts():
    plain, sat = probabilities(workshop_circuit()), probabilities(workshop_circuit(), sat_for_years=True)
    for part, mode in plain:
        ratio = sat[part, mode] / plain[part, mode]
        if (part.rsplit("/", 1)[1], mode) in {("contact", "never closes"), ("contact", "high resistance")}:
            assert ratio > 1.1
        elif not part.endswith(("contact", "pin")):
            assert ratio < 1.0


def test_a_leaked_battery_eats_what_is_on_its_board_and_nothing_else():
    plain = mode_rates(workshop_circuit(), CATALOGUE, ServiceConditions())
    after = mode_rates(workshop_circuit(), CATALOGUE, ServiceConditions(battery_leak=("drive board",)))
    changed = {fault.part for fault in plain if after[fault] > plain[fault]}
    near = {f"switch/C{n}/{name}" for n in range(1, 7) for name in ("pin", "driver")}
    between = {f"bridge/switch/C{n}/board~switch/C{n + 1}/board" for n in range(1, 6)}
    assert changed == near | between


def test_without_vibration_wires_break_less():
    plain = mode_rates(workshop_circuit(), CATALOGUE, ServiceConditions())
    still = mode_rates(workshop_circuit(), CATALOGUE, ServiceConditions(vibration=False))
    stub, contact = Fault("switch/C1R1/column_stub", "open"), Fault("switch/C1R1/contact", "never closes")
    assert still[stub] < 0.6 * plain[stub]
    assert still[contact] == plain[contact]


# -- what a fault of one machine says -----------------------------------------------------------


def test_a_factor_multiplies_the_part_s_own_value():
    coil = Part("coil/kicker/winding", "coil", ("a", "b"), values={"ohm": 4.0})
    found = possible_faults(FakeCircuit(wiring_of([coil, Part("coil/kicker/pin", "pin")])), CATALOGUE)
    assert found[Fault("coil/kicker/winding", "shorted turns")].patch.values == pytest.approx({"ohm": 1.2})


def test_a_factor_multiplies_the_value_of_the_part_s_type():
    lamp = Part("lamp/C1R1/lamp", "lamp", ("a", "b"), type_name="44")
    found = possible_faults(FakeCircuit(wiring_of([lamp, Part("lamp/C1/pin", "pin")])), CATALOGUE)
    values = found[Fault("lamp/C1R1/lamp", "wrong type")].patch.values
    assert values["ohm"] == pytest.approx(2.2 * 6.3 / 0.25)  # lamp 44: 6.3 V at 0.25 A


def test_roles_come_from_the_reference_and_the_matrix():
    found = possible_faults(typical_circuit(), CATALOGUE)
    rows = {fault.part: entry.row for fault, entry in found.items()}
    assert rows["switch/C1R1/diode"] == "diode"
    assert rows["coil/gate/diode"] == "coil_diode"
    assert rows["top lights/C1R1/row_stub"] == "stub"
    assert rows["switch/C1/wire"] == rows["switch/C1/segment2"] == "wire"


def test_the_name_of_a_matrix_changes_nothing():
    named = possible_faults(typical_circuit(), CATALOGUE)
    circuit = typical_circuit()
    renamed = wiring_of(
        [
            Part(p.reference.replace("top lights", "lamp"), p.kind, p.nets)
            for p in circuit.wiring.parts.values()
        ],
        matrices={
            name.replace("top lights", "lamp"): matrix for name, matrix in circuit.wiring.matrices.items()
        },
    )
    other = possible_faults(FakeCircuit(renamed, circuit.bridges), CATALOGUE)
    assert [e.probability for e in other.values()] == pytest.approx([e.probability for e in named.values()])


def test_the_answer_is_the_same_every_time():
    assert possible_faults(typical_circuit(), CATALOGUE) == possible_faults(typical_circuit(), CATALOGUE)
