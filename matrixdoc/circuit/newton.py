"""Direct-current operating points, many circuits of one shape at a time.

Every branch is a resistance, a junction and a source in series:
``v - emf = R i + N Vt ln(1 + i / Is)``. Solved for the current with the Wright omega function
(omega + ln omega = z), as in R. M. Corless and D. J. Jeffrey, "The Wright omega function" (2002):
``i = (N Vt / R) omega(z) - Is`` with ``z = ln(Is R / (N Vt)) + (v + Is R) / (N Vt)``.
With the incidence matrix A the balance at each net is ``f = A' i(A x - emf) + g_min x``, its slope
``J = A' diag(di/dv) A + g_min I``. Every branch current rises with its voltage, so f is the slope
of a convex function and Newton steps with a line search always come down to the one solution.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

BOLTZMANN_OVER_CHARGE = 1.380649e-23 / 1.602176634e-19
"""Volts per kelvin (SI 2019 exact constants)."""
THERMAL_V = BOLTZMANN_OVER_CHARGE * 300.15
"""Vt at 27 C, the usual temperature of device models: 25.865 mV."""
G_MIN = 1e-12
"""Conductance from every net to ground, siemens: the stock simulator's default g_min."""
STEPS = 60
SEARCH_PASSES = 8
VOLT_TOLERANCE = 1e-9
ROUNDING = 1e-15
BATCH_NUMBERS = 2e6
"""Entries of the Jacobians of one batch, 16 MB."""

BranchKey = tuple[int, int, float, float, float, float]
"""(net, net, ohm, saturation_a, emission, emf_v); net ``n`` of an n-net problem is the 0 V boundary."""


@dataclass(frozen=True, slots=True)
class Problem:
    """A reduced circuit: number of unknown nets and its branches. Equal problems are one."""

    nets: int
    branches: tuple[BranchKey, ...]


@dataclass(frozen=True, slots=True)
class Solution:
    """Volts of the nets, amperes and slopes' end state of the branches, and whether it converged."""

    volts: tuple[float, ...]
    amps: tuple[float, ...]
    converged: bool


def wright_omega(z: Array) -> Array:
    """The omega with ``omega + ln(omega) = z`` for real z, to about machine precision.

    Start: ``z - ln z`` above 1, ``e^z / (1 + e^z / 1.5)`` below; then three steps of fourth order
    (F. N. Fritsch, R. E. Shafer, W. P. Crowley, Communications of the ACM 16 (1973), 123). Below
    -20 the series ``e^z - e^2z`` is exact to rounding.
    """
    low = z < -20.0
    below = np.exp(np.minimum(z, 1.0))
    y = np.where(low, 0.0, z)
    w = np.where(y > 1.0, y - np.log(np.maximum(y, 1.0)), np.where(low, 1.0, below / (1.0 + below / 1.5)))
    for _ in range(3):
        r = y - w - np.log(w)
        t = 1.0 + w
        u = t * (t + 2.0 * r / 3.0)
        w = w * (1.0 + (r / t) * (u - 0.5 * r) / (u - r))
    return np.where(low, below * (1.0 - below), w)


def branch_law(v: Array, ohm: Array, saturation: Array, emission: Array) -> tuple[Array, Array]:
    """Current and slope of branches at ``v`` volts (source already taken off); equal shapes."""
    junction = saturation > 0.0
    if not junction.any():
        return v / ohm, 1.0 / ohm
    scale = np.where(junction, emission, 1.0) * THERMAL_V
    sat = np.where(junction, saturation, 1.0)
    w = wright_omega(np.log(sat * ohm / scale) + (v + sat * ohm) / scale)
    current = np.where(junction, scale / ohm * w - sat, v / ohm)
    slope = np.where(junction, w / (1.0 + w) / ohm, 1.0 / ohm)
    return current, slope


def solve(problems: Sequence[Problem]) -> list[Solution]:
    """Solve problems, batched by shape (nets, branches); a failure to converge is a result."""
    shapes: dict[tuple[int, int], list[int]] = {}
    for number, problem in enumerate(problems):
        shapes.setdefault((problem.nets, len(problem.branches)), []).append(number)
    found: dict[int, Solution] = {}
    # Numbers beyond what floats hold end as "not converged", not as warnings or exceptions.
    with np.errstate(all="ignore"):
        for (nets, branches), numbers in shapes.items():
            # Bounded batches: the Jacobians of big islands would otherwise fill the memory.
            size = max(1, int(BATCH_NUMBERS // max(1, nets * nets + 4 * branches)))
            for start in range(0, len(numbers), size):
                chosen = numbers[start : start + size]
                found.update(zip(chosen, _solve_shape([problems[n] for n in chosen], nets), strict=True))
    return [found[number] for number in range(len(problems))]


@dataclass(frozen=True, slots=True)
class _Batch:
    """Circuits of one shape: (circuits, branches) each. Net ``nets`` is the boundary, at 0 V.

    ``first``, ``second``: net of each end; ``ends``: places of both ends in the flattened nets of all
    circuits; ``entries``: places that the slope of each branch has in the flattened Jacobians.
    """

    nets: int
    first: NDArray[np.intp]
    second: NDArray[np.intp]
    ends: NDArray[np.intp]
    entries: NDArray[np.intp]
    ohm: Array
    saturation: Array
    emission: Array
    emf: Array

    @staticmethod
    def of(nets: int, first: NDArray[np.intp], second: NDArray[np.intp], values: tuple[Array, ...]) -> _Batch:
        """``values``: ohm, saturation, emission, emf."""
        size = nets + 1
        offset = np.arange(len(first))[:, None] * size
        a, b = offset + first, offset + second
        ends = np.concatenate((a.ravel(), b.ravel()))
        entries = np.concatenate(
            [
                (row * size + column).ravel()
                for row, column in ((a, first), (b, second), (a, second), (b, first))
            ]
        )
        return _Batch(nets, first, second, ends, entries, *values)

    def rows(self, chosen: NDArray[np.intp]) -> _Batch:
        values = (self.ohm, self.saturation, self.emission, self.emf)
        return _Batch.of(
            self.nets, self.first[chosen], self.second[chosen], tuple(value[chosen] for value in values)
        )

    def across(self, x: Array) -> Array:
        """Volts over the branches, sources taken off, at net volts ``x`` (circuits, nets)."""
        padded = np.concatenate((x, np.zeros((len(x), 1))), axis=1)
        over = np.take_along_axis(padded, self.first, 1) - np.take_along_axis(padded, self.second, 1)
        return np.asarray(over - self.emf)

    def currents(self, x: Array) -> tuple[Array, Array]:
        """Branch currents and slopes at net volts ``x`` (circuits, nets)."""
        return branch_law(self.across(x), self.ohm, self.saturation, self.emission)

    def balance(self, x: Array, current: Array) -> Array:
        """Current out of each net, g_min included (circuits, nets)."""
        count, size = len(x), self.nets + 1
        flat = current.ravel()
        out = np.bincount(self.ends, np.concatenate((flat, -flat)), count * size)
        return np.asarray(out.reshape(count, size)[:, : self.nets] + G_MIN * x)

    def jacobian(self, slope: Array) -> Array:
        """Slope of the balance (circuits, nets, nets)."""
        count, size = len(slope), self.nets + 1
        flat = slope.ravel()
        whole = np.concatenate((flat, flat, -flat, -flat))
        full = np.asarray(np.bincount(self.entries, whole, count * size * size), dtype=np.float64)
        result: Array = full.reshape(count, size, size)[:, : self.nets, : self.nets]
        diagonal = np.arange(self.nets)
        result[:, diagonal, diagonal] += G_MIN
        return result


def _solve_shape(problems: list[Problem], nets: int) -> list[Solution]:
    branches = len(problems[0].branches)
    if branches == 0:
        return [Solution((0.0,) * nets, (), True) for _ in problems]  # noqa: FBT003
    table = np.array([problem.branches for problem in problems], dtype=np.float64)
    count = len(problems)
    first, second = table[:, :, 0].astype(np.intp), table[:, :, 1].astype(np.intp)
    batch = _Batch.of(nets, first, second, (table[:, :, 2], table[:, :, 3], table[:, :, 4], table[:, :, 5]))
    x, converged = _newton(batch) if nets else (np.zeros((count, 0)), np.ones(count, dtype=np.bool_))
    amps, _ = batch.currents(x)
    converged &= np.isfinite(amps).all(axis=1) & np.isfinite(x).all(axis=1)
    return [
        Solution(tuple(volts), tuple(row), bool(good))
        for volts, row, good in zip(x.tolist(), amps.tolist(), converged, strict=True)
    ]


def _newton(batch: _Batch) -> tuple[Array, NDArray[np.bool_]]:
    """Net volts (circuits, nets) and which circuits converged; those that have are left out."""
    count, nets = len(batch.first), batch.nets
    x = np.zeros((count, nets))
    converged = np.zeros(count, dtype=np.bool_)
    linear: NDArray[np.bool_] = np.asarray(batch.saturation.max(axis=1) <= 0.0, dtype=np.bool_)
    todo = np.arange(count)
    now = batch
    for _ in range(STEPS):
        here = x[todo]
        current, slope = now.currents(here)
        f = now.balance(here, current)
        step = _newton_step(now.jacobian(slope), f)
        step *= _line_search(now, here, f, step)[:, None]
        x[todo] = here + step
        # The residual floor: what rounding of the branch currents leaves at a net.
        floor = ROUNDING * np.sum(np.abs(current) + np.abs(now.emf) / now.ohm, axis=1) + 1e-18
        small: NDArray[np.bool_] = np.asarray(np.abs(step).max(axis=1) < VOLT_TOLERANCE, dtype=np.bool_)
        small |= (np.abs(f).max(axis=1) <= floor) | linear[todo]
        converged[todo[small]] = True
        if small.any():
            todo = todo[~small]
            if not todo.size:
                break
            now = batch.rows(todo)
    return x, converged


def _newton_step(jacobian: Array, f: Array) -> Array:
    try:
        return np.asarray(-np.linalg.solve(jacobian, f[:, :, None])[:, :, 0], dtype=np.float64)
    except np.linalg.LinAlgError:
        # One singular circuit spoils the batch: a least-squares step for all of them.
        inverse = np.linalg.pinv(np.nan_to_num(jacobian))
        return np.asarray(-(inverse @ np.nan_to_num(f)[:, :, None])[:, :, 0], dtype=np.float64)


def _line_search(batch: _Batch, here: Array, f: Array, step: Array) -> Array:
    """Fraction of each Newton step to take: the slope of the convex function along it, near 0.

    A whole step is taken when the slope at its end is not larger than at its start; otherwise the
    zero of the slope is bracketed and cut by regula falsi (a few passes are enough to go on).
    """
    fraction = np.ones(len(here))
    start = (f * step).sum(axis=1)
    limit = 0.9 * np.abs(start) + 1e-30
    low, high = np.zeros(len(here)), np.ones(len(here))
    slope_low = start.copy()
    for _ in range(SEARCH_PASSES):
        there = here + fraction[:, None] * step
        slope = (batch.balance(there, batch.currents(there)[0]) * step).sum(axis=1)
        far = slope > limit
        short = (slope < -limit) & (fraction < 1.0)
        if not (far | short).any():
            break
        high = np.where(far, fraction, high)
        low = np.where(short, fraction, low)
        slope_low = np.where(short, slope, slope_low)
        width = high - low
        secant = low + width * slope_low / np.where(far, slope_low - slope, -1.0)
        cut = np.clip(secant, low + 0.1 * width, high - 0.1 * width)
        fraction = np.where(far, cut, np.where(short, 0.5 * (low + high), fraction))
    return fraction
