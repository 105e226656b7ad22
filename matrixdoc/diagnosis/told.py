"""What a case has to say to the engine."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from matrixdoc.checks.situation import Finding


@dataclass(frozen=True, slots=True)
class Mend:
    """What was done to a part: ``action`` as in a check, ``after`` so many findings."""

    part: str
    action: str
    after: int


@dataclass(frozen=True)
class Told:
    """What a case has to say to the engine.

    ``mends`` are the repairs in order. ``disturbed`` counts, for each finding, the acts before it that may
    have moved what comes and goes. ``repaired`` says in words what was done to a part; ``declined`` holds
    keys of checks the person will not do. ``proving`` is the number of findings made before a repair that no
    look has proven yet (-1: there is none). ``overridden``: somebody said in words that they go on under
    power although a coil may be locked on.
    """

    findings: tuple[Finding, ...] = ()
    mends: tuple[Mend, ...] = ()
    disturbed: tuple[int, ...] = ()
    repaired: Mapping[str, str] = field(default_factory=dict)
    declined: frozenset[str] = frozenset()
    proving: int = -1
    overridden: bool = False
