"""What a diagnosis returns: plain values for the terminal, the command line and the API."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from matrixdoc.checks.situation import Check, Finding


@dataclass(frozen=True, slots=True, order=True)
class FaultName:
    """One part in one failure mode, as people read it."""

    part: str
    mode: str
    kind: str = ""
    title: str = ""
    place: str = ""


@dataclass(frozen=True, slots=True)
class Reason:
    """One finding's word for or against a cause: in words and in bits (log2 of the ratio to
    the rest of the hypotheses; positive speaks for the cause).
    """

    words: str
    bits: float


@dataclass(frozen=True, slots=True)
class Cause:
    """A group of hypotheses that no available check can tell apart.

    ``faults`` is the most probable member (usually one fault, several for a joint hypothesis);
    ``members`` lists every member with its own probability. ``repair`` is what would cure it.
    ``title`` is one line in plain words with this machine's parts, pins and wires.
    """

    rank: int
    probability: float
    title: str
    faults: tuple[FaultName, ...]
    members: tuple[tuple[tuple[FaultName, ...], float], ...]
    for_: tuple[Reason, ...] = ()
    against: tuple[Reason, ...] = ()
    repair: str = ""
    caution: str = ""


@dataclass(frozen=True, slots=True)
class ExpectedOutcome:
    """What a check would show if a cause held: ``words`` for people, ``share`` its probability.

    ``where`` is empty where that holds for all that the cause stands for; else it says for which of
    it, as words behind the cause's number: ``if it is ...``, or ``otherwise``.
    """

    cause: int
    words: str
    share: float = 1.0
    where: str = ""


@dataclass(frozen=True, slots=True)
class RankedCheck:
    """A check with its worth. ``minutes`` from where the person stands, panels and power included;
    ``information_bits`` is the expected drop of entropy over the causes; ``value`` ranks it: the
    expected minutes until the repair is finished when starting with this check, fewest first.
    """

    rank: int
    check: Check
    minutes: float
    information_bits: float
    value: float
    expected: tuple[ExpectedOutcome, ...]
    reason: str


@dataclass(frozen=True, slots=True)
class ExplainedFinding:
    """How well the leading cause explains one finding: ``probability`` of what was seen."""

    finding: Finding
    words: str
    probability: float
    verdict: str


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """The causes in order; what is outside the model; what the search left out (an upper bound,
    as a share of the whole). ``healthy`` is the share of "nothing is wrong". ``marginals`` gives
    each fault's own posterior, keyed by (part, mode).
    """

    causes: tuple[Cause, ...]
    outside_model: float
    discarded_mass: float
    healthy: float
    findings: tuple[ExplainedFinding, ...]
    marginals: Mapping[tuple[str, str], float]
    cautions: tuple[str, ...] = ()
    contradictions: tuple[str, ...] = ()
