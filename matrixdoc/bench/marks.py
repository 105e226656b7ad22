"""From marks to findings and back: what a key on a cell records, and what a cell shows.

A mark is a finding made by one key press. The resting scan is one finding about all switches at
once, so a further "always reads" replaces it by a larger one; marking a cell again corrects what
was marked before. What was found before the last repair is kept, and shown as old.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from matrixdoc.bench.places import Spot
from matrixdoc.bench.signs import NORMALLY_CLOSED_WORDS, UNSURE, clean, sign_of
from matrixdoc.checks.situation import ALL_LAMPS, NOT_SURE, Finding, Look, Outcome, Situation
from matrixdoc.checks.wording import short_words, usual_resting
from matrixdoc.definition.wiring import Wiring

if TYPE_CHECKING:
    from matrixdoc.case.case import Case, Entry

LAMP_OUTCOMES = {
    "off": "off",
    "dim": "dim",
    "normal": "normal",
    "bright": "bright",
    "flickers": "flickers",
    "unsure": NOT_SURE,
}
COIL_OUTCOMES = {
    "fires": "fires",
    "weak": "weak",
    "nothing": "nothing",
    "others": "fires with others",
    "twice": "fires twice",
    "unsure": NOT_SURE,
}


@dataclass(frozen=True, slots=True)
class Seen:
    """What a device shows on the bench: the sign's key, words, the entry it came from."""

    mark: str
    words: str
    number: int
    old: bool = False


def last_repair(case: Case) -> int:
    """Number of the last standing repair; 0 for none."""
    return max((e.number for e in case.standing if e.kind == "repair"), default=0)


def resting_entry(case: Case) -> Entry | None:
    """The newest standing resting scan made since the last repair."""
    since = last_repair(case)
    for entry in reversed(case.standing):
        if entry.number > since and entry.finding is not None and _is_resting(entry.finding):
            return entry
    return None


def _is_resting(finding: Finding) -> bool:
    return (
        finding.look.kind == "reads" and not finding.situation.held and isinstance(finding.outcome, frozenset)
    )


def resting_reads(case: Case) -> frozenset[str]:
    """What is known to read with nothing pressed."""
    entry = resting_entry(case)
    if entry is not None and entry.finding is not None and isinstance(entry.finding.outcome, frozenset):
        return entry.finding.outcome
    return usual_resting(case.wiring)


# -- marks to findings ---------------------------------------------------------------------------


def press_outcome(case: Case, held: Iterable[str], *, reads: bool) -> frozenset[str]:
    """The whole scan while ``held`` are pressed and do (or do not) what they should."""
    switches = case.wiring.switches
    held = frozenset(held)
    closed = frozenset(h for h in held if h in switches and not switches[h].normally_closed)
    return (resting_reads(case) - held) | (closed if reads else frozenset())


def switch_finding(case: Case, spot: Spot, mark: str, chosen: frozenset[str] = frozenset()) -> Finding:
    """The finding of one mark on a switch. ``chosen`` is the whole scan, for "reads others"."""
    one = spot.reference
    held = Situation(held=(one,))
    look = Look("reads")
    if mark == "always":
        if spot.normally_closed:
            return Finding(held, look, resting_reads(case) | {one})
        return Finding(Situation(), look, resting_reads(case) | {one})
    if mark == "never" and spot.normally_closed:
        return Finding(Situation(), look, resting_reads(case) - {one})
    if mark == "unsure":
        return Finding(held, look, NOT_SURE)
    if mark == "others":
        return Finding(held, look, chosen)
    return Finding(held, look, press_outcome(case, (one,), reads=mark == "fine"))


def lamp_finding(spot: Spot, mark: str, pattern: str, commanded: tuple[str, ...] = ()) -> Finding:
    """The finding of one mark on a lamp; ``pattern`` says what was commanded (see PATTERNS)."""
    look = Look("lamp", spot.reference)
    if mark == "stray":
        return Finding(Situation(lamps=tuple(sorted(commanded))), look, "normal")
    lamps = {"itself": (spot.reference,), "all": (ALL_LAMPS,)}.get(pattern, ())
    return Finding(Situation(lamps=lamps), look, LAMP_OUTCOMES[mark])


def coil_finding(spot: Spot, mark: str, locked: frozenset[str] = frozenset()) -> Finding:
    """The finding of one mark on a coil; ``locked`` are coils known to be locked on already."""
    if mark == "locked":
        return Finding(Situation(), Look("resting coils"), locked | {spot.reference})
    return Finding(Situation(pulsed=spot.reference), Look("coil", spot.reference), COIL_OUTCOMES[mark])


def locked_coils(case: Case) -> frozenset[str]:
    """Coils reported as pulled in by themselves since the last repair."""
    since = last_repair(case)
    for entry in reversed(case.standing):
        found = entry.finding
        if entry.number > since and found is not None and found.look.kind == "resting coils":
            return found.outcome if isinstance(found.outcome, frozenset) else frozenset()
    return frozenset()


def same_question(case: Case, finding: Finding) -> tuple[Entry, ...]:
    """Standing entries since the last repair that answered the same question: a mark corrects them."""
    since = last_repair(case)
    return tuple(
        e
        for e in case.standing
        if e.number > since
        and e.finding is not None
        and (e.finding.situation, e.finding.look) == (finding.situation, finding.look)
    )


# -- findings to marks ---------------------------------------------------------------------------


def seen_on(case: Case) -> Mapping[str, Seen]:
    """What each device shows: the newest standing word about it."""
    repaired = last_repair(case)
    found: dict[str, Seen] = {}
    resting = usual_resting(case.wiring)
    for entry in case.standing:
        if entry.finding is None:
            continue
        old = entry.number < repaired
        if _is_resting(entry.finding) and isinstance(entry.finding.outcome, frozenset):
            resting = entry.finding.outcome
        for reference, mark, words in _signs(case.wiring, entry.finding, resting):
            found[reference] = Seen(mark, clean(words, 200), entry.number, old)
    return found


def _signs(wiring: Wiring, finding: Finding, resting: frozenset[str]) -> Iterable[tuple[str, str, str]]:
    situation, look, outcome = finding.situation, finding.look, finding.outcome
    if look.kind == "reads":
        yield from _reads_signs(wiring, situation, outcome, resting)
    elif look.kind == "lamp":
        yield (look.target, *_lamp_sign(look.target, situation, outcome))
    elif look.kind == "coil":
        known = {v: k for k, v in COIL_OUTCOMES.items()} | {"locked on": "locked"}
        key = known.get(str(outcome), "unsure")
        words = str(outcome) if str(outcome) not in known else sign_of("coil", key).words
        yield (look.target, key, words if outcome != "locked on" else "stays on after a pulse")
    elif look.kind == "resting coils" and isinstance(outcome, frozenset):
        for reference in sorted(outcome):
            yield reference, "locked", sign_of("coil", "locked").words


def _reads_signs(
    wiring: Wiring, situation: Situation, outcome: Outcome, resting: frozenset[str]
) -> Iterable[tuple[str, str, str]]:
    if not situation.held and isinstance(outcome, frozenset):
        usual = usual_resting(wiring)
        for reference in sorted(outcome - usual):
            yield reference, "always", sign_of("switch", "always").words
        for reference in sorted(usual - outcome):
            yield reference, "never", NORMALLY_CLOSED_WORDS["never"]
        return
    if len(situation.held) != 1:
        return
    one = situation.held[0]
    if outcome == NOT_SURE or not isinstance(outcome, frozenset):
        yield one, "unsure", UNSURE.words
        return
    switch = wiring.switches.get(one)
    if switch is not None and switch.normally_closed:
        stays = one in outcome
        words = NORMALLY_CLOSED_WORDS["always"] if stays else "fine: opens when pressed"
        yield one, "always" if stays else "fine", words
        return
    more = outcome - resting - {one}
    if more:
        itself = "itself and " if one in outcome else "not itself but "
        yield one, "others", f"reads {itself}{short_words(more)}"
    elif one in outcome and one not in resting:
        yield one, "fine", sign_of("switch", "fine").words
    elif one not in outcome:
        yield one, "never", sign_of("switch", "never").words


def _lamp_sign(lamp: str, situation: Situation, outcome: Outcome) -> tuple[str, str]:
    on = lamp in situation.lamps or ALL_LAMPS in situation.lamps
    if ALL_LAMPS in situation.lamps:
        commanded = "all commanded"
    elif on:
        commanded = "commanded"
    elif situation.lamps:
        commanded = f"only {short_words(situation.lamps)} commanded"
    else:
        commanded = "nothing commanded"
    if outcome == NOT_SURE:
        return "unsure", f"not sure ({commanded})"
    if not on and outcome != "off":
        strength = "" if outcome == "normal" else f", {outcome}"
        return "stray", f"lights uncommanded{strength} ({commanded})"
    key = str(outcome) if str(outcome) in LAMP_OUTCOMES else "unsure"
    words = sign_of("lamp", key).words if key == outcome else str(outcome)
    return key, f"{words} ({commanded})"
