"""Coils that fire twice for one command or one hit: rules of timing, labelled as such, not solved.

What the circuit says is taken first: only a coil that fires at all can fire twice. Then: a contact or a
capacitor with a fault of timing (``faults.timing``); a flipper whose hold winding is dead, which lets go at
the end of the stroke and begins anew (it flutters); a loose joint in the coil's own circuit; logic on the
edge of its supply, which starts again in the middle of a pulse. All shares: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence

from matrixdoc.checks.coil_words import EDGES
from matrixdoc.checks.coils import Coils
from matrixdoc.checks.model import FaultEffect, MachineModel
from matrixdoc.checks.prediction import Prediction
from matrixdoc.faults.priors import Fault
from matrixdoc.faults.timing import timed_parts

TWICE = "fires twice"
FLUTTERS = 0.7
"""Share of looks at a flipper without its hold winding that show it let go and begin anew."""
LOOSE = 0.1
"""Share of looks at a coil behind a loose joint that catch it making twice."""
RESTARTS = 0.2
"""Share of pulses in which logic on the edge of its supply starts again."""


class Timing:
    """Rules of timing for the coils of one machine."""

    def __init__(self, model: MachineModel, coils: Coils) -> None:
        self.model = model
        self.coils = coils
        wiring = model.circuit.wiring
        timed = frozenset(f for f, e in model.effects.items() if e.timing)
        self.of_coil: dict[str, frozenset[Fault]] = {}
        self.holding: dict[str, str] = {}
        """For flippers: the hold winding, which decides whether they let go at the end of the stroke."""
        for reference, coil in coils.coils.items():
            parts = {part.reference for _, part in timed_parts(wiring, coil)} if timed else set()
            own = frozenset(f for f in timed if f.part in parts)
            if own:
                self.of_coil[reference] = own
            if coil.end_of_stroke:
                windings = (r for r, c in coils.coils.items() if c.holds and c.element in coil.parts)
                self.holding[reference] = next(windings, "")

    def twice(
        self, coil: str, faults: Sequence[Fault], effects: tuple[FaultEffect, ...], lives: float
    ) -> float:
        """Chance that ``coil``, if it fires, does so twice.

        ``effects`` are those that the circuit shows, ``lives`` the chance that the logic does.
        """
        once = 1.0
        own = self.of_coil.get(coil, frozenset())
        for fault in faults:
            if fault in own:
                once *= 1.0 - self.model.possible[fault].twice
        hold = self.holding.get(coil)
        if hold and effects and self.coils.ratios(hold, (), effects)[hold] < EDGES[0]:
            once *= 1.0 - FLUTTERS
        if 0.0 < lives < 1.0:
            once *= 1.0 - RESTARTS
        return 1.0 - once


def doubled(prediction: Prediction, chance: float) -> Prediction:
    """What a coil does that fires twice with this chance where it would fire."""
    fires = dict(prediction).get("fires", 0.0)
    if fires * chance < 1e-3:
        return prediction
    found = dict(prediction)
    found["fires"] = fires * (1.0 - chance)
    found[TWICE] = found.get(TWICE, 0.0) + fires * chance
    return tuple(sorted(((w, p) for w, p in found.items() if p > 1e-9), key=lambda o: -o[1]))
