"""Charts of matrices as CSV: out and back without loss, and in from every habit."""

import csv
import io
import time
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from matrixdoc.definition.charts import FACTS, Chart, ChartLine, Layout, Order, chart_from_csv, chart_to_csv
from matrixdoc.definition.errors import InputError

MANY = settings(max_examples=250, deadline=None)

CHART = Chart(
    "switch",
    (ChartLine("C1", "left side", "GN-BN", "S1-1", "Q1"), ChartLine("C2", "", "GN-RD", "S1-2", "Q2")),
    (ChartLine("R1", "", "WH-BN", "S2-1"), ChartLine("R2", "", "WH-RD", "S2-2"), ChartLine("R3")),
    {(0, 0): "left lane", (1, 0): 'a "new" lane', (1, 1): "-12 V, sense"},
)

CHART_AS_CSV = (
    "switch,wire,pin,C1,C2\r\n"
    "title,,,left side,\r\n"
    "wire,,,GN-BN,GN-RD\r\n"
    "pin,,,S1-1,S1-2\r\n"
    "drive,,,Q1,Q2\r\n"
    'R1,WH-BN,S2-1,left lane,"a ""new"" lane"\r\n'
    'R2,WH-RD,S2-2,,"\'-12 V, sense"\r\n'
    "R3,,,,\r\n"
)


def refused(text, layout=None, source="chart.csv"):
    with pytest.raises(InputError) as caught:
        chart_from_csv(text, source, layout)
    assert all(c == "\n" or c.isprintable() for c in str(caught.value))
    return str(caught.value)


def test_a_chart_is_laid_out_as_on_paper():
    assert chart_to_csv(CHART) == CHART_AS_CSV
    assert chart_from_csv(CHART_AS_CSV, "chart.csv") == CHART
    assert chart_from_csv(CHART_AS_CSV.encode(), "chart.csv") == CHART


def test_names_alone_are_enough():
    chart = chart_from_csv(",1,2\n1,a,b\n2,,c\n", "x")
    assert chart == Chart("", _lines("C", 1, 2), _lines("R", 1, 2), {(0, 0): "a", (1, 0): "b", (1, 1): "c"})


def _lines(letter, first, last):
    return tuple(ChartLine(f"{letter}{i}") for i in range(first, last + 1))


# -- out and back ----------------------------------------------------------------------------------

TURNING = "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
signs = st.sampled_from("ab =+-@',;\t\"\n\r|#\u00e9\u4e2d\u00a0\u200d\U0001f6a6＝")
characters = st.characters(
    exclude_categories=["Cs", "Cc"], exclude_characters=f"\u2028\u2029\ufeff\ufffe\uffff{TURNING}"
)
tricky = st.sampled_from(
    ["-", " -", "- ", "\u00a0-", "'-", "'' -", "'=", "''", "'tis", "\r", "\n-", "title", "C1"]
)
texts = st.text(signs, max_size=6) | st.text(characters, max_size=12) | tricky


@st.composite
def charts(draw):
    sizes = [draw(st.integers(1, 4)), draw(st.integers(1, 4))]
    first = draw(st.integers(0, 12))
    facts = st.dictionaries(st.sampled_from(FACTS), texts)
    axes = [
        tuple(ChartLine(f"{letter}{first + i}", **draw(facts)) for i in range(size))
        for letter, size in zip("CR", sizes, strict=True)
    ]
    places = st.tuples(st.integers(0, sizes[0] - 1), st.integers(0, sizes[1] - 1))
    return Chart(draw(texts), axes[0], axes[1], draw(st.dictionaries(places, texts)))


@MANY
@given(charts())
def test_out_and_back_without_loss(chart):
    assert chart_from_csv(chart_to_csv(chart), "x") == chart


@MANY
@given(charts())
def test_out_and_back_through_a_file(tmp_path_factory, chart):
    path = tmp_path_factory.mktemp("charts") / "chart.csv"
    with path.open("w", encoding="utf-8", newline="") as file:
        file.write(chart_to_csv(chart))
    assert chart_from_csv(path.read_bytes(), str(path)) == chart


@MANY
@given(charts())
def test_no_field_is_a_formula_to_a_spreadsheet(chart):
    # The characters that make one: common practice, no source.
    for fields in csv.reader(io.StringIO(chart_to_csv(chart), newline="")):
        assert not any(text.startswith(("=", "+", "-", "@", "\t", "\r", "\n")) for text in fields)


@MANY
@given(charts(), st.sampled_from(";\t"))
def test_other_separators(chart, separator):
    rows = list(csv.reader(io.StringIO(chart_to_csv(chart), newline="")))
    text = io.StringIO()
    csv.writer(text, delimiter=separator, quoting=csv.QUOTE_ALL).writerows([["x", *rows[0][1:]], *rows[1:]])
    assert chart_from_csv(text.getvalue(), "x") == replace(chart, name="x")


@MANY
@given(charts())
def test_transposed_files(chart):
    rows = list(csv.reader(io.StringIO(chart_to_csv(chart), newline="")))
    width = max(len(row) for row in rows)
    turned = [[row[i] if i < len(row) else "" for row in rows] for i in range(width)]
    text = io.StringIO()
    csv.writer(text, lineterminator="\r\n").writerows(turned)
    assert chart_from_csv(text.getvalue(), "x", Layout("transposed")) == chart
    assert chart.transposed().transposed() == chart


@MANY
@given(st.integers(1, 5), st.integers(1, 5), st.sampled_from([0, 1]), st.booleans(), st.data())
def test_lists_by_running_number(columns, rows, start, down, data):
    along = [(c, r) for c in range(columns) for r in range(rows)]
    if not down:
        along = [(c, r) for r in range(rows) for c in range(columns)]
    fitted = data.draw(st.sets(st.sampled_from(along)))
    names = [(number, f"name {at}", at) for number, at in enumerate(along, start) if at in fitted]
    text = "number,name\n" + "".join(f'{n},"{name}"\n' for n, name, _ in data.draw(st.permutations(names)))
    order: Order = "down the columns" if down else "along the rows"
    chart = chart_from_csv(text, "x", Layout("list", start, order, columns, rows))
    assert chart.cells == {at: name for _, name, at in names}
    assert [line.key for line in chart.columns] == [f"C{start + i}" for i in range(columns)]
    assert [line.key for line in chart.rows] == [f"R{start + i}" for i in range(rows)]


# -- habits of charts ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "layout", "columns", "rows", "cells"),
    [
        ("x,0,1\n0,a,b\n1,c,\n", None, ["C0", "C1"], ["R0", "R1"], "a b c"),
        ("x,0,1\n0,a,b\n1,c,\n", Layout(numbered_from=0), ["C0", "C1"], ["R0", "R1"], "a b c"),
        ("x,Column 1,col. 2\nRow 1,a,b\nr2,c,\n", None, ["C1", "C2"], ["R1", "R2"], "a b c"),
        ("x,c3,5\nR2,a,b\n4,c,\n", None, ["C3", "C5"], ["R2", "R4"], "a b c"),
        ("switch,,\n,a,b\n,c,\n", None, ["C1", "C2"], ["R1", "R2"], "a b c"),
        ("x;1;2\n1;a, A;b\n2;c;\n", None, ["C1", "C2"], ["R1", "R2"], "a, A|b|c"),
        ("x\t1\t2\n1\ta\tb\n2\tc\n", None, ["C1", "C2"], ["R1", "R2"], "a b c"),
        ("\ufeffx,1,2,,\n\n1,a,b,,\n,,,,\n2,c,,,\n,,\n", None, ["C1", "C2"], ["R1", "R2"], "a b c"),
        ("x,1,2\r1,a,-\r2, - ,c", None, ["C1", "C2"], ["R1", "R2"], "a c"),
        ("x,1,2\n1,a,\n2,b,'-c", None, ["C1", "C2"], ["R1", "R2"], "a b -c"),
        ("x,R1,R2\nC1,a,b\nC2,,c", Layout("transposed"), ["C1", "C2"], ["R1", "R2"], "a b c"),
        ("x,1,2,3\n1,a,b,c", Layout("transposed"), ["C1"], ["R1", "R2", "R3"], "a b c"),
        ("1,a\n3,b", Layout("list", None, "along the rows", 2, 2), ["C1", "C2"], ["R1", "R2"], "a b"),
    ],
)
def test_habits(text, layout, columns, rows, cells):
    chart = chart_from_csv(text, "x", layout)
    assert [line.key for line in chart.columns] == columns
    assert [line.key for line in chart.rows] == rows
    assert sorted(chart.cells.values()) == sorted(cells.split("|" if "|" in cells else " "))


def test_headings_without_numbers_are_titles():
    chart = chart_from_csv("switch,left,right\nupper,a,b\nlower,c,\n", "x", Layout(numbered_from=0))
    assert chart.columns == (ChartLine("C0", "left"), ChartLine("C1", "right"))
    assert chart.rows == (ChartLine("R0", "upper"), ChartLine("R1", "lower"))


# -- what is refused, and where --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "layout", "words"),
    [
        ("", None, "chart.csv:1: found an empty file; expected a chart as CSV"),
        (",,\n\n ,\n", None, "an empty file"),
        ("x,1,2\n1,a,b\n2,c,d,e\n", None, "chart.csv:3: row 3, column 4: found 'e'; expected nothing behind"),
        ("x,1,2\n1,a,b\nR?,c\n", None, "chart.csv:3: row 3, column 1: found 'R?'; expected R and a number"),
        ("x,1,2\n1,a,b\n,c\n", None, "row 3, column 1: found nothing; expected R and a number"),
        ("x,1,1\n1,a,b\n", None, "row 1, column 3: found '1' again; expected each number once"),
        ("x,R1,R2\nC1,a,b\n", None, "read it as 'transposed'"),
        ("x,1,2\n1,a\n", Layout(numbered_from=0), "columns numbered from 1; expected numbers from 0"),
        (
            "x,wires,1\n1,a,b\n",
            None,
            "row 1, column 2: found 'wires'; expected C and a number, such as C3; did",
        ),
        ("x,wire,1\npin,oops,S1\n1,WH,a\n", None, "row 2, column 2: found 'oops'; expected nothing where"),
        ("x,1\n", None, "found 0 lines down; expected 1 to 32"),
        ("x\n1\n", None, "found 0 lines across"),
        ("x," + ",".join(map(str, range(40))) + "\n1,a\n", None, "found 40 lines across"),
        ("x,1\n" + "".join(f"{i},a\n" for i in range(33)), None, "found 33 lines down"),
        (
            "x,1\n1,'" + "y" * 2001,
            None,
            "row 2, column 2: found a text of 2002 characters; expected at most 2000",
        ),
        ('x,1\n1,"a\n', None, "chart.csv:2: row 2: found a quote that is not closed"),
        ('x,1\n1,"a"b\n', None, "chart.csv:2: row 2: found quotes out of place"),
        ('x,1\n1,"two\nlines"\n2,a,b\n', None, "chart.csv:4: row 3, column 3: found 'b'"),
        ("x,1\n1," + "y" * 200_000, None, "found a field of over 131072 characters"),
        ("x,1\n1,\x1b[31m\n", None, "a hidden character (U+001B)"),
        (b"x,1\n1,\xe4\n", None, "no UTF-8"),
        ("1,a\n1,b\n", Layout("list", 1, "along the rows", 2, 2), "row 2, column 1: found 1 again"),
        ("1,a\n5,b\n", Layout("list", 1, "along the rows", 2, 2), "found '5'; expected a number from 1 to 4"),
        ("1,a\nx,b\n", Layout("list", 1, "along the rows", 2, 2), "row 2, column 1: found 'x'"),
        ("1,a,b\n", Layout("list", 1, "along the rows", 2, 2), "row 1, column 3: found 'b'"),
        ("1,a\n", Layout("list"), "layout: found 0 columns, 0 rows, order nothing"),
        ("1,a\n", Layout("list", 1, "along the rows", 33, 2), "expected 1 to 32 columns and rows"),
    ],
    ids=lambda value: repr(value)[:40],
)
def test_refusals_say_where(text, layout, words):
    assert words in refused(text, layout)


def test_everything_wrong_is_told_at_once():
    shown = refused("x,1,1,y\n1,a,b\n1,c\n?,d,,,e\n").splitlines()
    assert [line.split(": ")[1] for line in shown] == [
        "row 4, column 5", "row 1, column 3", "row 1, column 4", "row 3, column 1", "row 4, column 1",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"columns": ()}, "found 0 columns; expected 1 to 32"),
        ({"rows": _lines("R", 1, 33)}, "found 33 rows"),
        ({"rows": (ChartLine("R1"), ChartLine("R1"))}, "R1 twice"),
        ({"columns": (ChartLine("R1"),), "cells": {}}, "the key 'R1'; expected C and a number"),
        ({"columns": (ChartLine("C01"),), "cells": {}}, "the key 'C01'"),
        ({"cells": {(2, 0): "a"}}, "a place at column 2, row 0"),
        ({"cells": {(0, 0): "\x1b[1m"}}, "C1R1: found a hidden character (U+001B)"),
        ({"name": "x" * 2001}, "a text of 2001 characters"),
    ],
)
def test_a_chart_that_cannot_be(change, words):
    with pytest.raises(InputError) as caught:
        replace(CHART, **change)
    assert words in str(caught.value)


# -- any text at all -------------------------------------------------------------------------------

LAYOUTS = [None, Layout("transposed"), Layout(numbered_from=0), Layout("list")]
LAYOUTS += [Layout("list", 0, "along the rows", 3, 3), Layout("list", 1, "down the columns", 3, 3)]


def only_words(text):
    for layout in LAYOUTS:
        try:
            chart = chart_from_csv(text, "x", layout)
        except InputError as error:
            assert all(c == "\n" or c.isprintable() for c in str(error))  # noqa: PT017 - both ways are right
        else:
            assert chart_from_csv(chart_to_csv(chart), "x") == chart


@MANY
@given(st.text(st.characters(codec=None), max_size=60) | st.binary(max_size=60))
def test_any_text(text):
    only_words(text)


@MANY
@given(st.text(st.sampled_from("1203CRcr,;\t\n\r\"'=-+a wire\0"), max_size=40))
def test_any_row_of_signs(text):
    only_words(text)


@MANY
@given(st.data())
def test_a_chart_with_slips_of_the_hand(data):
    text = CHART_AS_CSV
    for _ in range(data.draw(st.integers(1, 5))):
        at = data.draw(st.integers(0, len(text)))
        put = data.draw(st.text(st.sampled_from("aC1R,;\"'\n\r\t-=\0é"), max_size=5))
        text = text[:at] + put + text[at + data.draw(st.integers(0, 10)) :]
    only_words(text)


@pytest.mark.parametrize(
    "make",
    [
        lambda: "," * 3_900_000,
        lambda: "\n" * 3_900_000,
        lambda: "a\n" * 1_900_000,
        lambda: '"' * 3_900_001,
        lambda: "x,1\n" + "1,a\n" * 900_000,
        lambda: "'" * 3_900_000,
        lambda: "x,1\n1," + " " * 100_000 + "\n",
    ],
)
def test_large_files_are_answered_quickly(make):
    start = time.perf_counter()
    only_words(make())
    assert time.perf_counter() - start < 10  # for six layouts; under 3 s where this was written
