"""A published worked example of diagnosis, told to the package as a machine.

House wiring with circuit breakers, switches and lamps: D. L. Poole and A. K. Mackworth, "Artificial
Intelligence: Foundations of Computational Agents" (Cambridge University Press, 1st edition 2010), example
5.20 with figure 5.8. From outside, w5 leads over breaker cb1 to w3; w3 over switch s1 and its mate s2 to
lamp l1, and over switch s3 to lamp l2. All switches are up and both lamps are dark. The book's conflicts are
{cb1, s1, s2, l1} and {cb1, s3, l2}; their minimal hitting sets are the minimal diagnoses.

As a machine: the lamp column is w3, its wire's drive path the breaker; each row is one branch.
"""

from __future__ import annotations

import itertools
from functools import cache
from pathlib import Path

import pytest

from matrixdoc.checks.model import build_model
from matrixdoc.checks.predictor import Predictor
from matrixdoc.checks.situation import ALL_LAMPS, Finding, Look, Situation
from matrixdoc.circuit.netlist import build_circuit
from matrixdoc.definition.library import machine_from_text
from matrixdoc.diagnosis.analysis import Analysis, analyse
from matrixdoc.diagnosis.evidence import Evidence
from matrixdoc.diagnosis.settings import Settings
from matrixdoc.faults.catalogue import load_catalogue
from matrixdoc.faults.priors import Fault, possible_faults

PARTS = {
    "cb1": Fault("lamp/C1/wire", "open"),
    "s1": Fault("lamp/R1/pin", "open"),
    "s2": Fault("lamp/R1/wire", "open"),
    "l1": Fault("lamp/C1R1/lamp", "burnt out"),
    "s3": Fault("lamp/R2/wire", "open"),
    "l2": Fault("lamp/C1R2/lamp", "burnt out"),
}
"""The book's parts that current flows through, and the part of the machine that stands for each."""
CONFLICTS = ({"cb1", "s1", "s2", "l1"}, {"cb1", "s3", "l2"})
DIAGNOSES = {
    frozenset(words.split()) for words in ("cb1", "s1 s3", "s1 l2", "s2 s3", "s2 l2", "l1 s3", "l1 l2")
}


@cache
def house(slip_rate: float) -> Analysis:
    """Both lamps dark, searched to the end over the book's parts."""
    text = (Path(__file__).parent / "house.yaml").read_text("utf-8")
    circuit = build_circuit(machine_from_text(text, "house"))
    every = possible_faults(circuit, load_catalogue())
    model = build_model(circuit, {fault: every[fault] for fault in PARTS.values()})
    dark = [
        Finding(Situation(lamps=(ALL_LAMPS,)), Look("lamp", lamp), "off")
        for lamp in ("lamp/C1R1", "lamp/C1R2")
    ]
    settings = Settings(outside_weight=0.0, least_share=0.0, slip_rate=slip_rate)
    return analyse(Evidence(Predictor(model), dark, settings), model)


def explains(names: frozenset[str]) -> bool:
    """Whether both lamps are dark when exactly these are broken, by the package's prediction."""
    faults = tuple(sorted(PARTS[name] for name in names))
    analysis = house(1e-9)
    return all(analysis.likelihood(index, faults) > 0.5 for index in (0, 1))


def test_the_conflicts_are_those_of_the_book() -> None:
    # A conflict: these cannot all be whole. Each lamp has one, which is what its current flows through.
    for number, conflict in enumerate(CONFLICTS):
        analysis = house(1e-9)
        broken = {name for name in PARTS if analysis.likelihood(number, (PARTS[name],)) > 0.5}
        assert broken == conflict


def test_the_minimal_diagnoses_are_those_of_the_book() -> None:
    sets = [frozenset(c) for n in range(len(PARTS) + 1) for c in itertools.combinations(PARTS, n)]
    enough = [s for s in sets if explains(s)]
    assert {s for s in enough if not any(t < s for t in enough)} == DIAGNOSES


def test_the_posterior_keeps_to_them() -> None:
    # With hardly any slips every set that is left holds a minimal diagnosis, and all of them are there.
    analysis = house(1e-9)
    names = {fault: name for name, fault in PARTS.items()}
    found = {frozenset(names[f] for f in faults): p for faults, p in analysis.posterior.sets if p > 1e-7}
    assert all(any(d <= faults for d in DIAGNOSES) for faults in found)
    assert set(found) >= DIAGNOSES
    # One against the other: in the ratio of the priors.
    odds = {name: analysis.evidence.predictor.model.possible[f].odds for name, f in PARTS.items()}
    for diagnosis in DIAGNOSES - {frozenset({"cb1"})}:
        one, two = sorted(diagnosis)
        ratio = odds[one] * odds[two] / odds["cb1"]
        assert found[diagnosis] / found[frozenset({"cb1"})] == pytest.approx(ratio, rel=1e-6)


def test_the_marginals_by_hand() -> None:
    # Both dark: the breaker, or one of {s1, s2, l1} and one of {s3, l2}.
    analysis = house(1e-9)
    odds = {n: analysis.evidence.predictor.model.possible[f].odds for n, f in PARTS.items()}
    p = {n: o / (1.0 + o) for n, o in odds.items()}
    one = 1.0 - (1.0 - p["s1"]) * (1.0 - p["s2"]) * (1.0 - p["l1"])
    two = 1.0 - (1.0 - p["s3"]) * (1.0 - p["l2"])
    both = p["cb1"] + (1.0 - p["cb1"]) * one * two
    marginals = analysis.posterior.marginals
    assert marginals[PARTS["cb1"]] == pytest.approx(p["cb1"] / both, abs=1e-6)
    for name, other in (("s1", two), ("s2", two), ("l1", two), ("s3", one), ("l2", one)):
        expected = p[name] * (p["cb1"] + (1.0 - p["cb1"]) * other) / both
        assert marginals[PARTS[name]] == pytest.approx(expected, abs=1e-6)
