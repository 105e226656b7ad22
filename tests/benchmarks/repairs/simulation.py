"""The benchmark's own simulation of one machine with some faults in it: what it does, in volts and amperes.

Decks of the second expansion, solved by neospice. Nothing here knows what a person would say of it;
that is in ``person.py``.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from matrixdoc.checks.situation import Situation, both_ends
from matrixdoc.circuit.patch import Patch
from matrixdoc.faults.priors import Fault
from tests.benchmarks.repairs.plant import Plant
from tests.benchmarks.repairs.supplies import BLOWS_AT_ONCE, BLOWS_IN_TIME, delivered
from tests.proof.compare import junction_a
from tests.proof.damage import Terminal, damage_of
from tests.proof.deck import Card, Damage, Deck, Moment, cards_of, deck_for
from tests.proof.machine import EARTH, Command, Machine
from tests.proof.simulate import Volts, by_neospice
from tests.proof.test_scans import commanded

CLIP_LEAD_OHM = 0.05
LOGIC_LIVES_FROM = 0.85
"""Share of its volts that the logic needs all the time: a dip resets it."""


class UnsolvedError(RuntimeError):
    """The simulator found no operating point."""


class Simulation:
    """A machine with ``faults`` in it, for good or for as long as somebody looks."""

    def __init__(self, plant: Plant, faults: Iterable[Fault], fuses_hold: bool = False) -> None:
        self.plant = plant
        self.faults = frozenset(faults)
        self.patches: dict[str, Patch] = {f.part: plant.possible[f].patch for f in sorted(self.faults)}
        self.damage: dict[str, Damage] = {}
        self.bridges: list[tuple[Terminal, Terminal, float]] = []
        for part, patch in self.patches.items():
            self._damage(part, patch)
        self.dead: set[str] = set()
        self.blown: set[str] = set()
        rails = dict(plant.machine.rails)
        for name in rails:
            found = delivered(plant, name, self.patches)
            if found.rail is None:
                self.dead.add(name)
            else:
                rails[name] = found.rail
            if found.blown:
                self.blown.add(found.blown)
        self.machine = _with_rails(plant.machine, rails)
        least = {name: delivered(plant, name, self.patches).least_share for name in plant.logic_rails}
        self.logic_dead = any(n in self.dead or share < LOGIC_LIVES_FROM for n, share in least.items())
        if not fuses_hold:
            self._blow_fuses()

    @property
    def healthy(self) -> Simulation:
        """The same machine without any fault."""
        if not self.faults:
            return self
        if "healthy" not in self.plant.known:
            self.plant.known["healthy"] = Simulation(self.plant, ())
        known: Simulation = self.plant.known["healthy"]
        return known

    def _damage(self, part: str, patch: Patch) -> None:
        element = self.plant.machine.elements.get(part)
        if element is None:
            one, two = self.plant.circuit.bridges[part].nets
            self.bridges.append((self.plant.at[one], self.plant.at[two], patch.shunt_ohm or 0.0))
        elif element.nets and not (element.kind == "sensing" and patch.stuck):
            self.damage[part] = damage_of(patch)

    # -- decks ---------------------------------------------------------------------------------------

    def moment(self, situation: Situation, on: Iterable[str]) -> Moment:
        """The machine at one moment of a situation."""
        damage = dict(self.damage)
        for pair in situation.swapped:
            one, two = both_ends(pair)
            there = {one: damage.pop(two, None), two: damage.pop(one, None)}
            damage.update({part: what for part, what in there.items() if what is not None})
        for reference in (*situation.opened, *self.blown):
            damage[reference] = Damage(opened=True)
        bridges = list(self.bridges)
        for lead in situation.jumpers:
            one, two = both_ends(lead)
            bridges.append((self.plant.at[one], self.plant.at[two], CLIP_LEAD_OHM))
        dead = frozenset(self.dead if situation.power else self.machine.rails)
        cold = {}
        if not situation.power:
            elements = self.machine.elements
            lamps = [r for r, e in elements.items() if e.kind == "lamp"]
            cold = {r: elements[r].values["cold_ohm"] for r in lamps if r not in damage}
        return Moment(frozenset(on), damage, tuple(bridges), cold, dead)

    def deck(self, moment: Moment, nets: Sequence[str], extra: Sequence[Card] = ()) -> Deck:
        """The deck that decides the volts of ``nets``, conductors ``extra`` included."""
        if not extra:
            return deck_for(self.machine, moment, nets)
        ends = [n for c in extra for n in (c.near, c.far) if n != EARTH]
        deck = deck_for(self.machine, moment, [*nets, *ends])
        live = {
            r.net: r.nominal_v for r in self.machine.rails.values() if r.stiff and r.name not in moment.dead
        }
        nodes, ideal = dict(deck.nodes), dict(deck.ideal)
        for net in ends:
            nodes.setdefault(net, f"n{len(nodes)}")
            if net in live:
                ideal[net] = live[net]
        return replace(deck, cards=(*deck.cards, *extra), nodes=nodes, ideal=ideal)

    def volts(self, decks: Sequence[Deck]) -> list[Volts]:
        """Volts of every net of each deck.

        Raises:
            UnsolvedError: the simulator gives up on one of them.
        """
        found = []
        for deck in decks:
            (one,) = by_neospice([deck]) if deck.nodes else ({EARTH: 0.0},)
            if one is None:
                raise UnsolvedError(deck.text(""))
            found.append({**deck.ideal, **one})
        return found

    def amps(self, moment: Moment, at: Volts, parts: Iterable[str]) -> dict[str, float]:
        """What flows through the parts themselves, not beside them, in amperes from the first net on."""
        found = dict.fromkeys(parts, 0.0)
        for card in cards_of(self.machine, moment):
            if card.reference in found:
                drop = at.get(card.near, 0.0) - at.get(card.far, 0.0)
                found[card.reference] += junction_a(card, drop) if card.saturation else drop / card.ohm
        return found

    def nets_of(self, parts: Iterable[str]) -> list[str]:
        """Nets of parts, ground left out."""
        elements = self.machine.elements
        return list(dict.fromkeys(net for p in parts for net in elements[p].nets if net != EARTH))

    # -- signals -------------------------------------------------------------------------------------

    def outputs(self, commands: Iterable[Command], wanted: set[str]) -> set[str]:
        """Outputs told to conduct while the logic wants ``wanted`` of them."""
        some = list({c.output: c for c in commands}.values())
        picked: set[tuple[object, int]] = set()
        for command in some:
            if command.lines and command.output in wanted:
                picked.add((command.lines, self._address(command)))
        found = set()
        for command in some:
            on = command.output in wanted
            if command.lines:
                on = (command.lines, command.number) in picked
            if commanded(command, on, self.patches):
                found.add(command.output)
        return found

    def _address(self, command: Command) -> int:
        """What is on the select lines; a broken one is low, the part nearest the decoder decides."""
        address = 0
        for bit, line in enumerate(command.lines):
            high = bool(command.number >> bit & 1)
            for part in line:
                patch = self.patches.get(part)
                if patch is not None and (patch.stuck or patch.absent):
                    high = patch.stuck == "active"
            address |= int(high) << bit
        return address

    # -- fuses ---------------------------------------------------------------------------------------

    def _blow_fuses(self) -> None:
        """Fuses that were overloaded with nothing commanded are gone before anybody looks."""
        from tests.benchmarks.repairs.coils import resting_moment

        adding = any(
            p.shunt_ohm is not None or p.ground_ohm is not None or p.reversed for p in self.patches.values()
        )
        if not adding:
            return
        elements = self.machine.elements
        fuses = [r for r, e in elements.items() if e.kind == "fuse" and not r.startswith("supply/")]
        for _ in range(3):
            moment = resting_moment(self)
            soft = [r for r in self.machine.rails.values() if not r.stiff and r.name not in self.dead]
            (at,) = self.volts([self.deck(moment, [*self.nets_of(fuses), *(r.net for r in soft)])])
            amps = self.amps(moment, at, fuses)
            gone = {f for f in fuses if abs(amps[f]) > _stands(f) * elements[f].values["rated_a"]}
            for rail in soft:
                fuse = elements.get(f"supply/{rail.name}/fuse")
                drawn = (rail.open_v - at.get(rail.net, rail.open_v)) / max(rail.source_ohm, 1e-3)
                # A capacitor-input supply draws short pulses: 1.8 times the direct current, effective.
                if not gone and fuse and 1.8 * drawn > BLOWS_AT_ONCE * fuse.values["rated_a"]:
                    self.blown.add(fuse.reference)
                    self.dead.add(rail.name)
            if not gone - self.blown:
                return
            self.blown |= gone


def _stands(fuse: str) -> float:
    """Times its rating that a fuse has stood: general illumination has been on for long, while a locked
    coil is switched off at once."""
    return BLOWS_IN_TIME if fuse.startswith("illumination/") else BLOWS_AT_ONCE


def _with_rails(machine: Machine, rails: dict) -> Machine:
    return replace(machine, rails=rails)
