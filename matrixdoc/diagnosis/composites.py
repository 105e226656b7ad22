"""Hypotheses that are more than one lasting fault: what comes and goes, and what one fault damages.

An intermittent fault keeps its state until something disturbs it. Findings between two disturbances
are one look at that state, so its states are patterns: there or not in each stretch between
disturbances, with the duty as the chance of "there". A cascade is one fault that damaged another
part; it has a prior of its own, far above that of two independent faults.

Both enter the posterior as states under names of their own (aliases) and leave it as plain faults.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import product

from matrixdoc.checks.model import MachineModel
from matrixdoc.diagnosis.branches import State, Variable
from matrixdoc.faults.catalogue import CascadeRule
from matrixdoc.faults.priors import Fault

MOST_STRETCHES = 4
"""Stretches between disturbances that are told apart; older ones count as one."""


@dataclass(frozen=True, slots=True)
class Composite:
    """What an alias stands for: ``faults``, acting in the stretches that ``there`` marks (empty: all).

    ``acts`` are the faults that show what these do, where that is not themselves.
    """

    faults: tuple[Fault, ...]
    there: tuple[bool, ...] = ()
    acts: tuple[Fault, ...] = ()

    def acting(self, stretch: int) -> tuple[Fault, ...]:
        """The plain faults that act in a stretch."""
        return (self.acts or self.faults) if not self.there or self.there[stretch] else ()


def stretches(disturbed: Sequence[int]) -> tuple[int, ...]:
    """Number of the stretch of each finding, from the number of disturbances before it.

    Only the newest :data:`MOST_STRETCHES` are told apart.
    """
    if not disturbed:
        return ()
    last = max(disturbed)
    return tuple(
        max(0, count - last + MOST_STRETCHES - 1) if last >= MOST_STRETCHES else count for count in disturbed
    )


def intermittent_variables(
    model: MachineModel, faults: Iterable[Fault], count: int
) -> tuple[list[Variable], dict[Fault, Composite]]:
    """One variable for each intermittent fault: its patterns over ``count`` stretches."""
    variables: list[Variable] = []
    composites: dict[Fault, Composite] = {}
    for fault in sorted(faults):
        entry = model.possible[fault]
        states = []
        for there in product((False, True), repeat=count):
            share = 1.0
            for bit in there:
                share *= entry.duty if bit else 1.0 - entry.duty
            alias = Fault(fault.part, f"{fault.mode} {''.join('01'[bit] for bit in there)}")
            composites[alias] = Composite((fault,), there)
            odds = entry.odds * share
            states.append(State(alias, odds, ((alias, odds),), opening=True))
        variables.append(Variable(tuple(states)))
    return variables, composites


def cascade_variables(
    model: MachineModel, rules: Sequence[CascadeRule], suspects: Iterable[Fault]
) -> tuple[list[Variable], dict[Fault, Composite]]:
    """Joint hypotheses for suspects that another fault may have damaged."""
    wiring = model.circuit.wiring
    causes: dict[str, list[str]] = {}
    for coil in wiring.coils.values():
        drive = wiring.drives.get(coil.drive)
        if drive is not None:
            causes.setdefault(drive.output, []).extend(p for p in (coil.element, coil.diode) if p)
    by_part: dict[str, list[Fault]] = {}
    for fault in model.possible:
        by_part.setdefault(fault.part, []).append(fault)
    variables: list[Variable] = []
    composites: dict[Fault, Composite] = {}
    for damaged in sorted(set(suspects)):
        for part in dict.fromkeys(causes.get(damaged.part, ())):
            for cause in by_part.get(part, ()):
                odds = sum(_odds(model, rule, cause, damaged) for rule in rules)
                if odds <= 0.0:
                    continue
                alias = Fault(damaged.part, f"{damaged.mode} after {cause.part} {cause.mode}")
                composites[alias] = Composite((cause, damaged))
                variables.append(Variable((State(alias, odds, ((alias, odds),), opening=False),)))
    return variables, composites


def _odds(model: MachineModel, rule: CascadeRule, cause: Fault, damaged: Fault) -> float:
    entry = model.possible[cause]
    if entry.row not in rule.kinds or cause.mode not in rule.modes:
        return 0.0
    return entry.odds * rule.probability * rule.damaged_modes.get(damaged.mode, 0.0)


def plain_marginals(
    marginals: Mapping[Fault, float], composites: Mapping[Fault, Composite]
) -> dict[Fault, float]:
    """Marginals of plain faults: those of aliases added to what they stand for."""
    found: dict[Fault, float] = {}
    for name, share in marginals.items():
        composite = composites.get(name)
        for fault in composite.faults if composite is not None else (name,):
            found[fault] = found.get(fault, 0.0) + share
    return found


def plain_sets(
    sets: Iterable[tuple[frozenset[Fault], float]], composites: Mapping[Fault, Composite]
) -> tuple[tuple[frozenset[Fault], float], ...]:
    """Sets of plain faults, equal ones added up, most probable first."""
    found: dict[frozenset[Fault], float] = {}
    for names, share in sets:
        plain = frozenset(
            fault for name in names for fault in (composites[name].faults if name in composites else (name,))
        )
        found[plain] = found.get(plain, 0.0) + share
    return tuple(sorted(found.items(), key=lambda s: (-s[1], sorted(s[0]))))


def there_now(marginals: Mapping[Fault, float], composites: Mapping[Fault, Composite]) -> dict[Fault, float]:
    """For each intermittent fault: the chance that it is there in the newest stretch, if it exists."""
    all_: dict[Fault, float] = {}
    now: dict[Fault, float] = {}
    for name, share in marginals.items():
        composite = composites.get(name)
        if composite is None or not composite.there:
            continue
        fault = composite.faults[0]
        all_[fault] = all_.get(fault, 0.0) + share
        now[fault] = now.get(fault, 0.0) + (share if composite.there[-1] else 0.0)
    return {fault: now[fault] / total if total > 0.0 else 0.0 for fault, total in all_.items()}
