"""What comes and goes with warmth: reported, provoked, offered as a check.

That cracked joints open as they warm more often than connector contacts, and switch contacts hardly ever, is
common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from matrixdoc.bench.answers import WARM_UP_WORDS
from matrixdoc.case.case import Case
from matrixdoc.case.session import UnknownDeviceError
from matrixdoc.case.wording import outcome_words
from matrixdoc.checks import acts
from matrixdoc.checks.provoked import FAILS_COLD, FAILS_WARM, NO_CHANGE, PROVOKED
from matrixdoc.checks.situation import Check, Finding, Look, Situation
from matrixdoc.checks.wording import finding_words, look_words
from matrixdoc.definition.library import load_machine
from matrixdoc.faults.catalogue import load_catalogue
from matrixdoc.faults.priors import Fault

WIRING = load_machine("lantern_quay")
SWITCH = "switch/C3R5"
JOINT = Fault("switch/R5/header", "comes and goes")
CONTACT = Fault("switch/C3R5/contact", "closes now and then")
DEAD = Fault("switch/C3R5/contact", "never closes")


@pytest.fixture(scope="module")
def engine():
    return Case.start(WIRING)._engine.engine


def shares(engine, faults, look, situation=None) -> dict:
    return dict(engine.predict(tuple(sorted(faults)), situation or Situation(), look))


def case(*findings: Finding) -> Case:
    told = Case.start(WIRING)
    for finding in findings:
        told = told.with_finding(finding)
    return told


def ran(device: str, seen: str) -> Finding:
    return Finding(Situation(), Look("warm up", device), seen)


def test_only_what_comes_and_goes_follows_warmth_and_joints_more_than_contacts() -> None:
    catalogue = load_catalogue()
    modes = {kind: m for kind, row in catalogue.kinds.items() for m in row.modes if m.opens_warm}
    assert {"joint", "pin", "socket", "stub", "link_pin", "contact"} <= set(modes)
    assert all(m.duty > 0.0 and m.warmth_source for m in modes.values())
    assert all(m.opens_warm >= m.opens_cold for m in modes.values())
    follows = {kind: m.opens_warm + m.opens_cold for kind, m in modes.items()}
    assert follows["joint"] > follows["pin"] > 3 * follows["contact"]


@pytest.mark.parametrize("device", [SWITCH, "lamp/C3R5", "coil/5"])
def test_a_run_shows_what_the_device_hangs_on(engine, device: str) -> None:
    look = Look("warm up", device)
    sound = shares(engine, (), look)
    assert sum(sound.values()) == pytest.approx(1.0)
    assert set(sound) == set(WARM_UP_WORDS) == {FAILS_WARM, FAILS_COLD, NO_CHANGE}
    assert sound[NO_CHANGE] > 0.999
    own = {SWITCH: "switch/R5/header", "lamp/C3R5": "lamp/C3/header", "coil/5": "coil/5/header"}[device]
    loose = shares(engine, [Fault(own, "comes and goes")], look)
    assert sum(loose.values()) == pytest.approx(1.0)
    assert loose[FAILS_WARM] == pytest.approx(0.9 * 0.45, rel=0.01)
    assert loose[FAILS_WARM] > 1.5 * loose[FAILS_COLD] > 10 * sound[FAILS_COLD]
    elsewhere = shares(engine, [Fault("switch/R1/header", "comes and goes")], look)
    assert elsewhere == pytest.approx(sound)


def test_a_lasting_fault_hides_what_comes_and_goes_behind_it(engine) -> None:
    look = Look("warm up", SWITCH)
    dead = shares(engine, [DEAD], look)
    assert shares(engine, [DEAD, JOINT], look) == pytest.approx(dead)
    assert shares(engine, (), look)[FAILS_WARM] < dead[FAILS_WARM] < 0.01


def test_warm_air_tells_of_its_joint_and_of_the_whole_connector(engine) -> None:
    for target, told in (
        ("switch/R5/header", True),
        ("switch/R2/pin", True),  # of the same connector
        ("switch/C3/pin", False),
        ("switch/C3R5/contact", False),
    ):
        seen = shares(engine, [JOINT], Look("warm", target))
        assert sum(seen.values()) == pytest.approx(1.0)
        assert (seen["changes"] > 0.5) is told, target
    # A hand shows any loose joint, warmth only one that follows it; a dirty contact hardly does.
    assert shares(engine, [JOINT], Look("wiggle", "switch/R5/header"))["changes"] == pytest.approx(0.8)
    contact = shares(engine, [CONTACT], Look("warm", CONTACT.part))["changes"]
    assert 0.02 < contact < 0.15
    two = shares(engine, [JOINT, Fault("switch/R5/pin", "comes and goes")], Look("warm", "switch/R5/pin"))
    assert two["changes"] > shares(engine, [JOINT], Look("warm", "switch/R5/pin"))["changes"]


@pytest.mark.parametrize("device", [SWITCH, "lamp/C3R5"])
def test_works_cold_fails_warm_speaks_for_joints_against_what_lasts(device: str) -> None:
    found = case(ran(device, FAILS_WARM)).diagnose()
    marginals = found.marginals
    own = {fault: p for fault, p in marginals.items() if p > 0.01}
    loose = sum(p for (_, mode), p in own.items() if mode in ("comes and goes", "closes now and then"))
    assert loose > 3.0 * (sum(own.values()) - loose)
    assert found.healthy < 0.15
    names = [f.mode for cause in found.causes[:3] for f in cause.faults]
    assert "comes and goes" in names
    calm = case(ran(device, NO_CHANGE)).diagnose()
    assert calm.healthy > 0.99


def test_what_worked_before_it_got_warm_is_no_contradiction() -> None:
    cold = Finding(Situation(held=(SWITCH,)), Look("reads"), frozenset({SWITCH, "switch/C1R4"}))
    warm = Finding(Situation(held=(SWITCH,)), Look("reads"), frozenset({"switch/C1R4"}))
    run = ran(SWITCH, FAILS_WARM)
    alone = case(run).diagnose().marginals
    after = case(cold, run, warm).diagnose().marginals
    joint = (JOINT.part, JOINT.mode)
    assert after[joint] > 0.5 * alone[joint]
    assert after[joint] > 5.0 * case(warm).diagnose().marginals[joint]


def test_warming_counts_for_its_suspect() -> None:
    dead = Finding(Situation(held=(SWITCH,)), Look("reads"), frozenset({"switch/C1R4"}))
    before = case(dead).diagnose().marginals
    joint = (JOINT.part, JOINT.mode)
    changes = case(dead, Finding(Situation(), Look("warm", JOINT.part), "changes")).diagnose().marginals
    stays = case(dead, Finding(Situation(), Look("warm", JOINT.part), "stays")).diagnose().marginals
    assert changes[joint] > 5.0 * before[joint]
    assert stays[joint] < 0.7 * before[joint]


def offered(told: Case) -> list[Check]:
    session = told.session
    assert session is not None
    jobs = session.engine.jobs(session.told(told.standing))
    return [option.check for job in jobs for option in job.options]


def test_warming_is_offered_where_what_comes_and_goes_is_suspected() -> None:
    checks = [c for c in offered(case(ran(SWITCH, FAILS_WARM))) if c.look.kind == "warm"]
    assert checks
    for check in checks:
        assert any("hair dryer" in caution and "live" in caution for caution in check.cautions)
        assert any("freeze spray" in line for line in check.set_up)
        assert check.situation == Situation()
    dead = Finding(Situation(held=(SWITCH,)), Look("reads"), frozenset({"switch/C1R4"}))
    assert not [c for c in offered(case(dead)) if c.look.kind in PROVOKED]


def test_a_repair_is_proven_by_another_run() -> None:
    told = case(ran(SWITCH, FAILS_WARM)).with_repair([JOINT.part], "repair")
    proofs = [c.check for c in told.checks() if c.check.look.kind == "warm up"]
    assert proofs
    assert proofs[0].minutes >= 20.0
    assert any("stay with the machine" in caution for caution in proofs[0].cautions)
    assert any("not yet proven" in cause.title for cause in told.diagnose().causes)
    proven = told.with_finding(ran(SWITCH, NO_CHANGE))
    assert any("proven by a look since" in cause.title for cause in proven.diagnose().causes)


def test_words() -> None:
    assert look_words(WIRING, Look("warm up", "coil/5")) == "coil 5 (crate bank reset) from cold to warm"
    assert "warming or chilling connector W2" in look_words(WIRING, Look("warm", "switch/R5/pin"))
    assert "fails warm" in finding_words(WIRING, ran(SWITCH, FAILS_WARM))
    assert outcome_words(WIRING, Look("warm up", SWITCH), NO_CHANGE) == NO_CHANGE
    (check,) = acts.warm(WIRING.parts["switch/R5/header"])
    assert "connector W2" in check.title


def test_what_is_not_there_cannot_be_warmed() -> None:
    for look in (Look("warm", "switch/R99/pin"), Look("warm up", "switch/R5/pin")):
        with pytest.raises(UnknownDeviceError):
            Case.start(WIRING).with_finding(Finding(Situation(), look, "changes"))


def test_what_followed_warmth_once_will_follow_it_again(engine) -> None:
    plain = shares(engine, [JOINT], Look("warm", JOINT.part))["changes"]

    def after(*before: tuple[str, str, str], look: Look | None = None) -> dict:
        wanted = look or Look("warm", JOINT.part)
        return shares(engine, [JOINT], replace(wanted, before=before))

    assert after(("warm up", SWITCH, FAILS_WARM))["changes"] > 0.84 > plain
    assert after(("warm", "switch/R2/pin", "changes"))["changes"] > 0.84
    assert after(("warm", JOINT.part, "stays"))["changes"] < 0.6 * plain
    assert after(("warm up", SWITCH, NO_CHANGE))["changes"] < 0.5 * plain
    # A look at what it does not bear on tells nothing of it.
    assert after(("warm up", "switch/C1R1", FAILS_WARM))["changes"] == pytest.approx(plain)
    assert after(("warm", "switch/C3/pin", "stays"))["changes"] == pytest.approx(plain)
    run = after(("warm up", SWITCH, FAILS_COLD), look=Look("warm up", SWITCH))
    assert run[FAILS_COLD] > 0.8
    assert run[FAILS_WARM] < 0.01


def test_two_looks_weigh_as_their_joint_probability(engine) -> None:
    """P(run, air | joint) summed over whether it follows warmth, against the two likelihoods in a row."""
    warm, cold, run, air, misled = 0.45, 0.20, 0.9, 0.85, 0.02
    moves = 1.0 - (1.0 - misled) * (1.0 - air)
    joint = warm * run * moves + (1.0 - warm - cold) * 1e-3 * misled
    one = shares(engine, [JOINT], Look("warm up", SWITCH))[FAILS_WARM]
    two = shares(engine, [JOINT], Look("warm", JOINT.part, before=(("warm up", SWITCH, FAILS_WARM),)))
    assert one * two["changes"] == pytest.approx(joint, rel=0.01)
