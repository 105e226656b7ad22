"""What a glance rules out, the whole scan does not show either."""

import random

import pytest

from matrixdoc.checks.glance import Asked, cannot_show
from matrixdoc.checks.likelihood import report_probability
from matrixdoc.checks.model import build_model
from matrixdoc.checks.predictor import Predictor
from matrixdoc.checks.situation import Look, Situation
from matrixdoc.circuit.netlist import build_circuit
from matrixdoc.definition.library import load_machine
from matrixdoc.faults.catalogue import load_catalogue
from matrixdoc.faults.priors import possible_faults

READS = Look("reads")


@pytest.mark.parametrize("name", ["lantern_quay", "storm_bureau", "glass_orchard"])
@pytest.mark.parametrize("seed", [11, 12])
def test_nothing_that_the_scan_shows_is_ruled_out(name: str, seed: int) -> None:
    rng = random.Random(seed)
    wiring = load_machine(name)
    circuit = build_circuit(wiring)
    predictor = Predictor(build_model(circuit, possible_faults(circuit, load_catalogue())))
    cells = sorted(r for r, s in wiring.switches.items() if s.matrix and not s.normally_closed)
    usual = frozenset(predictor.predict(Situation(), READS, ())[0][0])  # type: ignore[arg-type]
    faults = rng.sample(sorted(predictor.model.effects), 120)
    asked = []
    for fault in faults:
        held = rng.choice(cells)
        seen = rng.choice(
            [usual, usual | {held}, usual | {held, rng.choice(cells)}, usual | {rng.choice(cells)}]
        )
        asked.append(Asked(Situation(held=(held,)), (fault,), seen, frozenset({held}) | (seen ^ usual)))
    out = cannot_show(predictor, asked)
    assert any(out)
    assert not all(out)
    for one, gone in zip(asked, out, strict=True):
        if not gone:
            continue
        rest = predictor.predict(one.situation.at_rest(), READS, one.faults)[0][0]
        prediction = predictor.predict(one.situation, READS, one.faults)
        right = report_probability(READS, prediction, one.seen, 0.0, rest, one.situation.held, usual)  # type: ignore[arg-type]
        assert right == 0.0, one
