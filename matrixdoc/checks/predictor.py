"""The one door to prediction: a situation, a look, a set of faults -> a distribution of outcomes."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from matrixdoc.checks.brown_out import BrownOut
from matrixdoc.checks.chart import as_wired
from matrixdoc.checks.coils import Coils
from matrixdoc.checks.flicker import FLICKERS, LOOSE, unsteady
from matrixdoc.checks.fuses import HOLDS, Fuses
from matrixdoc.checks.kin import find_kin, find_line_kin
from matrixdoc.checks.lamps import Lamps, brightness
from matrixdoc.checks.meter import Meter, MeterKind
from matrixdoc.checks.model import FaultEffect, MachineModel, effect_of_jumper, effect_of_opening
from matrixdoc.checks.optos import Optos
from matrixdoc.checks.points import Points
from matrixdoc.checks.prediction import Prediction
from matrixdoc.checks.provoked import PROVOKED, asked_of_run, run_warm, warmed, wiggled
from matrixdoc.checks.reads import Reads
from matrixdoc.checks.situation import NO_LOGIC, Look, Outcome, Situation, both_ends
from matrixdoc.checks.timing import LOOSE as LOOSE_COIL
from matrixdoc.checks.timing import TWICE, Timing, doubled
from matrixdoc.faults.priors import Fault

WITHOUT_POWER: dict[str, Outcome] = {
    "reads": frozenset(),
    "lamp": "off",
    "coil": "nothing",
    "resting coils": frozenset(),
    "new fuse": HOLDS,
}
"""What a look shows on a machine that is switched off."""

Question = tuple[Situation, Look, tuple[Fault, ...]]


class View:
    """One look in one situation; remembers what it shows for each set of faults."""

    __slots__ = ("_known", "_predictor", "look", "situation")

    def __init__(self, predictor: Predictor, situation: Situation, look: Look) -> None:
        self._predictor, self.situation, self.look = predictor, situation, look
        self._known: dict[tuple[Fault, ...], Prediction] = {}

    def __contains__(self, faults: tuple[Fault, ...]) -> bool:
        return faults in self._known

    def predict(self, faults: tuple[Fault, ...]) -> Prediction:
        """Outcomes if exactly ``faults`` were there."""
        known = self._known.get(faults)
        if known is None:
            known = self._known[faults] = self._predictor.predict(self.situation, self.look, faults)
        return known


class Predictor:
    """Answers questions about one machine. Holds caches; answers do not depend on them."""

    def __init__(self, model: MachineModel, meter: MeterKind | None = None) -> None:
        self.model = model
        self.points = Points(model)
        self.brown_out = BrownOut(model)
        self.optos = Optos(model, self.points)
        self.reads = Reads(model, self.points, self.optos)
        self.lamps = Lamps(model, self.points)
        self.coils = Coils(model, self.points, self.reads)
        self.meter = Meter(model, self.points, self.reads, self.lamps, self.coils, meter)
        self.fuses = Fuses(model, self.points, self.coils)
        self.timing = Timing(model, self.coils)
        self.anchors: object | None = None
        self._kin = find_kin(model)
        self._line_kin = find_line_kin(model, self._kin)
        self._opened: dict[str, FaultEffect] = {}
        self._jumpers: dict[str, FaultEffect] = {}
        self._blows: dict[FaultEffect, tuple[str, ...]] = {}
        self._known: dict[Question, Prediction] = {}
        self._timed: dict[Question, Prediction] = {}
        self._views: dict[tuple[Situation, Look], View] = {}

    def view(self, situation: Situation, look: Look) -> View:
        """This look in this situation, for many questions about it."""
        found = self._views.get((situation, look))
        if found is None:
            found = self._views[(situation, look)] = View(self, situation, look)
        return found

    def standing_for(self, look: Look, faults: tuple[Fault, ...]) -> tuple[Fault, ...]:
        """The faults that a look takes these for: see ``checks.kin``."""
        if look.kind in ("meter", "fuse", "new fuse") or look.kind in PROVOKED:
            return faults
        if len(faults) == 1 and look.kind in ("reads", "lamp"):
            return (self._line_kin[faults[0]],) if faults[0] in self._line_kin else faults
        kin = self._kin
        stand_ins = tuple(sorted({kin[f] for f in faults}))
        parts = {f.part for f in stand_ins}
        return stand_ins if len(parts) == len(faults) else faults

    def effects(self, situation: Situation, faults: Iterable[Fault]) -> tuple[FaultEffect, ...]:
        """Effects of the faults, of the parts that the situation takes out of circuit, and of its leads."""
        there = self._moved(situation, faults) if situation.swapped else faults
        found = [self.model.effects[f] for f in sorted(set(there)) if f.part not in situation.opened]
        found = [e for e in found if not e.timing]
        found += self._blown(found, situation)
        for reference in situation.opened:
            found.append(self._opening(reference))
        for lead in situation.jumpers:
            effect = self._jumpers.get(lead)
            if effect is None:
                effect = self._jumpers[lead] = effect_of_jumper(self.model, lead)
            found.append(effect)
        return tuple(found)

    def _blown(self, effects: Sequence[FaultEffect], situation: Situation) -> list[FaultEffect]:
        """Effects of the fuses that shorts among these have blown: nobody sees them otherwise."""
        self._learn(effects)
        gone = {*situation.opened, *(e.part.reference for e in effects)}
        fuses = sorted({fuse for e in effects for fuse in self._blows[e]} - gone)
        return [self._opening(fuse) for fuse in fuses]

    def _learn(self, effects: Iterable[FaultEffect]) -> None:
        unknown = [e for e in effects if e not in self._blows]
        if unknown:
            self._blows.update(self.fuses.blown_by(unknown))

    def blown_by(self, faults: Iterable[Fault]) -> tuple[str, ...]:
        """Fuses that these faults, each by itself, have blown."""
        effects = [self.model.effects[f] for f in faults if f in self.model.effects]
        self._learn(effects)
        return tuple(sorted({fuse for e in effects for fuse in self._blows[e]}))

    def blowing(self, fuse: str) -> tuple[Fault, ...]:
        """Faults that blow a fuse by themselves, as soon as the machine is on."""
        some = [e for e in self.model.effects.values() if fuse in self.fuses.behind(e)]
        self._learn(some)
        return tuple(e.fault for e in some if fuse in self._blows[e])

    def _opening(self, reference: str) -> FaultEffect:
        effect = self._opened.get(reference)
        if effect is None:
            effect = self._opened[reference] = effect_of_opening(self.model, reference)
        return effect

    def _moved(self, situation: Situation, faults: Iterable[Fault]) -> list[Fault]:
        """The faults where they are while parts sit in each other's place: they go with their parts."""
        places: dict[str, str] = {}
        for pair in situation.swapped:
            one, two = both_ends(pair)
            places |= {one: two, two: one}
        moved = [Fault(places.get(fault.part, fault.part), fault.mode) for fault in faults]
        return [fault for fault in moved if fault in self.model.effects]

    def prepare(self, questions: Sequence[Question]) -> None:
        """Solve everything that ``questions`` need in few batches."""
        runs = [q for q in questions if q[1].kind == "warm up"]
        if runs:
            questions = [*questions, *(one for _, look, faults in runs for one in self._of_run(look, faults))]
        asked = dict.fromkeys(f for _, _, faults in questions for f in faults if f in self.model.effects)
        self._learn(self.model.effects[f] for f in asked)
        if self.optos.pairs:
            self.prepare_optos(questions)
        wanted: dict[str, list[Any]] = {"reads": [], "lamps": [], "coils": [], "fuses": [], "meter": []}
        for question in questions:
            situation, look, named = as_wired(*question)
            faults = named if situation.altered else self.standing_for(look, named)
            if (situation, look, faults) in self._known:
                continue
            door, keys = self._needs(situation, look, self.effects(situation, faults))
            if door:
                wanted[door].extend(keys)
        for door, keys in wanted.items():
            if keys:
                getattr(self, door).prepare(keys)

    def _of_run(self, look: Look, faults: tuple[Fault, ...]) -> list[Question]:
        return asked_of_run(self.model, look.target, faults)

    def prepare_optos(self, questions: Sequence[Question]) -> None:
        """What the optical pairs do decides which contacts a scan sees: it is worked out first."""
        wanted = []
        for question in questions:
            situation, look, named = as_wired(*question)
            if situation.power and look.kind in ("reads", "coil", "resting coils", "meter", "new fuse"):
                faults = named if situation.altered else self.standing_for(look, named)
                effects = self.effects(situation, faults)
                wanted.append((situation.held, effects))
                if look.kind != "meter":
                    # The coils ask for the switches that fire them without the faults of contacts.
                    wanted.append((situation.held, tuple(e for e in effects if e.contact is None)))
        self.optos.prepare(wanted)

    def _needs(
        self, situation: Situation, look: Look, effects: tuple[FaultEffect, ...]
    ) -> tuple[str, list[Any]]:
        """Who has to solve what before a look can be predicted; no name where nobody has to."""
        if look.kind == "meter":
            return "meter", [(situation, look, effects)]
        if not situation.power or look.kind == "fuse" or look.kind in PROVOKED:
            return "", []
        if look.kind == "reads":
            dead = self.brown_out.lives(effects) <= 0.0
            return "" if dead else "reads", [] if dead else [self.reads.pair(situation.held, effects)]
        if look.kind == "lamp":
            return "lamps", [(look.target, situation.lamps, effects)]
        if look.kind == "new fuse":
            return "fuses", [(look.target, situation.pulsed, effects)]
        resting = ("", situation.held, without_leads(effects))
        if look.kind == "resting coils":
            return "coils", [resting]
        pulsed = look.target if not by_hand(situation) else ""
        hold = self.timing.holding.get(look.target)
        stroke = [(hold, (), effects)] if hold and effects else []
        return "coils", [(pulsed, situation.held, effects), resting, *stroke]

    def brightest_off(self, questions: Sequence[Question]) -> list[float]:
        """For looks at lamps: the most probability that "off" can have, at a fraction of the work.

        A lamp is at least as bright as the phases of the scan make it in which it is lit when healthy.
        """
        keys = []
        for situation, look, named in questions:
            faults = named if situation.altered else self.standing_for(look, named)
            keys.append((look.target, situation.lamps, self.effects(situation, faults)))
        self.lamps.prepare(keys, own_phases=True)
        return [dict(brightness(self.lamps.least_ratio(*key))).get("off", 0.0) for key in keys]

    def predict(self, situation: Situation, look: Look, faults: tuple[Fault, ...]) -> Prediction:
        """Outcomes of ``look`` in ``situation`` if exactly ``faults`` were there."""
        situation, look, faults = as_wired(situation, look, faults)
        if look.kind not in ("lamp", "coil") or not situation.power or not faults:
            return self.while_there(situation, look, faults)
        question = (situation, look, faults)
        known = self._timed.get(question)
        if known is None:
            known = self._timed[question] = self._in_time(situation, look, faults)
        return known

    def _in_time(self, situation: Situation, look: Look, faults: tuple[Fault, ...]) -> Prediction:
        """The outcomes with what only time shows: flicker, and firing twice."""
        found = self.while_there(situation, look, faults)
        steady = tuple(f for f in faults if not self._comes_and_goes(f))
        if len(steady) < len(faults):
            caught = (FLICKERS, LOOSE) if look.kind == "lamp" else (TWICE, LOOSE_COIL)
            found = unsteady(found, self.while_there(situation, look, steady), *caught)
        if look.kind == "coil" and dict(found).get("fires", 0.0) > 0.0:
            alike = faults if situation.altered else self.standing_for(look, faults)
            effects = self.effects(situation, alike)
            twice = self.timing.twice(look.target, faults, effects, self.brown_out.lives(effects))
            found = doubled(found, twice)
        return found

    def _comes_and_goes(self, fault: Fault) -> bool:
        entry = self.model.possible.get(fault)
        return entry is not None and entry.duty > 0.0

    def while_there(self, situation: Situation, look: Look, faults: tuple[Fault, ...]) -> Prediction:
        """The outcomes while what comes and goes is there, without the rules of timing."""
        if not situation.altered:
            faults = self.standing_for(look, faults)
        question = (situation, look, faults)
        known = self._known.get(question)
        if known is None:
            known = self._known[question] = self._predict(situation, look, faults)
        return known

    def _predict(self, situation: Situation, look: Look, faults: tuple[Fault, ...]) -> Prediction:
        effects = self.effects(situation, faults)
        if look.kind == "fuse":
            patched = [e for e in effects if e.part.reference == look.target and e.patch.absent]
            return (("open" if patched else "good", 1.0),)
        if look.kind == "meter":
            return self.meter.predict(situation, look, effects)
        if look.kind == "wiggle":
            return wiggled(self.model, look.target, faults)
        if look.kind == "warm":
            return warmed(self.model, look, faults, self.while_there)
        if look.kind == "warm up":
            return run_warm(self.model, look, faults, self.while_there)
        if not situation.power:
            return ((WITHOUT_POWER[look.kind], 1.0),)
        if look.kind == "new fuse":
            return self.fuses.predict(look.target, situation.pulsed, effects)
        lives = self.brown_out.lives(effects) if self._needs_logic(situation, look) else 1.0
        seen = self._seen(situation, look, effects) if lives > 0.0 else ()
        if lives >= 1.0:
            return seen
        dead: Outcome = frozenset({NO_LOGIC}) if look.kind == "reads" else NO_LOGIC
        outcomes = [*((outcome, lives * share) for outcome, share in seen), (dead, 1.0 - lives)]
        return tuple(sorted(outcomes, key=lambda o: -o[1]))

    def _seen(self, situation: Situation, look: Look, effects: tuple[FaultEffect, ...]) -> Prediction:
        """What a look under power shows of a machine whose logic lives."""
        if look.kind == "lamp":
            return self.lamps.predict(look.target, situation.lamps, effects)
        if look.kind == "reads":
            return self._read(situation, effects)
        if look.kind == "resting coils":
            return self.coils.predict_resting(situation.held, effects)
        if by_hand(situation):
            return self.coils.predict_by_hand(look.target, situation.held, effects)
        return self.coils.predict_pulse(look.target, situation.held, effects)

    def _needs_logic(self, situation: Situation, look: Look) -> bool:
        """Whether a look needs a self-test, which does not run while the logic has no supply."""
        if look.kind == "lamp":
            lamp = self.model.circuit.wiring.lamps[look.target]
            return bool(lamp.drive or lamp.matrix)
        return look.kind == "reads" or (look.kind == "coil" and not by_hand(situation))

    def _read(self, situation: Situation, effects: tuple[FaultEffect, ...]) -> Prediction:
        contacts, rest = self.reads.pair(situation.held, effects)
        self.reads.prepare([(contacts, rest)])
        return self.reads.predict(contacts, rest)


def by_hand(situation: Situation) -> bool:
    """Whether a clip lead, and not the machine's command, is to fire a coil."""
    return bool(situation.jumpers) and not situation.pulsed


def without_leads(effects: tuple[FaultEffect, ...]) -> tuple[FaultEffect, ...]:
    """The effects that stay when the clip leads are off."""
    return tuple(e for e in effects if e.lead is None)
