"""Cells: glyph, letter and word, at every width, with and without drawing letters; contrast."""

from __future__ import annotations

import itertools

import pytest
from rich.cells import cell_len
from textual.color import Color

from matrixdoc.bench import state
from matrixdoc.bench.cells import GridModel, cell_text, sign_words
from matrixdoc.bench.marks import Seen
from matrixdoc.bench.palette import DAY, NIGHT
from matrixdoc.bench.rows import wrap
from matrixdoc.bench.signs import SIGNS, clean, percent
from tests.bench.fakes import fake_case, make_wiring


def grid_model(**changes):
    view = state.open_view(fake_case())
    return GridModel(view.places[0], **changes)


@pytest.mark.parametrize("plain", [False, True])
@pytest.mark.parametrize("width", range(2, 15))
@pytest.mark.parametrize("height", [1, 2])
def test_a_cell_fills_its_place_exactly(width, height, plain):
    seen = {"switch/C1R1": Seen("always", "", 1), "switch/C1R2": Seen("others", "", 2)}
    model = grid_model(seen=seen, suspects={"switch/C1R1": 0.9, "switch/C1R3": 0.9}, plain=plain)
    for position in itertools.product(range(5), range(5)):
        text = cell_text(model, position, width, height)
        assert len(text.lines) == height
        assert [cell_len(line) for line in text.lines] == [width] * height


@pytest.mark.parametrize("plain", [False, True])
@pytest.mark.parametrize("width", [2, 3, 5, 7, 8, 12])
@pytest.mark.parametrize("device", list(SIGNS))
def test_marks_differ_without_colour(device, width, plain):
    drawn = [sign_words(device, Seen(s.key, "", 1), plain=plain, width=width) for s in SIGNS[device]]
    assert len(set(drawn)) == len(drawn)
    if width >= 5:
        assert all(any(c.isalpha() for c in one) for one in drawn)
    if plain:
        assert all(one.isascii() for one in drawn)


def test_old_marks_are_written_small():
    assert sign_words("switch", Seen("never", "", 1, old=True), plain=False, width=9) == "× never"


def test_the_cursor_and_suspicion_show_in_letters():
    model = grid_model(cursor=(0, 0), suspects={"switch/C1R2": 0.5})
    assert cell_text(model, (0, 0), 8, 1).lines[0].startswith("►")
    assert cell_text(model, (0, 1), 8, 1).lines[0].startswith("!")
    assert cell_text(model, (0, 2), 8, 1).lines[0].startswith(" ")


def test_wide_letters_keep_their_width():
    wiring = make_wiring()
    view = state.open_view(fake_case(wiring))
    assert cell_len(cell_text(GridModel(view.places[0]), (0, 0), 9, 2).lines[0]) == 9
    assert wrap("一二三四五六 七八", 5) == ["一二", "三四", "五六", "七八"]


@pytest.mark.parametrize("width", range(1, 12))
def test_wrapping_loses_nothing_and_ends(width):
    text = "a bb ccc dddddddddddddddd e"
    lines = wrap(text, width)
    assert all(cell_len(line) <= width for line in lines)
    assert "".join("".join(lines).split()) == "".join(text.split())


@pytest.mark.parametrize("theme", [NIGHT, DAY], ids=lambda t: t.name)
def test_text_stands_out(theme):
    """WCAG 2.2, 1.4.6: 7:1 for text; relative luminance as WCAG defines it."""

    def luminance(colour):
        parts = [c / 255 for c in Color.parse(colour).rgb]
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    def contrast(one, two):
        high, low = sorted((luminance(one), luminance(two)), reverse=True)
        return (high + 0.05) / (low + 0.05)

    own = theme.variables
    for ground in (theme.background, theme.surface, theme.panel):
        for text in (theme.foreground, theme.error, theme.success, theme.warning, own["bench-head"]):
            assert contrast(text, ground) >= (7 if ground != theme.panel else 5.5), (text, ground)
        assert contrast(own["bench-dim"], ground) >= 4.5
    assert contrast(own["bench-cursor-text"], own["bench-cursor"]) >= 7
    assert contrast(own["bench-alarm-text"], own["bench-alarm"]) >= 7
    # The WCAG example of the greatest contrast there is (21:1) as a check of the formula itself.
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)


def test_percent_never_claims_certainty():
    assert [percent(p) for p in (0.0, 0.004, 0.005, 0.62, 0.994, 1.0)] == [
        "<1 %",
        "<1 %",
        "0 %",
        "62 %",
        "99 %",
        ">99 %",
    ]


def test_hostile_words_are_shown_as_text():
    assert clean("\x1b[31mred\x07 [bold]") == "\\x1b[31mred\\x07 [bold]"
