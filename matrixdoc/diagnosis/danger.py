"""What may do harm as soon as the power comes on: coils that lock on by themselves."""

from __future__ import annotations

from collections.abc import Sequence

from matrixdoc.checks.situation import Check, Look, Situation
from matrixdoc.diagnosis.analysis import Analysis
from matrixdoc.diagnosis.suspects import Suspect
from matrixdoc.diagnosis.tools import LEADERS, Tools
from matrixdoc.faults.priors import Fault

LOCKED_LIMIT = 0.3
"""Checks under power are held back while a locked coil is at least this probable."""


class Danger:
    """Asks the circuit of one machine."""

    def __init__(self, tools: Tools) -> None:
        self.tools = tools

    def maybe_locked(self, suspects: Sequence[Suspect], background: tuple[Fault, ...]) -> list[str]:
        """Coils that a leading suspect locks on as soon as the power comes on."""
        leading = [tuple(sorted({*s.faults, *background})) for s in suspects[:LEADERS]]
        look, situation = Look("resting coils"), Situation()
        self.tools.predictor.prepare([(situation, look, hypothesis) for hypothesis in leading])
        found: dict[str, None] = {}
        for hypothesis in leading:
            outcome = self.tools.predictor.predict(situation, look, hypothesis)[0][0]
            if isinstance(outcome, frozenset):
                found.update(dict.fromkeys(sorted(outcome)))
        return list(found)[:2]

    def stays_locked(self, check: Check, suspects: Sequence[Suspect], background: tuple[Fault, ...]) -> float:
        """How surely a coil pulls in by itself even as the check leaves the machine."""
        leading = [(tuple(sorted({*s.faults, *background})), s.probability) for s in suspects[:LEADERS]]
        self.tools.predictor.prepare([(check.situation, check.look, hypothesis) for hypothesis, _ in leading])
        total = sum(p for _, p in leading)
        locked = sum(
            p
            for hypothesis, p in leading
            if self.tools.predictor.predict(check.situation, check.look, hypothesis)[0][0]
        )
        return locked / total if total > 0.0 else 0.0

    def hazard(
        self, analysis: Analysis, considered: Sequence[Suspect], background: tuple[Fault, ...]
    ) -> tuple[float, ...]:
        """How surely a coil pulls in by itself, power on, under each suspect and under none of them."""
        look, situation = Look("resting coils"), Situation()
        hypotheses = [tuple(sorted({*s.faults, *background})) for s in considered] + [background]
        questions = [(situation, look, hypothesis) for hypothesis in hypotheses]
        self.tools.predictor.prepare(questions)
        chances = [max(analysis.still_there(f) for f in s.faults) for s in considered] + [1.0]
        return tuple(
            chance * sum(share for outcome, share in self.tools.predictor.predict(*question) if outcome)
            for chance, question in zip(chances, questions, strict=True)
        )
