"""``matrixdoc tree``: the whole plan for a symptom, as text, graph description, page or data."""

from __future__ import annotations

import argparse
from pathlib import Path

from matrixdoc.case.report import case_from_report
from matrixdoc.cli.diagnose import SAFETY, cautions_text
from matrixdoc.cli.inputs import NothingSeenError, laid_over, load, read_symptoms, talk
from matrixdoc.cli.text import heading, labelled, likely_words, minutes, safe, share, wrapped
from matrixdoc.diagnosis.tree_page import complaint_words, headline, target_words, tree_dot, tree_page
from matrixdoc.diagnosis.tree_words import NOTE, FaultTree, PlanStep


def tree(arguments: argparse.Namespace) -> int:
    """Print the fault tree of a report, or write it as a page.

    Raises:
        MatrixdocError: an input is wrong, there is no symptom, or nothing is wrong.
    """
    wiring = load(arguments.machine)
    report = read_symptoms(arguments, wiring)
    if not report.steps:
        raise NothingSeenError(
            'no symptom: give a report file, or --saw "press C3R5 reads nothing" (tree --help tells more)'
        )
    settings = laid_over(report.settings, arguments, wiring)
    case = case_from_report(wiring, report, settings=settings)
    cautions = case.cautions()
    plain = not (arguments.json or arguments.dot or arguments.html)
    if cautions and plain:
        print(cautions_text(cautions), flush=True)
    for caution in cautions if not plain else ():
        talk(f"CAUTION: {safe(caution)}")
    found = case.fault_tree(arguments.depth, arguments.mass / 100.0, arguments.complaint)
    if arguments.json:
        from matrixdoc.cli.convert import tree_result

        print(tree_result(wiring, found, cautions).model_dump_json(indent=2))
    elif arguments.dot:
        print(tree_dot(found), end="")
    elif arguments.html:
        page = tree_page(found, " ".join([*cautions, SAFETY]))
        if arguments.html == "-":
            print(page, end="")
        else:
            Path(arguments.html).write_text(page, encoding="utf-8")
            talk(f"written: {arguments.html} ({len(found.steps)} steps)")
    else:
        print(tree_text(found))
    return 0


def tree_text(found: FaultTree) -> str:
    """The tree as numbered steps in 80 columns; each says which step comes after what is seen."""
    pieces = [heading(f"Fault tree: {found.machine}")]
    pieces.extend(wrapped(f"Seen: {words}", 0, 6) for words in found.seen[:5])
    if len(found.seen) > 5:
        pieces.append(f"      and {len(found.seen) - 5} more")
    pieces.append(wrapped(headline(found)))
    if told := complaint_words(found):
        pieces.append(wrapped(f"{told} --complaint N shows another."))
    pieces.append(wrapped(NOTE))
    pieces.append("")
    pieces.extend(_step_text(step) for step in found.steps)
    pieces.append("\n" + wrapped(SAFETY))
    return "\n".join(pieces)


def _step_text(step: PlanStep) -> str:
    lines = []
    if step.kind == "do":
        lines.append(wrapped(f"{step.number:>3}. {minutes(step.minutes):>8}  {step.title}", 0, 15))
        lines.extend(labelled("CAUTION", caution, 15, 9) for caution in step.cautions)
        lines.append(labelled("set up", "; ".join([_power(step), *step.set_up]), 15, 9))
        for branch in step.branches:
            seen = likely_words(" / ".join(branch.words), share(branch.probability))
            lines.append(wrapped(f"- {seen}: {target_words(branch.target)}", 15, 17))
    elif step.kind == "cut":
        lines.append(wrapped(f"{step.number:>3}. {'':>8}  {step.title}", 0, 15))
        lines.append(" " * 15 + f"- and on, not drawn: about {minutes(step.finish)} more")
    else:
        lines.append(wrapped(f"{step.number:>3}. {'':>8}  {step.title}", 0, 15))
    likely = "; ".join(f"{words} {share(probability)}" for words, probability in step.suspects)
    lines.append(labelled("likely", likely, 15, 9))
    if step.number > 1:
        lines.append(labelled("reached", f"in {share(step.probability)} of such cases", 15, 9))
    return "\n".join(lines)


def _power(step: PlanStep) -> str:
    return "power on" if step.power else "unplugged"
