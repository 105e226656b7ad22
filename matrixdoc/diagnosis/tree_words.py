"""A fault tree in words: the unrolled policy with this machine's checks, readings and cautions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import networkx as nx

from matrixdoc.checks.situation import Check
from matrixdoc.checks.wording import finding_words, outcome_words
from matrixdoc.definition.errors import MatrixdocError
from matrixdoc.diagnosis.engine import DONE_WITH, SUSPECTS_CONSIDERED, Engine, Told
from matrixdoc.diagnosis.explain import fault_words
from matrixdoc.diagnosis.ranking import Option
from matrixdoc.diagnosis.suspects import Suspect
from matrixdoc.diagnosis.tree import GrownTree, StepKind, TreeStep, grow, reading_order

NOTE = (
    "Fault tree is used here as technicians use it: what to check, and what to check then. IEC 61025 "
    "uses the word for something else, the analysis of an event by AND and OR."
)
GIVE_UP = "nothing is left that is worth its minutes: add what was found to the report and begin anew"
SHOWN_SUSPECTS = 3
LEAST_SHOWN = 0.02


class NoComplaintError(MatrixdocError):
    """A fault tree was asked for, and nothing that was reported is wrong."""


@dataclass(frozen=True, slots=True)
class Branch:
    """What may be seen after a step: in words, how probable, and the step to go on with (0: done)."""

    words: tuple[str, ...]
    probability: float
    target: int


@dataclass(frozen=True, slots=True)
class PlanStep:
    """One step for people. ``minutes`` it takes now, set-ups included; ``finish``: expected minutes
    from here to the end; ``probability`` that it is reached; ``suspects``: the likeliest causes then.
    """

    number: int
    kind: StepKind
    title: str
    key: str
    power: bool
    minutes: float
    finish: float
    probability: float
    depth: int
    set_up: tuple[str, ...]
    cautions: tuple[str, ...]
    branches: tuple[Branch, ...]
    suspects: tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class FaultTree:
    """The plan for one complaint. ``seen``: the findings it starts from; ``minutes``: its expected
    cost; ``graph``: a networkx DiGraph over step numbers, the root is 1; ``complaint`` of
    ``complaints``.
    """

    machine: str
    seen: tuple[str, ...]
    minutes: float
    depth: int
    mass: float
    complaint: int
    complaints: int
    steps: tuple[PlanStep, ...]
    graph: nx.DiGraph[int] = field(repr=False, compare=False)

    def step(self, number: int) -> PlanStep:
        """The step of that number."""
        return self.steps[number - 1]


def fault_tree(engine: Engine, told: Told, depth: int, mass: float, complaint: int = 1) -> FaultTree:
    """The policy for one complaint, unrolled.

    Args:
        engine: the machine.
        told: the findings so far.
        depth: steps from the root to the deepest one.
        mass: branches less probable than this are not drawn.
        complaint: which complaint, counted from 1, the likeliest first.

    Raises:
        NoComplaintError: nothing that was reported is wrong, or there are fewer complaints.
    """
    jobs = [job for job in engine.jobs(told) if job.still_wrong >= DONE_WITH]
    if not jobs:
        raise NoComplaintError("nothing in the report needs a repair: a healthy machine shows the same")
    if not 1 <= complaint <= len(jobs):
        many = "one complaint" if len(jobs) == 1 else f"{len(jobs)} complaints"
        raise NoComplaintError(f"there is no complaint {complaint}: the report holds {many}")
    job = jobs[complaint - 1]
    problem, options = engine.plan(job, told)
    grown = grow(problem, depth, mass)
    suspects = job.suspects[:SUSPECTS_CONSIDERED]
    seen = tuple(finding_words(engine.wiring, told.findings[n]) for n in job.complaint.findings)
    steps = tuple(
        _step(engine, grown, grown.steps[number], options, suspects) for number in reading_order(grown.graph)
    )
    return FaultTree(
        engine.wiring.title,
        seen,
        grown.minutes,
        depth,
        mass,
        complaint,
        len(jobs),
        steps,
        grown.graph,
    )


def _step(
    engine: Engine, grown: GrownTree, step: TreeStep, options: Sequence[Option], suspects: Sequence[Suspect]
) -> PlanStep:
    model = engine.model
    named = [
        (" together with ".join(fault_words(model, f) for f in suspect.faults), share)
        for suspect, share in zip(suspects, step.belief, strict=False)
    ]
    named.append(("none of the listed causes", step.belief[-1]))
    named.sort(key=lambda n: -n[1])
    likely = tuple(n for n in named[:SHOWN_SUSPECTS] if n[1] >= LEAST_SHOWN)
    option = options[step.action] if step.action >= 0 else None
    check: Check | None = option.check if option is not None else None
    return PlanStep(
        number=step.number,
        kind=step.kind,
        title=check.title if check is not None else GIVE_UP,
        key=check.key if check is not None else "",
        power=check is None or (check.kind != "act" and check.situation.power),
        minutes=step.minutes,
        finish=step.finish,
        probability=step.probability,
        depth=step.depth,
        set_up=check.set_up if check is not None else (),
        cautions=check.cautions if check is not None else (),
        branches=_branches(engine, grown, step, option) if step.kind == "do" and option is not None else (),
        suspects=likely,
    )


def _branches(engine: Engine, grown: GrownTree, step: TreeStep, option: Option) -> tuple[Branch, ...]:
    """What may be seen, most probable first."""
    found = []
    for _, child, data in grown.graph.out_edges(step.number, data=True):
        if option.check.kind == "act":
            words: tuple[str, ...] = ("still the same",)
        else:
            outcomes = option.tabulated[0]
            look, held = option.check.look, option.check.situation.held
            told = (outcome_words(engine.wiring, look, outcomes[o], held) for o in data["outcomes"])
            words = tuple(dict.fromkeys(told))
        found.append(Branch(words, data["probability"], child))
    ended = 1.0 - sum(b.probability for b in found)
    if option.check.kind == "act" and ended > 0.0:
        found.append(Branch(("works again",), ended, 0))
    return tuple(sorted(found, key=lambda b: (-b.probability, b.target)))
