"""The faults of a machine that the definition room compiled from nothing but a chart."""

from __future__ import annotations

import random
from importlib import resources

import pytest

from matrixdoc.circuit.netlist import build_circuit
from matrixdoc.definition.compile import compile_machine
from matrixdoc.definition.document import load_document, validate_model
from matrixdoc.definition.schema import MachineForm
from matrixdoc.faults.catalogue import CatalogueError, load_catalogue
from matrixdoc.faults.priors import possible_faults
from matrixdoc.faults.reading import read_catalogue

CHART = """
title: Harbour Lights
matrices:
  contacts:
    device: switch
    chart: |
      ,1,2
      1,left lane,right lane
      2,trough,bell
  upper lights:
    device: lamp
    chart: |
      ,1,2
      1,red buoy,green buoy
      2,anchor,
"""


@pytest.fixture(scope="module")
def circuit():
    document = load_document(CHART, "harbour.yaml")
    return build_circuit(compile_machine(validate_model(document, MachineForm), document))


@pytest.fixture(scope="module")
def found(circuit):
    return possible_faults(circuit, load_catalogue())


def test_every_part_and_every_pair_of_neighbours_can_fail(circuit, found):
    assert {fault.part for fault in found} == set(circuit.wiring.parts) | set(circuit.bridges)
    assert len(circuit.bridges) >= 7
    assert sum(entry.probability for entry in found.values()) == pytest.approx(1.5)


def test_matrices_of_any_name_have_their_roles(found):
    rows = {fault.part: entry.row for fault, entry in found.items()}
    assert rows["upper lights/C1R1/socket"] == "socket"
    assert rows["upper lights/C1R1/row_stub"] == rows["contacts/C1R1/row_stub"] == "stub"
    probability = {(fault.part, fault.mode): entry.probability for fault, entry in found.items()}
    lamp_diode, switch_diode = (f"{matrix}/C1R1/diode" for matrix in ("upper lights", "contacts"))
    # a lamp's diode fails less: one lamp dark 5 of 100 against one switch dead 15 of 100
    assert probability[lamp_diode, "open"] < 0.6 * probability[switch_diode, "open"]


def test_a_catalogue_with_any_entry_spoilt_gives_a_catalogue_or_an_error():
    """Every value of the shipped file in turn is replaced by something odd: no other exception."""
    text = resources.files("matrixdoc.faults").joinpath("catalogue.toml").read_text(encoding="utf-8")
    lines = text.splitlines()
    places = [n for n, line in enumerate(lines) if " = " in line and not line.startswith("#")]
    chance = random.Random(7)
    odd = [
        "3",
        '"x"',
        "true",
        "[1, [2]]",
        "{ a = 1 }",
        "inf",
        "-1",
        "1979-05-27",
        "{}",
        '""',
        "1e400",
        "[{}]",
    ]
    refused = []
    for _ in range(60):
        changed = list(lines)
        for place in chance.sample(places, 3):
            changed[place] = changed[place].split(" = ", 1)[0] + " = " + chance.choice(odd)
        try:
            read_catalogue("\n".join(changed), "spoilt.toml")
        except CatalogueError as error:
            refused.append(str(error))
    assert len(refused) > 50
    assert all(words.startswith("spoilt.toml: ") for words in refused)
