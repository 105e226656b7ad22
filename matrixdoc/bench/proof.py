"""The check that proves a repair, and whether what was seen is what a sound machine shows."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from matrixdoc.bench.view import View
from matrixdoc.checks.situation import ALL_LAMPS, NOT_SURE, Check, Finding, Look, Situation
from matrixdoc.checks.wording import look_words, situation_words, usual_resting

if TYPE_CHECKING:
    from matrixdoc.case.case import Case, Entry
    from matrixdoc.diagnosis.results import RankedCheck

PROOF_KEY = "proof"


def proof_check(case: Case, parts: Sequence[str], ranked: Sequence[RankedCheck]) -> Check | None:
    """The check that proves a repair of ``parts``: the look of the repair's own check where it was
    ranked, else the look that first showed the trouble; None on a case without findings.
    """
    for one in ranked:
        if one.check.kind == "act" and set(one.check.mends) & set(parts):
            return _proof(case, one.check.situation, one.check.look)
    complaint = _complaint(case)
    if complaint is None:
        return None
    return _proof(case, complaint.situation, complaint.look)


def _complaint(case: Case) -> Finding | None:
    found: list[Entry] = [e for e in case.standing if e.finding is not None]
    for entry in found:
        finding = entry.finding
        if finding is None or finding.look.kind in ("meter", "fuse"):
            continue
        if finding.outcome != NOT_SURE and not is_sound(case, finding):
            return finding
    return found[0].finding if found else None


def is_sound(case: Case, finding: Finding) -> bool:
    """Whether this is what a sound machine shows, as far as a person can tell without computing."""
    situation, look, outcome = finding.situation, finding.look, finding.outcome
    switches = case.wiring.switches
    if look.kind == "reads" and isinstance(outcome, frozenset):
        closed = {h for h in situation.held if h in switches and not switches[h].normally_closed}
        usual = usual_resting(case.wiring) - set(situation.held)
        return outcome - usual == closed
    if look.kind == "resting coils":
        return outcome == frozenset()
    if look.kind == "lamp":
        on = look.target in situation.lamps or ALL_LAMPS in situation.lamps
        lamp = case.wiring.lamps.get(look.target)
        return outcome == ("normal" if on or (lamp is not None and lamp.always_on) else "off")
    return outcome in ("fires", "good")


def _proof(case: Case, situation: Situation, look: Look) -> Check:
    what = f"{look_words(case.wiring, look)}; {situation_words(case.wiring, situation)}"
    return Check(
        title=f"prove the repair: {what}",
        kind="look",
        situation=situation,
        look=look,
        minutes=1.0,
        set_up=("put everything back first: fuses, connectors, lugs, panels that must be closed",),
        cautions=("be ready to switch off at once",),
        key=PROOF_KEY,
    )


def unproven_proof(view: View) -> Check | None:
    """The proof that the case still waits for; None when every repair is proven."""
    if not view.case.unproven():
        return None
    if view.proof is not None:
        return view.proof
    last = next((e for e in reversed(view.case.standing) if e.kind == "repair"), None)
    return proof_check(view.case, last.parts if last is not None else (), view.ranked)
