"""A complaint as a job: its suspects, grouped, and what can be done about them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from matrixdoc.checks.acts import warm_up
from matrixdoc.checks.fuses import with_new_fuses
from matrixdoc.checks.prediction import Prediction
from matrixdoc.checks.provoked import PROVOKED, WARMTH, warmth_before
from matrixdoc.checks.situation import Check, Finding, Look, Outcome, Situation
from matrixdoc.diagnosis.analysis import Complaint
from matrixdoc.diagnosis.anchors import predictor_anchors
from matrixdoc.diagnosis.bounds import ABNORMAL
from matrixdoc.diagnosis.danger import LOCKED_LIMIT, Danger
from matrixdoc.diagnosis.evidence import OUTSIDE, outside_fault
from matrixdoc.diagnosis.harm import grounding, would_harm
from matrixdoc.diagnosis.holding import QUICK, smallest_hold
from matrixdoc.diagnosis.means import can_be_done, plug_off, waited_for, whole_bridge
from matrixdoc.diagnosis.mended import GONE, MendedAnalysis
from matrixdoc.diagnosis.ranking import Option, curing, outcome_table, repair_of
from matrixdoc.diagnosis.suspects import Suspect, same_work, suspects_of
from matrixdoc.diagnosis.tools import LEADERS, SUSPECTS_CONSIDERED, Tools
from matrixdoc.faults.priors import Fault

PARTS_CONSIDERED = 12
LEAST_CHECKED = 0.02
"""Checks are generated for the leading suspects, and for any other at least this probable."""
LOOSE_ENOUGH = 0.25
"""Wiggling and warming are offered when suspects that come and go are together at least this probable."""
_TELL_NOTHING_OF_WORK = frozenset({"meter", "fuse", "wiggle", "warm"})
"""Looks that do not show whether the machine works."""


@dataclass(frozen=True)
class Job:
    """One complaint with its suspects, grouped, and the checks that bear on it."""

    analysis: MendedAnalysis
    complaint: Complaint
    suspects: tuple[Suspect, ...]
    left: tuple[tuple[Fault, ...], ...]
    """What is still there of each suspect, as far as repairs go."""
    weights: tuple[float, ...]
    """How probable each suspect is, and still there."""
    groups: tuple[tuple[Suspect, ...], ...]
    options: tuple[Option, ...]
    background: tuple[Fault, ...]
    """The likeliest faults of other complaints as the machine came."""
    beside: tuple[Fault, ...]
    """Those of them that are still there."""
    outside: float
    again: Check
    still_wrong: float

    @property
    def considered(self) -> tuple[Suspect, ...]:
        """The suspects that checks are compared by."""
        return self.suspects[:SUSPECTS_CONSIDERED]

    def hypotheses(self) -> list[tuple[Fault, ...]]:
        """What is there now under each considered suspect, with what else is wrong; last, that alone."""
        return _hypotheses(self.left[: len(self.considered)], self.beside)

    def given_real(self) -> npt.NDArray[np.float64]:
        """Probabilities of the considered suspects given that something is still wrong: what is worth
        doing next depends neither on the chance that the report was a slip nor on what is mended.
        """
        every = sum(self.weights) + self.outside
        return np.array(self.weights[: len(self.considered)]) / max(every, 1e-12)


def _hypotheses(suspects: Sequence[tuple[Fault, ...]], beside: tuple[Fault, ...]) -> list[tuple[Fault, ...]]:
    return [*(tuple(sorted({*some, *beside})) for some in suspects), beside]


class Workshop:
    """Makes the jobs of one machine."""

    def __init__(self, tools: Tools) -> None:
        self.tools = tools
        self.danger = Danger(tools)

    def _background(self, analysis: MendedAnalysis, complaint: Complaint) -> tuple[Fault, ...]:
        """The most probable faults that belong to other complaints."""
        best = analysis.posterior.sets[0][0] if analysis.posterior.sets else frozenset()
        return tuple(
            sorted(f for f in best if f.part != OUTSIDE and analysis.complaint_of(f) != complaint.number)
        )

    def job(self, analysis: MendedAnalysis, complaint: Complaint, *, compared: bool) -> Job:
        """One complaint with its suspects; ``compared``: with the checks that could tell them apart."""
        suspects = suspects_of(analysis, complaint)
        background = self._background(analysis, complaint)
        beside = tuple(f for f in background if analysis.still_there(f) >= 0.5)
        now = [analysis.left_of(s.faults) for s in suspects]
        left = tuple(some for some, _ in now)
        weights = tuple(s.probability * there for s, (_, there) in zip(suspects, now, strict=True))
        proof = self.proof(analysis, complaint)
        options = self._options(analysis, complaint, suspects, left, beside, proof) if compared else []
        outside = analysis.posterior.marginals.get(outside_fault(complaint.number), 0.0)
        total = sum(s.probability for s in suspects) + outside
        wrong = (sum(weights) + outside) / total if total > 0.0 else 1.0
        return Job(
            analysis,
            complaint,
            tuple(suspects),
            left,
            weights,
            self._grouped(analysis, suspects, options),
            tuple(options),
            background,
            beside,
            outside,
            proof,
            wrong,
        )

    def _options(
        self,
        analysis: MendedAnalysis,
        complaint: Complaint,
        suspects: Sequence[Suspect],
        left: Sequence[tuple[Fault, ...]],
        beside: tuple[Fault, ...],
        proof: Check,
    ) -> list[Option]:
        """Checks that bear on the suspects, each with what every suspect predicts."""
        considered = [
            Suspect(some, s.probability)
            for s, some in zip(suspects[:SUSPECTS_CONSIDERED], left, strict=False)
        ]
        checks: dict[str, Check] = {}
        worth_a_check = [s for n, s in enumerate(considered) if n < LEADERS or s.probability >= LEAST_CHECKED]
        parts = list(dict.fromkeys(f.part for s in worth_a_check for f in s.faults))[:PARTS_CONSIDERED]
        for reference in parts:
            for check in self.tools.generator.for_part(reference):
                checks.setdefault(check.key, check)
        for coil in self.danger.maybe_locked(considered, beside):
            unplugged = plug_off(self.tools.model, coil)
            if (
                unplugged is not None
                and self.danger.stays_locked(unplugged, considered, beside) < LOCKED_LIMIT
            ):
                checks.setdefault(unplugged.key, unplugged)
        for check in self._holds(analysis, complaint, considered):
            checks.setdefault(check.key, check)
        wiggling = self._loose_share(considered) >= LOOSE_ENOUGH
        checks = {
            key: check
            for key, check in checks.items()
            if can_be_done(check, self.tools.settings) and (wiggling or check.look.kind not in PROVOKED)
        }
        hypotheses = _hypotheses([s.faults for s in considered], beside)
        chances = [s.probability for s in considered]
        for key in [key for key, check in checks.items() if grounding(check)]:
            if would_harm(self.tools.predictor, checks[key], hypotheses[:-1], chances):
                del checks[key]
        asked = {check.key: self._bearing(check, hypotheses) for check in checks.values()}
        questions = [
            (check.situation, check.look, some)
            for check in checks.values()
            for h in dict.fromkeys(asked[check.key])
            for some in (h, tuple(f for f in h if not self.tools.model.possible[f].duty))
        ]
        self.tools.predictor.prepare(questions)
        options = []
        for check in checks.values():
            predictions = tuple(self.prediction(analysis, check, h) for h in asked[check.key])
            options.append(Option(check, self.tools.minutes(check), predictions))
        return [*options, *self._repairs(considered, proof)]

    def _repairs(self, considered: Sequence[Suspect], proof: Check) -> list[Option]:
        """The repair that each suspect calls for, with the chance that it cures each of them."""
        possible = self.tools.model.possible
        found: dict[str, Option] = {}
        for suspect in considered:
            plain = whole_bridge(self.tools.wiring, repair_of(self.tools.generator, suspect.faults, proof))
            fuses = self.tools.predictor.blown_by(suspect.faults)
            check = waited_for(
                self.tools.wiring, with_new_fuses(self.tools.model, plain, fuses), self.tools.settings
            )
            if check.key not in found:
                actions = dict.fromkeys(check.mends, check.action or "repair")
                actions |= {f.part: possible[f].action for f in reversed(suspect.faults)}
                cures = tuple(curing(possible, actions, s.faults) for s in considered)
                found[check.key] = Option(check, self.tools.minutes(check), (), cures)
        return list(found.values())

    def _holds(
        self, analysis: MendedAnalysis, complaint: Complaint, suspects: Sequence[Suspect]
    ) -> list[Check]:
        """For a ghost: the fewest switches that, held together, tell the leading suspects apart."""
        healthy = self.tools.predictor.predict(Situation(), Look("reads"), ())[0][0]
        usual = healthy if isinstance(healthy, frozenset) else frozenset()
        ghosts = [
            finding
            for finding in (analysis.evidence.findings[f] for f in complaint.findings)
            if finding.look.kind == "reads"
            and isinstance(finding.outcome, frozenset)
            and finding.outcome - usual - set(finding.situation.held)
        ]
        leading = [s.faults for s in suspects[:LEADERS]]
        if not ghosts or len(leading) < 2:
            return []
        found = smallest_hold(self.tools.generator, self.tools.predictor, leading, limits=QUICK)
        return [self.tools.generator.press(found.held)] if found is not None else []

    def _loose_share(self, suspects: Sequence[Suspect]) -> float:
        """Share of the suspects' probability that lies on what comes and goes."""
        total = sum(s.probability for s in suspects)
        loose = sum(
            s.probability for s in suspects if any(self.tools.model.possible[f].duty for f in s.faults)
        )
        return loose / total if total > 0.0 else 0.0

    def _bearing(self, check: Check, hypotheses: Sequence[tuple[Fault, ...]]) -> list[tuple[Fault, ...]]:
        """The hypotheses as a meter check sees them: one whose faults lie where its leads do not reach
        is to it what the background is.
        """
        if check.kind != "meter":
            return list(hypotheses)
        background = hypotheses[-1]
        reach = predictor_anchors(self.tools.predictor).scope(check.situation, check.look)
        return [h if reach.intersection(set(h) - set(background)) else background for h in hypotheses]

    def prediction(self, analysis: MendedAnalysis, check: Check, hypothesis: tuple[Fault, ...]) -> Prediction:
        """What a check shows under a hypothesis; what comes and goes is there with its chance."""
        look = check.look
        if look.kind in WARMTH:
            look = replace(look, before=warmth_before(analysis.evidence.findings))
        here = self.tools.predictor.predict(check.situation, look, hypothesis)
        possible = self.tools.model.possible
        loose = [f for f in hypothesis if possible[f].duty]
        if not loose or look.kind in WARMTH:
            return here
        chance = analysis.there_now.get(loose[0], possible[loose[0]].duty)
        gone = self.tools.predictor.predict(
            check.situation, check.look, tuple(f for f in hypothesis if f not in loose)
        )
        mixed: dict[Outcome, float] = {}
        for prediction, share in ((here, chance), (gone, 1.0 - chance)):
            for outcome, part in prediction:
                mixed[outcome] = mixed.get(outcome, 0.0) + share * part
        return tuple(sorted(((o, p) for o, p in mixed.items() if p > 0.0), key=lambda o: -o[1]))

    def proof(self, analysis: MendedAnalysis, complaint: Complaint) -> Check:
        """The look that showed the complaint, to be done again after a repair: the first one that has not
        been seen to be right since.
        """
        findings, healthy = analysis.evidence.findings, analysis.healthy
        newest = {(f.situation, f.look): healthy[n] for n, f in enumerate(findings)}
        wrong = [
            n
            for n in complaint.findings
            if newest[findings[n].situation, findings[n].look] < ABNORMAL ** analysis.evidence.weights[n]
        ]
        # What the machine does proves a repair; a reading only where nobody told of anything else.
        some = wrong or complaint.findings
        doing = [n for n in some if findings[n].look.kind not in _TELL_NOTHING_OF_WORK]
        if not doing:
            doing = [n for n in complaint.findings if findings[n].look.kind not in _TELL_NOTHING_OF_WORK]
        return self.look_at(findings[(doing or some)[0]])

    def look_at(self, finding: Finding) -> Check:
        """The check that looks again at what a finding is about."""
        look, generator = finding.look, self.tools.generator
        if not finding.situation.altered and finding.situation.power:
            if look.kind == "reads":
                return generator.press(finding.situation.held)
            if look.kind == "lamp":
                return generator.lamp(look.target, finding.situation.lamps)
            if look.kind == "coil":
                return generator.pulse(look.target)
        if look.kind == "warm up":
            return warm_up(self.tools.model, look.target)
        return Check("look again at what was wrong", "look", finding.situation, look, 1.0, key="again")

    def _grouped(
        self, analysis: MendedAnalysis, suspects: Sequence[Suspect], options: Sequence[Option]
    ) -> tuple[tuple[Suspect, ...], ...]:
        """Suspects that every check predicts alike, together; groups by probability.

        So are the modes of one part that the same work cures (a lamp burnt or shorted, a contact that comes
        and goes): a measurement may tell them apart, but nothing hangs on it. What was cured cannot be
        looked at any more: in which of its modes a mended part was nobody can tell then.
        """
        tables = [outcome_table(o, 0.0)[1] for o in options if o.predictions]
        possible = self.tools.model.possible
        first: dict[tuple[object, ...], int] = {}
        groups: dict[tuple[object, ...], list[Suspect]] = {}
        for h, suspect in enumerate(suspects):
            like = first.setdefault(same_work(possible, suspect.faults), h)
            key: tuple[object, ...]
            if all(analysis.still_there(f) < GONE for f in suspects[like].faults):
                key = ("mended", *(f.part for f in suspect.faults))
            elif like < SUSPECTS_CONSIDERED and tables:
                key = tuple(tuple(np.round(table[:, like], 3)) for table in tables)
            else:
                key = ("alone", suspects[like].faults)
            groups.setdefault(key, []).append(suspect)
        ordered = sorted(groups.values(), key=lambda g: (-sum(s.probability for s in g), g[0].faults))
        return tuple(tuple(g) for g in ordered)
