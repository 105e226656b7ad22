"""What repairs did: whether a repaired fault is still there, and what a repair can cure.

A repair cures or fails once; every look after it tells about that one outcome. So the chance that it cured
is carried from finding to finding by Bayes' rule: a look that still shows the fault after a replacement says
that the replacement failed, or that something else was the cause, and the next look that shows it says no
more than that again. Taking each look for a trial of its own would rule out a part that was replaced in vain.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from matrixdoc.checks.provoked import WARMTH
from matrixdoc.diagnosis.aftermath import Aftermath
from matrixdoc.diagnosis.analysis import Analysis
from matrixdoc.diagnosis.evidence import OUTSIDE, Evidence
from matrixdoc.diagnosis.told import Mend
from matrixdoc.faults.priors import Fault, PossibleFault

STRENGTH = {"clean": 0, "reseat": 0, "swap": 1, "repair": 1, "replace": 1}
"""Cleaning and reseating do not cure what wants the iron; thorough work cures what wants cleaning."""
THOROUGH = 0.95
"""Chance that thorough work cures where the catalogue names none (common practice, no source)."""
UNNAMED = 0.9
"""The same for work on a part that the catalogue has no fault for (common practice, no source)."""
GONE = 0.1
"""A fault that is there with less probability than this is gone."""
SETS_ASKED = 8
"""So many of the likeliest sets of faults are asked whether a repaired one is still there."""


def cure(possible: Mapping[Fault, PossibleFault], fault: Fault, action: str) -> float:
    """Chance that ``action``, done to the part of ``fault``, cures it."""
    entry = possible[fault]
    done, wanted = STRENGTH.get(action, 1), STRENGTH.get(entry.action, 1)
    if done < wanted:
        return 0.0
    if done == wanted:
        return entry.success
    others = [e.success for f, e in possible.items() if f.part == fault.part and e.action == action]
    return max([entry.success, *(others or [THOROUGH])])


class Mending:
    """The repairs of a case as the findings since tell of them.

    ``before`` gives, for each finding, the chance that each part repaired before it was cured, as far as was
    known then; ``now`` the same by now. Both as :class:`Evidence` takes them.
    """

    def __init__(
        self, plain: Evidence, mends: Sequence[Mend], possible: Mapping[Fault, PossibleFault]
    ) -> None:
        self.plain = plain
        self.possible = possible
        self.mends = tuple(mends)
        self.aftermath = Aftermath(plain.predictor, plain.findings, mends)
        self._modes: dict[str, list[Fault]] = {m.part: [] for m in mends}
        if mends:
            for fault in possible:
                if fault.part in self._modes:
                    self._modes[fault.part].append(fault)
        self.before: tuple[dict[str, float], ...] = tuple({} for _ in plain.findings)
        self.now: dict[str, float] = {}
        asked = [f for modes in self._modes.values() for f in modes]
        plain.prepare((i, some) for i in range(len(plain)) for f in asked for some in ((f,), ()))
        for part in self._modes:
            self._follow(part)

    def _follow(self, part: str) -> None:
        """The chance that the repairs of a part cured it, over its modes by what they explained before."""
        modes = self._modes[part]
        first = min(m.after for m in self.mends if m.part == part)
        if not modes:
            for known in (*self.before[first:], self.now):
                known[part] = UNNAMED
            return
        weights = [self.possible[f].odds for f in modes]
        for index in range(first):
            if self._bears(index, modes):
                weights = [w * self._shows(index, f, ()) for w, f in zip(weights, modes, strict=True)]
        courses = [self.course(f, ()) for f in modes]
        for fault, course in zip(modes, courses, strict=True):
            if self.plain.predictor.blown_by((fault,)):
                self.aftermath.courses[fault] = (*course.before, course.now)
        if sum(weights) <= 0.0:
            weights = [1.0] * len(modes)
        for index in range(first, len(self.before)):
            self.before[index][part] = _mean(weights, [c.before[index] for c in courses])
        self.now[part] = _mean(weights, [c.now for c in courses])

    def untested(self, fault: Fault) -> float:
        """Chance that the fault outlived its repairs, by their good name alone."""
        left = 1.0
        for mend in self.mends:
            if mend.part == fault.part:
                left *= 1.0 - (cure(self.possible, fault, mend.action) if fault in self.possible else UNNAMED)
        return left

    def _bears(self, index: int, modes: Sequence[Fault]) -> bool:
        return bool(self.plain.scope(index).intersection(modes))

    def _shows(self, index: int, fault: Fault, others: tuple[Fault, ...]) -> float:
        """P(finding | the fault is there besides ``others``); what comes and goes is there its share, but
        for warmth, which brings it.
        """
        warmth = self.plain.findings[index].look.kind in WARMTH
        duty = 0.0 if warmth else self.possible[fault].duty
        there = self.plain.report_given(index, tuple(sorted({fault, *others})))
        return there if not duty else duty * there + (1.0 - duty) * self.plain.report_given(index, others)

    def _cured(self, index: int, fault: Fault, others: tuple[Fault, ...], before: Sequence[float]) -> float:
        """P(finding | the fault was cured, ``others`` are there): the fuse that it blew is blown yet."""
        after = self.aftermath.acting(index, (fault,), others, lambda _, n: before[n])
        return sum(share * self.plain.report_given(index, some) for share, some in after)

    def course(self, fault: Fault, others: tuple[Fault, ...]) -> _Course:
        """How the chance that the repairs cured ``fault`` went, ``others`` being there all the time."""
        chance = 0.0
        before: list[float] = []
        own = [m for m in self.mends if m.part == fault.part]
        for index in range(len(self.plain.findings) + 1):
            for mend in own:
                if mend.after == index:
                    chance = 1.0 - (1.0 - chance) * (1.0 - cure(self.possible, fault, mend.action))
            if index == len(self.plain.findings):
                break
            before.append(chance)
            if chance > 0.0 and self._bears(index, [fault]):
                gone = chance * self._cured(index, fault, others, before)
                there = (1.0 - chance) * self._shows(index, fault, others)
                chance = gone / (gone + there) if gone + there > 0.0 else chance
        return _Course(tuple(before), chance)


def _mean(weights: Sequence[float], values: Sequence[float]) -> float:
    return sum(w * v for w, v in zip(weights, values, strict=True)) / sum(weights)


@dataclass(frozen=True, slots=True)
class _Course:
    before: tuple[float, ...]
    now: float


@dataclass(frozen=True, kw_only=True)
class MendedAnalysis(Analysis):
    """An analysis that knows what the repairs did."""

    mending: Mending
    known: dict[Fault, float] = field(default_factory=dict, compare=False)

    def still_there(self, fault: Fault) -> float:
        """Chance that a fault which was there on arrival is there now: 1 for a part that nobody mended.

        Averaged over the likeliest sets of faults that hold it: what another fault of the set explains
        does not speak against the repair.
        """
        mending = self.mending
        if fault.part not in mending.now:
            return 1.0
        found = self.known.get(fault)
        if found is None:
            found = self.known[fault] = self._averaged(mending, fault)
        return found

    def left_of(self, faults: Sequence[Fault]) -> tuple[tuple[Fault, ...], float]:
        """What is there now, in all probability, if ``faults`` were there on arrival, and the chance that
        any of it is; the whole where nothing is left. A cured short leaves the fuse that it blew.
        """
        chances = {f: self.still_there(f) for f in faults}
        for fault in faults:
            cured = 1.0 - chances[fault]
            if cured > 0.0:
                for fuse, blown in self._left_behind(fault).items():
                    chances[fuse] = max(chances.get(fuse, 0.0), cured * blown)
        left = tuple(f for f, chance in chances.items() if chance >= GONE) or tuple(faults)
        return left, max(chances[f] for f in left)

    def _left_behind(self, fault: Fault) -> dict[Fault, float]:
        """Fuses that the fault, cured by now, left blown, with their chances."""
        return self.mending.aftermath.blown(len(self.evidence), fault, self.evidence.cured)

    def _averaged(self, mending: Mending, fault: Fault) -> float:
        if fault not in mending.possible:
            return 1.0 - mending.now[fault.part]
        holding = [(some, share) for some, share in self.posterior.sets if fault in some][:SETS_ASKED]
        total = still = 0.0
        for some, share in holding:
            others = tuple(sorted(f for f in some - {fault} if f.part not in (OUTSIDE, fault.part)))
            # Repaired others are gone, unless their own looks say otherwise.
            others = tuple(f for f in others if mending.now.get(f.part, 0.0) < 0.5)
            total += share
            still += share * (1.0 - mending.course(fault, others).now)
        return still / total if total > 0.0 else 1.0 - mending.course(fault, ()).now
