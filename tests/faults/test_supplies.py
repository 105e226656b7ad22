"""What the failure modes of a supply's own parts do to its rail.

The alternating side is not in the direct-current solution: the circuit room averages it into a
source. One supply feeds coils (bridge and capacitor, 50 V), one the logic (with a regulator, 5 V).
"""

from __future__ import annotations

import math

import pytest

from matrixdoc.circuit.netlist import build_circuit
from matrixdoc.circuit.supplies import rail_source
from matrixdoc.definition.wiring import GROUND, Part, Supply
from matrixdoc.faults.catalogue import load_catalogue
from matrixdoc.faults.priors import Fault, possible_faults
from tests.faults.typical import wiring_of

CATALOGUE = load_catalogue()


def _supply(name, volts, winding_v, farads, *, regulated, load_a):
    prefix, rail = f"supply/{name}", f"rail/{name}"
    raw = f"{prefix}/raw" if regulated else rail
    one, far, last = f"{prefix}/winding1", f"{prefix}/winding2", f"{prefix}/fused"
    ends = ((last, raw), (far, raw), (GROUND, last), (GROUND, far))
    parts = [
        Part(f"{prefix}/winding", "winding", (one, far)),
        Part(f"{prefix}/fuse", "fuse", (one, last), values={"rated_a": 5.0}),
        *(Part(f"{prefix}/rectifier{n}", "rectifier", nets) for n, nets in enumerate(ends, 1)),
        Part(f"{prefix}/capacitor", "electrolytic", (raw, GROUND), values={"capacitance_f": farads}),
    ]
    if regulated:
        parts.append(Part(f"{prefix}/regulator", "regulator", (raw, rail)))
    supply = Supply(
        name,
        name,
        rail,
        volts,
        stiff=regulated,
        source_ohm=0.05 if regulated else 0.5,
        winding_v=winding_v,
        ac_parts=(f"{prefix}/winding", f"{prefix}/fuse"),
        rectifiers=tuple(f"{prefix}/rectifier{n}" for n in range(1, 5)),
        capacitor=f"{prefix}/capacitor",
        regulator=f"{prefix}/regulator" if regulated else "",
        load_a=load_a,
    )
    return parts, supply


def machine():
    coils, coil_supply = _supply("coils", 50.0, 37.0, 4700e-6, regulated=False, load_a=1.0)
    logic, logic_supply = _supply("logic", 5.0, 9.0, 10_000e-6, regulated=True, load_a=1.0)
    return build_circuit(wiring_of([*coils, *logic], supplies={"coils": coil_supply, "logic": logic_supply}))


CIRCUIT = machine()
FOUND = possible_faults(CIRCUIT, CATALOGUE)
PARTS = {
    "winding": "winding",
    "rectifier": "rectifier1",
    "electrolytic": "capacitor",
    "regulator": "regulator",
}
TESTED = {
    ("winding", "open"),
    ("winding", "shorted"),
    ("rectifier", "open"),
    ("rectifier", "shorted"),
    ("electrolytic", "tired"),
    ("electrolytic", "open"),
    ("electrolytic", "shorted"),
    ("regulator", "dead"),
    ("regulator", "shorted through"),
}


def source(supply, row="", mode=""):
    reference = f"supply/{supply}/{PARTS[row]}" if row else ""
    patches = {reference: FOUND[Fault(reference, mode)].patch} if row else {}
    return rail_source(CIRCUIT, supply, patches, frozenset())


def delivered_v(found, load_ohm=50.0):
    """Volts at a load of ``load_ohm`` behind the source."""
    return (
        0.0 if math.isinf(found.source_ohm) else found.open_volts * load_ohm / (load_ohm + found.source_ohm)
    )


def test_every_mode_of_the_supply_rows_is_tested_here():
    assert {(row, mode.name) for row in PARTS for mode in CATALOGUE.kinds[row].modes} == TESTED


@pytest.mark.parametrize("supply", ["coils", "logic"])
def test_the_healthy_rail_is_near_its_nominal_volts(supply):
    nominal = {"coils": 50.0, "logic": 5.0}[supply]
    assert delivered_v(source(supply)) == pytest.approx(nominal, rel=0.15)


@pytest.mark.parametrize(
    ("row", "mode"),
    [("winding", "open"), ("winding", "shorted"), ("rectifier", "shorted"), ("electrolytic", "shorted")],
)
@pytest.mark.parametrize("supply", ["coils", "logic"])
def test_an_open_winding_or_a_short_leaves_the_rail_dead(supply, row, mode):
    assert delivered_v(source(supply, row, mode)) < 0.1 * delivered_v(source(supply))


def test_a_dead_regulator_gives_nothing():
    assert delivered_v(source("logic", "regulator", "dead")) < 0.5


def test_a_regulator_shorted_through_lifts_the_rail():
    assert delivered_v(source("logic", "regulator", "shorted through")) > 1.5 * 5.0


@pytest.mark.parametrize(("mode", "least", "most"), [("tired", 3.0, 6.0), ("open", 5.0, 1000.0)])
def test_a_tired_capacitor_ripples(mode, least, most):
    """Ripple is about I / (2 f C): a fifth of the capacitance gives nearly five times the ripple."""
    ratio = source("coils", "electrolytic", mode).ripple_v / source("coils").ripple_v
    assert least < ratio < most


def test_one_open_rectifier_diode_doubles_the_ripple_of_a_filtered_rail():
    """Half the charging pulses: the capacitor alone feeds the load about twice as long."""
    found = source("coils", "rectifier", "open")
    assert found.ripple_v / source("coils").ripple_v == pytest.approx(2.0, rel=0.3)
    assert delivered_v(found) < delivered_v(source("coils"))
