"""The sentences of ``--saw``, one reader for each word that they begin with.

A reader takes what stands behind that word, and the word, and gives one entry of a report.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import Any

from matrixdoc.case.report_words import SYNONYMS, SeenKind, meant

Entry = dict[str, Any]
"""One entry of a report, as its file has it."""

_ACTIONS = {
    "replaced": "replace",
    "repaired": "repair",
    "reseated": "reseat",
    "cleaned": "clean",
    "swapped": "swap",
}
SEEN_LAMP = ("off", "dim", "normal", "bright", "flickers", "not sure")
SEEN_COIL = ("fires with others", "fires twice", "fires", "weak", "nothing", "locked on", "not sure")
SEEN_FUSE = ("good", "open", "not sure")
READS = re.compile(r"\s+reads?\s+", re.IGNORECASE)
_NO_LONGER = re.compile(r"[\s,;]+(?:and\s+)?no longer\s+", re.IGNORECASE)
_READING = re.compile(r"^(?P<red>.+?)\s+to\s+(?P<rest>.+)$")
_OPTIONS = re.compile(r"\s+(power|held|opened|pulsed|lamps)\s+")


class Unclear(Exception):  # noqa: N818 - becomes an InputError with the sentence in it
    """What the sentence lacks, and a hint."""

    def __init__(self, expected: str, hint: str = "") -> None:
        super().__init__(expected)
        self.hint = hint


def reads_and_missing(words: str) -> Entry:
    """``reads`` and what is missing of it: ``nothing, and no longer switch C1R5``.

    Raises:
        Unclear: there is a comma with no name beside it.
    """
    reads, *missing = _NO_LONGER.split(words, maxsplit=1)
    entry: Entry = {"reads": _reads_words(reads.strip(" ,;"))}
    return {**entry, "missing": names_in(missing[0])} if missing else entry


def option_in(words: str, option: str) -> tuple[str, str, str]:
    """What stands before and behind a word of its own, such as ``others``; like ``str.partition``."""
    match = re.search(rf"[\s,;]+{option}:?\s+", words, re.IGNORECASE)
    return (words[: match.start()], option, words[match.end() :]) if match else (words, "", "")


def names_in(words: str) -> list[str]:
    """The names between commas.

    Raises:
        Unclear: there is a comma with no name beside it.
    """
    names = [name.strip() for name in re.split(r"[,;]\s*and |[,;]| and ", words, flags=re.IGNORECASE)]
    if not all(names):
        raise Unclear("names with commas between them")
    return names


def _reads_words(words: str) -> str | list[str]:
    names = names_in(words)
    return names[0] if len(names) == 1 else names


def _split_reads(words: str, example: str) -> tuple[str, str]:
    pieces = READS.split(f" {words} ")
    if len(pieces) > 2:
        raise Unclear(
            "one 'reads' for each switch, with ; between them: walk C1R1 reads nothing; C2R3 reads C4R4"
        )
    if len(pieces) < 2 or not all(piece.strip() for piece in pieces):
        raise Unclear(f"what was pressed and what it reads, for example: {example}")
    return pieces[0].strip(), pieces[1].strip()


def _press(words: str, start: str) -> Entry:
    name, reads = _split_reads(words, f"{start} C3R5 reads nothing")
    if "," in name:
        raise Unclear("one switch after press", "say hold for several at once, walk for one after the other")
    return {start: name, **reads_and_missing(reads)}


def _hold(words: str, start: str) -> Entry:
    name, reads = _split_reads(words, f"{start} C1R1, C1R2 reads C1R1, C1R2")
    return {start: names_in(name), **reads_and_missing(reads)}


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
        entry = {"resting": _reads_words(rest)} if word == " reads " else read_coil(rest, "coil")
        return {**entry, "jumpers": [lead]}
    raise Unclear(f"where the jumper lies and what was seen, for example: {example}")


def _wiggle(words: str, start: str) -> Entry:
    name, seen = ending(words, ("changes", "stays", "not sure"), f"{start} switch/R5/pin changes")
    return {start: name, "seen": seen}


def _warm_up(words: str, start: str) -> Entry:
    seen = ("fails warm", "fails cold", "no change", "not sure")
    name, how = ending(words, seen, f"{start} switch C3R5 fails warm")
    return {start: name, "seen": how}


def _warm(words: str, start: str) -> Entry:
    entry = _wiggle(words, start)
    return {"warm": entry[start], "seen": entry["seen"]}


def altered_in(words: str) -> tuple[str, Entry]:
    """The sentence without ``opened`` and ``swapped`` at its end, and what they say."""
    entry: Entry = {}
    for option in ("swapped", "opened"):
        words, between, rest = option_in(words, option)
        if between:
            names = names_in(rest)
            entry[option] = [names] if option == "swapped" else names
    return words, entry


def _resting(words: str, start: str) -> Entry:
    reads = re.sub(r"^reads?\b", "", words, flags=re.IGNORECASE).strip()
    if not reads:
        raise Unclear("what reads with nothing pressed, for example: resting reads C4R4")
    told = reads_and_missing(reads)
    return {start: told.pop("reads"), **told}


def read_walk(words: str, start: str, others: str = "") -> Entry:
    """What was odd when every switch was pressed alone; ``others``: what is taken of the rest.

    Raises:
        Unclear: nothing odd is named, and nothing of the others.
    """
    walk: Entry = {"others": others} if others else {}
    odd: Entry = {}
    for piece in filter(None, (piece.strip(" ,:") for piece in words.split(";"))):
        before, _, rest = option_in(f" {piece}", "others")
        if (rest or piece).casefold() in _OTHERS:
            walk["others"] = _OTHERS[(rest or piece).casefold()]
            piece = before.strip()
        if not piece or piece.casefold() in _OTHERS:
            continue
        name, reads = _split_reads(piece, "walk C3R5 reads nothing; others fine")
        odd.update(dict.fromkeys(names_in(name), _reads_words(reads)))
    if not walk and not odd:
        raise Unclear("what was odd, for example: walk C3R5 reads nothing; others fine")
    return {start: {**walk, "odd": odd} if odd else walk}


_OTHERS = dict.fromkeys(("fine", "all fine", "ok", "normal"), "fine") | {"not tried": "not tried"}


def ending(words: str, choices: Sequence[str], example: str, kind: SeenKind | None = None) -> tuple[str, str]:
    """The name and what was seen of it, which ends the sentence; ``kind`` lets everyday words in.

    Raises:
        Unclear: it ends otherwise; ``example`` tells how it should.
    """
    spoken = {choice: choice for choice in choices} | (dict(SYNONYMS[kind]) if kind else {})
    lowered = words.casefold().rstrip(" .,;")
    for said in sorted(spoken, key=len, reverse=True):
        if lowered.endswith(" " + said):
            name = re.sub(r"\s+(?:is|are)$", "", words[: len(lowered) - len(said)].strip(" ,;:"))
            return name, spoken[said]
    raise Unclear(f"a name, then one of {', '.join(choices)}, for example: {example}")


def _without_of(words: str) -> str:
    """``coils on the lower feed`` is ``coils lower feed``."""
    return re.sub(r"^(?:on|of|in)\s+(?:the\s+)?", "", words, flags=re.IGNORECASE)


def read_lamp(words: str, start: str) -> Entry:
    """Lamps, what was commanded, what they and the others showed.

    Raises:
        Unclear: it does not end in what a lamp may show.
    """
    entry: Entry = {}
    for _ in ("others", "commanded"):
        # The one that stands last is cut off first.
        found = {option: option_in(words, option) for option in ("others", "commanded")}
        option = min(found, key=lambda one: -len(found[one][0]) if found[one][1] else 1)
        words, between, rest = found[option]
        if between:
            rest = rest.strip(" ,;.")
            if option == "commanded" and not _ends_with_seen(words):
                # "commanded itself off": what was seen stands behind.
                rest, seen = ending(rest, SEEN_LAMP, "lamp C2R1 off commanded itself", "lamp")
                words = f"{words} {seen}"
            entry[option] = meant("lamp", rest) if option == "others" else _reads_words(rest)
    if "others" in entry and entry["others"] not in SEEN_LAMP:
        raise Unclear(f"what the others showed, one of {', '.join(SEEN_LAMP)}: lamp C2R1 off; others normal")
    names, seen = ending(_without_of(words), SEEN_LAMP, "lamp C2R1 off", "lamp")
    return {start: names_in(names), "seen": seen, **entry}


def _ends_with_seen(words: str) -> bool:
    try:
        ending(words, SEEN_LAMP, "", "lamp")
    except Unclear:
        return False
    return True


def read_coil(words: str, start: str) -> Entry:
    """Coils that were pulsed, what they and the others did.

    Raises:
        Unclear: it does not end in what a coil may do.
    """
    entry: Entry = {}
    words, between, rest = option_in(words, "others")
    if between:
        entry["others"] = meant("coil", rest.strip(" ,;."))
        if entry["others"] not in SEEN_COIL:
            raise Unclear(f"what the others did, one of {', '.join(SEEN_COIL)}: coil 7 nothing; others fire")
    names, seen = ending(_without_of(words), SEEN_COIL, "coil 7 nothing", "coil")
    return {start: names_in(re.sub(r"\s+pulsed$", "", names)), "seen": seen, **entry}


def read_fuse(words: str, start: str) -> Entry:
    """Fuses that were measured, and what the meter said.

    Raises:
        Unclear: it does not end in what a fuse may be.
    """
    names, seen = ending(words, SEEN_FUSE, "fuse coil supply open", "fuse")
    return {start: names_in(names), "seen": seen}


def _new_fuse(words: str, start: str) -> Entry:
    words, pulsed, coil = words.partition(" pulsed ")
    seen = ("holds", "blows at once", "blows after a while", "not sure")
    name, how = ending(words, seen, f"{start} F6 blows at once pulsed 4")
    return {start: name, "seen": how, **({"pulsed": coil.strip()} if pulsed else {})}


def _power_up(words: str, start: str) -> Entry:
    lowered = words.casefold()
    if lowered in ("nothing locked", "nothing", "not sure"):
        return {start: lowered}
    if not lowered.startswith("locked "):
        raise Unclear("power up nothing locked, or power up locked 7, 8")
    return {start: {"locked": names_in(words[len("locked ") :])}}


def _meter(words: str, start: str) -> Entry:
    parts = _OPTIONS.split(words)
    options: Entry = {}
    for name, value in zip(parts[1::2], parts[2::2], strict=True):
        options[name] = value.strip() if name in ("power", "pulsed") else names_in(value)
    said = parts[0]
    if start == "volts" and not re.search(r"\sto\s", said):
        # One point: the black lead is on ground, as in a report.
        said = re.sub(r"\s+(?=[-+]?[\d.,]+\s*[a-zA-Zµμ]*$)", " to ground ", said, count=1)
    match = _READING.match(said)
    example = f"{start} rail/coil to ground {'48 V' if start == 'volts' else 'OL'}"
    if match is None:
        raise Unclear(f"two points and a reading, for example: {example}")
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
        raise Unclear(f"two points and a reading, for example: {example}")
    return {start: {"red": match["red"], "black": black, "reading": reading, **options}}


def _repair(words: str, start: str) -> Entry:
    return {"repair": {"parts": names_in(words), "action": _ACTIONS[start]}}


def _plain(words: str, start: str) -> Entry:
    if not words:
        raise Unclear(f"something after the word {start}")
    return {start: words}


READERS: tuple[tuple[str, Callable[[str, str], Entry]], ...] = (
    ("press", _press),
    ("hold", _hold),
    ("resting", _resting),
    ("walk", read_walk),
    ("lamp", read_lamp),
    ("coil", read_coil),
    ("power up", _power_up),
    ("fuse", read_fuse),
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
"""What a sentence may begin with, and its reader; longer beginnings are told by the blank behind them."""
