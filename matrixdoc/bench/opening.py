"""From the words of the command line to a case with a file behind it.

Everything heavy is imported inside the functions: they run in a worker, after the first paint.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from matrixdoc.bench.signs import clean
from matrixdoc.checks.situation import Look, Outcome, Situation
from matrixdoc.definition.errors import MatrixdocError

if TYPE_CHECKING:
    from matrixdoc.case.case import Case, Entry
    from matrixdoc.case.file import CaseFile, Header

MOST_NAMES = 1000


class CaseStore(Protocol):
    """Where entries are written through; :class:`matrixdoc.case.file.CaseFile` is one."""

    def append(self, entry: Entry) -> None:
        """Write one entry; when this returns it is safe. Raises MatrixdocError if it is not."""

    def close(self) -> None:
        """Let the file go."""


class LazyStore:
    """A case file that is made when the first entry comes: looking around leaves no file behind."""

    def __init__(self, header: Header, folder: Path | None = None) -> None:
        self.header = header
        self.folder = folder
        self.file: CaseFile | None = None

    def append(self, entry: Entry) -> None:
        """Write one entry through, making the file first if there is none.

        Raises:
            CaseFileError: the folder or the file cannot be written.
        """
        if self.file is None:
            from matrixdoc.case.file import CaseFile, case_path

            self.file = CaseFile.create(case_path(self.header.name, self.folder), self.header)
        self.file.append(entry)

    def close(self) -> None:
        """Let the file go, if there is one."""
        if self.file is not None:
            self.file.close()


@dataclass(frozen=True)
class Opened:
    """A case ready for the bench. ``said`` is for the person: what was loaded, what is odd."""

    case: Case
    store: CaseStore | None
    name: str
    said: str = ""
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Offer:
    """One line of the chooser: a case to go on with, or a machine to begin with."""

    kind: str
    key: str
    title: str
    detail: str = ""
    usable: bool = True


@dataclass(frozen=True)
class Offers:
    """Everything to choose from."""

    cases: tuple[Offer, ...] = ()
    machines: tuple[Offer, ...] = ()
    trouble: tuple[str, ...] = field(default=())


def find_offers(folder: Path | None = None) -> Offers:
    """Open cases, newest first, and machines by name."""
    from matrixdoc.case.file import list_cases
    from matrixdoc.definition.library import list_machines

    cases = tuple(
        Offer(
            "case",
            str(one.path),
            clean(one.name, 60),
            clean(one.trouble or f"{one.machine}, {one.entries} entries", 120),
            usable=not one.trouble,
        )
        for one in list_cases(folder)
    )
    machines = tuple(
        Offer(
            "machine",
            one.name,
            clean(one.name.replace("_", " "), 60),
            "shipped" if one.shipped else "your own",
        )
        for one in list_machines()
    )
    return Offers(cases, machines)


def free_name(machine: str, today: str, folder: Path | None = None) -> str:
    """A name for a new case that no case has yet: machine and day, numbered from the second."""
    from matrixdoc.case.file import case_path

    base = f"{Path(machine).stem.replace('_', ' ')} {today}"
    for number in range(1, MOST_NAMES):
        name = base if number == 1 else f"{base} no {number}"
        if not case_path(name, folder).exists():
            return name
    raise MatrixdocError(f"there are {MOST_NAMES} cases called {base!r}: give this one a name")


def open_stored(path: Path) -> Opened:
    """Go on with the case in that file.

    Raises:
        MatrixdocError: the file or its machine cannot be read, or is in use elsewhere.
    """
    from dataclasses import replace

    from matrixdoc.case.case import Case
    from matrixdoc.case.file import CaseFile
    from matrixdoc.definition.library import load_machine

    file = CaseFile.open(path)
    try:
        header = file.stored.header
        wiring = load_machine(header.source or header.machine)
        case = replace(Case.start(wiring, header.settings), entries=file.stored.entries)
    except BaseException:
        file.close()
        raise
    warnings = list(file.stored.warnings)
    if header.digest and wiring.digest and header.digest != wiring.digest:
        warnings.append("the machine's definition was changed since: what was found is read on the new one")
    said = f"going on where you were: {len(case.standing)} noted"
    said += "".join(f"; {words}" for words in case.left()[1 : len(case.left()) - len(case.unproven())])
    unproven = case.unproven()
    if unproven:
        said += f"; still to prove: {'; '.join(unproven)}"
    return Opened(case, file, header.name, said, tuple(warnings))


def open_new(
    machine: str, report: str | None, name: str | None, time: str, author: str, folder: Path | None = None
) -> Opened:
    """A new case on ``machine``, with the findings of a report file if one is named.

    Raises:
        MatrixdocError: everything that is wrong with the machine, the report, or the name.
    """
    from matrixdoc.case.case import Case
    from matrixdoc.case.file import Header, case_path
    from matrixdoc.definition.document import read_text
    from matrixdoc.definition.library import load_machine
    from matrixdoc.diagnosis.settings import Settings

    wiring = load_machine(machine)
    case = Case.start(wiring, Settings())
    if report:
        from matrixdoc.case.report import case_from_report, read_report, resolve_report

        resolved = resolve_report(read_report(read_text(Path(report)), report), wiring)
        case = case_from_report(wiring, resolved, author=author, time=time)
    called = name or free_name(machine, time[:10] or "case", folder)
    if name and case_path(name, folder).exists():
        raise MatrixdocError(
            f"there is a case called {name!r} already: go on with it, or choose another name"
        )
    source = str(Path(machine).resolve()) if Path(machine).is_file() else machine
    store = LazyStore(Header(called, wiring.title, source, wiring.digest, case.settings, time), folder)
    for entry in case.entries:
        store.append(entry)
    count = len(case.entries)
    said = f"{count} {'entry' if count == 1 else 'entries'} taken from {Path(report).name}" if report else ""
    return Opened(case, store, called, said)


def open_asked(
    machine: str | None,
    report: str | None,
    case_name: str | None,
    time: str,
    author: str,
    folder: Path | None = None,
) -> Opened | None:
    """What the command line asks for; None when the person has to choose first.

    Raises:
        MatrixdocError: what is asked for cannot be opened; the message says why.
    """
    if case_name:
        from matrixdoc.case.file import case_path, open_case

        path = case_path(case_name, folder)
        if path.exists():
            if report:
                raise MatrixdocError(
                    f"the case {case_name!r} exists, and a report can only begin a new one: "
                    "leave out one of them"
                )
            header = open_case(path).header
            if machine and machine not in (header.source, header.machine):
                raise MatrixdocError(
                    f"the case {case_name!r} is about {header.machine}, not {machine!r}: "
                    "leave the machine out, or choose another name"
                )
            return open_stored(path)
    if not machine and report:
        machine = machine_of_report(report)
    if not machine:
        return None
    return open_new(machine, report, case_name, time, author, folder)


def machine_of_report(report: str) -> str:
    """The machine that a report names.

    Raises:
        MatrixdocError: the report cannot be read, or names none.
    """
    from matrixdoc.case.report import read_report
    from matrixdoc.definition.document import read_text

    named = read_report(read_text(Path(report)), report).machine
    if not named:
        raise MatrixdocError(f"{report} does not name its machine: say MACHINE on the command line as well")
    return named


def predicted_outcomes(
    case: Case, suspects: Sequence[tuple[tuple[str, str], ...]], situation: Situation, look: Look
) -> tuple[list[Outcome], Outcome | None]:
    """What suspects (fault sets as (part, mode) pairs) and a sound machine would most probably show."""
    from matrixdoc.faults.priors import Fault

    outcomes: list[Outcome] = []
    for pairs in suspects:
        prediction = case.simulate([Fault(part, mode) for part, mode in pairs], situation, look)
        outcomes.extend(outcome for outcome, share in prediction[:2] if share >= 0.2)
    healthy = case.simulate([], situation, look)
    return outcomes, healthy[0][0] if healthy and healthy[0][1] >= 0.5 else None
