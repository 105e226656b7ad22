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
from typing import Any

from matrixdoc.case.report_words import SYNONYMS, SeenKind, meant
from matrixdoc.definition.errors import InputError, Problem, quoted

Entry = dict[str, Any]

_ACTIONS = {
    "replaced": "replace",
    "repaired": "repair",
    "reseated": "reseat",
    "cleaned": "clean",
    "swapped": "swap",
}
_SEEN_LAMP = ("off", "dim", "normal", "bright", "flickers", "not sure")
_SEEN_COIL = ("fires with others", "fires twice", "fires", "weak", "nothing", "locked on", "not sure")
_SEEN_FUSE = ("good", "open", "not sure")
_SPOKEN_STARTS = {"coils": "coil", "lamps": "lamp", "fuses": "fuse", "walk:": "walk"}
_DEVICE_STARTS = {"feed": "coil", "flash": "coil", "illumination": "lamp", "string": "lamp"}
"""Words that say what kind of thing is meant, and what is said of such things."""
_READS = re.compile(r"\s+reads?\s+", re.IGNORECASE)
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
_NO_LONGER = re.compile(r"[\s,;]+(?:and\s+)?no longer\s+", re.IGNORECASE)
_PRINTED = re.compile(r"^(?P<name>.+?)\s+(?:pressed|held(?P<open>\s+open)?):\s*(?P<seen>.+)$", re.IGNORECASE)
"""What results print of a press: ``switch C1R4 (door) held open: still reads``."""
_DANGER = re.compile(
    r"\b(smok\w*|smell\w*|stink\w*|burnt(?! out)|burning|on fire|hot|glowing|sparks?)\b", re.IGNORECASE
)
_SMOKE = re.compile(r"\bsmok\w*", re.IGNORECASE)
_READING = re.compile(r"^(?P<red>.+?)\s+to\s+(?P<rest>.+)$")
_OPTIONS = re.compile(r"\s+(power|held|opened|pulsed|lamps)\s+")


class _Unclear(Exception):  # noqa: N818 - becomes an InputError with the sentence in it
    """What the sentence lacks, and a hint."""

    def __init__(self, expected: str, hint: str = "") -> None:
        super().__init__(expected)
        self.hint = hint


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
        except _Unclear as unclear:
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
    except _Unclear:
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
    return {"resting": "nothing", "missing": _names(name)}


def _printed(words: str) -> Entry | None:
    """What results print of a press or of rest, taken back as a sentence; None for anything else."""
    if (match := _AT_REST.match(words)) or (match := _REST.match(words)):
        return _missing_entry(re.sub(r"^(?:press|switch:)\s+", "", match["name"], flags=re.IGNORECASE))
    match = _PRINTED.match(words)
    if match is None:
        return None
    seen = re.sub(r",?\s*as it should$", "", match["seen"].strip(), flags=re.IGNORECASE)
    name = re.sub(r"^(?:press|hold)\s+", "", match["name"], flags=re.IGNORECASE)
    names = _names(name)
    start: Entry = {"press": names[0]} if len(names) == 1 else {"hold": names}
    lowered = seen.casefold()
    if lowered == "still reads":
        return {**start, "reads": names}
    if lowered == "reads by itself":
        return {**start, "reads": "itself"}
    if lowered == "does not read":
        return {**start, "reads": "itself" if match["open"] else "nothing"}
    if not lowered.startswith(("reads ", "read ")):
        return None
    return {**start, **_reads_and_missing(seen.partition(" ")[2])}


def _reads_and_missing(words: str) -> Entry:
    """``reads`` and what is missing of it: ``nothing, and no longer switch C1R5``."""
    reads, *missing = _NO_LONGER.split(words, maxsplit=1)
    entry: Entry = {"reads": _reads_words(reads.strip(" ,;"))}
    return {**entry, "missing": _names(missing[0])} if missing else entry


def _entry(words: str, kind_of: Callable[[str], str] | None = None) -> Entry:
    if taken := _printed(words):
        return taken
    words = re.sub(
        r"^(?:at rest|with nothing pressed)(?:\s+it)?:?\s+", "resting ", words, flags=re.IGNORECASE
    )
    if match := _NOW_AND_THEN.search(words):
        name = re.sub(r"^press\s+", "", words[: match.start()], flags=re.IGNORECASE)
        return {
            "walk": {"others": "not tried", "odd": dict.fromkeys(_names(name), "nothing")},
            "words": words,
        }
    if spoken := _from_cold_to_warm(words):
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
    for start, read in _READERS:
        if lowered == start or lowered.startswith(start + " "):
            altered: Entry = {}
            if start in ("press", "hold", "resting", "lamp", "coil", "jumper"):
                words, altered = _altered(words)
            return {**read(words[len(start) :].strip(), start), **altered}
    near = _near(first)
    if _READS.search(words) and not near:
        # "column 3 reads nothing": what was tried of a walk.
        return _walk(words, "walk", others="not tried")
    if (spoken := _without_kind(words, kind_of)) is not None:
        return spoken
    starts = ", ".join(start for start, _ in _READERS)
    hint = near or "for example: press C3R5 reads nothing, lamp C2R1 off, coil 7 nothing"
    raise _Unclear(f"a sentence that begins with {starts}, smoke or smell", hint)


def _without_kind(words: str, kind_of: Callable[[str], str] | None) -> Entry | None:
    """``knocker dead``: what kind of thing is meant, the machine tells; None where it does not."""
    kinds: tuple[tuple[SeenKind, Sequence[str], Callable[[str, str], Entry]], ...] = (
        ("coil", _SEEN_COIL, _coil),
        ("lamp", _SEEN_LAMP, _lamp),
        ("fuse", _SEEN_FUSE, _fuse),
    )
    for kind, seen, read in kinds:
        head = re.split(r"[;,]\s*others\b", words, maxsplit=1, flags=re.IGNORECASE)[0]
        try:
            name, _ = _ending(head, seen, "", kind)
            names = _names(name)
        except _Unclear:
            continue
        if kind_of is not None and all(kind_of(one) == kind for one in names):
            return read(words, kind)
    return None


def _near(word: str) -> str:
    close = get_close_matches(word[:40].casefold(), [start for start, _ in _READERS], n=1, cutoff=0.75)
    return f"did you mean {close[0]}?" if close else ""


def _option(words: str, option: str) -> tuple[str, str, str]:
    """What stands before and behind a word of its own, such as ``others``; like ``str.partition``."""
    match = re.search(rf"[\s,;]+{option}:?\s+", words, re.IGNORECASE)
    return (words[: match.start()], option, words[match.end() :]) if match else (words, "", "")


def _names(words: str) -> list[str]:
    names = [name.strip() for name in re.split(r"[,;]\s*and |[,;]| and ", words, flags=re.IGNORECASE)]
    if not all(names):
        raise _Unclear("names with commas between them")
    return names


def _reads_words(words: str) -> str | list[str]:
    names = _names(words)
    return names[0] if len(names) == 1 else names


def _split_reads(words: str, example: str) -> tuple[str, str]:
    pieces = _READS.split(f" {words} ")
    if len(pieces) > 2:
        raise _Unclear(
            "one 'reads' for each switch, with ; between them: walk C1R1 reads nothing; C2R3 reads C4R4"
        )
    if len(pieces) < 2 or not all(piece.strip() for piece in pieces):
        raise _Unclear(f"what was pressed and what it reads, for example: {example}")
    return pieces[0].strip(), pieces[1].strip()


def _press(words: str, start: str) -> Entry:
    name, reads = _split_reads(words, f"{start} C3R5 reads nothing")
    if "," in name:
        raise _Unclear("one switch after press", "say hold for several at once, walk for one after the other")
    return {start: name, **_reads_and_missing(reads)}


def _hold(words: str, start: str) -> Entry:
    name, reads = _split_reads(words, f"{start} C1R1, C1R2 reads C1R1, C1R2")
    return {start: _names(name), **_reads_and_missing(reads)}


def _jumper(words: str, start: str) -> Entry:
    example = (
        f"{start} across switch/C3R5/contact reads C3R5, or {start} coil/7/winding.b to ground coil 7 fires"
    )
    for word in (" reads ", " coil "):
        where, between, rest = words.partition(word)
        if not between:
            continue
        if where.startswith("across "):
            lead = {"across": where.removeprefix("across ").strip()}
        else:
            one, to, two = where.partition(" to ")
            if not to:
                break
            lead = {"from": one.strip(), "to": two.strip()}
        entry = {"resting": _reads_words(rest)} if word == " reads " else _coil(rest, "coil")
        return {**entry, "jumpers": [lead]}
    raise _Unclear(f"where the jumper lies and what was seen, for example: {example}")


def _wiggle(words: str, start: str) -> Entry:
    name, seen = _ending(words, ("changes", "stays", "not sure"), f"{start} switch/R5/pin changes")
    return {start: name, "seen": seen}


def _warm_up(words: str, start: str) -> Entry:
    seen = ("fails warm", "fails cold", "no change", "not sure")
    name, how = _ending(words, seen, f"{start} switch C3R5 fails warm")
    return {start: name, "seen": how}


def _warm(words: str, start: str) -> Entry:
    entry = _wiggle(words, start)
    return {"warm": entry[start], "seen": entry["seen"]}


_WHEN = r"(?:(?:only\s+)?(?:when|while|once|as long as)\s+(?:it\s+is\s+|it\s+gets\s+)?)?"
_WORKS = rf"(?:is\s+)?(?:fine|ok|works?|reads?|fires?|lights?|lit)\s+{_WHEN}(?P<works>cold|warm|hot)"
_FAILS = (
    r"(?:only\s+)?(?:fails?|stops|quits|dies|goes\s+(?:out|dark)|is\s+dead"
    r"|does(?:\s+not|n't)\s+(?:work|read|fire))"
)
_WARMTH = re.compile(
    rf"^(?P<name>.+?)[\s,:]+(?:{_WORKS}[\s,;]+(?:(?:and|but|then)\s+)?)?{_FAILS}\s+"
    rf"(?:{_WHEN}(?P<fails>cold|warm|hot)|after\s+(?P<after>.*\b(?:minutes?|min|hours?|while)))$",
    re.IGNORECASE,
)


def _from_cold_to_warm(words: str) -> Entry | None:
    """``switch C3R5 works cold, fails after twenty minutes``; None for anything else."""
    match = _WARMTH.match(words.rstrip(" ."))
    if match is None or match["name"].casefold().startswith("warm up"):
        return None
    warm = bool(match["after"]) or match["fails"].casefold() != "cold"
    works = (match["works"] or "").casefold()
    if works and (works == "cold") != warm:
        raise _Unclear("cold in one half and warm in the other: switch C3R5 works cold, fails warm")
    name = re.sub(r"^press\s+", "", match["name"], flags=re.IGNORECASE)
    return {"warm up": name, "seen": "fails warm" if warm else "fails cold", "words": words}


def _altered(words: str) -> tuple[str, Entry]:
    """``opened`` and ``swapped`` at the end of a sentence."""
    entry: Entry = {}
    for option in ("swapped", "opened"):
        words, between, rest = _option(words, option)
        if between:
            names = _names(rest)
            entry[option] = [names] if option == "swapped" else names
    return words, entry


def _resting(words: str, start: str) -> Entry:
    reads = re.sub(r"^reads?\b", "", words, flags=re.IGNORECASE).strip()
    if not reads:
        raise _Unclear("what reads with nothing pressed, for example: resting reads C4R4")
    told = _reads_and_missing(reads)
    return {start: told.pop("reads"), **told}


def _walk(words: str, start: str, others: str = "") -> Entry:
    walk: Entry = {"others": others} if others else {}
    odd: Entry = {}
    for piece in filter(None, (piece.strip(" ,:") for piece in words.split(";"))):
        before, _, rest = _option(f" {piece}", "others")
        if (rest or piece).casefold() in _OTHERS:
            walk["others"] = _OTHERS[(rest or piece).casefold()]
            piece = before.strip()
        if not piece or piece.casefold() in _OTHERS:
            continue
        name, reads = _split_reads(piece, "walk C3R5 reads nothing; others fine")
        odd.update(dict.fromkeys(_names(name), _reads_words(reads)))
    if not walk and not odd:
        raise _Unclear("what was odd, for example: walk C3R5 reads nothing; others fine")
    return {start: {**walk, "odd": odd} if odd else walk}


_OTHERS = dict.fromkeys(("fine", "all fine", "ok", "normal"), "fine") | {"not tried": "not tried"}


def _ending(
    words: str, choices: Sequence[str], example: str, kind: SeenKind | None = None
) -> tuple[str, str]:
    """The name and what was seen of it, which ends the sentence."""
    spoken = {choice: choice for choice in choices} | (dict(SYNONYMS[kind]) if kind else {})
    lowered = words.casefold().rstrip(" .,;")
    for said in sorted(spoken, key=len, reverse=True):
        if lowered.endswith(" " + said):
            name = re.sub(r"\s+(?:is|are)$", "", words[: len(lowered) - len(said)].strip(" ,;:"))
            return name, spoken[said]
    raise _Unclear(f"a name, then one of {', '.join(choices)}, for example: {example}")


def _without_of(words: str) -> str:
    """``coils on the lower feed`` is ``coils lower feed``."""
    return re.sub(r"^(?:on|of|in)\s+(?:the\s+)?", "", words, flags=re.IGNORECASE)


def _lamp(words: str, start: str) -> Entry:
    entry: Entry = {}
    for _ in ("others", "commanded"):
        # The one that stands last is cut off first.
        found = {option: _option(words, option) for option in ("others", "commanded")}
        option = min(found, key=lambda one: -len(found[one][0]) if found[one][1] else 1)
        words, between, rest = found[option]
        if between:
            rest = rest.strip(" ,;.")
            if option == "commanded" and not _ends_with_seen(words):
                # "commanded itself off": what was seen stands behind.
                rest, seen = _ending(rest, _SEEN_LAMP, "lamp C2R1 off commanded itself", "lamp")
                words = f"{words} {seen}"
            entry[option] = meant("lamp", rest) if option == "others" else _reads_words(rest)
    if "others" in entry and entry["others"] not in _SEEN_LAMP:
        raise _Unclear(
            f"what the others showed, one of {', '.join(_SEEN_LAMP)}: lamp C2R1 off; others normal"
        )
    names, seen = _ending(_without_of(words), _SEEN_LAMP, "lamp C2R1 off", "lamp")
    return {start: _names(names), "seen": seen, **entry}


def _ends_with_seen(words: str) -> bool:
    try:
        _ending(words, _SEEN_LAMP, "", "lamp")
    except _Unclear:
        return False
    return True


def _coil(words: str, start: str) -> Entry:
    entry: Entry = {}
    words, between, rest = _option(words, "others")
    if between:
        entry["others"] = meant("coil", rest.strip(" ,;."))
        if entry["others"] not in _SEEN_COIL:
            raise _Unclear(
                f"what the others did, one of {', '.join(_SEEN_COIL)}: coil 7 nothing; others fire"
            )
    names, seen = _ending(_without_of(words), _SEEN_COIL, "coil 7 nothing", "coil")
    return {start: _names(re.sub(r"\s+pulsed$", "", names)), "seen": seen, **entry}


def _fuse(words: str, start: str) -> Entry:
    names, seen = _ending(words, _SEEN_FUSE, "fuse coil supply open", "fuse")
    return {start: _names(names), "seen": seen}


def _new_fuse(words: str, start: str) -> Entry:
    words, pulsed, coil = words.partition(" pulsed ")
    seen = ("holds", "blows at once", "blows after a while", "not sure")
    name, how = _ending(words, seen, f"{start} F6 blows at once pulsed 4")
    return {start: name, "seen": how, **({"pulsed": coil.strip()} if pulsed else {})}


def _power_up(words: str, start: str) -> Entry:
    lowered = words.casefold()
    if lowered in ("nothing locked", "nothing", "not sure"):
        return {start: lowered}
    if not lowered.startswith("locked "):
        raise _Unclear("power up nothing locked, or power up locked 7, 8")
    return {start: {"locked": _names(words[len("locked ") :])}}


def _meter(words: str, start: str) -> Entry:
    parts = _OPTIONS.split(words)
    options: Entry = {}
    for name, value in zip(parts[1::2], parts[2::2], strict=True):
        options[name] = value.strip() if name in ("power", "pulsed") else _names(value)
    said = parts[0]
    if start == "volts" and not re.search(r"\sto\s", said):
        # One point: the black lead is on ground, as in a report.
        said = re.sub(r"\s+(?=[-+]?[\d.,]+\s*[a-zA-Zµμ]*$)", " to ground ", said, count=1)
    match = _READING.match(said)
    example = f"{start} rail/coil to ground {'48 V' if start == 'volts' else 'OL'}"
    if match is None:
        raise _Unclear(f"two points and a reading, for example: {example}")
    rest = match["rest"].split()
    # A unit may stand apart from its number: take it along.
    units = (
        2
        if len(rest) > 2
        and (re.fullmatch(r"[a-zA-Zµμ\u03a9\u2126]+", rest[-1]) and rest[-2][:1] in "+-.0123456789")
        else 1
    )
    if rest[-2:] == ["not", "sure"]:
        units = 2
    black, reading = " ".join(rest[:-units]), " ".join(rest[-units:])
    if not black:
        raise _Unclear(f"two points and a reading, for example: {example}")
    return {start: {"red": match["red"], "black": black, "reading": reading, **options}}


def _repair(words: str, start: str) -> Entry:
    return {"repair": {"parts": _names(words), "action": _ACTIONS[start]}}


def _plain(words: str, start: str) -> Entry:
    if not words:
        raise _Unclear(f"something after the word {start}")
    return {start: words}


_READERS: tuple[tuple[str, Callable[[str, str], Entry]], ...] = (
    ("press", _press),
    ("hold", _hold),
    ("resting", _resting),
    ("walk", _walk),
    ("lamp", _lamp),
    ("coil", _coil),
    ("power up", _power_up),
    ("fuse", _fuse),
    ("new fuse", _new_fuse),
    ("jumper", _jumper),
    ("wiggle", _wiggle),
    ("warm up", _warm_up),
    ("warm", _warm),
    ("chill", _warm),
    ("volts", _meter),
    ("ohms", _meter),
    ("diode", _meter),
    *((word, _repair) for word in _ACTIONS),
    ("decline", _plain),
    ("override", _plain),
    ("note", _plain),
)
