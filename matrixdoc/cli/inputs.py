"""What several commands read: a machine, a report (file, standard input, sentences), faults."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from matrixdoc.case.case import Case
from matrixdoc.case.names import Names, NameTrouble
from matrixdoc.case.report import ReadReport, Report, read_report, resolve_report
from matrixdoc.cli.sentence import report_text
from matrixdoc.definition.document import MAXIMUM_BYTES, read_text
from matrixdoc.definition.errors import InputError, MatrixdocError, Problem, near_miss, quoted
from matrixdoc.definition.wiring import Wiring
from matrixdoc.diagnosis.engine import Engine
from matrixdoc.diagnosis.settings import Settings
from matrixdoc.faults.priors import Fault, PossibleFault


def talk(*words: object) -> None:
    """Say something that is no result: on standard error."""
    print(*words, file=sys.stderr)


def load(name: str) -> Wiring:
    """The machine of that name or path.

    Raises:
        MatrixdocError: no such machine, or a definition with errors.
    """
    from matrixdoc.definition.library import load_machine

    return load_machine(name)


def report_file(path: str) -> str:
    """The text of a report file; ``-`` is standard input.

    Raises:
        InputError: the file cannot be read.
    """
    if path != "-":
        return read_text(Path(path))
    stream: Any = getattr(sys.stdin, "buffer", sys.stdin)
    given: bytes | str = stream.read(MAXIMUM_BYTES + 1)
    from matrixdoc.definition.document import decode_text

    return decode_text(given, "standard input")


def read_symptoms(arguments: argparse.Namespace, wiring: Wiring, settings: Settings | None = None) -> Report:
    """The report file and the sentences of a command line, as one report about ``wiring``.

    Raises:
        InputError: everything that is wrong with either of them.
    """
    settings = settings or Settings()
    steps: list[Any] = []
    if arguments.report:
        read = read_report(report_file(arguments.report), arguments.report)
        _warn_of_another_machine(read, arguments.machine, wiring)
        report = resolve_report(read, wiring, settings)
        settings = report.settings
        steps.extend(report.steps)
    if arguments.saw:
        try:
            spoken = resolve_report(read_report(report_text(arguments.saw), "--saw"), wiring, settings)
        except InputError as error:
            # Lines and columns of the text made from the sentences mean nothing to the person.
            raise InputError(_about_sentences(error.problems, arguments.saw)) from None
        steps.extend(spoken.steps)
    return Report(settings, tuple(steps))


def _about_sentences(problems: tuple[Problem, ...], sentences: list[str]) -> list[Problem]:
    plain = [s for s in (" ".join(s.split()) for s in sentences) if s not in ("smoke", "smell")]
    told = []
    for problem in problems:
        number = problem.path.split(" > ")[1].removeprefix("entry ") if " > " in problem.path else ""
        which = (
            f"--saw {quoted(plain[int(number) - 1])}"
            if number.isdigit() and int(number) <= len(plain)
            else "--saw"
        )
        told.append(replace(problem, source=which, line=0, column=0, path=problem.path.rpartition(" > ")[2]))
    return told


def _warn_of_another_machine(read: ReadReport, name: str, wiring: Wiring) -> None:
    named = read.machine.casefold().strip()
    if named and named not in (name.casefold(), wiring.title.casefold(), Path(name).stem.casefold()):
        other, this = quoted(read.machine), quoted(wiring.title)
        talk(f"note: the report speaks of {other}; it is read as one about {this}")


def laid_over(settings: Settings, arguments: argparse.Namespace, wiring: Wiring) -> Settings:
    """``settings`` with what the command line says beside the report.

    Raises:
        InputError: a place that the machine does not have.
    """
    names = Names(wiring)
    changes: dict[str, Any] = {}
    if arguments.expected_faults is not None:
        changes["expected_faults"] = arguments.expected_faults
    if arguments.sat_for_years:
        changes["sat_for_years"] = True
    problems: list[Problem] = []
    for field, option, find in (
        ("recent_repair", "--recent-repair", names.worked_at),
        ("battery_leak", "--battery-leak", names.worked_at),
        ("open_places", "--open-place", names.place),
    ):
        given = getattr(arguments, option.strip("-").replace("-", "_"))
        found = []
        for words in given:
            try:
                found.append(find(words))
            except NameTrouble as trouble:
                problems.append(
                    Problem(option, 0, 0, "", quoted(words), trouble.expected, trouble.suggestion)
                )
        if found:
            changes[field] = tuple(dict.fromkeys([*getattr(settings, field), *found]))
    if problems:
        raise InputError(problems)
    return replace(settings, **changes)


def read_faults(
    given: list[str], wiring: Wiring, possible: Mapping[Fault, PossibleFault]
) -> tuple[Fault, ...]:
    """``PART=MODE`` words as faults that this machine can have.

    Raises:
        InputError: every word that names no part, or no failure mode of its part.
    """
    names = Names(wiring)
    modes: dict[str, list[str]] = {}
    for fault in possible:
        modes.setdefault(fault.part, []).append(fault.mode)
    problems: list[Problem] = []
    faults: list[Fault] = []
    for words in given:
        part, sign, mode = words.rpartition("=")
        part, mode = part.strip(), " ".join(mode.split())
        if not sign or not part or not mode:
            problems.append(
                Problem("--fault", 0, 0, "", quoted(words), "PART=MODE, such as switch/C3R5/diode=shorted")
            )
            continue
        try:
            reference = part if part in modes else names.part(part)
        except NameTrouble as trouble:
            problems.append(Problem("--fault", 0, 0, "", quoted(part), trouble.expected, trouble.suggestion))
            continue
        known = modes.get(reference, [])
        fitting = [one for one in known if one.casefold() == mode.casefold()]
        if not fitting:
            expected = f"a failure mode of {reference}: {', '.join(known) or 'none is known'}"
            problems.append(Problem("--fault", 0, 0, "", quoted(mode), expected, near_miss(mode, known)))
            continue
        if reference in {fault.part for fault in faults}:
            problems.append(
                Problem(
                    "--fault", 0, 0, "", f"a second mode of {reference}", "one failure mode for each part"
                )
            )
            continue
        faults.append(Fault(reference, fitting[0]))
    if problems:
        raise InputError(problems)
    return tuple(faults)


def possible_of(case: Case) -> Mapping[Fault, PossibleFault]:
    """Every fault that the machine of a case can have."""
    return engine_of(case).possible


def engine_of(case: Case) -> Engine:
    """The engine behind a case: its circuit, its faults, its model."""
    if case.session is None:
        raise MatrixdocError("a case is started with Case.start(wiring)")
    return case.session.engine


class NothingSeenError(MatrixdocError):
    """A diagnosis was asked for without a single symptom."""
