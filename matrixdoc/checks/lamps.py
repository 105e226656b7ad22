"""What the lamps show under a commanded pattern, with some faults present.

A matrixed lamp is fed in the phases of the scan; it is judged by its average power over the scan
(a filament) or its average current (an LED) relative to what the healthy machine gives it. Which
word a person would choose for that ratio is a distribution: see :func:`brightness`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

from matrixdoc.checks.flicker import Flicker, flickering
from matrixdoc.checks.model import FaultEffect, MachineModel, alters_only
from matrixdoc.checks.points import PointRequest, Points
from matrixdoc.checks.prediction import Prediction
from matrixdoc.checks.signals import active_outputs
from matrixdoc.checks.situation import ALL_LAMPS
from matrixdoc.circuit.patch import Patch
from matrixdoc.definition.wiring import Matrix

WORDS = ("off", "dim", "normal", "bright")
EDGES = (0.08, 0.55, 1.75)
"""Ratios of average power where one word gives way to the next (common practice, no source)."""
PERCEPTION_SPREAD = 0.22
"""Spread of a person's judgement in natural logarithm of power (common practice, no source)."""

LEAKAGE_A = 1e-4
"""Below this a lamp is dark whatever it is."""


def brightness(ratio: float) -> Prediction:
    """Probability of each word for a lamp at ``ratio`` of its healthy average power.

    A normal distribution in the logarithm of the ratio, cut at :data:`EDGES`.
    """
    if ratio <= 1e-4:
        return (("off", 1.0),)
    log_ratio = math.log(ratio)
    below = [
        0.5 * (1.0 + math.erf((math.log(edge) - log_ratio) / (PERCEPTION_SPREAD * math.sqrt(2.0))))
        for edge in EDGES
    ]
    shares = [below[0], below[1] - below[0], below[2] - below[1], 1.0 - below[2]]
    found = [(word, share) for word, share in zip(WORDS, shares, strict=True) if share > 1e-9]
    return tuple(sorted(found, key=lambda o: -o[1]))


Pattern = tuple[str, ...]
Key = tuple[str, Pattern, tuple[FaultEffect, ...]]
"""A lamp, what is commanded, the faults."""


class Lamps:
    """Predicts lamp brightness of one machine. Holds a cache; answers do not depend on it."""

    def __init__(self, model: MachineModel, points: Points) -> None:
        self.model = model
        self.points = points
        wiring = model.circuit.wiring
        self.matrices: dict[str, Matrix] = {m.name: m for m in wiring.matrices.values() if m.device == "lamp"}
        self.element = {r: lamp.element for r, lamp in wiring.lamps.items()}
        self.flicker = Flicker(model, points)
        self._strength: dict[Key, float] = {}
        self._least: dict[Key, float] = {}
        self._own_groups: dict[str, frozenset[int]] = {}
        self._healthy: dict[tuple[str, Pattern], tuple[float, ...]] = {}
        self._phases: dict[tuple[str, Pattern], list[tuple[float, frozenset[str]]]] = {}

    def commanded(self, pattern: Pattern) -> frozenset[str]:
        """Lamp references that the pattern commands on (undriven lamps are always on)."""
        lamps = self.model.circuit.wiring.lamps
        if ALL_LAMPS in pattern:
            return frozenset(lamps)
        return frozenset(pattern) | frozenset(r for r, lamp in lamps.items() if lamp.always_on)

    def phases(self, matrix_name: str, pattern: Pattern) -> list[tuple[float, frozenset[str]]]:
        """(share of the time, drives commanded active) for each phase of one matrix.

        Lamps outside matrices (name empty) are one phase: their drives commanded all the time.
        """
        known = self._phases.get((matrix_name, pattern))
        if known is None:
            known = self._phases[(matrix_name, pattern)] = self._phase_list(matrix_name, pattern)
        return known

    def _phase_list(self, matrix_name: str, pattern: Pattern) -> list[tuple[float, frozenset[str]]]:
        wiring = self.model.circuit.wiring
        wanted = self.commanded(pattern)
        if not matrix_name:
            drives = frozenset(
                wiring.lamps[r].drive for r in wanted if wiring.lamps[r].drive and not wiring.lamps[r].matrix
            )
            return [(1.0, drives)]
        matrix = self.matrices[matrix_name]
        columns_first = matrix.strobed == "columns"
        strobed, other = (matrix.columns, matrix.rows) if columns_first else (matrix.rows, matrix.columns)
        other_drive = {line.key: line.drive for line in other}
        phases = []
        for line in strobed:
            lit = {line.drive}
            for cell in matrix.cells:
                here, across = (cell.column, cell.row) if columns_first else (cell.row, cell.column)
                if here == line.key and cell.reference in wanted:
                    lit.add(other_drive[across])
            phases.append((1.0 / len(strobed), frozenset(lit)))
        return phases

    def _drives(self, matrix_name: str) -> tuple[str, ...]:
        """Every drive that feeds lamps of one matrix (or the lamps outside matrices)."""
        wiring = self.model.circuit.wiring
        if matrix_name:
            matrix = self.matrices[matrix_name]
            return tuple(line.drive for line in (*matrix.columns, *matrix.rows) if line.drive)
        return tuple(sorted({lamp.drive for lamp in wiring.lamps.values() if lamp.drive and not lamp.matrix}))

    def _groups(self, matrix_name: str) -> frozenset[int]:
        """Net groups of the lamps of one matrix (or of those outside matrices) and of their drives."""
        known = self._own_groups.get(matrix_name)
        if known is None:
            wiring = self.model.circuit.wiring
            parts = [lamp.element for lamp in wiring.lamps.values() if lamp.matrix == matrix_name]
            parts += [wiring.drives[name].output for name in self._drives(matrix_name)]
            nets = [net for part in parts for net in self.model.part(part).nets]
            known = self._own_groups[matrix_name] = frozenset(self.model.groups_of_nets(nets))
        return known

    def _request(
        self,
        matrix: str,
        elements: tuple[str, ...],
        commanded: frozenset[str],
        effects: tuple[FaultEffect, ...],
    ) -> PointRequest:
        drives = self._drives(matrix)
        active = active_outputs(self.model, drives, commanded, effects)
        rails = self.points.rails_for(effects, self._groups(matrix))
        analog = tuple(e for e in effects if e.analog)
        return PointRequest(frozenset(active), analog, rails, parts=elements)

    def _needed(self, lamp: str, pattern: Pattern, effects: tuple[FaultEffect, ...]) -> list[int]:
        """Phases that faults can change for this lamp.

        Faults that only open something leave a lamp dark where it is dark in the healthy machine;
        any other fault may light it in every phase.
        """
        matrix_name = self.model.circuit.wiring.lamps[lamp].matrix
        phases = self.phases(matrix_name, pattern)
        if not effects or any(not alters_only(e) for e in effects):
            return list(range(len(phases)))
        return self._lit_phases(lamp, pattern)

    def prepare(self, wanted: Iterable[Key], *, own_phases: bool = False) -> None:
        """Solve many (lamp, pattern, faults) triples in one batch, the healthy machine first.

        ``own_phases``: only the phases in which the healthy lamp is lit (see :meth:`least_ratio`).
        """
        keys = list(dict.fromkeys(wanted))
        base: list[Key] = []
        for lamp, pattern, _ in keys:
            lit = pattern if lamp in self.commanded(pattern) else (lamp,)
            base.extend(((lamp, pattern, ()), (lamp, lit, ())))
        self._solve([k for k in dict.fromkeys(base) if k not in self._strength])
        if not own_phases:
            self._solve([k for k in keys if k not in self._strength])
            return
        rows = [
            (key, number)
            for key in keys
            if key not in self._least and key not in self._strength
            for number in self._lit_phases(key[0], key[1])
        ]
        for key, values in self._phase_strengths(rows).items():
            self._least[key] = sum(values.values())

    def _lit_phases(self, lamp: str, pattern: Pattern) -> list[int]:
        """Phases in which the healthy lamp is lit."""
        return [number for number, value in enumerate(self._healthy[(lamp, pattern)]) if value > 0.0]

    def _solve(self, todo: list[Key]) -> None:
        found: dict[Key, dict[int, float]] = {key: {} for key in todo}
        rows = [(key, number) for key in todo for number in self._needed(*key)]
        found.update(self._phase_strengths(rows))
        for key, values in found.items():
            lamp, pattern, effects = key
            self._strength[key] = sum(values.values())
            if not effects:
                self._healthy[(lamp, pattern)] = tuple(values[n] for n in sorted(values))

    def _phase_strengths(self, rows: Sequence[tuple[Key, int]]) -> dict[Key, dict[int, float]]:
        """For each key: its strength in each phase that was asked for, times the phase's share.

        Lamps that are looked at in the same phase under the same faults are one circuit.
        """
        lamps = self.model.circuit.wiring.lamps
        together: dict[tuple[str, Pattern, tuple[FaultEffect, ...], int], list[str]] = {}
        for (lamp, pattern, effects), number in dict.fromkeys(rows):
            together.setdefault((lamps[lamp].matrix, pattern, effects, number), []).append(lamp)
        requests: list[PointRequest] = []
        for (matrix, pattern, effects, number), some in together.items():
            elements = tuple(self.element[lamp] for lamp in some)
            commanded = self.phases(matrix, pattern)[number][1]
            requests.append(self._request(matrix, elements, commanded, effects))
        points = self.points.solve(requests)
        found: dict[Key, dict[int, float]] = {}
        for (key, some), request, point in zip(together.items(), requests, points, strict=True):
            matrix, pattern, effects, number = key
            share = self.phases(matrix, pattern)[number][0]
            patches = {e.part.reference: e.patch for e in request.effects}
            for lamp in some:
                element = self.element[lamp]
                strength = self._strength_of(element, point.amps.get(element, 0.0), patches)
                found.setdefault((lamp, pattern, effects), {})[number] = share * strength
        return found

    def _strength_of(self, element: str, amps: float, patches: Mapping[str, Patch]) -> float:
        """Square of the current for a filament (its power but for the resistance), forward current
        for an LED; nothing for a lamp that is itself burnt or shorted, or for mere leakage. A lamp of
        another type: by its own resistance, which makes it the power relative to the right one's.
        """
        patch = patches.get(element)
        if patch is not None:
            if patch.absent or patch.shunt_ohm is not None or "ohm" not in patch.values:
                return 0.0
            healthy = self.model.circuit.values(element)["ohm"]
            return amps * amps * patch.values["ohm"] / healthy if abs(amps) > LEAKAGE_A else 0.0
        if self.model.part(element).kind == "led":
            return amps if amps > LEAKAGE_A else 0.0
        return amps * amps if abs(amps) > LEAKAGE_A else 0.0

    def strength(self, lamp: str, pattern: Pattern, effects: tuple[FaultEffect, ...]) -> float:
        """Average strength of a lamp over the scan, in A^2 (a filament) or A (an LED)."""
        key = (lamp, pattern, effects)
        if key not in self._strength:
            self.prepare([key])
        return self._strength[key]

    def ratio(self, lamp: str, pattern: Pattern, effects: tuple[FaultEffect, ...]) -> float:
        """Average power (LED: current) relative to the healthy lamp under its own command."""
        lit = pattern if lamp in self.commanded(pattern) else (lamp,)
        healthy = self.strength(lamp, lit, ())
        return self.strength(lamp, pattern, effects) / healthy if healthy > 0.0 else 0.0

    def least_ratio(self, lamp: str, pattern: Pattern, effects: tuple[FaultEffect, ...]) -> float:
        """A lower bound of :meth:`ratio`: what the phases give in which the healthy lamp is lit.

        No phase takes light away, and the other phases are most of the work.
        """
        key = (lamp, pattern, effects)
        if key in self._strength:
            return self.ratio(lamp, pattern, effects)
        if key not in self._least:
            self.prepare([key], own_phases=True)
        lit = pattern if lamp in self.commanded(pattern) else (lamp,)
        healthy = self.strength(lamp, lit, ())
        return self._least.get(key, 0.0) / healthy if healthy > 0.0 else 0.0

    def predict(self, lamp: str, pattern: Pattern, effects: tuple[FaultEffect, ...]) -> Prediction:
        """Words a person would choose for ``lamp``, with probabilities."""
        return flickering(brightness(self.ratio(lamp, pattern, effects)), self.flicker.chance(lamp, effects))
