"""Two faults that explain a press only together: the sum against enumeration, and on a machine."""

from __future__ import annotations

import math

import pytest

from matrixdoc.case.case import Case
from matrixdoc.checks.situation import Finding, Look, Situation
from matrixdoc.definition.library import load_machine
from matrixdoc.diagnosis import branches
from matrixdoc.diagnosis.analysis import analyse
from matrixdoc.diagnosis.evidence import Evidence
from matrixdoc.diagnosis.posterior import posterior
from matrixdoc.diagnosis.settings import Settings
from matrixdoc.diagnosis.two_at_once import two_at_once
from matrixdoc.faults.priors import Fault
from tests.diagnosis.enumeration import enumerate_worlds, variable

SLIP = 1e-4
OPENS = {"A": 3e-2, "a": 1e-2, "B": 2e-2, "b": 1e-2, "wire": 1e-4}
KILLS = {"A": {"A"}, "a": {"A"}, "B": {"B"}, "b": {"B"}, "wire": {"A", "B"}}
LOOKS = ({"A"}, {"B"}, {"A", "B"}, {"A", "B"})
"""Switches held in each look; neither A nor B reads in any."""


def likelihood(index: int, faults: tuple[Fault, ...]) -> float:
    dead = set().union(*(KILLS[f.part] for f in faults))
    return 1.0 - SLIP if LOOKS[index] <= dead else SLIP


def test_the_sum_finds_what_explains_only_in_twos() -> None:
    variables = [variable(("open", odds, True), name=name) for name, odds in OPENS.items()]
    fault = {name: Fault(name, "open") for name in OPENS}
    pairs = [(fault[one], fault[two]) for one in "Aa" for two in "Bb"]
    touched = {
        f: frozenset(i for i, held in enumerate(LOOKS) if held & KILLS[f.part]) for f in fault.values()
    }
    together = {
        (one, two): {
            i: math.log(likelihood(i, (one, two)) / likelihood(i, (one,))) for i in sorted(touched[two])
        }
        for pair in pairs
        for one, two in (pair, pair[::-1])
    }
    found = posterior(
        variables,
        len(LOOKS),
        likelihood,
        lambda f: touched[f],
        pairs=pairs,
        together=together,
        least_share=1e-4,
    )
    worlds = enumerate_worlds(variables, len(LOOKS), likelihood)
    for one in fault.values():
        assert found.marginals[one] == pytest.approx(worlds.probability([one]), abs=1e-3)
    # By hand: an A and a B, or the wire whatever else there is; all else needs two slips at least.
    twos = (1.03 * 1.01 - 1.0) * (1.02 * 1.01 - 1.0)
    wire = 1e-4 * 1.03 * 1.01 * 1.02 * 1.01
    assert found.marginals[fault["wire"]] == pytest.approx(wire / (wire + twos), rel=0.02)


def press(*held: str, reads: tuple[str, ...] = ()) -> Finding:
    return Finding(Situation(held=tuple(sorted(held))), Look("reads"), frozenset(reads))


ONE, OTHER, FINE = "switch/C3R2", "switch/C4R2", "switch/C1R2"
REPORT = (
    press(ONE),
    press(OTHER),
    press(FINE, reads=(FINE,)),
    press(ONE, OTHER, "switch/C3R1", reads=("switch/C3R1",)),
    press(),
)


def test_two_dirty_contacts_are_weighed_against_the_wire_that_both_hang_on() -> None:
    case = Case.start(load_machine("wrong_chart"))
    for finding in REPORT:
        case = case.with_finding(finding)
    assert case.session is not None
    engine = case.session.engine
    analysis = engine.analyse(case.session.told(case.standing))
    contacts = [Fault(f"{switch}/contact", "never closes") for switch in (ONE, OTHER)]
    wire = Fault("switch/R2/segment3", "open")
    found = analysis.posterior.marginals
    # Every entry is as likely with the two contacts as with the wire: what is left are the odds.
    odds = {f: engine.possible[f].odds for f in (*contacts, wire)}
    both = sum(p for some, p in analysis.posterior.sets if set(contacts) <= some)
    alone = next(p for some, p in analysis.posterior.sets if some == {wire})
    assert both / alone == pytest.approx(odds[contacts[0]] * odds[contacts[1]] / odds[wire], rel=0.1)
    assert min(found[f] for f in contacts) > both
    first = [{name.part for name in c.faults} for c in case.diagnose().causes[:4]]
    assert [{f.part} for f in contacts] == first[:2]


def test_only_pairs_that_explain_the_press_exactly_are_taken() -> None:
    case = Case.start(load_machine("wrong_chart"))
    assert case.session is not None
    engine = case.session.engine
    evidence = Evidence(engine.predictor, REPORT, Settings())
    evidence.prepare([(i, ()) for i in range(len(REPORT))])
    healthy = [evidence.likelihood(i, ()) for i in range(len(REPORT))]
    touches: dict[Fault, set[int]] = {}
    for index in range(len(REPORT)):
        for fault in evidence.scope(index):
            touches.setdefault(fault, set()).add(index)
    pairs = two_at_once(evidence, healthy, touches)
    assert (Fault(f"{ONE}/contact", "never closes"), Fault(f"{OTHER}/diode", "open")) in pairs
    for pair in pairs:
        # Two contacts that close at half of the presses are both open at a quarter of them.
        assert evidence.likelihood(3, pair) > 0.24
        assert all(evidence.likelihood(3, (fault,)) < 0.01 for fault in pair)
    alone = Evidence(engine.predictor, (REPORT[0], REPORT[2]), Settings())
    assert not two_at_once(alone, [alone.likelihood(i, ()) for i in range(2)], touches)
    assert analyse(evidence, engine.model).posterior.marginals[pairs[0][0]] > 0.0


COMPANY = {"A": 3e-3, "a": 1e-3, "B": 3e-3, "b": 1e-3, "wire": 4e-5}
KILLED = {"A": {"A"}, "a": {"A"}, "B": {"B"}, "b": {"B"}, "wire": {"A", "B", "C"}}
SEEN = ("A", "A", "A", "B", "B", "B", "C")
"""Looks at A and B, which are dead, and one at C, which works."""


def test_half_an_explanation_is_not_cut_where_another_one_has_the_other_half() -> None:
    # The wire explains six looks against three, and is contradicted by the seventh: all in all the two
    # faults are likelier, but neither of them comes near the wire by itself.
    slip = 1e-3

    def seen(index: int, faults: tuple[Fault, ...]) -> float:
        dead = set().union(*(KILLED[f.part] for f in faults))
        return 1.0 - slip if (SEEN[index] in dead) == (SEEN[index] != "C") else slip

    # A mode that does more than open keeps the sum from being taken exactly without a search.
    variables = [
        variable(("open", odds, True), ("high", odds / 10.0, False), name=name)
        for name, odds in COMPANY.items()
    ]
    touched = {
        s.fault: frozenset(i for i, one in enumerate(SEEN) if one in KILLED[s.fault.part])
        for v in variables
        for s in v.states
    }
    found = posterior(variables, len(SEEN), seen, lambda f: touched[f], least_share=1e-4)
    worlds = enumerate_worlds(variables, len(SEEN), seen)
    for fault in touched:
        assert found.marginals[fault] == pytest.approx(worlds.probability([fault]), abs=2e-3)
    assert found.marginals[Fault("A", "open")] > 0.6
    first, share = found.sets[0]
    assert first == {Fault("A", "open"), Fault("B", "open")}
    assert share > found.marginals[Fault("wire", "open")]


def test_a_sum_that_stops_early_says_what_it_leaves_out(monkeypatch: pytest.MonkeyPatch) -> None:
    # Six faults that act on each other at will: every joint likelihood has to be worked out.
    names = "uvwxyz"
    variables = [variable(("short", 0.02, False), name=name) for name in names]

    def value(index: int, faults: tuple[Fault, ...]) -> float:
        number = sum(ord(f.part) * (index + 3) for f in faults) * 37 % 101
        return 0.003 + 0.9 * (number / 101.0) ** 2 if len(faults) > 1 else 0.004 + 0.01 * len(faults)

    everywhere = frozenset(range(3))
    worlds = enumerate_worlds(variables, 3, value)
    whole = posterior(variables, 3, value, lambda _: everywhere, least_share=1e-6)
    monkeypatch.setattr(branches, "MOST_SOLVED", 20)
    short = posterior(variables, 3, value, lambda _: everywhere, least_share=1e-6)
    for v in variables:
        fault = v.states[0].fault
        truth = worlds.probability([fault])
        assert abs(whole.marginals[fault] - truth) <= whole.discarded + 0.02
        assert abs(short.marginals[fault] - truth) <= short.discarded + 0.02
    assert short.discarded > whole.discarded
