"""The signs of the bench: what was seen on a device, as glyph, letter and word.

Nothing is told by colour alone: each mark has a glyph, an ASCII glyph for plain terminals, a
letter (the key that sets it) and words. ``tone`` only picks a colour on top of them. The glyphs are
from the 652 letters that the fonts of almost every system hold (Windows Glyph List 4; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from matrixdoc.definition.errors import printable

Device = Literal["switch", "lamp", "coil"]
Tone = Literal["bad", "odd", "good", "unsure"]


@dataclass(frozen=True, slots=True)
class Sign:
    """One mark: ``key`` names it, ``letter`` sets it, ``short`` fits into a cell."""

    key: str
    letter: str
    glyph: str
    plain: str
    short: str
    words: str
    tone: Tone


UNSURE = Sign("unsure", "u", "?", "?", "UNSURE", "not sure", "unsure")

SWITCH_SIGNS = (
    Sign("never", "n", "×", "x", "NEVER", "never reads", "bad"),
    Sign("always", "a", "●", "*", "ALWAYS", "always reads, with nothing pressed", "bad"),
    Sign("others", "o", "→", ">", "OTHERS", "reads others", "odd"),
    Sign("fine", "f", "√", "+", "FINE", "fine: reads by itself", "good"),
    UNSURE,
)
LAMP_SIGNS = (
    Sign("off", "o", "○", "o", "OFF", "off", "bad"),
    Sign("dim", "d", "░", "-", "DIM", "dim", "odd"),
    Sign("normal", "n", "▒", "=", "NORMAL", "normal", "good"),
    Sign("bright", "b", "█", "#", "BRIGHT", "too bright", "odd"),
    Sign("flickers", "f", "≈", "~", "FLICKERS", "flickers", "odd"),
    Sign("stray", "s", "◊", "!", "STRAY", "lights uncommanded", "bad"),
    UNSURE,
)
COIL_SIGNS = (
    Sign("fires", "f", "√", "+", "FIRES", "fires", "good"),
    Sign("weak", "w", "░", "-", "WEAK", "fires weakly", "odd"),
    Sign("nothing", "n", "×", "x", "NOTHING", "does nothing when pulsed", "bad"),
    Sign("locked", "l", "■", "#", "LOCKED", "LOCKED ON by itself", "bad"),
    Sign("others", "o", "→", ">", "OTHERS", "fires with others", "odd"),
    Sign("twice", "b", "»", "2", "TWICE", "fires twice", "odd"),
    UNSURE,
)
SIGNS: dict[str, tuple[Sign, ...]] = {"switch": SWITCH_SIGNS, "lamp": LAMP_SIGNS, "coil": COIL_SIGNS}

PATTERNS = {
    "itself": "it alone commanded on",
    "all": "all lamps commanded on",
    "none": "nothing commanded",
}
"""Which lamps are commanded while a lamp is looked at, with the words for it."""


NORMALLY_CLOSED_WORDS = {
    "never": "never reads, not even at rest, where it should",
    "always": "still reads when pressed: does not open",
    "others": "reads others when pressed",
    "fine": "fine: reads at rest, opens when pressed",
}
"""What the marks of a switch say about one that is normally closed."""


def meaning(sign: Sign, *, normally_closed: bool = False) -> str:
    """The words of a mark on this kind of switch."""
    return NORMALLY_CLOSED_WORDS.get(sign.key, sign.words) if normally_closed else sign.words


def sign_of(device: str, key: str) -> Sign:
    """The sign of that key.

    Raises:
        KeyError: the device has no such sign.
    """
    for sign in SIGNS[device]:
        if sign.key == key:
            return sign
    raise KeyError(key)


@dataclass(frozen=True, slots=True)
class Glyphs:
    """The few drawing characters besides the marks, for both kinds of terminal."""

    unmarked: str
    cursor: str
    chosen: str
    suspect: str
    more: str
    closed: str = "/"
    """A normally closed contact, as the slash of its ladder symbol (IEC 61131-3; from memory)."""


RICH_GLYPHS = Glyphs("·", "►", "•", "!", "...")
PLAIN_GLYPHS = Glyphs(".", ">", "+", "!", "...")


def clean(text: object, limit: int = 400) -> str:
    """Words from a file or a person, safe to put on the screen: one line, no control characters."""
    return printable(text, limit)


def percent(share: float) -> str:
    """A probability for people: ``62 %``, ``<1 %``, ``>99 %``; never a false 0 or 100."""
    if share >= 0.995:
        return ">99 %"
    if share < 0.005:
        return "<1 %"
    return f"{share * 100:.0f} %"


def minutes_words(minutes: float) -> str:
    """``3 min``; halves are kept below ten."""
    if minutes < 10 and abs(minutes - round(minutes)) > 0.25:
        return f"{minutes:.1f} min"
    return f"{minutes:.0f} min"
