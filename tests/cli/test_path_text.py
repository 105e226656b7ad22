"""``matrixdoc path`` as a person reads it: folded, without repetition, nothing lost, at 80 columns."""

from __future__ import annotations

import re
from itertools import pairwise

import pytest

from matrixdoc.case.feeds import feeds_of, strings_of
from matrixdoc.circuit.netlist import build_circuit
from matrixdoc.circuit.paths import device_elements
from matrixdoc.cli.path import find_place, path_text
from matrixdoc.cli.path_feeds import feed_steps, feed_text, string_steps, string_text
from matrixdoc.cli.path_steps import path_steps
from matrixdoc.definition.library import load_machine, machine_from_text
from tests.proof.definitions import SHIPPED, text_of

WORD = re.compile(r"[\w.-]+")


@pytest.fixture(scope="module", params=[*SHIPPED, "outputs"])
def circuit(request: pytest.FixtureRequest):
    return build_circuit(machine_from_text(text_of(request.param, 1)))


def told(circuit, place: str) -> str:
    return path_text(circuit, place, path_steps(circuit, place))


def test_every_part_pin_wire_and_place_is_in_the_text_within_80_columns(circuit) -> None:
    for place in list(device_elements(circuit))[::7]:
        steps, text = path_steps(circuit, place), told(circuit, place)
        assert max(len(line) for line in text.splitlines()[2:]) <= 80
        flat = " ".join(text.split())
        for step in steps:
            part = step.part
            head, _, last = part.reference.rpartition("/")
            number = re.search(r"\d+$", last)
            folded = number is not None and re.search(rf"{re.escape(head)}/\D+\d+ to \d+", flat)
            assert part.reference in flat or f", {last}" in flat or folded, (place, part.reference)
            if part.connector and part.position is not None:
                assert f"{part.connector}-{part.position}" in flat
            assert part.colour in flat
            assert part.place in flat


def test_nothing_is_said_twice_in_a_row(circuit) -> None:
    for place in list(device_elements(circuit))[::7]:
        for line in told(circuit, place).splitlines():
            pieces = [piece.strip() for piece in line.split(";")]
            assert len(pieces) == len(set(pieces)), line
            # Names of switches and lamps in a list of lugs may well begin alike.
            told_of_it = re.sub(r"\(.*|.*\)", "", re.split(r"\s{2,}", line)[-1])
            for piece in told_of_it.split(";"):
                words = [word for word in WORD.findall(piece) if len(word) > 1 and not word.isdecimal()]
                assert not any(a == b for a, b in pairwise(words)), line


def test_what_stands_for_what_is_told() -> None:
    circuit = build_circuit(load_machine("lantern_quay"))
    assert "only for the instant after the coil is let go" in " ".join(told(circuit, "coil/5/diode").split())
    assert "It serves coil 5 (crate bank reset)." in told(circuit, "coil/5/logic")
    flat = " ".join(told(circuit, "feed/upper/fuse").split())
    assert "It carries the current of coil 5 (crate bank reset) and of 5 more." in flat
    assert "number 35" in told(circuit, "switch/C3R5")
    assert "Fired by direct switch buoy 1 ring" in told(circuit, "coil/31")
    assert "No current of a supply" in told(circuit, "switch/C3R8/capacitor")
    light = told(build_circuit(load_machine("storm_bureau")), "switch/C1R0")
    assert "THE LIGHT of its optical pair" in light
    assert light.index("switch/C1R0/phototransistor") < light.index("switch/C1R0/emitter_resistor")


def test_the_receiver_of_a_buffered_optical_pair_and_its_buffer_are_on_the_path() -> None:
    circuit = build_circuit(load_machine("storm_bureau"))
    named = {step.part.reference for step in path_steps(circuit, "switch/C6R7")}
    assert {f"switch/C6R7/{part}" for part in ("phototransistor", "receiver_pull", "buffer")} <= named


def test_every_feed_and_every_string_has_a_path_with_all_its_parts(circuit) -> None:
    wiring = circuit.wiring
    for feed in feeds_of(wiring).values():
        steps = feed_steps(circuit, feed)
        text, names = feed_text(circuit, feed, steps), [step.part.reference for step in steps]
        assert max(map(len, text.splitlines()[2:])) <= 80
        assert [name for name in names if name in feed.parts] == list(feed.parts)
        taps = [f"{stem}/feed" for stem in feed.stems if f"{stem}/feed" in wiring.parts]
        assert [name for name in names if name in taps] == taps
        flat = " ".join(text.split())
        assert all(stem in flat or stem.replace("/", " ", 1) in flat for stem in feed.stems)
    for stem, lamps in strings_of(wiring).items():
        steps = string_steps(circuit, lamps)
        text, names = string_text(circuit, stem, lamps, steps), [step.part.reference for step in steps]
        assert max(map(len, text.splitlines()[2:])) <= 80
        assert len(names) == len(set(names))
        elements = [wiring.lamps[lamp].element for lamp in lamps]
        assert [name for name in names if name in elements] == elements
        assert f"{len(lamps)} side by side" in text
        own = {name for name in wiring.parts if name.startswith(f"{stem}/")}
        assert own <= set(names)


def test_a_feed_and_a_string_go_by_the_names_that_people_use() -> None:
    wiring = load_machine("lantern_quay")
    for words in ("lower", "lower feed", "feed lower", "feed/lower", "lower playfield coil feed"):
        assert find_place(wiring, words) == "feed/lower"
    for words in ("left side", "illumination left side", "string left side", "illumination/left side"):
        assert find_place(wiring, words) == "illumination/left side"
    assert find_place(wiring, "F5") == "feed/lower/fuse"


SHARED = """
title: A
feeds: {one: {supply: coil, chain: [1, 3]}, two: {supply: coil}}
coils:
  1: {title: ding, style: high-side PNP, feed: one, fuse: 2 A}
  2: {title: dong, shares: 1, relay: r}
  3: {feed: one}
  4: {shares: 3, relay: r, feed: two}
relays: {r: {drive: K1}}
"""


def test_a_coil_on_anothers_high_side_drive_is_on_its_feed() -> None:
    circuit = build_circuit(machine_from_text(SHARED))
    feeds = feeds_of(circuit.wiring)
    assert feeds["one"].coils(circuit.wiring) == ("coil/1", "coil/2", "coil/3")
    assert feeds["two"].coils(circuit.wiring) == ("coil/4",)
    text = told(circuit, "coil/2")
    assert "one feed" in text
    assert "\ncoil 1 (ding)\n" in text
    assert "coil/1/fuse        fuse (2 A); playfield; serves 3" in text


def test_the_way_along_a_branch_leaves_out_what_hangs_on_the_other() -> None:
    chart = "[[a], [b], [c], [d], [e], [k]]"
    matrix = f"{{chart: {chart}, columns: {{C1: {{chain: 1 2 (3 4) 5 6}}}}}}"
    circuit = build_circuit(machine_from_text(f"title: A\nmatrices: {{switch: {matrix}}}\n"))
    parts = {step.part.reference for step in path_steps(circuit, "switch/C1R6")}
    segments = {r for r in parts if r.startswith("switch/C1/segment")}
    assert segments == {"switch/C1/segment2", "switch/C1/segment5", "switch/C1/segment6"}
    flat = " ".join(told(circuit, "switch/C1R6").split())
    assert "switch/C1/segment6, segment5" in flat
    assert "from lug to lug: 6 (k), 5 (e), 2 (b)" in flat
    assert "switch/C1/segment2" in flat
    assert "segment6 to 2" not in flat
