"""The policy unrolled: what to do first, and after each outcome what to do then.

A tree is grown breadth first to a depth, or until a branch is less probable than a given mass, and
branches that come to the same state (the same belief, the same things left to try, the same panels
open) meet again in one step: a directed graph without cycles. A branch that is cut goes on by the
cheapest base policy, whose expected cost is exact, so the expected minutes at the root are those
of a complete plan. They equal what simulating that plan over the hypotheses costs.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import networkx as nx
import numpy as np

from matrixdoc.diagnosis.policy import BUDGET, decide, giving_up, state_values
from matrixdoc.diagnosis.policy_problem import Problem, States, every_step, keys

StepKind = Literal["do", "cut", "give up", "done"]

MOST_STEPS = 400
"""A tree has no more steps than this: the least probable branches are then cut."""


@dataclass(frozen=True)
class TreeStep:
    """One step of the plan.

    ``kind``: ``do`` an action; ``cut``: the plan goes on, but is not drawn; ``give up``: nothing
    that is left is worth its minutes; ``done``: the job has ended. ``minutes`` of the action now,
    set-ups included; ``finish``: expected minutes from here to the end; ``probability`` that the
    step is reached; ``belief`` (hypotheses + 1,) in this state.
    """

    number: int
    kind: StepKind
    action: int
    minutes: float
    finish: float
    probability: float
    depth: int
    belief: tuple[float, ...]


@dataclass(frozen=True)
class GrownTree:
    """``graph``: a networkx DiGraph over step numbers, the root is 1; edges carry ``outcomes`` (numbers
    of the action's outcomes) and ``probability`` (given the step). ``steps`` by number. ``minutes``:
    expected minutes of the whole plan.
    """

    graph: nx.DiGraph[int]
    steps: dict[int, TreeStep]
    minutes: float


class _Growth:
    """The tree while it grows."""

    def __init__(self, problem: Problem, budget: int) -> None:
        self.problem = problem
        self.budget = budget
        self.graph: nx.DiGraph[int] = nx.DiGraph()
        self.steps: dict[int, TreeStep] = {}
        self.states: dict[int, States] = {}
        self.probability: dict[int, float] = {}
        self._known: dict[bytes, int] = {}

    def add(self, state: States, depth: int, share: float) -> int:
        """The step for ``state``: the known one if branches meet here."""
        key = keys(self.problem, state)[0]
        number = self._known.get(key)
        if number is None:
            number = self._known[key] = len(self.steps) + 1
            belief = tuple(float(b) for b in state.belief[0])
            self.steps[number] = TreeStep(number, "cut", -1, 0.0, 0.0, 0.0, depth, belief)
            self.states[number] = state
            self.probability[number] = 0.0
            self.graph.add_node(number)
        self.probability[number] += share
        return number

    def decide(self, number: int, *, cut: bool) -> None:
        """Settle what is done in a step."""
        step, state = self.steps[number], self.states[number]
        choices = decide(self.problem, state, self.budget)
        stop = giving_up(self.problem, state)
        if not choices and self.problem.identify:
            step = replace(step, kind="done")
        elif not choices or choices[0].finish >= stop:
            step = replace(step, kind="give up", finish=stop)
        elif cut:
            finish = float(state_values(self.problem, state, np.ones(1), self.budget)[0][0])
            step = replace(step, kind="cut", action=choices[0].action, finish=finish)
        else:
            step = replace(step, kind="do", action=choices[0].action, minutes=choices[0].minutes)
        self.steps[number] = step

    def spread(self, number: int) -> list[int]:
        """Edges to what comes after each outcome; the outcome that ends the job has none."""
        step = self.steps[number]
        if step.kind != "do":
            return []
        after = every_step(self.problem, self.states[number], np.array([step.action]))
        found = []
        for row in range(len(after.states)):
            share = float(after.probability[row])
            outcomes = (int(after.outcome[row]),)
            state = after.states.take(np.array([row]))
            child = self.add(state, step.depth + 1, self.probability[number] * share)
            if child in self.graph[number]:
                edge = self.graph[number][child]
                outcomes, share = (*edge["outcomes"], *outcomes), edge["probability"] + share
            self.graph.add_edge(number, child, outcomes=outcomes, probability=share)
            found.append(child)
        return found


def grow(problem: Problem, depth: int, mass: float, budget: int = BUDGET) -> GrownTree:
    """Unroll the policy.

    Args:
        problem: the repair.
        depth: steps from the root to the deepest one that is drawn.
        mass: branches less probable than this are cut.
        budget: states that each decision may look at.
    """
    growth = _Growth(problem, budget)
    here = [growth.add(problem.start(), 0, 1.0)]
    level = 0
    while here:
        below: list[int] = []
        for number in sorted(here, key=lambda n: (-growth.probability[n], n)):
            improbable = growth.probability[number] < mass or len(growth.steps) >= MOST_STEPS
            growth.decide(number, cut=level >= depth or improbable)
            # A step that another branch has come to earlier is decided already.
            below.extend(n for n in growth.spread(number) if growth.steps[n].depth == level + 1)
        here, level = list(dict.fromkeys(below)), level + 1
    return _valued(growth.graph, growth.steps)


def _valued(graph: nx.DiGraph[int], steps: dict[int, TreeStep]) -> GrownTree:
    """Costs from the leaves up, probabilities from the root down, numbers in reading order."""
    # Reversed postorder from the root is a topological order: every parent before its children.
    order: list[int] = list(nx.dfs_postorder_nodes(graph, 1))[::-1]
    finish: dict[int, float] = {}
    for number in reversed(order):
        step = steps[number]
        if step.kind == "do":
            finish[number] = step.minutes + sum(
                data["probability"] * finish[child] for _, child, data in graph.out_edges(number, data=True)
            )
        else:
            finish[number] = step.finish
    reached = dict.fromkeys(order, 0.0)
    reached[1] = 1.0
    for number in order:
        for _, child, data in graph.out_edges(number, data=True):
            reached[child] += reached[number] * data["probability"]
    rank = {n: k for k, n in enumerate(reading_order(graph), start=1)}
    renamed = nx.relabel_nodes(graph, rank)
    numbered = {
        rank[n]: replace(s, number=rank[n], finish=finish[n], probability=reached[n])
        for n, s in steps.items()
    }
    return GrownTree(renamed, numbered, finish[1])


def reading_order(graph: nx.DiGraph[int]) -> list[int]:
    """Steps from the root down, the most probable branch first."""
    found: list[int] = []
    seen: set[int] = set()
    stack = [1]
    while stack:
        number = stack.pop()
        if number in seen:
            continue
        seen.add(number)
        found.append(number)
        edges = sorted(graph.out_edges(number, data=True), key=lambda e: (e[2]["probability"], -e[1]))
        stack.extend(child for _, child, _ in edges)
    return found
