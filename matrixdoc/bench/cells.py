"""How one cell of a grid looks, worked out without any screen."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from rich.cells import cell_len, set_cell_size

from matrixdoc.bench.marks import Seen
from matrixdoc.bench.places import Place, Position, Spot
from matrixdoc.bench.signs import PLAIN_GLYPHS, RICH_GLYPHS, Glyphs, sign_of

SUSPICION = 0.1
"""Share of the whole above which a cell or line is marked as suspect."""


@dataclass(frozen=True)
class GridModel:
    """What a grid shows. ``focus_cell`` says whether keys go here."""

    place: Place
    cursor: Position = (0, 0)
    seen: Mapping[str, Seen] = field(default_factory=dict)
    suspects: Mapping[str, float] = field(default_factory=dict)
    suspect_lines: Mapping[tuple[str, str], float] = field(default_factory=dict)
    chosen: frozenset[str] | None = None
    asked: str = ""
    plain: bool = False


@dataclass(frozen=True, slots=True)
class CellText:
    """Text lines of a cell, each exactly as wide as the cell, and the names of its styles."""

    lines: tuple[str, ...]
    tone: str
    old: bool = False
    cursor: bool = False
    suspect: bool = False


def sign_words(device: str, seen: Seen, *, plain: bool, width: int) -> str:
    """A mark in at most ``width`` letters: glyph and word, or glyph and letter."""
    sign = sign_of(device, seen.mark)
    glyph = sign.plain if plain else sign.glyph
    if width < 5:
        return f"{glyph}{sign.letter.upper()}"[:width]
    word = sign.short.lower() if seen.old else sign.short
    spaced = f"{glyph} {word}"
    return spaced if cell_len(spaced) <= width else set_cell_size(f"{glyph}{word}", width).rstrip()


def cell_text(model: GridModel, position: Position, width: int, height: int) -> CellText:
    """How the cell at ``position`` looks, ``width`` columns by ``height`` lines."""
    glyphs: Glyphs = PLAIN_GLYPHS if model.plain else RICH_GLYPHS
    spot = model.place.spot(position)
    cursor = position == model.cursor
    if spot is None:
        return CellText((" " * width,) * height, "none", cursor=cursor)
    chosen = model.chosen is not None and spot.reference in model.chosen
    asked = model.chosen is not None and spot.reference == model.asked
    suspect = model.suspects.get(spot.reference, 0.0) >= SUSPICION
    seen = model.seen.get(spot.reference)
    inner = width - 1 if width >= 4 else width
    first, tone = _first_line(model, spot, seen, inner, glyphs, chosen=chosen)
    if asked and not chosen:
        tone = "asked"
    second = spot.title if spot.fitted else ""
    if height > 1 and tone == "plain":
        front = f"{glyphs.closed} " if spot.normally_closed else ""
        first, second = _two_lines(front + spot.title, inner)
    lines = [_framed(first, width, glyphs, cursor=cursor, suspect=suspect)]
    if height > 1:
        lines.append(_framed(second, width, glyphs, cursor=False, suspect=False))
    return CellText(tuple(lines), tone, seen is not None and seen.old, cursor, suspect)


def _first_line(
    model: GridModel, spot: Spot, seen: Seen | None, width: int, glyphs: Glyphs, *, chosen: bool
) -> tuple[str, str]:
    if chosen:
        word = "ON" if model.place.device == "lamp" else "READS"
        return (f"{glyphs.chosen} {word}" if width >= 5 else glyphs.chosen), "chosen"
    if not spot.fitted:
        return "", "none"
    if seen is not None:
        sign = sign_of(model.place.device, seen.mark)
        words = sign_words(model.place.device, seen, plain=model.plain, width=width)
        if spot.normally_closed and cell_len(words) < width:
            words += glyphs.closed
        return words, sign.tone
    unmarked = glyphs.closed if spot.normally_closed else glyphs.unmarked
    return (f"{unmarked} {spot.title}" if width >= 7 else unmarked), "plain"


def _two_lines(title: str, width: int) -> tuple[str, str]:
    """A title over two lines of ``width``, broken between words where that fits."""
    first, words = "", title.split()
    while words and cell_len(f"{first} {words[0]}".strip()) <= width:
        first = f"{first} {words.pop(0)}".strip()
    return (first, " ".join(words)) if first else (title[:width], title[width:])


def _framed(text: str, width: int, glyphs: Glyphs, *, cursor: bool, suspect: bool) -> str:
    """``text`` in a cell, behind the sign of the cursor or of suspicion."""
    if width < 4:
        return set_cell_size(text, width)
    if cursor:
        # The line below says how suspect the place is; the cursor's sign must not hide the mark.
        room = cell_len(text) < width - 1
        tail = glyphs.suspect if suspect and room else ""
        return glyphs.cursor + set_cell_size(text, width - 1 - len(tail)) + tail
    return (glyphs.suspect if suspect else " ") + set_cell_size(text, width - 1)
