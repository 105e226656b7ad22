"""Following the policy to the end, apart from the tree that the package grows."""

from __future__ import annotations

import numpy as np

from matrixdoc.diagnosis.policy import decide, finished
from matrixdoc.diagnosis.policy_problem import Problem, States, every_step


def policy_cost(problem: Problem) -> float:
    """Expected minutes of deciding anew after every outcome, down to the last one."""
    known: dict[tuple[bytes, bytes, int], float] = {}

    def cost(state: States) -> float:
        key = (state.belief.round(10).tobytes(), state.left.tobytes(), int(state.setup[0]))
        if key not in known:
            known[key] = _cost(state)
        return known[key]

    def _cost(state: States) -> float:
        choices = decide(problem, state)
        due = np.zeros(len(problem.probability)) if problem.still_due is None else problem.still_due
        stop = problem.give_up + float(state.belief[0] @ due)
        if not choices:
            return 0.0 if finished(problem, state) else stop
        if choices[0].finish >= stop:
            return stop
        step = every_step(problem, state, np.array([choices[0].action]))
        onward = sum(p * cost(step.states.take(np.array([i]))) for i, p in enumerate(step.probability))
        return float(choices[0].minutes + onward)

    return cost(problem.start())
