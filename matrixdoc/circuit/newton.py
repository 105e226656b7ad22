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
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from matrixdoc.circuit.forms import Law

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
NET_SIZES, BRANCH_SIZES = (0, 1, 4, 8, 16, 32), (4, 8, 16, 32, 64)
"""Circuits are filled up to the next of these numbers, and beyond the last to multiples of it."""


@dataclass(frozen=True, eq=False, slots=True)
class Shape:
    """A reduced circuit without its resistances: ``nets`` unknown nets and the laws of its branches.

    Net ``nets`` is the boundary, at 0 V. Two shapes are equal only if they are one object. ``size`` is
    that of the batch which its circuits join, filled up with branches from the boundary to itself.
    """

    nets: int
    laws: tuple[Law, ...]
    size: tuple[int, int]
    table: Array

    @staticmethod
    def of(nets: int, laws: tuple[Law, ...]) -> Shape:
        """Raises nothing; the result depends on the arguments alone."""
        filled, branches = _filled(nets, NET_SIZES), _filled(len(laws), BRANCH_SIZES)
        table = np.zeros((branches, 5))
        table[:, :2], table[:, 3] = filled, 1.0
        if laws:
            table[: len(laws)] = laws
            ends = table[: len(laws), :2]
            ends[ends == nets] = filled
        return Shape(nets, laws, (filled, branches), table)


def _filled(number: int, sizes: tuple[int, ...]) -> int:
    return next((size for size in sizes if size >= number), -(-number // sizes[-1]) * sizes[-1])


class Problem(NamedTuple):
    """A reduced circuit: its shape, and the ohms of its branches as the bytes of a row of floats."""

    shape: Shape
    ohms: bytes


class Solution(NamedTuple):
    """Volts of the nets, amperes of the branches, and whether it converged."""

    volts: Array
    amps: Array
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
    """Solve problems, batched by the size of their shapes; a failure to converge is a result."""
    sizes: dict[tuple[int, int], dict[Shape, list[int]]] = {}
    for number, problem in enumerate(problems):
        sizes.setdefault(problem.shape.size, {}).setdefault(problem.shape, []).append(number)
    found: dict[int, Solution] = {}
    # Numbers beyond what floats hold end as "not converged", not as warnings or exceptions.
    with np.errstate(all="ignore"):
        for (nets, branches), shapes in sizes.items():
            # Bounded batches: the Jacobians of big islands would otherwise fill the memory.
            most = max(1, int(BATCH_NUMBERS // max(1, nets * nets + 4 * branches)))
            chosen = [(shape, n) for shape, numbers in shapes.items() for n in numbers]
            for start in range(0, len(chosen), most):
                _solve_batch(problems, chosen[start : start + most], found)
    return [found[number] for number in range(len(problems))]


def _solve_batch(
    problems: Sequence[Problem], chosen: Sequence[tuple[Shape, int]], found: dict[int, Solution]
) -> None:
    """Solve problems of one size; ``chosen``: their shapes, those of one shape together, and numbers."""
    counts: dict[Shape, int] = {}
    for shape, _ in chosen:
        counts[shape] = counts.get(shape, 0) + 1
    nets, branches = chosen[0][0].size
    table = np.repeat(np.stack([shape.table for shape in counts]), list(counts.values()), axis=0)
    ohm = np.ones((len(chosen), branches))
    first = 0
    for shape, count in counts.items():
        width = len(shape.laws)
        if width:
            rows = b"".join([problems[number].ohms for _, number in chosen[first : first + count]])
            ohm[first : first + count, :width] = np.frombuffer(rows).reshape(count, width)
        first += count
    ends = table[:, :, :2].astype(np.intp)
    batch = _Batch.of(nets, ends[:, :, 0], ends[:, :, 1], ohm, table[:, :, 2], table[:, :, 3], table[:, :, 4])
    x, amps, converged = _newton(batch)
    converged &= np.isfinite(amps).all(axis=1) & np.isfinite(x).all(axis=1)
    good = converged.tolist()
    first = 0
    for shape, count in counts.items():
        last = first + count
        volts, flow = x[first:last, : shape.nets], amps[first:last, : len(shape.laws)]
        for place, one, two in zip(range(first, last), volts, flow, strict=True):
            found[chosen[place][1]] = Solution(one, two, good[place])
        first = last


@dataclass(frozen=True, slots=True)
class _Batch:
    """Circuits of one shape: (circuits, branches) each. Net ``nets`` is the boundary, at 0 V.

    ``first``, ``second``: net of each end; ``ends``: places of both ends in the flattened nets of all
    circuits; ``entries``: places that the slope of each branch has in the flattened Jacobians;
    ``places``: those of the junctions among the flattened branches. Of the junctions alone:
    ``scale`` N Vt, ``leak`` Is, ``above`` ln(Is R / (N Vt)) + Is R / (N Vt).
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
    places: NDArray[np.intp]
    junction_ohm: Array
    scale: Array
    leak: Array
    above: Array

    @staticmethod
    def of(
        nets: int,
        first: NDArray[np.intp],
        second: NDArray[np.intp],
        ohm: Array,
        saturation: Array,
        emission: Array,
        emf: Array,
    ) -> _Batch:
        size = nets + 1
        offset = np.arange(len(first))[:, None] * size
        a, b = offset + first, offset + second
        ends = np.concatenate((a.ravel(), b.ravel()))
        above, below = a * size, b * size
        entries = np.concatenate(
            (
                (above + first).ravel(),
                (below + second).ravel(),
                (above + second).ravel(),
                (below + first).ravel(),
            )
        )
        places = np.flatnonzero(saturation)
        leak, own = saturation.ravel()[places], ohm.ravel()[places]
        scale = emission.ravel()[places] * THERMAL_V
        drop = leak * own / scale
        return _Batch(
            nets, first, second, ends, entries, ohm, saturation, emission, emf,
            places, own, scale, leak, np.log(drop) + drop,
        )  # fmt: skip

    def rows(self, chosen: NDArray[np.bool_]) -> _Batch:
        """The chosen circuits alone."""
        return _Batch.of(
            self.nets,
            self.first[chosen],
            self.second[chosen],
            self.ohm[chosen],
            self.saturation[chosen],
            self.emission[chosen],
            self.emf[chosen],
        )

    def currents(self, x: Array) -> tuple[Array, Array]:
        """Branch currents and slopes at net volts ``x`` (circuits, nets); see :func:`branch_law`."""
        padded = np.zeros((len(x), self.nets + 1))
        padded[:, : self.nets] = x
        flat = padded.ravel()
        over = flat[self.ends].reshape(2, *self.ohm.shape)
        volts = over[0] - over[1] - self.emf
        current, slope = volts / self.ohm, 1.0 / self.ohm
        if self.places.size:
            w = wright_omega(self.above + volts.ravel()[self.places] / self.scale)
            current.ravel()[self.places] = self.scale / self.junction_ohm * w - self.leak
            slope.ravel()[self.places] = w / ((1.0 + w) * self.junction_ohm)
        return current, slope

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


def _newton(batch: _Batch) -> tuple[Array, Array, NDArray[np.bool_]]:
    """Net volts (circuits, nets), branch amperes, and which circuits converged; those are left out."""
    count, nets = len(batch.first), batch.nets
    x = np.zeros((count, nets))
    current, slope = batch.currents(x)
    amps = current.copy()
    converged = np.full(count, nets == 0, dtype=np.bool_)
    linear: NDArray[np.bool_] = np.asarray(batch.saturation.max(axis=1, initial=0.0) <= 0.0, dtype=np.bool_)
    todo = np.arange(count)
    now, here = batch, x
    for _ in range(STEPS if nets else 0):
        f = now.balance(here, current)
        # The residual floor: what rounding of the branch currents leaves at a net.
        floor = ROUNDING * np.sum(np.abs(current) + np.abs(now.emf) / now.ohm, axis=1) + 1e-18
        level: NDArray[np.bool_] = np.abs(f).max(axis=1) <= floor
        step = _newton_step(now.jacobian(slope), f)
        here, step, current, slope = _line_search(now, here, f, step, current, slope)
        small = np.abs(step).max(axis=1) < VOLT_TOLERANCE
        small |= level | linear[todo]
        if small.any():
            done = todo[small]
            x[done], amps[done], converged[done] = here[small], current[small], True
            left = ~small
            todo = todo[left]
            if not todo.size:
                return x, amps, converged
            now = now.rows(left)
            here, current, slope = here[left], current[left], slope[left]
    x[todo], amps[todo] = here, current
    return x, amps, converged


def _newton_step(jacobian: Array, f: Array) -> Array:
    try:
        return np.asarray(-np.linalg.solve(jacobian, f[:, :, None])[:, :, 0], dtype=np.float64)
    except np.linalg.LinAlgError:
        # One singular circuit spoils the batch: a least-squares step for all of them.
        inverse = np.linalg.pinv(np.nan_to_num(jacobian))
        return np.asarray(-(inverse @ np.nan_to_num(f)[:, :, None])[:, :, 0], dtype=np.float64)


def _line_search(
    batch: _Batch, here: Array, f: Array, step: Array, current: Array, slope: Array
) -> tuple[Array, Array, Array, Array]:
    """Take the Newton step, or a part of it: net volts, what was taken, currents and slopes there.

    What decides is the slope of the convex function along the step. A whole step is taken when the
    slope at its end is not larger than at its start; otherwise the zero of the slope is bracketed and
    cut by regula falsi (a few passes are enough to go on).
    """
    fraction = np.ones(len(here))
    start = (f * step).sum(axis=1)
    limit = 0.9 * np.abs(start) + 1e-30
    low, high = np.zeros(len(here)), np.ones(len(here))
    rise_low = start.copy()
    taken, there = step, here + step
    for passes in range(SEARCH_PASSES + 1):
        current, slope = batch.currents(there)
        if passes == SEARCH_PASSES:
            break
        rise = (batch.balance(there, current) * step).sum(axis=1)
        far = rise > limit
        short = (rise < -limit) & (fraction < 1.0)
        if not (far | short).any():
            break
        high = np.where(far, fraction, high)
        low = np.where(short, fraction, low)
        rise_low = np.where(short, rise, rise_low)
        width = high - low
        secant = low + width * rise_low / np.where(far, rise_low - rise, -1.0)
        cut = np.clip(secant, low + 0.1 * width, high - 0.1 * width)
        fraction = np.where(far, cut, np.where(short, 0.5 * (low + high), fraction))
        taken = fraction[:, None] * step
        there = here + taken
    return there, taken, current, slope
