"""What is wrong with a definition is said, all at once, and never ends in a traceback."""

from __future__ import annotations

import time
from contextlib import suppress

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from matrixdoc.definition.errors import InputError
from matrixdoc.definition.library import list_machines, machine_from_text
from tests.definition.wirings import problems, wire


def test_all_contradictions_at_once_with_their_lines():
    found = problems(
        "title: A\n"  # 1
        "places: {door: {minutes: 1}}\n"
        "boards: {one: {place: attic}}\n"  # 3
        "connectors: {W1: {pins: 3, also: {3: ground, 9: nothing}}}\n"  # 4, twice
        "matrices:\n"
        "  switch:\n"
        "    chart: [[a, a, -]]\n"
        "    columns:\n"
        "      C1: {pin: W1-1, chain: 1 1}\n"  # 9
        "      C2: {pin: W1-1}\n"  # 10: taken
        "      C9: {}\n"  # 11
        "    rows: {R1: {pin: W1-3, chain: C1 C2}}\n"  # 3 of W1 is ground: line 4
        "    cells:\n"
        "      C3R1: {}\n"  # 14: not fitted
        "      X: {}\n"  # 15
        "  odd: {chart: [[a, b], [c]], device: lamp, style: wrong style}\n"  # 16, twice
        "  what: {chart: [[a]]}\n"  # 17
        "feeds: {f: {supply: col}}\n"  # 18
        "coils:\n"
        "  1: {fired_by: a, feed: g}\n"  # 20: ambiguous; unknown feed
        "  2: {fired_by: zebra, supply: coyl, style: low-side Darlingtn}\n"  # 21, three times
        "  3: {enable: [x], pin: Q9-1, link: 4}\n"  # 22: enable, connector, no link
        "bundles: [{lines: [switch C1, switch C7]}]\n"  # 23
    )
    assert [line for line, _ in found] == [
        3, 4, 4, 4, 9, 10, 11, 14, 15, 16, 16, 17, 18, 20, 20, 21, 21, 21, 22, 22, 22, 23,
    ]  # fmt: skip
    text = "\n".join(words for _, words in found)
    assert "did you mean 'coil'" in text
    assert "did you mean 'low-side Darlington'" in text
    assert "which is switch C1R1, switch C2R1" in text


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("matrices: {coil: {chart: [[a]], device: lamp}}", "a name that is not one of"),
        ("matrices: {switch: {chart: [[-]]}}", "a name in at least one cell"),
        ("matrices: {switch: {chart: []}}", "at least one row"),
        ("matrices: {switch: {chart: [[a]], lamp: 44}}", "'lamp' in a switch matrix"),
        ("matrices: {lamp: {chart: [[a]], row_pull: 1k}}", "'row_pull' in a lamp matrix"),
        ("matrices: {switch: {chart: [[a]], reads_low_at: 3 V, reads_high_at: 2 V}}", "at most 2 V"),
        ("matrices: {switch: {chart: [[a]], element: LED}}", "leaf, snap-action, reed or opto"),
        ("matrices: {switch: {chart: [[a], [b]], columns: {C1: {chain: 1}}}}", "every fitted cell"),
        ("matrices: {switch: {chart: [[a]], columns: {1: {}, C1: {}}}}", "each line once"),
        ("matrices: {switch: {chart: [[a]], cells: {c1r1: {}, C1R1: {}}}}", "each cell once"),
        ("coils: {left flipper: {}}", "under 'flippers:'"),
        ("flippers: {left: {}, left flipper: {}}", "different names"),
        ("flippers: {left: {eos: C1R1}}", "of a high-current flipper"),
        ("flippers: {left: {end_of_stroke: low-current, output: x}}", "of a low-current flipper"),
        ("outputs: {x: {pin: A-1}}\nflippers: {left: {output: x}}", "pins at the circuits that share it"),
        ("supplies: {x: {alternating: yes, bridge: 1N4004}}\ncoils: {1: {}}", "on an alternating supply"),
        ("boards: {a: {}, b: {}}\nlink: {boards: [a, c]}\ncoils: {1: {}}", "a board: a or b"),
        (
            "boards: {a: {}, b: {}}\nlink: {boards: [a, b], pins: 9}\ncoils: {1: {link: 3}, 2: {link: 3}}",
            "position 3 again",
        ),
        ("boards: {a: {}, b: {}}\nlink: {boards: [a, b], pins: 9}\ncoils: {1: {link: 10}}", "from 1 to 9"),
        ("connectors: {W: {pins: 2}}\ncoils: {1: {pin: W-3}}", "a position from 1 to 2"),
        ("places: {door: {minutes: 1}}\ncoils: {1: {place: dor}}", "did you mean 'door'"),
        ("matrices: {switch: {chart: [[a, b, c]], decoder: {lines: [{}]}}}", "2 lines"),
        (
            "matrices: {switch: {chart: [[a]], decoder: {lines: [{}]}, columns: {C1: {logic: U1}}}}",
            "logic of a decoded drive",
        ),
        (
            "feeds: {f: {supply: coil, chain: [2]}}\ncoils: {1: {feed: f}, 2: {}}",
            "what hangs on this feed: coil 1",
        ),
        ("feeds: {f: {supply: coil, chain: [1, coil 1]}}\ncoils: {1: {feed: f}}", "each once"),
        (
            "boards: {a: {}, b: {}}\nlink: {boards: [a, b]}\ncoils: {1: {link: 1, board: a}}",
            "a part on board b",
        ),
        (
            "boards: {a: {}, b: {}}\nconnectors: {link: {}}\nlink: {boards: [a, b]}\ncoils: {1: {}}",
            "another name",
        ),
        ("notes: [nothing else]", "at least one matrix, coil, lamp or switch"),
        ("direct_switches: {a: {sensing: magic}}", "a kind of sensing"),
    ],
)
def test_contradictions(text, said):
    found = problems(f"title: A\n{text}")
    assert said in "\n".join(words for _, words in found)


FOLLOWS = (
    "coils: {1: {fired_by: left lane}, 2: {fired_by: C2R1}, 3: {feed: f}}\n"
    "feeds: {f: {supply: coil, chain: [3]}}\n"
    "bundles: [{lines: [switch C1, coil 1]}]\nverified: [switch/C1R1]\n"
)


@pytest.mark.parametrize(
    ("matrix", "follows"),
    [
        ("switch: {sensing: 74HCT, chart: [[left lane, b]]}", FOLLOWS),
        ("switch: {style: sink strobes, chart: [[left lane, b]]}", FOLLOWS),
        ("switch: {chart: [[left lane, b], [c]]}", FOLLOWS),
        ("switch: {by_number: {1: left lane}}", FOLLOWS),
        ("things: {chart: [[left lane, b]]}", FOLLOWS.replace("switch", "things")),
        (
            "bank: {feed: f, chart: [[a]]}",
            "coils: {3: {feed: f}}\nfeeds: {f: {supply: coil, chain: [bank, 3]}}",
        ),
        (
            "bank: {device: coil, feed: f, style: high-side, chart: [[a]]}",
            "coils: {3: {feed: f}}\nfeeds: {f: {supply: coil, chain: [bank, 3]}}",
        ),
        ("switch: {chart: [[a]]}", "feeds: {f: {supply: coil, chain: [3]}}\ncoils: {3: {feed: g}}"),
        ("switch: {chart: [[a]]}", "direct_switches: {x: {sensing: magic}}\ncoils: {3: {fired_by: x}}"),
    ],
)
def test_one_slip_is_one_problem(matrix, follows):
    found = problems(f"title: A\nmatrices:\n  {matrix}\n{follows}")
    assert len(found) == 1, found


BANK_CHAIN = "feeds: {f: {supply: coil, chain: [bank R1]}}"


@pytest.mark.parametrize(
    "slip",
    [
        "coils: {1: {style: hgh-side PNP, return_wire: BK, return_pin: E1-1}}\nconnectors: {E1: {}}",
        "flippers: {left: {style: low side, end_of_stroke: low-current, return_wire: BK}}",
        "flash_lamps: {1: {style: high side, return_wire: BK}}",
        "matrices: {bank: {device: coil, feed: f, style: low-side first, chart: [[a, b]]}}\n" + BANK_CHAIN,
        "matrices: {bank: {device: lamp, feed: f, style: high-side first, chart: [[a], [b]]}}\n" + BANK_CHAIN,
    ],
)
def test_a_style_that_is_not_known_is_the_one_problem(slip):
    ((_, words),) = problems(f"title: A\n{slip}")
    assert "style: found" in words


def test_a_drive_given_to_two_loads_is_told_once_with_both():
    ((line, words),) = problems(
        "title: A\ncoils:\n  1: {title: kicker, drive: Q1}\n  2: {title: bell, drive: q1}\n  3: {drive: Q2}\n"
    )
    assert line == 4
    assert "coils > 2 > drive: found drive 'q1' again" in words
    assert "coil 1 (kicker) has it" in words
    assert "write one, with the ohms of both together" in words
    ((_, words),) = problems(
        "title: A\ndirect_lamps: {credit: {drive: Q1}}\nflippers: {left: {end_of_stroke: low-current, "
        "drive: Q2, hold_drive: {drive: Q1}}}"
    )
    assert "Q1' again" in words


@pytest.mark.parametrize(
    "fine",
    [
        "coils: {1: {drive: U5}, 2: {drive: U5}}",
        "coils: {1: {drive: A5, style: low-side array}, 2: {drive: A5, style: low-side array}}",
        "coils: {1: {drive: K1, style: relay contact}, 2: {drive: K1, style: relay contact}}",
        "boards: {one: {}, two: {}}\ncoils: {1: {drive: Q1, board: one}, 2: {drive: Q1, board: two}}",
        "coils: {1: {drive: Q1}, 2: {shares: 1, relay: r}}\nrelays: {r: {drive: K1}}",
    ],
)
def test_a_name_that_several_drives_have_by_right_is_no_problem(fine):
    assert wire(f"title: A\n{fine}").coils


def test_what_is_not_in_an_unreadable_matrix_is_told_beside_it():
    text = "title: A\nmatrices: {things: {chart: [[left lane]]}}\ncoils: {1: {fired_by: zebra}}"
    assert [line for line, _ in problems(text)] == [2, 3]


def test_only_described_supplies_are_offered():
    text = "title: A\nsupplies: {kick: {volts: 36 V}}\ncoils: {1: {supply: opt}}"
    ((_, words),) = problems(text)
    assert "expected a supply: kick" in words
    assert "opto" not in words
    ((_, words),) = problems("title: A\ncoils: {1: {supply: other}}")
    assert "logic, lamp, coil, opto or illumination" in words


def test_choices_are_words():
    ((_, words),) = problems("title: A\nmatrices: {switch: {element: leef, chart: [[a]]}}")
    assert "expected leaf, snap-action, reed, opto, filament or LED; did you mean 'leaf'?" in words
    ((_, words),) = problems(
        "title: A\nmatrices: {coil: {style: high-side, chart: [[a]]}}".replace("coil:", "bank coil:")
    )
    assert "'high-side columns, low-side rows' or 'low-side columns, high-side rows'" in words


def test_hundreds_of_errors_end_quickly():
    lines = ", ".join(f"nothing {n}" for n in range(250))
    bundles = ", ".join(f"{{lines: [{lines}]}}" for _ in range(40))
    assert len(problems(f"title: A\ncoils: {{1: {{}}}}\nbundles: [{bundles}]")) <= 200


def test_a_long_list_of_wrong_references_ends_quickly():
    listed = ", ".join(f"switch/C1R9/x{n}" for n in range(3000))
    chart = "[" + ", ".join("[" + ", ".join("a" * 32) + "]" for _ in range(32)) + "]"
    start = time.perf_counter()
    found = problems(f"title: A\nmatrices: {{switch: {{chart: {chart}}}}}\nverified: [{listed}]")
    assert len(found) == 200
    assert "did you mean" in found[0][1]
    assert time.perf_counter() - start < 15.0


def test_more_cells_than_any_machine_has_are_refused():
    chart = "[" + ", ".join("[" + ", ".join("a" * 32) + "]" for _ in range(32)) + "]"
    text = "title: A\nmatrices:\n" + "".join(f"  switch {n}: {{chart: {chart}}}\n" for n in range(9))
    assert "at most" in problems(text)[0][1]


@settings(max_examples=100, deadline=None)
@given(st.data())
def test_a_damaged_definition_gives_an_error_or_a_machine(data):
    shipped = [m.path for m in list_machines() if m.shipped]
    lines = data.draw(st.sampled_from(shipped)).read_text("utf-8").splitlines()
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(lines) - 1))
        change = data.draw(st.sampled_from(["drop", "copy", "cut", "swap", "word"]))
        if change == "drop":
            del lines[at]
        elif change == "copy":
            lines.insert(at, lines[data.draw(st.integers(0, len(lines) - 1))])
        elif change == "cut":
            lines[at] = lines[at][: data.draw(st.integers(0, len(lines[at])))]
        elif change == "swap":
            other = data.draw(st.integers(0, len(lines) - 1))
            lines[at], lines[other] = lines[other], lines[at]
        else:
            words = lines[at].split(" ")
            words[data.draw(st.integers(0, len(words) - 1))] = data.draw(
                st.sampled_from(
                    ["none", "0", "-1", "²", "C1R1", "{}", "[]", "yes", "ground", "9 V", "unknown"]
                )
            )
            lines[at] = " ".join(words)
    # Anything but an InputError ends the test.
    with suppress(InputError):
        assert wire("\n".join(lines)).parts


def test_no_bridge_may_be_said_of_an_alternating_supply() -> None:
    def text(bridge: str) -> str:
        return (
            "title: small\nsupplies:\n"
            f"  general: {{volts: 6.3 V, alternating: yes, bridge: {bridge}, capacitor: none}}\n"
            "illumination:\n  string: {supply: general, lamps: 2, wire: YE}\n"
        )

    assert not machine_from_text(text("none")).supplies["general"].rectifiers
    with pytest.raises(InputError, match="bridge on an alternating supply"):
        machine_from_text(text("GBPC35"))
