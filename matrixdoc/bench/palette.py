"""The bench's own colours: a cutting mat under a hand lamp, and the same by day.

Dark petrol, bone and amber, chosen for poor light: text at least 7:1 against its ground (WCAG 2.2,
success criterion 1.4.6, contrast enhanced); a test computes it.
"""

from __future__ import annotations

import re

from textual.theme import Theme

NIGHT = Theme(
    name="bench-night",
    primary="#ffb627",
    secondary="#8fd3c4",
    accent="#ffb627",
    foreground="#f4f1e6",
    background="#0e1b1b",
    surface="#152726",
    panel="#1f3a37",
    success="#8ee08f",
    warning="#ffb627",
    error="#ff9a84",
    dark=True,
    variables={
        "bench-dim": "#a9bab4",
        "bench-alarm": "#b3001b",
        "bench-alarm-text": "#ffffff",
        "bench-cursor": "#ffb627",
        "bench-cursor-text": "#0e1b1b",
        "bench-head": "#8fd3c4",
    },
)
DAY = Theme(
    name="bench-day",
    primary="#6b3500",
    secondary="#0b5345",
    accent="#6b3500",
    foreground="#141a18",
    background="#f6f2e7",
    surface="#ece6d6",
    panel="#ddd5c0",
    success="#0f4d1a",
    warning="#6b3500",
    error="#8c1005",
    dark=False,
    variables={
        "bench-dim": "#3f4a45",
        "bench-alarm": "#a30016",
        "bench-alarm-text": "#ffffff",
        "bench-cursor": "#141a18",
        "bench-cursor-text": "#ffdf9e",
        "bench-head": "#0b5345",
    },
)
FALLBACK_VARIABLES = {
    "bench-dim": "ansi_default",
    "bench-alarm": "ansi_red",
    "bench-alarm-text": "ansi_bright_white",
    "bench-cursor": "ansi_yellow",
    "bench-cursor-text": "ansi_black",
    "bench-head": "ansi_cyan",
}
"""What the variables above are on themes that do not set them: the terminal's own colours."""

TURN = ("bench-night", "bench-day", "ansi-dark", "ansi-light")
"""The order in which one key goes through the colours."""

_FONT_FACE = re.compile(r"@font-face\s*\{.*?\}\s*", re.DOTALL)
_FONT_NAMES = re.compile(r"font-family:\s*(?:Fira Code|arial)(?:\s*,\s*monospace)?")


def without_fonts(svg: str) -> str:
    """``svg`` without links to web fonts: any monospaced font of the reader's own will do."""
    return _FONT_NAMES.sub("font-family: monospace", _FONT_FACE.sub("", svg))
