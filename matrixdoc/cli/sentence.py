"""Symptoms given on the command line: one short sentence each, in place of a report file.

::

    press C3R5 reads nothing                     hold C1R1, C1R2, C2R1 reads C1R1, C1R2, C2R1, C2R2
    resting reads C4R4                           walk fine
    walk C3R5 reads nothing; C3R6 reads C3R6, C4R6; others not tried
    lamp C2R1 off                                lamp C2R1, C2R2 dim commanded itself others normal
    coil 7 nothing                               power up locked 7, 8       (power up nothing locked)
    fuse coil supply open                        smoke                      smell
    new fuse F6 blows at once                    new fuse F6 blows at once pulsed 4
    jumper across switch/C3R5/contact reads C3R5 resting reads nothing opened switch/R5/pin
    jumper coil/7/winding.b to ground coil 7 fires
    lamp C2R1 off swapped C2R1, C3R1             wiggle switch/R5/pin changes
    volts rail/coil to ground 48 V               ohms coil/7/winding.a to coil/7/winding.b OL
    volts switch/C1/lug1 to ground 4.9 V power off held C1R1
    replaced coil/7/driver                       cleaned switch/C3R5/contact
    note the cabinet was damp                    override fuse F5 is out, I watch it

Names that hold a comma or one of the words above cannot be said this way; a report file can.
A sentence becomes one entry of a report, and is checked as such.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Sequence
from typing import Any

from matrixdoc.definition.errors import InputError, Problem, quoted

Entry = dict[str, Any]

_ACTIONS = {
    "replaced": "replace",
    "repaired": "repair",
    "reseated": "reseat",
    "cleaned": "clean",
    "swapped": "swap",
}
_SEEN_LAMP = ("off", "dim", "normal", "bright", "not sure")
_SEEN_COIL = ("fires with others", "fires", "weak", "nothing", "locked on", "not sure")
_SEEN_FUSE = ("good", "open", "not sure")
_READING = re.compile(r"^(?P<red>.+?)\s+to\s+(?P<rest>.+)$")
_OPTIONS = re.compile(r"\s+(power|held|opened|pulsed|lamps)\s+")


class _Unclear(Exception):  # noqa: N818 - becomes an InputError with the sentence in it
    """What the sentence lacks."""


def report_text(sentences: Sequence[str]) -> str:
    """A report (in the JSON subset of YAML) that says what ``sentences`` say.

    Raises:
        InputError: every sentence that does not follow the patterns.
    """
    report: Entry = {}
    entries: list[Entry] = []
    problems: list[Problem] = []
    for sentence in sentences:
        words = " ".join(sentence.split())
        if words in ("smoke", "smell"):
            report[words] = "yes"
            continue
        try:
            entries.append(_entry(words))
        except _Unclear as unclear:
            problems.append(Problem("--saw", 0, 0, "", quoted(sentence), str(unclear)))
    if problems:
        raise InputError(problems)
    return json.dumps({**report, "findings": entries}, ensure_ascii=False)


def _entry(words: str) -> Entry:
    for start, read in _READERS:
        if words == start or words.startswith(start + " "):
            altered: Entry = {}
            if start in ("press", "hold", "resting", "lamp", "coil", "jumper"):
                words, altered = _altered(words)
            return {**read(words[len(start) :].strip(), start), **altered}
    raise _Unclear(f"a sentence that begins with {', '.join(start for start, _ in _READERS)}, smoke or smell")


def _names(words: str) -> list[str]:
    names = [name.strip() for name in re.split(r",| and ", words)]
    if not all(names):
        raise _Unclear("names with commas between them")
    return names


def _reads_words(words: str) -> str | list[str]:
    names = _names(words)
    return names[0] if len(names) == 1 else names


def _split_reads(words: str, example: str) -> tuple[str, str]:
    name, between, reads = words.partition(" reads ")
    if not between or not name.strip() or not reads.strip():
        raise _Unclear(f"what was pressed and what it reads, for example: {example}")
    return name.strip(), reads.strip()


def _press(words: str, start: str) -> Entry:
    name, reads = _split_reads(words, f"{start} C3R5 reads nothing")
    return {start: name, "reads": _reads_words(reads)}


def _hold(words: str, start: str) -> Entry:
    name, reads = _split_reads(words, f"{start} C1R1, C1R2 reads C1R1, C1R2")
    return {start: _names(name), "reads": _reads_words(reads)}


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


def _altered(words: str) -> tuple[str, Entry]:
    """``opened`` and ``swapped`` at the end of a sentence."""
    entry: Entry = {}
    for option in ("swapped", "opened"):
        words, between, rest = words.partition(f" {option} ")
        if between:
            names = _names(rest)
            entry[option] = [names] if option == "swapped" else names
    return words, entry


def _resting(words: str, start: str) -> Entry:
    reads = words.removeprefix("reads").strip()
    if not reads:
        raise _Unclear("what reads with nothing pressed, for example: resting reads C4R4")
    return {start: _reads_words(reads)}


def _walk(words: str, start: str) -> Entry:
    walk: Entry = {}
    odd: Entry = {}
    for piece in filter(None, (piece.strip() for piece in words.split(";"))):
        if piece in ("fine", "all fine", "others fine", "others not tried"):
            walk["others"] = "not tried" if piece.endswith("not tried") else "fine"
            continue
        name, reads = _split_reads(piece, "walk C3R5 reads nothing; others fine")
        odd[name] = _reads_words(reads)
    if not walk and not odd:
        raise _Unclear("what was odd, for example: walk C3R5 reads nothing; others fine")
    return {start: {**walk, "odd": odd} if odd else walk}


def _ending(words: str, choices: Sequence[str], example: str) -> tuple[str, str]:
    for choice in choices:
        if words.endswith(" " + choice):
            return words[: -len(choice)].strip().removesuffix(" is").strip(), choice
    raise _Unclear(f"a name, then one of {', '.join(choices)}, for example: {example}")


def _lamp(words: str, start: str) -> Entry:
    entry: Entry = {}
    for option in ("others", "commanded"):
        words, between, rest = words.partition(f" {option} ")
        if between:
            entry[option] = rest.strip() if option == "others" else _reads_words(rest)
    names, seen = _ending(words, _SEEN_LAMP, "lamp C2R1 off")
    return {start: _names(names), "seen": seen, **entry}


def _coil(words: str, start: str) -> Entry:
    names, seen = _ending(words, _SEEN_COIL, "coil 7 nothing")
    return {start: _names(names), "seen": seen}


def _fuse(words: str, start: str) -> Entry:
    names, seen = _ending(words, _SEEN_FUSE, "fuse coil supply open")
    return {start: _names(names), "seen": seen}


def _new_fuse(words: str, start: str) -> Entry:
    words, pulsed, coil = words.partition(" pulsed ")
    seen = ("holds", "blows at once", "blows after a while", "not sure")
    name, how = _ending(words, seen, f"{start} F6 blows at once pulsed 4")
    return {start: name, "seen": how, **({"pulsed": coil.strip()} if pulsed else {})}


def _power_up(words: str, start: str) -> Entry:
    if words in ("nothing locked", "nothing", "not sure"):
        return {start: words}
    if not words.startswith("locked "):
        raise _Unclear("power up nothing locked, or power up locked 7, 8")
    return {start: {"locked": _names(words.removeprefix("locked "))}}


def _meter(words: str, start: str) -> Entry:
    parts = _OPTIONS.split(words)
    options: Entry = {}
    for name, value in zip(parts[1::2], parts[2::2], strict=True):
        options[name] = value.strip() if name in ("power", "pulsed") else _names(value)
    match = _READING.match(parts[0])
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
    ("volts", _meter),
    ("ohms", _meter),
    ("diode", _meter),
    *((word, _repair) for word in _ACTIONS),
    ("decline", _plain),
    ("override", _plain),
    ("note", _plain),
)
