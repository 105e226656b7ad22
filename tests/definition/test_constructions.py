"""What the constructions do when a part of them fails, through the whole prediction.

Sources: common practice, no source, unless a line says otherwise.
"""

from __future__ import annotations

from functools import cache

import pytest

from matrixdoc.checks.model import build_model
from matrixdoc.checks.predictor import Predictor
from matrixdoc.checks.situation import Look, Situation
from matrixdoc.circuit.netlist import build_circuit
from matrixdoc.definition.library import load_machine
from matrixdoc.faults.catalogue import load_catalogue
from matrixdoc.faults.priors import Fault, possible_faults

BEAMS = {"storm_bureau": (10, 7)}
"""Optical pairs of a machine: those that a ball opens, those that it closes."""


@cache
def predictor(name: str) -> Predictor:
    circuit = build_circuit(load_machine(name))
    return Predictor(build_model(circuit, possible_faults(circuit, load_catalogue())))


def scan(name: str, *faults: Fault, held: tuple[str, ...] = ()) -> frozenset[str]:
    """The one scan that can be seen."""
    ((outcome, certain),) = predictor(name).predict(Situation(held=held), Look("reads"), faults)
    assert certain == 1.0
    assert isinstance(outcome, frozenset)
    return outcome


def coil(name: str, reference: str, *faults: Fault, held: tuple[str, ...] = ()) -> str:
    """The word for a pulsed coil: nearly certain, or that of another coil's firing, where people may as well
    say that this one does nothing.
    """
    situation = Situation(held=held, pulsed=reference)
    prediction = predictor(name).predict(situation, Look("coil", reference), faults)
    word, chance = prediction[0]
    if word == "fires with others":
        chance += dict(prediction).get("nothing", 0.0)
    assert chance > 0.9
    assert isinstance(word, str)
    return word


@pytest.mark.parametrize(("name", "counts"), BEAMS.items())
def test_a_dead_emitter_reads_like_a_ball_that_never_leaves(name, counts):
    pairs = load_machine(name).optos
    assert (sum(not p.sensor for p in pairs.values()), sum(bool(p.sensor) for p in pairs.values())) == counts
    for reference, pair in pairs.items():
        blocked = scan(name, held=(reference,))
        dead = Fault(pair.emitter, "dead")
        assert blocked == scan(name) ^ {reference}
        assert scan(name, dead) == blocked
        # With the emitter dead the ball makes no difference.
        assert scan(name, dead, held=(reference,)) == blocked


@pytest.mark.parametrize("name", BEAMS)
def test_without_their_supply_all_beams_are_dark_at_once(name):
    pairs = load_machine(name).optos
    plain = {reference for reference, pair in pairs.items() if not pair.sensor}
    dark = scan(name, Fault("feed/opto/fuse", "blown"))
    assert plain & dark == set()
    assert plain <= scan(name)
    others = {r for r in scan(name) if r not in pairs}
    assert others <= dark


def test_an_open_door_takes_the_supply_from_the_coils_and_from_nothing_else():
    door = ("interlock/coin door/contact",)
    wiring = load_machine("storm_bureau")
    for reference in wiring.coils:
        expected = "fires" if reference.startswith("flash/") else "nothing"
        assert coil("storm_bureau", reference) == "fires"
        assert coil("storm_bureau", reference, held=door) == expected
    assert coil("storm_bureau", "coil/1", Fault(door[0], "never closes")) == "nothing"


def test_a_relay_that_does_not_pull_fires_the_other_bank():
    for stuck in (Fault("relay/hollow/relay", "open"), Fault("relay/hollow/link", "open")):
        for key in (21, 22, 23, 24):
            assert coil("kettle_hollow", f"coil/{key}", stuck) == "fires with others"
            assert coil("kettle_hollow", f"coil/{key - 20}", stuck) == "fires"
    pulled = Fault("relay/hollow/relay", "stuck active")
    assert coil("kettle_hollow", "coil/21", pulled) == "fires"
    assert coil("kettle_hollow", "coil/1", pulled) == "fires with others"
    # A single contact set that hangs fires the wrong coil of its own pair only.
    hanging = Fault("coil/1/changeover", "stays at rest")
    assert coil("kettle_hollow", "coil/21", hanging) == "fires with others"
    assert coil("kettle_hollow", "coil/22", hanging) == "fires"


def test_a_line_of_a_coil_matrix_takes_its_coils_with_it():
    cells = [f"coil bank/C{c}R{r}" for c in (1, 2, 3) for r in (1, 2)]
    for line in ("C1", "R2"):
        dead = {
            r for r in cells if coil("glass_orchard", r, Fault(f"coil bank/{line}/driver", "open")) != "fires"
        }
        assert dead == {r for r in cells if line in r}
    # A column that is switched on all the time fires its coil with every other coil of that row.
    shorted = Fault("coil bank/C1/driver", "shorted")
    assert coil("glass_orchard", "coil bank/C2R1", shorted) == "fires with others"
    assert coil("glass_orchard", "coil bank/C1R1", shorted) == "fires"


def test_a_stuck_select_line_halves_the_columns_and_doubles_the_rest():
    low = Fault("switch/select1/logic", "stuck idle")
    resting = scan("glass_orchard")
    for row in (1, 2):
        for column in range(1, 9):
            reference = f"switch/C{column}R{row}"
            seen = scan("glass_orchard", low, held=(reference,)) ^ resting
            # The lowest line at 0: an odd number of a column (from 0) is read as the even one before.
            wanted = {reference, f"switch/C{column + 1}R{row}"} if column % 2 else set()
            assert seen == wanted


def test_a_stuck_select_line_lights_another_lamp():
    high = Fault("decoder/field/select1/logic", "stuck active")
    situation = Situation(lamps=("direct lamp/1",))
    words = {
        number: predictor("kettle_hollow").predict(situation, Look("lamp", f"direct lamp/{number}"), (high,))[
            0
        ]
        for number in (1, 2, 3)
    }
    assert words[1] == ("off", 1.0)
    assert words[2][0] == "normal"
    assert words[3] == ("off", 1.0)
