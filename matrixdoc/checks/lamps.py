"""What the lamps show under a commanded pattern, with some faults present.

A matrixed lamp is fed in the phases of the scan; it is judged by its average power over the scan
(a filament) or its average current (an LED) relative to what the healthy machine gives it. Which
word a person would choose for that ratio is a distribution: see :func:`brightness`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

from matrixdoc.checks.model import FaultEffect, MachineModel, drive_is_active
from matrixdoc.checks.points import PointRequest, Points
from matrixdoc.checks.prediction import Prediction
from matrixdoc.checks.situation import ALL_LAMPS
from matrixdoc.definition.wiring import Matrix

WORDS = ("off", "dim", "normal", "bright")
EDGES = (0.08, 0.55, 1.75)
"""Ratios of average power where one word gives way to the next (common practice, no source)."""
PERCEPTION_SPREAD = 0.22
"""Spread of a person's judgement in natural logarithm of power (common practice, no source)."""


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
Key = tuple[Pattern, tuple[FaultEffect, ...]]


class Lamps:
    """Predicts lamp brightness of one machine. Holds a cache; answers do not depend on it."""

    def __init__(self, model: MachineModel, points: Points) -> None:
        self.model = model
        self.points = points
        wiring = model.circuit.wiring
        self.matrices: list[Matrix] = [m for m in wiring.matrices.values() if m.device == "lamp"]
        self.cell_of = {c.reference: (m, c) for m in self.matrices for c in m.cells}
        self.element = {r: lamp.element for r, lamp in wiring.lamps.items()}
        self._power: dict[Key, Mapping[str, float]] = {}

    def commanded(self, pattern: Pattern) -> frozenset[str]:
        """Lamp references that the pattern commands on (undriven lamps are always on)."""
        lamps = self.model.circuit.wiring.lamps
        if ALL_LAMPS in pattern:
            return frozenset(lamps)
        return frozenset(pattern) | frozenset(r for r, lamp in lamps.items() if lamp.always_on)

    def phases(self, matrix: Matrix | None, wanted: frozenset[str]) -> list[tuple[float, frozenset[str]]]:
        """(share of the time, drives commanded active) for each phase of one matrix.

        Lamps outside matrices are one phase: their drives commanded all the time.
        """
        wiring = self.model.circuit.wiring
        if matrix is None:
            drives = frozenset(
                wiring.lamps[r].drive for r in wanted if wiring.lamps[r].drive and not wiring.lamps[r].matrix
            )
            return [(1.0, drives)]
        strobed, other = (
            (matrix.columns, matrix.rows) if matrix.strobed == "columns" else (matrix.rows, matrix.columns)
        )
        other_drive = {line.key: line.drive for line in other}
        phases = []
        for line in strobed:
            drives = {line.drive}
            for cell in matrix.cells:
                strobed_key, other_key = (
                    (cell.column, cell.row) if matrix.strobed == "columns" else (cell.row, cell.column)
                )
                if strobed_key == line.key and cell.reference in wanted:
                    drives.add(other_drive[other_key])
            phases.append((1.0 / len(strobed), frozenset(drives)))
        return phases

    def _requests(
        self, pattern: Pattern, effects: tuple[FaultEffect, ...]
    ) -> list[tuple[float, tuple[str, ...], PointRequest]]:
        wiring = self.model.circuit.wiring
        wanted = self.commanded(pattern)
        rails = self.points.rails(effects, frozenset(), True)
        analog = tuple(e for e in effects if e.analog)
        forced_on = frozenset(e.part.reference for e in effects if e.output is True)
        forced_off = frozenset(e.part.reference for e in effects if e.output is False)
        result = []
        for matrix in (*self.matrices, None):
            name = matrix.name if matrix else ""
            lamps = tuple(
                sorted(r for r, lamp in wiring.lamps.items() if lamp.matrix == name and self.element[r])
            )
            if not lamps:
                continue
            lines = [line.drive for line in (*matrix.columns, *matrix.rows)] if matrix else []
            drives = lines or sorted({wiring.lamps[r].drive for r in lamps if wiring.lamps[r].drive})
            for share, commanded in self.phases(matrix, wanted):
                active = {
                    wiring.drives[d].output
                    for d in drives
                    if drive_is_active(wiring.drives[d], d in commanded, effects)
                }
                active = (active - forced_off) | (forced_on & {wiring.drives[d].output for d in drives})
                elements = tuple(self.element[r] for r in lamps)
                result.append(
                    (share, lamps, PointRequest(frozenset(active), analog, rails, parts=elements))
                )
        return result

    def prepare(self, wanted: Iterable[Key]) -> None:
        """Solve many (pattern, faults) pairs in one batch."""
        todo = [key for key in dict.fromkeys(wanted) if key not in self._power]
        rows = [(key, *row) for key in todo for row in self._requests(*key)]
        points = self.points.solve([request for *_, request in rows])
        sums: dict[Key, dict[str, float]] = {key: {} for key in todo}
        for (key, share, lamps, request), point in zip(rows, points, strict=True):
            gathered = sums[key]
            patches = {e.part.reference: e.patch for e in request.effects}
            for lamp in lamps:
                element = self.element[lamp]
                amps = point.amps.get(element, 0.0)
                gathered[lamp] = gathered.get(lamp, 0.0) + share * self._strength(element, amps, patches)
        self._power.update(sums)

    def _strength(self, element: str, amps: float, patches: Mapping[str, object]) -> float:
        """Square of the current for a filament (its power but for the resistance), forward current
        for an LED; nothing for a lamp that is itself burnt or shorted."""
        if element in patches:
            return 0.0
        if self.model.part(element).kind == "led":
            return max(amps, 0.0)
        return amps * amps

    def strengths(self, pattern: Pattern, effects: Sequence[FaultEffect]) -> Mapping[str, float]:
        """Average strength of every lamp over the scan, in A^2 (filaments) or A (LEDs)."""
        key = (pattern, tuple(effects))
        if key not in self._power:
            self.prepare([key])
        return self._power[key]

    def ratio(self, lamp: str, pattern: Pattern, effects: tuple[FaultEffect, ...]) -> float:
        """Average power (LED: current) relative to the healthy lamp under its own command."""
        lit = pattern if lamp in self.commanded(pattern) else (lamp,)
        healthy = self.strengths(lit, ())[lamp]
        if healthy <= 0.0:
            return 0.0
        return self.strengths(pattern, effects)[lamp] / healthy

    def predict(self, lamp: str, pattern: Pattern, effects: tuple[FaultEffect, ...]) -> Prediction:
        """Words a person would choose for ``lamp``, with probabilities."""
        return brightness(self.ratio(lamp, pattern, effects))

