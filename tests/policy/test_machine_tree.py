"""Ranked checks and fault trees of a whole small machine: words, page, graph description, data."""

from __future__ import annotations

import json
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import jsonschema
import pytest

from matrixdoc.case.case import Case
from matrixdoc.checks.situation import Finding, Look, Situation
from matrixdoc.cli.main import main
from matrixdoc.cli.schema import schema_of
from matrixdoc.definition.library import load_machine
from matrixdoc.definition.wiring import Wiring
from matrixdoc.diagnosis.ranking import repair_of
from matrixdoc.diagnosis.settings import Settings
from matrixdoc.diagnosis.tree_drawing import BOX_WIDTH, SHEET_HEIGHT, SHEET_WIDTH, sheet_svg, sheets_of
from matrixdoc.diagnosis.tree_page import tree_dot, tree_page
from matrixdoc.diagnosis.tree_words import FaultTree, NoComplaintError
from matrixdoc.faults.priors import Fault

POCKET = str(Path(__file__).parents[1] / "cli" / "pocket.yaml")
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def wiring() -> Wiring:
    return load_machine(POCKET)


@pytest.fixture(scope="module")
def resting(wiring: Wiring) -> frozenset[str]:
    """What reads with nothing pressed: the normally closed switches."""
    return frozenset(r for r, s in wiring.switches.items() if s.normally_closed and (s.matrix or s.sensor))


@pytest.fixture(scope="module")
def dead(resting: frozenset[str]) -> Finding:
    return Finding(Situation(held=("switch/C1R2",)), Look("reads"), resting)


@pytest.fixture(scope="module")
def case(wiring: Wiring, dead: Finding) -> Case:
    return Case.start(wiring).with_finding(dead)


@pytest.fixture(scope="module")
def tree(case: Case) -> FaultTree:
    return case.fault_tree(6, 0.01)


def test_the_first_step_is_the_first_check_and_its_worth_is_the_trees(case: Case, tree: FaultTree) -> None:
    ranked = [c for c in case.checks(20) if not c.check.key.startswith("again")]
    assert tree.step(1).key == ranked[0].check.key
    assert tree.step(1).minutes == ranked[0].minutes
    values = [c.value for c in ranked]
    assert values == sorted(values)
    # What the ranking promises is kept or beaten by the plan that decides anew after every outcome.
    assert tree.minutes <= ranked[0].value + 1e-9
    assert tree.minutes >= 0.85 * ranked[0].value


def test_every_step_says_how_often_it_is_reached_and_its_branches_add_up(tree: FaultTree) -> None:
    assert tree.step(1).probability == 1.0
    for step in tree.steps:
        if step.kind == "do":
            assert sum(b.probability for b in step.branches) == pytest.approx(1.0)
            assert all(b.words for b in step.branches)
            onward = sum(b.probability * tree.step(b.target).finish for b in step.branches if b.target)
            assert step.finish == pytest.approx(step.minutes + onward)
        else:
            assert not step.branches
        if step.kind == "do" and not step.power:
            assert any("unplug" in words for words in step.cautions)


def test_a_declined_check_is_planned_around(case: Case, tree: FaultTree) -> None:
    declined = tree.step(1).key
    without = case.with_decline(declined).fault_tree(6, 0.01)
    assert declined not in {step.key for step in without.steps}
    # One choice less cannot help the optimum, which the policy comes to within about a percent.
    assert without.minutes >= 0.99 * tree.minutes


def test_an_open_panel_costs_nothing_more(wiring: Wiring, case: Case, dead: Finding) -> None:
    place = max(
        wiring.places.values(),
        key=lambda p: p.minutes * any(p.key in c.check.places for c in case.checks(50)),
    )
    opened = Case.start(wiring, replace(Settings(), open_places=(place.key,))).with_finding(dead)
    before = {c.check.key: c for c in case.checks(50) if place.key in c.check.places}
    after = {c.check.key: c for c in opened.checks(50)}
    both = before.keys() & after.keys()
    assert both
    for key in both:
        assert before[key].minutes - after[key].minutes == pytest.approx(place.minutes)
    assert opened.fault_tree().minutes < case.fault_tree().minutes


def test_no_check_under_power_while_a_coil_is_probably_locked(wiring: Wiring) -> None:
    locked = Finding(Situation(), Look("resting coils"), frozenset({"coil/1"}))
    case = Case.start(wiring).with_finding(locked)
    first = case.checks(20)
    assert first
    # Under power only with the coil taken off its supply or its drive.
    for check in (c.check for c in first if c.check.kind != "act" and c.check.situation.power):
        assert check.situation.opened, check.title
    tree = case.fault_tree(8, 0.0)
    session = case.session
    assert session is not None
    told = session.told(case.standing)
    problem, _ = session.engine.plan(session.engine.jobs(told)[0], told)
    assert problem.held_back
    step = tree.step(1)
    assert not step.power or step.key.startswith("isolated ")


def test_a_joint_cause_is_mended_by_a_joint_repair(case: Case) -> None:
    session = case.session
    assert session is not None
    generator = session.engine.generator
    proof = generator.press(("switch/C1R2",))
    faults = [f for f in session.engine.possible if f.part in ("switch/C1R2/contact", "switch/C1R2/diode")]
    two = [next(f for f in faults if f.part.endswith(name)) for name in ("contact", "diode")]
    single = [generator.repair([f], proof) for f in two]
    joint = repair_of(generator, two, proof)
    assert set(joint.mends) == {f.part for f in two}
    assert joint.success == pytest.approx(single[0].success * single[1].success)
    assert joint.minutes == pytest.approx(single[0].minutes + single[1].minutes - proof.minutes)
    assert repair_of(generator, [two[0], Fault(two[0].part, two[0].mode)], proof) == single[0]


def test_nothing_wrong_is_said_so(wiring: Wiring, case: Case, resting: frozenset[str]) -> None:
    fine = Finding(Situation(held=("switch/C1R2",)), Look("reads"), resting | {"switch/C1R2"})
    with pytest.raises(NoComplaintError, match="a healthy machine shows the same"):
        Case.start(wiring).with_finding(fine).fault_tree()
    with pytest.raises(NoComplaintError, match="there is no complaint 7: the report holds one complaint"):
        case.fault_tree(complaint=7)


# -- page and drawing ----------------------------------------------------------------------------------


def test_the_page_needs_nothing_from_outside(tree: FaultTree) -> None:
    page = tree_page(tree, "Unplug first & <measure>.")
    assert "Unplug first &amp; &lt;measure&gt;." in page
    assert f"Expected {tree.minutes:.1f} minutes" in page
    assert page.count("IEC 61025") == 1
    bare = page.replace("http://www.w3.org/2000/svg", "")
    assert not re.search(r"https?:|url\(|@import|<script|<link|<img|src=", bare)
    colours = set(re.findall(r'(?:fill|stroke)="([^"]+)"', page))
    assert colours <= {"black", "white", "none"}


def test_every_step_is_drawn_once_in_a_box_that_holds_its_words(tree: FaultTree) -> None:
    sheets = sheets_of(tree)
    full = [box.step for sheet in sheets for box in sheet.root.every() if box.style != "again"]
    continued = [sheet.root.step for sheet in sheets[1:]]
    assert sorted(set(full)) == [step.number for step in tree.steps]
    # Only the first box of a sheet stands on two sheets: where it goes on, and where it went from.
    assert sorted(full) == sorted([*range(1, len(tree.steps) + 1), *continued])
    for sheet in sheets:
        assert sheet.root.height <= SHEET_HEIGHT
        root = ET.fromstring(sheet_svg(sheet, "one sheet"))  # noqa: S314 - made here
        rects = root.findall(f"{SVG}rect")
        assert len(rects) == len(sheet.root.every())
        for rect in rects:
            x, width = float(rect.attrib["x"]), float(rect.attrib["width"])
            assert width == BOX_WIDTH
            assert x >= 0.0
            assert x + width <= SHEET_WIDTH
        boxes = [(float(r.attrib["x"]), float(r.attrib["y"]), float(r.attrib["height"])) for r in rects]
        for one in boxes:
            for two in boxes:
                apart = one[0] != two[0] or one[1] + one[2] <= two[1] or two[1] + two[2] <= one[1]
                assert one == two or apart
        for text in root.findall(f"{SVG}text"):
            # 0.62 of the letter size is a generous mean width of a letter of a plain face.
            assert len(text.text or "") * 10.5 * 0.62 <= BOX_WIDTH + 20.0


def test_the_graph_description_holds_every_step_and_branch(tree: FaultTree) -> None:
    dot = tree_dot(tree)
    assert dot.startswith("digraph fault_tree {")
    assert dot.rstrip().endswith("}")
    for step in tree.steps:
        assert f"  s{step.number} [label=" in dot
    assert dot.count(" -> ") == sum(len(step.branches) for step in tree.steps)


# -- command -------------------------------------------------------------------------------------------

SAW = ("--saw", "press C1R2 reads nothing")


def test_the_command_prints_a_plan_in_eighty_columns(
    capsys: pytest.CaptureFixture[str], tree: FaultTree
) -> None:
    assert main(["tree", POCKET, *SAW, "--depth", "6", "--mass", "1"]) == 0
    text = capsys.readouterr().out
    assert max(len(line) for line in text.splitlines()) <= 80
    assert text.count("IEC 61025") == 1
    assert f"Expected {tree.minutes:.1f} minutes" in text
    for step in tree.steps:
        assert re.search(rf"^ *{step.number}\. ", text, re.MULTILINE)
    assert "CAUTION" in text


def test_the_commands_data_follow_their_schema(capsys: pytest.CaptureFixture[str], tree: FaultTree) -> None:
    assert main(["tree", POCKET, *SAW, "--depth", "6", "--mass", "1", "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    jsonschema.validate(result, schema_of("tree"))
    assert result["minutes"] == pytest.approx(tree.minutes)
    assert [step["number"] for step in result["steps"]] == [step.number for step in tree.steps]


def test_the_command_writes_a_page_and_a_graph(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    page = tmp_path / "tree.html"
    assert main(["tree", POCKET, *SAW, "--html", str(page)]) == 0
    assert page.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert capsys.readouterr().out == ""
    assert main(["tree", POCKET, *SAW, "--dot"]) == 0
    assert capsys.readouterr().out.startswith("digraph")


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        ([], "no symptom"),
        (["--saw", "press C1R2 reads C1R2"], "nothing in the report needs a repair"),
        ([*SAW, "--complaint", "9"], "there is no complaint 9"),
        ([*SAW, "--html", "/no/such/folder/tree.html"], "No such file or directory"),
    ],
)
def test_what_cannot_be_done_is_told(
    words: list[str], complaint: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["tree", POCKET, *words]) == 1
    assert complaint in capsys.readouterr().err


def test_a_share_that_is_no_percentage_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as leaving:
        main(["tree", POCKET, *SAW, "--mass", "nan"])
    assert leaving.value.code == 2
    assert "not a percentage" in capsys.readouterr().err
