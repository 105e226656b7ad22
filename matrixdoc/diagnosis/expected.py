"""What a check or a repair would show under each leading cause, in words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from matrixdoc.checks.model import MachineModel
from matrixdoc.checks.wording import outcome_words, part_words
from matrixdoc.diagnosis.jobs import Job
from matrixdoc.diagnosis.ranking import Option
from matrixdoc.diagnosis.results import ExpectedOutcome
from matrixdoc.diagnosis.suspects import Suspect
from matrixdoc.faults.priors import Fault

_LEADING = 5

_Side = Sequence[tuple[Suspect, float]]
"""Suspects that a repair leaves alike, each with the chance of that."""


def expected_outcomes(
    model: MachineModel, job: Job, option: Option, numbers: Mapping[tuple[Fault, ...], int]
) -> tuple[ExpectedOutcome, ...]:
    """What the check would show under each leading group, by its number in the list of causes."""
    considered = job.considered
    rows: list[ExpectedOutcome] = []
    for group in job.groups[:_LEADING]:
        number = numbers.get(group[0].faults)
        if group[0] not in considered or number is None:
            continue
        if option.check.kind == "act":
            members = [(s, option.cures[h]) for h, s in enumerate(considered) if s in group]
            rows.extend(_after_repair(model, number, members))
            continue
        outcome, share = option.predictions[considered.index(group[0])][0]
        words = outcome_words(model.circuit.wiring, option.check.look, outcome, option.check.situation.held)
        rows.append(ExpectedOutcome(number, words, share))
    return tuple(rows)


def _after_repair(model: MachineModel, number: int, members: _Side) -> list[ExpectedOutcome]:
    """What a repair leads to under one cause; ``members``: its suspects with the chance that it cures them.

    No check tells the members apart, but a repair is of one of them: where some are cured and others
    not, each row says which it is about, the one with more parts that it is about the rest.
    """
    sides: dict[str, list[tuple[Suspect, float]]] = {}
    for suspect, cured in members:
        words, share = ("works again", cured) if cured >= 0.5 else ("still the same", 1.0 - cured)
        sides.setdefault(words, []).append((suspect, share))
    names = {words: _named(model, side, sides.values()) for words, side in sides.items()}
    rest = max(names, key=lambda words: len(names[words]))
    rows = []
    for words, side in sides.items():
        every = sum(suspect.probability for suspect, _ in side)
        share = sum(suspect.probability * each for suspect, each in side) / every if every else side[0][1]
        where = "otherwise" if words == rest else f"if it is {' or '.join(names[words])}"
        rows.append(ExpectedOutcome(number, words, share, where if len(sides) > 1 else ""))
    return rows


def _named(model: MachineModel, side: _Side, sides: Iterable[_Side]) -> list[str]:
    """Parts that one side is about; with the modes, where another side is about the part as well."""
    about = [{fault.part for suspect, _ in each for fault in suspect.faults} for each in sides]
    modes: dict[str, list[str]] = {}
    for fault in dict.fromkeys(fault for suspect, _ in side for fault in suspect.faults):
        modes.setdefault(fault.part, []).append(fault.mode)
    found = []
    for part, named in modes.items():
        on_both = sum(part in parts for parts in about) > 1
        title = part_words(model.part(part))
        found.append(f"{title} {' or '.join(named)}" if on_both else title)
    return found
