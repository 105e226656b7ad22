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
VOLT_TOLERANCE = 1e-9
BIG_LOG = 700.0

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
    """omega with ``omega + ln(omega) = z`` for real z, to about machine precision.

    Start: exp(z) far below 0, z - ln z above, a secant of both between; then two fourth-order steps
    (F. N. Fritsch, R. E. Shafer, W. P. Crowley, Communications of the ACM 16 (1973), 123).
    """
    low = z < -20.0
    exact_low = np.exp(np.minimum(z, 0.0))
    y = np.where(low, 0.0, z)
    w = np.where(y > 1.0, y - np.log(np.maximum(y, 1.0)), np.exp(np.minimum(y, 1.0)) / (1.0 + np.exp(np.minimum(y, 1.0)) / 1.5))
    for _ in range(3):
        r = y - w - np.log(w)
        t = 1.0 + w
        u = t * (t + 2.0 * r / 3.0)
        w = w * (1.0 + (r / t) * (u - 0.5 * r) / (u - r))
    # Below -20 the series omega = e^z - e^2z is exact to rounding.
    return np.where(low, exact_low * (1.0 - exact_low), w)


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


def solve(problems: list[Problem]) -> list[Solution]:
    """Solve problems, batched by shape (nets, branches); a failure to converge is a result."""
    shapes: dict[tuple[int, int], list[int]] = {}
    for number, problem in enumerate(problems):
        shapes.setdefault((problem.nets, len(problem.branches)), []).append(number)
    found: list[Solution | None] = [None] * len(problems)
    for (nets, branches), numbers in shapes.items():
        if branches == 0:
            for number in numbers:
                found[number] = Solution((0.0,) * nets, (), True)
            continue
        # Bounded batches: the incidence matrices of big islands would otherwise fill the memory.
        size = max(1, int(2e6 // max(1, nets * branches)))
        for start in range(0, len(numbers), size):
            chosen = numbers[start : start + size]
            for number, solution in zip(chosen, _solve_shape([problems[n] for n in chosen], nets), strict=True):
                found[number] = solution
    return [solution for solution in found if solution is not None]


def _solve_shape(problems: list[Problem], nets: int) -> list[Solution]:
    table = np.array([problem.branches for problem in problems], dtype=np.float64)
    count, branches = table.shape[0], table.shape[1]
    first, second = table[:, :, 0].astype(np.intp), table[:, :, 1].astype(np.intp)
    ohm, sat, emission, emf = table[:, :, 2], table[:, :, 3], table[:, :, 4], table[:, :, 5]
    if nets == 0:
        amps, _ = branch_law(-emf, ohm, sat, emission)
        return [Solution((), tuple(row), True) for row in amps.tolist()]
    incidence = np.zeros((count, branches, nets + 1))
    rows, columns = np.arange(count)[:, None], np.arange(branches)[None, :]
    incidence[rows, columns, first] += 1.0
    incidence[rows, columns, second] -= 1.0
    incidence = incidence[:, :, :nets]
    x = np.zeros((count, nets))
    converged = np.zeros(count, dtype=bool)
    linear = ~(sat > 0.0).any(axis=1)
    todo = np.arange(count)
    whole = (incidence, ohm, sat, emission, emf)
    part = whole
    for _ in range(STEPS):
        a, r, s, n, e = part
        here = x[todo]
        transposed = a.transpose(0, 2, 1)
        current, slope = branch_law((a @ here[:, :, None])[:, :, 0] - e, r, s, n)
        f = (transposed @ current[:, :, None])[:, :, 0] + G_MIN * here
        jacobian = (transposed * slope[:, None, :]) @ a
        jacobian[:, np.arange(nets), np.arange(nets)] += G_MIN
        step = -np.linalg.solve(jacobian, f[:, :, None])[:, :, 0]
        step *= _line_search(part, here, f, step)[:, None]
        x[todo] = here + step
        # The residual floor: what rounding of the branch currents leaves at a net.
        floor = 1e-15 * (np.abs(current) + np.abs(e) / r).sum(axis=1)[:, None] + 1e-18
        small = (np.abs(step).max(axis=1) < VOLT_TOLERANCE) | (np.abs(f) <= floor).all(axis=1) | linear[todo]
        converged[todo[small]] = True
        if small.any():
            todo = todo[~small]
            if not todo.size:
                break
            part = tuple(array[todo] for array in whole)  # type: ignore[assignment]
    v = (incidence @ x[:, :, None])[:, :, 0] - emf
    amps, _ = branch_law(v, ohm, sat, emission)
    return [
        Solution(tuple(volts), tuple(row), bool(good))
        for volts, row, good in zip(x.tolist(), amps.tolist(), converged, strict=True)
    ]


def _line_search(part: tuple[Array, Array, Array, Array, Array], here: Array, f: Array, step: Array) -> Array:
    """Fraction of each Newton step to take: the slope of the convex function along it, near 0.

    A whole step is taken when the slope at its end is not larger than at its start; otherwise the
    zero of the slope is bracketed and cut by regula falsi (a few passes are enough to go on).
    """
    a, r, s, n, e = part
    fraction = np.ones(len(here))
    start = (f * step).sum(axis=1)
    low, high = np.zeros(len(here)), np.ones(len(here))
    slope_low = start.copy()
    for _ in range(8):
        there = here + fraction[:, None] * step
        current, _ = branch_law((a @ there[:, :, None])[:, :, 0] - e, r, s, n)
        slope = (((a.transpose(0, 2, 1) @ current[:, :, None])[:, :, 0] + G_MIN * there) * step).sum(axis=1)
        bad = slope > 0.9 * np.abs(start) + 1e-30
        short = (slope < -0.9 * np.abs(start) - 1e-30) & (fraction < 1.0)
        if not (bad | short).any():
            break
        high = np.where(bad, fraction, high)
        slope_high = np.where(bad, slope, 1.0)
        low = np.where(short, fraction, low)
        slope_low = np.where(short, slope, slope_low)
        secant = low + (high - low) * slope_low / np.where(bad, slope_low - slope_high, slope_low - 1.0)
        width = high - low
        cut = np.clip(secant, low + 0.1 * width, high - 0.1 * width)
        fraction = np.where(bad, cut, np.where(short, 0.5 * (low + high), fraction))
    return fraction
