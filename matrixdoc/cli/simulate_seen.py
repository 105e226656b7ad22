"""What a look shows with faults and without: how they differ, in words, and all of it look by look."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from matrixdoc.case.case import Case
from matrixdoc.case.wording import look_words, outcome_words, part_words, short_words, situation_words
from matrixdoc.checks.prediction import Prediction
from matrixdoc.checks.situation import Look, Outcome, Situation
from matrixdoc.cli.inputs import engine_of
from matrixdoc.cli.text import heading, labelled, likely_words, safe, share, wrapped
from matrixdoc.definition.wiring import Wiring
from matrixdoc.diagnosis.explain import fault_words
from matrixdoc.faults.priors import Fault

NOTICED = 0.05
SURE = 0.9
"""From this probability on an outcome is told without its probability."""
_SHOWN_OUTCOMES = 4
_LEAST_SHOWN = 0.02
_MANY = 16


@dataclass(frozen=True, slots=True)
class Seen:
    """What one look shows with the faults, and on a healthy machine."""

    situation: Situation
    look: Look
    outcomes: Prediction
    healthy: Prediction

    @property
    def differs(self) -> bool:
        """Whether a person could see a difference."""
        return not alike(self.outcomes, self.healthy)

    @property
    def usual(self) -> Outcome:
        """What a healthy machine most probably shows."""
        return self.healthy[0][0]

    @property
    def odd(self) -> tuple[Outcome, ...]:
        """What is seen that a healthy machine would not show, the likeliest first."""
        usual = {outcome for outcome, p in self.healthy if p >= NOTICED}
        return tuple(outcome for outcome, p in self.outcomes if outcome not in usual and p >= NOTICED)

    @property
    def chance(self) -> float:
        """How probable it is that something odd is seen."""
        return sum(p for outcome, p in self.outcomes if outcome in self.odd)


def alike(one: Prediction, two: Prediction) -> bool:
    """Whether two predictions could not be told apart by looking.

    Words and sets: less than 5 % of the probability moves from one outcome to another. Readings:
    within 1 % or 1 mV (or 1 milliohm) of each other.
    """
    numbers = [(o, q) for (o, _), (q, _) in zip(one, two, strict=False) if isinstance(o, float)]
    if numbers:
        return all(isinstance(q, float) and abs(o - q) <= max(0.01 * abs(q), 1e-3) for o, q in numbers)
    first, second = dict(one), dict(two)
    moved = sum(abs(first.get(o, 0.0) - second.get(o, 0.0)) for o in {*first, *second})
    return moved / 2 < NOTICED


def fuse_name(wiring: Wiring, reference: str) -> str:
    """A fuse with its title and reference."""
    return f"{part_words(wiring.parts[reference])} [{reference}]"


def title_text(case: Case, faults: Sequence[Fault], cautions: Sequence[str]) -> list[str]:
    """The heading, the faults and what cannot wait."""
    model = engine_of(case).model
    pieces = [heading(f"{case.wiring.title}: {'simulated' if faults else 'the healthy machine'}")]
    for fault in faults:
        told = f"{fault_words(model, fault)}  [{fault.part}={fault.mode}]"
        pieces.append(labelled("fault", told, 0, 9))
        entry = engine_of(case).possible[fault]
        now = " (it comes and goes: below is what shows while it is there)" if entry.duty else ""
        pieces.append(labelled("", f"{entry.words}{now}", 0, 9))
    pieces.extend(labelled("CAUTION", caution, 0, 9) for caution in cautions)
    return pieces


def listed_text(
    case: Case, faults: Sequence[Fault], seen: Sequence[Seen], cautions: Sequence[str], blown: Sequence[str]
) -> str:
    """Every look, what it shows, and what a healthy machine shows where that differs."""
    wiring = case.wiring
    pieces = title_text(case, faults, cautions)
    pieces.extend(labelled("fuse", f"{fuse_name(wiring, f)} has blown", 0, 9) for f in blown)
    before: Situation | None = None
    for one in seen:
        if one.situation != before:
            pieces.append(wrapped(f"- {set_up(wiring, one.situation)}", 0, 2))
            before = one.situation
        shown = outcomes_words(wiring, one.look, one.outcomes)
        about = "the switch scan" if one.look.kind == "reads" else look_words(wiring, one.look)
        pieces.append(wrapped(f"{about}: {shown}", 4, 6))
        if one.differs:
            healthy = outcomes_words(wiring, one.look, one.healthy)
            pieces.append(wrapped(f"(a healthy machine: {healthy})", 6, 7))
    return "\n".join(pieces)


def set_up(wiring: Wiring, situation: Situation) -> str:
    """A situation in words; of a pattern that leaves few lamps out, those are named instead."""
    lamps = set(situation.lamps)
    if len(lamps) <= _MANY:
        return situation_words(wiring, situation)
    names = {wiring.lamps[r].matrix for r in lamps}
    left_out = [r for r, lamp in wiring.lamps.items() if lamp.matrix in names and r not in lamps]
    rest = situation_words(wiring, replace(situation, lamps=()))
    return f"{rest}, {len(lamps)} lamps commanded on: all but {short_words(left_out)}"


def outcomes_words(wiring: Wiring, look: Look, prediction: Prediction) -> str:
    """What is seen, the likeliest first; how likely only where it is in doubt."""
    shown = [(outcome, p) for outcome, p in prediction[:_SHOWN_OUTCOMES] if p >= _LEAST_SHOWN]
    if shown and shown[0][1] >= SURE:
        return safe(outcome_words(wiring, look, shown[0][0]))
    return " or ".join(likely_words(safe(outcome_words(wiring, look, o)), share(p)) for o, p in shown)
