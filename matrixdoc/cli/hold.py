"""``matrixdoc hold``: the smallest set of switches to hold that tells suspects apart."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from collections.abc import Set as AbstractSet

from matrixdoc.case.case import Case
from matrixdoc.case.report import case_from_report
from matrixdoc.case.wording import device_words, outcome_words, short_words
from matrixdoc.checks.situation import NO_LOGIC, Look, Outcome, Situation
from matrixdoc.cli.faults import read_faults
from matrixdoc.cli.inputs import engine_of, load, possible_of, read_symptoms
from matrixdoc.cli.simulate_seen import SURE
from matrixdoc.cli.text import heading, safe, share, wrapped
from matrixdoc.definition.errors import refusal
from matrixdoc.diagnosis.explain import fault_words
from matrixdoc.diagnosis.holding import THOROUGH, Hypothesis, Limits, Search, Separation, search_holds
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
        expected = "--fault, or a report that leaves at least two suspects"
        raise refusal("", expected, found="fewer than two suspects")
    engine = engine_of(case)
    search = search_holds(engine.generator, engine.predictor, suspects, THOROUGH)
    print(_json(case, suspects, search) if arguments.json else hold_text(case, suspects, search))
    return 0


def _named(case: Case, suspect: Hypothesis) -> str:
    model = engine_of(case).model
    return " and ".join(fault_words(model, fault) for fault in suspect) or "nothing wrong"


def hold_text(case: Case, suspects: Sequence[Hypothesis], search: Search) -> str:
    """The set to hold, what it reads under each suspect, who stays unseparated, and what was tried."""
    wiring = case.wiring
    pieces = [heading(f"{wiring.title}: what to hold")]
    if search.best is None:
        pieces.append(wrapped("No set that was tried makes the scan tell any two of these apart:"))
        pieces.extend(wrapped(f"- {safe(_named(case, suspect))}", 0, 2) for suspect in suspects)
        pieces.append("\n" + wrapped(tried_words(search)))
        return "\n".join(pieces)
    held = search.best.held
    names = ", ".join(device_words(wiring, reference) for reference in held)
    how = " all together" if len(held) > 1 else ""
    pieces.append(wrapped(f"Hold{how}: {safe(names)}. The scan then reads:", 0, 2))
    for members in _alike(search.best).values():
        told = " or ".join(safe(_named(case, suspects[k])) for k in members)
        pieces.append(wrapped(f"- {_reads(case, suspects, search.best, members)}: {told}", 0, 4))
    groups = [members for members in _alike(search.best).values() if len(members) > 1]
    if groups:
        pieces.append("\nNOT TOLD APART by this set")
    pieces.extend(
        wrapped(f"- {_unseparated(case, [suspects[k] for k in members])}", 2, 4) for members in groups
    )
    apart = len({tuple(f.part for f in suspect) for suspect in suspects}) > search.best.groups
    pieces.append("\n" + wrapped(tried_words(search, unseparated=apart)))
    return "\n".join(pieces)


def _then(case: Case, left: Sequence[Hypothesis]) -> list[str]:
    """Sets to hold one after the other for suspects that one set leaves together."""
    engine = engine_of(case)
    pieces: list[str] = []
    waiting = [left]
    while waiting:
        group = waiting.pop(0)
        if len({tuple(fault.part for fault in suspect) for suspect in group}) < 2:
            continue
        best = search_holds(engine.generator, engine.predictor, group, Limits()).best
        if best is None:
            pieces.append(wrapped("no set that was tried tells these apart", 4, 6))
            continue
        names = ", ".join(device_words(case.wiring, reference) for reference in best.held)
        pieces.append(wrapped(f"then hold {safe(names)}; the scan reads:", 4, 6))
        for members in _alike(best).values():
            told = " or ".join(safe(_named(case, group[k])) for k in members)
            pieces.append(wrapped(f"- {_reads(case, group, best, members)}: {told}", 6, 8))
            if len(members) > 1:
                waiting.append([group[k] for k in members])
    return pieces


def _unseparated(case: Case, members: Sequence[Hypothesis]) -> str:
    named = "; ".join(safe(_named(case, suspect)) for suspect in members if suspect)
    if () in members:
        return f"{named}: read as if nothing were wrong"
    if len({tuple(fault.part for fault in suspect) for suspect in members}) == 1:
        return f"{named}: one part, mended alike; nothing need tell them apart"
    return f"{named}: read the same"


def _alike(best: Separation) -> dict[int, list[int]]:
    """Positions of the suspects of each group that is told apart from the others."""
    alike: dict[int, list[int]] = {}
    for position, group in enumerate(best.split):
        alike.setdefault(group, []).append(position)
    return alike


def _reads(case: Case, suspects: Sequence[Hypothesis], best: Separation, members: Sequence[int]) -> str:
    """What the scan reads beside what is held; its probability where it may be read in another way."""
    engine = engine_of(case)
    look, situation = Look("reads"), Situation(held=best.held)
    usual = engine.predictor.predict(Situation(), look, ())[0][0]
    wanted = {*best.held, *(usual if isinstance(usual, frozenset) else ())}
    told = []
    for reading in dict.fromkeys(best.readings[k] for k in members):
        which = [k for k in members if best.readings[k] == reading]
        least = min(engine.predictor.predict(situation, look, suspects[k])[0][1] for k in which)
        sure = "" if least >= SURE else f" ({share(least)})"
        told.append(safe(_difference(case, reading, wanted)) + sure)
    return " or ".join(told)


def _difference(case: Case, reading: Outcome, wanted: AbstractSet[str]) -> str:
    if not isinstance(reading, frozenset) or NO_LOGIC in reading:
        return outcome_words(case.wiring, Look("reads"), reading)
    more, less = reading - wanted, wanted - reading
    words = [f"also {short_words(more)}"] if more else []
    words += [f"{short_words(less)} missing"] if less else []
    return " and ".join(words) or "what is held and nothing else"


_SIZES = ("single switches", "pairs", "sets of three", "sets of four")


def tried_words(search: Search, *, unseparated: bool = True) -> str:
    """What was tried and what was not."""
    every = [_SIZES[size - 1] for size in sorted(search.complete) if size <= len(search.tried)]
    some = [
        f"{count} {_SIZES[size - 1]}"
        for size, count in enumerate(search.tried, start=1)
        if size not in search.complete
    ]
    told = []
    if every:
        told.append(f"all {' and all '.join(every)} of the {search.usable} switches that can be held")
    if some:
        told.append(f"{' and '.join(some)} around the places of the suspects")
    if search.grown:
        told.append(f"{search.grown} larger sets put together from those that told something")
    words = f"Tried: {'; '.join(told)}."
    if unseparated:
        words += " Other sets were not tried: a set that tells more apart may exist, though none is known."
    elif len(search.complete) < len(search.tried):
        words += " A smaller set may exist among those that were not tried."
    return words


def _json(case: Case, suspects: Sequence[Hypothesis], search: Search) -> str:
    from matrixdoc.cli.convert import chance_results, fault_names, fault_results
    from matrixdoc.cli.results import HoldResult, HoldSuspectResult

    found = search.best
    readings = found.readings if found is not None else (None,) * len(suspects)
    result = HoldResult(
        machine=case.wiring.title,
        digest=case.wiring.digest,
        held=list(found.held) if found is not None else [],
        groups=found.groups if found is not None else 1,
        unseparated=[] if found is None else [m for m in _alike(found).values() if len(m) > 1],
        tried=list(search.tried),
        complete=sorted(search.complete),
        grown=search.grown,
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
