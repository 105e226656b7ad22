"""The sum over opens: large, of any shape, and what is said where it is not exact."""

from __future__ import annotations

import random

import numpy as np
import pytest

from matrixdoc.diagnosis import posterior as searched
from matrixdoc.diagnosis.opens import opens_posterior
from matrixdoc.diagnosis.settings import Settings
from matrixdoc.faults.priors import Fault
from tests.diagnosis.enumeration import enumerate_worlds, variable
from tests.diagnosis.networks import Network, Problem, by_package, make_problem
from tests.diagnosis.pairs import Cell, column, pair, row
from tests.diagnosis.sweep import swept

NO_OUTSIDE = Settings(outside_weight=0.0)


@pytest.mark.parametrize("size", [4, 16])
def test_16x16_equals_a_sweep(size: int) -> None:
    # The sweep holds one bit for each column; at 4x4 the library says the same of the sweep.
    machine = pair(size, size)
    looks = [("switch", cell) for cell in machine.cells]
    dead = {"switch": column(machine, 3) | row(machine, 2) | {(4, 4)}}
    problem = make_problem(machine, dead, NO_OUTSIDE, one_mode=False, looks=looks)
    found = by_package(problem, merge=False)
    assert found.discarded == 0.0
    evidence = swept(problem)
    assert found.log_evidence == pytest.approx(evidence, abs=1e-9)
    asked = ("C3/pin", "C3/driver", "C3/segment2", "R2/sensing", "R2/segment3", "C4R4/contact", "C3R1/diode")
    faults = Network(problem).marginals()[0] if size == 4 else {}
    for reference in (f"switch/{name}" for name in asked):
        whole = sum(found.marginals[f] for f in problem.possible if f.part == reference)
        odds = sum(problem.odds[reference].values())
        share = odds / (1.0 + odds) * np.exp(swept(problem, broken=reference) - evidence)
        assert whole == pytest.approx(share, abs=1e-9), reference
        if faults:
            by_library = sum(p for fault, p in faults.items() if fault.part == reference)
            assert by_library == pytest.approx(share, abs=1e-9)


def test_one_shuffled_8x8_equals_the_library() -> None:
    # One matrix at its full size; two of them take the library a quarter of a minute.
    machine = pair(8, 8, shuffled=1)
    looks = [("switch", cell) for cell in machine.cells]
    dead = {"switch": column(machine, 3) | row(machine, 2) | {(4, 4)}}
    problem = make_problem(machine, dead, NO_OUTSIDE, one_mode=False, looks=looks)
    found = by_package(problem, merge=False)
    faults, _ = Network(problem).marginals()
    assert len(faults) > 400
    for fault, probability in faults.items():
        assert found.marginals[fault] == pytest.approx(probability, abs=1e-9), fault
    assert found.discarded == 0.0


def test_too_wide_a_network_is_left_to_the_search() -> None:
    rng = np.random.default_rng(5)
    acts = rng.random((14, 8)) < 0.4
    healthy, alive, dead = np.full(14, 0.9), np.full(8, 0.9), np.full(8, 0.1)
    assert opens_posterior(healthy, acts, alive, dead, widest=5) is None
    assert opens_posterior(healthy, acts, alive, dead, widest=14) is not None


@pytest.mark.parametrize("seed", range(12))
def test_any_network_of_opens_equals_enumeration(seed: int) -> None:
    # Not only matrices: findings of a variable are any set, so the steps overlap at will.
    rng = np.random.default_rng([seed, 2003])
    count, findings = int(rng.integers(1, 10)), int(rng.integers(1, 7))
    acts = rng.random((count, findings)) < rng.choice([0.2, 0.5, 0.8])
    odds = rng.uniform(1e-3, 0.6, count)
    alive, dead = rng.uniform(0.01, 1.0, findings), rng.uniform(0.01, 1.0, findings)
    found = opens_posterior(1.0 / (1.0 + odds), acts, alive, dead)
    variables = [variable(("open", float(odds[v]), True), name=f"{v}") for v in range(count)]

    def likelihood(index: int, faults: tuple[Fault, ...]) -> float:
        return float(dead[index] if any(acts[int(f.part), index] for f in faults) else alive[index])

    worlds = enumerate_worlds(variables, findings, likelihood)
    assert found is not None
    assert found.log_evidence == pytest.approx(np.log(worlds.evidence), abs=1e-12)
    for v in range(count):
        assert found.marginals[v] == pytest.approx(worlds.probability([Fault(f"{v}", "open")]), abs=1e-12)


@pytest.mark.parametrize("block", range(4))
def test_beyond_the_width_the_search_is_off_by_no_more_than_it_says(
    block: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    for seed in range(10 * block, 10 * block + 10):
        problem = _random_problem(seed)
        exact = by_package(problem, merge=True)
        with monkeypatch.context() as patch:
            patch.setattr(searched, "opens_posterior", lambda *_: None)
            found = by_package(problem, merge=True)
        assert exact.discarded == 0.0
        worst = max(exact.marginals, key=lambda f: abs(found.marginals[f] - exact.marginals[f]))
        off = abs(found.marginals[worst] - exact.marginals[worst])
        assert off <= found.discarded + 1e-9, (seed, worst)
        assert 0.0 < found.discarded < 0.1


def _random_problem(seed: int) -> Problem:
    """Up to 4x4 switches with shuffled chains and up to three breaks: lines, rests of lines, cells."""
    rng = random.Random(seed)
    machine = pair(rng.randint(2, 4), rng.randint(2, 4), shuffled=seed)
    dead: set[Cell] = set()
    for _ in range(rng.randint(1, 3)):
        c, r = rng.choice(machine.cells)
        chain = machine.chains["switch", "C", c]
        rest = {(c, x) for x in chain[rng.randrange(len(chain)) :]}
        dead |= rng.choice([column(machine, c), row(machine, r), {(c, r)}, rest])
    looks = [("switch", cell) for cell in machine.cells]
    return make_problem(machine, {"switch": dead}, NO_OUTSIDE, one_mode=False, looks=looks)
