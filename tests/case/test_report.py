"""Reports: what a technician writes becomes findings, or one clear message for everything wrong."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from matrixdoc.case.case import Case
from matrixdoc.case.names import Names, NameTrouble
from matrixdoc.case.record import finding_from_record, finding_record
from matrixdoc.case.report import Report, case_from_report, read_report, resolve_report
from matrixdoc.case.report_schema import ENTRIES, report_schema
from matrixdoc.checks.situation import Finding, Look, Situation, jumper, swap
from matrixdoc.definition.document import load_document
from matrixdoc.definition.errors import InputError, MatrixdocError
from matrixdoc.definition.library import load_machine
from matrixdoc.definition.wiring import Wiring
from matrixdoc.diagnosis.settings import Settings

POCKET = Path(__file__).parents[1] / "cli" / "pocket.yaml"
DOOR = "direct switch/door"  # normally closed: a healthy machine reads it at rest


@cache
def pocket() -> Wiring:
    return load_machine(POCKET)


def resolved(text: str) -> Report:
    return resolve_report(read_report(text, "seen.yaml"), pocket())


def finding(entry: str) -> Finding:
    report = resolved(f"findings:\n  - {entry}\n")
    assert len(report.steps) == 1
    (only,) = report.findings
    return only


def trouble(text: str) -> str:
    with pytest.raises(InputError) as caught:
        resolved(text)
    return str(caught.value)


# -- what each entry means ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("reads", "outcome"),
    [
        ("nothing", {DOOR}),
        ("itself", {DOOR, "switch/C1R2"}),
        ("fine", {DOOR, "switch/C1R2"}),
        ("[C1R2, C2R2]", {DOOR, "switch/C1R2", "switch/C2R2"}),
        ("c2r2", {DOOR, "switch/C2R2"}),
        ("[C2R3]", {DOOR, "switch/C2R3"}),  # a place where nothing is fitted may read, too
        ("C3", {DOOR, "switch/C3R1", "switch/C3R2", "switch/C3R3"}),
    ],
)
def test_a_press_reads_what_was_said_beside_the_normally_closed_switches(
    reads: str, outcome: set[str]
) -> None:
    seen = finding(f"{{press: C1R2, reads: {reads}}}")
    assert seen == Finding(Situation(held=("switch/C1R2",)), Look("reads"), frozenset(outcome))


def test_the_whole_list_is_taken_at_its_word() -> None:
    assert finding("{press: C1R2, reads: [C1R2], whole: yes}").outcome == frozenset({"switch/C1R2"})
    assert finding("{resting: nothing, whole: yes}").outcome == frozenset()
    assert finding("{resting: nothing}").outcome == frozenset({DOOR})


def test_pressing_a_normally_closed_switch_opens_it() -> None:
    assert finding("{press: cabinet door, reads: itself}").outcome == frozenset()
    assert finding("{press: door, reads: nothing}").outcome == frozenset({DOOR})


def test_several_held() -> None:
    seen = finding("{hold: [C1R1, C1R2, C2R1], reads: [C1R1, C1R2, C2R1, C2R2]}")
    assert seen.situation.held == ("switch/C1R1", "switch/C1R2", "switch/C2R1")
    assert seen.outcome == frozenset({DOOR, "switch/C1R1", "switch/C1R2", "switch/C2R1", "switch/C2R2"})


def test_what_reads_at_rest_is_under_everything_said_after_it() -> None:
    report = resolved(
        "findings: [{resting: C3R1}, {press: C1R1, reads: itself}, {press: C1R2, reads: nothing}]"
    )
    assert [f.outcome for f in report.findings] == [
        frozenset({DOOR, "switch/C3R1"}),
        frozenset({DOOR, "switch/C3R1", "switch/C1R1"}),
        frozenset({DOOR, "switch/C3R1"}),
    ]


def test_a_walk_is_one_finding_for_each_switch() -> None:
    report = resolved(
        """
        findings:
          - walk:
              odd: {C1: nothing, C1R3: fine, C2R2: [C2R2, C3R2], drain: not sure, coin chute: not tried}
        """
    )
    assert all(len(f.situation.held) == 1 for f in report.findings)
    by_switch = {f.situation.held[0]: f.outcome for f in report.findings}
    assert by_switch == {
        "switch/C1R1": {DOOR},
        "switch/C1R2": {DOOR},
        "switch/C1R3": {DOOR, "switch/C1R3"},
        "switch/C2R1": {DOOR, "switch/C2R1"},
        "switch/C2R2": {DOOR, "switch/C2R2", "switch/C3R2"},
        "switch/C3R2": {DOOR, "switch/C3R2"},
        "switch/C3R3": "not sure",
    }


def test_a_walk_of_which_only_the_odd_ones_were_tried() -> None:
    report = resolved("findings: [{walk: {odd: {C1R1: nothing}, others: not tried}}]")
    assert [f.situation.held for f in report.findings] == [("switch/C1R1",)]


def test_lamps_under_all_with_the_others() -> None:
    report = resolved("findings: [{lamp: C2R1, seen: off, others: normal}]")
    assert {f.look.target: f.outcome for f in report.findings} == {
        "lamp/C2R1": "off",
        "lamp/C1R1": "normal",
        "lamp/C1R2": "normal",
        "lamp/C2R2": "normal",
    }
    assert {f.situation for f in report.findings} == {Situation(lamps=("all",))}


@pytest.mark.parametrize(
    ("commanded", "situations"),
    [
        ("itself", [("lamp/C1R1",), ("lamp/C1R2",)]),
        ("each", [("lamp/C1R1",), ("lamp/C1R2",)]),
        ("nothing", [(), ()]),
        ("[C2R1, C2R2]", [("lamp/C2R1", "lamp/C2R2")] * 2),
        ("C2", [("lamp/C2R1", "lamp/C2R2")] * 2),
        ("all", [("all",)] * 2),
    ],
)
def test_lamp_patterns(commanded: str, situations: list[tuple[str, ...]]) -> None:
    report = resolved(f"findings: [{{lamp: C1, seen: dim, commanded: {commanded}}}]")
    assert [f.situation.lamps for f in report.findings] == situations
    assert [f.look.target for f in report.findings] == ["lamp/C1R1", "lamp/C1R2"]


def test_others_with_itself_are_seen_while_that_lamp_is_commanded() -> None:
    report = resolved("findings: [{lamp: C1R1, seen: normal, commanded: itself, others: off}]")
    assert {f.situation.lamps for f in report.findings} == {("lamp/C1R1",)}
    each = resolved("findings: [{lamp: C1R1, seen: off, commanded: each, others: normal}]")
    assert all(f.situation.lamps == (f.look.target,) for f in each.findings)
    assert "each" in trouble("findings: [{lamp: C1, seen: off, commanded: itself, others: off}]")


def test_all_lamps() -> None:
    report = resolved("findings: [{lamp: all, seen: dim}]")
    assert len(report.findings) == 4


def test_coils_power_up_and_fuses() -> None:
    report = resolved(
        """
        findings:
          - {coil: ["1", left knocker], seen: weak}
          - {power up: {locked: drain kicker}}
          - {power up: nothing locked}
          - {power_up: not sure}
          - {fuse: coil, seen: open, words: blown black}
        """
    )
    assert report.findings == (
        Finding(Situation(pulsed="coil/1"), Look("coil", "coil/1"), "weak"),
        Finding(Situation(pulsed="coil/2"), Look("coil", "coil/2"), "weak"),
        Finding(Situation(), Look("resting coils"), frozenset({"coil/1"})),
        Finding(Situation(), Look("resting coils"), frozenset()),
        Finding(Situation(), Look("resting coils"), "not sure"),
        Finding(Situation(power=False), Look("fuse", "supply/coil/fuse"), "open", "blown black"),
    )


def test_looks_at_an_altered_machine() -> None:
    report = resolved(
        """
        findings:
          - {resting: C1R1, jumpers: {across: switch/C1R1/contact}}
          - {coil: "1", seen: fires, jumpers: [{from: coil/1/winding.b, to: ground}]}
          - {lamp: C1R1, seen: normal, swapped: [[C1R1, lamp/C1R2/lamp]]}
          - {resting: nothing, opened: supply/coil/fuse}
          - {wiggle: switch/C1R1/contact, seen: changes}
          - {warm: switch/R1/pin, seen: stays}
          - {warm up: lamp C1R2, seen: fails warm}
        """
    )
    lead, coil, lamp, apart, wiggled, warmed, run = report.findings
    assert lead.situation.jumpers == (jumper(*pocket().parts["switch/C1R1/contact"].nets[:2]),)
    assert coil.situation == Situation(jumpers=(jumper("coil/1/driven", "ground"),))
    assert coil.look == Look("coil", "coil/1")
    assert lamp.situation.swapped == (swap("lamp/C1R1/lamp", "lamp/C1R2/lamp"),)
    assert apart.situation.opened == ("supply/coil/fuse",)
    assert wiggled == Finding(Situation(), Look("wiggle", "switch/C1R1/contact"), "changes")
    assert warmed == Finding(Situation(), Look("warm", "switch/R1/pin"), "stays")
    assert run == Finding(Situation(), Look("warm up", "lamp/C1R2"), "fails warm")
    for finding in report.findings:
        assert finding_from_record(json.loads(json.dumps(finding_record(finding)))) == finding


@pytest.mark.parametrize(
    ("entry", "hint"),
    [
        ("{resting: nothing, jumpers: {to: ground}}", "from (and to), or across a part"),
        ("{resting: nothing, jumpers: {from: ground, to: ground}}", "another point"),
        ("{resting: nothing, jumpers: {across: no such part}}", "no such part"),
        ("{lamp: C1R1, seen: off, swapped: [[C1R1]]}", "two parts"),
        ("{wiggle: nowhere, seen: changes}", "nowhere"),
        ("{warm: nowhere, seen: changes}", "nowhere"),
        ("{warm up: nowhere, seen: fails warm}", "a switch, lamp or coil of this machine"),
        ("{warm up: C1R1, seen: fails warm}", "this means 2 of them: switch/C1R1, lamp/C1R1"),
        ("{warm up: coil 1, seen: fails}", "fails warm, fails cold, no change or not sure"),
    ],
)
def test_what_is_wrong_with_an_altered_machine_is_told(entry: str, hint: str) -> None:
    assert hint in trouble(f"findings: [{entry}]")


@pytest.mark.parametrize(
    ("entry", "look", "power", "value"),
    [
        (
            "volts: {red: rail/coil, reading: 48 V}",
            Look("meter", "", "volts", "rail/coil", "ground"),
            True,
            48.0,
        ),
        (
            "volts: {red: rail/coil, reading: 350 mV, power: off}",
            Look("meter", "", "volts", "rail/coil", "ground"),
            False,
            0.35,
        ),
        (
            "ohms: {red: coil/1/winding.a, black: coil/1/winding.b, reading: 2k2}",
            Look("meter", "", "ohms", "rail/coil", "coil/1/lug"),
            False,
            2200.0,
        ),
        (
            "diode: {red: switch/C1R1/diode.anode, black: switch/C1R1/diode.cathode, reading: OL}",
            Look("meter", "", "diode", "", ""),
            False,
            "OL",
        ),
        (
            "ohms: {red: rail/coil, reading: not sure}",
            Look("meter", "", "ohms", "rail/coil", "ground"),
            False,
            "not sure",
        ),
    ],
)
def test_readings(entry: str, look: Look, power: bool, value: object) -> None:
    seen = finding(f"{{{entry}}}")
    assert (seen.situation.power, seen.outcome, seen.look.function) == (power, value, look.function)
    parts = pocket().parts
    if "winding" in entry:
        assert (seen.look.red, seen.look.black) == parts["coil/1/winding"].nets
    elif "diode" in entry:
        assert (seen.look.red, seen.look.black) == parts["switch/C1R1/diode"].nets
    else:
        assert (seen.look.red, seen.look.black) == (look.red, look.black)


def test_the_situation_of_a_reading_is_kept_whole() -> None:
    seen = finding(
        "{volts: {red: rail/lamp, reading: 4 V, held: C1R1, lamps: all, pulsed: 1, opened: supply/coil/fuse}}"
    )
    assert seen.situation == Situation(
        held=("switch/C1R1",), lamps=("all",), pulsed="coil/1", opened=("supply/coil/fuse",)
    )


def test_acts_stand_between_findings() -> None:
    report = resolved(
        """
        findings:
          - {press: C1R1, reads: nothing}
          - {repair: {parts: switch/C1R1/contact, action: clean}}
          - {press: C1R1, reads: itself}
          - {decline: "ohms a b"}
          - {note: the cabinet was damp}
        """
    )
    assert [step.kind for step in report.steps] == ["finding", "repair", "finding", "decline", "note"]
    case = case_from_report(pocket(), report, author="Ada", time="t")
    assert [(e.kind, e.author, e.time) for e in case.entries] == [
        (step.kind, "Ada", "t") for step in report.steps
    ]
    assert case.entries[1].parts == ("switch/C1R1/contact",)
    assert case.entries[1].action == "clean"
    assert case.entries[3].check_key == "ohms a b"


def test_smoke_comes_first_and_is_urgent() -> None:
    case = case_from_report(pocket(), resolved("smoke: yes\nfindings: [{press: C1R1, reads: nothing}]"))
    assert "SWITCH OFF" in case.cautions()[0]
    assert case.entries[0].kind == "note"


def test_settings_are_laid_over_the_usual_ones() -> None:
    text = "settings: {expected faults: 2.5, sat_for_years: yes, recent repair: boards, "
    text += "battery leak: [switch/C1/driver]}"
    report = resolve_report(read_report(text, "r"), pocket(), Settings(slip_rate=0.07))
    assert report.settings == Settings(
        expected_faults=2.5,
        slip_rate=0.07,
        sat_for_years=True,
        recent_repair=("boards",),
        battery_leak=("switch/C1/driver",),
    )


def test_a_finding_that_is_not_sure_is_kept_and_changes_no_probability() -> None:
    sure = case_from_report(pocket(), resolved("findings: [{press: C1R1, reads: nothing}]"))
    both = case_from_report(
        pocket(),
        resolved(
            "findings:\n"
            "  - {press: C1R1, reads: nothing}\n"
            "  - {press: C1R2, reads: not sure}\n"
            "  - {coil: 1, seen: not sure}\n"
        ),
    )
    assert len(both.findings) == 3
    one, two = sure.diagnose(), both.diagnose()
    assert [(c.title, c.probability) for c in one.causes] == [(c.title, c.probability) for c in two.causes]


# -- names --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "words",
    ["C2R1", "c2r1", "switch C2R1", "switch/C2R1", "Left Target", "left-target", "switch/C2R1/contact", "14"],
)
def test_a_switch_goes_by_many_names(words: str) -> None:
    assert Names(pocket()).switch(words) == "switch/C2R1"


@pytest.mark.parametrize(
    ("find", "words", "hint"),
    [
        ("switch", "left targt", "left target"),
        ("switch", "C9R9", "C1 to C3 and R1 to R3"),
        ("switch", "C2R3", "that place of the matrix is empty"),
        ("lamp", "lamp C3R1", "C1 to C2 and R1 to R2"),
        ("switch", "x" * 10_000, ""),
        ("lamp", "bonus", "bonus 1"),
        ("coil", "side flipper", "coil/side flipper/power, coil/side flipper/hold"),
        ("coil", "drain kick", "drain kicker"),
        ("part", "switch/C1R1/contct", "switch/C1R1/contact"),
        ("point", "switch/C1R1/contact", "switch/C1R1/contact.a"),
        ("point", "switch/C1R1/contact.z", "switch/C1R1/contact.b"),
        ("fuse", "coils", ""),
    ],
)
def test_an_unknown_name_is_refused_with_the_nearest_one(find: str, words: str, hint: str) -> None:
    with pytest.raises(NameTrouble) as caught:
        getattr(Names(pocket()), find)(words)
    assert hint in caught.value.suggestion


def quay() -> Names:
    return Names(load_machine("lantern_quay"))


@pytest.mark.parametrize(
    ("find", "words", "meant"),
    [
        ("lamp", "lamp bonus 1", "lamp/C2R1"),
        ("lamp", "bonus 1 lamp", "lamp/C2R1"),
        ("switch", "switch drain", "switch/C3R3"),
        ("coil", "coil drain kicker", "coil/1"),
        ("coils", "drain kicker", ("coil/1",)),
        ("part", "drain kicker winding", "coil/1/winding"),
        ("point", "coil rail", "rail/coil"),
        ("point", "the coil supply", "rail/coil"),
    ],
)
def test_the_kind_of_thing_may_stand_before_or_behind_its_name(find: str, words: str, meant: object) -> None:
    assert getattr(Names(pocket()), find)(words) == meant


def test_pins_feeds_connectors_and_strings_go_by_what_people_call_them() -> None:
    names = quay()
    wiring = names.wiring
    pin = next(p for p in wiring.parts.values() if p.kind == "pin" and p.reference == "switch/C3/pin")
    printed = f"{pin.connector}-{pin.position}"
    assert names.part(printed) == names.part(f"pin {printed}") == "switch/C3/pin"
    assert names.part(f"header {printed}") == "switch/C3/header"
    assert pin.reference in names.parts(f"connector {pin.connector}")
    assert names.coils("lower feed") == names.coils("feed lower")
    assert set(names.coils("lower feed")) == {"coil/1", "coil/2", "coil/3", "coil/4", "coil/12"}
    assert names.fuse("lower feed") == names.part("F5") == "feed/lower/fuse"
    string = next(r for r, lamp in wiring.lamps.items() if lamp.always_on).rpartition("/")[0]
    lamps = names.lamps(string.partition("/")[2])
    assert lamps == tuple(r for r in wiring.lamps if r.startswith(f"{string}/"))
    assert names.lamp(f"{string.partition('/')[2]} lamp 1") == f"{string}/lamp1"


@pytest.mark.parametrize(
    ("find", "words"), [("part", "lower feed"), ("coil", "lower feed"), ("part", "A1"), ("switch", "C3")]
)
def test_what_means_several_things_lists_them(find: str, words: str) -> None:
    with pytest.raises(NameTrouble) as caught:
        getattr(quay(), find)(words)
    assert caught.value.ambiguous
    assert "of them: " in caught.value.suggestion


def test_others_of_a_string_are_its_other_lamps() -> None:
    wiring = load_machine("lantern_quay")
    first = next(r for r, lamp in wiring.lamps.items() if lamp.always_on)
    string = [r for r in wiring.lamps if r.startswith(first.rpartition("/")[0] + "/")]
    text = f"findings: [{{lamp: {first}, seen: off, others: normal}}]"
    found = resolve_report(read_report(text, "seen.yaml"), wiring).findings
    assert [one.look.target for one in found] == string


@pytest.mark.parametrize(
    ("entry", "outcome"),
    [
        ("{lamp: C1R1, seen: dark}", "off"),
        ("{lamp: C1R1, seen: Lit}", "normal"),
        ("{coil: 1, seen: dead}", "nothing"),
        ("{fuse: supply/coil/fuse, seen: blown}", "open"),
    ],
)
def test_everyday_words_for_what_was_seen(entry: str, outcome: str) -> None:
    (finding,) = resolved(f"findings: [{entry}]").findings
    assert finding.outcome == outcome


def test_a_name_that_means_two_things_is_refused_with_both(tmp_path: Path) -> None:
    path = tmp_path / "twice.yaml"
    path.write_text("title: Twice\nmatrices: {switch: {chart: [[target, target]]}}\n")
    try:
        wiring = load_machine(path)
    except InputError:
        path.write_text("title: Twice\nmatrices:\n  switch:\n    chart: |\n      target | target\n")
        wiring = load_machine(path)
    with pytest.raises(NameTrouble) as caught:
        Names(wiring).switch("target")
    assert "switch/C1R1, switch/C2R1" in caught.value.suggestion


# -- what is wrong is said with its place -------------------------------------------------------------


def test_everything_wrong_is_told_at_once_with_line_and_column() -> None:
    said = trouble(
        "findings:\n"
        "  - press: C1R9\n"
        "    reads: nothing\n"
        "  - {fuse: lmp, seen: open}\n"
        "  - volts: {red: rail/coil, reading: 12 ohm}\n"
        "  - repair: {parts: []}\n"
    )
    assert said.splitlines()[0].startswith("seen.yaml:2:12: findings > entry 1 > press: found 'C1R9'")
    assert "seen.yaml:4:12" in said
    assert "seen.yaml:5:38" in said
    assert "at least one part" in said


def test_keys_and_words_are_checked_with_the_near_miss() -> None:
    said = trouble(
        "setings: {}\nfindings:\n  - {pres: C1R1, reads: nothing}\n"
        "  - {lamp: C1R1, seen: of}\n  - {foo: 1}\n  - bar\n"
    )
    for hint in (
        "did you mean 'settings'",
        "did you mean 'press'",
        "did you mean 'off'",
        "begins with one of",
    ):
        assert hint in said
    assert said.count("seen.yaml:") >= 5


# -- the published schema and the reader agree ----------------------------------------------------------

SAMPLES = [
    "{press: C1R1, reads: nothing}",
    "{hold: [C1R1], reads: [C1R1], words: as usual}",
    "{resting: [C1R1], whole: yes}",
    "{walk: {odd: {C1R1: nothing}, others: fine}}",
    "{lamp: C1R1, seen: off, commanded: all, others: normal}",
    "{coil: [1], seen: fires}",
    "{power up: nothing locked}",
    "{power up: {locked: [1]}}",
    "{fuse: coil, seen: good}",
    "{press: C1R1, reads: nothing, opened: switch/R1/pin}",
    "{resting: [C1R1], jumpers: {across: switch/C1R1/contact}}",
    "{coil: [1], seen: fires, jumpers: [{from: coil/1/winding.b, to: ground}]}",
    "{lamp: C1R1, seen: off, swapped: [[C1R1, C1R2]]}",
    "{wiggle: switch/C1R1/contact, seen: changes}",
    "{warm: switch/R1/pin, seen: changes}",
    "{warm up: switch C1R1, seen: fails warm}",
    "{volts: {red: rail/coil, reading: 48 V, power: on}}",
    "{ohms: {red: rail/coil, reading: OL}}",
    "{diode: {red: rail/coil, black: ground, reading: 0.5}}",
    "{repair: {parts: switch/C1R1/contact}}",
    "{decline: some key}",
    '{new fuse: coil, seen: holds, pulsed: "1"}',
    "{override: a second person at the switch}",
    "{note: something}",
]


def test_the_samples_hold_every_kind_of_entry() -> None:
    text = " ".join(SAMPLES)
    assert all(f"{{{word}:" in text for word in ENTRIES)


def as_an_editor_reads(tree: object) -> object:
    """Text as YAML 1.2 types it (core schema, chapter 10.3): true, false and numbers; the rest is text."""
    if isinstance(tree, dict):
        return {key: as_an_editor_reads(value) for key, value in tree.items()}
    if isinstance(tree, list):
        return [as_an_editor_reads(value) for value in tree]
    if tree in ("true", "false"):
        return tree == "true"
    try:
        return float(str(tree))
    except ValueError:
        return tree


@pytest.mark.parametrize("sample", SAMPLES)
def test_the_schema_takes_what_the_reader_takes(sample: str) -> None:
    schema = report_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(as_an_editor_reads(load_document(f"findings: [{sample}]", "sample").tree), schema)
    assert resolved(f"findings: [{sample}]").steps


@pytest.mark.parametrize(
    "sample", ["{press: C1R1}", "{pres: C1R1, reads: x}", "{coil: [1], seen: maybe}", "{}"]
)
def test_the_schema_refuses_what_the_reader_refuses(sample: str) -> None:
    tree = as_an_editor_reads(load_document(f"findings: [{sample}]", "sample").tree)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(tree, report_schema())
    trouble(f"findings: [{sample}]")


# -- nothing but an InputError or a case comes out ------------------------------------------------------

WHOLE = "settings: {expected faults: 2}\nfindings:\n" + "".join(f"  - {sample}\n" for sample in SAMPLES)


def case_or_error(text: str | bytes) -> None:
    try:
        read = read_report(text, "mutated")  # type: ignore[arg-type]  # bytes are refused or read alike
        case = case_from_report(pocket(), resolve_report(read, pocket()))
    except MatrixdocError as error:
        said = str(error)
        assert said
        assert all(c.isprintable() or c == "\n" for c in said)
    else:
        assert isinstance(case, Case)


@given(
    st.integers(0, len(WHOLE)),
    st.integers(0, 12),
    st.one_of(
        st.text(max_size=8),
        st.sampled_from(["{", "[", ": ", "- ", "&a ", "*a", "!!python", "\t", "'", "\x1b[2J", "C1R1", "all"]),
    ),
)
@settings(max_examples=400)
def test_a_mutated_report_gives_a_case_or_a_message(start: int, length: int, new: str) -> None:
    case_or_error(WHOLE[:start] + new + WHOLE[start + length :])


@given(st.binary(max_size=200))
def test_random_bytes_give_a_message(raw: bytes) -> None:
    case_or_error(raw)


values = st.recursive(
    st.one_of(
        st.text(max_size=12),
        st.sampled_from(["C1R1", "C1", "nothing", "itself", "not sure", "OL", "4.7 V", "all", "1"]),
    ),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3),
        st.dictionaries(
            st.sampled_from([*ENTRIES, "reads", "seen", "odd", "red", "reading", "parts", "locked", "C1R1"]),
            inner,
            max_size=3,
        ),
    ),
    max_leaves=8,
)


@given(
    st.lists(
        st.dictionaries(
            st.sampled_from([*ENTRIES, "reads", "seen", "commanded", "others"]), values, max_size=4
        ),
        max_size=4,
    )
)
@settings(max_examples=300)
def test_reports_of_random_shape_give_a_case_or_a_message(entries: list[dict[str, object]]) -> None:
    import json

    case_or_error(json.dumps({"findings": entries}, ensure_ascii=False))
