"""The posterior on small machines of many shapes against counting every set of faults.

Both sides ask the predictor what a set of faults shows; it is the choice of what matters to a finding and
the arithmetic that are compared. All failure modes of the chosen parts take part: opens, shorts, stuck
outputs, reversed and missing parts, bridges, supplies.
"""

from __future__ import annotations

import math

import pytest

from matrixdoc.diagnosis.analysis import analyse
from matrixdoc.diagnosis.posterior import posterior
from matrixdoc.diagnosis.settings import Settings
from matrixdoc.diagnosis.variables import build_variables
from matrixdoc.faults.priors import Fault
from tests.diagnosis.enumeration import Enumerated, enumerate_worlds
from tests.diagnosis.networks import scopes
from tests.diagnosis.small_machines import SHAPES, Small, small_machine

TO_THE_END = Settings(outside_weight=0.0, least_share=0.0)
CUT = Settings(outside_weight=0.0)
SEEDS = range(4)
BEYOND = 0.08
"""Off beyond what is printed, on machines of five parts whose faults interact at will: measured on 160 of
them, within the bound on 138, at most 0.07 beyond it (0.054 where a fault's own prior is allowed besides)."""


def counted(small: Small, settings: Settings) -> Enumerated:
    """Every set of faults."""
    evidence = small.evidence(settings)
    return enumerate_worlds(small.variables(), len(evidence), evidence.likelihood)


@pytest.mark.parametrize("shape", SHAPES)
def test_run_to_the_end_it_equals_enumeration(shape: str) -> None:
    moved = 0.0
    for seed in SEEDS:
        small = small_machine(shape, seed, parts=4)
        found = analyse(small.evidence(TO_THE_END), small.model).posterior
        worlds = counted(small, TO_THE_END)
        for fault, entry in small.possible.items():
            exact = worlds.probability([fault])
            # A fault in no finding's scope is as probable as it was.
            others = sum(e.odds for f, e in small.possible.items() if f.part == fault.part)
            prior = entry.odds / (1.0 + others)
            assert found.marginals.get(fault, prior) == pytest.approx(exact, abs=1e-9), (seed, fault)
            moved = max(moved, abs(exact - prior))
        assert found.discarded == pytest.approx(0.0, abs=1e-12)
    assert moved > 0.01


@pytest.mark.parametrize("shape", SHAPES)
def test_cut_short_it_is_off_by_little_more_than_it_says(shape: str) -> None:
    # A fault that hides another one, or is hidden by it, is not always worked out when the search is cut
    # short, and the printed bound does not hold that: see BEYOND.
    for seed in SEEDS:
        small = small_machine(shape, 100 + seed, parts=5, lasting=True)
        evidence = small.evidence(CUT)
        # What matters to a finding is taken whole here; it is the search that is on trial.
        touched = scopes(small.evidence(TO_THE_END))
        found = posterior(
            build_variables(small.model, list(small.possible), merge=False),
            len(evidence),
            evidence.likelihood,
            lambda fault: touched.get(fault, frozenset()),  # noqa: B023 - called at once
            prepare=evidence.prepare,
            least_share=CUT.least_share,
        )
        worlds = counted(small, CUT)
        for fault in small.possible:
            off = abs(found.marginals[fault] - worlds.probability([fault]))
            assert off <= found.discarded + BEYOND, (seed, fault, found.marginals[fault], off)
        assert math.isfinite(found.log_evidence)


def test_what_is_tried_has_every_kind_of_fault() -> None:
    tried: set[Fault] = set()
    for shape in SHAPES:
        for seed in SEEDS:
            tried |= set(small_machine(shape, seed, parts=4).possible)
    modes = {fault.mode for fault in tried}
    assert {"open", "shorted", "stuck active", "reversed", "missing", "grounded", "blown"} <= modes
    assert any(fault.part.startswith("bridge/") for fault in tried)
