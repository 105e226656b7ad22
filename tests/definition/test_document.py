"""The text layer: what is read, what is refused, and that nothing ends in anything but a word."""

import os
import pickle
import time
from typing import Annotated, Any, Literal

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from matrixdoc.definition import document as document_module
from matrixdoc.definition.document import (
    MAXIMUM_BYTES,
    MAXIMUM_DEPTH,
    MAXIMUM_SCALAR,
    MAXIMUM_VALUES,
    Document,
    decode_text,
    load_document,
    path_words,
    read_document,
    read_text,
    validate_model,
)
from matrixdoc.definition.errors import (
    InputError,
    MatrixdocError,
    Problem,
    choice,
    near_miss,
    printable,
    quoted,
    refusal,
)
from matrixdoc.definition.numbers import parse_colour

MANY = settings(max_examples=300, deadline=None)

SAMPLE = """\
# an invented machine
title: Harbour Lights
switch matrix:
  columns:
    C1: {wire: GN-BN, pin: S1-1}
    C2:
      wire: GN-RD
      pin: "S1-2"
  rows:
    - {title: 'row one', wire: WH-BN}
    - title: row two
      note: |
        bent once,
        straightened
lamp: [a, b, {c: d}]
"""


def refused(text, source="machine.yaml"):
    with pytest.raises(InputError) as caught:
        load_document(text, source)
    shown = str(caught.value)
    assert all(c == "\n" or c.isprintable() for c in shown)
    return caught.value.problems


# -- what is read ----------------------------------------------------------------------------------


def test_a_sample_is_read_as_nested_text():
    document = load_document(SAMPLE, "machine.yaml")
    assert document.tree == {
        "title": "Harbour Lights",
        "switch matrix": {
            "columns": {
                "C1": {"wire": "GN-BN", "pin": "S1-1"},
                "C2": {"wire": "GN-RD", "pin": "S1-2"},
            },
            "rows": [
                {"title": "row one", "wire": "WH-BN"},
                {"title": "row two", "note": "bent once,\nstraightened\n"},
            ],
        },
        "lamp": ["a", "b", {"c": "d"}],
    }


def test_places_are_where_an_editor_shows_them():
    document = load_document(SAMPLE, "machine.yaml")
    lines = SAMPLE.splitlines()
    wire = ("switch matrix", "columns", "C2", "wire")
    assert document.positions[wire] == (7, 13)
    assert document.key_positions[wire] == (7, 7)
    assert document.positions[("switch matrix", "rows", 1, "title")] == (11, 14)
    assert document.positions[("lamp", 2, "c")] == (15, 18)
    for path, (line, column) in document.key_positions.items():
        assert lines[line - 1][column - 1 :].startswith(str(path[-1]))
    assert (
        document.position(("switch matrix", "columns", "C9", "wire"))
        == document.positions[("switch matrix", "columns")]
    )
    assert path_words(("switch matrix", "rows", 1, "wire")) == "switch matrix > rows > entry 2 > wire"


# The surprises of YAML 1.1 typing, from the type repository of yaml.org (bool, int with base 60,
# octal, float, null, merge, timestamp): here all of them stay what was written.
@pytest.mark.parametrize(
    "written",
    ["NO", "yes", "on", "y", "1:12", "012", "0x1F", "1_000", "1e3", ".inf", "~", "null", "2001-01-01"],
)
def test_plain_scalars_stay_text(written):
    assert load_document(f"a: {written}\nb: [{written}]\n{written}: c", "x").tree == {
        "a": written,
        "b": [written],
        written: "c",
    }


def test_only_a_value_that_is_not_there_is_none():
    tree = load_document("a:\nb: ''\nc: \"\"\nd: [x, ]\ne:\n- \n- f\ng: !!str\n", "x").tree
    assert tree == {"a": None, "b": "", "c": "", "d": ["x"], "e": [None, "f"], "g": ""}


def test_byte_order_mark_line_ends_and_version_line_are_fine():
    wanted = {"a": "1", "b": "2"}
    for text in (
        b"\xef\xbb\xbfa: 1\r\nb: 2\r\n",
        "\ufeffa: 1\nb: 2",
        "a: 1\rb: 2\r",
        "%YAML 1.2\n---\na: 1\nb: 2\n...\n",
        "a: !!str 1\nb: ! 2\n",
    ):
        assert load_document(text, "x").tree == wanted


names = st.text(st.characters(exclude_categories=["C", "Zl", "Zp"]), min_size=1, max_size=8)
trees: st.SearchStrategy[Any] = st.recursive(
    names | st.just(""),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(names, inner, max_size=4),
    max_leaves=12,
)


@MANY
@given(st.dictionaries(names.filter(lambda k: k != "<<"), trees, min_size=1, max_size=4))
def test_what_a_yaml_library_writes_is_read_back(tree):
    # PyYAML's own writer, with every text quoted, is the reference.
    text = yaml.dump(tree, Dumper=yaml.SafeDumper, default_style='"', allow_unicode=True, sort_keys=False)
    document = load_document(text.replace("!!map ", "").replace("!!seq ", ""), "x")
    assert document.tree == tree
    assert set(document.key_positions) <= set(document.positions)


def test_same_text_as_the_untyped_loader_of_the_library():
    reference = yaml.load(SAMPLE, Loader=yaml.BaseLoader)  # noqa: S506 - makes text only
    assert load_document(SAMPLE, "x").tree == reference


def test_the_parser_in_python_reads_the_same(monkeypatch):
    with_c = load_document(SAMPLE, "x")
    monkeypatch.setattr(document_module, "_LOADER", yaml.SafeLoader)
    assert load_document(SAMPLE, "x") == with_c
    assert load_document("a:\nb: ''\n", "x").tree == {"a": None, "b": ""}
    for text in ("a: [1", "a: 'x", "a: *b", "a: 1\na: 2", "a: b: c", "\tx", "a: \x07", "[" * 3000):
        refused(text)


# -- what is refused, and in which words -----------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "line", "column", "words"),
    [
        ("a: 1\n\tb: 2", 2, 1, "spaces in front of the text, not tabs"),
        ("a:\n\t- b", 2, 1, "spaces in front of the text, not tabs"),
        ("note: left: right", 1, 11, "put text that holds ': ' in quotes"),
        ("a: [1, 2\nb: 3", 2, 2, "the bracket that is not closed stands on line 1"),
        ("{a: 1", 2, 1, "the closing '}'"),
        ('x: 1\na: "x\nb: 3', 2, 4, "the closing quote"),
        ("a: 'x", 1, 4, "the closing quote"),
        ("- a\nb: 2", 2, 1, "indented like its neighbours"),
        ("a: @x", 1, 4, "put text that starts with '@' in quotes"),
        ("a: `x`", 1, 4, "put text that starts with '`' in quotes"),
        ("a: %x", 1, 4, "put text that starts with '%' in quotes"),
        ("a:\n  b: 1\n c: 2", 3, 2, "a key, indented like its neighbours"),
        ("a: *one", 1, 4, "an alias (*one)"),
        ("a: &one 3", 1, 4, "an anchor (&one)"),
        ("a: !!int 3", 1, 4, "a tag (tag:yaml.org,2002:int)"),
        ("a: !!python/object/apply:os.system [ls]", 1, 4, "a tag"),
        ("a: !!map {b: c}", 1, 4, "a tag"),
        ("<<: {a: b}", 1, 1, "a merge key"),
        ("a: 1\n'a': 2", 2, 1, "it stands on line 1 already"),
        ("{a: 2}: 3", 1, 1, "a key that is no plain text"),
        ("? [a, b]\n: 3", 1, 3, "a key that is no plain text"),
        ("[a: {b: 1, b: 2}]", 1, 12, "the key 'b' again"),
        ("a: 1\n---\nb: 2", 2, 1, "one document in one file"),
        ("%TAG ! tag:x,2000:\n---\na: 1", 1, 1, "a line that starts with '%'"),
        ("%YAML 9.9\n---\na: 1", 1, 1, "a line that starts with '%'"),
        ("lamp: type #47", 1, 7, "followed by '#47', which would be lost"),
        ("", 1, 1, "an empty file"),
        ("# a remark\n", 1, 1, "an empty file"),
        ('a: "\\q"', 1, 5, "a known escape"),
        ('a: "\\x1b[2J"', 1, 4, "a hidden character (U+001B)"),
        ('a: "\\u202e"', 1, 4, "a hidden character (U+202E)"),
        ('"\\0": x', 1, 1, "a hidden character (U+0000)"),
        ("x\na: \x1b[2J", 2, 4, "a hidden character (U+001B)"),
        ("a: b\u2028c: d", 1, 5, "a hidden character (U+2028)"),
        ("a: \ud800", 1, 4, "a hidden character (U+D800)"),
        ("a\0b", 1, 2, "UTF-16"),
        (b"a: 1\n\xe4", 2, 1, "no UTF-8 (0xe4)"),
        (b"\xc3\xa4\xff", 1, 2, "no UTF-8 (0xff)"),
        ("a: " + "x" * (MAXIMUM_SCALAR + 1), 1, 4, f"a text of {MAXIMUM_SCALAR + 1} characters"),
        ("[" * 41 + "]" * 41, 1, 41, f"at most {MAXIMUM_DEPTH} levels"),
        ("[" * 100_000, 1, None, f"at most {MAXIMUM_DEPTH} levels"),
        ("- " * 100_000, 1, None, f"at most {MAXIMUM_DEPTH} levels"),
        ("\n".join(" " * i + "a:" for i in range(2000)), None, None, f"at most {MAXIMUM_DEPTH} levels"),
        ("[" + "a," * (MAXIMUM_VALUES + 5) + "]", 1, None, f"at most {MAXIMUM_VALUES}"),
    ],
    ids=lambda value: repr(value)[:30],
)
def test_refusals_say_where_and_what_would_be_right(text, line, column, words):
    problem = refused(text)[0]
    assert words in str(problem)
    assert line is None or problem.line == line
    assert column is None or problem.column == column


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be", "utf-32", "utf-32-le", "latin-1"])
def test_other_encodings_are_named(encoding):
    problems = refused("größe: 1\n".encode(encoding))
    assert "UTF" in str(problems[0])


def test_several_problems_are_told_at_once_and_with_a_syntax_error_behind_them():
    problems = refused("a: *x\nb: &y 1\nb: 2\nc: !t 3\nd: [\n")
    assert [p.line for p in problems] == [1, 2, 3, 4, 6]
    assert problems[2].path == "b"


def test_a_remark_behind_a_value_is_no_cut_number():
    text = "a: b # see 4\nc: \"x #4\"\nd: 'x #4' #5\n# lamp #47\ne: [f, g] #1\nh: |\n  x #4\n"
    assert load_document(text, "x").tree == {
        "a": "b", "c": "x #4", "d": "x #4", "e": ["f", "g"], "h": "x #4\n",
    }  # fmt: skip


def test_no_alias_ever_expands():
    lines = ["a0: &a0 [x, x]"] + [f"a{i}: &a{i} [{', '.join([f'*a{i - 1}'] * 9)}]" for i in range(1, 12)]
    start = time.perf_counter()
    refused("\n".join(lines))
    assert time.perf_counter() - start < 1


HOSTILE = {
    "one key again and again": lambda: "a: 1\n" * 500_000,
    "everything forbidden": lambda: "".join(f"k{i}: &a{i} !t *x{i}\n" for i in range(100_000)),
    "directives": lambda: "%TAG !a! b\n" * 300_000 + "---\na: 1",
    "a long folded text": lambda: "a: '" + "x\n\n" * 1_000_000 + "'",
    "one long remark": lambda: "#" * 3_900_000,
    "leading blanks": lambda: " " * 3_900_000 + "a: 1",
    "blanks inside": lambda: "a: b" + " " * 3_900_000 + "#1",
    "cut numbers": lambda: "a: b #1 \n" * 400_000,
    "one long line with a cut number": lambda: "[" + "a, " * 190_000 + "b #1\n]",
    "too many values": lambda: "".join(f"a{i}: {{b: c, d: [e, f]}}\n" for i in range(60_000)),
    "too large": lambda: "x" * (MAXIMUM_BYTES + 1),
    "no UTF-8": lambda: b"\xff" * MAXIMUM_BYTES,
    "NULs": lambda: "\0" * MAXIMUM_BYTES,
    "explicit keys": lambda: "? " * 1_000_000,
    "keys in brackets": lambda: "{a: " * 500_000,
    "quotes": lambda: '"' * 2_000_001,
    "one long key": lambda: "a" * 3_900_000 + ": 1",
    "long names of anchors": lambda: "- &" + "a" * 3_900_000,
    "a large number of wrong entries": lambda: "title: []\nmatrices: [" + "a, " * 190_000 + "]",
    "large keys that the schema does not know": lambda: "".join(
        f"{i}{'k' * 15_000}: 1\n" for i in range(200)
    ),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_large_and_hostile_texts_are_answered_quickly(name):
    text = HOSTILE[name]()
    start = time.perf_counter()
    only_words(text)
    assert time.perf_counter() - start < 5  # half a second here; a slow loaded machine gets room


def test_a_large_definition_is_read_fast():
    line = "  C{i}:\n    wire: WH-BN\n    title: left lane\n    pin: S1-{i}\n"
    text = "columns:\n" + "".join(line.replace("{i}", str(i)) for i in range(325))
    assert text.count("\n") == 1301
    best = min(_seconds(text) for _ in range(15))
    assert best < 0.05  # 3.5 ms where this was written


def _seconds(text: str) -> float:
    start = time.perf_counter()
    load_document(text, "x")
    return time.perf_counter() - start


# -- files -----------------------------------------------------------------------------------------


def test_files(tmp_path):
    good = tmp_path / "good.yaml"
    good.write_text(SAMPLE, "utf-8")
    assert read_document(good).source == str(good)
    assert read_text(str(good)) == SAMPLE
    latin = tmp_path / "latin.yaml"
    latin.write_bytes("größe: 1".encode("latin-1"))
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    large = tmp_path / "large.yaml"
    large.write_bytes(b"#" * (MAXIMUM_BYTES + 1))
    for path, words in [
        (tmp_path / "none.yaml", "no such file"),
        (tmp_path, "a folder"),
        (latin, "no UTF-8"),
        (pipe, "no plain file"),
        (large, "at most 4 megabytes"),
        (good / "inside", "expected a file that can be read"),
        ("nul\0nul", "expected a file that can be read"),
        ("x" * 5000, "expected a file that can be read"),
    ]:
        with pytest.raises(InputError) as caught:
            read_document(path)
        assert words in str(caught.value)
        assert len(str(caught.value).splitlines()) == 1


def test_a_file_that_may_not_be_read(tmp_path, monkeypatch):
    def denied(*_args, **_kwargs):
        raise PermissionError(13, "denied")

    path = tmp_path / "x.yaml"
    path.write_text("a: 1")
    monkeypatch.setattr("pathlib.Path.open", denied)
    with pytest.raises(InputError, match="permission to read it"):
        read_document(path)


# -- schemas ---------------------------------------------------------------------------------------


class Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Fuse(Strict):
    rating: Annotated[float, Field(gt=0)]
    speed: Literal["fast", "slow"] = "slow"


def _short_fuse(value):
    return {"rating": value} if isinstance(value, str) else value


def _rows(value):
    return [row.split("|") for row in value.splitlines()] if isinstance(value, str) else value


class Side(Strict):
    wire: Annotated[str, BeforeValidator(lambda v: parse_colour(v) if isinstance(v, str) else v)] = ""
    pin: int = 0
    style: Literal["sink", "source", "push-pull"] = "sink"


class Opto(Strict):
    kind: Literal["opto"]
    emitter: str


class Leaf(Strict):
    kind: Literal["leaf"]
    gap: float = 0


class Net(Strict):
    columns: dict[str, Side | str] = Field(default_factory=dict)
    short_name: str = Field("", alias="short name", max_length=5)
    chart: Annotated[list[list[Annotated[str, Field(max_length=3)]]], BeforeValidator(_rows)] = []
    pair: tuple[int, Side] | None = None
    contacts: list[Annotated[Opto | Leaf, Field(discriminator="kind")]] = []
    closed: bool = False


class Machine(Strict):
    title: str
    matrices: dict[Annotated[str, Field(max_length=12)], Net] = Field(default_factory=dict)
    fuse: Annotated[Fuse | None, BeforeValidator(_short_fuse)] = None


def invalid(text):
    with pytest.raises(InputError) as caught:
        validate_model(load_document(text, "m.yaml"), Machine)
    assert all(c == "\n" or c.isprintable() for c in str(caught.value))
    return [str(problem) for problem in caught.value.problems]


def test_a_valid_document_becomes_the_model():
    columns = "{C1: {wire: white-brown, pin: 3}, C2: x}"
    text = f"title: 012\nmatrices: {{switch: {{columns: {columns}, closed: yes}}}}\nfuse: 5\n"
    machine = validate_model(load_document(text, "m.yaml"), Machine)
    assert machine.title == "012"
    assert machine.matrices["switch"].columns == {"C1": Side(wire="WH-BN", pin=3), "C2": "x"}
    assert machine.matrices["switch"].closed
    assert machine.fuse == Fuse(rating=5)


WRONG = """\
titel: x
matrices:
  switch:
    columns:
      C1: {wyre: WH, pin: x}
      C2: {style: sunk}
      C3: [1]
      C4: {wire: WH-XX}
      C5: {pin: 3.5, wire: }
    shortname: abc
    closed: perhaps
  lamp:
    short name: abcdef
    chart: |
      ab|cd
      ab|cdef
    pair: [1]
    contacts:
      - {kind: opto, emiter: x}
      - {kind: reed}
      - {kind: leaf, gap: wide}
      - {gap: 1}
  a name far too long: {}
fuse: -5
"""

WRONG_HERE = """\
1:1: found no 'title'; expected the key 'title'
1:1: titel: found the key 'titel'; expected title, matrices or fuse; did you mean 'title'?
5:12: matrices > switch > columns > C1 > wyre: found the key 'wyre';
    expected wire, pin or style; did you mean 'wire'?
5:27: matrices > switch > columns > C1 > pin: found 'x'; expected a whole number
6:19: matrices > switch > columns > C2 > style: found 'sunk';
    expected sink, source or push-pull; did you mean 'sink'?
7:11: matrices > switch > columns > C3: found a list; expected keys and values or text
8:18: matrices > switch > columns > C4 > wire: found 'WH-XX';
    expected a wire colour, such as WH, WH-BN or white-brown;
    known are BK, BN, RD, OG, YE, GN, BU, VT, GY, WH, PK, GD, TQ, SR, GNYE
9:17: matrices > switch > columns > C5 > pin: found '3.5'; expected a whole number
9:28: matrices > switch > columns > C5 > wire: found nothing; expected text
10:5: matrices > switch > shortname: found the key 'shortname';
    expected columns, short name, chart, pair, contacts or closed; did you mean 'short name'?
11:13: matrices > switch > closed: found 'perhaps'; expected yes or no
13:17: matrices > lamp > short name: found 'abcdef'; expected at most 5 characters
14:12: matrices > lamp > chart > entry 2 > entry 2: found 'cdef'; expected at most 3 characters
17:5: matrices > lamp > pair: found no entry 2; expected entry 2
19:9: matrices > lamp > contacts > entry 1: found no 'emitter'; expected the key 'emitter'
19:22: matrices > lamp > contacts > entry 1 > emiter: found the key 'emiter';
    expected kind or emitter; did you mean 'emitter'?
20:16: matrices > lamp > contacts > entry 2 > kind: found 'reed'; expected opto or leaf
21:27: matrices > lamp > contacts > entry 3 > gap: found 'wide'; expected a number
22:9: matrices > lamp > contacts > entry 4: found keys (gap); expected the key 'kind'
23:3: matrices > a name far too long: found the key 'a name far too long'; expected at most 12 characters
24:7: fuse > rating: found '-5'; expected more than 0
"""


def test_every_error_of_the_schema_at_once_in_the_order_of_the_file():
    assert invalid(WRONG) == [f"m.yaml:{line}" for line in WRONG_HERE.replace("\n    ", " ").splitlines()]


def test_a_document_that_is_no_mapping():
    assert invalid("- a") == ["m.yaml:1:1: found a list; expected keys and values"]
    assert invalid("just words") == ["m.yaml:1:1: found 'just words'; expected keys and values"]


KEYS = ["title", "matrices", "fuse", "columns", "C1", "wire", "pin", "style", "str", "Side", "chart", "pair"]
KEYS += ["contacts", "kind", "opto", "leaf", "[key]", "rating", "emitter", "gap", "0"]


@MANY
@given(
    st.dictionaries(
        st.sampled_from(KEYS),
        st.recursive(
            st.none() | st.text(max_size=40),
            lambda inner: (
                st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(KEYS), inner, max_size=4)
            ),
            max_leaves=12,
        ),
    )
)
def test_any_tree_gives_a_model_or_words(tree):
    error = error_of(lambda: validate_model(Document("m.yaml", tree), Machine))
    assert error is None or error.problems


# -- any text at all -------------------------------------------------------------------------------


def error_of(read):
    """The error of ``read``, which may be no other than one in printable words."""
    try:
        read()
    except InputError as error:
        assert all(c == "\n" or c.isprintable() for c in str(error))  # noqa: PT017 - both ways are right
        return error
    return None


def only_words(text):
    error = error_of(lambda: load_document(text, "x"))
    if error is None:
        error = error_of(lambda: validate_model(load_document(text, "x"), Machine))
    assert error is None or error.problems
    assert error is None or all(p.line >= 1 for p in error.problems if p.column)


@MANY
@given(st.text(st.characters(codec=None), max_size=60))
def test_any_text(text):
    only_words(text)


@MANY
@given(st.binary(max_size=60))
def test_any_bytes(content):
    only_words(content)


@MANY
@given(st.text(st.sampled_from("a1:-?[]{},#&*!|>'\"%@`\n\t \\~<=.\r\x85\u2028\ufeff\0é"), max_size=60))
def test_any_row_of_yaml_signs(text):
    only_words(text)


@MANY
@given(st.data())
def test_a_sample_with_slips_of_the_hand(data):
    text = SAMPLE
    for _ in range(data.draw(st.integers(1, 6))):
        at = data.draw(st.integers(0, len(text)))
        cut = data.draw(st.integers(0, 12))
        put = data.draw(st.text(st.sampled_from("aC1:-[]{},#&*!|>'\"%\n\t \x1b\0é"), max_size=6))
        text = text[:at] + put + text[at + cut :]
    only_words(text)


# -- the words themselves --------------------------------------------------------------------------


@MANY
@given(st.text(st.characters(codec=None), max_size=200), st.integers(0, 100))
def test_printable_is_printable_bounded_and_settled(text, limit):
    shown = printable(text, limit)
    assert shown.isprintable()
    assert len(shown) <= limit
    assert printable(shown, limit) == shown
    if text.isprintable() and len(text) <= limit:
        assert shown == text


def test_printable_shows_what_was_hidden():
    assert printable("a\x1b[31m\n\t\u202e\ud800\U000e0001b") == "a\\x1b[31m\\n\\t\\u202e\\ud800\\U000e0001b"
    assert printable("x" * 100, 10) == "xxxxxxx..."
    assert quoted("") == quoted(None) == "nothing"
    assert quoted("a\n") == "'a\\n'"


def test_choices_and_near_misses():
    assert choice([]) == ""
    assert choice(["a"]) == "a"
    assert choice(["a", "b", "c"]) == "a, b or c"
    assert choice([f"name{i}" for i in range(100)]).endswith("more")
    assert len(choice([f"name{i}" for i in range(100)])) < 200
    assert near_miss("Colums", ["columns", "rows"]) == "did you mean 'columns'?"
    assert near_miss("xyz", ["columns", "rows"]) == ""
    assert near_miss("x" * 1_000_000, ["columns"]) == ""


def test_an_error_shows_twenty_problems_and_counts_the_rest():
    problems = [Problem("f", i, 1, "a > b", "'x'", "y") for i in range(1, 24)]
    error = InputError(problems)
    lines = str(error).splitlines()
    assert lines[0] == "f:1:1: a > b: found 'x'; expected y"
    assert len(lines) == 21
    assert lines[-1] == "... and 3 more problems"
    assert isinstance(error, MatrixdocError)
    assert isinstance(error, ValueError)
    assert pickle.loads(pickle.dumps(error)).problems == error.problems  # noqa: S301 - made here
    assert str(refusal("4.7V", "ohms", "that is volts")) == "found '4.7V'; expected ohms; that is volts"
    assert (
        str(Problem("a\x1b[1mb", 0, 0, "", "nothing", "text")) == "a\\x1b[1mb: found nothing; expected text"
    )


def test_decoded_text_is_bounded_and_clean():
    assert decode_text(b"\xef\xbb\xbfx\t\r\n", "x") == "x\t\r\n"
    with pytest.raises(InputError) as caught:
        decode_text("a\x01\nb\x02" * 50, "x")
    assert len(caught.value.problems) == 20
    assert [(p.line, p.column) for p in caught.value.problems[:3]] == [(1, 2), (2, 2), (2, 4)]
