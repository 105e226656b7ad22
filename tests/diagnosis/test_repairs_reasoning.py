"""What a repair that failed, or that cured, does to the causes and to what is proposed next.

Trade rules here (a failed replacement is measured before it is done again; a contact that is dead and one
that is dead now and then are cleaned alike; a bridge is replaced as one part) are common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from typing import get_args

import numpy as np
import pytest

from matrixdoc.case.case import Case
from matrixdoc.checks.situation import ALL_LAMPS, Check, Finding, Look, Situation
from matrixdoc.definition.library import load_machine
from matrixdoc.definition.wiring import ChainOrder
from matrixdoc.diagnosis.chain_order import WRONG
from matrixdoc.diagnosis.doubts import doubts
from matrixdoc.diagnosis.engine import Engine
from matrixdoc.diagnosis.explain import fault_words
from matrixdoc.diagnosis.means import whole_bridge
from matrixdoc.diagnosis.mended import THOROUGH, cure
from matrixdoc.diagnosis.ranking import MOST_TRIES, Option, after_tries, curing
from matrixdoc.diagnosis.results import Cause
from matrixdoc.diagnosis.suspects import lasting
from matrixdoc.diagnosis.told import Mend
from matrixdoc.diagnosis.tree_words import FaultTree
from matrixdoc.faults.priors import Fault

WIRING = load_machine("lantern_quay")
RESTING = frozenset({"switch/C1R4"})
LAMP = "lamp/C2R2"
OTHERS = tuple(f"lamp/C2R{row}" for row in (3, 4, 5))


def lamp(name: str, *pattern: str, seen: str = "off") -> Finding:
    return Finding(Situation(lamps=pattern or (ALL_LAMPS,)), Look("lamp", name), seen)


def press(name: str, *, reads: bool) -> Finding:
    seen = RESTING | {name} if reads else RESTING
    return Finding(Situation(held=(name,)), Look("reads"), seen)


def case_of(*findings: Finding) -> Case:
    case = Case.start(WIRING)
    for finding in findings:
        case = case.with_finding(finding)
    return case


@pytest.fixture(scope="module", name="engine")
def an_engine() -> Engine:
    session = Case.start(WIRING).session
    assert session is not None
    return session.engine


def still_there(case: Case, fault: Fault) -> float:
    session = case.session
    assert session is not None
    return session.engine.analyse(session.told(case.standing)).still_there(fault)


def members(cause: Cause) -> set[tuple[str, str]]:
    return {(name.part, name.mode) for some, _ in cause.members for name in some}


DARK = case_of(lamp(LAMP), *(lamp(name, seen="normal") for name in OTHERS))
BURNT = Fault(f"{LAMP}/lamp", "burnt out")


# -- one repair, one outcome ---------------------------------------------------------------------------


def test_the_second_look_at_a_failed_repair_says_no_more_than_the_first():
    once = DARK.with_repair([BURNT.part], "replace").with_finding(lamp(LAMP))
    often = once
    for pattern in ((LAMP,), (LAMP, OTHERS[0]), (LAMP, OTHERS[1])):
        often = often.with_finding(lamp(LAMP, *pattern))
    first, last = (c.diagnose().marginals[BURNT.part, BURNT.mode] for c in (once, often))
    assert first < 0.2 < DARK.diagnose().marginals[BURNT.part, BURNT.mode]
    # Taken for trials of their own, three more looks would leave a millionth of it.
    assert last > first / 10.0
    assert still_there(often, BURNT) > 0.5


def test_a_look_that_shows_it_right_proves_the_repair():
    right = DARK.with_repair([BURNT.part], "replace").with_finding(lamp(LAMP, seen="normal"))
    assert still_there(right, BURNT) < 1e-3
    assert still_there(DARK, BURNT) == 1.0
    assert right.diagnose().causes[0].title.endswith("[replaced, proven by a look since]")


def test_what_each_action_cures(engine):
    pin = next(f.part for f in engine.possible if f.mode == "comes and goes" and f.part.endswith("/pin"))
    poor, broken = Fault(pin, "high resistance"), Fault(pin, "open")
    possible = engine.possible
    assert cure(possible, poor, "reseat") == possible[poor].success
    assert cure(possible, broken, "reseat") == 0.0
    assert cure(possible, broken, "repair") == possible[broken].success
    assert cure(possible, poor, "repair") == possible[broken].success
    contact = Fault("switch/C2R3/contact", "never closes")
    assert cure(possible, contact, "replace") == THOROUGH > cure(possible, contact, "clean")


# -- what is proposed then -----------------------------------------------------------------------------


def test_a_cured_part_is_not_mended_again_for_another_fault():
    dead = "switch/C2R3"
    case = case_of(lamp(LAMP), press(dead, reads=False))
    case = case.with_repair([BURNT.part], "replace").with_finding(lamp(LAMP, seen="normal"))
    acts = [c for c in case.checks(40) if c.check.kind == "act"]
    assert acts
    assert not [c.check.title for c in acts if BURNT.part in c.check.mends]
    assert not [c.reason for c in acts if re.search(r"\b0 ?%", c.reason)]


def test_a_part_replaced_in_vain_is_measured_before_it_is_replaced_again():
    part = "coil/3/driver"
    check = Check("it", "act", Situation(), Look("reads"), 30.0, mends=(part,), action="replace", key="it")
    option = Option(check, 30.0, (), (0.95, 0.0))
    sure, unsure = np.array([0.8, 0.2]), np.array([0.3, 0.7])
    mended = (Mend(part, "replace", 3),)
    assert after_tries(option, (), unsure, frozenset({part})) == option
    assert after_tries(option, mended, sure, frozenset({part})) is None
    assert after_tries(option, mended, sure, frozenset()) == option
    assert after_tries(option, mended, unsure, frozenset()) is None
    assert after_tries(option, mended * MOST_TRIES, sure, frozenset()) is None


def test_no_path_of_a_plan_replaces_the_same_part_twice():
    tree = case_of(press("switch/C2R3", reads=False)).fault_tree(8, 0.005)
    for path in paths(tree, 1):
        work = [step for step in path if step.split()[0] in ("replace", "repair", "swap")]
        assert len(work) == len(set(work)), path


def paths(tree: FaultTree, number: int) -> Iterator[tuple[str, ...]]:
    step = tree.step(number)
    targets = [b.target for b in step.branches if b.target]
    if not targets:
        yield (step.key or "end",)
    for target in targets:
        for rest in paths(tree, target):
            yield (step.key, *rest)


# -- groups and lists ----------------------------------------------------------------------------------


def test_the_modes_that_the_same_work_cures_stand_together(engine):
    contact = "switch/C2R3/contact"
    assert lasting(engine.possible, Fault(contact, "closes now and then")) == Fault(contact, "never closes")
    assert lasting(engine.possible, Fault(contact, "never closes")) is None
    # The same work at the same part cures it in any of these modes: one cause.
    causes = case_of(press("switch/C2R3", reads=False)).diagnose().causes
    (own,) = [c for c in causes if (contact, "never closes") in members(c)]
    assert (contact, "closes now and then") in members(own)
    assert (contact, "high resistance") in members(own)
    assert "more that no check tells apart" not in own.title
    for stub in ("column_stub", "row_stub"):
        (cause,) = [c for c in causes if (f"switch/C2R3/{stub}", "open") in members(c)]
        assert (f"switch/C2R3/{stub}", "comes and goes") in members(cause)


def test_a_report_that_contradicts_itself_lists_its_causes_and_doubts_what_speaks_against_them():
    case = case_of(lamp(LAMP, ALL_LAMPS, seen="normal"), lamp(LAMP, LAMP))
    assert (BURNT.part, BURNT.mode) in {m for c in case.diagnose().causes[:3] for m in members(c)}
    assert case.checks(1)[0].check.situation.lamps == (LAMP,)
    again = case.with_finding(lamp(LAMP, LAMP))
    session = again.session
    assert session is not None
    chances = doubts(session.engine.analyse(session.told(again.standing)))
    assert chances[0] > 0.9 > 0.1 > chances[1]
    first = again.checks(1)[0]
    assert first.check.situation.lamps == (ALL_LAMPS,)
    assert first.check.title.startswith("once more")


def test_a_look_that_changed_by_itself_says_that_something_moved():
    session = Case.start(WIRING).session
    assert session is not None
    dead = press("switch/C2R3", reads=False)
    case = case_of(dead, press("switch/C3R3", reads=True), press("switch/C2R3", reads=True), dead)
    assert session.told(case.standing).disturbed == (0, 0, 1, 2)
    unsure = case_of(dead, replace(dead, outcome="not sure"), dead)
    assert session.told(unsure.standing).disturbed == (0, 0, 0)


# -- supplies, chains, cautions ------------------------------------------------------------------------


def test_a_rectifier_is_replaced_with_its_whole_bridge():
    name, supply = next((n, s) for n, s in WIRING.supplies.items() if len(s.rectifiers) == 4)
    one = Check("replace it", "act", Situation(), Look("reads"), 30.0, mends=(supply.rectifiers[2],), key="k")
    assert set(whole_bridge(WIRING, one).mends) == set(supply.rectifiers)
    assert name in whole_bridge(WIRING, one).key
    lone = replace(one, mends=(supply.capacitor,))
    assert whole_bridge(WIRING, lone) == lone


def test_a_shorted_rectifier_has_blown_the_fuse_of_its_winding(engine):
    name, supply = next(
        (n, s)
        for n, s in WIRING.supplies.items()
        if len(s.rectifiers) == 4 and any(WIRING.parts[p].kind == "fuse" for p in s.ac_parts)
    )
    fuse = next(p for p in supply.ac_parts if WIRING.parts[p].kind == "fuse")
    look = Look("fuse", fuse)
    off = Situation(power=False)
    for fault in (Fault(supply.rectifiers[1], "shorted"), Fault(supply.capacitor, "shorted")):
        assert engine.predict((fault,), off, look)[0] == ("open", 1.0), (name, fault)
    assert engine.predict((Fault(supply.rectifiers[1], "open"),), off, look)[0] == ("good", 1.0)


def test_every_kind_of_chain_order_has_its_doubt():
    assert set(WRONG) == set(get_args(ChainOrder))


def test_cautions_follow_what_hangs_on_the_drive(engine):
    drives = {p for lamp_ in WIRING.lamps.values() if lamp_.matrix for p in [lamp_.matrix]}
    lit = [f for f in engine.possible if f.part.split("/")[0] in drives]
    warned = [f for f in lit if engine.possible[f].damage]
    assert warned
    for fault in warned:
        assert "coil" not in engine.possible[fault].damage, fault_words(engine.model, fault)
    locked = Fault("coil/3/driver", "shorted")
    assert "coil that stays on burns" in engine.possible[locked].damage


# -- optical pairs -------------------------------------------------------------------------------------


def test_turning_a_part_round_cures_no_mode_that_wants_a_new_one(engine):
    possible = engine.possible
    led = next(f.part for f in possible if f.mode == "reversed" and possible[f].action == "repair")
    turned = Fault(led, "reversed")
    new = next(f for f in possible if f.part == led and possible[f].action == "replace")
    assert curing(possible, {led: "repair"}, (turned,)) > 0.0
    assert curing(possible, {led: "repair"}, (new,)) == 0.0
    assert curing(possible, {led: "replace"}, (new,)) > 0.0
    assert curing(possible, {led: "replace"}, (turned,)) > 0.0


def test_a_buffered_optical_pair_is_blocked_and_warns_of_no_coil():
    session = Case.start(load_machine("storm_bureau")).session
    assert session is not None
    own = session.engine
    output = "switch/C6R7/output"
    warned = [own.possible[f].damage for f in own.possible if f.part == output and own.possible[f].damage]
    assert warned
    assert not [words for words in warned if "stays on burns" in words]
    (across,) = [c for c in own.generator.for_part(output) if "ohms across" in c.title]
    assert "block the beam of switch C6R7 (cloud jam)" in across.set_up
