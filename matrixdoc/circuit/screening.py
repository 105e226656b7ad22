"""Which faults change nothing where they are: screened against the machine without them.

A fault replaces branches of its part by others. Substitution theorem: a branch without current may
be taken out, and one may be put in between nets at one voltage, and every voltage and current stays
as it is. Where "without" and "at one" are only nearly so, the error has a bound: in a network of
resistances and junctions (all rising laws, no gain) a small current taken out, or a voltage shorted,
moves no current and no voltage by more than itself (the no-gain property: L. O. Chua, C. A. Desoer,
E. S. Kuh, "Linear and Nonlinear Circuits", 1987, ch. 3; the page is from memory). So where only the
side of a threshold matters, what new branches short may add up to the distance to the threshold. A net
that was only held through the branch taken out is the exception, and is looked for.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import cast

import numpy as np
from numpy.typing import NDArray

from matrixdoc.circuit.elements import Circuit, Instant, OperatingPoint, RawBranch, part_branches
from matrixdoc.circuit.newton import branch_law
from matrixdoc.circuit.patch import Patch
from matrixdoc.circuit.reach import dead_ends, flows, reach_of
from matrixdoc.circuit.structure import OUTSIDE, Structure
from matrixdoc.circuit.touched import part_number, touched_parts

WORTH_SCREENING = 12
"""Fewer instants than this with one base are solved as they are."""


@dataclass(frozen=True, slots=True)
class Limits:
    """Up to how many amperes are none, and volts one voltage."""

    amps: float
    volts: float


FOR_VOLTS = Limits(1e-9, 1e-7)
"""Volts of nets are wanted: less than a millivolt behind a megohm."""
LEVEL_SLACK_V = 0.01
"""What is kept of the distance to a level for everything that is only nearly so."""
FOR_LEADS = Limits(1e-11, 1e-8)
"""Volts between a meter's leads: 0.1 % of the current at 20 megohm (15 nA)."""

Change = tuple[tuple[RawBranch, ...], tuple[RawBranch, ...]]
"""Branches taken out and branches put in."""


def base_key(instant: Instant) -> object | None:
    """What instants must have in common to be screened against one base; None: not screened."""
    if instant.values or not instant.patches:
        return None
    rails = None if instant.rails is None else tuple(sorted(instant.rails.items()))
    levels = None if instant.levels is None else tuple(sorted(instant.levels.items()))
    return instant.active, instant.opened, rails, instant.leads, instant.nets, instant.parts, levels


def base_of(circuit: Circuit, instants: Sequence[Instant]) -> Instant:
    """The instant without patches that a group is screened against, with the volts that takes."""
    first = instants[0]
    names = dict.fromkeys(first.nets)
    for instant in instants:
        for name in instant.patches:
            part = circuit.part_index.get(name)
            if part is not None:
                names.update(dict.fromkeys(circuit.net_names[net] for net in circuit.terminals[part]))
    return Instant(first.active, {}, tuple(names), first.parts, first.leads, first.opened, first.rails)


def unchanged(
    circuit: Circuit,
    structure: Structure,
    instants: Sequence[Instant],
    point: OperatingPoint,
) -> list[bool]:
    """For each instant: whether its patches leave the wanted volts and amperes of the base as they are.

    ``instants`` share their :func:`base_key`; ``point`` is the operating point of :func:`base_of` them.
    Raises ``ValueError`` for a patch that its part cannot take, naming the part.
    """
    first = instants[0]
    if not point.converged:
        return [False] * len(instants)
    leads_only = bool(first.leads) and not first.parts and _at_leads(first)
    limits = FOR_LEADS if first.leads else FOR_VOLTS
    if first.levels is not None:
        limits = Limits(limits.amps, _margin(first.levels, point) / 2.0)
    held = None if leads_only or not first.nets else _Held.of(circuit, structure, first, point)
    if held is None and first.nets and not leads_only:
        return [False] * len(instants)
    rows: list[RawBranch] = []
    owner: list[int] = []
    put_in: list[bool] = []
    good = [True] * len(instants)
    for number, instant in enumerate(instants):
        for name, patch in instant.patches.items():
            if name in instant.opened:
                continue
            out, new = _change(circuit, structure, name, patch, active=name in instant.active)
            if out and held is not None and not held.without(circuit.part_index[name], out):
                good[number] = False
                break
            for branches, added in ((out, False), (new, True)):
                rows.extend(branches)
                owner.extend([number] * len(branches))
                put_in.extend([added] * len(branches))
    if rows:
        fits, shorted = _fits(_volts(circuit, point), rows, np.array(put_in), limits)
        for number in np.array(owner)[~fits].tolist():
            good[number] = False
        # What several new branches short adds up, the later ones having moved by the earlier ones.
        moved = np.zeros(len(instants))
        np.add.at(moved, np.array(owner), 2.0 * shorted)
        for number in np.flatnonzero(moved > 2.0 * limits.volts).tolist():
            good[number] = False
    return good


def _margin(levels: Mapping[str, tuple[float, ...]], point: OperatingPoint) -> float:
    """How far the nearest wanted net is from a level it is compared with, in volts."""
    away = [
        abs(point.volts[net] - level) for net, some in levels.items() for level in some if net in point.volts
    ]
    return max(0.0, min(away, default=0.0) - LEVEL_SLACK_V)


def without_current(circuit: Circuit, structure: Structure, instants: Sequence[Instant]) -> list[bool]:
    """For each instant: whether none of its wanted parts can carry current, by the way they lie.

    ``instants`` share their :func:`base_key` and want currents alone. Raises ``ValueError`` for an
    unknown part, and for a patch that its part cannot take.
    """
    first = instants[0]
    if first.leads:
        return [False] * len(instants)
    dead = _Dead.of(circuit, structure, first)
    if dead is None:
        return [False] * len(instants)
    return [
        all(
            dead.stays(_change(circuit, structure, name, patch, active=name in instant.active)[1])
            for name, patch in instant.patches.items()
            if name not in instant.opened
        )
        for instant in instants
    ]


def _at_leads(instant: Instant) -> bool:
    return set(instant.nets) <= {net for lead in instant.leads for net in (lead.red, lead.black)}


def _volts(circuit: Circuit, point: OperatingPoint) -> NDArray[np.float64]:
    volts = np.zeros(len(circuit.net_names))
    for name, value in point.volts.items():
        volts[circuit.net_index[name]] = value
    return volts


def _fits(
    volts: NDArray[np.float64], rows: Sequence[RawBranch], put_in: NDArray[np.bool_], limits: Limits
) -> tuple[NDArray[np.bool_], NDArray[np.float64]]:
    """Branches that carry no current at these volts, or would short nothing (one row each).

    And the volts that each new one shorts.
    """
    table = np.array(rows, dtype=np.float64)
    ends = table[:, :2].astype(np.intp)
    across = volts[ends[:, 0]] - volts[ends[:, 1]] - table[:, 5]
    amps, _ = branch_law(across, table[:, 2], table[:, 3], table[:, 4])
    none = np.abs(amps) <= limits.amps
    equal = put_in & (table[:, 5] == 0.0) & (np.abs(across) <= limits.volts)
    shorted = np.where(equal & ~none, np.abs(across), 0.0)
    return np.asarray(none | equal, dtype=np.bool_), np.asarray(shorted, dtype=np.float64)


def _change(circuit: Circuit, structure: Structure, name: str, patch: Patch, *, active: bool) -> Change:
    """What a patch takes out of a part's branches and puts in; remembered with the structure."""
    key = (name, id(patch), active)
    known = structure.changes.get(key)
    if known is not None and known[0] is patch:
        return cast("Change", known[1])
    part = circuit.part_index.get(name)
    if part is None:
        raise ValueError(f"no part {name!r} in this machine (named in a patch)")
    nets = circuit.terminals[part]
    change: Change = ((), ())
    if nets and name not in circuit.alternating:
        before = structure.active[part] if active else structure.idle[part]
        try:
            after = part_branches(
                circuit.kinds[part],
                nets,
                circuit.part_values[part],
                active=active,
                patch=patch,
                cold=structure.cold,
            )
        except (ValueError, IndexError) as error:
            raise ValueError(f"part {name}: {error}") from None
        change = (
            tuple(branch for branch in before if branch not in after),
            tuple(branch for branch in after if branch not in before),
        )
    structure.changes[key] = (patch, change)
    return change


@dataclass(frozen=True, slots=True)
class _Held:
    """What holds the wanted nets: each sits in a cluster with a tie of its own to ground or a rail.

    A branch of that cluster may be taken out only if it is of a tree and the net is not above it.
    """

    structure: Structure
    clusters: Mapping[int, tuple[int, ...]]
    """Wanted nets by cluster."""

    @staticmethod
    def of(circuit: Circuit, structure: Structure, instant: Instant, point: OperatingPoint) -> _Held | None:
        """None where a wanted net is floating or has no tie in its own cluster."""
        clusters: dict[int, list[int]] = {}
        for name in instant.nets:
            net = circuit.net_index[name]
            cluster = structure.cluster_of[net]
            if cluster == OUTSIDE:
                continue
            if name in point.floating or not structure.anchored[cluster]:
                return None
            clusters.setdefault(cluster, []).append(net)
        return _Held(structure, {cluster: tuple(nets) for cluster, nets in clusters.items()})

    def without(self, part: int, out: Sequence[RawBranch]) -> bool:
        """Whether the wanted nets are still held without these branches of a part."""
        structure = self.structure
        for branch in out:
            cluster = structure.cluster_of[branch.a]
            if cluster == OUTSIDE:
                cluster = structure.cluster_of[branch.b]
            wanted = self.clusters.get(cluster)
            if not wanted or branch.saturation_a or branch.emf_v or branch not in structure.idle[part]:
                continue
            child = structure.child_of_part.get(part)
            if child is None or structure.cluster_of[child] != cluster:
                return False
            low, high = structure.enter[child], structure.leave[child]
            if any(low <= structure.enter[net] < high for net in wanted):
                return False
        return True


@dataclass(frozen=True, slots=True)
class _Dead:
    """Wanted parts through which no current can flow at all, whatever carries current elsewhere.

    What lies behind each of them cannot be entered, or cannot be left. New branches change nothing
    about that unless they are attached there; taking branches out never does.
    """

    structure: Structure
    clusters: frozenset[int]
    """Clusters that must stay as they are (see ``islands.dead_ends``)."""
    below: tuple[tuple[int, int], ...]
    """Half-open ranges of tree numbers below the wanted parts."""

    @staticmethod
    def of(circuit: Circuit, structure: Structure, instant: Instant) -> _Dead | None:
        """None where current may flow through a wanted part."""
        known = [part_number(circuit, name, "its current is wanted") for name in instant.parts]
        numbers = [part for part in known if circuit.part_names[part] not in circuit.alternating]
        ends = {part: circuit.terminals[part] for part in numbers if circuit.terminals[part]}
        here = Instant(instant.active, {}, (), opened=instant.opened)
        touched = touched_parts(circuit, structure, here)
        reach = reach_of(structure, (), ends, touched)
        removed = {item.part for item in touched}
        if flows(structure, reach, removed, ends):
            return None
        clusters = dead_ends(structure, reach, removed, ends)
        if clusters is None:
            return None
        children = [structure.child_of_part[part] for part in ends if part in structure.child_of_part]
        below = tuple((structure.enter[child], structure.leave[child]) for child in children)
        return _Dead(structure, frozenset(clusters), below)

    def stays(self, new: Sequence[RawBranch]) -> bool:
        """Whether these new branches leave the wanted parts without current."""
        structure = self.structure
        for branch in new:
            for net in (branch.a, branch.b):
                cluster = structure.cluster_of[net]
                if cluster == OUTSIDE:
                    continue
                number = structure.enter[net]
                if cluster in self.clusters or any(low <= number < high for low, high in self.below):
                    return False
        return True
