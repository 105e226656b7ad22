"""Many lamps judged in one look: a dark matrix has the causes that its supply has."""

from __future__ import annotations

import pytest

from matrixdoc.case.case import Case
from matrixdoc.checks.situation import ALL_LAMPS, Finding, Look, Situation
from matrixdoc.definition.library import load_machine

WIRING = load_machine("lantern_quay")
LAMPS = tuple(r for r, lamp in WIRING.lamps.items() if lamp.matrix)


def looked_at(dark: int, lit: int = 0) -> Case:
    case = Case.start(WIRING)
    for number, lamp in enumerate(LAMPS[: dark + lit]):
        seen = "off" if number < dark else "normal"
        case = case.with_finding(Finding(Situation(lamps=(ALL_LAMPS,)), Look("lamp", lamp), seen))
    return case


@pytest.mark.parametrize("dark", [12, 30, 64])
def test_a_dark_matrix_is_its_supply(dark: int) -> None:
    diagnosis = looked_at(dark).diagnose()
    assert diagnosis.causes[0].faults[0].part.startswith("supply/lamp/")
    assert sum(c.probability for c in diagnosis.causes if c.faults[0].part.startswith("supply/lamp/")) > 0.8
    assert diagnosis.healthy < 0.01
    assert {row.verdict for row in diagnosis.findings} == {"explained"}
    assert any(check.check.look.target == "supply/lamp/fuse" for check in looked_at(dark).checks(5))


def test_a_dark_column_among_lit_ones_is_its_own() -> None:
    diagnosis = looked_at(8, 56).diagnose()
    parts = [f.part for cause in diagnosis.causes[:3] for f in cause.faults]
    assert all(part.startswith("lamp/C1/") for part in parts)
