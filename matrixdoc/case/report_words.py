"""Everyday words for what was seen, and the words of the report form that they stand for.

Only words that can mean one thing are here: "blows" of a new fuse, or "glows" of a lamp, are not.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Literal

SeenKind = Literal["lamp", "coil", "fuse"]

SYNONYMS: Mapping[SeenKind, Mapping[str, str]] = MappingProxyType(
    {
        "lamp": {
            "dark": "off",
            "out": "off",
            "dead": "off",
            "on": "normal",
            "lit": "normal",
            "fine": "normal",
            "ok": "normal",
            "weak": "dim",
            "flicker": "flickers",
            "flickering": "flickers",
            "pulsing": "flickers",
            "faint": "dim",
        },
        "coil": {
            "dead": "nothing",
            "does nothing": "nothing",
            "do nothing": "nothing",
            "fine": "fires",
            "ok": "fires",
            "works": "fires",
            "hums": "weak",
            "hum": "weak",
            "buzzes": "weak",
            "fire": "fires",
            "fire twice": "fires twice",
            "double fires": "fires twice",
            "double-fires": "fires twice",
            "flutters": "fires twice",
            "locked": "locked on",
            "locks on": "locked on",
            "stuck on": "locked on",
            "stays on": "locked on",
        },
        "fuse": {"blown": "open", "bad": "open", "fine": "good", "ok": "good", "intact": "good"},
    }
)


def meant(kind: SeenKind, words: str) -> str:
    """The word of the form that ``words`` stand for; the words themselves where there is none."""
    plain = " ".join(words.split()).casefold()
    return SYNONYMS[kind].get(plain, plain)
