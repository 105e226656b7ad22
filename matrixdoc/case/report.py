"""From a report file to findings: what a technician wrote down becomes a case.

Reading takes three steps, each of which reports everything wrong with line and column: the YAML is
loaded and checked against the form (:func:`read_report`); names are looked up on the machine and
entries are spread out into findings (:func:`resolve_report`); the findings are put in order into a
:class:`~matrixdoc.case.case.Case` (:func:`case_from_report`).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from matrixdoc.case.case import Case
from matrixdoc.case.report_resolver import Resolver
from matrixdoc.case.report_schema import ReportForm
from matrixdoc.case.report_steps import Step
from matrixdoc.checks.situation import Finding
from matrixdoc.definition.document import Document, load_document, validate_model
from matrixdoc.definition.errors import InputError
from matrixdoc.definition.wiring import Wiring
from matrixdoc.diagnosis.settings import Settings

__all__ = ["ReadReport", "Report", "Step", "add_steps", "case_from_report", "read_report", "resolve_report"]


@dataclass(frozen=True, slots=True)
class ReadReport:
    """A report that fits the form; its names have not been looked up yet."""

    document: Document
    form: ReportForm

    @property
    def machine(self) -> str:
        """The machine named in the report; empty if none is."""
        return self.form.machine


@dataclass(frozen=True, slots=True)
class Report:
    """A report about one machine: the settings and the steps in order."""

    settings: Settings
    steps: tuple[Step, ...]

    @property
    def findings(self) -> tuple[Finding, ...]:
        """The findings alone."""
        return tuple(step.finding for step in self.steps if step.finding is not None)


def read_report(text: str, source: str) -> ReadReport:
    """Load report text and check it against the form. ``source`` names it in messages.

    Raises:
        InputError: everything that is wrong with it, with line and column.
    """
    document = load_document(text, source)
    return ReadReport(document, validate_model(document, ReportForm))


def resolve_report(read: ReadReport, wiring: Wiring, settings: Settings | None = None) -> Report:
    """Look up every name of the report on the machine and spread entries out into findings.

    ``settings`` is what the report's own settings are laid over.

    Raises:
        InputError: every name and reading that is wrong, with line and column.
    """
    resolver = Resolver(read.document, read.form, wiring)
    made = resolver.settings(settings or Settings())
    steps = resolver.steps()
    if resolver.problems:
        raise InputError(resolver.problems)
    return Report(made, steps)


def case_from_report(
    wiring: Wiring, report: Report, *, settings: Settings | None = None, author: str = "", time: str = ""
) -> Case:
    """A case with every step of the report entered. ``settings`` replaces the report's own.

    Raises:
        CaseError: a step does not fit the machine.
    """
    case = Case.start(wiring, settings or report.settings)
    return add_steps(case, report.steps, author=author, time=time)


def add_steps(case: Case, steps: Iterable[Step], *, author: str = "", time: str = "") -> Case:
    """``case`` with ``steps`` entered in order.

    Raises:
        CaseError: a step does not fit the machine.
    """
    for step in steps:
        if step.finding is not None:
            case = case.with_finding(step.finding, author=author, time=time)
        elif step.kind == "repair":
            case = case.with_repair(step.parts, step.action, author=author, time=time, text=step.text)
        elif step.kind == "decline":
            case = case.with_decline(step.check_key, author=author, time=time, text=step.text)
        elif step.kind == "override":
            case = case.with_override(step.text, author=author, time=time)
        else:
            case = case.with_note(step.text, author=author, time=time)
    return case
