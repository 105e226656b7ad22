"""The whole of diagnosis for one machine: causes and next checks from findings.

An engine is made once for a machine and its settings; it keeps what it has solved, so that one
more finding costs only what is new about it. Its answers depend on the findings alone.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from matrixdoc.checks.generate import CheckGenerator
from matrixdoc.checks.meter import MeterKind
from matrixdoc.checks.model import build_model
from matrixdoc.checks.prediction import Prediction
from matrixdoc.checks.predictor import Predictor
from matrixdoc.checks.situation import Check, Finding, Look, Outcome, Situation
from matrixdoc.checks.wording import left_altered, outcome_words
from matrixdoc.circuit.netlist import build_circuit
from matrixdoc.definition.wiring import Wiring
from matrixdoc.diagnosis.analysis import Analysis, Complaint, analyse, outside_share
from matrixdoc.diagnosis.anchors import predictor_anchors
from matrixdoc.diagnosis.evidence import OUTSIDE, Evidence, outside_fault
from matrixdoc.diagnosis.explain import build_causes, explained
from matrixdoc.diagnosis.harm import grounding, would_harm
from matrixdoc.diagnosis.holding import smallest_hold
from matrixdoc.diagnosis.means import can_be_done, isolation, plug_off, waited_for
from matrixdoc.diagnosis.policy import Choice, decide
from matrixdoc.diagnosis.policy_problem import Problem
from matrixdoc.diagnosis.ranking import (
    Circumstances,
    Option,
    after_tries,
    build_problem,
    entropy_bits,
    outcome_table,
    repair_of,
)
from matrixdoc.diagnosis.results import Cause, Diagnosis, ExpectedOutcome, RankedCheck
from matrixdoc.diagnosis.settings import Settings
from matrixdoc.diagnosis.suspects import Suspect, suspects_of
from matrixdoc.faults.catalogue import load_catalogue
from matrixdoc.faults.conditions import ServiceConditions
from matrixdoc.faults.priors import Fault, possible_faults

PARTS_CONSIDERED = 12
SUSPECTS_CONSIDERED = 40
DONE_WITH = 0.15
"""A complaint that is still there with less probability than this is repaired and proven."""
WORTH_A_SECOND_LOOK = 0.2
"""A report that may be a slip with at least this probability is looked at again first."""
LEADERS, LEAST_CHECKED = 6, 0.02
"""Checks are generated for this many leading suspects, and for any other at least this probable."""
LOOSE_ENOUGH = 0.25
"""Wiggling is offered when suspects that come and go are together at least this probable."""
LEAST_BITS = 1e-3
"""A check that tells less is not offered."""
LOCKED_LIMIT = 0.3
"""Checks under power are held back while a locked coil is at least this probable."""

SAFETY = (
    "switched off is not unplugged; let capacitors discharge and measure; fuses only of the marked type; "
    "mains work only by qualified people under local codes; this program never says a circuit is safe"
)


@dataclass(frozen=True)
class Told:
    """What a case has to say to the engine.

    ``mended`` gives, for each finding, the parts repaired before it with the chance that the repair
    cured them; ``disturbed`` counts the acts before it that may have moved what comes and goes.
    ``repaired`` says in words what was done to a part; ``declined`` holds keys of checks the person
    will not do. ``proving`` is the number of findings made before a repair that no look has proven
    yet (-1: there is none). ``overridden``: somebody said in words that they go on under power although
    a coil may be locked on. ``tries`` counts the repairs of each part.
    """

    findings: tuple[Finding, ...] = ()
    mended: tuple[Mapping[str, float], ...] = ()
    disturbed: tuple[int, ...] = ()
    mended_now: Mapping[str, float] = field(default_factory=dict)
    repaired: Mapping[str, str] = field(default_factory=dict)
    declined: frozenset[str] = frozenset()
    proving: int = -1
    overridden: bool = False
    tries: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True)
class _Job:
    """One complaint with its suspects, grouped, and the checks that bear on it."""

    complaint: Complaint
    suspects: tuple[Suspect, ...]
    groups: tuple[tuple[Suspect, ...], ...]
    options: tuple[Option, ...]
    background: tuple[Fault, ...]
    outside: float
    again: Check
    still_wrong: float


_Row = tuple[Choice, _Job, Option]


def _distinct(rows: Sequence[_Row]) -> list[_Row]:
    """Rows without those that split the suspects just as an earlier (better) one of their job does."""
    seen: set[tuple[object, ...]] = set()
    kept = []
    for row in rows:
        _, job, option = row
        if option.check.kind != "act":
            _, table = outcome_table(option, 0.0)
            split = tuple(int(np.argmax(table[:, h])) for h in range(table.shape[1]))
            key = (job.complaint.number, split)
            if key in seen:
                continue
            seen.add(key)
        kept.append(row)
    return kept


def _leader(cause: Cause) -> tuple[Fault, ...]:
    return tuple(Fault(name.part, name.mode) for name in cause.faults)


class Engine:
    """Diagnosis of one machine under one set of settings."""

    def __init__(self, wiring: Wiring, settings: Settings) -> None:
        self.wiring = wiring
        self.settings = settings
        self.circuit = build_circuit(wiring)
        conditions = ServiceConditions(
            expected_faults=settings.expected_faults,
            recent_repair=settings.recent_repair,
            sat_for_years=settings.sat_for_years,
            battery_leak=settings.battery_leak,
        )
        self.catalogue = load_catalogue()
        self.possible = possible_faults(self.circuit, self.catalogue, conditions)
        self.model = build_model(self.circuit, self.possible)
        kind = MeterKind(settings.meter_lead_ohm, settings.meter_top_ohm, settings.diode_test_ma)
        self.predictor = Predictor(self.model, kind)
        self.generator = CheckGenerator(self.model)
        self._analyses: dict[tuple[object, ...], Analysis] = {}
        self._jobs: dict[tuple[object, ...], tuple[_Job, ...]] = {}

    def predict(self, faults: tuple[Fault, ...], situation: Situation, look: Look) -> Prediction:
        """What a look shows under exactly these faults."""
        ordered = tuple(sorted(set(faults)))
        self.predictor.prepare([(situation, look, ordered)])
        return self.predictor.predict(situation, look, ordered)

    # -- posterior ---------------------------------------------------------------------------

    def analyse(self, told: Told) -> Analysis:
        """The analysis of what was told, remembered."""
        key = (
            told.findings,
            tuple(tuple(sorted(m.items())) for m in told.mended),
            told.disturbed,
            tuple(sorted(told.mended_now.items())),
        )
        known = self._analyses.get(key)
        if known is None:
            evidence = Evidence(
                self.predictor, told.findings, self.settings, told.mended, told.disturbed, told.mended_now
            )
            known = self._analyses[key] = analyse(evidence, self.model, self.catalogue.cascades)
        return known

    def jobs(self, told: Told, *, compared: bool = True) -> tuple[_Job, ...]:
        """Complaints with suspects and options, the likeliest first.

        ``compared`` False: as long as the checks have not been worked out, without them.
        """
        analysis = self.analyse(told)
        key = (id(analysis), tuple(sorted(told.repaired.items())))
        known = self._jobs.get(key)
        if known is None:
            jobs = [self._job(analysis, c, compared=compared) for c in analysis.complaints]
            known = tuple(j for j in jobs if j.suspects)
            if compared:
                self._jobs[key] = known
        return known

    def _background(self, analysis: Analysis, complaint: Complaint) -> tuple[Fault, ...]:
        """The most probable faults that belong to other complaints."""
        best = analysis.posterior.sets[0][0] if analysis.posterior.sets else frozenset()
        return tuple(
            sorted(f for f in best if f.part != OUTSIDE and analysis.complaint_of(f) != complaint.number)
        )

    def _job(self, analysis: Analysis, complaint: Complaint, *, compared: bool) -> _Job:
        suspects = suspects_of(analysis, complaint)
        background = self._background(analysis, complaint)
        options = self._options(analysis, complaint, suspects, background) if compared else []
        outside = analysis.posterior.marginals.get(outside_fault(complaint.number), 0.0)
        groups = self._grouped(suspects, options)
        total = sum(s.probability for s in suspects) + outside
        still = sum(s.probability * max(analysis.still_there(f) for f in s.faults) for s in suspects)
        wrong = (still + outside) / total if total > 0.0 else 1.0
        return _Job(
            complaint,
            tuple(suspects),
            groups,
            tuple(options),
            background,
            outside,
            self._proof(analysis, complaint),
            wrong,
        )

    def _options(
        self,
        analysis: Analysis,
        complaint: Complaint,
        suspects: Sequence[Suspect],
        background: tuple[Fault, ...],
    ) -> list[Option]:
        """Checks that bear on the suspects, each with what every suspect predicts."""
        considered = suspects[:SUSPECTS_CONSIDERED]
        checks: dict[str, Check] = {}
        worth_a_check = [s for n, s in enumerate(considered) if n < LEADERS or s.probability >= LEAST_CHECKED]
        parts = list(dict.fromkeys(f.part for s in worth_a_check for f in s.faults))[:PARTS_CONSIDERED]
        for reference in parts:
            for check in self.generator.for_part(reference):
                checks.setdefault(check.key, check)
        for coil in self._maybe_locked(considered, background):
            unplugged = plug_off(self.model, coil)
            if unplugged is not None and self._stays_locked(unplugged, considered, background) < LOCKED_LIMIT:
                checks.setdefault(unplugged.key, unplugged)
        for check in self._holds(analysis, complaint, considered):
            checks.setdefault(check.key, check)
        wiggling = self._loose_share(considered) >= LOOSE_ENOUGH
        checks = {
            key: check
            for key, check in checks.items()
            if can_be_done(check, self.settings) and (wiggling or check.look.kind != "wiggle")
        }
        hypotheses = [tuple(sorted({*s.faults, *background})) for s in considered]
        hypotheses.append(background)
        chances = [s.probability for s in considered]
        for key in [key for key, check in checks.items() if grounding(check)]:
            if would_harm(self.predictor, checks[key], hypotheses[:-1], chances):
                del checks[key]
        asked = {check.key: self._bearing(check, hypotheses) for check in checks.values()}
        questions = [
            (check.situation, check.look, some)
            for check in checks.values()
            for h in dict.fromkeys(asked[check.key])
            for some in (h, tuple(f for f in h if not self.model.possible[f].duty))
        ]
        self.predictor.prepare(questions)
        options = []
        for check in checks.values():
            predictions = tuple(self._prediction(analysis, check, h) for h in asked[check.key])
            options.append(Option(check, self._minutes(check), predictions))
        proof = self._proof(analysis, complaint)
        for suspect in considered:
            check = waited_for(self.wiring, repair_of(self.generator, suspect.faults, proof), self.settings)
            mends = tuple(all(f.part in check.mends for f in s.faults) for s in considered)
            if not any(o.check.key == check.key for o in options):
                options.append(Option(check, self._minutes(check), (), mends))
        return options

    def _maybe_locked(self, suspects: Sequence[Suspect], background: tuple[Fault, ...]) -> list[str]:
        """Coils that a leading suspect locks on as soon as the power comes on."""
        leading = [tuple(sorted({*s.faults, *background})) for s in suspects[:LEADERS]]
        look, situation = Look("resting coils"), Situation()
        self.predictor.prepare([(situation, look, hypothesis) for hypothesis in leading])
        found: dict[str, None] = {}
        for hypothesis in leading:
            outcome = self.predictor.predict(situation, look, hypothesis)[0][0]
            if isinstance(outcome, frozenset):
                found.update(dict.fromkeys(sorted(outcome)))
        return list(found)[:2]

    def _stays_locked(
        self, check: Check, suspects: Sequence[Suspect], background: tuple[Fault, ...]
    ) -> float:
        """How surely a coil pulls in by itself even as the check leaves the machine."""
        leading = [(tuple(sorted({*s.faults, *background})), s.probability) for s in suspects[:LEADERS]]
        self.predictor.prepare([(check.situation, check.look, hypothesis) for hypothesis, _ in leading])
        total = sum(p for _, p in leading)
        locked = sum(
            p
            for hypothesis, p in leading
            if self.predictor.predict(check.situation, check.look, hypothesis)[0][0]
        )
        return locked / total if total > 0.0 else 0.0

    def _isolated(self, job: _Job, told: Told) -> RankedCheck | None:
        """Fuse out before anything is switched on again, while a coil may lock on; None where there is no
        such danger, it is out already, or somebody overrode this in words.
        """
        hazard = self._hazard(job, told)
        weights = [*self._given_real(job, job.suspects[:SUSPECTS_CONSIDERED])]
        danger = sum(p * h for p, h in zip(weights, hazard, strict=False))
        if told.overridden or danger < LOCKED_LIMIT:
            return None
        last = told.findings[-1].situation.opened if told.findings else ()
        for coil in self._maybe_locked(job.suspects, job.background):
            check = isolation(self.model, coil)
            done = check is not None and any(f.situation == check.situation for f in told.findings)
            if check is None or done or set(check.situation.opened) & set(last):
                continue
            reason = f"a coil may lock on ({danger:.0%}): with this out the rest can be looked at under power"
            return RankedCheck(1, check, self._minutes(check), 0.0, self._minutes(check), (), reason)
        return None

    def _holds(self, analysis: Analysis, complaint: Complaint, suspects: Sequence[Suspect]) -> list[Check]:
        """For a ghost: the fewest switches that, held together, tell the leading suspects apart."""
        healthy = self.predictor.predict(Situation(), Look("reads"), ())[0][0]
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
        found = smallest_hold(self.generator, self.predictor, leading)
        return [self.generator.press(found.held)] if found is not None else []

    def _loose_share(self, suspects: Sequence[Suspect]) -> float:
        """Share of the suspects' probability that lies on what comes and goes."""
        total = sum(s.probability for s in suspects)
        loose = sum(s.probability for s in suspects if any(self.model.possible[f].duty for f in s.faults))
        return loose / total if total > 0.0 else 0.0

    def _bearing(self, check: Check, hypotheses: Sequence[tuple[Fault, ...]]) -> list[tuple[Fault, ...]]:
        """The hypotheses as a meter check sees them: one whose faults lie where its leads do not reach
        is to it what the background is.
        """
        if check.kind != "meter":
            return list(hypotheses)
        background = hypotheses[-1]
        reach = predictor_anchors(self.predictor).scope(check.situation, check.look)
        return [h if reach.intersection(set(h) - set(background)) else background for h in hypotheses]

    def _prediction(self, analysis: Analysis, check: Check, hypothesis: tuple[Fault, ...]) -> Prediction:
        """What a check shows under a hypothesis; what comes and goes, or was mended, is there with its
        chance.
        """
        here = self.predictor.predict(check.situation, check.look, hypothesis)
        loose = [
            f for f in hypothesis if self.model.possible[f].duty or f.part in analysis.evidence.mended_now
        ]
        if not loose:
            return here
        chance = analysis.still_there(loose[0])
        if self.model.possible[loose[0]].duty:
            chance *= analysis.there_now.get(loose[0], self.model.possible[loose[0]].duty)
        gone = self.predictor.predict(
            check.situation, check.look, tuple(f for f in hypothesis if f not in loose)
        )
        mixed: dict[Outcome, float] = {}
        for prediction, share in ((here, chance), (gone, 1.0 - chance)):
            for outcome, part in prediction:
                mixed[outcome] = mixed.get(outcome, 0.0) + share * part
        return tuple(sorted(((o, p) for o, p in mixed.items() if p > 0.0), key=lambda o: -o[1]))

    def _proof(self, analysis: Analysis, complaint: Complaint) -> Check:
        """The look that showed the complaint, to be done again after a repair."""
        finding = analysis.evidence.findings[complaint.findings[0]]
        look = finding.look
        if finding.situation.altered:
            return Check("look again at what was wrong", "look", finding.situation, look, 1.0, key="again")
        if look.kind == "reads":
            return self.generator.press(finding.situation.held)
        if look.kind == "lamp":
            return self.generator.lamp(look.target, finding.situation.lamps)
        if look.kind == "coil":
            return self.generator.pulse(look.target)
        return Check("look again at what was wrong", "look", finding.situation, look, 1.0, key="again")

    def _minutes(self, check: Check) -> float:
        """Minutes with the panels that have to be opened first."""
        total = check.minutes + check.risk
        for key in check.places:
            place = self.wiring.places.get(key)
            if place is not None and key not in self.settings.open_places:
                total += place.minutes
        return total

    def _grouped(
        self, suspects: Sequence[Suspect], options: Sequence[Option]
    ) -> tuple[tuple[Suspect, ...], ...]:
        """Suspects that every check predicts alike, together; groups by probability."""
        tables = [outcome_table(o, 0.0)[1] for o in options if o.predictions]
        groups: dict[tuple[object, ...], list[Suspect]] = {}
        for h, suspect in enumerate(suspects):
            key: tuple[object, ...]
            if h < SUSPECTS_CONSIDERED and tables:
                key = tuple(tuple(np.round(table[:, h], 3)) for table in tables)
            else:
                key = ("alone", suspect.faults)
            groups.setdefault(key, []).append(suspect)
        ordered = sorted(groups.values(), key=lambda g: (-sum(s.probability for s in g), g[0].faults))
        return tuple(tuple(g) for g in ordered)

    # -- answers -----------------------------------------------------------------------------

    def diagnose(self, told: Told, cautions: tuple[str, ...] = (), *, compared: bool = True) -> Diagnosis:
        """Causes of all complaints, most probable first.

        ``compared`` False answers before the checks are worked out: every suspect by itself, whether
        or not a check could tell it from the others.
        """
        analysis = self.analyse(told)
        causes: list[Cause] = []
        jobs = self.jobs(told, compared=compared)
        for job in jobs:
            causes.extend(build_causes(analysis, job.groups, told.repaired, job.background))
        numbers = self._numbers(jobs)
        causes = [c for c in causes if numbers.get(_leader(c)) is not None]
        causes = sorted({_leader(c): c for c in reversed(causes)}.values(), key=lambda c: numbers[_leader(c)])
        ranked = tuple(replace(c, rank=rank) for rank, c in enumerate(causes, start=1))
        best = analysis.posterior.sets[0][0] if analysis.posterior.sets else frozenset()
        inside = tuple(sorted(f for f in best if f.part != OUTSIDE))
        rows = explained(analysis, inside)
        contradictions = tuple(
            f"the leading cause does not explain: {row.words}"
            for row in rows
            if row.verdict == "not explained"
        )
        return Diagnosis(
            causes=ranked,
            outside_model=outside_share(analysis),
            discarded_mass=analysis.posterior.discarded,
            healthy=self._healthy(analysis),
            findings=rows,
            marginals={
                (f.part, f.mode): p for f, p in analysis.posterior.marginals.items() if f.part != OUTSIDE
            },
            cautions=(*cautions, SAFETY),
            contradictions=contradictions,
        )

    def _numbers(self, jobs: Sequence[_Job]) -> dict[tuple[Fault, ...], int]:
        """Number of each cause in the list, by its leading faults: by probability; a fault that
        explains two complaints is told once.
        """
        groups = [g for job in jobs for g in job.groups]
        groups.sort(key=lambda g: (-sum(s.probability for s in g), g[0].faults))
        seen: set[tuple[Fault, ...]] = set()
        numbers: dict[tuple[Fault, ...], int] = {}
        for group in groups:
            members = {s.faults for s in group}
            if not members <= seen:
                numbers.setdefault(group[0].faults, len(numbers) + 1)
            seen |= members
        return numbers

    def _healthy(self, analysis: Analysis) -> float:
        """Share of "nothing that the findings bear on is wrong"."""
        for faults, share in analysis.posterior.sets:
            if not faults:
                return share
        return 0.0

    def checks(self, told: Told, limit: int) -> tuple[RankedCheck, ...]:
        """The next checks, those first after which finishing is expected to cost least."""
        rows: list[_Row] = []
        first: list[RankedCheck] = []
        numbers = self._numbers(self.jobs(told))
        for job in self.jobs(told):
            if job.still_wrong < DONE_WITH:
                continue
            problem, options = self.plan(job, told)
            again = self._look_again(job, told, numbers)
            if again is not None and again.check.key not in told.declined:
                first.append(again)
            isolated = self._isolated(job, told)
            if isolated is not None and isolated.check.key not in told.declined:
                first.append(isolated)
            choices = decide(problem, problem.start())
            # A repair is worth doing however sure one is; a check has to tell something.
            rows.extend(
                (c, job, options[c.action])
                for c in choices
                if c.bits >= LEAST_BITS or options[c.action].check.kind == "act"
            )
        rows.sort(key=lambda r: (r[0].finish, -r[0].bits, r[2].check.key))
        result = []
        for rank, (choice, job, option) in enumerate(_distinct(rows)[:limit], start=1):
            result.append(
                RankedCheck(
                    rank=rank,
                    check=self._put_back(told, option.check),
                    minutes=choice.minutes,
                    information_bits=choice.bits,
                    value=choice.finish,
                    expected=self._expected(job, option, numbers),
                    reason=self._reason(job, option, choice),
                )
            )
        ordered = [*first, *result][:limit]
        return tuple(replace(check, rank=rank) for rank, check in enumerate(ordered, start=1))

    def _put_back(self, told: Told, check: Check) -> Check:
        """The check with what has to be put back first: whatever the last look left off, on or swapped."""
        if not told.findings:
            return check
        left = left_altered(self.wiring, told.findings[-1].situation, check.situation)
        return replace(check, set_up=(*left, *check.set_up)) if left else check

    def plan(self, job: _Job, told: Told) -> tuple[Problem, tuple[Option, ...]]:
        """What is left to do about a complaint as a problem for the policy, and its options in order.

        Checks that were declined or done already are left out, so the plan goes around them.
        """
        done = {(f.situation, f.look) for f in told.findings[max(told.proving, 0) :]}
        options = tuple(
            o
            for o in (after_tries(option, told.tries) for option in job.options)
            if o is not None
            and o.check.key not in told.declined
            and (o.check.kind == "act" or (o.check.situation, o.check.look) not in done)
        )
        closed = {
            key: place.minutes
            for key, place in self.wiring.places.items()
            if key not in self.settings.open_places
        }
        power = told.findings[-1].situation.power if told.findings else True
        limit = 1.0 if told.overridden else LOCKED_LIMIT
        where = Circumstances(closed, power, self._hazard(job, told), limit)
        considered = job.suspects[:SUSPECTS_CONSIDERED]
        return build_problem(options, self._given_real(job, considered), where), options

    def _look_again(
        self, job: _Job, told: Told, numbers: Mapping[tuple[Fault, ...], int]
    ) -> RankedCheck | None:
        """The look that showed the complaint, once more: to prove a repair, or where the report may
        well have been a slip and a minute's look costs less than what it may save.
        """
        findings, proving = told.findings, told.proving
        finding = findings[job.complaint.findings[0]]
        later = [
            f for n, f in enumerate(findings) if (f.situation, f.look) == (finding.situation, finding.look)
        ]
        slip = max(0.0, 1.0 - sum(s.probability for s in job.suspects) - job.outside)
        if proving >= 0 and finding in findings[:proving]:
            reason = "proves the repair: the look that showed the fault, once more"
        elif slip >= WORTH_A_SECOND_LOOK and len(later) == 1:
            reason = f"a look can be reported wrongly ({slip:.0%} here): make sure before anything is opened"
        else:
            return None
        if (
            proving < 0
            and sum(self._hazard(job, told)) > 0.0
            and finding.look.kind in ("coil", "resting coils")
        ):
            return None  # nobody switches a locked coil on again to make sure
        check = replace(job.again, key=f"again {job.again.key}", title=f"once more: {job.again.title}")
        considered = job.suspects[:SUSPECTS_CONSIDERED]
        hypotheses = [tuple(sorted({*s.faults, *job.background})) for s in considered]
        self.predictor.prepare([(check.situation, check.look, h) for h in hypotheses])
        analysis = self.analyse(told)
        predictions = tuple(self._prediction(analysis, check, h) for h in hypotheses)
        option = Option(check, self._minutes(check), predictions)
        expected = self._expected(job, option, numbers)
        doubt = job.still_wrong if proving >= 0 else slip
        bits = entropy_bits(np.array([[min(doubt, 1.0)]]))[0]
        return RankedCheck(1, check, option.minutes, float(bits), option.minutes, expected, reason)

    def _given_real(self, job: _Job, considered: Sequence[Suspect]) -> npt.NDArray[np.float64]:
        """Probabilities of the suspects given that something is wrong at all: what is worth doing
        next does not depend on the chance that the report was a slip.
        """
        every = sum(s.probability for s in job.suspects) + job.outside
        return np.array([s.probability / max(every, 1e-9) for s in considered])

    def _hazard(self, job: _Job, told: Told) -> tuple[float, ...]:
        """How surely a coil pulls in by itself, power on, under each suspect and under none of them."""
        look, situation = Look("resting coils"), Situation()
        considered = job.suspects[:SUSPECTS_CONSIDERED]
        hypotheses = [tuple(sorted({*s.faults, *job.background})) for s in considered] + [job.background]
        questions = [(situation, look, hypothesis) for hypothesis in hypotheses]
        self.predictor.prepare(questions)
        analysis = self.analyse(told)
        chances = [max(analysis.still_there(f) for f in s.faults) for s in considered] + [1.0]
        return tuple(
            chance * sum(share for outcome, share in self.predictor.predict(*question) if outcome)
            for chance, question in zip(chances, questions, strict=True)
        )

    def _expected(
        self, job: _Job, option: Option, numbers: Mapping[tuple[Fault, ...], int]
    ) -> tuple[ExpectedOutcome, ...]:
        """What the check would show under each leading group, by its number in the list of causes."""
        considered = job.suspects[:SUSPECTS_CONSIDERED]
        rows = []
        for group in job.groups[:5]:
            number = numbers.get(group[0].faults)
            if group[0] not in considered or number is None:
                continue
            h = considered.index(group[0])
            if option.check.kind == "act":
                mends = option.mends[h]
                rows.append(ExpectedOutcome(number, "works again" if mends else "still the same"))
                continue
            outcome, share = option.predictions[h][0]
            rows.append(
                ExpectedOutcome(number, outcome_words(self.wiring, option.check.look, outcome), share)
            )
        return tuple(rows)

    def _reason(self, job: _Job, option: Option, choice: Choice) -> str:
        finish = f"about {choice.finish:.0f} min to finish when starting with it"
        if option.check.kind == "act":
            considered = job.suspects[:SUSPECTS_CONSIDERED]
            cured = sum(
                s.probability * option.check.success
                for s, m in zip(considered, option.mends, strict=True)
                if m
            )
            return f"cures it with {cured:.0%}; {finish}"
        outcomes = {
            words
            for h, _ in enumerate(job.suspects[:SUSPECTS_CONSIDERED])
            for words in [outcome_words(self.wiring, option.check.look, option.predictions[h][0][0])]
        }
        split = f"tells {len(outcomes)} groups of suspects apart" if len(outcomes) > 1 else "settles a doubt"
        return f"{split}, {choice.bits:.2f} bit; {finish}"
