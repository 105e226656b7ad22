"""Operating points on request: localised, remembered, and solved in batches.

A request names what conducts, which analog faults are present and what is wanted. Before anything
is solved the request is cut down to what can matter (see ``checks.model``), so that the same small
circuit asked for twice is solved once.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from matrixdoc.checks.joins import Joins
from matrixdoc.checks.model import FaultEffect, MachineModel
from matrixdoc.circuit.netlist import Instant, Lead, OperatingPoint, Solver, operating_points
from matrixdoc.circuit.supplies import rail_source

Rails = tuple[tuple[str, float, float], ...]


@dataclass(frozen=True, slots=True)
class PointRequest:
    """``active``: controlled parts that conduct. ``effects``: the analog faults. ``rails``: (net,
    open-circuit volts, source ohms) of every supply. Wanted: ``nets`` (volts), ``parts`` (amps).
    ``levels``: volts that wanted nets are compared with, where nothing else of them matters.
    """

    active: frozenset[str]
    effects: tuple[FaultEffect, ...]
    rails: Rails
    nets: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    leads: tuple[Lead, ...] = ()
    opened: frozenset[str] = frozenset()
    levels: tuple[tuple[str, tuple[float, ...]], ...] = ()


def _neighbour_buses(model: MachineModel) -> Mapping[int, frozenset[int]]:
    """For each group: the feeds (bus groups) that one of its parts also touches."""
    found: dict[int, set[int]] = {}
    for part in model.circuit.wiring.parts.values():
        groups = {model.group_of[n] for n in part.nets if n in model.group_of}
        buses = groups & model.bus_groups
        if buses:
            for group in groups - model.bus_groups:
                found.setdefault(group, set()).update(buses)
    return {g: frozenset(b) for g, b in found.items()}


class Points:
    """Solves requests and remembers them. Holds a cache; answers do not depend on it."""

    def __init__(self, model: MachineModel) -> None:
        self.model = model
        self._known: dict[PointRequest, OperatingPoint] = {}
        self._solver = Solver()
        self._rails: dict[tuple[object, ...], Rails] = {}
        self._rows: dict[tuple[str, tuple[FaultEffect, ...]], tuple[str, float, float]] = {}
        self._near: dict[frozenset[int], frozenset[str]] = {}
        self.bus_neighbours = _neighbour_buses(model)

    def rails(self, effects: Iterable[FaultEffect], *, power: bool = True) -> Rails:
        """Each rail's source under the faults that touch a supply. Powered off: no source."""
        supplies = self.model.circuit.wiring.supplies
        touching = tuple(sorted((e for e in effects if e.supply), key=lambda e: e.fault))
        key = (tuple(e.fault for e in touching), power)
        known = self._rails.get(key)
        if known is None:
            rows: list[tuple[str, float, float]] = []
            for name, supply in supplies.items():
                if not power:
                    rows.append((supply.rail, 0.0, float("inf")))
                    continue
                own = tuple(e for e in touching if e.supply == name)
                row = self._rows.get((name, own))
                if row is None:
                    patches = {e.part.reference: e.patch for e in own}
                    source = rail_source(self.model.circuit, name, patches, frozenset())
                    row = self._rows[(name, own)] = (supply.rail, source.open_volts, source.source_ohm)
                rows.append(row)
            known = self._rails[key] = tuple(rows)
        return known

    def rails_near(self, groups: frozenset[int]) -> frozenset[str]:
        """Rails that parts of these net groups, or of the feeds behind them, lie at."""
        known = self._near.get(groups)
        if known is None:
            wiring, group_of = self.model.circuit.wiring, self.model.group_of
            rails = {supply.rail for supply in wiring.supplies.values()}
            reach = {reference: self.model.groups_of_nets(p.nets) for reference, p in wiring.parts.items()}
            near = set(groups)
            size, touching = 0, list[str]()
            while size < len(near):
                size = len(near)
                touching = [reference for reference, some in reach.items() if near & some]
                near.update(*(reach[reference] & self.model.bus_groups for reference in touching))
            found = {net for reference in touching for net in wiring.parts[reference].nets}
            found |= {rail for rail in rails if group_of.get(rail) in near}
            known = self._near[groups] = frozenset(rails & found)
        return known

    def rails_for(self, effects: Iterable[FaultEffect], groups: frozenset[int]) -> Rails:
        """As :meth:`rails`, but rails that have nothing to do with these net groups stay healthy."""
        healthy, here = self.rails(()), self.rails(effects)
        if here == healthy:
            return healthy
        near = self.rails_near(groups)
        return tuple(b if b[0] in near else a for a, b in zip(healthy, here, strict=True))

    def localise(self, request: PointRequest) -> PointRequest:
        """The request without what cannot matter to what is wanted."""
        model = self.model
        group_of = model.group_of
        joins: Joins[int] = Joins()
        find = joins.find
        touched: list[tuple[str, tuple[int, ...]]] = []
        for reference in request.active:
            groups = tuple(group_of[n] for n in model.part(reference).nets if n in group_of)
            touched.append((reference, groups))
            joins.join(groups)
        for effect in request.effects:
            if effect.adding:
                joins.join(effect.groups)
        nets = [*request.nets, *(n for lead in request.leads for n in (lead.red, lead.black))]
        nets.extend(n for reference in request.parts for n in model.part(reference).nets)
        wanted = {find(group_of[n]) for n in nets if n in group_of}
        feeding = self._feeds(wanted, find)
        wanted |= feeding
        active = frozenset(r for r, groups in touched if any(find(g) in wanted for g in groups))
        effects = tuple(
            e for e in request.effects if not e.groups or any(find(g) in wanted for g in e.groups)
        )
        return PointRequest(
            active, effects, request.rails, request.nets, request.parts, request.leads, request.opened
        )

    def _feeds(self, wanted: set[int], find: Callable[[int], int]) -> set[int]:
        """Bus groups that share a part with a wanted group: what feeds it, and all that hangs there."""
        feeds: set[int] = set()
        for group, buses in self.bus_neighbours.items():
            if find(group) in wanted:
                feeds.update(find(b) for b in buses)
        for group, buses in self.bus_neighbours.items():
            if any(find(b) in feeds for b in buses):
                feeds.add(find(group))
        return feeds

    def solve(self, requests: Sequence[PointRequest], *, localise: bool = False) -> list[OperatingPoint]:
        """One operating point per request, in order; everything unknown is solved in one batch.

        ``localise``: cut each request down first; not worth it where the caller has done so.
        """
        local = [self.localise(r) for r in requests] if localise else requests
        self._fill(local)
        return [self._known[r] for r in local]

    def _fill(self, requests: Sequence[PointRequest]) -> None:
        missing = list({r: None for r in requests if r not in self._known})
        if not missing:
            return
        instants = [
            Instant(
                active=r.active,
                patches={e.part.reference: e.patch for e in r.effects if e.lead is None},
                nets=r.nets,
                parts=r.parts,
                leads=(*r.leads, *(e.lead for e in r.effects if e.lead is not None)),
                opened=r.opened,
                levels=dict(r.levels) if r.levels else None,
                rails={net: (volts, ohms) for net, volts, ohms in r.rails},
            )
            for r in missing
        ]
        for request, point in zip(
            missing, operating_points(self.model.circuit, instants, self._solver), strict=True
        ):
            self._known[request] = point
