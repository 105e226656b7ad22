"""Sentences of the command line: each is one entry of a report."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from matrixdoc.case.report import read_report, resolve_report
from matrixdoc.checks.situation import Finding, Look, Situation
from matrixdoc.checks.wording import finding_words, seen_words
from matrixdoc.cli.inputs import Kinds
from matrixdoc.cli.sentence import report_text, taken_for
from matrixdoc.definition.errors import InputError
from matrixdoc.definition.library import load_machine

POCKET = load_machine(Path(__file__).parent / "pocket.yaml")


@pytest.mark.parametrize(
    ("sentence", "entry"),
    [
        ("press C3R3 reads nothing", {"press": "C3R3", "reads": "nothing"}),
        ("press  left  lane reads not sure", {"press": "left lane", "reads": "not sure"}),
        ("press C1R1 reads C1R1, C1R2", {"press": "C1R1", "reads": ["C1R1", "C1R2"]}),
        ("hold C1R1 and C1R2, C2R1 reads C1", {"hold": ["C1R1", "C1R2", "C2R1"], "reads": "C1"}),
        ("resting reads C3R1", {"resting": "C3R1"}),
        ("resting nothing", {"resting": "nothing"}),
        ("walk fine", {"walk": {"others": "fine"}}),
        (
            "walk C3R1 reads nothing; C3R2 reads C3R2, C1R2; others not tried",
            {"walk": {"others": "not tried", "odd": {"C3R1": "nothing", "C3R2": ["C3R2", "C1R2"]}}},
        ),
        ("lamp C2R1 off", {"lamp": ["C2R1"], "seen": "off"}),
        ("lamp C2R1 is dim", {"lamp": ["C2R1"], "seen": "dim"}),
        (
            "lamp C2R1, C2R2 bright commanded itself",
            {"lamp": ["C2R1", "C2R2"], "seen": "bright", "commanded": "itself"},
        ),
        (
            "lamp C2R1 off commanded all others normal",
            {"lamp": ["C2R1"], "seen": "off", "commanded": "all", "others": "normal"},
        ),
        ("coil 1 fires with others", {"coil": ["1"], "seen": "fires with others"}),
        ("coil drain kicker is weak", {"coil": ["drain kicker"], "seen": "weak"}),
        ("power up nothing locked", {"power up": "nothing locked"}),
        ("power up locked 1, 2", {"power up": {"locked": ["1", "2"]}}),
        ("fuse supply/coil/fuse is open", {"fuse": ["supply/coil/fuse"], "seen": "open"}),
        (
            "volts rail/coil to ground 48 V",
            {"volts": {"red": "rail/coil", "black": "ground", "reading": "48 V"}},
        ),
        (
            "volts rail/coil to ground 4.7V",
            {"volts": {"red": "rail/coil", "black": "ground", "reading": "4.7V"}},
        ),
        (
            "ohms coil/1/winding.a to coil/1/winding.b 2k2",
            {"ohms": {"red": "coil/1/winding.a", "black": "coil/1/winding.b", "reading": "2k2"}},
        ),
        (
            "diode rail/coil to ground OL power off held C1R1, C1R2",
            {
                "diode": {
                    "red": "rail/coil",
                    "black": "ground",
                    "reading": "OL",
                    "power": "off",
                    "held": ["C1R1", "C1R2"],
                }
            },
        ),
        (
            "ohms rail/coil to ground not sure",
            {"ohms": {"red": "rail/coil", "black": "ground", "reading": "not sure"}},
        ),
        ("replaced coil/1/driver", {"repair": {"parts": ["coil/1/driver"], "action": "replace"}}),
        ("note it was damp", {"note": "it was damp"}),
        (
            "jumper across switch/C1R1/contact reads C1R1",
            {"resting": "C1R1", "jumpers": [{"across": "switch/C1R1/contact"}]},
        ),
        (
            "jumper coil/1/winding.b to ground coil 1 fires",
            {"coil": ["1"], "seen": "fires", "jumpers": [{"from": "coil/1/winding.b", "to": "ground"}]},
        ),
        (
            "lamp C1R1 off swapped C1R1, C1R2",
            {"lamp": ["C1R1"], "seen": "off", "swapped": [["C1R1", "C1R2"]]},
        ),
        ("resting reads nothing opened coil/1/winding", {"resting": "nothing", "opened": ["coil/1/winding"]}),
        ("wiggle switch/C1R1/contact changes", {"wiggle": "switch/C1R1/contact", "seen": "changes"}),
        ("warm switch/R1/pin changes", {"warm": "switch/R1/pin", "seen": "changes"}),
        ("chill switch/R1/pin stays", {"warm": "switch/R1/pin", "seen": "stays"}),
        ("warm up coil 1 no change", {"warm up": "coil 1", "seen": "no change"}),
        (
            "walk C1R1, C2R1 and drain read nothing; others fine",
            {"walk": {"others": "fine", "odd": dict.fromkeys(("C1R1", "C2R1", "drain"), "nothing")}},
        ),
        ("walk C1 reads nothing, others fine", {"walk": {"others": "fine", "odd": {"C1": "nothing"}}}),
        ("column 3 never reads", {"walk": {"others": "not tried", "odd": {"column 3": "never"}}}),
        ("Press C1R1 Reads Nothing", {"press": "C1R1", "reads": "Nothing"}),
        ("press C1R1 does not read", {"press": "C1R1", "reads": "nothing"}),
        ("lamp C2R1 off; others normal", {"lamp": ["C2R1"], "seen": "off", "others": "normal"}),
        ("lamp C2R1 out, others: fine", {"lamp": ["C2R1"], "seen": "off", "others": "normal"}),
        (
            "lamp C2R1 off others normal commanded all",
            {"lamp": ["C2R1"], "seen": "off", "commanded": "all", "others": "normal"},
        ),
        ("volts rail/coil 5 V", {"volts": {"red": "rail/coil", "black": "ground", "reading": "5 V"}}),
        ("coil 1 nothing; others fire", {"coil": ["1"], "seen": "nothing", "others": "fires"}),
        ("coil 1 hums", {"coil": ["1"], "seen": "weak"}),
        ("lamp C2R1 commanded itself off", {"lamp": ["C2R1"], "seen": "off", "commanded": "itself"}),
        ("C1R1 always reads", {"walk": {"others": "not tried", "odd": {"C1R1": "always"}}}),
        ("replaced lamp C2R1", {"repair": {"parts": ["lamp C2R1"], "action": "replace"}}),
        ("Coils 1, 2 dead", {"coil": ["1", "2"], "seen": "nothing"}),
        ("fuse supply/coil/fuse blown", {"fuse": ["supply/coil/fuse"], "seen": "open"}),
    ],
)
def test_a_sentence_is_one_entry_that_the_report_takes(sentence: str, entry: dict[str, Any]) -> None:
    text = report_text([sentence])
    assert json.loads(text) == {"findings": [entry]}
    assert resolve_report(read_report(text, "--saw"), POCKET).steps


@pytest.mark.parametrize(
    ("sentence", "device", "seen"),
    [
        ("switch C1R1 works cold, fails after twenty minutes", "switch/C1R1", "fails warm"),
        ("switch C1R1 works cold and fails warm", "switch/C1R1", "fails warm"),
        ("switch C1R1 reads when cold, but does not read once it gets warm", "switch/C1R1", "fails warm"),
        ("Press switch C1R1 only fails when hot.", "switch/C1R1", "fails warm"),
        ("lamp C1R1 goes out after half an hour", "lamp/C1R1", "fails warm"),
        ("lamp C1R1: fine cold, stops after a while", "lamp/C1R1", "fails warm"),
        ("coil 1 works warm, fails cold", "coil/1", "fails cold"),
        ("coil 1 fails when it is cold", "coil/1", "fails cold"),
    ],
)
def test_what_works_cold_and_fails_warm_is_understood(sentence: str, device: str, seen: str) -> None:
    text = report_text([sentence])
    assert json.loads(text).keys() == {"findings"}
    (finding,) = resolve_report(read_report(text, "--saw"), POCKET).findings
    assert (finding.look, finding.outcome) == (Look("warm up", device), seen)


def test_smoke_and_smell_stand_above_the_findings() -> None:
    assert json.loads(report_text(["smoke", "note x", "smell"])) == {
        "smoke": "yes",
        "smell": "yes",
        "findings": [{"note": "x"}],
    }


@pytest.mark.parametrize(
    "sentence",
    [
        "",
        "hello",
        "press",
        "press C1R1",
        "press reads nothing",
        "hold , reads x",
        "resting",
        "walk",
        "walk C1R1",
        "lamp C1R1",
        "lamp C1R1 purple",
        "coil 1",
        "coil fires",
        "power up",
        "power up locked",
        "fuse good",
        "volts",
        "ohms a to OL",
        "note",
        "decline",
        "replaced",
        "pressC1R1 reads nothing",
        "jumper",
        "jumper across switch/C1R1/contact",
        "jumper rail/coil coil 1 fires",
        "wiggle switch/C1R1/contact",
        "warm switch/R1/pin",
        "warm up coil 1",
        "switch C1R1 works cold, fails cold",
        "press C1R1, C1R2 reads nothing",
        "walk C1R1 reads nothing, C1R2 reads nothing",
        "lamp C1R1 off others purple",
    ],
)
def test_an_unclear_sentence_is_refused_with_what_would_be_right(sentence: str) -> None:
    with pytest.raises(InputError) as caught:
        resolve_report(read_report(report_text([sentence]), "--saw"), POCKET)
    assert "expected" in str(caught.value)


def test_every_unclear_sentence_is_told() -> None:
    with pytest.raises(InputError) as caught:
        report_text(["hello", "press C1R1 reads nothing", "good bye"])
    assert len(caught.value.problems) == 2


QUAY = load_machine("lantern_quay")


@pytest.mark.parametrize(
    "sentence",
    [
        "C1R4 never reads",
        "C1R4 does not read at rest",
        "resting: C1R4 no longer reads",
        "resting reads nothing, and no longer switch C1R4",
        "at rest: switch C1R4 (back box door) does not read",
    ],
)
def test_a_normally_closed_switch_that_never_reads_is_missing_at_rest(sentence: str) -> None:
    (finding,) = resolve_report(read_report(report_text([sentence]), "--saw"), QUAY).findings
    assert not finding.situation.held
    assert finding.outcome == frozenset()
    assert finding_words(QUAY, finding) == "at rest: switch C1R4 (back box door) does not read"


@pytest.mark.parametrize(
    ("sentence", "device", "outcome"),
    [
        ("lamp C2R1 flickers", "lamp/C2R1", "flickers"),
        ("lamp C2R1 is flickering", "lamp/C2R1", "flickers"),
        ("C2R1 flickers", "lamp/C2R1", "flickers"),
        ("coil 5 hums", "coil/5", "weak"),
        ("coil 5 buzzes", "coil/5", "weak"),
        ("crate bank reset hums", "coil/5", "weak"),
        ("coil 5 fires twice", "coil/5", "fires twice"),
    ],
)
def test_what_flickers_hums_or_fires_twice_is_understood(sentence: str, device: str, outcome: str) -> None:
    text = report_text([sentence], Kinds(QUAY).kind_of)
    (finding,) = resolve_report(read_report(text, "--saw"), QUAY).findings
    assert (finding.look.target, finding.outcome) == (device, outcome)
    assert bool(taken_for(sentence)) == sentence.endswith(("hums", "buzzes"))
    assert " is flickers" not in finding_words(QUAY, finding)


@pytest.mark.parametrize("outcome", [frozenset(), frozenset({"switch/C1R4"})])
def test_what_results_print_of_a_normally_closed_switch_is_taken_back(outcome: frozenset[str]) -> None:
    pressed = Finding(Situation(held=("switch/C1R4",)), Look("reads"), outcome)
    for words in (finding_words(QUAY, pressed), seen_words(QUAY, pressed)):
        (found,) = resolve_report(read_report(report_text([words]), "--saw"), QUAY).findings
        assert found == pressed, words


@pytest.mark.parametrize("sentence", ["it smells burnt", "something is hot", "smells", "coil 4 smells burnt"])
def test_danger_is_heard_in_everyday_words(sentence: str) -> None:
    assert json.loads(report_text([sentence]))["smell"] == "yes"


WORDS = (
    "press hold resting walk lamp coil jumper across wiggle warm chill cold fails works after swapped opened "
    "power up fuse volts ohms diode "
    "reads nothing C1R1 C1 , ; to ground 5 V OL others normal commanded itself off locked is not sure power "
    "held replaced and rail/coil"
)
words = st.sampled_from([*WORDS.split(), "\x1b"])


@given(st.one_of(st.text(max_size=40), st.lists(words, max_size=10).map(" ".join)))
def test_any_sentence_gives_steps_or_a_message(sentence: str) -> None:
    said = ""
    try:
        resolve_report(read_report(report_text([sentence]), "--saw"), POCKET)
    except InputError as error:
        said = str(error)
    assert all(c.isprintable() or c == "\n" for c in said)
