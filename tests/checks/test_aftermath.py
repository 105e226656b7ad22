"""A fuse that a short blew is not mended with the short: the trade's rule (common practice, no source)."""

from __future__ import annotations

import pytest

from matrixdoc.case.case import Case
from matrixdoc.checks.situation import Finding, Look, Situation
from matrixdoc.definition.library import load_machine
from matrixdoc.faults.priors import Fault

FUSE, SHORT = "feed/lower/fuse", Fault("feed/lower/wire", "grounded")
DEAD = Finding(Situation(pulsed="coil/4"), Look("coil", "coil/4"), "nothing")
FIRES = Finding(DEAD.situation, DEAD.look, "fires")
OPEN = Finding(Situation(power=False), Look("fuse", FUSE), "open")
NEW_HOLDS = Finding(Situation(), Look("new fuse", FUSE), "holds")
NEW_BLOWS = Finding(Situation(), Look("new fuse", FUSE), "blows at once")
WIRING = load_machine("lantern_quay")

MEND_SHORT, MEND_FUSE = ((SHORT.part,), "repair"), ((FUSE,), "replace")
BOTH = ((SHORT.part, FUSE), "repair")


def case_of(*entries) -> Case:
    case = Case.start(WIRING)
    for entry in entries:
        case = case.with_finding(entry) if isinstance(entry, Finding) else case.with_repair(*entry)
    return case


def likelihood(case: Case) -> float:
    """P(the newest finding | the short and nothing else was there on arrival)."""
    told = case.session.told(case.standing)  # type: ignore[union-attr]
    analysis = case.session.engine.analyse(told)  # type: ignore[union-attr]
    return analysis.evidence.likelihood(len(told.findings) - 1, (SHORT,))


@pytest.mark.parametrize(
    "story",
    [
        (DEAD, MEND_SHORT),  # nobody fitted a new fuse
        (DEAD, MEND_FUSE, DEAD, MEND_SHORT),  # the new one met the short at the second look
        (DEAD, NEW_BLOWS, MEND_SHORT),
    ],
)
def test_the_fuse_is_blown_until_a_new_one_is_fitted(story):
    assert likelihood(case_of(*story, DEAD)) > 0.9
    assert likelihood(case_of(*story, FIRES)) < 0.1
    assert likelihood(case_of(*story, OPEN)) > 0.9


@pytest.mark.parametrize(
    "story",
    [
        (DEAD, BOTH),
        (DEAD, MEND_SHORT, MEND_FUSE),
        (DEAD, MEND_SHORT, DEAD, MEND_FUSE),
        (DEAD, MEND_FUSE, MEND_SHORT),  # never on with both in it
        (DEAD, MEND_FUSE, OPEN, MEND_SHORT, MEND_FUSE),
        (DEAD, MEND_SHORT, NEW_HOLDS),
    ],
)
def test_a_new_fuse_after_the_short_is_whole(story):
    assert likelihood(case_of(*story, FIRES)) > 0.85  # the repair itself succeeds with 0.9
    assert likelihood(case_of(*story, DEAD)) < 0.15


def test_a_dead_coil_after_the_shorts_repair_does_not_say_that_the_repair_failed():
    told_dead = case_of(DEAD, OPEN, MEND_SHORT, DEAD)
    engine = told_dead.session.engine  # type: ignore[union-attr]
    analysis = engine.analyse(told_dead.session.told(told_dead.standing))  # type: ignore[union-attr]
    entry = engine.model.possible[SHORT]
    assert analysis.still_there(SHORT) < 2.0 * (1.0 - entry.success)
    left, there = analysis.left_of((SHORT,))
    assert Fault(FUSE, "blown") in left
    assert there >= 0.9
    with_fuse = case_of(DEAD, OPEN, BOTH, DEAD)
    after = engine.analyse(with_fuse.session.told(with_fuse.standing))  # type: ignore[union-attr]
    assert after.still_there(SHORT) > 5.0 * analysis.still_there(SHORT)


def test_the_repair_of_a_short_says_and_a_new_fuse():
    case = case_of(DEAD, OPEN, MEND_FUSE, NEW_BLOWS)
    acts = [r.check for r in case.checks(limit=40) if r.check.kind == "act" and r.check.mends[0] != FUSE]
    engine = case.session.engine  # type: ignore[union-attr]
    blowing = [c for c in acts if any(FUSE in engine.predictor.blown_by((f,)) for f in _faults(engine, c))]
    assert blowing
    for check in blowing:
        assert "and a new fuse" in check.title
        assert FUSE in check.mends
        assert any("3.15 A and" not in line and "3.15 A" in line for line in check.set_up)


def test_a_fuse_that_only_a_pulse_blows_and_its_coil_are_one_story():
    """Open when measured; a new one holds until the coil is fired: the coil, and not chance twice over."""
    fired = Finding(Situation(pulsed="coil/4"), Look("new fuse", FUSE), "blows at once")
    diagnosis = case_of(OPEN, MEND_FUSE, NEW_HOLDS, fired).diagnose()
    own = [("coil/4/diode", "shorted"), ("coil/4/winding", "shorted"), ("coil/4/diode", "reversed")]
    assert sum(diagnosis.marginals.get(f, 0.0) for f in own) > 0.6
    assert diagnosis.marginals[(FUSE, "blown")] > 0.6
    assert diagnosis.outside_model < 0.3


def test_a_standing_short_is_a_suspect_of_the_open_fuse_itself():
    case = case_of(OPEN, NEW_BLOWS)
    causes = case.diagnose().causes
    assert all(c.verdict != "not explained" for c in case.diagnose().findings)
    assert any(
        (SHORT.part, SHORT.mode) == (n.part, n.mode) for c in causes for some, _ in c.members for n in some
    )


def _faults(engine, check):
    return [f for f in engine.possible if f.part == check.mends[0]]
