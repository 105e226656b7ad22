"""From the values of the core to the models that ``--json`` prints."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from matrixdoc.case.case import Case
from matrixdoc.case.record import outcome_record
from matrixdoc.case.wording import look_words, outcome_words, situation_words
from matrixdoc.checks.prediction import Prediction
from matrixdoc.checks.situation import Look, Situation
from matrixdoc.cli import results
from matrixdoc.cli.inputs import engine_of
from matrixdoc.definition.errors import Problem
from matrixdoc.definition.wiring import Wiring
from matrixdoc.diagnosis.results import Cause, Diagnosis, ExplainedFinding, FaultName, RankedCheck, Reason
from matrixdoc.diagnosis.settings import Settings
from matrixdoc.diagnosis.tree_words import FaultTree, PlanStep
from matrixdoc.faults.priors import Fault


def situation_result(wiring: Wiring, situation: Situation) -> results.SituationResult:
    """A situation with its words."""
    return results.SituationResult(
        power=situation.power,
        held=list(situation.held),
        lamps=list(situation.lamps),
        pulsed=situation.pulsed,
        opened=list(situation.opened),
        jumpers=list(situation.jumpers),
        swapped=list(situation.swapped),
        words=situation_words(wiring, situation),
    )


def look_result(wiring: Wiring, look: Look) -> results.LookResult:
    """A look with its words."""
    return results.LookResult(
        kind=look.kind,
        target=look.target,
        function=look.function,
        red=look.red,
        black=look.black,
        words=look_words(wiring, look),
    )


def fault_results(faults: Iterable[FaultName]) -> list[results.FaultResult]:
    """Faults with their names."""
    return [
        results.FaultResult(part=f.part, kind=f.kind, mode=f.mode, title=f.title, place=f.place)
        for f in faults
    ]


def fault_names(case: Case, faults: Iterable[Fault]) -> list[FaultName]:
    """Faults with the titles and places of their parts."""
    parts = engine_of(case).circuit.parts
    return [
        FaultName(f.part, f.mode, parts[f.part].kind, parts[f.part].title, parts[f.part].place)
        for f in faults
    ]


def diagnose_result(
    wiring: Wiring,
    settings: Settings,
    diagnosis: Diagnosis,
    checks: Sequence[RankedCheck],
    top: int,
    unproven: Sequence[str],
    cautions: Sequence[str],
) -> results.DiagnoseResult:
    """The whole answer; ``top`` causes and checks of it."""
    return results.DiagnoseResult(
        machine=wiring.title,
        digest=wiring.digest,
        settings=settings_result(settings),
        cautions=list(dict.fromkeys([*cautions, *diagnosis.cautions])),
        causes=[_cause(cause) for cause in diagnosis.causes[:top]],
        checks=[_check(wiring, check) for check in checks[:top]],
        outside_model=diagnosis.outside_model,
        discarded_mass=diagnosis.discarded_mass,
        healthy=diagnosis.healthy,
        findings=[_finding(wiring, finding) for finding in diagnosis.findings],
        contradictions=list(diagnosis.contradictions),
        unproven=list(unproven),
    )


def settings_result(settings: Settings) -> results.SettingsResult:
    """Settings, tuples as lists."""
    return results.SettingsResult(
        expected_faults=settings.expected_faults,
        outside_weight=settings.outside_weight,
        slip_rate=settings.slip_rate,
        meter_slip_rate=settings.meter_slip_rate,
        meter_accuracy=settings.meter_accuracy,
        recent_repair=list(settings.recent_repair),
        battery_leak=list(settings.battery_leak),
        open_places=list(settings.open_places),
        sat_for_years=settings.sat_for_years,
        least_share=settings.least_share,
    )


def chance_results(wiring: Wiring, look: Look, prediction: Prediction) -> list[results.ChanceResult]:
    """A prediction, most probable outcome first."""
    return [
        results.ChanceResult(
            outcome=outcome_record(outcome),
            words=outcome_words(wiring, look, outcome),
            probability=probability,
        )
        for outcome, probability in prediction
    ]


def problem_results(problems: Iterable[Problem]) -> list[results.ProblemResult]:
    """What is wrong with a file, one by one."""
    return [
        results.ProblemResult(
            source=p.source,
            line=p.line,
            column=p.column,
            path=p.path,
            found=p.found,
            expected=p.expected,
            suggestion=p.suggestion,
        )
        for p in problems
    ]


def _reasons(reasons: Iterable[Reason]) -> list[results.ReasonResult]:
    return [results.ReasonResult(words=r.words, bits=r.bits) for r in reasons]


def _cause(cause: Cause) -> results.CauseResult:
    return results.CauseResult(
        rank=cause.rank,
        probability=cause.probability,
        title=cause.title,
        faults=fault_results(cause.faults),
        members=[
            results.MemberResult(faults=fault_results(faults), probability=probability)
            for faults, probability in cause.members
        ],
        for_=_reasons(cause.for_),
        against=_reasons(cause.against),
        repair=cause.repair,
        caution=cause.caution,
    )


def tree_result(wiring: Wiring, tree: FaultTree, cautions: Sequence[str]) -> results.TreeResult:
    """A fault tree."""
    return results.TreeResult(
        machine=tree.machine,
        digest=wiring.digest,
        cautions=list(cautions),
        seen=list(tree.seen),
        complaint=tree.complaint,
        complaints=tree.complaints,
        minutes=tree.minutes,
        depth=tree.depth,
        mass=tree.mass,
        steps=[_tree_step(step) for step in tree.steps],
    )


def _tree_step(step: PlanStep) -> results.TreeStepResult:
    return results.TreeStepResult(
        number=step.number,
        kind=step.kind,
        what=step.title,
        key=step.key,
        power=step.power,
        minutes=step.minutes,
        finish=step.finish,
        probability=step.probability,
        depth=step.depth,
        set_up=list(step.set_up),
        cautions=list(step.cautions),
        branches=[
            results.BranchResult(words=list(b.words), probability=b.probability, target=b.target)
            for b in step.branches
        ],
        likely=[results.LikelyResult(words=words, probability=p) for words, p in step.suspects],
    )


def _check(wiring: Wiring, ranked: RankedCheck) -> results.CheckResult:
    check = ranked.check
    return results.CheckResult(
        rank=ranked.rank,
        key=check.key,
        kind=check.kind,
        what=check.title,
        situation=situation_result(wiring, check.situation),
        look=look_result(wiring, check.look),
        minutes=ranked.minutes,
        power=check.situation.power,
        set_up=list(check.set_up),
        cautions=list(check.cautions),
        mends=list(check.mends),
        action=check.action,
        expected=[
            results.ExpectedResult(cause=e.cause, words=e.words, share=e.share, where=e.where)
            for e in ranked.expected
        ],
        information_bits=ranked.information_bits,
        value=ranked.value,
        reason=ranked.reason,
    )


def _finding(wiring: Wiring, explained: ExplainedFinding) -> results.FindingResult:
    finding = explained.finding
    return results.FindingResult(
        words=explained.words,
        situation=situation_result(wiring, finding.situation),
        look=look_result(wiring, finding.look),
        outcome=outcome_record(finding.outcome),
        probability=explained.probability,
        verdict=explained.verdict,
    )
