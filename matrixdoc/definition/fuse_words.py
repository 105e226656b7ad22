"""A fuse as people write it and as it is printed: name, rating, and how fast it blows.

The letters stand for the characteristic, before or behind the rating: F quick-acting and T time-lag,
which are ``fast`` and ``slow`` here; FF very quick-acting, M medium and TT long time-lag are known
and refused. A voltage and the letter of the breaking capacity (L, H, E) may follow. (IEC 60127-1,
clause on marking, and IEC 60127-2, standard sheets 1 to 6: the letters are from memory; the gates of
sheets 2 (F) and 3 (T) were looked up for :mod:`matrixdoc.checks.fuses`.)
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from matrixdoc.definition.errors import InputError, quoted, refusal
from matrixdoc.definition.numbers import parse_quantity

Blow = Literal["", "fast", "slow"]

_WANTED = "the rating of a fuse, such as '3.15 A', '3.15 A slow' or 'T 3.15 A'"
_SPEEDS: dict[str, Blow] = {"f": "fast", "fast": "fast", "quick": "fast", "t": "slow", "slow": "slow"}
_UNKNOWN = {
    "ff": "FF is very quick-acting",
    "m": "M is a medium time-lag",
    "tt": "TT is a long time-lag",
}
_SPEED = r"FF|TT|F|T|M|fast|quick|slow"
_AMOUNT = r"(?:\d+(?:[.,]\d+)?\s*(?:mA|A(?:mps?|mperes?)?)?|\d*A\d+)"
_MARKED = re.compile(
    rf"""(?:(?P<name>fuse\s+[A-Z]{{0,3}}\d+[a-z]?|[A-Z]{{1,3}}\d+[a-z]?):?\s+)?
         (?:(?P<before>{_SPEED})[\s,]*(?=[\d.A]))?
         (?P<amount>{_AMOUNT})
         (?:[\s,-]*(?P<behind>{_SPEED})(?:[\s-]*blow(?:ing)?)?)?
         (?:[\s,]*[LHE])?(?:[\s,/]*\d+\s*V(?:\s*(?:AC|~))?)?""",
    re.VERBOSE | re.IGNORECASE | re.ASCII,
)
# A bare number is no name here: '1 5 A' may be a slip of '1.5 A'.
_NAME_ALONE = re.compile(r"[A-Z]{1,3}\d+[a-z]?", re.ASCII | re.IGNORECASE)
_TWO_NUMBERS = re.compile(r"\d+ +\d", re.ASCII)
_TEXT_LIMIT = 120  # enough for any marking; keeps the search for one short


@dataclass(frozen=True)
class FuseMarking:
    """What one text says of a fuse: ``name`` may be empty, ``rating_a`` in amperes."""

    name: str
    rating_a: float
    blow: Blow


def parse_fuse(text: str) -> FuseMarking:
    """Read ``5 A``, ``3.15 A slow``, ``T3.15A``, ``3 AT``, ``T 2 A L 250 V`` or ``F2 3 A slow``.

    Raises:
        InputError: no rating, a characteristic that is not known here, or a name without a rating.
    """
    plain = text.strip()
    found = _MARKED.fullmatch(plain) if len(plain) <= _TEXT_LIMIT else None
    if found is None:
        if _NAME_ALONE.fullmatch(plain):
            hint = f"if that is its name, write {{name: {plain}, rating: ...}}"
            raise refusal(text, _WANTED, hint)
        if _TWO_NUMBERS.match(plain):
            raise refusal(text, _WANTED, "two numbers: write 'fuse' before its name, a point in its rating")
        return FuseMarking("", parse_quantity(plain, "A"), "")
    name = found["name"] or ""
    stated = [word.lower() for word in (found["before"], found["behind"]) if word]
    for word in stated:
        if word in _UNKNOWN:
            hint = f"{_UNKNOWN[word]}; known here are F (fast) and T (slow): write the nearer one"
            raise refusal(text, _WANTED, hint)
    speeds = {_SPEEDS[word] for word in stated}
    if len(speeds) > 1:
        raise refusal(text, _WANTED, "it says both fast and slow")
    if not name and found["before"] and re.fullmatch(r"[FfTtMm]\d+", plain):
        number = plain[1:]
        hint = f"{quoted(plain)} may be its name or its rating: write '{number} A {_SPEEDS[stated[0]]}' or "
        raise refusal(text, _WANTED, f"{hint}{{name: {plain}, rating: ...}}")
    try:
        rating = parse_quantity(found["amount"], "A")
    except InputError as error:
        raise refusal(text, _WANTED, error.problems[0].suggestion) from None
    return FuseMarking(name, rating, speeds.pop() if speeds else "")


def fuse_title(name: str, rating_a: float | None, blow: str) -> str:
    """``fuse F3 (3.15 A slow)``; what is not stated (empty, or None) is left out."""
    called = name if name.lower().startswith("fuse") else f"fuse {name}".strip()
    rated = " ".join(word for word in (f"{rating_a:g} A" if rating_a is not None else "", blow) if word)
    return f"{called} ({rated})" if rated else called
