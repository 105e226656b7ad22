"""When a new fuse of the marked rating blows: at once, after a while, only when a coil is fired.

The current through it is solved; how long a fuse stands it follows the gates of IEC 60127-2 sheet 3
(time-lag, 0.125 to 6.3 A; as in a maker's data sheet): 1.5 times the rating for an hour at least, 2.1
times for two minutes at most, 2.75 times for 0.6 to 10 s, 4 times for 0.15 to 3 s, 10 times for 20 to
300 ms. The edges below lie between those gates. A fuse between winding and rectifier carries the
effective current of a capacitor-input supply, 1.8 times its direct current (common practice; from
memory), or 1.11 times without a capacitor (form factor of a rectified sine).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace

from matrixdoc.checks.cautions import CAUTION_FUSE
from matrixdoc.checks.coils import Coils
from matrixdoc.checks.model import FaultEffect, MachineModel
from matrixdoc.checks.points import PointRequest, Points
from matrixdoc.checks.prediction import Prediction
from matrixdoc.checks.situation import Check
from matrixdoc.checks.wording import part_words
from matrixdoc.circuit.supplies import rail_source
from matrixdoc.definition.wiring import Supply

HOLDS, LATER, AT_ONCE = "holds", "blows after a while", "blows at once"
LATER_FROM, AT_ONCE_FROM = 1.8, 3.3
"""Times the rating from which a standing current blows it within minutes, and within seconds."""
PULSE_FROM = 7.0
"""Times the rating from which one pulse of a coil, some tens of milliseconds, blows it."""
SHORT_OHM = 5.0
"""What may blow a fuse at all: a path of less than this."""
SPREAD = 0.15
"""Spread of these edges from fuse to fuse, in natural logarithm (the gates' own width)."""
CAPACITOR_FACTOR, PLAIN_FACTOR = 1.8, 1.11
FITTING_MINUTES = 2.0
"""Minutes for a new fuse in its clip (common practice, no source)."""

Key = tuple[str, str, tuple[FaultEffect, ...]]
"""A fuse, the coil that is pulsed (or none), the faults."""


class Fuses:
    """Predicts what a new fuse does. Holds a cache; answers do not depend on it."""

    def __init__(self, model: MachineModel, points: Points, coils: Coils) -> None:
        self.model = model
        self.points = points
        self.coils = coils
        self._amps: dict[Key, float] = {}
        self._groups: dict[str, frozenset[int]] | None = None
        self.supply_of: dict[str, Supply] = {
            part: supply for supply in model.circuit.wiring.supplies.values() for part in supply.ac_parts
        }

    def _key(self, fuse: str, pulsed: str, effects: tuple[FaultEffect, ...]) -> Key:
        # The new fuse is good, whatever the old one was.
        return fuse, pulsed, tuple(e for e in effects if e.part.reference != fuse)

    def _request(self, key: Key) -> PointRequest:
        fuse, pulsed, effects = key
        request = self.coils.request(pulsed, (), effects)
        supply = self.supply_of.get(fuse)
        if supply is not None:
            return replace(request, rails=self.points.rails(effects), nets=(supply.rail,), parts=())
        return replace(request, rails=self.points.rails(effects), nets=(), parts=(fuse,))

    def prepare(self, wanted: Iterable[Key]) -> None:
        """Solve many (fuse, pulsed coil, faults) triples in one batch."""
        todo = [key for key in dict.fromkeys(self._key(*k) for k in wanted) if key not in self._amps]
        points = self.points.solve([self._request(key) for key in todo])
        for key, point in zip(todo, points, strict=True):
            fuse, _, effects = key
            supply = self.supply_of.get(fuse)
            if supply is None:
                self._amps[key] = abs(point.amps.get(fuse, 0.0))
            else:
                self._amps[key] = self._supply_amps(supply, effects, point.volts.get(supply.rail, 0.0))

    def _supply_amps(self, supply: Supply, effects: Sequence[FaultEffect], volts: float) -> float:
        """Effective amperes through the fuse at the winding of a supply."""
        patches = {e.part.reference: e.patch for e in effects if e.supply == supply.name}
        source = rail_source(self.model.circuit, supply.name, patches, frozenset())
        if source.dead:
            return math.inf if source.shorted else 0.0
        factor = CAPACITOR_FACTOR if supply.capacitor else PLAIN_FACTOR if supply.rectifiers else 1.0
        if supply.stiff:
            return factor * supply.load_a
        amps = (source.open_volts - volts) / max(source.source_ohm, 1e-3)
        return factor * max(amps, 0.0)

    def behind(self, effect: FaultEffect) -> tuple[str, ...]:
        """Fuses that a short may blow as it stands: those of the feeds that it lies on itself. Farther away
        a winding or a lamp is in the way. A shorted rectifier or capacitor blows the fuse of its winding.
        """
        if effect.supply:
            supply = self.model.circuit.wiring.supplies[effect.supply]
            shunt = effect.patch.shunt_ohm
            after = effect.part.reference in (*supply.rectifiers, supply.capacitor)
            return self._fuses_of(supply) if after and shunt is not None and shunt < SHORT_OHM else ()
        if effect.lead is not None or not effect.analog or not effect.adding or effect.signal:
            return ()
        patch = effect.patch
        ohms = [ohm for ohm in (patch.shunt_ohm, patch.ground_ohm) if ohm is not None]
        if not (ohms and min(ohms) < SHORT_OHM) and not patch.reversed:
            return ()
        if self._groups is None:
            self._groups = {fuse: self._groups_of(fuse) for fuse in self._fuses()}
        return tuple(fuse for fuse, groups in self._groups.items() if groups & effect.groups)

    def _fuses_of(self, supply: Supply) -> tuple[str, ...]:
        parts = self.model.circuit.wiring.parts
        return tuple(r for r in supply.ac_parts if parts[r].kind == "fuse")

    def _fuses(self) -> list[str]:
        return [p.reference for p in self.model.circuit.wiring.parts.values() if p.kind == "fuse"]

    def _groups_of(self, fuse: str) -> frozenset[int]:
        """Net groups that a fuse feeds: its own nets, or the rail of its supply."""
        supply = self.supply_of.get(fuse)
        nets = (supply.rail,) if supply is not None else self.model.part(fuse).nets
        return self.model.groups_of_nets(nets)

    def blown_by(self, effects: Sequence[FaultEffect]) -> dict[FaultEffect, tuple[str, ...]]:
        """For shorts: the fuse that each of them blows, by itself, as soon as the machine is on.

        Of several in the way of one current the one that is overloaded most goes first, and saves the
        others.
        """
        asked = [(fuse, effect) for effect in effects for fuse in self.behind(effect)]
        self.prepare([(fuse, "", (effect,)) for fuse, effect in asked])
        found: dict[FaultEffect, tuple[str, ...]] = dict.fromkeys(effects, ())
        most: dict[FaultEffect, float] = {}
        for fuse, effect in asked:
            first, share = self.predict(fuse, "", (effect,))[0]
            overload = self._overload(fuse, "", (effect,))
            if first == AT_ONCE and share > 0.5 and overload > most.get(effect, 0.0):
                found[effect], most[effect] = (fuse,), overload
        return found

    def _overload(self, fuse: str, pulsed: str, effects: tuple[FaultEffect, ...]) -> float:
        """Times its rating that the fuse carries."""
        key = self._key(fuse, pulsed, effects)
        if key not in self._amps:
            self.prepare([key])
        return self._amps[key] / self.model.circuit.values(fuse)["rated_a"]

    def predict(self, fuse: str, pulsed: str, effects: tuple[FaultEffect, ...]) -> Prediction:
        """Words for a new fuse, with probabilities."""
        return gated(self._overload(fuse, pulsed, effects), pulsed=bool(pulsed))


def with_new_fuses(model: MachineModel, check: Check, fuses: Sequence[str]) -> Check:
    """The repair of a short with the new fuses that it wants as well: the old ones blew by it."""
    new = [fuse for fuse in fuses if fuse not in check.mends]
    if not new:
        return check
    names = " and ".join(part_words(model.part(fuse)) for fuse in new)
    ratings = [f"{model.circuit.values(fuse)['rated_a']:.3g} A" for fuse in new]
    marked = " and ".join(dict.fromkeys(ratings))
    last = f"then a new fuse, of the marked type and rating ({marked}) and no other: {names}"
    return replace(
        check,
        title=f"{check.title}, and a new fuse: {names}",
        set_up=(*check.set_up[:1], last, *check.set_up[1:]),
        minutes=check.minutes + FITTING_MINUTES * len(new),
        cautions=tuple(dict.fromkeys((*check.cautions, CAUTION_FUSE))),
        mends=(*check.mends, *new),
    )


def gated(ratio: float, *, pulsed: bool) -> Prediction:
    """Words for a fuse that carries ``ratio`` times its rating, standing or for one pulse."""
    if ratio <= 0.5:
        return ((HOLDS, 1.0),)
    if math.isinf(ratio):
        return ((AT_ONCE, 1.0),)

    def beyond(edge: float) -> float:
        return 0.5 * (1.0 + math.erf((math.log(ratio) - math.log(edge)) / (SPREAD * math.sqrt(2.0))))

    at_once = beyond(PULSE_FROM if pulsed else AT_ONCE_FROM)
    later = 0.0 if pulsed else max(0.0, beyond(LATER_FROM) - at_once)
    shares = ((AT_ONCE, at_once), (LATER, later), (HOLDS, 1.0 - at_once - later))
    return tuple(sorted(((w, p) for w, p in shares if p > 1e-9), key=lambda o: -o[1]))
