"""A chain that is wired in another order than the definition says: ranked, confirmed, corrected."""

from __future__ import annotations

import pytest

from matrixdoc.case.case import Case
from matrixdoc.checks.chart import CHART, reordered, stubs_of
from matrixdoc.checks.situation import Finding, Look, Situation
from matrixdoc.cli.correct import corrected_case
from matrixdoc.definition.library import load_machine, machine_from_text
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


FORKED = """
title: Fork
self_tests: [switch scan]
matrices:
  switch:
    chart: |
      a | b
      c | d
      e | f
      g | h
      i | j
      k | l
      m | n
      o | p
    columns:
      C2: {wire: RD, chain: 1 2 (6 7 8) 3 4 5}
"""
STRAIGHT = FORKED.replace("1 2 (6 7 8) 3 4 5", "1 2 6 7 8 3 4 5")


def pressed(text: str, dead: str, alive: str) -> Case:
    """A case in which these rows of the column were pressed one by one."""
    case = Case.start(machine_from_text(text))
    for row in (*dead, *alive):
        cell = f"switch/C2R{row}"
        seen = frozenset() if row in dead else frozenset({cell})
        case = case.with_finding(Finding(Situation(held=(cell,)), Look("reads"), seen))
    return case


@pytest.mark.parametrize(
    ("dead", "alive", "segment"),
    [("678", "12345", 3), ("345", "12678", 6), ("2345678", "1", 2), ("8", "1234567", 5)],
)
def test_a_dead_branch_points_at_the_stretch_of_wire_that_leads_to_it(dead, alive, segment) -> None:
    causes = pressed(FORKED, dead, alive).diagnose().causes
    broken = Fault(f"switch/C2/segment{segment}", "open")
    if len(dead) > 1:
        assert (causes[0].faults[0].part, causes[0].faults[0].mode) == (broken.part, broken.mode)
    else:  # one dead cell is mostly its own contact
        assert broken.part in {f.part for cause in causes for f in cause.faults}


@pytest.mark.parametrize(
    ("text", "dead", "alive", "doubted"),
    [
        (STRAIGHT, "678", "13", True),
        (FORKED, "678", "13", False),
        (FORKED, "345", "16", False),
        (FORKED, "345678", "1", False),
        # The ends of both branches, and each lives nearer to the fork: no single break.
        (FORKED, "85", "163", True),
        (FORKED, "7854", "163", True),
    ],
)
def test_the_order_is_doubted_where_no_single_break_leaves_this_dead(text, dead, alive, doubted) -> None:
    case = pressed(text, dead, alive)
    case.diagnose()
    possible = case._engine.engine.model.possible
    assert (reordered("switch/C2", [f"switch/C2R{row}" for row in dead]) in possible) is doubted


def test_which_look_would_tell_where_a_branch_is_broken() -> None:
    def held(case: Case) -> set[str]:
        return {row for c in case.checks() for row in c.check.situation.held if c.check.look.kind == "reads"}

    # Beyond the fork on the other way: alive, and the break is in the branch; dead, and it is before it.
    assert held(pressed(FORKED, "678", "1")) & {f"switch/C2R{row}" for row in "2345"}
    case = pressed(FORKED, "678", "12345")
    parts = case.wiring.parts
    # Looks at the switches come first here: they cost a minute, and three dirty contacts are possible.
    checks = case.checks(limit=20)
    leads = {(c.check.look.red, c.check.look.black) for c in checks if c.check.look.kind == "meter"}
    assert any(parts["switch/C2/segment3"].nets[1] in pair for pair in leads)
