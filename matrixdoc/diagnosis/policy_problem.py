"""A repair as a problem of arrays: what may be wrong, what can be done, what that costs.

Hypotheses exclude each other; the last column of every table stands for "none of them". An action
has a table P(outcome | hypothesis). A *check* tells hypotheses apart; a *repair* mends some of
them, and its second outcome, "works again", ends the job. Opening a place and changing the power
state are paid once, by the first action that needs them, and stay: whatever lies behind the same
panel is cheaper afterwards.

:class:`States` is a batch of situations of the person: what is believed, which actions are left,
what is open, whether power is on. :func:`follow` goes one step further in all of them at once.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import numpy.typing as npt

from matrixdoc.diagnosis.policy_actions import Action, Array

Bools = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.intp]

NEGLIGIBLE = 1e-12
"""An outcome less probable than this is taken as impossible."""
ENDLESS = 1e9
"""Stands for the cost of a job that can neither be finished nor given up."""
MOST_PLACES = 10
TELLING = 1e-9
"""A check with less information than this (bits) tells nothing."""
BLOCK = 200_000
"""Multiplications in one block of a matrix product."""
SAME_BELIEF = 9
"""Decimal places to which beliefs are compared."""


@dataclass(frozen=True)
class Problem:
    """Everything that a policy needs to know.

    ``probability``: (hypotheses + 1,), the last entry is "none of them"; sums to 1.
    ``place_minutes``: minutes to open each place that is not open yet. ``power_minutes``: minutes to
    switch off (unplugged, discharged) and to switch on. ``give_up``: minutes that it costs to stop
    and start anew; infinite if the job has to be done. ``still_due``: (hypotheses + 1,) minutes that
    giving up costs besides, since it spares no repair of a cause that is on the list. ``identify``: the
    job ends as soon as one hypothesis is left (a pure test sequence) instead of with a repair.
    ``hazard``: (hypotheses + 1,) how surely each does harm under power; above ``hazard_limit`` no action
    with ``risk`` is allowed.
    """

    probability: Array
    actions: tuple[Action, ...]
    place_minutes: Mapping[str, float] = field(default_factory=dict)
    power_minutes: tuple[float, float] = (0.0, 0.0)
    power: bool = True
    give_up: float = np.inf
    still_due: Array | None = None
    identify: bool = False
    hazard: Array | None = None
    hazard_limit: float = 1.0

    @cached_property
    def stopping(self) -> Array:
        """(hypotheses + 1,) minutes of giving up under each hypothesis, finite."""
        found = np.full(len(self.probability), min(self.give_up, ENDLESS))
        return found if self.still_due is None else found + self.still_due

    @cached_property
    def shared(self) -> tuple[str, ...]:
        """Closed places that actions need, each paid once. Beyond :data:`MOST_PLACES` the quickest to
        open are left out: those are paid each time.
        """
        wanted = {p for a in self.actions for p in a.places}
        closed = [p for p, minutes in self.place_minutes.items() if p in wanted and minutes > 0.0]
        kept = sorted(closed, key=lambda p: -self.place_minutes[p])[:MOST_PLACES]
        return tuple(p for p in closed if p in kept)

    @cached_property
    def opens(self) -> Ints:
        """(actions,) bits of the shared places that each action needs open."""
        bit = {place: 2 << number for number, place in enumerate(self.shared)}
        return np.array([sum(bit.get(p, 0) for p in set(a.places)) for a in self.actions], dtype=np.intp)

    @cached_property
    def prices(self) -> Array:
        """(set-ups, actions) minutes of each action from each set-up (see :class:`States`), with
        whatever has to be opened or switched first; a repair's include switching on again to see
        whether it helped.
        """
        off, on = self.power_minutes
        setups = np.arange(2 << len(self.shared))
        powered = (setups & 1) == 1
        found = np.zeros((len(setups), len(self.actions)))
        for number, action in enumerate(self.actions):
            minutes = np.full(len(setups), action.minutes)
            for bit, place in enumerate(self.shared):
                if place in action.places:
                    minutes += np.where(setups & (2 << bit), 0.0, self.place_minutes[place])
            minutes += sum(self.place_minutes.get(p, 0.0) for p in action.places if p not in self.shared)
            if action.power is not None:
                due = on if action.power else off
                minutes += np.where(powered == action.power, 0.0, due)
                if action.power_after not in (None, action.power):
                    minutes += on if action.power_after else off
            found[:, number] = minutes
        return found

    @cached_property
    def after(self) -> Ints:
        """(set-ups, actions) the set-up that each action leaves."""
        setups = np.arange(2 << len(self.shared))[:, None] | self.opens[None, :]
        for number, action in enumerate(self.actions):
            power = action.power if action.power_after is None else action.power_after
            if power is not None:
                setups[:, number] = (setups[:, number] & ~1) | int(power)
        return setups

    @cached_property
    def starts(self) -> Ints:
        """(actions,) first column of each action in :attr:`stacked`."""
        sizes = [len(a.table) for a in self.actions]
        return np.concatenate([[0], np.cumsum(sizes)[:-1]]).astype(np.intp)

    @cached_property
    def owner(self) -> Ints:
        """(all outcomes,) the action of each stacked outcome."""
        return np.repeat(np.arange(len(self.actions)), [len(a.table) for a in self.actions])

    @cached_property
    def stacked(self) -> Array:
        """(hypotheses + 1, all outcomes) every table beside the others."""
        return np.concatenate([a.table for a in self.actions], axis=0).T.copy()

    @cached_property
    def ends(self) -> Bools:
        """(all outcomes,) whether the outcome ends the job."""
        found = np.zeros(self.stacked.shape[1], dtype=bool)
        for start, action in zip(self.starts, self.actions, strict=True):
            found[start + len(action.table) - 1] = action.mends
        return found

    @cached_property
    def noise(self) -> Array:
        """(hypotheses + 1, actions) entropy in bits of the outcome under each hypothesis."""
        table = self.stacked
        bits = -table * np.log2(np.where(table > 0.0, table, 1.0))
        return np.add.reduceat(bits, self.starts, axis=1)

    @cached_property
    def success(self) -> Array:
        """(hypotheses + 1, actions) chance that an action cures; 0 for checks."""
        found = np.zeros((len(self.probability), len(self.actions)))
        for number, action in enumerate(self.actions):
            if action.mends:
                found[:, number] = action.table[-1]
        return found

    @cached_property
    def cures(self) -> Array:
        """(hypotheses + 1, repairs) chance that each repair cures."""
        return np.ascontiguousarray(self.success[:, self.repairs])

    @cached_property
    def cures_plain(self) -> Array:
        """(hypotheses + 1, repairs) ``s log2 s`` of :attr:`cures`."""
        return self.cures * np.log2(np.where(self.cures > 0.0, self.cures, 1.0))

    @cached_property
    def repairs(self) -> Ints:
        """Indices of the repairs."""
        return np.array([n for n, a in enumerate(self.actions) if a.mends], dtype=np.intp)

    @cached_property
    def uncertain(self) -> Bools:
        """(actions,) whether an action's result is not certain under every hypothesis."""
        return np.array([bool(((a.table > 0.0) & (a.table < 1.0)).any()) for a in self.actions], dtype=bool)

    @property
    def held_back(self) -> bool:
        """Whether the hazard forbids actions with ``risk`` at the start."""
        hazard = self.hazard
        return hazard is not None and float(self.probability @ hazard) >= self.hazard_limit

    @cached_property
    def is_repair(self) -> Bools:
        """(actions,) whether an action is a repair."""
        return np.array([a.mends for a in self.actions], dtype=bool)

    @cached_property
    def padded(self) -> tuple[Array, Bools]:
        """Tables as (actions, most outcomes, hypotheses + 1), and which entries are real."""
        most = max(len(a.table) for a in self.actions)
        tables = np.zeros((len(self.actions), most, len(self.probability)))
        ends = np.zeros((len(self.actions), most), dtype=bool)
        for number, action in enumerate(self.actions):
            tables[number, : len(action.table)] = action.table
            ends[number, len(action.table) - 1] = action.mends
        return tables, ends

    @cached_property
    def risky(self) -> Bools:
        """(actions,) actions that the hazard forbids."""
        return np.array([a.risk for a in self.actions], dtype=bool)

    def start(self) -> States:
        """The one state in which the job begins."""
        return States(
            np.asarray(self.probability, dtype=float)[None, :].copy(),
            np.array([[a.tries for a in self.actions]], dtype=np.int8),
            np.array([int(self.power)], dtype=np.intp),
        )


@dataclass(frozen=True)
class States:
    """A batch of N states: ``belief`` (N, hypotheses + 1), ``left`` (N, actions) tries, ``setup`` (N,)
    bits: the lowest says whether power is on, the others which of the shared places are open.
    """

    belief: Array
    left: npt.NDArray[np.int8]
    setup: Ints

    def __len__(self) -> int:
        return len(self.belief)

    def take(self, rows: Ints | Bools) -> States:
        """These rows only."""
        return States(self.belief[rows], self.left[rows], self.setup[rows])


def joined(batches: Sequence[States]) -> States:
    """Several batches as one."""
    return States(
        np.concatenate([b.belief for b in batches]),
        np.concatenate([b.left for b in batches]),
        np.concatenate([b.setup for b in batches]),
    )


def keys(problem: Problem, states: States) -> list[bytes]:
    """What makes states the same: belief, set-up, and the tries left of what is not certain (a certain
    check tells nothing the second time, a certain repair leaves nothing to mend).
    """
    rounded = np.round(states.belief, SAME_BELIEF) + 0.0
    uncertain = states.left[:, problem.uncertain]
    return [
        b.tobytes() + s.tobytes() + u.tobytes()
        for b, s, u in zip(rounded, states.setup, uncertain, strict=True)
    ]


def costs(problem: Problem, states: States) -> Array:
    """(N, actions) minutes of each action from each state, set-ups that are still due included."""
    result: Array = problem.prices[states.setup]
    return result


def allowed(problem: Problem, states: States) -> Bools:
    """(N, actions) which actions may be done: tries are left and no hazard forbids them.

    A check with ``risk`` needs the hazard to be improbable now; a repair with ``risk`` (power comes on
    to see whether it helped) needs it to be improbable once the repair is done, as long as there is
    another way. Beliefs need not sum to 1.
    """
    free: Bools = states.left > 0
    if problem.hazard is None:
        return free
    belief = states.belief / np.maximum(states.belief.sum(axis=1, keepdims=True), NEGLIGIBLE)
    remaining = product(belief, problem.hazard[:, None] * (1.0 - problem.success))
    safe = free & ~((remaining >= problem.hazard_limit) & problem.risky)
    told = gains(problem, belief) > TELLING
    stuck = np.logical_not(np.any(safe & told, axis=1, keepdims=True))
    result: Bools = safe | (free & stuck & problem.is_repair)
    return result


@dataclass(frozen=True)
class Step:
    """One action done in each of several states. ``states`` are those that go on; ``parent`` (M,)
    the row each came from; ``probability`` (M,) of it, given that row; ``outcome`` (M,) its number.
    """

    states: States
    parent: Ints
    probability: Array
    outcome: Ints


def follow(problem: Problem, states: States, actions: Ints) -> Step:
    """Do ``actions`` (N,), one in each state; jobs that end with an outcome drop out."""
    tables, ends = problem.padded
    joint = tables[actions] * states.belief[:, None, :]
    chance = joint.sum(axis=2)
    parent, outcome = np.nonzero((chance > NEGLIGIBLE) & ~ends[actions])
    probability = chance[parent, outcome]
    belief = joint[parent, outcome] / probability[:, None]
    done = actions[parent]
    left = states.left[parent].copy()
    left[np.arange(len(done)), done] -= 1
    setup = problem.after[states.setup[parent], done]
    return Step(States(belief, left, setup), parent, probability, outcome)


def every_step(problem: Problem, state: States, actions: Ints) -> Step:
    """From one state: each of ``actions``. ``parent`` is then the position in ``actions``."""
    rows = np.zeros(len(actions), dtype=np.intp)
    return follow(problem, state.take(rows), actions)


def product(left: Array, right: Array) -> Array:
    """The matrix product, in blocks small enough that no library starts threads for them: starting
    threads for a few microseconds of work costs far more than it gains on a busy machine.
    """
    rows = max(1, BLOCK // max(1, right.size))
    if len(left) <= rows:
        small: Array = left @ right
        return small
    found = np.empty((len(left), right.shape[1]))
    for start in range(0, len(left), rows):
        np.matmul(left[start : start + rows], right, out=found[start : start + rows])
    return found


def entropy(belief: Array) -> Array:
    """(N,) bits."""
    result: Array = -(belief * np.log2(np.where(belief > 0.0, belief, 1.0))).sum(axis=1)
    return result


def gains(problem: Problem, belief: Array) -> Array:
    """(N, actions) information of each action in bits: the expected drop of entropy, where a job
    that ended counts as certain.

    I(H; O) = H(O) - sum_h P(h) H(O | h); for a repair, what was uncertain about a mended cause
    needs no answer any more, so its entropy given "works again" counts too.
    """
    chance = product(belief, problem.stacked)
    bits = -chance * np.log2(np.where(chance > 0.0, chance, 1.0))
    found = np.add.reduceat(bits, problem.starts, axis=1) - product(belief, problem.noise)
    if len(problem.repairs):
        success = problem.cures
        plain = belief * np.log2(np.where(belief > 0.0, belief, 1.0))
        inner = problem.cures_plain
        cured = product(belief, success)
        total = cured * np.log2(np.where(cured > 0.0, cured, 1.0))
        found[:, problem.repairs] += total - product(plain, success) - product(belief, inner)
    result: Array = np.maximum(found, 0.0)
    return result
