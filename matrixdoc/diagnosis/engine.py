"""The whole of diagnosis for one machine: causes and next checks from findings.

An engine is made once for a machine and its settings; it keeps what it has solved, so that one
more finding costs only what is new about it. Its answers depend on the findings alone.
"""

from __future__ import annotations

from matrixdoc.checks.generate import CheckGenerator
from matrixdoc.checks.meter import MeterKind
from matrixdoc.checks.model import build_model
from matrixdoc.checks.prediction import Prediction
from matrixdoc.checks.predictor import Predictor
from matrixdoc.checks.situation import Look, Situation
from matrixdoc.circuit.netlist import build_circuit
from matrixdoc.definition.wiring import Wiring
from matrixdoc.diagnosis.advice import DONE_WITH, Advice
from matrixdoc.diagnosis.analysis import analyse
from matrixdoc.diagnosis.answers import SAFETY, diagnosis_of
from matrixdoc.diagnosis.evidence import Evidence
from matrixdoc.diagnosis.jobs import Job, Workshop
from matrixdoc.diagnosis.mended import MendedAnalysis, Mending
from matrixdoc.diagnosis.policy_problem import Problem
from matrixdoc.diagnosis.ranking import Option
from matrixdoc.diagnosis.results import Diagnosis, RankedCheck
from matrixdoc.diagnosis.settings import Settings
from matrixdoc.diagnosis.told import Told
from matrixdoc.diagnosis.tools import SUSPECTS_CONSIDERED, Tools
from matrixdoc.faults.catalogue import load_catalogue
from matrixdoc.faults.conditions import ServiceConditions
from matrixdoc.faults.priors import Fault, possible_faults
from matrixdoc.faults.timing import timing_faults

__all__ = ["DONE_WITH", "SAFETY", "SUSPECTS_CONSIDERED", "Engine", "Told"]


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
        self.possible |= timing_faults(wiring, self.catalogue, self.possible)
        self.model = build_model(self.circuit, self.possible)
        kind = MeterKind(settings.meter_lead_ohm, settings.meter_top_ohm, settings.diode_test_ma)
        self.predictor = Predictor(self.model, kind)
        self.generator = CheckGenerator(self.model)
        tools = Tools(wiring, settings, self.model, self.predictor, self.generator)
        self.workshop = Workshop(tools)
        self.advice = Advice(self.workshop)
        self._analyses: dict[tuple[object, ...], MendedAnalysis] = {}
        self._jobs: dict[tuple[object, ...], tuple[Job, ...]] = {}

    def predict(self, faults: tuple[Fault, ...], situation: Situation, look: Look) -> Prediction:
        """What a look shows under exactly these faults."""
        ordered = tuple(sorted(set(faults)))
        self.predictor.prepare([(situation, look, ordered)])
        return self.predictor.predict(situation, look, ordered)

    # -- posterior ---------------------------------------------------------------------------

    def analyse(self, told: Told) -> MendedAnalysis:
        """The analysis of what was told, remembered."""
        key = (told.findings, told.mends, told.disturbed)
        known = self._analyses.get(key)
        if known is None:
            plain = Evidence(self.predictor, told.findings, self.settings, None, told.disturbed)
            mending = Mending(plain, told.mends, self.model.possible)
            evidence = Evidence(
                self.predictor,
                told.findings,
                self.settings,
                mending.before,
                told.disturbed,
                mending.now,
            )
            evidence.aftermath = mending.aftermath
            found = analyse(evidence, self.model, self.catalogue.cascades)
            known = self._analyses[key] = MendedAnalysis(**vars(found), mending=mending)
        return known

    def jobs(self, told: Told, *, compared: bool = True) -> tuple[Job, ...]:
        """Complaints with suspects and options, the likeliest first.

        ``compared`` False: as long as the checks have not been worked out, without them.
        """
        analysis = self.analyse(told)
        key = (id(analysis), tuple(sorted(told.repaired.items())))
        known = self._jobs.get(key)
        if known is None:
            jobs = [self.workshop.job(analysis, c, compared=compared) for c in analysis.complaints]
            known = tuple(j for j in jobs if j.suspects)
            if compared:
                self._jobs[key] = known
        return known

    # -- answers -----------------------------------------------------------------------------

    def diagnose(self, told: Told, cautions: tuple[str, ...] = (), *, compared: bool = True) -> Diagnosis:
        """Causes of all complaints, most probable first.

        ``compared`` False answers before the checks are worked out: every suspect by itself, whether
        or not a check could tell it from the others.
        """
        jobs = self.jobs(told, compared=compared)
        return diagnosis_of(self.analyse(told), jobs, told.repaired, cautions)

    def checks(self, told: Told, limit: int) -> tuple[RankedCheck, ...]:
        """The next checks, those first after which finishing is expected to cost least."""
        return self.advice.checks(self.jobs(told), told, limit)

    def plan(self, job: Job, told: Told) -> tuple[Problem, tuple[Option, ...]]:
        """What is left to do about a complaint as a problem for the policy, and its options in order."""
        return self.advice.plan(job, told)
