"""Plain text of 80 columns: shares, tables, charts."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from matrixdoc.cli.text import columns_grid, share, table, wrapped


@pytest.mark.parametrize(
    ("probability", "words"),
    [
        (0.0, "0 %"),
        (1e-9, "< 0.01 %"),
        (0.0005, "0.05 %"),
        (0.0312, "3.1 %"),
        (0.62, "62 %"),
        (0.9962, "99.6 %"),
        (0.99996, "> 99.9 %"),
        (1.0, "100 %"),
    ],
)
def test_a_share_is_never_a_false_certainty(probability: float, words: str) -> None:
    assert share(probability) == words


@given(st.floats(0.0, 1.0))
def test_only_certainty_reads_as_certainty(probability: float) -> None:
    assert (share(probability) == "100 %") == (probability == 1.0)
    assert (share(probability) == "0 %") == (probability == 0.0)


def test_a_number_keeps_its_unit_on_the_line() -> None:
    for length in range(60, 80):
        lines = wrapped("x" * length + " 12.5 % and 3 min").splitlines()
        assert all(not line.strip().startswith(("%", "min")) for line in lines)


@given(st.lists(st.tuples(st.text(max_size=10), st.text(max_size=200)), min_size=1, max_size=5))
def test_no_text_steers_the_terminal_or_breaks_a_table(rows: list[tuple[str, str]]) -> None:
    shown = table(rows, ("A", "B"))
    assert all(c.isprintable() or c == "\n" for c in shown)


def test_a_wide_chart_is_cut_into_blocks() -> None:
    heads = [f"C{k}" for k in range(1, 33)]
    rows = [(f"R{k}", [f"cell {k}"] * 32) for k in range(1, 4)]
    shown = columns_grid(heads, rows, 4)
    assert max(map(len, shown.splitlines())) <= 80
    assert all(f"|{head} " in shown or f"|{head}\n" in shown for head in heads)
