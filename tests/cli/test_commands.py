"""Every command: its result, its JSON against the published schema, its exit status, its complaints."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from matrixdoc.case.case import Case
from matrixdoc.case.wording import outcome_words
from matrixdoc.checks.situation import Check, Finding, Look, Situation
from matrixdoc.cli.diagnose import diagnosis_text
from matrixdoc.cli.main import main
from matrixdoc.cli.parser import SCHEMAS, build_parser
from matrixdoc.cli.schema import schema_of
from matrixdoc.definition.charts import chart_from_csv
from matrixdoc.definition.library import load_machine
from matrixdoc.diagnosis.results import Cause, Diagnosis, ExpectedOutcome, FaultName, RankedCheck, Reason

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
POCKET = str(HERE / "pocket.yaml")
DEAD_SWITCH = ["--saw", "walk C1R2 reads nothing; others fine"]

Capture = pytest.CaptureFixture[str]


def run(capsys: Capture, *argv: str) -> tuple[int, str, str]:
    """Exit status, standard output, standard error."""
    try:
        status = main(argv)
    except SystemExit as leaving:
        status = int(leaving.code or 0)
    seen = capsys.readouterr()
    return status, seen.out, seen.err


def checked_json(capsys: Capture, name: str, *argv: str) -> Any:
    """The JSON result of a command, checked against its published schema."""
    status, out, _ = run(capsys, *argv, "--json")
    assert status == 0
    result = json.loads(out)
    schema = schema_of(name)
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(result, schema)
    return result


# -- help and usage ------------------------------------------------------------------------------------


def test_help_shows_every_command_and_examples(capsys: Capture) -> None:
    status, out, err = run(capsys, "--help")
    assert (status, err) == (0, "")
    for command in (
        "bench",
        "machines",
        "validate",
        "show",
        "chart",
        "path",
        "diagnose",
        "simulate",
        "hold",
        "spice",
        "schema",
    ):
        assert f"    {command} " in out
        status, told, _ = run(capsys, command, "--help")
        assert status == 0
        assert "examples:" in told
        assert max(map(len, told.splitlines())) <= 80
    assert "examples:" in out
    assert max(map(len, out.splitlines())) <= 80


@pytest.mark.parametrize(
    "argv",
    [
        ["nonsense"],
        ["diagnose"],
        ["diagnose", "--top", "0", POCKET],
        ["diagnose", POCKET, "--expected-faults", "many"],
        ["schema", "nothing"],
        ["chart", POCKET, "--csv", "--json"],
        ["machines", "--colour"],
    ],
)
def test_a_wrong_command_line_is_status_2_and_says_why(capsys: Capture, argv: list[str]) -> None:
    status, out, err = run(capsys, *argv)
    assert (status, out) == (2, "")
    assert "usage: matrixdoc" in err
    assert "--help" in err


@pytest.mark.parametrize(
    ("argv", "said"),
    [
        (["show", "no_such_machine"], "no_such_machine"),
        (["show", "no/such/file.yaml"], "no such file"),
        (["chart", POCKET, "--matrix", "lmp"], "did you mean 'lamp'"),
        (["path", POCKET, "left targt"], "did you mean left target"),
        (["path", POCKET, "C1R1"], "switch/C1R1 or lamp/C1R1"),
        (["diagnose", POCKET], "no symptom"),
        (["diagnose", POCKET, "no_such_report.yaml"], "no such file"),
        (["diagnose", POCKET, "--saw", "pres C1R1 reads nothing"], "begins with"),
        (["diagnose", POCKET, "--saw", "press C1R1"], "for example"),
        (["diagnose", POCKET, "--saw", "press C9R1 reads nothing"], "C1 to C3"),
        (["diagnose", POCKET, *DEAD_SWITCH, "--recent-repair", "bords"], "did you mean boards"),
        (["simulate", POCKET, "--fault", "switch/C1R1/diode"], "say switch/C1R1/diode=open"),
        (["simulate", POCKET, "--fault", "nowhere"], "PART=MODE"),
        (["simulate", POCKET, "--fault", "switch/C1R1/diode=shortd"], "did you mean 'shorted'"),
        (["simulate", POCKET, "--fault", "switch/C1R1/diod=shorted"], "did you mean switch/C1R1/diode"),
        (["spice", POCKET, "--phase", "C9"], "switch C1"),
        (["spice", POCKET, "--press", "nowhere"], "--press"),
    ],
)
def test_a_wrong_input_is_status_1_with_one_clear_message(
    capsys: Capture, argv: list[str], said: str
) -> None:
    status, out, err = run(capsys, *argv)
    assert (status, out) == (1, "")
    assert said in " ".join(err.split())
    assert "Traceback" not in err


# -- machines, definitions -----------------------------------------------------------------------------


def test_machines_lists_the_shipped_ones_and_the_persons_own(capsys: Capture, own_user_folder: Path) -> None:
    own = own_user_folder / "matrixdoc" / "machines"
    own.mkdir(parents=True)
    (own / "mine.yaml").write_text('title: "Mine [bold]"\n')
    (own / "torn.yaml").write_text("title: [\n")
    result = checked_json(capsys, "machines", "machines")
    by_name = {one["name"]: one for one in result["machines"]}
    assert by_name["bare_chart"]["origin"] == "shipped"
    assert by_name["mine"]["origin"] == "yours"
    assert by_name["torn"]["title"] == ""
    status, out, err = run(capsys, "machines")
    assert status == 0
    assert "Mine [bold]" in out
    assert "has errors" in out
    assert str(own) in err


def test_validate_tells_of_every_file(capsys: Capture, tmp_path: Path) -> None:
    report = tmp_path / "seen.yaml"
    report.write_text(f"machine: {POCKET}\nfindings: [{{press: C1R1, reads: nothing}}]\n")
    wrong = tmp_path / "wrong.yaml"
    wrong.write_text("title: Wrong\nmatrixes: {}\n")
    wrong_report = tmp_path / "wrong_report.yaml"
    wrong_report.write_text(f"machine: {POCKET}\nfindings: [{{press: C1R9, reads: nothing}}]\n")
    status, out, err = run(capsys, "validate", POCKET, str(report))
    assert (status, err) == (0, "")
    assert "a sound definition of Pocket pier" in out
    assert "a sound report" in out
    status, out, err = run(
        capsys, "validate", POCKET, str(wrong), str(wrong_report), str(tmp_path / "missing.yaml")
    )
    assert status == 1
    assert "did you mean 'matrices'" in err
    assert "wrong.yaml:2:1" in err
    assert "C1R9" in err
    assert "no such file" in err
    status, out, _ = run(capsys, "validate", POCKET, str(wrong), str(report), "--json")
    assert status == 1
    files = json.loads(out)["files"]
    jsonschema.validate(json.loads(out), schema_of("validate"))
    assert [one["valid"] for one in files] == [True, False, True]
    assert [one["kind"] for one in files] == ["machine", "machine", "report"]
    assert files[1]["problems"][0]["line"] == 2


def test_validate_gives_advice_after_a_sound_definition(capsys: Capture) -> None:
    status, out, err = run(capsys, "validate", str(ROOT / "machine_defs" / "bare_chart.yaml"))
    assert (status, err) == (0, "")
    assert out.index("a sound definition") < out.index("Worth a second look:")
    result = checked_json(capsys, "validate", "validate", str(ROOT / "machine_defs" / "bare_chart.yaml"))
    assert result["files"][0]["advice"]


@pytest.mark.parametrize("machine", ["lantern_quay", "kettle_hollow", "glass_orchard"])
def test_show_lists_feeds_and_strings_within_80_columns(capsys: Capture, machine: str) -> None:
    status, out, _ = run(capsys, "show", machine)
    assert status == 0
    assert max(map(len, out.splitlines())) <= 80
    lines = out.splitlines()
    feeds = lines[lines.index("FEEDS") + 3 :]
    assert feeds[0].split()[1] == "coil"
    strings = lines[lines.index("ILLUMINATION") + 3 :]
    assert any(word.isdigit() for word in strings[0].split())
    assert "lamp1" not in out


def test_show_lists_a_feed_in_wiring_order(capsys: Capture) -> None:
    _, out, _ = run(capsys, "show", "lantern_quay")
    (row,) = [line for line in out.splitlines() if line.startswith("lower ")]
    assert " ".join(row.split()) == "lower coil F5 (3.15 A slow) A1-1 BN-RD coil 1, 2, 12, 4, 3"


@pytest.mark.parametrize("machine", ["lantern_quay", "glass_orchard", "storm_bureau", "bare_chart"])
def test_show_and_its_parts_fit_80_columns(capsys: Capture, machine: str) -> None:
    for options in ([], ["--parts"]):
        _, out, _ = run(capsys, "show", machine, *options)
        assert max(map(len, out.splitlines())) <= 80


def test_show_tells_of_coils_what_the_bench_needs(capsys: Capture) -> None:
    _, out, _ = run(capsys, "show", "lantern_quay")
    lines = [" ".join(line.split()) for line in out.splitlines()]
    assert "COILS on a low-side Darlington transistor" in lines
    assert "coil/5 E1-5 WH-YE 7.5 upper Q45 TIP102 crate bank reset" in lines
    assert "COILS on a changeover contact set of a relay" in lines
    _, out, _ = run(capsys, "show", "storm_bureau")
    lines = [" ".join(line.split()) for line in out.splitlines()]
    assert "flash/4 blue 1-4 OG-YE 906 flash M54 map flash" in lines


def test_show_tells_how_a_high_side_coil_goes_to_ground(capsys: Capture, tmp_path: Path) -> None:
    path = tmp_path / "high.yaml"
    path.write_text(
        "title: High\nconnectors: {E1: {pins: 9}}\nrelays: {bank: {drive: K1}}\ncoils:\n"
        "  1: {style: high-side PNP, return_wire: BK, return_pin: E1-7, pin: E1-1, fuse: 2 A, diode: none}\n"
        "  2: {shares: 1, relay: bank, title: bell}\n"
    )
    _, out, _ = run(capsys, "show", str(path))
    flat = " ".join(out.split())
    assert "COILS on a high-side PNP transistor" in flat
    assert "fuse (2 A); other lug to ground over BK E1-7; through relay K1; no diode across it" in flat
    assert "coil/2 - - 10 coil TIP36C bell; other lug to ground; through relay K1" in flat


@pytest.mark.parametrize("machine", [POCKET, "bare_chart"])
def test_show_prints_the_resolved_wiring(capsys: Capture, machine: str) -> None:
    result = checked_json(capsys, "show", "show", machine)
    assert result["parts"]["switch/C1R1/contact"]["kind"] == "contact"
    assert len(result["digest"]) == 64
    status, out, _ = run(capsys, "show", machine)
    assert status == 0
    assert "SWITCH MATRIX" in out
    assert max(map(len, out.splitlines())) <= 80
    status, out, _ = run(capsys, "show", machine, "--parts")
    assert [line.split("  ")[0] for line in out.splitlines() if "/" in line.split("  ")[0]] == [
        *result["parts"]
    ]


def test_chart_prints_columns_across_and_rows_down(capsys: Capture) -> None:
    status, out, _ = run(capsys, "chart", POCKET)
    assert status == 0
    first = next(line for line in out.splitlines() if line.startswith("R1"))
    assert [cell.strip() for cell in first.split("|")[1:]] == ["left lane", "left target", "coin chute"]
    assert max(map(len, out.splitlines())) <= 80
    result = checked_json(capsys, "chart", "chart", POCKET)
    assert [m["name"] for m in result["matrices"]] == ["switch", "lamp"]
    assert len(result["matrices"][0]["cells"]) == 8


def test_a_chart_as_csv_reads_back(capsys: Capture) -> None:
    status, out, _ = run(capsys, "chart", POCKET, "--csv", "--matrix", "switch")
    assert status == 0
    chart = chart_from_csv(out, "printed")
    assert len(chart.columns) == len(chart.rows) == 3
    assert chart.cells[(1, 1)] == "right target"
    assert (1, 2) not in chart.cells


@pytest.mark.parametrize(
    ("place", "needed"),
    [
        (
            "switch C2R1",
            {"switch/C2/driver", "switch/C2R1/contact", "switch/C2R1/diode", "switch/R1/sensing"},
        ),
        (
            "lamp/C2R1",
            {"supply/lamp/fuse", "lamp/C2/driver", "lamp/C2R1/lamp", "lamp/R1/driver", "lamp/C2/logic"},
        ),
        ("coil 1", {"supply/coil/fuse", "coil/1/winding", "coil/1/driver"}),
        ("switch/C2R1/diode", {"switch/C2R1/contact"}),
    ],
)
def test_path_lists_every_part_from_supply_to_ground(capsys: Capture, place: str, needed: set[str]) -> None:
    result = checked_json(capsys, "path", "path", POCKET, place)
    assert needed <= {step["part"] for step in result["steps"]}
    current = [step for step in result["steps"] if step["layer"] == "current"]
    assert current[-1]["to_net"] == "ground"
    status, out, _ = run(capsys, "path", POCKET, place)
    assert status == 0
    assert all(part in out for part in needed)


# -- diagnose ------------------------------------------------------------------------------------------


def test_diagnose_ranks_causes_and_checks(capsys: Capture) -> None:
    result = checked_json(capsys, "diagnose", "diagnose", POCKET, *DEAD_SWITCH, "--top", "4")
    causes, checks = result["causes"], result["checks"]
    assert [one["rank"] for one in causes] == list(range(1, len(causes) + 1))
    assert 0 < len(causes) <= 4
    assert 0 < len(checks) <= 4
    assert causes[0]["faults"][0]["part"].startswith("switch/C1R2")
    assert {"for", "against", "members", "repair"} <= set(causes[0])
    probabilities = [one["probability"] for one in causes]
    assert probabilities == sorted(probabilities, reverse=True)
    # Two faults at once count in both their causes: a little more than 1 is right.
    assert sum(probabilities) + result["outside_model"] + result["healthy"] <= 1.02
    assert 0.0 <= result["discarded_mass"] < 0.05
    assert len(result["findings"]) == 8
    assert all(check["expected"] for check in checks)


def test_a_repair_of_one_member_of_a_cause_says_which_member(capsys: Capture) -> None:
    """A cause stands for drive part, pre-driver, link pin ...: reseating the link cures that one alone."""
    saw = ("--saw", "walk C3 reads nothing; others fine", "--top", "8")
    result = checked_json(capsys, "diagnose", "diagnose", "lantern_quay", *saw)
    (reseat,) = [one for one in result["checks"] if one["key"] == "reseat switch/C3/link"]
    of_first = {one["words"]: one["where"] for one in reseat["expected"] if one["cause"] == 1}
    assert of_first["still the same"] == "otherwise"
    assert of_first["works again"].startswith("if it is switch column 3, link pin 3 between logic and driver")
    assert all(not one["where"] for one in reseat["expected"] if one["cause"] != 1)
    _, out, _ = run(capsys, "diagnose", "lantern_quay", *saw)
    flat = " ".join(out.split())
    assert "still the same: cause 2, 3, 4, 5; 1 otherwise" in flat
    assert "works again: cause 1 if it is switch column 3, link pin 3 between logic and driver" in flat


def test_the_text_holds_what_the_json_holds(capsys: Capture) -> None:
    result = checked_json(capsys, "diagnose", "diagnose", POCKET, *DEAD_SWITCH)
    status, out, _ = run(capsys, "diagnose", POCKET, *DEAD_SWITCH)
    assert status == 0
    flat = " ".join(out.split())
    for cause in result["causes"]:
        assert " ".join(cause["title"].split()) in flat
    for check in result["checks"]:
        assert " ".join(check["what"].split()) in flat
    assert max(map(len, out.splitlines())) <= 80
    assert "Switched off is not unplugged" in flat


def test_a_report_comes_from_a_file_from_stdin_and_from_sentences_alike(
    capsys: Capture, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    text = "findings: [{walk: {odd: {C1R2: nothing}}}]\n"
    path = tmp_path / "seen.yaml"
    path.write_text(text)
    told = [checked_json(capsys, "diagnose", "diagnose", POCKET, *DEAD_SWITCH)]
    told.append(checked_json(capsys, "diagnose", "diagnose", POCKET, str(path)))
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(text.encode())))
    told.append(checked_json(capsys, "diagnose", "diagnose", POCKET, "-"))
    assert told[0] == told[1] == told[2]


def test_what_a_check_would_show_against_the_report_says_so() -> None:
    wiring = load_machine(POCKET)
    finding = Finding(Situation(held=("switch/C1R2",)), Look("reads"), frozenset())
    case = Case.start(wiring).with_finding(finding)
    check = Check("once more", "look", finding.situation, finding.look, 1.0, key="again")
    held = finding.situation.held
    expected = (
        ExpectedOutcome(1, outcome_words(wiring, finding.look, frozenset(), held), 1.0),
        ExpectedOutcome(2, outcome_words(wiring, finding.look, frozenset(held), held), 1.0),
    )
    ranked = RankedCheck(1, check, 1.0, 0.5, 9.0, expected, "a look can be reported wrongly (4% here)")
    causes = tuple(
        Cause(
            k, 0.4, "t", (FaultName("p", "m"),), (((FaultName("p", "m"),), 0.4),), (Reason("seen", 1.0),) * 2
        )
        for k in (1, 2)
    )
    answer = Diagnosis(causes, 0.0, 0.0, 0.0, (), {})
    text = " ".join(diagnosis_text(wiring, case, answer, [ranked], 5).split())
    assert "cause 1; as reported" in text
    assert "cause 2; not as reported (reads nothing, and no longer direct switch door)" in text
    assert "(4 % here)" in text
    assert "seen, 2 times (+2.0 bits)" in text
    assert "1 look reported" in text


def test_settings_come_from_the_report_and_from_the_command_line(capsys: Capture, tmp_path: Path) -> None:
    path = tmp_path / "seen.yaml"
    path.write_text(
        "settings: {slip rate: 0.1, expected faults: 3}\nfindings: [{walk: {odd: {C1R2: nothing}}}]\n"
    )
    options = ["--expected-faults", "0.5", "--recent-repair", "boards", "--sat-for-years"]
    used = checked_json(capsys, "diagnose", "diagnose", POCKET, str(path), *options)["settings"]
    assert used["expected_faults"] == 0.5
    assert used["slip_rate"] == 0.1
    assert used["recent_repair"] == ["boards"]
    assert used["sat_for_years"] is True


@pytest.mark.parametrize("symptom", ["smoke", "smells", "it smells burnt", "something is hot"])
def test_danger_alone_says_what_to_look_at_and_not_that_all_is_well(capsys: Capture, symptom: str) -> None:
    status, out, _ = run(capsys, "diagnose", POCKET, "--saw", symptom)
    assert status == 0
    assert set(out.splitlines()[0]) == {"!"}
    assert "Nothing else was reported" in out
    assert "nothing wrong" not in out


@pytest.mark.parametrize("symptom", ["power up locked 1", "coil 1 locked on"])
def test_what_cannot_wait_is_printed_first_and_before_computing(
    capsys: Capture, monkeypatch: pytest.MonkeyPatch, symptom: str
) -> None:
    class ComputedError(Exception):
        pass

    def computed(self: Case) -> None:
        raise ComputedError

    monkeypatch.setattr(Case, "diagnose", computed)
    with pytest.raises(ComputedError):
        main(["diagnose", POCKET, "--saw", symptom])
    lines = capsys.readouterr().out.splitlines()
    assert set(lines[0]) == {"!"}
    assert "SWITCH OFF NOW" in lines[1]


def test_the_urgent_caution_is_talk_beside_json(capsys: Capture) -> None:
    status, out, err = run(capsys, "diagnose", POCKET, "--saw", "power up locked 1", "--json")
    assert status == 0
    assert "SWITCH OFF" in err
    assert "SWITCH OFF" in json.loads(out)["cautions"][0]


def test_a_report_about_another_machine_is_noted(capsys: Capture, tmp_path: Path) -> None:
    path = tmp_path / "seen.yaml"
    path.write_text("machine: somewhere else\nfindings: [{press: C1R1, reads: nothing}]\n")
    status, _, err = run(capsys, "diagnose", POCKET, str(path))
    assert status == 0
    assert "somewhere else" in err


def test_escapes_and_markup_in_names_are_shown_as_text(capsys: Capture, tmp_path: Path) -> None:
    path = tmp_path / "odd.yaml"
    path.write_text(
        'title: "Odd [red]title[/red]"\nmatrices:\n  switch:\n    chart: |\n'
        "      [bold]one | two\\x1b[31m\n      three | four\n"
    )
    for command in (["show"], ["chart"], ["diagnose"]):
        extra = ["--saw", "walk C1R1 reads nothing"] if command == ["diagnose"] else []
        status, out, err = run(capsys, *command, str(path), *extra)
        assert status == 0, err
        assert "\x1b" not in out + err
        assert "[red]title[/red]" in out


# -- hold -----------------------------------------------------------------------------------------------


def test_hold_finds_the_switches_that_tell_suspects_apart(capsys: Capture) -> None:
    faults = ("--fault", "switch/C1R1/diode=shorted", "--fault", "switch/C2R1/diode=shorted")
    result = checked_json(capsys, "hold", "hold", "lantern_quay", *faults)
    assert result["groups"] == 3
    assert 2 <= len(result["held"]) <= 4
    assert [len(one["faults"]) for one in result["suspects"]] == [0, 1, 1]
    status, out, _ = run(capsys, "hold", "lantern_quay", *faults)
    assert status == 0
    assert "Hold all together: switch" in out
    assert "nothing wrong" in out
    assert "Tried: " in out


def test_hold_takes_the_suspects_of_a_report(capsys: Capture) -> None:
    told = ("--saw", "hold C1R1, C1R2, C2R1 reads C1R1, C1R2, C2R1, C2R2, C2R4")
    result = checked_json(capsys, "hold", "hold", "lantern_quay", *told)
    assert result["held"]
    parts = {fault["part"] for one in result["suspects"] for fault in one["faults"]}
    assert "switch/C1R1/diode" in parts


def test_hold_wants_suspects(capsys: Capture) -> None:
    status, _, err = run(capsys, "hold", POCKET)
    assert status == 1
    assert "--fault" in err


# -- simulate and spice --------------------------------------------------------------------------------


def test_simulate_shows_what_differs_from_a_healthy_machine(capsys: Capture) -> None:
    result = checked_json(capsys, "simulate", "simulate", POCKET)
    assert not any(one["differs"] for one in result["seen"])
    modes = _modes(capsys, "switch/C1R2/diode")
    assert "shorted" in modes
    assert "open" in modes
    result = checked_json(capsys, "simulate", "simulate", POCKET, "--fault", "switch/C1R2/diode=open")
    odd = [one for one in result["seen"] if one["differs"]]
    assert [one["situation"]["held"] for one in odd] == [["switch/C1R2"]]
    assert odd[0]["outcomes"][0]["outcome"] == ["direct switch/door"]
    assert result["faults"][0]["kind"] == "diode"
    status, out, _ = run(capsys, "simulate", POCKET, "--fault", "switch/C1R2/diode=open")
    assert status == 0
    assert "read nothing when pressed: switch C1R2 (mid lane)" in out
    assert "C1R1" not in out


def _modes(capsys: Capture, part: str) -> list[str]:
    _, _, err = run(capsys, "simulate", POCKET, "--fault", f"{part}=?")
    return " ".join(err.split()).partition(f"{part}: ")[2].split("; ")[0].split(", ")


def test_simulate_answers_the_situations_of_a_report(capsys: Capture) -> None:
    result = checked_json(
        capsys,
        "simulate",
        "simulate",
        POCKET,
        "--fault",
        "switch/C2R2/diode=shorted",
        "--saw",
        "hold C1R1, C2R2, C1R2 reads nothing",
    )
    (only,) = result["seen"]
    assert only["situation"]["held"] == ["switch/C1R1", "switch/C1R2", "switch/C2R2"]


def test_a_sneak_path_of_a_lamp_matrix_is_found_by_the_default_looks(capsys: Capture) -> None:
    """A shorted diode glows while most lamps but its own row are commanded (common practice, no source)."""
    result = checked_json(capsys, "simulate", "simulate", "bare_chart", "--fault", "lamp/C2R3/diode=shorted")
    odd = [one for one in result["seen"] if one["differs"]]
    assert odd
    assert all(one["look"]["target"].endswith("R3") for one in odd)
    assert "lamp/C2R3" in {one["look"]["target"] for one in odd}


def test_simulate_warns_of_a_locked_coil(capsys: Capture) -> None:
    result = checked_json(capsys, "simulate", "simulate", POCKET, "--fault", "coil/1/driver=shorted")
    assert "at once" in result["cautions"][0]


def test_simulated_and_diagnosed_agree(capsys: Capture, tmp_path: Path) -> None:
    """What a fault would show, reported word for word, leads back to it."""
    result = checked_json(capsys, "simulate", "simulate", POCKET, "--fault", "switch/C3/wire=open")
    entries = [
        {"press": one["situation"]["held"][0], "reads": one["outcomes"][0]["outcome"], "whole": "yes"}
        for one in result["seen"]
        if one["look"]["kind"] == "reads" and one["situation"]["held"]
    ]
    path = tmp_path / "seen.yaml"
    path.write_text(json.dumps({"findings": entries}))
    causes = checked_json(capsys, "diagnose", "diagnose", POCKET, str(path), "--top", "8")["causes"]
    parts = [fault["part"] for cause in causes for fault in cause["faults"]]
    parts += [fault["part"] for cause in causes for member in cause["members"] for fault in member["faults"]]
    assert "switch/C3/wire" in parts
    assert all(part.startswith("switch/C3/") for part in parts[:3])


SPICE = [
    ["--press", "C1R1", "--press", "C2R1"],
    ["--press", "C1R1", "--phase", "C3"],
    ["--lamp", "lamp C1R1", "--lamp", "C2R2", "--phase", "C2"],
    ["--lamp", "all", "--fault", "lamp/C1R1/lamp=shorted"],
    ["--pulse", "1", "--fault", "coil/1/diode=shorted"],
    [],
]


@pytest.mark.parametrize("options", SPICE)
def test_spice_prints_a_deck(capsys: Capture, options: list[str]) -> None:
    status, out, err = run(capsys, "spice", POCKET, *options)
    assert (status, err) == (0, "")
    assert out.rstrip().endswith(".end")
    assert out.isascii()
    result = checked_json(capsys, "spice", "spice", POCKET, *options)
    assert result["deck"] == out


@pytest.mark.ngspice
@pytest.mark.parametrize("options", SPICE)
def test_the_deck_runs_in_the_stock_simulator(capsys: Capture, tmp_path: Path, options: list[str]) -> None:
    _, out, _ = run(capsys, "spice", POCKET, *options)
    path = tmp_path / "deck.cir"
    path.write_text(out)
    done = subprocess.run(
        ["ngspice", "-b", str(path)], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.returncode == 0
    assert "Operating Point" in done.stdout
    assert "error" not in (done.stdout + done.stderr).lower()


# -- schemas -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", SCHEMAS)
def test_every_published_schema_is_one(capsys: Capture, name: str) -> None:
    status, out, _ = run(capsys, "schema", name)
    assert status == 0
    schema = json.loads(out)
    jsonschema.Draft202012Validator.check_schema(schema)
    assert schema == schema_of(name)


def test_every_command_with_json_has_a_schema() -> None:
    commands = next(action.choices for action in build_parser()._actions if isinstance(action.choices, dict))
    with_json = {name for name, parser in commands.items() if "--json" in parser._option_string_actions}
    assert with_json == set(SCHEMAS) - {"machine", "report"}


# -- the program as it is started ----------------------------------------------------------------------


def start(*argv: str, **options: Any) -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, **options.pop("env", {})}
    return subprocess.run(
        [sys.executable, "-m", "matrixdoc", *argv],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
        env=environment,
        **options,
    )


def test_the_program_starts_as_a_module() -> None:
    done = start("chart", POCKET)
    assert done.returncode == 0
    assert "left lane" in done.stdout
    assert done.stderr == ""


def test_the_bench_needs_a_terminal() -> None:
    done = start(stdin=subprocess.DEVNULL)
    assert done.returncode == 1
    assert "terminal" in done.stderr
    assert done.stdout == ""


def test_a_reader_that_leaves_early_is_no_error() -> None:
    with subprocess.Popen(
        [sys.executable, "-m", "matrixdoc", "show", "bare_chart", "--json"],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.read(10)
        process.stdout.close()
        assert process.stderr.read() == ""
    assert process.returncode == 0


def test_a_terminal_without_the_letters_of_a_name_gets_escapes(tmp_path: Path) -> None:
    path = tmp_path / "letters.yaml"
    path.write_text("title: Brücke \u2603\nmatrices:\n  switch:\n    chart: |\n      Tür\n", encoding="utf-8")
    done = start("show", str(path), env={"PYTHONIOENCODING": "ascii"})
    assert done.returncode == 0, done.stderr
    assert "\\xfc" in done.stdout


def test_help_loads_nothing_heavy() -> None:
    code = (
        "import sys\n"
        "from matrixdoc.cli.main import main\n"
        "try:\n    main(['--help'])\nexcept SystemExit:\n    pass\n"
        "heavy = {'numpy', 'networkx', 'pydantic', 'textual', 'yaml', 'platformdirs'}\n"
        "print(sorted(heavy & set(sys.modules)))\n"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"
