"""What a report comes to: one step for each thing that was done or seen."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from matrixdoc.checks.situation import Finding, Look, Outcome, Situation


@dataclass(frozen=True, slots=True)
class Step:
    """One thing that was done or seen, in the order of the report."""

    kind: Literal["finding", "repair", "decline", "note", "override"]
    finding: Finding | None = None
    parts: tuple[str, ...] = ()
    action: str = ""
    check_key: str = ""
    text: str = ""


def finding_step(situation: Situation, look: Look, outcome: Outcome) -> Step:
    """A finding as a step."""
    return Step("finding", Finding(situation, look, outcome))
