"""Random damage, and the same damage in the words of the package (patches of parts)."""

from __future__ import annotations

import random
from collections.abc import Sequence

from matrixdoc.circuit.netlist import Circuit
from matrixdoc.circuit.patch import Patch
from tests.proof.deck import Damage, Moment
from tests.proof.machine import Machine

SHORT, BAD, LEAK = (0.01, 1.0), (10.0, 1e5), (100.0, 1e6)
"""Ohms of a short, a bad joint, a leak."""


def between(rng: random.Random, ohms: tuple[float, float]) -> float:
    """A resistance, evenly spread by its logarithm."""
    return float(f"{ohms[0] * (ohms[1] / ohms[0]) ** rng.random():.3g}")


def _earthed(rng: random.Random) -> Damage:
    return Damage(earthed_ohm=between(rng, rng.choice([SHORT, SHORT, LEAK])), terminal=rng.randint(0, 1))


def _passive(rng: random.Random) -> Damage:
    return rng.choice([Damage(opened=True), Damage(opened=True, across_ohm=between(rng, BAD)), _earthed(rng)])


def _resistor(rng: random.Random) -> Damage:
    drifted = Damage(drifted={"ohm": between(rng, (30.0, 1e5))})
    shorted = Damage(across_ohm=between(rng, SHORT))  # a pull: its line lies on the rail
    return rng.choice([Damage(opened=True), drifted, shorted, _earthed(rng)])


def _contact(rng: random.Random) -> Damage:
    return rng.choice(
        [
            Damage(opened=True),
            Damage(stuck="active"),
            Damage(stuck="idle"),
            Damage(across_ohm=between(rng, LEAK)),
            Damage(drifted={"ohm": between(rng, (1.0, 5000.0))}),
            _earthed(rng),
        ]
    )


def _junction(rng: random.Random) -> Damage:
    return rng.choice(
        [
            Damage(opened=True),
            Damage(across_ohm=between(rng, SHORT)),
            Damage(across_ohm=between(rng, LEAK)),
            Damage(turned=True),
            Damage(turned=True),
            _earthed(rng),
        ]
    )


def _output(rng: random.Random, kind: str) -> Damage:
    choices = [
        Damage(stuck="active"),
        Damage(stuck="idle"),
        Damage(opened=True),
        Damage(across_ohm=between(rng, SHORT)),
        Damage(across_ohm=between(rng, LEAK)),
        Damage(earthed_ohm=between(rng, SHORT)),
    ]
    if kind.endswith("push_pull"):  # a floating idle: the idle side is gone, or weak
        choices += [Damage(drifted={"idle_ohm": between(rng, (15.0, 1e8))})] * 2
    return rng.choice(choices)


def _load(rng: random.Random, kind: str) -> Damage:
    choices = [Damage(opened=True), Damage(across_ohm=between(rng, SHORT)), _earthed(rng)]
    if kind == "coil":
        choices.append(Damage(drifted={"ohm": between(rng, (0.3, 200.0))}))
    return rng.choice(choices)


def random_damage(rng: random.Random, kind: str) -> Damage:
    """Something that can be wrong with a part of that kind."""
    if kind in ("wire", "joint", "pin", "fuse"):
        return _passive(rng)
    if kind == "resistor":
        return _resistor(rng)
    if kind == "contact":
        return _contact(rng)
    if kind in ("diode", "led", "emitter"):
        return _junction(rng)
    if kind in ("coil", "lamp"):
        return _load(rng, kind)
    if kind == "sensing":
        return rng.choice([Damage(opened=True), Damage(across_ohm=between(rng, LEAK)), _earthed(rng)])
    return _output(rng, kind)


def patches_of(circuit: Circuit, moment: Moment) -> dict[str, Patch]:
    """The same damage as patches by part reference, latent bridges included."""
    found = {reference: patch_of(damage) for reference, damage in moment.damage.items()}
    for one, two, ohm in moment.bridges:
        nets = {circuit.parts[one[0]].nets[one[1]], circuit.parts[two[0]].nets[two[1]]}
        found[next(r for r, b in circuit.bridges.items() if set(b.nets) == nets)] = Patch(shunt_ohm=ohm)
    return found


def patch_of(damage: Damage) -> Patch:
    """One damage as a patch."""
    return Patch(
        values=damage.drifted,
        absent=damage.opened,
        shunt_ohm=damage.across_ohm,
        ground_ohm=damage.earthed_ohm,
        ground_terminal=damage.terminal,
        reversed=damage.turned,
        stuck="active" if damage.stuck == "active" else "idle" if damage.stuck else "",
    )


def damage_of(patch: Patch) -> Damage:
    """A patch of the published catalogue as damage."""
    return Damage(
        patch.absent,
        patch.shunt_ohm,
        patch.ground_ohm,
        patch.ground_terminal,
        patch.reversed,
        patch.stuck,
        patch.values,
    )


Terminal = tuple[str, int]


def neighbour_terminals(circuit: Circuit) -> list[tuple[Terminal, Terminal]]:
    """Latent bridges of the machine as pairs of (part, terminal)."""
    at: dict[str, Terminal] = {}
    for reference, part in circuit.wiring.parts.items():
        for number, net in enumerate(part.nets):
            at.setdefault(net, (reference, number))
    return [(at[b.nets[0]], at[b.nets[1]]) for b in circuit.bridges.values() if set(b.nets) <= set(at)]


def random_moment(
    rng: random.Random,
    machine: Machine,
    on: frozenset[str],
    near: Sequence[str],
    anywhere: Sequence[str],
    bridges: Sequence[tuple[Terminal, Terminal]],
) -> Moment:
    """A moment with 0 to 3 things wrong: mostly with parts ``near`` what is used, or a bridge."""
    damage: dict[str, Damage] = {}
    joined: list[tuple[Terminal, Terminal, float]] = []
    for _ in range(rng.choice([0, 1, 1, 2, 2, 3])):
        if bridges and rng.random() < 0.15:
            pair = rng.choice(bridges)
            if all(pair != known[:2] for known in joined):
                joined.append((*pair, between(rng, rng.choice([SHORT, SHORT, BAD]))))
            continue
        reference = rng.choice(near if rng.random() < 0.7 else anywhere)
        damage[reference] = random_damage(rng, machine.elements[reference].kind)
    return Moment(on, damage, tuple(joined))
