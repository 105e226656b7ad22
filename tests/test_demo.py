"""The worked cases of the demo: true reports, and what the diagnosis makes of them step by step.

The stories are invented; the pairs of symptom and cause are those of common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest
import yaml

from matrixdoc.case.case import Case
from matrixdoc.case.report import ReadReport, Report, add_steps, read_report, resolve_report
from matrixdoc.checks.situation import Finding, Look, Outcome
from matrixdoc.cli.main import main
from matrixdoc.definition.library import load_machine
from matrixdoc.definition.wiring import Wiring
from matrixdoc.diagnosis.results import Cause
from matrixdoc.diagnosis.settings import Settings
from matrixdoc.faults.priors import Fault

DEMO = Path(__file__).parents[1] / "demo"
EXPECTED: dict[str, dict[str, Any]] = yaml.safe_load((DEMO / "expected.yaml").read_text(encoding="utf-8"))


@dataclass(frozen=True)
class Stage:
    """What the diagnosis should say after the first ``after`` entries; see the head of the file."""

    after: int
    causes: tuple[Fault, ...] = ()
    within: int = 1
    share: float = 0.0
    check: str = ""
    among: int = 3
    caution: str = ""
    proven: bool = False


def fault(words: str) -> Fault:
    part, _, mode = words.rpartition("=")
    return Fault(part, mode)


def stages() -> Iterator[tuple[str, Stage]]:
    for name, entry in EXPECTED.items():
        for raw in entry["stages"]:
            stage = Stage(**{**raw, "causes": ()})
            yield name, replace(stage, causes=tuple(fault(words) for words in raw["causes"]))


@cache
def machine(name: str) -> Wiring:
    return load_machine(name)


@cache
def empty_case(name: str, settings: Settings) -> Case:
    """One engine serves all the tests of a machine that have the same settings."""
    return Case.start(machine(name), settings)


def reading(name: str) -> ReadReport:
    return read_report((DEMO / name).read_text(encoding="utf-8"), name)


def beginning(name: str, entries: int | None = None) -> tuple[Case, Report]:
    """An empty case on the machine of a report, and the report's first entries."""
    read = reading(name)
    assert entries is None or entries <= len(read.form.findings), f"{name} has no entry {entries}"
    form = read.form.model_copy(update={"findings": read.form.findings[:entries]})
    report = resolve_report(ReadReport(read.document, form), machine(read.machine))
    return empty_case(read.machine, report.settings), report


def holds(cause: Cause, wanted: tuple[Fault, ...]) -> bool:
    return any(Fault(one.part, one.mode) in wanted for names, _ in cause.members for one in names)


def agrees(look: Look, seen: Outcome, written: Outcome) -> bool:
    """Numbers agree within a twentieth, or a tenth of a unit: leads and thumbs differ."""
    if isinstance(seen, float) and isinstance(written, float):
        return abs(seen - written) <= max(0.05 * abs(seen), 0.11 if look.function == "ohms" else 0.05)
    return seen == written


def test_every_report_has_its_expectation_and_a_story() -> None:
    reports = {path.name for path in DEMO.glob("*.yaml")} - {"expected.yaml"}
    assert reports == set(EXPECTED)
    assert len(reports) >= 6
    machines = set()
    for name in reports:
        form = reading(name).form
        assert form.title, name
        assert form.story, name
        assert form.conclusion, name
        machines.add(form.machine)
    assert {"lantern_quay", "bare_chart"} <= machines


@pytest.mark.parametrize("name", sorted(EXPECTED))
def test_a_report_says_what_is_seen_on_a_machine_with_that_fault(name: str) -> None:
    case, report = beginning(name)
    faults = [fault(words) for words in EXPECTED[name]["faults"]]
    healthy_differs = False
    for step in report.steps:
        if step.kind == "repair":
            faults = [one for one in faults if one.part not in step.parts]
        if step.finding is None:
            continue
        finding: Finding = step.finding
        outcome, share = case.simulate(faults, finding.situation, finding.look)[0]
        assert agrees(finding.look, outcome, finding.outcome), f"{name}: {finding} but {outcome} is seen"
        assert share > 0.5
        healthy = case.simulate([], finding.situation, finding.look)[0][0]
        healthy_differs |= not agrees(finding.look, healthy, finding.outcome)
    assert healthy_differs, "the report of a healthy machine is no case"


@pytest.mark.parametrize(("name", "stage"), [pytest.param(n, s, id=f"{n}-{s.after}") for n, s in stages()])
def test_the_diagnosis_comes_to_the_expected_conclusion(name: str, stage: Stage) -> None:
    case, report = beginning(name, stage.after)
    case = add_steps(case, report.steps)
    assert any(stage.caution in words for words in case.cautions()) or not stage.caution
    diagnosis = case.diagnose()
    leading = [cause for cause in diagnosis.causes[: stage.within] if holds(cause, stage.causes)]
    shown = [(round(cause.probability, 3), cause.title) for cause in diagnosis.causes[:5]]
    assert leading, shown
    assert leading[0].probability >= stage.share, shown
    if stage.check:
        keys = [ranked.check.key for ranked in case.checks(stage.among)]
        assert stage.check in keys
    if stage.proven:
        assert case.unproven() == ()
        assert report.steps[-1].finding is not None
        assert any(step.kind == "repair" for step in report.steps)


@pytest.mark.parametrize("name", sorted(EXPECTED))
def test_the_command_line_takes_it_for_a_sound_report(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["validate", str(DEMO / name)]) == 0
    assert "a sound report" in capsys.readouterr().out


def test_switching_off_comes_before_anything_else(capsys: pytest.CaptureFixture[str]) -> None:
    name, caution = next((name, stage.caution) for name, stage in stages() if stage.caution)
    assert main(["diagnose", reading(name).machine, str(DEMO / name), "--top", "1"]) == 0
    shown = capsys.readouterr().out
    assert 0 <= shown.index(caution) < shown.index("LIKELY CAUSES")
