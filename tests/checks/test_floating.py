"""An input that hangs in the air mostly stays where it is for a while (common practice, no source)."""

from __future__ import annotations

from matrixdoc.case.case import Case
from matrixdoc.checks.situation import Finding, Look, Situation
from matrixdoc.definition.library import load_machine
from matrixdoc.faults.priors import Fault

START = Case.start(load_machine("lantern_quay"))
ENGINE = START.session.engine  # type: ignore[union-attr]
LINK = Fault("switch/R2/link", "open")


def undecided(fault: Fault):
    """Both readings of the resting scan under a fault; that of the row closed first."""
    shares = ENGINE.predict((fault,), Situation(), Look("reads"))
    return sorted((o for o, p in shares if p > 0.3), key=len, reverse=True)


def chances(*pick: int) -> float:
    """Marginal of the open link after looks that read the row closed (0) or open (1)."""
    case = START
    for choice in pick:
        case = case.with_finding(Finding(Situation(), Look("reads"), undecided(LINK)[choice]))
    marginals = case.diagnose().marginals
    return sum(marginals.get((LINK.part, mode), 0.0) for mode in ("open",))


def test_the_input_of_an_open_link_floats():
    assert len(undecided(LINK)) == 2


def test_more_looks_that_show_the_same_do_not_rule_it_out():
    """Tossed anew it would lose a bit at each look: a factor of 16 over four more of them."""
    once, often = chances(0), chances(0, 0, 0, 0, 0)
    assert once > 0.002
    assert often > once / 3.0


def test_a_row_that_changes_by_itself_speaks_for_it():
    assert chances(0, 1, 0, 1) > 5.0 * chances(0, 0, 0, 0)
