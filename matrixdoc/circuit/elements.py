"""The circuit of a machine, and what is asked of it: plain immutable values.

Nets and parts carry their readable names outside and running numbers inside, so that the search
for the few nets that a question reaches stays cheap.
"""

from __future__ import annotations

import math
from collections.abc import Container, Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from matrixdoc.circuit.kinds import Kind, KindTable, check_values
from matrixdoc.circuit.patch import Patch
from matrixdoc.definition.wiring import Part, Wiring

MIN_OHM = 1e-6
"""No branch is smaller: every source and junction sits behind its own resistance."""

SOURCE_PART = "supply "
"""Prefix of the pseudo part name of a rail's source branch; a blank, so no part can have it."""


@dataclass(frozen=True, slots=True)
class Branch:
    """What joins two nets: resistance, junction and source in series, current from ``a`` to ``b``.

    ``volts(a) - volts(b) = emf_v + ohm * i + emission * Vt * ln(1 + i / saturation_a)``; with
    ``saturation_a`` 0 there is no junction. ``part`` is the reference of its part.
    """

    a: str
    b: str
    ohm: float
    saturation_a: float
    emission: float
    emf_v: float
    part: str


@dataclass(frozen=True, slots=True)
class Lead:
    """A meter between two nets: ``emf_v`` behind ``ohm`` drives current out of the red lead.

    Volts: ``ohm`` 1e7 and no source. Ohms and diode test: the meter's open-circuit voltage behind
    its source resistance; the reading follows from the volts between the leads.
    """

    red: str
    black: str
    ohm: float
    emf_v: float = 0.0


@dataclass(frozen=True, slots=True)
class Instant:
    """One moment of one (possibly faulty) machine, and what is wanted of it.

    ``active``: references of closed contacts and of parts that are driven; ``patches`` by part
    reference (latent bridges included); ``nets`` and ``parts`` whose volts and amperes are
    wanted (current into the first terminal); ``opened``: parts out of circuit. ``rails``: rail
    net -> (open-circuit volts, source ohms); a rail that is not listed, or ``None``: healthy;
    ``(0, inf)``: dead. ``values``: values that replace the healthy ones before patches (the
    temperature of filaments: ``{"lamp/C1R1/lamp": {"ohm": 12.0}}``). ``levels``: for each wanted net
    the volts that it is compared with; then the volts of the answer need only lie on the right side of
    every level. ``None``: they are wanted as they are.
    """

    active: frozenset[str]
    patches: Mapping[str, Patch]
    nets: tuple[str, ...]
    parts: tuple[str, ...] = ()
    leads: tuple[Lead, ...] = ()
    opened: frozenset[str] = frozenset()
    rails: Mapping[str, tuple[float, float]] | None = None
    values: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    levels: Mapping[str, tuple[float, ...]] | None = None


@dataclass(frozen=True, slots=True)
class OperatingPoint:
    """The answer: volts of the wanted nets against ground, amperes of the wanted parts.

    ``floating``: wanted nets that nothing holds: no way to ground or to a live rail through less
    than a megohm and through no junction that is turned off. Their volts are what leakage makes
    of them. ``converged`` False: the volts are the last iterate and mean nothing.
    """

    volts: Mapping[str, float]
    amps: Mapping[str, float]
    floating: frozenset[str]
    converged: bool


class RawBranch(NamedTuple):
    """A :class:`Branch` between net numbers, without its part."""

    a: int
    b: int
    ohm: float
    saturation_a: float
    emission: float
    emf_v: float


@dataclass(frozen=True, slots=True)
class RailSupply:
    """A rail as the solver needs it: net number, stiffness, healthy source, usual load."""

    name: str
    net: int
    stiff: bool
    open_volts: float
    source_ohm: float
    load_a: float
    load_ohm: float


@dataclass(frozen=True, eq=False)
class Circuit:
    """A wiring with its values filled in; net 0 is ground. Made by ``build_circuit``.

    ``bridges`` are the latent parts between neighbours, reference ``bridge/<net>~<net>``;
    ``parts`` holds every part and bridge. ``alternating`` are the parts on the alternating side
    of the supplies: they are on the paths, but not in the direct-current solution.
    """

    wiring: Wiring
    table: KindTable
    parts: Mapping[str, Part]
    bridges: Mapping[str, Part]
    alternating: frozenset[str]
    net_names: tuple[str, ...]
    net_index: Mapping[str, int]
    part_names: tuple[str, ...]
    part_index: Mapping[str, int]
    terminals: tuple[tuple[int, ...], ...]
    part_values: tuple[Mapping[str, float], ...]
    kinds: tuple[Kind, ...]
    idle: tuple[tuple[RawBranch, ...], ...]
    active: tuple[tuple[RawBranch, ...], ...]
    rails: tuple[RailSupply, ...]
    rail_of_net: Mapping[int, int]
    structures: dict[Any, Any] = field(default_factory=dict, repr=False)
    """Memo of the structures worked out from this circuit alone (see ``structure.py``)."""

    def values(self, reference: str) -> Mapping[str, float]:
        """Healthy values of a part by name (``KeyError`` for an unknown reference)."""
        return self.part_values[self.part_index[reference]]


def part_branches(
    kind: Kind,
    nets: tuple[int, ...],
    values: Mapping[str, float],
    *,
    active: bool,
    patch: Patch | None = None,
    cold: bool = False,
) -> tuple[RawBranch, ...]:
    """The branches of a part in one state, with its patch applied.

    ``cold``: no rail is live, filaments are at room temperature. Branches of infinite ohms, and
    those from a net to itself, are left out. Raises ``ValueError`` for value names that the kind
    does not have, ``IndexError`` for a terminal that it does not have.
    """
    if patch is None:
        return tuple(_own_branches(kind, nets, values, active=active, cold=cold, patched=()))
    if patch.values:
        check_values(kind, patch.values)
        values = {**values, **patch.values}
    if patch.stuck:
        active = patch.stuck == "active"
    turned = patch.reversed and len(nets) >= 2
    own_nets = (nets[1], nets[0], *nets[2:]) if turned else nets
    branches: list[RawBranch] = []
    if not patch.absent:
        branches = _own_branches(kind, own_nets, values, active=active, cold=cold, patched=patch.values)
    if patch.shunt_ohm is not None and len(nets) >= 2 and nets[0] != nets[1] and patch.shunt_ohm != math.inf:
        branches.append(RawBranch(nets[0], nets[1], max(patch.shunt_ohm, MIN_OHM), 0.0, 1.0, 0.0))
    if patch.ground_ohm is not None and nets and patch.ground_ohm != math.inf:
        net = nets[patch.ground_terminal]
        if net != 0:
            branches.append(RawBranch(net, 0, max(patch.ground_ohm, MIN_OHM), 0.0, 1.0, 0.0))
    return tuple(branches)


def _own_branches(
    kind: Kind,
    nets: tuple[int, ...],
    values: Mapping[str, float],
    *,
    active: bool,
    cold: bool,
    patched: Container[str],
) -> list[RawBranch]:
    branches: list[RawBranch] = []
    for rule in kind.branches:
        if rule.when != "always" and (rule.when == "active") != active:
            continue
        first, second = nets[rule.first], nets[rule.second]
        # A patched resistance is the fault's, whatever the temperature.
        use_cold = cold and rule.cold_ohm and rule.ohm not in patched
        ohm = values[rule.cold_ohm if use_cold else rule.ohm]
        saturation = values[rule.saturation] if rule.saturation else 0.0
        if first == second or math.isinf(ohm) or (rule.saturation and saturation <= 0.0):
            continue
        emission = values[rule.emission] if rule.emission else 1.0
        emf = -values[rule.source] if rule.source else 0.0
        branches.append(RawBranch(first, second, max(ohm, MIN_OHM), saturation, emission, emf))
    return branches
