"""Charts of matrices as CSV: out and back without loss, and in from every habit."""

import csv
import io
import time
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from matrixdoc.definition.charts import FACTS, Chart, ChartLine, Layout, chart_from_csv, chart_to_csv
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

texts = st.text(
    st.sampled_from("ab =+-@',;\t\"\n\r|#\u00e9\u4e2d\u00a0\u200d\U0001f6a6＝"), max_size=6
) | st.text(
    st.characters(exclude_categories=["Cs", "Cc"], exclude_characters="\u2028\u2029\ufeff\ufffe\uffff")
    .filter(lambda c: not ("\u202a" <= c <= "\u202e" or "\u2066" <= c <= "\u2069")),
    max_size=12,
)  # fmt: skip


@st.composite
def charts(draw):
    sizes = [draw(st.integers(1, 4)), draw(st.integers(1, 4))]
    first = draw(st.integers(0, 12))
    axes = [
        tuple(
            ChartLine(f"{letter}{first + i}", **{fact: draw(texts) for fact in draw(st.sets(st.sampled_from(FACTS)))})
            for i in range(size)
        )
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
@given(charts(), st.sampled_from([0, 1]), st.sampled_from(["down the columns", "along the rows"]))
def test_lists_by_running_number(chart, start, order):
    columns, rows = len(chart.columns), len(chart.rows)
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(["number", "name"])
    number = start
    outer, inner = (columns, rows) if order == "down the columns" else (rows, columns)
    for i in range(outer):
        for j in range(inner):
            name = chart.cells.get((i, j) if order == "down the columns" else (j, i), "")
            writer.writerow([number, "'" + name if name[:1] in ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "'") and
                             name.lstrip("'")[:1] in ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
                             and name.lstrip("'") else name])  # fmt: skip
            number += 1
    read = chart_from_csv(text.getvalue(), "x", Layout("list", start, order, columns, rows))
    assert read.cells == {at: name for at, name in chart.cells.items() if _typed_as_is(name)} | {
        at: name for at, name in read.cells.items() if not _typed_as_is(chart.cells.get(at, ""))
    }
    assert [line.key for line in read.columns] == [f"C{start + i}" for i in range(columns)]


def _typed_as_is(name):
    """Whether a person would type ``name`` into a spreadsheet as it is."""
    return name.strip() not in ("", "-") and name.lstrip("'")[:1] not in tuple("=+-@\t\r\n＝＋－＠")
