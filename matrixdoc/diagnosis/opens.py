"""The exact posterior of faults that only open something.

Opens compose in one way: a look fails as soon as one open lies on its path, and a second open
changes nothing. The sum over all sets of opens is then a sum over a network of yes-or-no values:
opens with the same findings make one step; steps whose findings contain each other hang in a tree
("whole up to here": a supply, a line, the segments along it), and each finding asks whether the
ends of its branches are whole. ``elimination.py`` sums the network; the marginals are derivatives
of the sum. It is exact, and its work grows with the widest table, of ``2 ** WIDEST`` numbers at
most. Checked against a general-purpose library and by enumeration in the tests.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from matrixdoc.diagnosis.elimination import Array, Table, cost_of, differentiate, eliminate, least_fill

Bits = npt.NDArray[np.bool_]

WIDEST = 23
"""Values in the widest table that is made: 2 ** 23 numbers are 64 MiB, and a few such are held. An
8x8 matrix needs 10 to 12, with shuffled chains 22 or so; 16x16 needs 18."""
CHEAP = 2.0**20
"""An order that touches no more numbers than this is taken without looking for a better one."""


@dataclass(frozen=True, slots=True)
class OpensPosterior:
    """``log_evidence``: ln P(findings). ``marginals``: probability that each variable is open."""

    log_evidence: float
    marginals: Array


@dataclass(slots=True)
class _Network:
    """Steps (each a set of variables with the same findings), their tree, and the tables."""

    whole: list[float] = field(default_factory=list)
    parent: list[int] = field(default_factory=list)
    step_tables: list[Table] = field(default_factory=list)
    finding_tables: list[Table] = field(default_factory=list)
    log_scale: float = 0.0


def _grouped(acts: Bits) -> list[tuple[frozenset[int], list[int]]]:
    """Variables by the findings they act on, most findings first."""
    groups: dict[bytes, list[int]] = {}
    for variable, row in enumerate(acts):
        groups.setdefault(row.tobytes(), []).append(variable)
    made = [(frozenset(map(int, np.nonzero(acts[some[0]])[0])), some) for some in groups.values()]
    return sorted(made, key=lambda g: (-len(g[0]), g[1]))


def _network(
    steps: Sequence[tuple[frozenset[int], list[int]]], healthy: Array, alive: Array, dead: Array
) -> _Network:
    """Tables of the steps and of the findings. ``alive`` already holds the leaves of each finding."""
    made = _Network()
    covering: list[list[int]] = [[] for _ in alive]
    for number, (findings, variables) in enumerate(steps):
        # The smallest step that contains this one; a step of the same size never does.
        near = [n for n in covering[next(iter(findings))] if findings < steps[n][0]]
        parent = near[-1] if near else -1
        whole = float(np.prod(healthy[variables]))
        made.whole.append(whole)
        made.parent.append(parent)
        if parent < 0:
            made.step_tables.append(Table((number,), np.array([1.0 - whole, whole])))
        else:
            entries = np.array([[1.0, 0.0], [1.0 - whole, whole]])
            made.step_tables.append(Table((parent, number), entries))
        for finding in findings:
            covering[finding].append(number)
    for finding, cover in enumerate(covering):
        inner = {made.parent[n] for n in cover}
        ends = tuple(n for n in cover if n not in inner)
        size = max(alive[finding], dead[finding])
        made.log_scale += math.log(size)
        entries = np.full((2,) * len(ends), dead[finding] / size)
        entries[(1,) * len(ends)] = alive[finding] / size
        made.finding_tables.append(Table(ends, entries))
    return made


def _sweeps(network: _Network, findings_of: Sequence[frozenset[int]]) -> list[list[int]]:
    """Orders that walk along the lines of a matrix, one line after the other: both ways.

    Only what the walk is in the midst of stays open, so a matrix costs about its shorter side where
    the chains of its lines run alike. Empty where findings do not lie between two kinds of lines.
    """
    depth, ways = _depths(network.parent)
    crossings: list[tuple[int, tuple[int, int], tuple[int, int]]] = []
    for finding, table in enumerate(network.finding_tables):
        if len(table.over) == 2:
            way, across = (ways[n] for n in table.over)
            split = next((i for i, (a, b) in enumerate(zip(way, across, strict=False)) if a != b), None)
            if split is None:
                return []
            crossings.append((finding, (way[split], len(way)), (across[split], len(across))))
    side = _two_sides([(one[0], two[0]) for _, one, two in crossings])
    if side is None:
        return []
    orders = []
    for along in (0, 1):
        walked: dict[int, list[tuple[int, int, int]]] = {}
        for finding, one, two in crossings:
            own, other = (one, two) if side[one[0]] == along else (two, one)
            walked.setdefault(own[0], []).append((own[1], finding, other[1]))
        lines = sorted(walked.values(), key=lambda some: (sum(s[2] for s in some) / len(some), some))
        place = {finding: (number, at) for number, some in enumerate(lines) for at, finding, _ in some}
        orders.append(_by_last_use(network, findings_of, place, depth))
    return orders


def _depths(parent: Sequence[int]) -> tuple[list[int], list[list[int]]]:
    """Depth of each step in its tree, and its way from the root. Parents come before their children."""
    ways: list[list[int]] = []
    for number, above in enumerate(parent):
        ways.append([*ways[above], number] if above >= 0 else [number])
    return [len(way) for way in ways], ways


def _two_sides(pairs: Sequence[tuple[int, int]]) -> dict[int, int] | None:
    """A side, 0 or 1, for each line, so that every pair joins both; None where there is none."""
    near: dict[int, set[int]] = {}
    for one, two in pairs:
        near.setdefault(one, set()).add(two)
        near.setdefault(two, set()).add(one)
    side: dict[int, int] = {}
    for start in near:
        waiting = [] if start in side else [start]
        side.setdefault(start, 0)
        while waiting:
            line = waiting.pop()
            for other in near[line]:
                if other not in side:
                    side[other] = 1 - side[line]
                    waiting.append(other)
                elif side[other] == side[line]:
                    return None
    return side


def _by_last_use(
    network: _Network,
    findings_of: Sequence[frozenset[int]],
    place: Mapping[int, tuple[int, int]],
    depth: Sequence[int],
) -> list[int]:
    """Steps in the order in which a walk over the findings needs them for the last time."""
    never = (len(network.finding_tables), 0)
    first = [min(place.get(f, never) for f in findings) for findings in findings_of]
    last = list(first)
    for finding, table in enumerate(network.finding_tables):
        for n in table.over:
            last[n] = max(last[n], place.get(finding, never))
    for number, above in enumerate(network.parent):
        if above >= 0:
            last[above] = max(last[above], first[number])
    return sorted(range(len(last)), key=lambda n: (last[n], depth[n], n))


def _best_order(network: _Network, findings_of: Sequence[frozenset[int]], widest: int) -> list[int] | None:
    """The cheapest order found; None where every one makes too wide a table."""
    tables = [*network.step_tables, *network.finding_tables]
    costs = [(*cost_of(tables, order), order) for order in _sweeps(network, findings_of)]
    if not costs or min(costs)[0] > CHEAP:
        order = least_fill(tables, len(network.whole))
        costs.append((*cost_of(tables, order), order))
    _, width, best = min(costs)
    return best if width <= widest else None


def opens_posterior(
    healthy: Array, acts: Bits, alive: Array, dead: Array, widest: int = WIDEST
) -> OpensPosterior | None:
    """Sum over all sets of independent opens.

    Args:
        healthy: prior probability that each variable is not open; shape (variables,).
        acts: whether a variable, open, makes a finding's look fail; shape (variables, findings).
        alive: P(finding | nothing that acts on it is open), above 0; shape (findings,).
        dead: P(finding | at least one is open), above 0; shape (findings,).
        widest: most values in one table.

    Returns:
        The posterior, exact but for rounding; None where a table would grow too wide.
    """
    groups = _grouped(acts)
    idle = [v for findings, some in groups if not findings for v in some]
    leaves = {next(iter(findings)): some for findings, some in groups if len(findings) == 1}
    steps = [g for g in groups if len(g[0]) > 1]
    with_leaves = np.array(alive)
    for finding, some in leaves.items():
        whole = float(np.prod(healthy[some]))
        with_leaves[finding] = whole * alive[finding] + (1.0 - whole) * dead[finding]
    network = _network(steps, healthy, with_leaves, dead)
    order = _best_order(network, [findings for findings, _ in steps], widest)
    if order is None:
        return None
    log_sum, done = eliminate([*network.step_tables, *network.finding_tables], order)
    differentiate(done)
    marginals = np.zeros(len(healthy))
    marginals[idle] = 1.0 - healthy[idle]
    for (_, some), table, whole, parent in zip(
        steps, network.step_tables, network.whole, network.parent, strict=True
    ):
        gradient = table.gradient
        assert gradient is not None  # noqa: S101 - every step was eliminated
        if parent < 0:
            broken = (1.0 - whole) * gradient[0]
        else:
            # Under a broken parent a step is open as often as anywhere.
            broken = (1.0 - whole) * (gradient[1, 0] + gradient[0, 0])
        _share_out(marginals, some, healthy, float(broken), whole)
    for finding, some in leaves.items():
        table = network.finding_tables[finding]
        whole = float(np.prod(healthy[some]))
        gradient = table.gradient if table.gradient is not None else 1.0 / table.entries
        size = max(with_leaves[finding], dead[finding])
        every = float((gradient * table.entries).sum())
        last = float(gradient[(1,) * len(table.over)])
        failed = every - last * float(table.entries[(1,) * len(table.over)])
        broken = (1.0 - whole) * (last * dead[finding] / size + failed)
        _share_out(marginals, some, healthy, broken, whole)
    return OpensPosterior(log_sum + network.log_scale, marginals)


def _share_out(marginals: Array, some: list[int], healthy: Array, broken: float, whole: float) -> None:
    """Marginals of the variables of one step, from the probability that the step is open.

    Among themselves they are as by chance, given that at least one is open.
    """
    if whole < 1.0:
        marginals[some] = (1.0 - healthy[some]) * broken / (1.0 - whole)
