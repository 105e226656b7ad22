"""What is worth a second look in a definition that can be used as it is."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from matrixdoc.definition.wiring import GROUND, Coil, Wiring

_CARRIES = frozenset({"wire", "joint", "pin"})
_SWITCHES = frozenset({"high_side_pnp", "high_side_darlington", "high_side_pmos"})
_CIRCUIT = frozenset({"wire", "coil", "diode"})
_WINDING_LIMIT_A = 20.0


def lint(wiring: Wiring) -> tuple[str, ...]:
    """Warnings about a machine, each a sentence; none of them keeps it from being used."""
    found = [
        *_winding_fuses(wiring),
        *_unfused_loads(wiring),
        *_latches(wiring),
        *_coils(wiring),
        *_chains(wiring),
        *_names(wiring),
        *_batteries(wiring),
    ]
    return tuple(dict.fromkeys(found))


def _winding_fuses(wiring: Wiring) -> Iterator[str]:
    for supply in wiring.supplies.values():
        if not supply.rectifiers:
            continue
        fuses = [wiring.parts[r] for r in supply.ac_parts if wiring.parts[r].kind == "fuse"]
        if not fuses:
            yield (
                f"{supply.title}: no fuse between winding and rectifier; a shorted rectifier diode can start "
                "a fire. Fit the fuse that the marking or the manual calls for."
            )
        elif all(fuse.origin != "stated" for fuse in fuses):
            yield (
                f"{supply.title}: it is assumed that a fuse sits between winding and rectifier; "
                "look, and state it."
            )


def _reached(wiring: Wiring, rail: str, kinds: frozenset[str]) -> set[str]:
    """The nets that a rail reaches through parts of ``kinds`` and through contacts closed at rest."""
    shut = {switch.contact for switch in wiring.switches.values() if switch.normally_closed}
    at: dict[str, list[tuple[str, ...]]] = {}
    for part in wiring.parts.values():
        if part.kind in kinds or part.reference in shut:
            for net in part.nets:
                at.setdefault(net, []).append(part.nets)
    seen: set[str] = set()
    waiting = [rail]
    while waiting:
        net = waiting.pop()
        if net not in seen and net != GROUND:
            seen.add(net)
            waiting.extend(other for nets in at.get(net, ()) for other in nets)
    return seen


def _unfused_loads(wiring: Wiring) -> Iterator[str]:
    """Rails that no fuse protects on the way to a coil, neither before the rectifier nor behind it."""
    circuits: dict[str, Coil] = {}
    for coil in wiring.coils.values():
        own = [coil.element, *(p for p in coil.parts if coil.matrix and wiring.parts[p].kind in _CIRCUIT)]
        circuits |= {net: coil for reference in own for net in wiring.parts[reference].nets}
    for supply in wiring.supplies.values():
        if any(wiring.parts[r].kind == "fuse" for r in supply.ac_parts):
            continue
        seen = _reached(wiring, supply.rail, _CARRIES | _SWITCHES)
        bare = sorted({circuits[net].title for net in seen if net in circuits})
        if bare:
            yield f"{supply.title}: no fuse anywhere on the way to {', '.join(bare)}."


def _latches(wiring: Wiring) -> Iterator[str]:
    """Thyristors whose supply never falls to nothing: what they light stays lit."""
    lamps = [
        wiring.parts[lamp.element]
        for lamp in wiring.lamps.values()
        if lamp.drive and wiring.parts[wiring.drives[lamp.drive].output].kind == "thyristor"
    ]
    if not lamps:
        return
    for supply in wiring.supplies.values():
        if supply.alternating or not (supply.capacitor or supply.regulator):
            continue
        nets = _reached(wiring, supply.rail, _CARRIES | {"fuse"})
        held = [part for part in lamps if nets.intersection(part.nets)]
        if held:
            yield (
                f"{supply.title}: a thyristor on a filtered supply never lets its lamp go out, and "
                f"{len(held)} of them hang on it; if the supply is unfiltered, state 'capacitor: none'."
            )


def _coils(wiring: Wiring) -> Iterator[str]:
    rails = {supply.rail: supply for supply in wiring.supplies.values()}
    highest = max((s.nominal_v for s in rails.values() if not s.alternating), default=0.0)
    for coil in wiring.coils.values():
        part = wiring.parts[coil.element]
        if part.kind != "coil":
            continue
        if not coil.diode and not coil.matrix:
            yield f"{coil.title}: no diode is stated across the winding; look for it on the board."
        ohm = part.values.get("ohm")
        if ohm is not None and part.origin == "stated" and highest / ohm > _WINDING_LIMIT_A:
            yield (
                f"{coil.title}: {ohm:g} ohm would draw up to {highest / ohm:.0f} A from {highest:g} V; "
                "check the resistance."
            )


def _chains(wiring: Wiring) -> Iterator[str]:
    for matrix in wiring.matrices.values():
        lines = (*matrix.columns, *matrix.rows)
        unknown = [line.key for line in lines if line.chain_order != "known" and len(line.lug_nets) > 1]
        if unknown and len(unknown) < len(lines):
            yield f"{matrix.name} matrix: the wiring order along {', '.join(unknown)} is not known."
        elif unknown:
            yield f"{matrix.name} matrix: the wiring order along its columns and rows is not known."


def _names(wiring: Wiring) -> Iterator[str]:
    for word, titles in (
        ("switches", [s.title for s in wiring.switches.values()]),
        ("lamps", [lamp.title for lamp in wiring.lamps.values() if not lamp.always_on]),
        ("coils", [coil.title for coil in wiring.coils.values()]),
    ):
        for title, count in Counter(titles).items():
            if count > 1:
                yield f"{count} {word} are called {title!r}; give each its own name, or a number."


def _batteries(wiring: Wiring) -> Iterator[str]:
    for board in wiring.batteries:
        yield (
            f"board {board}: a battery sits on it; its alkali eats what lies near. Look for residue, and "
            "consider a remote pack or non-volatile memory."
        )
