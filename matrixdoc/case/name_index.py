"""Tables of names: words as they are compared, tiers of authority, and what is said of a name that fails."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from difflib import get_close_matches

from matrixdoc.definition.errors import quoted

_SEPARATORS = re.compile(r"[\s_/\-]+")
_BEHIND = re.compile(r" \([^()]*\)$")
_SEVERAL = "this means"
LONGEST_NAME = 200
"""Longer words are no name on a machine; they are refused before any comparing."""
SHOWN_CANDIDATES = 6
_FEW = 12


class NameTrouble(Exception):  # noqa: N818 - becomes one line of an error, is none by itself
    """Words that name nothing, or several things: what was found, what would be right."""

    def __init__(self, found: str, expected: str, suggestion: str = "") -> None:
        super().__init__(found, expected, suggestion)
        self.found = found
        self.expected = expected
        self.suggestion = suggestion

    @property
    def ambiguous(self) -> bool:
        """Whether the words mean several things (and the suggestion names them)."""
        return self.suggestion.startswith(_SEVERAL)

    def __str__(self) -> str:
        """The whole as one sentence."""
        hint = f"; {self.suggestion}" if self.suggestion else ""
        return f"found {quoted(self.found)}; expected {self.expected}{hint}"


def several(words: str, what: str, references: Iterable[str]) -> NameTrouble:
    """Words that mean several things, all of them (or the first few) named."""
    named = list(references)
    shown = ", ".join(named[:SHOWN_CANDIDATES])
    more = len(named) - SHOWN_CANDIDATES
    shown += f" and {more} more" if more > 0 else ""
    return NameTrouble(words, f"one {what}", f"{_SEVERAL} {len(named)} of them: {shown}")


@dataclass
class Index:
    """Names of one kind of thing, in tiers of falling authority.

    ``kinds`` are the words that people put before or behind a name (``lamp bonus 3``, ``bonus 3 lamp``);
    they are left out where the words as they stand name nothing.
    """

    what: str
    kinds: tuple[str, ...] = ()
    tiers: tuple[dict[str, list[str]], ...] = field(default_factory=lambda: ({}, {}, {}, {}))
    written: dict[str, str] = field(default_factory=dict)

    def add(self, tier: int, words: str, reference: str) -> None:
        """Let ``words`` mean ``reference``; a lower tier outranks a higher one."""
        key = plain(words)
        if not key:
            return
        targets = self.tiers[tier].setdefault(key, [])
        if reference not in targets:
            targets.append(reference)
        self.written.setdefault(key, words)

    def find_all(self, words: str) -> list[str]:
        """Everything that the words mean in the first tier that knows them; empty for nothing."""
        if len(words) > LONGEST_NAME:
            return []
        key = plain(words)
        # "switch C1R4 (back box door)" is how results name it: the title behind it may be left out.
        bare = _BEHIND.sub("", key)
        keys = dict.fromkeys((key, *without_kind(key, self.kinds), bare, *without_kind(bare, self.kinds)))
        for candidate in keys:
            for tier in self.tiers:
                if targets := tier.get(candidate):
                    return targets
        return []

    def find(self, words: str) -> str:
        """The one thing that the words mean.

        Raises:
            NameTrouble: they mean nothing, or several things.
        """
        targets = self.find_all(words)
        if not targets:
            hint = self.near(plain(words)) or self.examples()
            raise NameTrouble(words, f"a {self.what} of this machine", hint)
        if len(targets) > 1:
            raise several(words, self.what, targets)
        return targets[0]

    def examples(self) -> str:
        """All the names there are, where they are few."""
        every = list(dict.fromkeys(one for targets in self.tiers[0].values() for one in targets))
        if not every:
            return f"it has no {self.what}"
        return f"as {self.what} it has {', '.join(every)}" if len(every) <= _FEW else ""

    def near(self, key: str) -> str:
        """``did you mean ...?`` with the nearest names, or nothing."""
        close = get_close_matches(key[:LONGEST_NAME], self.written, n=3, cutoff=0.6)
        return "did you mean " + " or ".join(self.written[c] for c in close) + "?" if close else ""


def plain(words: str) -> str:
    """Words as they are compared: lower case, one space for any run of blanks, ``/``, ``_``, ``-``."""
    return _SEPARATORS.sub(" ", words).strip().casefold()


def without_kind(key: str, kinds: Iterable[str]) -> list[str]:
    """The words of ``key`` without a word for the kind of thing before or behind them."""
    found = []
    for kind in kinds:
        if key.startswith(f"{kind} "):
            found.append(key.removeprefix(f"{kind} "))
        if key.endswith(f" {kind}"):
            found.append(key.removesuffix(f" {kind}"))
    return found
