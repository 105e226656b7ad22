"""Results of checks as people give them: chosen from words, or typed, to outcomes.

Whatever is typed either becomes an outcome or raises an :class:`InputError` that says what would
be right; nothing is guessed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from matrixdoc.bench.signs import clean
from matrixdoc.checks.situation import NOT_SURE, OPEN_LOOP, Check, Outcome
from matrixdoc.checks.wording import outcome_words, short_words, usual_resting
from matrixdoc.definition.errors import near_miss, refusal
from matrixdoc.definition.wiring import Wiring

if TYPE_CHECKING:
    from matrixdoc.bench.state import View

LAMP_WORDS = ("off", "dim", "normal", "bright", "flickers")
COIL_WORDS = ("fires", "weak", "nothing", "locked on", "fires with others", "fires twice")
FUSE_WORDS = ("good", "open")
PROVOKED_WORDS = ("changes", "stays")
WARM_UP_WORDS = ("fails warm", "fails cold", "no change")
NEW_FUSE_WORDS = ("holds", "blows at once", "blows after a while")
LONGEST_ANSWER = 300


@dataclass(frozen=True, slots=True)
class Choice:
    """One answer that can be chosen: words on the screen, the outcome, which suspects show it."""

    words: str
    outcome: Outcome
    note: str = ""


def base_choices(view: View, check: Check) -> tuple[Choice, ...]:
    """The answers that any person could give to this look, without any computing."""
    from matrixdoc.bench.marks import press_outcome

    look = check.look
    found: list[Choice] = []
    if look.kind == "reads":
        held = check.situation.held
        if _one_closed(view, held):
            rest = press_outcome(view.case, held, reads=False)
            found.append(Choice("opens: no longer reads, as it should", rest))
            found.append(Choice("still reads: does not open", rest | set(held)))
        elif held:
            themselves = (
                "reads itself only, as it should" if len(held) == 1 else "reads just those, as it should"
            )
            found.append(Choice(themselves, press_outcome(view.case, held, reads=True)))
            silent = press_outcome(view.case, held, reads=False)
            words = f"reads only what it reads anyway: {short_words(silent)}" if silent else "reads nothing"
            found.append(Choice(clean(words, 120), silent))
        else:
            usual = usual_resting(view.case.wiring)
            found.append(
                Choice("reads nothing" if not usual else "reads the normally closed ones only", usual)
            )
    elif look.kind == "lamp":
        found.extend(Choice(word, word) for word in LAMP_WORDS)
    elif look.kind == "coil":
        found.extend(Choice(word, word) for word in COIL_WORDS)
    elif look.kind == "fuse":
        found.extend(Choice(word, word) for word in FUSE_WORDS)
    elif look.kind == "new fuse":
        found.extend(Choice(word, word) for word in NEW_FUSE_WORDS)
    elif look.kind in ("wiggle", "warm"):
        found.extend(Choice(word, word) for word in PROVOKED_WORDS)
    elif look.kind == "warm up":
        found.extend(Choice(word, word) for word in WARM_UP_WORDS)
    elif look.kind == "resting coils":
        found.append(Choice("no coil pulls in by itself", frozenset()))
    elif look.function != "volts":
        found.append(Choice("OL (open)", OPEN_LOOP))
    found.append(Choice(NOT_SURE, NOT_SURE))
    return tuple(found)


def _one_closed(view: View, held: Sequence[str]) -> bool:
    """Whether exactly one switch is held, and it is normally closed."""
    switch = view.case.wiring.switches.get(held[0]) if len(held) == 1 else None
    return switch is not None and switch.normally_closed


def with_predicted(
    wiring: Wiring, check: Check, choices: Sequence[Choice], predicted: Sequence[Outcome]
) -> tuple[Choice, ...]:
    """``choices`` and, before "not sure", the sets that suspects are predicted to show."""
    if check.look.kind not in ("reads", "resting coils"):
        return tuple(choices)
    known = [c.outcome for c in choices]
    more: list[Choice] = []
    for outcome in predicted:
        if isinstance(outcome, frozenset) and outcome not in known:
            known.append(outcome)
            words = outcome_words(wiring, check.look, outcome, check.situation.held)
            more.append(Choice(clean(words, 120), outcome))
    return (*choices[:-1], *more[:6], choices[-1])


def answer_hint(check: Check) -> str:
    """What may be typed, with examples."""
    look = check.look
    if look.kind == "meter":
        return {
            "volts": "volts, such as 4.7V or 350 mV",
            "ohms": "ohms, such as 12.3, 2k2 or OL",
            "diode": "the diode test, such as 0.55 or OL",
        }[look.function or "volts"]
    if look.kind == "reads":
        return "what reads, such as C3R5, C4R5, or: nothing"
    if look.kind == "resting coils":
        return "the coils that pull in, or: nothing"
    return "the word, as in the list below"


def parse_answer(view: View, check: Check, text: str) -> Outcome:
    """What a person typed as the result of ``check``.

    Raises:
        InputError: nothing was typed, or it is no result of this look; the message says what is.
    """
    from matrixdoc.definition.numbers import parse_reading

    words = " ".join(text.split())
    if not words:
        raise refusal("", answer_hint(check))
    if len(words) > LONGEST_ANSWER:
        raise refusal(words, "a shorter answer")
    plain = words.casefold()
    if plain in (NOT_SURE, "not sure", "unsure", "?"):
        return NOT_SURE
    look = check.look
    if look.kind == "meter":
        return parse_reading(words, look.function or "volts")
    for choice in base_choices(view, check):
        if plain == choice.words.casefold():
            return choice.outcome
    if look.kind in ("reads", "resting coils"):
        return _typed_set(view, check, words)
    allowed = {
        "lamp": LAMP_WORDS,
        "coil": COIL_WORDS,
        "fuse": FUSE_WORDS,
        "new fuse": NEW_FUSE_WORDS,
        "wiggle": PROVOKED_WORDS,
        "warm": PROVOKED_WORDS,
        "warm up": WARM_UP_WORDS,
    }[look.kind]
    fitting = [word for word in allowed if word.startswith(plain)]
    if plain in allowed:
        return plain
    if len(fitting) == 1:
        return fitting[0]
    raise refusal(words, " or ".join(allowed), near_miss(plain, allowed))


def _typed_set(view: View, check: Check, words: str) -> Outcome:
    from matrixdoc.bench.marks import press_outcome
    from matrixdoc.case.names import Names, NameTrouble

    names = Names(view.case.wiring)
    reads = check.look.kind == "reads"
    plain = words.casefold()
    if plain in ("nothing", "none"):
        return press_outcome(view.case, check.situation.held, reads=False) if reads else frozenset()
    if reads and plain == "itself" and _one_closed(view, check.situation.held):
        silent = press_outcome(view.case, check.situation.held, reads=False)
        return silent | set(check.situation.held)
    if reads and plain in ("itself", "fine", "themselves"):
        return press_outcome(view.case, check.situation.held, reads=True)
    found: set[str] = set()
    for word in words.replace(";", ",").split(",") if "," in words or ";" in words else _split(words):
        one = word.strip()
        if not one:
            continue
        try:
            found.update(names.readings(one) if reads else (names.coil(one),))
        except NameTrouble as trouble:
            raise refusal(one, trouble.expected, trouble.suggestion) from None
    if not found:
        raise refusal(words, answer_hint(check))
    return frozenset(found)


def _split(words: str) -> list[str]:
    """``C3R5 C4R5`` is a list; a title of several words is one name."""
    pieces = words.split()
    looks_like_cells = all(any(c.isdigit() for c in piece) for piece in pieces)
    return pieces if looks_like_cells else [words]
