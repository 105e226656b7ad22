"""Turn relative rates into the probability of each fault of one machine.

Each part fails in time like a Poisson process: with relative rate ``r`` and a common factor ``k``
it arrives broken with probability ``1 - exp(-k r)``. ``k`` is the number for which these sum to
the expected number of faults on arrival. The modes of one part exclude each other and divide its
probability in the ratio of their rates.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from matrixdoc.circuit.kinds import load_kind_table
from matrixdoc.circuit.patch import Patch
from matrixdoc.definition.wiring import Part
from matrixdoc.faults.catalogue import (
    Action,
    Catalogue,
    CatalogueError,
    ConditionRule,
    Cost,
    KindFaults,
    Mode,
)
from matrixdoc.faults.conditions import CircuitWithBridges, ConditionError, ServiceConditions

_STEPS = 200
_RELATIVE_ERROR = 1e-14


class Fault(NamedTuple):
    """One part in one failure mode."""

    part: str
    mode: str


class PossibleFault(NamedTuple):
    """A fault with what it means here.

    ``probability`` is that of the fault on arrival; ``odds`` is its ratio to the same part being
    healthy. ``row`` names the catalogue's row. ``patch`` is resolved against the part's own healthy
    values. ``repair_minutes`` are hands-on minutes with the place open, ``success`` the chance
    that the repair cures the fault, ``cost`` the class of the parts bought. ``duty`` is the share of
    the time that an intermittent fault is there (0: a lasting fault); a ``restless`` one draws anew
    at each look; ``opens_warm`` and ``opens_cold`` are the chances that it shows as it warms, or cools.
    ``twice`` is the share of firings of a coil that a fault of timing makes double (0: the
    fault is one that the circuit shows).
    """

    fault: Fault
    probability: float
    odds: float
    patch: Patch
    words: str
    repair: str
    repair_minutes: float
    success: float
    action: Action
    cost: Cost = "none"
    damage: str = ""
    row: str = ""
    duty: float = 0.0
    restless: bool = False
    opens_warm: float = 0.0
    opens_cold: float = 0.0
    twice: float = 0.0


def mode_rates(
    circuit: CircuitWithBridges,
    catalogue: Catalogue,
    conditions: ServiceConditions,
    rows: Rows | None = None,
) -> dict[Fault, float]:
    """The relative rate of every fault of the machine, conditions included, in order of parts.

    ``rows`` are the :func:`part_rows` of the machine, where they are at hand.

    Raises:
        CatalogueError: a part's kind has no row in the catalogue.
        ConditionError: a condition names a place that the machine lacks.
    """
    rules = [rule for rule in catalogue.conditions if conditions.applies(rule.name)]
    near = {rule.name: conditions.near(circuit, rule.name) for rule in rules if rule.near}
    rates: dict[Fault, float] = {}
    shares: dict[tuple[str, frozenset[str]], list[tuple[str, float]]] = {}
    for reference, (row, role) in (rows or part_rows(circuit, catalogue)).items():
        key = (row.kind, frozenset(name for name, places in near.items() if reference in places))
        if key not in shares:
            shares[key] = _shares(row, [rule for rule in rules if not rule.near or rule.name in key[1]])
        for mode, share in shares[key]:
            rates[Fault(reference, mode)] = row.rate * role * share
    return rates


def _shares(row: KindFaults, rules: Sequence[ConditionRule]) -> list[tuple[str, float]]:
    """Each mode of a row with its share, multiplied by the factors of the conditions that fit it."""
    found = []
    for mode in row.modes:
        factors = (rule.factor for rule in rules if rule.fits(row.kind, mode.name))
        found.append((mode.name, mode.share * math.prod(factors)))
    return found


Rows = Mapping[str, tuple[KindFaults, float]]
"""For each part, latent bridges included: its row of the catalogue and the factor of its role."""


def part_rows(circuit: CircuitWithBridges, catalogue: Catalogue) -> Rows:
    """How each part of the machine can fail.

    Raises:
        CatalogueError: a part's kind has no row in the catalogue.
    """
    wiring = circuit.wiring
    return {name: catalogue.faults_of(part, wiring) for name, part in _parts(circuit).items()}


def possible_faults(
    circuit: CircuitWithBridges, catalogue: Catalogue, conditions: ServiceConditions | None = None
) -> dict[Fault, PossibleFault]:
    """Every fault that this machine can have, with its probability on arrival.

    Args:
        circuit: the machine; its latent bridges count as parts.
        catalogue: how kinds fail.
        conditions: how the game arrived; the defaults if left out.

    Returns:
        The faults in order of parts, then of modes as the catalogue lists them. Their
        probabilities sum to ``conditions.expected_faults``.

    Raises:
        CatalogueError: a part's kind has no row, or a factor speaks of a value it does not have.
        ConditionError: an unknown place, or an expectation that is not above 0 and below the
            number of parts.
    """
    conditions = conditions or ServiceConditions()
    rows = part_rows(circuit, catalogue)
    rates = mode_rates(circuit, catalogue, conditions, rows)
    part_rate: dict[str, float] = {}
    for fault, rate in rates.items():
        part_rate[fault.part] = part_rate.get(fault.part, 0.0) + rate
    scale = _scale(np.array(list(part_rate.values())), conditions.expected_faults)
    parts = _parts(circuit)
    found: dict[Fault, PossibleFault] = {}
    for reference, (row, _) in rows.items():
        part, rate = parts[reference], part_rate[reference]
        probability, odds = -math.expm1(-scale * rate), math.expm1(scale * rate)
        for mode in row.modes:
            fault, repair = Fault(reference, mode.name), mode.repair
            share = rates[fault] / rate
            # By position: by name, this makes five thousand of them half as fast again.
            found[fault] = PossibleFault(
                fault,
                probability * share,
                odds * share,
                resolved_patch(part, row, mode),
                mode.words,
                repair.words,
                repair.minutes,
                repair.success,
                repair.action,
                repair.cost,
                catalogue.damage_of(part, mode, circuit.wiring),
                row.kind,
                mode.duty,
                mode.restless,
                mode.opens_warm,
                mode.opens_cold,
            )
    return found


def resolved_patch(part: Part, row: KindFaults, mode: Mode) -> Patch:
    """The patch that ``mode`` makes to ``part``: factors multiplied by the part's healthy values.

    Raises:
        CatalogueError: a factor, or a value of the patch, speaks of a value the kind does not have.
    """
    if not mode.factor and not mode.patch.values:
        return mode.patch
    table = load_kind_table()
    known = table.kind(part.kind).values
    unknown = [name for name in (*mode.patch.values, *mode.factor) if name not in known]
    if unknown:
        raise CatalogueError(
            f"kind.{row.kind} mode {mode.name!r} changes {', '.join(unknown)}, which a {part.kind}"
            f" ({part.reference}) does not have; it has: {', '.join(known) or 'no values'}"
        )
    if not mode.factor:
        return mode.patch
    healthy = table.values(part.kind, part.type_name, part.values)
    factored = {name: healthy[name] * factor for name, factor in mode.factor.items()}
    return replace(mode.patch, values={**mode.patch.values, **factored})


def _parts(circuit: CircuitWithBridges) -> Mapping[str, Part]:
    return {**circuit.wiring.parts, **circuit.bridges}


def _scale(rates: np.ndarray, expected: float) -> float:
    """The ``k`` for which the sum of ``1 - exp(-k r)`` over the parts is ``expected``.

    The sum is concave and rising in ``k``, and ``expected / sum(r)`` lies below the root, so
    Newton's steps climb to it without overshooting.
    """
    if not 0.0 < expected < rates.size:
        raise ConditionError(
            f"the expected number of faults should be above 0 and below the number of parts"
            f" ({rates.size}), not {expected:g}"
        )
    scale = expected / float(rates.sum())
    for _ in range(_STEPS):
        missing = expected + float(np.expm1(-scale * rates).sum())
        step = missing / float((rates * np.exp(-scale * rates)).sum())
        scale += step
        if abs(step) <= _RELATIVE_ERROR * scale:
            break
    return scale
