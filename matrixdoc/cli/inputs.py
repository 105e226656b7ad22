"""What several commands read: a machine, a report (file, standard input, sentences), faults."""

from __future__ import annotations

import argparse
import re
import sys
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from matrixdoc.case.case import Case
from matrixdoc.case.names import Names, NameTrouble
from matrixdoc.case.report import ReadReport, Report, read_report, resolve_report
from matrixdoc.cli.sentence import danger_in, report_text, taken_for
from matrixdoc.definition.document import MAXIMUM_BYTES, read_text
from matrixdoc.definition.errors import InputError, MatrixdocError, Problem, quoted
from matrixdoc.definition.wiring import Wiring
from matrixdoc.diagnosis.engine import Engine
from matrixdoc.diagnosis.settings import Settings
from matrixdoc.faults.priors import Fault, PossibleFault


def talk(*words: object) -> None:
    """Say something that is no result: on standard error."""
    print(*words, file=sys.stderr)


def load(name: str) -> Wiring:
    """The machine of that name or path.

    A name may be said with blanks, a file in the current folder without its ending.

    Raises:
        MatrixdocError: no such machine, or a definition with errors.
    """
    from matrixdoc.definition.library import load_machine

    meant = _meant(name)
    try:
        return load_machine(meant)
    except InputError:
        _refuse_report(meant)
        raise


def _meant(name: str) -> str:
    from matrixdoc.definition.library import SUFFIXES, list_machines

    names = [entry.name for entry in list_machines()]
    spoken = re.sub(r"[\s-]+", "_", name.strip()).casefold()
    known = [one for one in names if one.casefold() == spoken]
    if name in names or known:
        return name if name in names else known[0]
    beside = [f"{name}{suffix}" for suffix in SUFFIXES if name and Path(f"{name}{suffix}").is_file()]
    return beside[0] if beside and not Path(name).exists() else name


def _tree(path: str) -> dict[str, Any]:
    """The keys and values of a file; none where it has none."""
    from matrixdoc.definition.document import load_document

    try:
        tree = load_document(read_text(Path(path)), path).tree
    except (InputError, OSError):
        return {}
    return tree if isinstance(tree, dict) else {}


def is_report(tree: object) -> bool:
    """Whether the keys of a file are those of a report, and not of a machine."""
    return isinstance(tree, dict) and "findings" in tree and "matrices" not in tree


def _refuse_report(path: str) -> None:
    """Say so where a report stands in the place of the machine."""
    tree = _tree(path) if Path(path).is_file() else {}
    if is_report(tree):
        named = tree.get("machine")
        hint = f"say {named} {path}" if isinstance(named, str) and named else f"say MACHINE {path}"
        expected = "the machine first, then the report"
        raise InputError([Problem(path, 0, 0, "", "a report", expected, hint)])


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
    name = report_of(arguments)
    if name:
        if name != "-" and not is_report(tree := _tree(name)) and "matrices" in tree:
            raise InputError([Problem(name, 0, 0, "", "a machine definition", "a report, with its findings")])
        read = read_report(report_file(name), name)
        _warn_of_another_machine(read, arguments.machine, wiring)
        report = resolve_report(read, wiring, settings)
        settings = report.settings
        steps.extend(report.steps)
    if arguments.saw:
        try:
            text = report_text(arguments.saw, Kinds(wiring).kind_of)
            spoken = resolve_report(read_report(text, "--saw"), wiring, settings)
            for sentence in arguments.saw:
                if taken := taken_for(sentence):
                    talk(f"note: {quoted(sentence)}: {taken}")
        except InputError as error:
            # Lines and columns of the text made from the sentences mean nothing to the person.
            raise InputError(_about_sentences(error.problems, arguments.saw)) from None
        steps.extend(spoken.steps)
    return Report(settings, tuple(steps))


class Kinds:
    """What kind of thing a name of one machine stands for."""

    def __init__(self, wiring: Wiring) -> None:
        self.names = Names(wiring)

    def kind_of(self, words: str) -> str:
        """``coil``, ``lamp`` or ``fuse``; empty where the name is that of none or of several kinds."""
        finders = {"coil": self.names.coils, "lamp": self.names.lamps, "fuse": self.names.fuse}
        found = []
        for kind, find in finders.items():
            try:
                find(words)
            except NameTrouble:
                continue
            found.append(kind)
        return found[0] if len(found) == 1 else ""


def report_of(arguments: argparse.Namespace) -> str:
    """The report file of a command line, given with or without ``--report``; empty for none.

    Raises:
        InputError: two of them.
    """
    named: str = arguments.report or arguments.report_file
    if arguments.report and arguments.report_file:
        found = f"two reports, {quoted(arguments.report)} and {quoted(arguments.report_file)}"
        raise InputError([Problem("", 0, 0, "", found, "one report; --saw adds to it")])
    return named


def _about_sentences(problems: tuple[Problem, ...], sentences: list[str]) -> list[Problem]:
    spoken = (" ".join(s.split()) for s in sentences)
    plain = [s for s in spoken if s.casefold() != (danger_in(s) or None)]
    told = []
    for problem in problems:
        if not problem.path:
            # A sentence that follows no pattern: it is itself what was found.
            told.append(problem)
            continue
        number = problem.path.split(" > ")[1].removeprefix("entry ") if " > " in problem.path else ""
        known = number.isdigit() and int(number) <= len(plain)
        which = f"--saw {quoted(plain[int(number) - 1])}" if known else "--saw"
        # The place inside the made-up file means nothing where the sentence itself is shown.
        path = "" if known else problem.path.rpartition(" > ")[2]
        told.append(replace(problem, source=which, line=0, column=0, path=path))
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
