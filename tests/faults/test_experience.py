"""The catalogue's rates give the shares of causes that experience expects.

Every figure of the table is common practice, no source: what technicians find, with nothing else
known, on a game that has run for years. The paths hold the parts that a full definition gives:
one contact, one diode and two stubs in a cell; driver, header joint, pin, wire, link and logic in a
line. A cause in the table's own "rest" is not modelled, so each share may be off by ten points.
"""

from __future__ import annotations

import pytest

from matrixdoc.faults.catalogue import load_catalogue
from matrixdoc.faults.conditions import ServiceConditions
from matrixdoc.faults.priors import mode_rates
from tests.faults.typical import typical_circuit

POINTS = 10.0
OPEN = ("open", "high resistance")
DEAD = ("open", "dead", "stuck idle", "reads open")
COLUMN_TO_ROW = "bridge/switch/C1/lug1~switch/R1/lug1"

# symptom: {group of causes: (share in the table, {part: modes that show the symptom})}
TABLE: dict[str, dict[str, tuple[int, dict[str, tuple[str, ...]]]]] = {
    "one switch never reads": {
        "contact": (65, {"switch/C1R1/contact": ("never closes", "high resistance")}),
        "wire or lug joint": (15, {"switch/C1R1/column_stub": OPEN, "switch/C1R1/row_stub": OPEN}),
        "diode": (15, {"switch/C1R1/diode": ("open", "reversed", "missing")}),
    },
    "one switch always reads": {
        "contact": (85, {"switch/C1R1/contact": ("stuck closed",)}),
        "capacitor shorted": (5, {"switch/C1R1/capacitor": ("shorted", "leaky")}),
        "row-column bridge": (5, {COLUMN_TO_ROW: ("bridged",)}),
    },
    "whole switch column dead": {
        "pin or joint": (40, {"switch/C1/pin": ("open",), "switch/C1/header": ("open",)}),
        "drive": (30, {"switch/C1/driver": DEAD}),
        "wire at the first lug": (20, {"switch/C1/wire": ("open",)}),
        "logic or link": (10, {"switch/C1/logic": DEAD, "switch/C1/link": DEAD}),
    },
    "whole switch row dead": {
        "pin or joint": (40, {"switch/R1/pin": ("open",), "switch/R1/header": ("open",)}),
        "sensing": (30, {"switch/R1/sensing": DEAD}),
        "wire at the first lug": (20, {"switch/R1/wire": ("open",)}),
        "logic or link": (10, {"switch/R1/input": DEAD, "switch/R1/link": DEAD}),
    },
    "phantom corner": {
        "diode shorted": (60, {"switch/C1R1/diode": ("shorted",)}),
        "bridge": (25, {COLUMN_TO_ROW: ("bridged",)}),
        "diode bypassed": (15, {"switch/C1R1/diode": ("bypassed",)}),
    },
    "one lamp dark": {
        "lamp": (70, {"top lights/C1R1/lamp": ("burnt out",)}),
        "socket": (18, {"top lights/C1R1/socket": ("open",)}),
        "wire or joint": (7, {"top lights/C1R1/column_stub": OPEN, "top lights/C1R1/row_stub": OPEN}),
        "diode": (5, {"top lights/C1R1/diode": ("open", "reversed", "missing")}),
    },
    "whole lamp column dark": {
        "pin or joint": (45, {"top lights/C1/pin": ("open",), "top lights/C1/header": ("open",)}),
        "drive transistor": (35, {"top lights/C1/driver": DEAD}),
        "wire": (10, {"top lights/C1/wire": ("open",)}),
        "logic or pre-driver": (
            10,
            {"top lights/C1/logic": DEAD, "top lights/C1/link": DEAD, "top lights/C1/predriver": DEAD},
        ),
    },
    "whole lamp row dark": {
        "pin or joint": (45, {"top lights/R1/pin": ("open",), "top lights/R1/header": ("open",)}),
        "drive transistor or its resistor": (
            35,
            {"top lights/R1/driver": DEAD, "top lights/R1/resistor": ("open",)},
        ),
        "wire": (10, {"top lights/R1/wire": ("open",)}),
        "logic or pre-driver": (
            10,
            {"top lights/R1/logic": DEAD, "top lights/R1/link": DEAD, "top lights/R1/predriver": DEAD},
        ),
    },
    "one coil dead": {
        "wire off its lug": (35, {"coil/gate/wire": ("open",), "coil/gate/feed": ("open",)}),
        "drive transistor": (20, {"coil/gate/driver": DEAD}),
        "pin or joint": (20, {"coil/gate/pin": ("open",), "coil/gate/header": ("open",)}),
        "own fuse": (10, {"coil/gate/fuse": ("blown",)}),
        "pre-driver or logic": (
            10,
            {"coil/gate/predriver": DEAD, "coil/gate/logic": DEAD, "coil/gate/link": DEAD},
        ),
        "winding": (5, {"coil/gate/winding": ("open",)}),
    },
    "one coil locked on": {
        "drive transistor": (80, {"coil/gate/driver": ("shorted",)}),
        "pre-driver": (10, {"coil/gate/predriver": ("stuck active",)}),
        "logic": (5, {"coil/gate/logic": ("stuck active",), "coil/gate/link": ("stuck active",)}),
        "wire to ground": (5, {"coil/gate/wire": ("grounded",)}),
    },
    "all coils dead": {
        "fuse": (45, {"supply/coils/fuse": ("blown",), "feed/coils/fuse": ("blown",)}),
        "connector or rectifier": (
            25,
            {
                "supply/coils/pin": ("open",),
                "feed/coils/pin": ("open",),
                "feed/coils/header": ("open",),
                "supply/coils/rectifier1": ("open",),
                "supply/coils/rectifier2": ("open",),
            },
        ),
        "wire": (15, {"supply/coils/wire": ("open",), "feed/coils/wire": ("open",)}),
        "door interlock": (15, {"supply/coils/interlock": ("never closes", "high resistance")}),
    },
}


def shares(symptom):
    rates = mode_rates(typical_circuit(), load_catalogue(), ServiceConditions())
    groups = {
        group: sum(
            rate for fault, rate in rates.items() if fault.part in parts and fault.mode in parts[fault.part]
        )
        for group, (_, parts) in TABLE[symptom].items()
    }
    modes_met = {
        part
        for _, parts in TABLE[symptom].values()
        for part, modes in parts.items()
        if any(fault.part == part and fault.mode in modes for fault in rates)
    }
    assert modes_met == {part for _, parts in TABLE[symptom].values() for part in parts}
    whole = sum(groups.values())
    return {group: 100.0 * rate / whole for group, rate in groups.items()}


@pytest.mark.parametrize("symptom", TABLE)
def test_shares_of_causes_are_those_of_experience(symptom):
    found = shares(symptom)
    expected = {group: share for group, (share, _) in TABLE[symptom].items()}
    assert found == pytest.approx(expected, abs=POINTS)


@pytest.mark.parametrize("symptom", TABLE)
def test_order_of_causes_is_that_of_experience(symptom):
    found = shares(symptom)
    for one, (more, _) in TABLE[symptom].items():
        for two, (less, _) in TABLE[symptom].items():
            if more >= less + 5:
                assert found[one] > found[two], f"{one} before {two}"


def test_a_segment_of_a_chain_breaks_less_often_than_the_wire_to_the_first_lug():
    rates = mode_rates(typical_circuit(), load_catalogue(), ServiceConditions())
    by_part = {(f.part, f.mode): rate for f, rate in rates.items()}
    for line in ("switch/C1", "top lights/R1"):
        assert by_part[f"{line}/segment3", "open"] <= 0.5 * by_part[f"{line}/wire", "open"]
