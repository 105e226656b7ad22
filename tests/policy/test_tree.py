"""The fault tree costs what simulating its plan costs, cause by cause."""

from __future__ import annotations

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from matrixdoc.diagnosis.policy_actions import check, repair
from matrixdoc.diagnosis.policy_bases import BASES, LEAST_WEIGHT, base_values, choose, repair_picks
from matrixdoc.diagnosis.policy_problem import TELLING, Problem, States
from matrixdoc.diagnosis.tree import GrownTree, grow
from tests.policy.families import FAMILIES
from tests.policy.walk import policy_cost

Vector = np.ndarray


def one(problem: Problem, state: States, action: int) -> tuple[float, list[tuple[Vector, States | None]]]:
    """One action in one state: its minutes, and P(outcome | cause) with the state after it."""
    a = problem.actions[action]
    found: list[tuple[Vector, States | None]] = []
    left = state.left.copy()
    left[0, action] -= 1
    setup = problem.after[state.setup, action]
    for number, row in enumerate(a.table):
        ended = a.mends and number == len(a.table) - 1
        joint = row * state.belief[0]
        if joint.sum() <= 1e-12:
            continue
        found.append((row, None if ended else States((joint / joint.sum())[None, :], left, setup)))
    return float(problem.prices[state.setup[0], action]), found


def simulate(problem: Problem, tree: GrownTree, cause: int) -> float:
    """Mean minutes of a person who follows the tree on a machine with this cause."""
    reached = np.zeros(len(problem.probability))
    reached[cause] = 1.0

    def walk(number: int, state: States, share: float) -> float:
        step = tree.steps[number]
        if share <= 0.0:
            return 0.0
        if step.kind == "give up":
            return share * float(stopping(problem)[cause])
        if step.kind == "done":
            return 0.0
        if step.kind == "cut":
            return share * float(base_minutes(problem, state)[cause])
        minutes, after = one(problem, state, step.action)
        total = share * minutes
        by_outcome = {
            o: child for _, child, data in tree.graph.out_edges(number, data=True) for o in data["outcomes"]
        }
        table = problem.actions[step.action].table
        for row, onward in after:
            outcome = next(k for k, r in enumerate(table) if r is row or np.array_equal(r, row))
            if onward is not None:
                total += walk(by_outcome[outcome], onward, share * float(row[cause]))
        return total

    return walk(1, problem.start(), 1.0)


def stopping(problem: Problem) -> Vector:
    """Minutes of giving up under each cause."""
    due = np.zeros(len(problem.probability)) if problem.still_due is None else problem.still_due
    return min(problem.give_up, 1e9) + due


def base_minutes(problem: Problem, state: States) -> Vector:
    """Minutes under each cause of going on by the base policy that is cheapest on average."""
    plans = [_base(problem, state, base, 1.0) for base in BASES]
    if np.isfinite(problem.give_up):
        plans.append(stopping(problem))
    return min(plans, key=lambda plan: float(state.belief[0] @ plan))


def _base(problem: Problem, state: States, base, weight: float) -> Vector:
    if base == "probability" and len(problem.repairs):
        return _repairs(problem, state)
    ending = _repairs(problem, state) if not problem.identify else None
    stuck = state.belief.max() >= 1.0 - TELLING
    pick = (
        -1
        if stuck or (weight < LEAST_WEIGHT and not problem.identify)
        else int(choose(problem, state, base)[0])
    )
    if pick < 0:
        return ending if ending is not None else np.zeros(len(problem.probability))
    minutes, after = one(problem, state, pick)
    plan = np.full(len(problem.probability), minutes)
    for row, onward in after:
        if onward is not None:
            share = float(row @ state.belief[0])
            plan = plan + row * _base(problem, onward, base, weight * share)
    if ending is not None and state.belief[0] @ ending <= state.belief[0] @ plan:
        return ending
    return plan


def _repairs(problem: Problem, state: States) -> Vector:
    """Repairs by probability over cost, stopped where that is cheapest on average."""
    stop = stopping(problem)
    alive = np.ones(len(problem.probability))
    spent = np.zeros(len(problem.probability))
    plans = [alive * stop]
    now = state
    while True:
        mass = float(alive @ state.belief[0])
        at = States((alive * state.belief[0])[None, :], now.left, now.setup)
        pick, price = repair_picks(problem, at)
        if pick[0] < 0 or mass <= 1e-12:
            break
        action = int(problem.repairs[pick[0]])
        after = alive * (1.0 - problem.success[:, action])
        rest = float(after @ state.belief[0])
        left_over = np.where(rest > 1e-12, after, 0.0)
        if float(((alive - left_over) * stop) @ state.belief[0]) <= price[0, pick[0]] * mass:
            break
        spent = spent + alive * price[0, pick[0]]
        alive = after if rest > 1e-12 else np.where(state.belief[0] > 0.0, 0.0, after)
        left = now.left.copy()
        left[0, action] -= 1
        now = States(state.belief, left, problem.after[now.setup, action])
        plans.append(spent + alive * stop)
    return min(plans, key=lambda plan: float(plan @ state.belief[0]))


@given(
    st.sampled_from(sorted(FAMILIES)),
    st.integers(min_value=0, max_value=10**6),
    st.integers(min_value=0, max_value=6),
    st.sampled_from([0.0, 0.02, 0.2]),
)
@settings(max_examples=40)
def test_a_tree_costs_what_simulating_it_costs(name: str, seed: int, depth: int, mass: float) -> None:
    problem = FAMILIES[name](np.random.default_rng([77, seed]))
    tree = grow(problem, depth, mass)
    causes = np.nonzero(problem.probability > 0.0)[0]
    mean = sum(problem.probability[c] * simulate(problem, tree, int(c)) for c in causes)
    assert tree.minutes == pytest.approx(mean, rel=1e-9)
    assert nx.is_directed_acyclic_graph(tree.graph)
    assert set(tree.graph.nodes) == set(tree.steps) == set(range(1, len(tree.steps) + 1))
    assert all(s.depth <= depth + 1 for s in tree.steps.values())


@pytest.mark.parametrize("name", sorted(FAMILIES))
def test_a_whole_tree_costs_what_the_policy_costs(name: str) -> None:
    problem = FAMILIES[name](np.random.default_rng([78, 3]))
    tree = grow(problem, 100, 0.0)
    assert tree.minutes == pytest.approx(policy_cost(problem), rel=1e-9)
    assert all(s.kind != "cut" for s in tree.steps.values())
    # Whoever comes anywhere comes through the root; every step is reached as often as it is left.
    for number, step in tree.steps.items():
        came = sum(
            tree.steps[p].probability * d["probability"] for p, _, d in tree.graph.in_edges(number, data=True)
        )
        assert step.probability == pytest.approx(1.0 if number == 1 else came, abs=1e-9)


def test_branches_that_come_to_the_same_state_meet_again() -> None:
    # Causes 0 and 2 look alike or 1 and 2 do, by chance; once the cheap direct test has cleared 0, or 1,
    # cause 2 is left on both branches, and its repair is one step with two ways to it.
    look = check("look", 0.1, np.array([[1.0, 0.0, 0.5, 0.5], [0.0, 1.0, 0.5, 0.5]]))
    direct = tuple(check(f"test {h}", 0.5, np.stack([1.0 - np.eye(4)[h], np.eye(4)[h]])) for h in range(2))
    mends = tuple(repair(f"mend {h}", 30.0, np.eye(4)[h]) for h in range(3))
    problem = Problem(np.array([0.3, 0.3, 0.4, 0.0]), (look, *direct, *mends))
    tree = grow(problem, 50, 0.0)
    assert tree.steps[1].action == 0
    (last,) = [n for n, s in tree.steps.items() if s.kind == "do" and s.belief[2] == pytest.approx(1.0)]
    assert tree.graph.in_degree(last) == 2
    assert tree.steps[last].probability == pytest.approx(0.4)
    assert tree.minutes == pytest.approx(0.1 + 0.5 + 30.0)


def test_a_cut_branch_is_worth_its_base_policy() -> None:
    problem = FAMILIES["series path, perfect"](np.random.default_rng([79, 1]))
    stump = grow(problem, 0, 0.0)
    values = [float(base_values(problem, problem.start(), np.ones(1), b, 10_000)[0][0]) for b in BASES]
    assert stump.minutes == pytest.approx(min(values))
    assert len(stump.steps) == 1
