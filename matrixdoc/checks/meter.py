"""What a meter shows between two nets: volts with the machine on, ohms or diode test with it off.

The meter is a part of the circuit: 10 megohm across the nets for volts; for ohms a source of
0.3 V behind 1 kilohm (too little to open a silicon junction: Kuphaldt, Lessons In Electric
Circuits III ch. 3); for the diode test 3.0 V behind 2.4 kilohm, about 1 mA into a silicon junction
(general test-meter practice: 1.5 mA at most, 3 V open circuit). On a strobed line a meter shows
the mean over the scan.

The parts between a winding and its rectifier stand in no circuit of their own (a supply has a law of its
own); ohms across one of them are its own ohms: the other way round leads through the rectifier, which the
meter does not open.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from matrixdoc.checks.coils import Coils
from matrixdoc.checks.lamps import Lamps
from matrixdoc.checks.model import TWO_WAY_OUTPUTS, FaultEffect, MachineModel
from matrixdoc.checks.points import PointRequest, Points
from matrixdoc.checks.prediction import Prediction
from matrixdoc.checks.reads import Reads
from matrixdoc.checks.signals import active_outputs
from matrixdoc.checks.situation import OPEN_LOOP, Look, Situation
from matrixdoc.circuit.netlist import Lead, OperatingPoint

VOLTS_INPUT_OHM = 10e6
OHMS_SOURCE_V, OHMS_SOURCE_OHM = 0.3, 1000.0
DIODE_SOURCE_V, DIODE_SOURCE_OHM = 3.0, 2400.0
OHMS_LIMIT = 20e6
DIODE_LIMIT_V = 2.2

Key = tuple[Situation, Look, tuple[FaultEffect, ...]]


@dataclass(frozen=True, slots=True)
class MeterKind:
    """What one person's meter is like: ohms of both leads, highest ohms before OL, current of the diode
    test into a short.
    """

    lead_ohm: float = 0.0
    top_ohm: float = OHMS_LIMIT
    diode_ma: float = 1.0


class Meter:
    """Predicts meter readings. Holds a cache; answers do not depend on it."""

    def __init__(
        self,
        model: MachineModel,
        points: Points,
        reads: Reads,
        lamps: Lamps,
        coils: Coils,
        kind: MeterKind | None = None,
    ) -> None:
        self.kind = kind or MeterKind()
        self.model = model
        self.points = points
        self.reads = reads
        self.lamps = lamps
        self.coils = coils
        self._known: dict[Key, float | str] = {}
        self._line_groups: dict[str, frozenset[int]] = {}
        for matrix in model.circuit.wiring.matrices.values():
            nets = [line.board_net for line in (*matrix.columns, *matrix.rows)]
            self._line_groups[matrix.name] = model.groups_of_nets(nets)
        self._before_rectifier = _before_rectifier(model)

    def part_across(self, look: Look) -> str:
        """The part before a rectifier whose ohms the leads are across; empty if it is another look."""
        if look.function != "ohms":
            return ""
        return self._before_rectifier.get(frozenset((look.red, look.black)), "")

    def _lead(self, look: Look) -> Lead:
        if look.function == "volts":
            return Lead(look.red, look.black, VOLTS_INPUT_OHM, 0.0)
        if look.function == "ohms":
            return Lead(look.red, look.black, OHMS_SOURCE_OHM, OHMS_SOURCE_V)
        return Lead(look.red, look.black, DIODE_SOURCE_OHM / self.kind.diode_ma, DIODE_SOURCE_V)

    def _commands(self, situation: Situation, look: Look) -> list[frozenset[str]]:
        """Drives commanded active in each phase of whatever scan the leads see."""
        wiring = self.model.circuit.wiring
        seen = self.model.groups_of_nets((look.red, look.black))
        base: frozenset[str] = frozenset()
        if situation.pulsed:
            drive = wiring.coils[situation.pulsed].drive
            base = frozenset({drive} if drive else ())
        for matrix in wiring.matrices.values():
            if not (self._line_groups[matrix.name] & seen) or matrix.device == "coil":
                continue
            if matrix.device == "lamp":
                return [base | drives for _, drives in self.lamps.phases(matrix.name, situation.lamps)]
            strobed = matrix.columns if matrix.strobed == "columns" else matrix.rows
            return [base | {line.drive} for line in strobed]
        return [base]

    def _requests(
        self, situation: Situation, look: Look, effects: tuple[FaultEffect, ...]
    ) -> list[PointRequest]:
        wiring = self.model.circuit.wiring
        analog = tuple(e for e in effects if e.analog)
        contacts = set(self.reads.contacts(situation.held, effects))
        rails = self.points.rails(effects, power=situation.power)
        nets = (look.red, look.black)
        leads = (self._lead(look),)
        if not situation.power:
            # Without light and supply no optical pair conducts.
            contacts -= {part for opto in wiring.optos.values() for part in (opto.contact, opto.receiver)}
            contacts |= {e.part.reference for e in effects if e.contact is True}
            shorted = frozenset(e.part.reference for e in effects if e.output is True)
            two_way = frozenset(
                d.output for d in wiring.drives.values() if self.model.part(d.output).kind in TWO_WAY_OUTPUTS
            )
            return [
                PointRequest(
                    frozenset(contacts) | shorted, analog, rails, nets, leads=leads, opened=two_way - shorted
                )
            ]
        result = []
        for commanded in self._commands(situation, look):
            active = contacts | active_outputs(self.model, wiring.drives, commanded, effects)
            result.append(PointRequest(frozenset(active), analog, rails, nets, leads=leads))
        return result

    def prepare(self, wanted: Iterable[Key]) -> None:
        """Solve many (situation, look, faults) triples in one batch."""
        todo = [key for key in dict.fromkeys(wanted) if key not in self._known]
        spans = []
        requests: list[PointRequest] = []
        for key in todo:
            situation, look, effects = key
            across = self.part_across(look)
            if across and not situation.power:
                self._known[key] = self._by_itself(across, effects)
                continue
            some = self._requests(*key)
            spans.append((key, len(requests), len(some)))
            requests.extend(some)
        points = self.points.solve(requests, localise=True)
        for key, start, count in spans:
            self._known[key] = self._reading(key[1], points[start : start + count])

    def _by_itself(self, reference: str, effects: Sequence[FaultEffect]) -> float | str:
        """Ohms of a part that nothing else joins the ends of."""
        ohms = self.model.circuit.values(reference).get("ohm", 0.0)
        for patch in (e.patch for e in effects if e.part.reference == reference):
            if patch.absent and patch.shunt_ohm is None:
                return OPEN_LOOP
            if patch.shunt_ohm is not None:
                ohms = patch.shunt_ohm if patch.absent else min(ohms, patch.shunt_ohm)
            else:
                ohms = patch.values.get("ohm", ohms)
        return OPEN_LOOP if ohms > self.kind.top_ohm else ohms + self.kind.lead_ohm

    def _reading(self, look: Look, points: Sequence[OperatingPoint]) -> float | str:
        across = [p.volts.get(look.red, 0.0) - p.volts.get(look.black, 0.0) for p in points]
        volts = sum(across) / len(across)
        if look.function == "volts":
            return volts
        if look.function == "diode":
            return OPEN_LOOP if volts > DIODE_LIMIT_V else volts
        amps = (OHMS_SOURCE_V - volts) / OHMS_SOURCE_OHM
        ohms = volts / amps if amps > 1e-12 else float("inf")
        return OPEN_LOOP if ohms > self.kind.top_ohm else max(ohms, 0.0) + self.kind.lead_ohm

    def predict(self, situation: Situation, look: Look, effects: tuple[FaultEffect, ...]) -> Prediction:
        """The reading in volts or ohms, or ``OL``."""
        key = (situation, look, effects)
        if key not in self._known:
            self.prepare([key])
        return ((self._known[key], 1.0),)


def _before_rectifier(model: MachineModel) -> dict[frozenset[str], str]:
    """By its two nets, each part in series with a supply's winding, the winding included; where no rectifier
    stands behind them, lamps or coils lead the other way round.
    """
    parts = model.circuit.wiring.parts
    found = {}
    for supply in model.circuit.wiring.supplies.values():
        if not supply.rectifiers:
            continue
        for reference in supply.ac_parts:
            part = parts[reference]
            if len(part.nets) == 2 and reference not in supply.rectifiers:
                found[frozenset(part.nets)] = reference
    return found
