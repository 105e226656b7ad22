"""One machine and its entries: what counts, what is computed, what cannot wait."""

from __future__ import annotations

import itertools

import pytest

from matrixdoc.case.case import Case, CaseError
from matrixdoc.case.session import UnknownDeviceError
from matrixdoc.checks.situation import ALL_LAMPS, Finding, Look, Situation
from matrixdoc.definition.library import load_machine
from matrixdoc.faults.priors import Fault

NOWHERE = Look("meter", function="volts", red="nowhere", black="ground")


@pytest.fixture(scope="module")
def machine():
    return load_machine("lantern_quay")


@pytest.fixture(scope="module")
def new_case(machine):
    return Case.start(machine)


def pressed(case: Case, cell: str, *reads: str) -> Finding:
    """A press of one switch of the matrix, told as the machine shows it (what reads at rest too)."""
    rest = case.simulate((), Situation(), Look("reads"))[0][0]
    assert isinstance(rest, frozenset)
    seen = rest | {f"switch/{r}" for r in reads}
    return Finding(Situation(held=(f"switch/{cell}",)), Look("reads"), seen)


def probability(case: Case, part: str) -> float:
    return sum(p for (name, _), p in case.diagnose().marginals.items() if name == part)


def test_entries_are_numbered_and_the_old_case_stays_as_it_was(new_case) -> None:
    one = new_case.with_finding(pressed(new_case, "C3R5"), time="2026-01-02T10:00:00", author="ada")
    two = one.with_note("the wire looks fresh")
    assert [e.number for e in two.entries] == [1, 2]
    assert len(one.entries) == 1
    assert len(new_case.entries) == 0
    assert two.entries[0].author == "ada"


def test_taking_back_and_taking_that_back(new_case) -> None:
    case = new_case.with_finding(pressed(new_case, "C3R5"))
    undone = case.with_retraction(1)
    assert undone.findings == ()
    redone = undone.with_retraction(2)
    assert redone.findings == case.findings
    assert len(redone.entries) == 3
    with pytest.raises(CaseError, match="there is no entry 9"):
        case.with_retraction(9)


def test_undo_takes_the_newest_entry_of_the_same_person(new_case) -> None:
    case = (
        new_case.with_note("one", author="ada").with_note("two", author="bo").with_note("three", author="ada")
    )
    last = case.last_own_entry("bo")
    assert last is not None
    assert last.text == "two"


def test_unknown_devices_are_refused_by_name(new_case) -> None:
    with pytest.raises(UnknownDeviceError, match="no switch 'switch/C9R9'"):
        new_case.with_finding(Finding(Situation(held=("switch/C9R9",)), Look("reads"), frozenset()))
    with pytest.raises(UnknownDeviceError, match="no coil"):
        new_case.with_finding(Finding(Situation(pulsed="coil/99"), Look("coil", "coil/99"), "fires"))
    with pytest.raises(UnknownDeviceError, match="no net"):
        new_case.with_finding(Finding(Situation(), NOWHERE, 5.0))
    with pytest.raises(CaseError, match="no such part"):
        new_case.with_repair(("switch/C9R9/contact",), "clean")


def test_the_order_of_findings_does_not_matter(new_case) -> None:
    findings = [
        pressed(new_case, "C3R5"),
        pressed(new_case, "C3R8", "C3R8"),
        pressed(new_case, "C8R5", "C8R5"),
    ]
    answers = []
    for order in itertools.permutations(findings):
        case = new_case
        for finding in order:
            case = case.with_finding(finding)
        answers.append(case.diagnose().marginals)
    for other in answers[1:]:
        assert other.keys() == answers[0].keys()
        assert all(abs(other[k] - answers[0][k]) < 1e-9 for k in other)


def test_a_whole_repair_from_symptom_to_proof(new_case) -> None:
    case = new_case.with_finding(pressed(new_case, "C3R5"))
    case = case.with_finding(pressed(case, "C3R8", "C3R8")).with_finding(pressed(case, "C8R5", "C8R5"))
    leader = case.diagnose().causes[0]
    assert leader.faults[0].part == "switch/C3R5/contact"
    before = probability(case, "switch/C3R5/diode")
    case = case.with_repair(("switch/C3R5/contact",), "clean")
    assert case.unproven()
    proof = case.checks(3)[0]
    assert proof.check.situation.held == ("switch/C3R5",)
    # The cleaning did not help: the contact loses, the rest of the cell gains.
    case = case.with_finding(pressed(case, "C3R5"))
    assert probability(case, "switch/C3R5/diode") > before
    # The diode is replaced and the switch reads: that proves the repair.
    case = case.with_repair(("switch/C3R5/diode",), "replace")
    case = case.with_finding(pressed(case, "C3R5", "C3R5"))
    assert case.unproven() == ()
    assert probability(case, "switch/C3R5/diode") > 0.5


def test_a_locked_coil_is_told_before_anything_is_computed(machine) -> None:
    case = Case.start(machine)
    case = case.with_finding(Finding(Situation(pulsed="coil/7"), Look("coil", "coil/7"), "locked on"))
    words = case.cautions()
    assert "SWITCH OFF NOW" in words[0]
    assert case.session is not None
    assert case.session._engine is None, "the caution must not wait for the engine"


@pytest.mark.parametrize(
    ("note", "urgent"),
    [
        ("smoke from the back box", True),
        ("it smells burnt", True),
        ("a photo of the shot is on the wall", False),
        ("hotel key in the cabinet", False),
    ],
)
def test_smoke_is_urgent_and_other_words_are_not(machine, note: str, urgent: bool) -> None:
    assert bool(Case.start(machine).with_note(note).cautions()) is urgent


def test_no_check_under_power_while_a_coil_may_be_locked(new_case) -> None:
    case = new_case.with_finding(Finding(Situation(pulsed="coil/7"), Look("coil", "coil/7"), "locked on"))
    for ranked in case.checks(20):
        # Under power only with the coil taken off its supply or its drive.
        situation = ranked.check.situation
        assert ranked.check.kind == "act" or not situation.power or situation.opened


def test_a_declined_check_is_not_offered_again(new_case) -> None:
    case = new_case.with_finding(pressed(new_case, "C3R5"))
    key = case.checks(1)[0].check.key
    case = case.with_decline(key)
    assert key not in {r.check.key for r in case.checks(30)}


def test_replacing_a_lamp_is_offered_as_a_check(new_case) -> None:
    dark = Finding(Situation(lamps=(ALL_LAMPS,)), Look("lamp", "lamp/C2R1"), "off")
    case = new_case.with_finding(dark)
    for lamp in ("lamp/C2R2", "lamp/C3R1"):
        case = case.with_finding(Finding(Situation(lamps=(ALL_LAMPS,)), Look("lamp", lamp), "normal"))
    acts = [r.check for r in case.checks(6) if r.check.kind == "act"]
    assert any(c.mends == ("lamp/C2R1/lamp",) for c in acts)
    assert case.diagnose().causes[0].faults[0].part == "lamp/C2R1/lamp"


def test_two_complaints_are_both_explained(new_case) -> None:
    case = new_case.with_finding(pressed(new_case, "C3R5"))
    case = case.with_finding(Finding(Situation(lamps=(ALL_LAMPS,)), Look("lamp", "lamp/C2R1"), "off"))
    leading = {c.faults[0].part for c in case.diagnose().causes[:4]}
    assert {"switch/C3R5/contact", "lamp/C2R1/lamp"} <= leading


def test_what_a_fault_shows_and_what_it_then_names_agree(new_case) -> None:
    fault = Fault("switch/C4/driver", "dead")
    case = new_case
    for row in range(1, 9):
        held = Situation(held=(f"switch/C4R{row}",))
        case = case.with_finding(
            Finding(held, Look("reads"), case.simulate((fault,), held, Look("reads"))[0][0])
        )
    members = {m[0].part for c in case.diagnose().causes[:4] for m, _ in c.members}
    assert "switch/C4/driver" in members


def test_a_coil_that_its_own_switch_fires_is_no_alarm(new_case) -> None:
    held = Finding(Situation(held=("switch/C1R1",)), Look("resting coils"), frozenset({"coil/7"}))
    assert not new_case.with_finding(held).cautions()
    rested = Finding(Situation(), Look("resting coils"), frozenset({"coil/7"}))
    assert new_case.with_finding(rested).cautions()


def test_a_bridge_and_the_chart_can_be_mended(new_case) -> None:
    bridge = next(iter(new_case._engine.engine.circuit.bridges))
    mended = new_case.with_repair((bridge,), "repair").with_repair(("the chart",), "repair")
    assert [e.parts for e in mended.standing] == [(bridge,), ("the chart",)]
    with pytest.raises(CaseError):
        new_case.with_repair(("bridge/of nothing",), "repair")
