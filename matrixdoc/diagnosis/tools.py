"""What the reasoning about one machine works with."""

from __future__ import annotations

from dataclasses import dataclass

from matrixdoc.checks.generate import CheckGenerator
from matrixdoc.checks.model import MachineModel
from matrixdoc.checks.predictor import Predictor
from matrixdoc.checks.situation import Check
from matrixdoc.definition.wiring import Wiring
from matrixdoc.diagnosis.settings import Settings

SUSPECTS_CONSIDERED = 40
LEADERS = 6
"""So many leading suspects are always looked into."""


@dataclass(frozen=True)
class Tools:
    """The model of one machine, what predicts its looks and what proposes them, and the settings."""

    wiring: Wiring
    settings: Settings
    model: MachineModel
    predictor: Predictor
    generator: CheckGenerator

    def minutes(self, check: Check) -> float:
        """Minutes of a check with the panels that have to be opened first."""
        total = check.minutes + check.risk
        for key in check.places:
            place = self.wiring.places.get(key)
            if place is not None and key not in self.settings.open_places:
                total += place.minutes
        return total
