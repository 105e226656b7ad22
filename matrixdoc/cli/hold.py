"""``matrixdoc hold``: the smallest set of switches to hold that tells suspects apart."""

from __future__ import annotations

import argparse
from collections.abc import Sequence

from matrixdoc.case.case import Case
from matrixdoc.case.report import case_from_report
from matrixdoc.case.wording import device_words, outcome_words
from matrixdoc.checks.situation import Look
from matrixdoc.cli.inputs import engine_of, load, possible_of, read_faults, read_symptoms
from matrixdoc.cli.text import heading, safe, wrapped
from matrixdoc.definition.errors import refusal
from matrixdoc.definition.wiring import Wiring
from matrixdoc.diagnosis.explain import fault_words
from matrixdoc.diagnosis.holding import Hypothesis, Separation, smallest_hold
from matrixdoc.faults.priors import Fault

MOST_SUSPECTS = 8


def hold(arguments: argparse.Namespace) -> int:
    """Print the set and what the scan reads with it under each suspect.

    Raises:
        MatrixdocError: the machine, a fault or the report is wrong; fewer than two suspects.
    """
    wiring = load(arguments.machine)
    case = Case.start(wiring)
    suspects: list[Hypothesis] = []
    if arguments.fault:
        faults = read_faults(arguments.fault, wiring, possible_of(case))
        suspects = [(), *((fault,) for fault in faults)]
    else:
        case = case_from_report(wiring, read_symptoms(arguments, wiring))
        causes = case.first_causes().causes[:MOST_SUSPECTS]
        suspects = [tuple(Fault(f.part, f.mode) for f in cause.faults) for cause in causes]
    if len(suspects) < 2:
        raise refusal("one suspect or none", "--fault, or a report that leaves at least two suspects")
    engine = engine_of(case)
    found = smallest_hold(engine.generator, engine.predictor, suspects)
    if arguments.json:
        print(_json(case, suspects, found))
        return 0
    print(hold_text(wiring, case, suspects, found))
    return 0


def _named(case: Case, suspect: Hypothesis) -> str:
    model = engine_of(case).model
    return " and ".join(fault_words(model, fault) for fault in suspect) or "nothing wrong"


def hold_text(wiring: Wiring, case: Case, suspects: Sequence[Hypothesis], found: Separation | None) -> str:
    """The set to hold, and one line for each suspect."""
    pieces = [heading(f"{wiring.title}: what to hold")]
    if found is None:
        pieces.append(wrapped("No set of up to four switches makes the scan tell any two of these apart:"))
        pieces.extend(wrapped(f"- {safe(_named(case, suspect))}", 0, 2) for suspect in suspects)
        return "\n".join(pieces)
    names = ", ".join(device_words(wiring, reference) for reference in found.held)
    pieces.append(wrapped(f"Hold {safe(names)}, and look at the switch scan:", 0, 2))
    look = Look("reads")
    for suspect, reading in zip(suspects, found.readings, strict=True):
        words = outcome_words(wiring, look, reading)
        pieces.append(wrapped(f"- {safe(words)}: {safe(_named(case, suspect))}", 0, 4))
    if found.groups < len(suspects):
        pieces.append(wrapped("Suspects that read alike here read alike with every set that was tried."))
    return "\n".join(pieces)


def _json(case: Case, suspects: Sequence[Hypothesis], found: Separation | None) -> str:
    from matrixdoc.cli.convert import chance_results, fault_names, fault_results
    from matrixdoc.cli.results import HoldResult, HoldSuspectResult

    readings = found.readings if found is not None else (None,) * len(suspects)
    result = HoldResult(
        machine=case.wiring.title,
        digest=case.wiring.digest,
        held=list(found.held) if found is not None else [],
        groups=found.groups if found is not None else 1,
        suspects=[
            HoldSuspectResult(
                faults=fault_results(fault_names(case, suspect)),
                reads=[]
                if reading is None
                else chance_results(case.wiring, Look("reads"), ((reading, 1.0),)),
            )
            for suspect, reading in zip(suspects, readings, strict=True)
        ],
    )
    return result.model_dump_json(indent=2)
