"""From a resolved wiring to a circuit: net numbers, values filled in, latent bridges."""

from __future__ import annotations

import dataclasses
from types import MappingProxyType

from matrixdoc.circuit.elements import Circuit, RailSupply, RawBranch, part_branches
from matrixdoc.circuit.kinds import Kind, KindTable, load_kind_table
from matrixdoc.circuit.supplies import rail_source
from matrixdoc.definition.wiring import GROUND, Part, Wiring

ALTERNATING_KINDS = frozenset({"winding", "rectifier", "electrolytic", "regulator"})


def bridge_reference(first: str, second: str) -> str:
    """Reference of the latent bridge between two neighbouring nets."""
    return f"bridge/{first}~{second}"


def latent_bridges(wiring: Wiring) -> dict[str, Part]:
    """One latent part per pair of neighbours, in the order of the wiring."""
    bridges: dict[str, Part] = {}
    for first, second, where in wiring.neighbours:
        reference = bridge_reference(first, second)
        if first != second and reference not in bridges and bridge_reference(second, first) not in bridges:
            bridges[reference] = Part(reference, "bridge", (first, second), title=where, place=where)
    return bridges


def _checked(part: Part, table: KindTable) -> Kind:
    try:
        kind = table.kind(part.kind)
    except ValueError as error:
        raise ValueError(f"part {part.reference}: {error}") from None
    wanted = len(kind.terminals)
    if part.nets and len(part.nets) != wanted:
        raise ValueError(
            f"part {part.reference}: a {kind.words} has {wanted} terminals ({', '.join(kind.terminals)}), "
            f"found {len(part.nets)} nets"
        )
    return kind


def build_circuit(wiring: Wiring) -> Circuit:
    """Number the nets, fill in healthy values, add the latent bridges.

    Raises ``ValueError`` for an unknown kind, a wrong number of nets, or an impossible value; the
    message names the part.
    """
    table = load_kind_table()
    bridges = latent_bridges(wiring)
    parts = {**wiring.parts, **bridges}
    alternating = {name for supply in wiring.supplies.values() for name in supply.ac_parts}
    alternating |= {name for name, part in parts.items() if part.kind in ALTERNATING_KINDS}
    net_index: dict[str, int] = {GROUND: 0}
    terminals: list[tuple[int, ...]] = []
    kinds: list[Kind] = []
    values: list[dict[str, float]] = []
    idle: list[tuple[RawBranch, ...]] = []
    active: list[tuple[RawBranch, ...]] = []
    for name, part in parts.items():
        kind = _checked(part, table)
        nets = tuple(net_index.setdefault(net, len(net_index)) for net in part.nets)
        try:
            own = table.values(part.kind, part.type_name, part.values)
        except ValueError as error:
            raise ValueError(f"part {part.reference}: {error}") from None
        solved = bool(nets) and name not in alternating
        terminals.append(nets)
        kinds.append(kind)
        values.append(own)
        idle.append(part_branches(kind, nets, own, active=False) if solved else ())
        active.append(part_branches(kind, nets, own, active=True) if solved else ())
    for supply in wiring.supplies.values():
        net_index.setdefault(supply.rail, len(net_index))
    for first, second, _ in wiring.neighbours:
        net_index.setdefault(first, len(net_index))
        net_index.setdefault(second, len(net_index))
    circuit = Circuit(
        wiring=wiring,
        table=table,
        parts=MappingProxyType(parts),
        bridges=MappingProxyType(bridges),
        alternating=frozenset(alternating),
        net_names=tuple(net_index),
        net_index=MappingProxyType(net_index),
        part_names=tuple(parts),
        part_index=MappingProxyType({name: number for number, name in enumerate(parts)}),
        terminals=tuple(terminals),
        part_values=tuple(MappingProxyType(own) for own in values),
        kinds=tuple(kinds),
        idle=tuple(idle),
        active=tuple(active),
        rails=(),
        rail_of_net=MappingProxyType({}),
    )
    rails: list[RailSupply] = []
    for supply in wiring.supplies.values():
        source = rail_source(circuit, supply.name, {}, frozenset())
        load_ohm = supply.nominal_v / supply.load_a if supply.load_a > 0 else float("inf")
        rails.append(
            RailSupply(
                supply.name,
                net_index[supply.rail],
                supply.stiff,
                source.open_volts,
                source.source_ohm,
                supply.load_a,
                load_ohm,
            )
        )
    rail_of_net = MappingProxyType({rail.net: number for number, rail in enumerate(rails)})
    return dataclasses.replace(circuit, rails=tuple(rails), rail_of_net=rail_of_net)
