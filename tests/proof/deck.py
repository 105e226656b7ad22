"""From the second expansion to SPICE cards: one moment of one, possibly damaged, machine.

Laws of the parts are written out here a second time (the package's table of branches is not read):
which terminals conduct, in which state, through what. A deck holds everything that a conductor joins
to the nets asked for, ground and ideal rails excepted: two circuits that share nothing but ideal
sources do not know of each other.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from tests.proof.machine import EARTH, Element, Machine

G_MIN = 1e-12
"""Siemens from every net to ground (the stock simulators' default g_min)."""
VT = 1.380649e-23 * 300.15 / 1.602176634e-19
"""k T / q at 27 C, the simulators' own temperature; exact constants of the SI (2019)."""


class Card(NamedTuple):
    """A conductor: ``saturation`` 0 is a resistance; ``volts`` lifts the second net."""

    near: str
    far: str
    ohm: float
    saturation: float
    emission: float
    volts: float
    reference: str


@dataclass(frozen=True, slots=True)
class Damage:
    """What is wrong with one part, as a person with an iron could make it so.

    ``opened``: it conducts nothing itself; ``across_ohm``: something lies across its first two
    terminals; ``earthed_ohm``: ``terminal`` is joined to ground; ``turned``: its first two legs are
    exchanged; ``stuck``: it stays ``active`` or ``idle``; ``drifted``: values that are not healthy.
    """

    opened: bool = False
    across_ohm: float | None = None
    earthed_ohm: float | None = None
    terminal: int = 0
    turned: bool = False
    stuck: str = ""
    drifted: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Moment:
    """Parts that are on (closed contacts, conducting outputs), damage by part, bridges between
    terminals as ((part, terminal), (part, terminal), ohms), filament ohms, dead rails."""

    on: frozenset[str]
    damage: Mapping[str, Damage] = field(default_factory=dict)
    bridges: tuple[tuple[tuple[str, int], tuple[str, int], float], ...] = ()
    filaments: Mapping[str, float] = field(default_factory=dict)
    dead: frozenset[str] = frozenset()


def _own_cards(part: Element, value: Mapping[str, float], nets: tuple[str, ...], on: bool) -> list[Card]:  # noqa: C901 - a case for each kind
    """What a part conducts by itself, the kinds one by one."""
    name = part.reference

    def resistance(one: int, two: int, ohm: str) -> Card:
        return Card(nets[one], nets[two], value[ohm], 0.0, 1.0, 0.0, name)

    def junction(one: int, two: int, prefix: str = "", ohm: str = "series_ohm") -> list[Card]:
        amps, emission = value[f"{prefix}saturation_a"], value[f"{prefix}emission"]
        if amps == 0.0:
            return []
        return [Card(nets[one], nets[two], value[ohm], amps, emission, 0.0, name)]

    match part.kind:
        case "wire" | "joint" | "pin" | "resistor" | "coil" | "fuse" | "lamp":
            return [resistance(0, 1, "ohm")]
        case "contact":
            return [resistance(0, 1, "ohm")] if on else []
        case "phototransistor":  # collector, emitter: conducts while light arrives
            return [resistance(0, 1, "on_ohm")] if on else []
        case "diode" | "led" | "emitter":
            return junction(0, 1)
        case "capacitor":
            return []
        case "strobe_sink":  # line, ground
            return [resistance(0, 1, "on_ohm")] if on else []
        case "strobe_source":  # line, rail
            return [resistance(1, 0, "on_ohm")] if on else []
        case "strobe_push_pull" | "strobe_source_push_pull":  # line, active side, idle side
            return [resistance(0, 1, "on_ohm") if on else resistance(0, 2, "idle_ohm")]
        case "low_side":  # collector, emitter; its own diode the other way
            own = junction(0, 1) if on else []
            return own + junction(1, 0, "reverse_", "reverse_ohm")
        case "low_side_npn":
            return [resistance(0, 1, "on_ohm")] if on else []
        case "low_side_nmos":  # drain, source, body diode
            own = [resistance(0, 1, "on_ohm")] if on else []
            return own + junction(1, 0, "reverse_", "reverse_ohm")
        case "high_side_pnp":  # line, rail
            return [resistance(1, 0, "on_ohm")] if on else []
        case "high_side_darlington":
            own = junction(1, 0) if on else []
            return own + junction(0, 1, "reverse_", "reverse_ohm")
        case "high_side_pmos":
            own = [resistance(1, 0, "on_ohm")] if on else []
            return own + junction(0, 1, "reverse_", "reverse_ohm")
        case "thyristor":
            return junction(0, 1) if on else []
        case "changeover":  # common, idle contact, active contact
            return [resistance(0, 2, "active_ohm") if on else resistance(0, 1, "idle_ohm")]
        case "sensing":  # leakage to ground; a TTL-type input pushes current out of itself
            own = [resistance(0, 1, "leak_ohm")]
            amps = value["source_saturation_a"]
            if amps > 0.0:
                emission, volts = value["source_emission"], value["source_v"]
                own.append(Card(nets[1], nets[0], value["source_ohm"], amps, emission, -volts, name))
            return own
    raise AssertionError(part.kind)


def is_direct(reference: str, element: Element) -> bool:
    """Whether a part is in a direct-current circuit: it has nets, and does not make a rail."""
    return bool(element.nets) and not reference.startswith("supply/")


def _part_cards(element: Element, moment: Moment) -> list[Card]:
    """What a part conducts at a moment, and what damage makes of it."""
    reference, nets, value = element.reference, element.nets, element.values
    on = reference in moment.on
    if reference in moment.filaments:
        value = {**value, "ohm": moment.filaments[reference]}
    damage = moment.damage.get(reference)
    if damage is None:
        return _own_cards(element, value, nets, on)
    found: list[Card] = []
    if damage.stuck:
        on = damage.stuck == "active"
    if not damage.opened:
        own = (nets[1], nets[0], *nets[2:]) if damage.turned else nets
        found.extend(_own_cards(element, {**value, **damage.drifted}, own, on))
    if damage.across_ohm is not None:
        found.append(Card(nets[0], nets[1], damage.across_ohm, 0.0, 1.0, 0.0, f"{reference} across"))
    if damage.earthed_ohm is not None:
        net = nets[damage.terminal]
        found.append(Card(net, EARTH, damage.earthed_ohm, 0.0, 1.0, 0.0, f"{reference} earthed"))
    return found


def cards_of(machine: Machine, moment: Moment) -> list[Card]:
    """Every conductor of the machine, soft rails included; a dead rail keeps its usual load."""
    found: list[Card] = []
    for reference, element in machine.elements.items():
        if is_direct(reference, element):
            found.extend(_part_cards(element, moment))
    for one, two, ohm in moment.bridges:
        found.append(Card(machine.net(*one), machine.net(*two), ohm, 0.0, 1.0, 0.0, "bridge"))
    for rail in machine.rails.values():
        if rail.name in moment.dead:
            if rail.load_a:
                found.append(Card(rail.net, EARTH, rail.nominal_v / rail.load_a, 0.0, 1.0, 0.0, "load"))
        elif not rail.stiff:
            found.append(Card(rail.net, EARTH, rail.source_ohm, 0.0, 1.0, rail.open_v, f"rail {rail.name}"))
    return [card for card in found if card.near != card.far and not math.isinf(card.ohm)]


@dataclass(frozen=True, slots=True)
class Deck:
    """Cards that matter to the nets asked for, the ideal rails among them, and node names."""

    cards: tuple[Card, ...]
    ideal: Mapping[str, float]
    nodes: Mapping[str, str]

    def text(self, options: str) -> str:
        """The deck, without any analysis: title, cards, models, options of the simulator."""
        lines = ["proof of the circuit"]
        models: dict[tuple[float, float, float], str] = {}
        for number, card in enumerate(self.cards):
            near, far = self.node(card.near), self.node(card.far)
            if card.volts:
                lines.append(f"v{number} {near} s{number} {card.volts!r}")
                near = f"s{number}"
            if card.saturation:
                key = (card.saturation, card.emission, card.ohm)
                lines.append(f"d{number} {near} {far} {models.setdefault(key, f'm{len(models)}')}")
            else:
                lines.append(f"r{number} {near} {far} {card.ohm!r}")
        for (amps, emission, ohm), name in models.items():
            lines.append(f".model {name} d(is={amps!r} n={emission!r} rs={ohm!r})")
        lines += [f"vi{self.node(net)} {self.node(net)} 0 {volts!r}" for net, volts in self.ideal.items()]
        lines += [f"rg{n} {n} 0 {1 / G_MIN:g}" for net, n in self.nodes.items() if net not in self.ideal]
        lines.append(f".options gmin={G_MIN:g} {options} temp=27 tnom=27")
        return "\n".join(lines) + "\n"

    def node(self, net: str) -> str:
        """Node name of a net."""
        return "0" if net == EARTH else self.nodes[net]


def deck_for(machine: Machine, moment: Moment, nets: Iterable[str]) -> Deck:
    """The deck that decides the volts of ``nets``."""
    cards = cards_of(machine, moment)
    ideal = {r.net: r.nominal_v for r in machine.rails.values() if r.stiff and r.name not in moment.dead}
    fixed = {EARTH, *ideal}
    touching: dict[str, list[int]] = {}
    for number, card in enumerate(cards):
        for net in (card.near, card.far):
            if net not in fixed:
                touching.setdefault(net, []).append(number)
    reached = dict.fromkeys(net for net in nets if net not in fixed)
    waiting, kept = list(reached), dict[int, None]()
    while waiting:
        for number in touching.get(waiting.pop(), ()):
            if number in kept:
                continue
            kept[number] = None
            for net in (cards[number].near, cards[number].far):
                if net not in fixed and net not in reached:
                    reached[net] = None
                    waiting.append(net)
    chosen = tuple(cards[number] for number in sorted(kept))
    used = {net for card in chosen for net in (card.near, card.far)} & set(ideal)
    every = [*reached, *sorted(used)]
    nodes = {net: f"n{number}" for number, net in enumerate(every)}
    return Deck(chosen, {net: ideal[net] for net in sorted(used)}, nodes)
