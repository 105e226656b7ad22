"""A chain that is wired in another order than the definition says: ranked, confirmed, corrected."""

from __future__ import annotations

import pytest

from matrixdoc.case.case import Case
from matrixdoc.checks.chart import CHART, reordered, stubs_of
from matrixdoc.checks.situation import Finding, Look, Situation
from matrixdoc.cli.correct import corrected_case
from matrixdoc.definition.library import load_machine
from matrixdoc.faults.priors import Fault

REAL = ("switch/C2R1", "switch/C2R3", "switch/C2R6", "switch/C2R4", "switch/C2R2", "switch/C2R5")
"""The true order of the column in the tests; the chart assumes C2R1 to C2R6."""


def walked(machine: str, cells, dead) -> Case:
    wiring = load_machine(machine)
    case = Case.start(wiring)
    usual = case._engine.engine.predict((), Situation(), Look("reads"))[0][0]
    assert isinstance(usual, frozenset)
    for cell in cells:
        seen = usual if cell in dead else usual | {cell}
        case = case.with_finding(Finding(Situation(held=(cell,)), Look("reads"), seen))
    return case


def on_chart(case: Case) -> list[str]:
    causes = case.diagnose().causes
    return [f.mode for cause in causes for f in cause.faults if f.part == CHART]


def test_dead_places_that_are_not_the_last_ones_point_at_the_order() -> None:
    case = walked("bare_chart", REAL, REAL[3:])
    leader = case.diagnose().causes[0].faults[0]
    assert leader.part == CHART
    fault = Fault(CHART, leader.mode)
    assert {stub.part for stub in stubs_of(fault)} == {f"{cell}/column_stub" for cell in REAL[3:]}
    assert "write its order down" in case.diagnose().causes[0].repair


def test_confirmed_it_is_corrected_and_the_case_replayed() -> None:
    case = walked("bare_chart", REAL, REAL[3:])
    order = " ".join(cell.rpartition("R")[2] for cell in REAL)
    again = corrected_case(case, "bare_chart", [f"chain switch C2 {order}"])
    assert len(again.findings) == len(case.findings)
    diagnosis = again.diagnose()
    assert not [f for cause in diagnosis.causes for f in cause.faults if f.part == CHART]
    leader = diagnosis.causes[0].faults[0]
    assert leader.mode == "open"
    # With the true order the break has one place: the stretch of wire before the first dead lug.
    assert leader.part == "switch/C2/segment4"


@pytest.mark.parametrize("dead", [REAL[:0], ("switch/C2R5",), ("switch/C2R5", "switch/C2R6")])
def test_nothing_is_suspected_that_the_order_told_explains(dead) -> None:
    assert not on_chart(walked("bare_chart", sorted(REAL), dead))


def test_an_order_that_somebody_wrote_down_is_doubted_less() -> None:
    def odds(machine: str, dead) -> float:
        case = walked(machine, [f"switch/C2R{r}" for r in range(1, 7)], dead)
        case.diagnose()
        possible = case._engine.engine.model.possible
        return possible[reordered("switch/C2", dead)].odds

    some = ("switch/C2R1", "switch/C2R3")
    assert odds("lantern_quay", some) < 0.2 * odds("bare_chart", some)


def test_stubs_stand_for_the_break() -> None:
    fault = reordered("lamp/R3", ["lamp/C2R3", "lamp/C1R3"])
    assert stubs_of(fault) == (Fault("lamp/C1R3/row_stub", "open"), Fault("lamp/C2R3/row_stub", "open"))
    assert stubs_of(Fault("switch/C1R1/contact", "never closes")) == ()
