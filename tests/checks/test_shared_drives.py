"""Drives shared between two coils by a relay: what a stuck relay or contact set shows, and the way back."""

from __future__ import annotations

import pytest

from matrixdoc.case.case import Case
from matrixdoc.checks.situation import Finding, Look, Situation
from matrixdoc.definition.library import load_machine
from matrixdoc.faults.priors import Fault

START = Case.start(load_machine("kettle_hollow"))
RESTING = [f"coil/{n}" for n in (1, 2, 3, 4)]
TURNED = [f"coil/{n}" for n in (21, 22, 23, 24)]
FIRES, NOTHING, INSTEAD = "fires", "nothing", "fires with others"


def told(*rows: tuple[str, str]) -> Case:
    case = START
    for coil, seen in rows:
        case = case.with_finding(Finding(Situation(pulsed=coil), Look("coil", coil), seen))
    return case


def both(wrong, seen, right):
    return [*((c, seen) for c in wrong), *((c, FIRES) for c in right)]


@pytest.mark.parametrize("seen", [INSTEAD, NOTHING])
@pytest.mark.parametrize(
    ("wrong", "right", "modes"),
    [(RESTING, TURNED, {"stuck active"}), (TURNED, RESTING, {"open", "stuck idle", "comes and goes"})],
)
def test_a_stuck_relay_leads_however_people_say_it(wrong, seen, right, modes):
    causes = told(*both(wrong, seen, right)).diagnose().causes
    leader = causes[0].faults[0]
    assert leader.part.startswith("relay/hollow/"), [c.title for c in causes[:4]]
    assert leader.mode in modes
    own = [c for c in causes if c.faults[0].part.startswith("relay/hollow/")]
    others = [c.probability for c in causes if c not in own]
    assert sum(c.probability for c in own) > 3.0 * max(others, default=0.0)


@pytest.mark.parametrize(("coil", "mode"), [("coil/1", "stays pulled"), ("coil/21", "stays at rest")])
def test_one_contact_set_that_stays_is_what_fires_the_other_coil(coil, mode):
    rows = [(coil, INSTEAD), *((c, FIRES) for c in (*RESTING, *TURNED) if c != coil)]
    leader = told(*rows).diagnose().causes[0].faults[0]
    assert (leader.part, leader.mode) == ("coil/1/changeover", mode)


def test_another_coil_instead_is_told_in_two_ways_and_another_one_too_in_one():
    engine = START.session.engine  # type: ignore[union-attr]

    def seen(fault, coil):
        return dict(engine.predict((fault,), Situation(pulsed=coil), Look("coil", coil)))

    instead = seen(Fault("relay/hollow/relay", "stuck active"), "coil/1")
    assert set(instead) == {INSTEAD, NOTHING}
    assert instead[INSTEAD] > instead[NOTHING] > 0.2
    assert NOTHING not in seen(Fault("bridge/coil/1/pin~coil/2/pin", "bridged"), "coil/1")
