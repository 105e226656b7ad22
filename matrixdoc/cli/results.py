"""What ``--json`` prints: one model per result, each with a published JSON Schema.

Print a schema with ``matrixdoc schema NAME``. Fields are added over time, never renamed.
"""

from __future__ import annotations

from typing import Any, Literal

from pydantic import ConfigDict, Field, TypeAdapter

from matrixdoc.cli.results_base import Outcome, Result
from matrixdoc.cli.results_machine import (
    CellResult,
    ChartResult,
    FileResult,
    LineResult,
    MachineResult,
    MachinesResult,
    MatrixResult,
    PathResult,
    ProblemResult,
    SpiceResult,
    StepResult,
    ValidateResult,
)
from matrixdoc.definition.wiring import Wiring

__all__ = [
    "RESULTS",
    "CellResult",
    "ChartResult",
    "FileResult",
    "LineResult",
    "MachineResult",
    "MachinesResult",
    "MatrixResult",
    "Outcome",
    "PathResult",
    "ProblemResult",
    "Result",
    "SpiceResult",
    "StepResult",
    "ValidateResult",
]


class FaultResult(Result):
    """One part in one failure mode."""

    part: str
    kind: str
    mode: str
    title: str = ""
    place: str = ""


class SituationResult(Result):
    """What is powered, held, commanded, taken out of circuit, bridged by jumpers and swapped."""

    power: bool
    held: list[str]
    lamps: list[str]
    pulsed: str
    opened: list[str]
    jumpers: list[str]
    swapped: list[str]
    words: str


class LookResult(Result):
    """What is looked at."""

    kind: str
    target: str
    function: str
    red: str
    black: str
    words: str


class ReasonResult(Result):
    """One finding's word for (positive bits) or against (negative bits) a cause."""

    words: str
    bits: float


class MemberResult(Result):
    """A member of a group of causes that no available check separates."""

    faults: list[FaultResult]
    probability: float


class CauseResult(Result):
    """A cause, or a group of causes."""

    rank: int
    probability: float
    title: str
    faults: list[FaultResult]
    members: list[MemberResult]
    for_: list[ReasonResult] = Field(alias="for", serialization_alias="for")
    against: list[ReasonResult]
    repair: str
    caution: str

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


class ExpectedResult(Result):
    """What a check would show if the cause of this rank held.

    ``where`` says for which of what the cause stands for, where that is not all of it.
    """

    cause: int
    words: str
    share: float
    where: str = ""


class CheckResult(Result):
    """A check worth doing, with what it costs and what it tells."""

    rank: int
    key: str
    kind: Literal["look", "meter", "act"]
    what: str
    situation: SituationResult
    look: LookResult
    minutes: float
    power: bool
    set_up: list[str]
    cautions: list[str]
    mends: list[str]
    action: str
    expected: list[ExpectedResult]
    information_bits: float
    value: float
    reason: str


class FindingResult(Result):
    """A finding, and how well the leading cause explains it."""

    words: str
    situation: SituationResult
    look: LookResult
    outcome: Outcome
    probability: float
    verdict: str


class SettingsResult(Result):
    """The settings that the diagnosis was made with."""

    expected_faults: float
    outside_weight: float
    slip_rate: float
    meter_slip_rate: float
    meter_accuracy: float
    recent_repair: list[str]
    battery_leak: list[str]
    open_places: list[str]
    sat_for_years: bool
    least_share: float


class DiagnoseResult(Result):
    """``matrixdoc diagnose --json``."""

    machine: str
    digest: str
    settings: SettingsResult
    cautions: list[str]
    causes: list[CauseResult]
    checks: list[CheckResult]
    outside_model: float
    discarded_mass: float
    healthy: float
    findings: list[FindingResult]
    contradictions: list[str]
    unproven: list[str]


class ChanceResult(Result):
    """One outcome of a look and its probability."""

    outcome: Outcome
    words: str
    probability: float


class SeenResult(Result):
    """What one look would show, beside what the healthy machine shows."""

    situation: SituationResult
    look: LookResult
    outcomes: list[ChanceResult]
    healthy: list[ChanceResult]
    differs: bool


class SimulateResult(Result):
    """``matrixdoc simulate --json``."""

    machine: str
    digest: str
    faults: list[FaultResult]
    cautions: list[str]
    blown: list[str] = Field(description="fuses that the faults have blown as soon as the machine is on")
    seen: list[SeenResult]


class HoldSuspectResult(Result):
    """What the scan reads under one suspect (no fault at all: a healthy machine)."""

    faults: list[FaultResult]
    reads: list[ChanceResult]


class HoldResult(Result):
    """``matrixdoc hold --json``: the smallest set of switches that tells most suspects apart."""

    machine: str
    digest: str
    held: list[str]
    groups: int
    suspects: list[HoldSuspectResult]
    unseparated: list[list[int]] = Field(
        description="positions of suspects that read alike with this set, group by group"
    )
    tried: list[int] = Field(description="sets of one, two, three ... switches that were tried")
    complete: list[int] = Field(description="sizes of which every set of the machine's switches was tried")
    grown: int = Field(description="larger sets that were put together from these")


class LikelyResult(Result):
    """A cause and its probability once a step is reached."""

    words: str
    probability: float


class BranchResult(Result):
    """What may be seen after a step, how probable, and the step to go on with (0: done)."""

    words: list[str]
    probability: float
    target: int


class TreeStepResult(Result):
    """One step of a fault tree; ``finish``: expected minutes from here to the end."""

    number: int
    kind: Literal["do", "cut", "give up", "done"]
    what: str
    key: str
    power: bool
    minutes: float
    finish: float
    probability: float
    depth: int
    set_up: list[str]
    cautions: list[str]
    branches: list[BranchResult]
    likely: list[LikelyResult]


class TreeResult(Result):
    """``matrixdoc tree --json``."""

    machine: str
    digest: str
    cautions: list[str]
    seen: list[str]
    complaint: int
    complaints: int
    minutes: float
    depth: int
    mass: float
    steps: list[TreeStepResult]


RESULTS: dict[str, type[Result]] = {
    "diagnose": DiagnoseResult,
    "tree": TreeResult,
    "simulate": SimulateResult,
    "hold": HoldResult,
    "machines": MachinesResult,
    "validate": ValidateResult,
    "chart": ChartResult,
    "path": PathResult,
    "spice": SpiceResult,
}
"""Results by command. ``show`` prints the resolved wiring itself: see :func:`wiring_schema`."""

_DRAFT = "https://json-schema.org/draft/2020-12/schema"


def result_schema(name: str) -> dict[str, Any]:
    """The JSON Schema of the result of the command ``name``.

    Raises:
        KeyError: no command of that name prints a result.
    """
    if name == "show":
        return wiring_schema()
    schema = RESULTS[name].model_json_schema(by_alias=True, mode="serialization")
    return {"$schema": _DRAFT, **schema, "title": f"matrixdoc {name}"}


def wiring_schema() -> dict[str, Any]:
    """The JSON Schema of a resolved wiring, made from its own types."""
    schema = TypeAdapter(Wiring).json_schema(mode="serialization")
    return {"$schema": _DRAFT, **schema, "title": "matrixdoc show"}


def wiring_json(wiring: Wiring) -> str:
    """A resolved wiring as JSON text."""
    return TypeAdapter(Wiring).dump_json(wiring, indent=2).decode()
