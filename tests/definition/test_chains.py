"""Chains with branches: written as lists and as text, wired, checked, corrected, shown."""

from __future__ import annotations

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from matrixdoc.cli.correct import read_correction
from matrixdoc.cli.wiring_text import wiring_text
from matrixdoc.definition.chains import branched_text, chain_from_text, ends, links
from matrixdoc.definition.corrections import corrected, correction_from, correction_record
from matrixdoc.definition.document import load_document
from matrixdoc.definition.errors import InputError
from matrixdoc.definition.library import load_machine
from matrixdoc.definition.schema import machine_schema
from matrixdoc.definition.wiring import GROUND, Wiring
from tests.definition.wirings import assert_sound, problems, wire

COLUMN = """
title: A
matrices: {switch: {chart: [[a], [b], [c], [d], [e], [f]], columns: {C1: {wire: RD, chain: CHAIN}}}}
"""


def column(chain: str) -> Wiring:
    return wire(COLUMN.replace("CHAIN", chain))


def dead_beyond(wiring: Wiring, part: str) -> set[str]:
    """Rows that nothing but ``part`` joins to the connector: followed net by net, without a chain."""
    wires = [p for r, p in wiring.parts.items() if r.startswith("switch/C1/") and r != part]
    reached, more = set(), {wiring.matrices["switch"].columns[0].board_net}
    while more:
        reached |= more
        nets = {n for p in wires if more & set(p.nets) for n in p.nets}
        more = nets - reached - {GROUND, "rail/logic"}
    stubs = {f"R{r}": wiring.parts[f"switch/C1R{r}/column_stub"].nets[0] for r in range(1, 7)}
    return {row for row, lug in stubs.items() if lug not in reached}


@pytest.mark.parametrize(
    ("chain", "beyond"),
    [
        (
            "[1, 2, [5, 6], 3, 4]",
            ["R1 R2 R3 R4 R5 R6", "R2 R3 R4 R5 R6", "R5 R6", "R6", "R3 R4", "R4"],
        ),
        ("1 2 (5 6) 3 4", ["R1 R2 R3 R4 R5 R6", "R2 R3 R4 R5 R6", "R5 R6", "R6", "R3 R4", "R4"]),
        ("[1, [2, [3], 4], [5], 6]", ["R1 R2 R3 R4 R5 R6", "R2 R3 R4", "R3", "R4", "R5", "R6"]),
        ("((1 2) 3) 4 5 6", ["R1 R2", "R2", "R3", "R4 R5 R6", "R5 R6", "R6"]),
        ("[1, 2, 3, 4, [5, 6]]", ["R1 R2 R3 R4 R5 R6", "R2 R3 R4 R5 R6", "R3 R4 R5 R6", "R4 R5 R6",
                                  "R5 R6", "R6"]),
    ],
)  # fmt: skip
def test_a_break_leaves_dead_what_lies_beyond_it(chain, beyond):
    wiring = column(chain)
    assert_sound(wiring)
    parts = ["wire", *(f"segment{n}" for n in range(2, 7))]
    assert [dead_beyond(wiring, f"switch/C1/{part}") for part in parts] == [set(b.split()) for b in beyond]
    line = wiring.matrices["switch"].columns[0]
    assert line.chain_order == "known"
    assert all(wiring.parts[f"switch/C1/{part}"].origin == "stated" for part in parts)


def test_wires_that_leave_one_lug_say_so():
    parts = column("1 2 (5) 3 4 6").parts
    assert parts["switch/C1/segment2"].title == "switch column 1 wire, red, from lug 1 (a) to lug 2 (b)"
    for number, to in ((3, "e"), (4, "c")):
        words = f"from lug 2 (b) to lug {number} ({to}), one of 2 wires from there"
        assert parts[f"switch/C1/segment{number}"].title.endswith(words)
    twice = column("(1 2) 3 4 5 6").parts
    assert twice["switch/C1/segment3"].title.endswith(
        "from the connector pin to lug 3 (c), one of 2 wires from there"
    )
    assert twice["switch/C1/wire"].title.endswith("to the first lug (a), one of 2 wires from there")


def test_a_branch_at_the_end_is_no_branch():
    # Nothing else leaves at its lug: the same harness as without brackets, part by part.
    assert column("[1, 2, 3, [4, 5, 6]]").digest == column("1 2 3 4 5 6").digest
    assert column("[1, 2, 3, [4, 5, 6]]").matrices["switch"].columns[0].lugs_before == ()


TREES = st.recursive(st.none(), lambda inner: st.lists(inner, min_size=1, max_size=4), max_leaves=12)


def named(tree, count: list[int]):
    """The tree with the numbers from 1 on in the place of its leaves."""
    if tree is None:
        count[0] += 1
        return str(count[0])
    return [named(one, count) for one in tree]


def _tuples(entry):
    return entry if isinstance(entry, str) else tuple(_tuples(one) for one in entry)


@settings(max_examples=200, deadline=None)
@given(st.lists(TREES, min_size=1, max_size=5))
def test_text_and_lists_say_the_same(tree):
    chain = named(tree, [0])
    told = links(_tuples(chain))
    names = [link.name for link in told]
    assert names == [str(n) for n in range(1, len(names) + 1)]
    text = branched_text(names, [link.before for link in told])
    again = links(_tuples(chain_from_text(text)))
    # Told anew a chain may be cut into branches otherwise; each place comes after the same one.
    start = {link.name: names[link.before] if link.before >= 0 else "" for link in told}
    other = [link.name for link in again]
    assert {link.name: other[link.before] if link.before >= 0 else "" for link in again} == start
    last = {names[n] for n in ends([link.before for link in told])}
    assert last == set(names) - set(start.values())


@pytest.mark.parametrize(
    ("chain", "said"),
    [
        ("1 2 (5 6 3 4", "a ')' for each '('"),
        ("1 2) 5 6 3 4", "a '(' before each ')'"),
        ("[1, [], 2, 3, 4, 5, 6]", "a list among them is a branch with a name in it"),
        ("1 () 2 3 4 5 6", "a list among them is a branch with a name in it"),
        ("[1, {2: 3}, 4]", "a list among them is a branch"),
        ("[1, [2, 2], 3, 4, 5, 6]", "found '2' again; expected each cell once"),
        ("[1, [2, 9], 3, 4, 5, 6]", "found '9'; expected a fitted cell of C1"),
        ("[1, [2, 3], 4]", "a chain without C1R5, C1R6"),
        ("[1, [a/b], 4]", "a name without '/' or '~'"),
        (f"{'(' * 9}1{')' * 9} 2 3 4 5 6", "at most 8 branches that leave from each other"),
        (f"{'[' * 10}1{']' * 10}", "at most 8 branches that leave from each other"),
        (f"[1, {'x' * 61}]", "names of at most 60 characters"),
    ],
)
def test_what_is_wrong_with_a_branch_is_told_at_its_line(chain, said):
    ((line, words), *_) = problems(COLUMN.replace("CHAIN", chain))
    assert line == 3
    assert said in words


FEED = """
title: A
feeds:
  some:
    supply: coil
    chain:
      - 1
      - [2, [3], left flipper]
      - CHAIN
coils: {1: {feed: some}, 2: {feed: some}, 3: {feed: some}, 4: {feed: some}, 5: {feed: some}}
flippers: {left: {feed: some}}
"""


def test_a_feed_branches():
    wiring = wire(FEED.replace("CHAIN", "[4, 5]"))
    assert_sound(wiring)
    starts = {r.removesuffix("/feed"): p.nets[0] for r, p in wiring.parts.items() if r.endswith("/feed")}
    assert starts == {
        "coil/1": "feed/some/end",
        "coil/2": "coil/1/supplied",
        "coil/3": "coil/2/supplied",
        "coil/left flipper": "coil/2/supplied",
        "coil/4": "coil/1/supplied",
        "coil/5": "coil/4/supplied",
    }
    assert wiring.parts["coil/4/feed"].title.endswith("from that of coil 1")
    shown = " ".join(wiring_text(wiring).split())
    assert "coil 1 (coil 2 (coil 3), coil left flipper), coil 4, coil 5" in shown


@pytest.mark.parametrize(
    ("chain", "said"),
    [
        ("[4, 4, 5]", "'4' again"),
        ("[4]", "a chain without coil 5"),
        ("[4, [5, 6]]", "'6'; expected what hangs on this feed"),
        ("[]", "a list among them is a branch with a name in it"),
    ],
)
def test_what_is_wrong_with_a_branch_of_a_feed_is_told(chain, said):
    ((line, words), *_) = problems(FEED.replace("CHAIN", chain))
    assert line in (6, 7, 9)
    assert said in words


def test_a_branch_is_stated_in_the_middle_of_a_case():
    text = COLUMN.replace("CHAIN", "as the chart")
    correction = read_correction("chain switch C1 1 2 (5 6) 3 4")
    assert correction_from(correction_record(correction)) == correction
    after = corrected(load_document(text, "test.yaml"), [correction])
    assert after.digest == column("1 2 (5 6) 3 4").digest
    assert dead_beyond(after, "switch/C1/segment3") == {"R5", "R6"}
    for order, said in (("1 2 (5 6 3 4", "in parentheses"), ("1/2 3", "a name without '/'")):
        with pytest.raises(InputError, match=said):
            read_correction(f"chain switch C1 {order}")


def test_show_tells_the_branches_as_a_correction_takes_them():
    wiring = column("[1, 2, [5, 6], 3, 4]")
    assert "6 lugs, order known: 1 2 (5 6) 3 4" in wiring_text(wiring)
    assert "order known:" not in wiring_text(column("1 2 5 6 3 4"))
    rows = (
        "title: A\nmatrices: {lamp: {chart: [[a, b, c, d]], numbered_from: 0, rows: {0: {chain: 1 (3) 0 2}}}}"
    )
    assert "4 lugs, order known: 1 (3) 0 2" in wiring_text(wire(rows))


@pytest.mark.parametrize("chain", ["1 (2) 3", [1, [2], 3], ["R1", ["C1R2", [4, 5]], 3], "unknown"])
def test_the_json_schema_takes_branches(chain):
    checker = jsonschema.Draft202012Validator(machine_schema())
    lines = {"C1": {"chain": chain}}
    assert checker.is_valid({"title": "A", "matrices": {"switch": {"chart": "a", "columns": lines}}})
    if isinstance(chain, list):
        assert checker.is_valid({"title": "A", "feeds": {"f": {"supply": "coil", "chain": chain}}})


@pytest.mark.parametrize("chain", [[1, []], [1, {"a": 1}], 3, [None]])
def test_the_json_schema_refuses_what_is_no_chain(chain):
    checker = jsonschema.Draft202012Validator(machine_schema())
    lines = {"C1": {"chain": chain}}
    assert not checker.is_valid({"title": "A", "matrices": {"switch": {"chart": "a", "columns": lines}}})


def test_a_shipped_machine_has_a_branch():
    wiring = load_machine("glass_orchard")
    starts = [p.nets[0] for r, p in wiring.parts.items() if r.startswith("flash/") and r.endswith("/feed")]
    assert len(starts) - len(set(starts)) == 1
    assert "flash pear (flash plum, flash cherry), flash sky" in " ".join(wiring_text(wiring).split())
