"""What people say of a fault that follows warmth: works cold, fails after twenty minutes."""

from __future__ import annotations

import re

from matrixdoc.cli.sentence_readers import Entry, Unclear

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


def from_cold_to_warm(words: str) -> Entry | None:
    """``switch C3R5 works cold, fails after twenty minutes``; None for anything else.

    Raises:
        Unclear: the two halves contradict each other.
    """
    match = _WARMTH.match(words.rstrip(" ."))
    if match is None or match["name"].casefold().startswith("warm up"):
        return None
    warm = bool(match["after"]) or match["fails"].casefold() != "cold"
    works = (match["works"] or "").casefold()
    if works and (works == "cold") != warm:
        raise Unclear("cold in one half and warm in the other: switch C3R5 works cold, fails warm")
    name = re.sub(r"^press\s+", "", match["name"], flags=re.IGNORECASE)
    return {"warm up": name, "seen": "fails warm" if warm else "fails cold", "words": words}
