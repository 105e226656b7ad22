"""The posterior of opens against exact inference by a general-purpose library.

pyAgrum (LazyPropagation) computes the network that ``networks.py`` builds from the chains and the priors.
"""

from __future__ import annotations

import pytest

from matrixdoc.diagnosis.settings import Settings
from tests.diagnosis.networks import Network, Problem, by_package, make_problem
from tests.diagnosis.pairs import Cell, Pair, column, pair, row

NO_OUTSIDE = Settings(outside_weight=0.0)


def patterns(machine: Pair) -> dict[str, dict[str, set[Cell]]]:
    """What shows nothing: a column; a column, a row and a cell; every lamp."""
    return {
        "column": {"switch": column(machine, 3)},
        "column, row and cell": {"switch": column(machine, 3) | row(machine, 2) | {(4, 4)}},
        "all lamps": {"lamp": set(machine.cells)},
    }


def assert_the_same(problem: Problem) -> None:
    """Every open of every part, to 1e-9."""
    found = by_package(problem, merge=False)
    faults, _ = Network(problem).marginals()
    assert set(faults) <= set(found.marginals)
    assert len(faults) > 100
    odds = problem.odds
    priors = {f: o / (1.0 + sum(odds[f.part].values())) for f in faults for o in [odds[f.part][f.mode]]}
    assert max(abs(faults[f] - priors[f]) for f in faults) > 0.1
    for fault, probability in faults.items():
        assert found.marginals[fault] == pytest.approx(probability, abs=1e-9), fault
    assert found.discarded == 0.0


@pytest.mark.parametrize("name", ["column", "column, row and cell", "all lamps"])
def test_a_pair_of_8x8_equals_the_library(name: str) -> None:
    machine = pair(8, 8)
    problem = make_problem(
        machine, patterns(machine)[name], NO_OUTSIDE, one_mode=False, all_lamps=name == "all lamps"
    )
    assert len(problem.possible) > 1000
    assert_the_same(problem)


@pytest.mark.parametrize("slip", [1e-6, 0.05])
def test_whatever_the_slip_rate(slip: float) -> None:
    machine = pair(5, 4)
    settings = Settings(outside_weight=0.0, slip_rate=slip)
    assert_the_same(
        make_problem(machine, patterns(machine)["column, row and cell"], settings, one_mode=False)
    )


@pytest.mark.parametrize("seed", range(2))
def test_shuffled_chains_equal_the_library(seed: int) -> None:
    machine = pair(6, 6, shuffled=seed)
    chain = machine.chains["switch", "C", 2]
    dead = {"switch": {(2, r) for r in chain[3:]}, "lamp": {(4, 4)} | row(machine, 5)}
    assert chain != tuple(sorted(chain))
    assert_the_same(make_problem(machine, dead, NO_OUTSIDE, one_mode=False))


def test_merged_runs_are_open_as_often_as_the_library_says() -> None:
    machine = pair(5, 5)
    dead = patterns(machine)["column, row and cell"]
    problem = make_problem(machine, dead, NO_OUTSIDE, one_mode=True)
    found = by_package(problem, merge=True)
    faults, runs = Network(problem).marginals()
    for words, probability in runs.items():
        inside = [f for f in faults if f.part in words.split("; ")]
        assert len(inside) > 1
        assert sum(found.marginals[f] for f in inside) == pytest.approx(probability, abs=1e-9), words
        # Divided in the ratio of the odds: two of a run open at once are left out of the shares.
        for fault in inside:
            assert found.marginals[fault] == pytest.approx(faults[fault], rel=0.02, abs=1e-9)
