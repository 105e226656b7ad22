"""A machine as the benchmark's own simulation knows it: the second expansion, and what joins its names
to those of a case.

The expansion and its decks are those of ``tests/proof``: they share no code with the package. From the
package come only names and published data: nets that a meter's leads are put on, places, the catalogue.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from typing import Any

from matrixdoc.circuit.netlist import Circuit, build_circuit
from matrixdoc.definition.library import machine_from_text
from matrixdoc.definition.wiring import Wiring
from matrixdoc.faults.catalogue import load_catalogue
from matrixdoc.faults.priors import Fault, PossibleFault, possible_faults
from tests.proof.authoring import definition, quantity, styles
from tests.proof.damage import Terminal
from tests.proof.definitions import SHIPPED, text_of
from tests.proof.expansion import expand
from tests.proof.machine import Grid, Input, Machine, Winding

MACHINES = SHIPPED


@dataclass(frozen=True)
class Optical:
    """An optical pair by the reference of its switch: what conducts in the place of a contact, and the
    input of the buffer that makes it conduct (None: the receiver itself)."""

    own: str
    element: str
    buffer: Input | None


@dataclass
class Plant:
    """One machine, read once. ``contacts`` gives, by switch reference, the contact and whether it rests
    closed; ``triggers``, by coil reference, the input that fires it without the logic, and its switch.
    """

    name: str
    machine: Machine
    form: dict[str, Any]
    circuit: Circuit
    possible: dict[Fault, PossibleFault]
    at: dict[str, Terminal]
    contacts: dict[str, tuple[str, bool]]
    optical: dict[str, Optical]
    triggers: dict[str, tuple[Input, str]]
    pulse_s: dict[str, float]
    logic_rails: frozenset[str]
    known: dict[Any, Any] = field(default_factory=dict)
    """Results of simulations, by their question."""

    @property
    def wiring(self) -> Wiring:
        """The names of parts, places, connectors."""
        return self.circuit.wiring

    def grid(self, name: str) -> Grid:
        """The switch or lamp matrix of that name."""
        return self.machine.switches.get(name) or self.machine.lamps[name]

    def place_minutes(self, reference: str) -> tuple[str, float]:
        """Where a part (or bridge) is, and the minutes to open that place."""
        part = self.wiring.parts.get(reference)
        if part is None:
            one = self.circuit.bridges[reference].nets[0]
            part = self.wiring.parts[self.at[one][0]]
        place = self.wiring.places.get(part.place)
        return part.place, place.minutes if place is not None else 0.0


@cache
def plant(name: str) -> Plant:
    """A shipped machine."""
    text = text_of(name, 0)
    form = definition(text)
    machine, circuit = expand(text), build_circuit(machine_from_text(text))
    possible = possible_faults(circuit, load_catalogue())
    at: dict[str, Terminal] = {}
    for reference, part in circuit.wiring.parts.items():
        for number, net in enumerate(part.nets):
            at.setdefault(net, (reference, number))
    optical = _optical(machine, form)
    logic = frozenset(form["matrices"][name].get("supply", "logic") for name in machine.switches)
    return Plant(
        name,
        machine,
        form,
        circuit,
        possible,
        at,
        _contacts(machine, form, optical),
        optical,
        _triggers(machine, form),
        _pulses(machine, form),
        logic & set(machine.rails),
    )


def _input(machine: Machine, form: dict[str, Any], part: str, style_name: str, supply: str) -> Input:
    """Thresholds of a sensing part that no scan reads."""
    style = styles()["sensing"][style_name]
    scale = 1.0 if style["volts"] else machine.rails[supply].nominal_v
    return Input(part, style["low"] * scale, style["high"] * scale, "low", style["floating"], ())


def _optical(machine: Machine, form: dict[str, Any]) -> dict[str, Optical]:
    found = {}
    cells = {f"{g.name}/{k}": c.element for g in machine.switches.values() for k, c in g.cells.items()}
    cells |= {name: contact for name, (contact, _) in machine.direct.items()}
    for own, element in cells.items():
        if f"{own}/emitter" not in machine.elements:
            continue
        buffer = None
        if f"{own}/buffer" in machine.elements:
            # The receiver pulls the buffer's input down while it is lit; dark, the pull lifts it.
            low = _input(machine, form, f"{own}/buffer", styles()["opto"]["buffer"], _opto_rail(form, own))
            buffer = Input(low.sensing, low.low_v, low.high_v, "high", low.floating, ())
        found[own] = Optical(own, element, buffer)
    return found


def _opto_rail(form: dict[str, Any], own: str) -> str:
    """Supply of an optical pair: stated at the switch, at its matrix, or the default."""
    root, _, key = own.rpartition("/")
    if root in form.get("matrices", {}):
        matrix = form["matrices"][root]
        facts = {**matrix.get("opto", {}), **matrix.get("cells", {}).get(key, {}).get("opto", {})}
    else:
        facts = form["direct_switches"][key].get("opto", {})
    if "feed" in facts:
        return str(form["feeds"][facts["feed"]]["supply"])
    return str(facts.get("supply", styles()["opto"]["supply"]))


def _contacts(
    machine: Machine, form: dict[str, Any], optical: dict[str, Optical]
) -> dict[str, tuple[str, bool]]:
    found = {
        f"{grid.name}/{key}": (cell.element, cell.rests_closed)
        for grid in machine.switches.values()
        for key, cell in grid.cells.items()
    }
    found |= {name: (contact, name in machine.rests_closed) for name, (contact, _) in machine.direct.items()}
    for key, facts in form.get("direct_switches", {}).items():
        own = f"direct switch/{key}"
        found.setdefault(own, (f"{own}/contact", facts.get("normally") == "closed"))
    found |= {contact: (contact, True) for contact in machine.resting}
    for winding in machine.windings.values():
        found |= {contact: (contact, True) for contact in winding.resting}
        found |= {contact: (contact, False) for contact in winding.pressed}
    return {name: entry for name, entry in found.items() if name not in optical}


def _triggers(machine: Machine, form: dict[str, Any]) -> dict[str, tuple[Input, str]]:
    """Switches on the driver board that fire a coil without the logic."""
    found = {}
    default = styles()["defaults"]["sensing"]
    for key, facts in form.get("coils", {}).items():
        if "fired_by" not in facts:
            continue
        switch = facts["fired_by"].removeprefix("direct switch ").removeprefix("direct switch/")
        own, stated = f"direct switch/{switch}", form["direct_switches"][switch]
        part, supply = f"{own}/sensing", stated.get("supply", "logic")
        found[f"coil/{key}"] = (_input(machine, form, part, stated.get("sensing") or default, supply), own)
    return found


def _pulses(machine: Machine, form: dict[str, Any]) -> dict[str, float]:
    """Seconds that each winding is pulsed (0.05 where nothing is said)."""
    found = {}
    for reference in machine.windings:
        root, _, key = reference.partition("/")
        facts: dict[str, Any] = {}
        if root == "coil":
            facts = form.get("coils", {}).get(key, {})
        elif root in form.get("matrices", {}):
            matrix = form["matrices"][root]
            facts = {**matrix, **matrix.get("cells", {}).get(key, {})}
        stated = facts.get("pulse")
        found[reference] = quantity(stated.removesuffix("s").strip()) if stated else 0.05
    return found


def is_hold(winding: Winding) -> bool:
    """A winding that works with the stroke ended."""
    return winding.reference.endswith("/hold") and bool(winding.resting)
