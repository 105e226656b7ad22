"""Published test-sequencing examples, through the policy's own functions."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from matrixdoc.diagnosis.policy import base_cost, decide
from matrixdoc.diagnosis.policy_actions import check, repair
from matrixdoc.diagnosis.policy_bases import repair_run
from matrixdoc.diagnosis.policy_problem import Problem, States, every_step
from tests.policy.optimum import Optimum
from tests.policy.walk import policy_cost


def signature_problem(
    probability: list[float], signatures: list[str], minutes: list[float] | None = None
) -> Problem:
    """States with pass-fail signatures over tests: the job is to find out which state it is."""
    tests = len(signatures[0])
    actions = []
    for t in range(tests):
        fails = np.array([float(s[t]) for s in signatures] + [0.0])
        cost = 1.0 if minutes is None else minutes[t]
        actions.append(check(f"test {t + 1}", cost, np.stack([1.0 - fails, fails])))
    return Problem(np.array([*probability, 0.0]), tuple(actions), identify=True)


def test_six_states_and_five_tests_cost_exactly_2_18() -> None:
    # K. R. Pattipati and M. G. Alexandridis, "Application of heuristic search and information theory
    # to sequential fault diagnosis", IEEE Trans. SMC 20 (1990) 872-887: optimal expected cost 2.18
    # (inputs and output from memory, recomputed by the exact solver below).
    problem = signature_problem(
        [0.70, 0.01, 0.02, 0.10, 0.05, 0.12], ["00000", "01001", "00110", "10011", "11000", "11110"]
    )
    assert Optimum(problem).start() == pytest.approx(2.18, abs=1e-12)
    assert policy_cost(problem) == pytest.approx(2.18, abs=1e-12)
    # One-step information gain misses it (2.86, own computation).
    assert base_cost(problem, "information") == pytest.approx(2.86, abs=1e-12)


@pytest.mark.parametrize("seed", range(20))
def test_probability_over_cost_is_the_best_order_of_six_repairs(seed: int) -> None:
    # J. B. Kadane and H. A. Simon, Annals of Statistics 5 (1977) 237-255: for independent actions and
    # a single fault, descending probability over cost is optimal; brute force over all 720 orders.
    rng = np.random.default_rng([1977, seed])
    p = rng.dirichlet(np.ones(6))
    minutes = rng.uniform(1.0, 20.0, size=6)
    best = min(
        sum(p[h] * sum(minutes[list(order[: k + 1])]) for k, h in enumerate(order))
        for order in itertools.permutations(range(6))
    )
    actions = tuple(repair(f"mend {h}", float(minutes[h]), np.eye(7)[h]) for h in range(6))
    problem = Problem(np.append(p, 0.0), actions)
    assert repair_run(problem, problem.start())[0] == pytest.approx(best, abs=1e-9)
    assert base_cost(problem, "probability") == pytest.approx(best, abs=1e-9)
    assert policy_cost(problem) == pytest.approx(best, abs=1e-9)
    assert decide(problem, problem.start())[0].action == int(np.argmax(p / minutes))


def test_circuit_board_elimination() -> None:
    # A. Balakrishnan and T. Semmelbauer, "Circuit diagnosis support system for electronics assembly
    # operations", Decision Support Systems 25 (1999), tables 1 and 2: defects 1 to 5 over tests 1 to 4,
    # defect 3 present.
    problem = signature_problem([0.2] * 5, ["0000", "0001", "0011", "0111", "1111"])

    def suspects(state: States) -> set[int]:
        return {int(h) + 1 for h in np.nonzero(state.belief[0] > 0.0)[0]}

    def after(state: States, test: int) -> States:
        step = every_step(problem, state, np.array([test]))
        seen = int(problem.actions[test].table[1, 2])
        return step.states.take(np.nonzero(step.outcome == seen)[0])

    state = problem.start()
    left = [suspects(state)]
    for test in range(3):
        state = after(state, test)
        left.append(suspects(state))
    assert left == [{1, 2, 3, 4, 5}, {1, 2, 3, 4}, {1, 2, 3}, {3}]
    # Starting with test 2, only tests 2 and 3 are needed; the policy finds that by itself.
    state, used = problem.start(), []
    while choices := decide(problem, state):
        used.append(choices[0].action + 1)
        state = after(state, choices[0].action)
    assert used == [2, 3]
    assert suspects(state) == {3}
