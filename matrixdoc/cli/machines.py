"""``matrixdoc machines`` and ``matrixdoc validate``: what can be loaded, and whether it is right."""

from __future__ import annotations

import argparse
from pathlib import Path

from matrixdoc.case.report import read_report, resolve_report
from matrixdoc.cli.inputs import is_report, load, talk
from matrixdoc.cli.text import counted, safe, table, wrapped
from matrixdoc.definition.document import load_document, read_text
from matrixdoc.definition.errors import InputError, MatrixdocError, Problem
from matrixdoc.definition.library import MachineEntry, list_machines, machine_from_document, user_folder
from matrixdoc.definition.lint import lint


def machines(arguments: argparse.Namespace) -> int:
    """List the machines that have a name; one that cannot be loaded is listed with the reason."""
    entries = list_machines()
    titles = {entry.name: _title(entry) for entry in entries}
    if arguments.json:
        from matrixdoc.cli.results import MachineResult, MachinesResult

        made = [
            MachineResult(
                name=entry.name,
                title=titles[entry.name][0],
                path=str(entry.path),
                origin="shipped" if entry.shipped else "yours",
            )
            for entry in entries
        ]
        print(MachinesResult(machines=made).model_dump_json(indent=2))
        return 0
    rows = [
        (
            entry.name,
            "shipped" if entry.shipped else "yours",
            titles[entry.name][0] or "(has errors: validate it)",
        )
        for entry in entries
    ]
    print(table(rows, ("NAME", "FROM", "TITLE")) or "no machines are known")
    talk(wrapped(f"Your own definitions go into {user_folder()}, or name one by its path."))
    return 0


def _title(entry: MachineEntry) -> tuple[str, str]:
    """Title and, where the definition is wrong, the first thing wrong with it."""
    try:
        tree = load_document(read_text(entry.path), str(entry.path)).tree
    except MatrixdocError as error:
        return "", str(error)
    title = tree.get("title") if isinstance(tree, dict) else None
    return (title, "") if isinstance(title, str) else ("", "no title")


def validate(arguments: argparse.Namespace) -> int:
    """Check every file; status 1 if any of them is wrong."""
    from matrixdoc.cli.convert import problem_results
    from matrixdoc.cli.results import FileResult, ValidateResult

    made: list[FileResult] = []
    for name in arguments.files:
        kind, title, parts, assumed = "unknown", "", 0, 0
        advice: tuple[str, ...] = ()
        problems: tuple[Problem, ...] = ()
        try:
            kind, title, parts, assumed, advice = _checked(name)
        except InputError as error:
            problems = error.problems
            kind = _kind(name)
        made.append(
            FileResult.model_validate(
                {
                    "file": name,
                    "kind": kind,
                    "valid": not problems,
                    "title": title,
                    "parts": parts,
                    "assumed": assumed,
                    "problems": problem_results(problems),
                    "advice": list(advice),
                }
            )
        )
        if arguments.json:
            continue
        if problems:
            talk(f"{safe(name)}: {counted(len(problems), 'problem')}")
            talk(str(InputError(problems)))
        elif kind == "machine":
            print(f"{safe(name)}: a sound definition of {safe(title)}: {parts} parts, {assumed} assumed")
            if advice:
                print("Worth a second look:")
                print("\n".join(wrapped(f"- {words}", 2, 4) for words in advice))
        else:
            print(f"{safe(name)}: a sound report: {counted(parts, 'finding')} about {safe(title)}")
    if arguments.json:
        print(ValidateResult(files=made).model_dump_json(indent=2))
    return 0 if all(one.valid for one in made) else 1


def _kind(name: str) -> str:
    """What a file with errors was meant to be."""
    try:
        tree = load_document(read_text(name), name).tree
    except InputError:
        return "unknown"
    return "report" if is_report(tree) else "machine"


def _checked(name: str) -> tuple[str, str, int, int, tuple[str, ...]]:
    """Kind, title, number of parts (or findings), number of assumed parts, advice.

    Raises:
        InputError: everything that is wrong with the file.
    """
    text = read_text(name)
    document = load_document(text, name)
    if not is_report(document.tree):
        wiring = machine_from_document(document)
        assumed = sum(part.origin == "assumed" for part in wiring.parts.values())
        return "machine", wiring.title, len(wiring.parts), assumed, lint(wiring)
    report = read_report(text, name)
    if not report.machine:
        return "report", "a machine that it does not name", len(report.form.findings), 0, ()
    beside = Path(name).parent / report.machine
    wiring = load(str(beside) if beside.is_file() else report.machine)
    return "report", wiring.title, len(resolve_report(report, wiring).findings), 0, ()
