"""Findings turned into likelihoods: P(finding | faults) for any set of faults.

Faults that cannot change a finding at all (see ``anchors.py``) leave its likelihood as it is for the
healthy machine.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from matrixdoc.checks.chart import exchanged
from matrixdoc.checks.likelihood import report_probability, slip_probability
from matrixdoc.checks.predictor import Predictor, View
from matrixdoc.checks.provoked import WARMTH, Before, warmth_before
from matrixdoc.checks.situation import NOT_SURE, Finding, Look, Situation, both_ends
from matrixdoc.diagnosis.aftermath import Aftermath
from matrixdoc.diagnosis.anchors import RESTING_LOOK, predictor_anchors
from matrixdoc.diagnosis.composites import Composite, stretches
from matrixdoc.diagnosis.settings import Settings
from matrixdoc.faults.priors import Fault

OUTSIDE = "outside the model"


def outside_fault(group: int) -> Fault:
    """The hypothesis that something the model does not hold explains one group of findings."""
    return Fault(OUTSIDE, str(group))


WATCHED_SLIPS = 0.01
"""How often a report of a run from cold to warm is wrong, against that of one look: it is looked at again and
again (common practice, no source)."""

JUDGEMENTS = 6.0
"""Many lamps judged alike in one look are one person's one judgement of brightness, not as many
independent ones: together they weigh as much as this number of them (common practice, no source)."""


def _judgement(finding: Finding) -> tuple[Situation, str] | None:
    """What makes two judgements of brightness one: the same look at lamps, the same word."""
    if finding.look.kind != "lamp" or not isinstance(finding.outcome, str):
        return None
    return finding.situation, finding.outcome


class Evidence:
    """Findings of one case on one machine, as likelihoods. Remembers what it has computed.

    ``mended`` gives, for each finding, the parts that had been repaired when it was made, with the
    chance that the repair cured them: a fault of such a part acts on the finding only with the rest
    of the probability. ``disturbed`` counts, for each finding, the acts before it that may have moved
    what comes and goes. ``mended_now`` are the parts repaired by now, as in ``mended``.
    """

    def __init__(
        self,
        predictor: Predictor,
        findings: Sequence[Finding],
        settings: Settings,
        mended: Sequence[Mapping[str, float]] | None = None,
        disturbed: Sequence[int] | None = None,
        mended_now: Mapping[str, float] | None = None,
    ) -> None:
        self.predictor = predictor
        self.findings = tuple(findings)
        self.settings = settings
        self.mended = tuple(mended) if mended is not None else tuple({} for _ in findings)
        self.mended_now = dict(mended_now or {})
        self.aftermath: Aftermath | None = None
        self.stretch = stretches(disturbed if disturbed is not None else [0] * len(self.findings))
        self.composites: dict[Fault, Composite] = {}
        self.outside_groups: dict[int, str] = {}
        self._anchors = predictor_anchors(predictor)
        alike = Counter(_judgement(f) for f in self.findings)
        self.weights = tuple(
            min(1.0, JUDGEMENTS / alike[_judgement(f)]) if _judgement(f) else 1.0 for f in self.findings
        )

        self._asked = [
            _Asked.of(predictor, finding, warmth_before(self.findings[:index]))
            for index, finding in enumerate(self.findings)
        ]
        self._slips = [self._slip(finding) for finding in self.findings]
        self._usually: frozenset[str] | None = None

    def __len__(self) -> int:
        return len(self.findings)

    def scope(self, index: int) -> frozenset[Fault]:
        """Faults that can change finding ``index`` by themselves or together with others."""
        finding = self.findings[index]
        if finding.outcome == NOT_SURE:
            return frozenset()
        held = finding.situation.held
        if self.settings.least_share <= 0.0 and finding.look.kind != "fuse":
            # Run to the end nothing is left out: an open far away may undo what a bridge does here.
            return frozenset(self.predictor.model.effects)
        if finding.look.kind == "reads" and held and finding.situation.power:
            # What reads elsewhere with nothing pressed does not bear on this press, unless it is
            # among what was pressed or seen.
            told = finding.outcome if isinstance(finding.outcome, frozenset) else frozenset()
            return self._anchors.near_press(finding.situation, told - self.usual())
        return self._anchors.scope(finding.situation, finding.look)

    def questions(
        self, index: int, faults: tuple[Fault, ...]
    ) -> list[tuple[Situation, Look, tuple[Fault, ...]]]:
        """What the predictor must answer for one likelihood."""
        asked: list[tuple[Situation, Look, tuple[Fault, ...]]] = []
        views = self._asked[index].views
        for _, acting in self.acting(index, faults):
            asked.extend((view.situation, view.look, acting) for view in views if acting not in view)
        return asked

    def acting(self, index: int, faults: tuple[Fault, ...]) -> list[tuple[float, tuple[Fault, ...]]]:
        """(probability, faults that still act on finding ``index``): aliases are resolved, outside ones
        left out, and those of repaired parts are gone with the repair's chance of success.
        """
        if (
            not self.composites
            and not self.mended[index]
            and len(faults) == 1
            and not self._special(faults[0])
        ):
            return [(1.0, faults)]
        inside: set[Fault] = set()
        for name in faults:
            composite = self.composites.get(name)
            if composite is not None:
                inside.update(self.acting_of(composite, index))
            elif name.part != OUTSIDE:
                inside.add(name)
        restless = [f for f in inside if self._draws_anew(f)]
        if not restless or self.findings[index].look.kind in WARMTH:
            return self._after_repairs(index, tuple(sorted(inside)))
        loose = restless[0]
        duty = self.predictor.model.possible[loose].duty
        found = []
        for share, some in ((duty, inside), (1.0 - duty, inside - {loose})):
            found += [(share * p, left) for p, left in self._after_repairs(index, tuple(sorted(some)))]
        return found

    def acting_of(self, composite: Composite, index: int) -> tuple[Fault, ...]:
        """The plain faults of a composite that act on a finding: warmth brings what is not there just now."""
        if self.findings[index].look.kind in WARMTH:
            return composite.acts or composite.faults
        return composite.acting(self.stretch[index])

    def _special(self, fault: Fault) -> bool:
        return fault.part == OUTSIDE or self._draws_anew(fault)

    def _draws_anew(self, fault: Fault) -> bool:
        entry = self.predictor.model.possible.get(fault)
        return entry is not None and entry.restless and self.settings.least_share > 0.0

    def cured(self, fault: Fault, index: int) -> float:
        """Chance that a fault was cured when finding ``index`` was made (their number: by now)."""
        if self.aftermath is not None and fault in self.aftermath.courses:
            return self.aftermath.courses[fault][index]
        known = self.mended[index] if index < len(self.mended) else self.mended_now
        return known.get(fault.part, 0.0)

    def _after_repairs(self, index: int, inside: tuple[Fault, ...]) -> list[tuple[float, tuple[Fault, ...]]]:
        mended = self.mended[index]
        cured = [self.cured(f, index) for f in inside if f.part in mended]
        if not cured:
            return [(1.0, inside)]
        success = min(cured)
        left = tuple(f for f in inside if f.part not in mended)
        after = [(1.0, left)]
        if self.aftermath is not None:
            gone = [f for f in inside if f.part in mended]
            after = self.aftermath.acting(index, gone, left, self.cured)
        cures = [(success * share, some) for share, some in after]
        return [(p, some) for p, some in (*cures, (1.0 - success, inside)) if p > 0.0]

    def prepare(self, wanted: Iterable[tuple[int, tuple[Fault, ...]]]) -> None:
        """Solve what many likelihoods need in few batches."""
        asked: list[tuple[Situation, Look, tuple[Fault, ...]]] = []
        for index, faults in wanted:
            asked.extend(self.questions(index, faults))
        self.predictor.prepare(list(dict.fromkeys(asked)))

    def slip(self, index: int) -> float:
        """Chance that finding ``index`` was reported wrongly."""
        return self._slips[index]

    def _slip(self, finding: Finding) -> float:
        if finding.look.kind == "warm up":
            return self.settings.slip_rate * WATCHED_SLIPS
        meter = finding.look.kind in ("meter", "fuse")
        return self.settings.meter_slip_rate if meter else self.settings.slip_rate

    def likelihood(self, index: int, faults: tuple[Fault, ...]) -> float:
        """P(finding ``index`` | exactly ``faults``)."""
        finding = self.findings[index]
        for fault in faults:
            if fault.part == OUTSIDE and self.outside_groups.get(index) == fault.mode:
                return slip_probability(finding.look, finding.outcome, finding.situation.held, self.usual())
        value = sum(p * self._report(index, acting) for p, acting in self.acting(index, faults))
        return float(value ** self.weights[index])

    def report_given(self, index: int, acting: tuple[Fault, ...]) -> float:
        """P(finding ``index`` | exactly these faults act, repairs or not)."""
        return self._report(index, acting)

    def _report(self, index: int, acting: tuple[Fault, ...]) -> float:
        finding = self.findings[index]
        asked = self._asked[index]
        prediction = asked.view.predict(acting)
        resting: frozenset[str] = frozenset()
        if asked.rest is not None:
            outcome = asked.rest.predict(acting)[0][0]
            if isinstance(outcome, frozenset):
                resting = outcome
        return report_probability(
            finding.look,
            prediction,
            finding.outcome,
            self.slip(index),
            resting,
            finding.situation.held,
            self.usual() if finding.look.kind == "reads" else frozenset(),
        )

    def probed(self) -> frozenset[str]:
        """Parts that a meter's lead was put to, or that were taken out of circuit: their opens can be
        told from those of their neighbours.
        """
        leads = {n for f in self.findings if f.look.kind == "meter" for n in (f.look.red, f.look.black)}
        opened = {reference for f in self.findings for reference in f.situation.opened}
        for finding in self.findings:
            leads.update(net for lead in finding.situation.jumpers for net in both_ends(lead))
            opened.update(part for pair in finding.situation.swapped for part in both_ends(pair))
            if finding.look.kind in ("wiggle", "warm"):
                opened.add(finding.look.target)
        parts = self.predictor.model.circuit.wiring.parts.values()
        return frozenset(opened | {p.reference for p in parts if leads.intersection(p.nets)})

    def exchanges(self, index: int) -> list[Fault]:
        """Exchanges on the chart that a finding points at: one switch pressed, another one read."""
        finding = self.findings[index]
        held = finding.situation.held
        if finding.look.kind != "reads" or len(held) != 1 or not isinstance(finding.outcome, frozenset):
            return []
        seen = finding.outcome - self.usual()
        wiring = self.predictor.model.circuit.wiring
        known = {c.reference: c for m in wiring.matrices.values() for c in m.cells}
        if len(seen) != 1 or seen == frozenset(held):
            return []
        one, two = known.get(held[0]), known.get(next(iter(seen)))
        if one is None or two is None or one.verified or two.verified:
            return []
        return [exchanged(one.reference, two.reference)]

    def usual(self) -> frozenset[str]:
        """Switches that read at rest on the healthy machine."""
        if self._usually is None:
            outcome = self.predictor.predict(Situation(), RESTING_LOOK, ())[0][0]
            self._usually = outcome if isinstance(outcome, frozenset) else frozenset()
        return self._usually


@dataclass(frozen=True, slots=True)
class _Asked:
    """What a finding asks the predictor: its look, and for a press what reads at rest."""

    view: View
    rest: View | None

    @property
    def views(self) -> tuple[View, ...]:
        return (self.view,) if self.rest is None else (self.view, self.rest)

    @staticmethod
    def of(predictor: Predictor, finding: Finding, before: Before) -> _Asked:
        pressed = finding.look.kind == "reads" and _pressed(finding.situation)
        rest = predictor.view(finding.situation.at_rest(), RESTING_LOOK) if pressed else None
        warm = finding.look.kind in WARMTH and before
        look = replace(finding.look, before=before) if warm else finding.look
        return _Asked(predictor.view(finding.situation, look), rest)


def _pressed(situation: Situation) -> bool:
    """Whether something is done to the switches that is not there at rest."""
    return bool(situation.held or situation.jumpers)
