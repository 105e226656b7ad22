"""Symptoms given on the command line: one short sentence each, in place of a report file.

::

    press C3R5 reads nothing                     hold C1R1, C1R2, C2R1 reads C1R1, C1R2, C2R1, C2R2
    resting reads C4R4                           walk fine
    column 3 never reads                         walk C1R1, C2R3 and top lane read nothing; others fine
    walk C3R5 reads nothing; C3R6 reads C3R6, C4R6; others not tried
    lamp C2R1 off; others normal                 lamp C2R1, C2R2 dim commanded itself others normal
    coil 7 nothing                               power up locked 7, 8       (power up nothing locked)
    fuse coil supply open                        smoke                      smell
    new fuse F6 blows at once                    new fuse F6 blows at once pulsed 4
    jumper across switch/C3R5/contact reads C3R5 resting reads nothing opened switch/R5/pin
    jumper coil/7/winding.b to ground coil 7 fires
    lamp C2R1 off swapped C2R1, C3R1             wiggle switch/R5/pin changes
    switch C3R5 works cold, fails after twenty minutes        (warm up switch C3R5 fails warm)
    warm switch/R5/pin changes                   chill switch/R5/header stays
    volts rail/coil to ground 48 V               ohms coil/7/winding.a to coil/7/winding.b OL
    volts switch/C1/lug1 to ground 4.9 V power off held C1R1
    replaced coil/7/driver                       cleaned switch/C3R5/contact
    note the cabinet was damp                    override fuse F5 is out, I watch it
    C1R4 never reads                             C1R4 always reads
    C1R4 does not read at rest                   resting reads C4R4, and no longer C1R4
    coil 7 nothing; others fire                  it smells burnt

Names that hold a comma or one of the words above cannot be said this way; a report file can.
A sentence becomes one entry of a report, and is checked as such.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Sequence
from difflib import get_close_matches

from matrixdoc.case.report_words import SeenKind
from matrixdoc.cli.sentence_readers import (
    READERS,
    READS,
    SEEN_COIL,
    SEEN_FUSE,
    SEEN_LAMP,
    Entry,
    Unclear,
    altered_in,
    ending,
    names_in,
    read_coil,
    read_fuse,
    read_lamp,
    read_walk,
    reads_and_missing,
)
from matrixdoc.cli.sentence_warmth import from_cold_to_warm
from matrixdoc.definition.errors import InputError, Problem, quoted

_SPOKEN_STARTS = {"coils": "coil", "lamps": "lamp", "fuses": "fuse", "walk:": "walk"}
_DEVICE_STARTS = {"feed": "coil", "flash": "coil", "illumination": "lamp", "string": "lamp"}
"""Words that say what kind of thing is meant, and what is said of such things."""
_NEVER = re.compile(r"\s+(?:(?:does not|doesn't|do not|don't) read|reads? none)(?=\s*(?:$|;))", re.IGNORECASE)
_REST = re.compile(
    r"^(?P<name>.+?)\s+(?:(?:does not|doesn't|do not|don't|no longer) reads?\s+at rest|no longer reads?)$",
    re.IGNORECASE,
)
_AT_REST = re.compile(
    r"^(?:resting|at rest|with nothing pressed)(?:\s+it)?[\s:,]+(?P<name>.+?)\s+"
    r"(?:does not|doesn't|do not|don't|no longer|never) reads?$",
    re.IGNORECASE,
)
_PRINTED = re.compile(
    r"^(?P<name>.+?)(?P<closed>,\s+normally closed,)?\s+(?:pressed|held(?P<open>\s+open)?):\s*(?P<seen>.+)$",
    re.IGNORECASE,
)
"""What results print of a press: ``switch C1R4 (door) held open: still reads``."""
_DANGER = re.compile(
    r"\b(smok\w*|smell\w*|stink\w*|burnt(?! out)|burning|on fire|hot|glowing|sparks?)\b", re.IGNORECASE
)
_SMOKE = re.compile(r"\bsmok\w*", re.IGNORECASE)


def report_text(sentences: Sequence[str], kind_of: Callable[[str], str] | None = None) -> str:
    """A report (in the JSON subset of YAML) that says what ``sentences`` say.

    ``kind_of`` tells of a name whether it is that of a coil, a lamp or a fuse (or of nothing, or of
    several: empty); it is asked for sentences that do not say.

    Raises:
        InputError: every sentence that does not follow the patterns.
    """
    report: Entry = {}
    entries: list[Entry] = []
    problems: list[Problem] = []
    for sentence in sentences:
        words = " ".join(sentence.split())
        if danger := danger_in(words):
            report[danger] = "yes"
            if words.casefold() != danger:
                entries.append({"note": words})
            continue
        try:
            entries.append(_entry(words, kind_of))
        except Unclear as unclear:
            problems.append(Problem("--saw", 0, 0, "", quoted(sentence), str(unclear), unclear.hint))
    if problems:
        raise InputError(problems)
    return json.dumps({**report, "findings": entries}, ensure_ascii=False)


def danger_in(words: str) -> str:
    """``smoke`` or ``smell`` where a sentence tells of fire, smoke, a burnt smell or heat; else empty."""
    if not _DANGER.search(words) or re.match(r"(?:note|override|decline)\b", words, re.IGNORECASE):
        return ""
    if re.search(r"\b(?:no|not|without)\b", words, re.IGNORECASE):
        return ""
    try:
        _entry(words)
    except Unclear:
        return "smoke" if _SMOKE.search(words) else "smell"
    return ""  # the word belongs to a name: "coil hot shot nothing"


def taken_for(words: str) -> str:
    """How a sentence was understood, where that is not plain from itself; else empty."""
    if re.search(r"\b(?:hums?|buzzes)\s*$", words, re.IGNORECASE):
        return "a coil that hums or buzzes is taken as: weak"
    if _NOW_AND_THEN.search(words):
        return "what comes and goes is taken as it is while it is wrong; 'wiggle PART changes' tells more"
    return ""


_NOW_AND_THEN = re.compile(
    r"\s+(?:(?:only\s+)?reads?|works?)\s+(?:only\s+)?(?:now and then|sometimes|intermittently)$",
    re.IGNORECASE,
)


def _missing_entry(name: str) -> Entry:
    return {"resting": "nothing", "missing": names_in(name)}


def _printed(words: str) -> Entry | None:
    """What results print of a press or of rest, taken back as a sentence; None for anything else."""
    if (match := _AT_REST.match(words)) or (match := _REST.match(words)):
        return _missing_entry(re.sub(r"^(?:press|switch:)\s+", "", match["name"], flags=re.IGNORECASE))
    match = _PRINTED.match(words)
    if match is None:
        return None
    seen = re.sub(r",?\s*as it should$", "", match["seen"].strip(), flags=re.IGNORECASE)
    name = re.sub(r"^(?:press|hold)\s+", "", match["name"], flags=re.IGNORECASE)
    names = names_in(name)
    start: Entry = {"press": names[0]} if len(names) == 1 else {"hold": names}
    lowered = seen.casefold()
    if lowered in ("still reads", "still reads, does not open"):
        return {**start, "reads": names}
    if lowered == "reads by itself":
        return {**start, "reads": "itself"}
    if match["closed"] and lowered == "opens":
        return {**start, "reads": "itself"}
    if lowered == "does not read":
        return {**start, "reads": "itself" if match["open"] else "nothing"}
    if not lowered.startswith(("reads ", "read ")):
        return None
    return {**start, **reads_and_missing(seen.partition(" ")[2])}


def _entry(words: str, kind_of: Callable[[str], str] | None = None) -> Entry:
    if taken := _printed(words):
        return taken
    words = re.sub(
        r"^(?:at rest|with nothing pressed)(?:\s+it)?:?\s+", "resting ", words, flags=re.IGNORECASE
    )
    if match := _NOW_AND_THEN.search(words):
        name = re.sub(r"^press\s+", "", words[: match.start()], flags=re.IGNORECASE)
        return {
            "walk": {"others": "not tried", "odd": dict.fromkeys(names_in(name), "nothing")},
            "words": words,
        }
    if spoken := from_cold_to_warm(words):
        return spoken
    words = re.sub(r"\s+never reads?(?=\s*(?:$|[;,]))", " reads never", words, flags=re.IGNORECASE)
    words = re.sub(r"\s+always reads?(?=\s*(?:$|[;,]))", " reads always", words, flags=re.IGNORECASE)
    if not words.casefold().startswith("walk"):
        words = re.sub(r"^((?:press|hold)\s.*) reads never$", r"\1 reads nothing", words, flags=re.IGNORECASE)
    words = _NEVER.sub(" reads nothing", words)
    first, _, rest = words.partition(" ")
    if first.casefold() in _SPOKEN_STARTS:
        words = f"{_SPOKEN_STARTS[first.casefold()]} {rest}".strip()
    elif first.casefold() in _DEVICE_STARTS:
        words = f"{_DEVICE_STARTS[first.casefold()]} {words}"
    lowered = words.casefold()
    for start, read in READERS:
        if lowered == start or lowered.startswith(start + " "):
            altered: Entry = {}
            if start in ("press", "hold", "resting", "lamp", "coil", "jumper"):
                words, altered = altered_in(words)
            return {**read(words[len(start) :].strip(), start), **altered}
    near = _near(first)
    if READS.search(words) and not near:
        # "column 3 reads nothing": what was tried of a walk.
        return read_walk(words, "walk", others="not tried")
    if (spoken := _without_kind(words, kind_of)) is not None:
        return spoken
    starts = ", ".join(start for start, _ in READERS)
    hint = near or "for example: press C3R5 reads nothing, lamp C2R1 off, coil 7 nothing"
    raise Unclear(f"a sentence that begins with {starts}, smoke or smell", hint)


def _without_kind(words: str, kind_of: Callable[[str], str] | None) -> Entry | None:
    """``knocker dead``: what kind of thing is meant, the machine tells; None where it does not."""
    kinds: tuple[tuple[SeenKind, Sequence[str], Callable[[str, str], Entry]], ...] = (
        ("coil", SEEN_COIL, read_coil),
        ("lamp", SEEN_LAMP, read_lamp),
        ("fuse", SEEN_FUSE, read_fuse),
    )
    for kind, seen, read in kinds:
        head = re.split(r"[;,]\s*others\b", words, maxsplit=1, flags=re.IGNORECASE)[0]
        try:
            name, _ = ending(head, seen, "", kind)
            names = names_in(name)
        except Unclear:
            continue
        if kind_of is not None and all(kind_of(one) == kind for one in names):
            return read(words, kind)
    return None


def _near(word: str) -> str:
    close = get_close_matches(word[:40].casefold(), [start for start, _ in READERS], n=1, cutoff=0.75)
    return f"did you mean {close[0]}?" if close else ""
