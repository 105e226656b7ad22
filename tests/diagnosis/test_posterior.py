"""The posterior against enumeration of every set of faults.

The likelihoods here are random and interact at will: with the search run to the end nothing may be
assumed about them. The worlds are counted by ``enumeration.py``, which shares no code with the package.
"""

from __future__ import annotations

import hashlib
import math
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from matrixdoc.case.case import Case
from matrixdoc.checks.situation import Finding, Look, Situation
from matrixdoc.definition.library import machine_from_text
from matrixdoc.diagnosis.posterior import posterior
from matrixdoc.diagnosis.settings import Settings
from matrixdoc.faults.priors import Fault
from tests.diagnosis.enumeration import enumerate_worlds, variable


def mixed(seed: int, index: int, faults: tuple[Fault, ...]) -> float:
    """A likelihood in (0, 1) that depends on the whole set and on nothing else."""
    words = f"{seed} {index} {sorted((f.part, f.mode) for f in faults)}"
    number = int.from_bytes(hashlib.sha256(words.encode()).digest()[:6], "big") / 2**48
    return 0.002 + 0.996 * number**3


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10**9), st.integers(1, 5), st.integers(1, 4), st.data())
def test_run_to_the_end_it_equals_enumeration(
    seed: int, parts: int, findings: int, data: st.DataObject
) -> None:
    variables = []
    scope: dict[Fault, frozenset[int]] = {}
    for part in range(parts):
        modes = data.draw(st.integers(1, 3))
        states = [
            (f"m{mode}", data.draw(st.floats(1e-4, 0.5)), data.draw(st.booleans())) for mode in range(modes)
        ]
        variables.append(variable(*states, name=f"p{part}"))
        for state in variables[-1].states:
            touched = data.draw(st.sets(st.integers(0, findings - 1), max_size=findings))
            scope[state.fault] = frozenset(touched)

    def likelihood(index: int, faults: tuple[Fault, ...]) -> float:
        return mixed(seed, index, tuple(f for f in faults if index in scope[f]))

    found = posterior(variables, findings, likelihood, lambda f: scope[f], least_share=0.0)
    worlds = enumerate_worlds(variables, findings, likelihood)
    assert found.log_evidence == pytest.approx(math.log(worlds.evidence), abs=1e-9)
    for fault, share in found.marginals.items():
        assert share == pytest.approx(worlds.probability([fault]), abs=1e-9)
    assert found.discarded == pytest.approx(0.0, abs=1e-12)


@settings(max_examples=12, deadline=None)
@given(st.integers(0, 10**9))
def test_cut_short_it_is_off_by_no_more_than_it_says(seed: int) -> None:
    """Opens on crossing paths, as in a matrix: the likelihood of a look is that of a path."""
    rows, columns = 2, 3
    slip = 0.003
    variables = [variable(("open", 2e-3, True), name=f"C{c}") for c in range(columns)]
    variables += [variable(("open", 3e-3, True), name=f"R{r}") for r in range(rows)]
    variables += [
        variable(("open", 5e-3, True), name=f"C{c}R{r}") for c in range(columns) for r in range(rows)
    ]
    looks = [(c, r) for c in range(columns) for r in range(rows)]
    dead = {look for look in looks if mixed(seed, looks.index(look), ()) > 0.4}

    def on_path(fault: Fault, look: tuple[int, int]) -> bool:
        return fault.part in (f"C{look[0]}", f"R{look[1]}", f"C{look[0]}R{look[1]}")

    def likelihood(index: int, faults: tuple[Fault, ...]) -> float:
        broken = any(on_path(f, looks[index]) for f in faults)
        return 1.0 - slip if broken == (looks[index] in dead) else slip

    def touches(fault: Fault) -> frozenset[int]:
        return frozenset(i for i, look in enumerate(looks) if on_path(fault, look))

    found = posterior(variables, len(looks), likelihood, touches, least_share=1e-4)
    worlds = enumerate_worlds(variables, len(looks), likelihood)
    for fault, share in found.marginals.items():
        assert abs(share - worlds.probability([fault])) <= found.discarded + 1e-9


SMALL = """
title: Corner
matrices:
  switch:
    chart: |
      one   | two
      three | four
"""


@settings(max_examples=4, deadline=None)
@given(st.data())
def test_on_a_small_machine_it_equals_enumeration(data: st.DataObject) -> None:
    wiring = machine_from_text(SMALL, "corner")
    base = Case.start(wiring, Settings(outside_weight=0.0, least_share=0.0))
    assert base.session is not None
    engine = base.session.engine
    pool = sorted(f for f in engine.possible if f.part.startswith("switch/"))
    parts = data.draw(
        st.lists(st.sampled_from(sorted({f.part for f in pool})), min_size=3, max_size=5, unique=True)
    )
    kept = {f: e for f, e in engine.possible.items() if f.part in parts}
    from matrixdoc.checks.model import build_model
    from matrixdoc.checks.predictor import Predictor
    from matrixdoc.diagnosis.analysis import analyse
    from matrixdoc.diagnosis.evidence import Evidence

    model = build_model(engine.circuit, kept)
    names = [f"switch/C{c}R{r}" for c in (1, 2) for r in (1, 2)]
    findings = []
    for _ in range(data.draw(st.integers(1, 3))):
        held = tuple(sorted(data.draw(st.sets(st.sampled_from(names), max_size=3))))
        seen = frozenset(data.draw(st.sets(st.sampled_from(names), max_size=3)))
        findings.append(Finding(Situation(held=held), Look("reads"), seen))
    evidence = Evidence(Predictor(model), findings, base.settings)
    found = analyse(evidence, model).posterior
    by_part: dict[str, list[tuple[str, float, bool]]] = {}
    for fault, entry in kept.items():
        by_part.setdefault(fault.part, []).append((fault.mode, entry.odds, False))
    variables = [variable(*states, name=part) for part, states in by_part.items()]
    worlds = enumerate_worlds(variables, len(findings), evidence.likelihood)
    for fault, share in found.marginals.items():
        assert share == pytest.approx(worlds.probability([fault]), abs=1e-9)


def test_the_file_of_worlds_shares_no_code_with_the_package() -> None:
    text = (Path(__file__).parent / "enumeration.py").read_text()
    assert "import State, Variable" in text
    assert "posterior(" not in text
