"""What to do next, for people: the policy's choices, and what comes before them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from matrixdoc.checks.situation import Check
from matrixdoc.checks.wording import left_altered, look_words, outcome_words
from matrixdoc.diagnosis.anchors import predictor_anchors
from matrixdoc.diagnosis.answers import numbers_of
from matrixdoc.diagnosis.danger import LOCKED_LIMIT
from matrixdoc.diagnosis.doubts import doubts, repeatable
from matrixdoc.diagnosis.expected import expected_outcomes
from matrixdoc.diagnosis.jobs import Job, Workshop
from matrixdoc.diagnosis.means import isolation
from matrixdoc.diagnosis.policy import Choice, decide
from matrixdoc.diagnosis.policy_actions import Array
from matrixdoc.diagnosis.policy_problem import Problem
from matrixdoc.diagnosis.ranking import (
    Circumstances,
    Option,
    after_tries,
    build_problem,
    entropy_bits,
    outcome_table,
)
from matrixdoc.diagnosis.results import RankedCheck
from matrixdoc.diagnosis.told import Told
from matrixdoc.faults.priors import Fault

DONE_WITH = 0.15
"""A complaint that is still there with less probability than this is repaired and proven."""
WORTH_A_SECOND_LOOK = 0.2
"""A report that may be a slip with at least this probability is looked at again first."""
MOST_CONFIRMED = 2
"""When so many looks were made again since the last repair and showed the same, the reports are believed."""
LEAST_BITS, LEAST_CURE = 1e-3, 0.01
"""A check that tells less is not offered; nor is a repair that cures what is wrong with less."""

_Row = tuple[Choice, Job, Option]


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


def _chance(chances: Array, option: Option) -> float:
    """Chance that a repair cures what is wrong; 0 for a check."""
    return float(chances @ np.array(option.cures)) if option.cures else 0.0


class Advice:
    """Ranks what can be done about the complaints of one machine."""

    def __init__(self, workshop: Workshop) -> None:
        self.workshop = workshop
        self.tools = workshop.tools
        self.danger = workshop.danger

    def checks(self, jobs: Sequence[Job], told: Told, limit: int) -> tuple[RankedCheck, ...]:
        """The next checks, those first after which finishing is expected to cost least."""
        rows: list[_Row] = []
        first: list[RankedCheck] = []
        numbers = numbers_of(jobs)
        for job in jobs:
            # A reading may say that it is mended; what the machine does has to be looked at all the same.
            done = job.still_wrong < DONE_WITH
            again = self._look_again(job, told, numbers) if not done or told.proving >= 0 else None
            if again is not None:
                first.append(again)
            if done:
                continue
            problem, options = self.plan(job, told)
            isolated = self._isolated(job, told)
            if isolated is not None:
                first.append(isolated)
            choices = decide(problem, problem.start())
            # A repair has to have a chance; a check has to tell something.
            chances = job.given_real()
            rows.extend(
                (c, job, options[c.action])
                for c in choices
                if _chance(chances, options[c.action]) >= LEAST_CURE
                or (options[c.action].check.kind != "act" and c.bits >= LEAST_BITS)
            )
        if not first and jobs and told.proving < 0:
            first = self._doubted(jobs, told, numbers)
        first = [one for one in first if one.check.key not in told.declined]
        open_ = [job for job in jobs if job.still_wrong >= DONE_WITH]
        if not first and not rows and open_:
            reason = "nothing that is left explains it: look again before anything else is taken apart"
            once_more = self._once_more(open_[0], open_[0].again, numbers, open_[0].still_wrong, reason)
            first = [once_more] if once_more.check.key not in told.declined else []
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
                    expected=expected_outcomes(self.tools.model, job, option, numbers),
                    reason=self._reason(job, option, choice),
                )
            )
        ordered = [*first, *result][:limit]
        return tuple(replace(check, rank=rank) for rank, check in enumerate(ordered, start=1))

    def _put_back(self, told: Told, check: Check) -> Check:
        """The check with what has to be put back first: whatever the last look left off, on or swapped."""
        if not told.findings:
            return check
        left = left_altered(self.tools.wiring, told.findings[-1].situation, check.situation)
        return replace(check, set_up=(*left, *check.set_up)) if left else check

    def _known(self, check: Check, told: Told) -> bool:
        """Whether the answer is known: the look was made, and no part that a meter reaches mended since."""
        made = [
            n for n, f in enumerate(told.findings) if (f.situation, f.look) == (check.situation, check.look)
        ]
        if not made:
            return False
        since = {m.part for m in told.mends if m.after > made[-1]}
        if not since or check.kind != "meter":
            return True
        reach = predictor_anchors(self.tools.predictor).scope(check.situation, check.look)
        return not any(f.part in since for f in reach)

    def _measured_by(self, check: Check, told: Told) -> list[str]:
        """Which of the mended parts a meter check is about: the leads on the part's own ends, or the fuse."""
        look = check.look
        if look.kind == "fuse":
            return [look.target]
        parts = self.tools.wiring.parts
        mended = [m.part for m in told.mends if m.part in parts]
        return [p for p in mended if len(parts[p].nets) > 1 and {look.red, look.black} <= set(parts[p].nets)]

    def plan(self, job: Job, told: Told) -> tuple[Problem, tuple[Option, ...]]:
        """What is left to do about a complaint as a problem for the policy, and its options in order.

        Checks that were declined or done already are left out, so the plan goes around them.
        """
        chances = job.given_real()
        left = [
            o
            for o in job.options
            if o.check.key not in told.declined and (o.check.kind == "act" or not self._known(o.check, told))
        ]
        unmeasured = frozenset(
            part for o in left if o.check.kind == "meter" for part in self._measured_by(o.check, told)
        )
        tried = [after_tries(o, told.mends, chances, unmeasured) for o in left]
        options = tuple(o for o in tried if o is not None and o.check.key not in told.declined)
        closed = {
            key: place.minutes
            for key, place in self.tools.wiring.places.items()
            if key not in self.tools.settings.open_places
        }
        power = told.findings[-1].situation.power if told.findings else True
        limit = 1.0 if told.overridden else LOCKED_LIMIT
        where = Circumstances(
            closed, power, self.danger.hazard(job.analysis, job.considered, job.beside), limit
        )
        return build_problem(options, chances, where), options

    def _look_again(
        self, job: Job, told: Told, numbers: Mapping[tuple[Fault, ...], int]
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
            and sum(self.danger.hazard(job.analysis, job.considered, job.beside)) > 0.0
            and finding.look.kind in ("coil", "resting coils")
        ):
            return None  # nobody switches a locked coil on again to make sure
        doubt = job.still_wrong if proving >= 0 else slip
        return self._once_more(job, job.again, numbers, doubt, reason)

    def _once_more(
        self, job: Job, look: Check, numbers: Mapping[tuple[Fault, ...], int], doubt: float, reason: str
    ) -> RankedCheck:
        # A look that no check stands for has a title of its own: name what is looked at.
        own = look.key == "again"
        title = look_words(self.tools.wiring, look.look) if own else look.title
        check = replace(look, key="again" if own else f"again {look.key}", title=f"once more: {title}")
        hypotheses = job.hypotheses()[:-1]
        self.tools.predictor.prepare([(check.situation, check.look, h) for h in hypotheses])
        predictions = tuple(self.workshop.prediction(job.analysis, check, h) for h in hypotheses)
        option = Option(check, self.tools.minutes(check), predictions)
        expected = expected_outcomes(self.tools.model, job, option, numbers)
        bits = entropy_bits(np.array([[min(doubt, 1.0)]]))[0]
        return RankedCheck(1, check, option.minutes, float(bits), option.minutes, expected, reason)

    def _doubted(
        self, jobs: Sequence[Job], told: Told, numbers: Mapping[tuple[Fault, ...], int]
    ) -> list[RankedCheck]:
        """The look that was most probably told wrongly, if one may well have been: once more."""
        asked = [(f.situation, f.look) for f in told.findings]
        since = max((m.after for m in told.mends), default=0)
        confirmed = sum(f in told.findings[:n] for n, f in enumerate(told.findings) if n >= since)
        if confirmed >= MOST_CONFIRMED:
            return []
        chances = doubts(jobs[0].analysis)
        some = [
            (chance, -n)
            for n, (chance, finding) in enumerate(zip(chances, told.findings, strict=True))
            if chance >= WORTH_A_SECOND_LOOK and repeatable(finding) and n >= since
            if asked.count((finding.situation, finding.look)) == 1
        ]
        if not some:
            return []
        chance, number = max(some)
        finding = told.findings[-number]
        job = next((j for j in jobs if -number in j.complaint.findings), jobs[0])
        coils = finding.look.kind in ("coil", "resting coils")
        if coils and sum(self.danger.hazard(job.analysis, job.considered, job.beside)) > 0.0:
            return []
        reason = (
            f"what was told of it fits nothing that explains the rest (a slip with {chance:.0%}): look again"
        )
        return [self._once_more(job, self.workshop.look_at(finding), numbers, chance, reason)]

    def _reason(self, job: Job, option: Option, choice: Choice) -> str:
        finish = f"about {choice.finish:.0f} min to finish when starting with it"
        if option.check.kind == "act":
            cured = _chance(job.given_real(), option)
            return f"would cure it: {100.0 * cured:.0f} %; {finish}"
        outcomes = {
            words
            for h, _ in enumerate(job.considered)
            for words in [
                outcome_words(
                    self.tools.wiring,
                    option.check.look,
                    option.predictions[h][0][0],
                    option.check.situation.held,
                )
            ]
        }
        split = f"tells {len(outcomes)} groups of suspects apart" if len(outcomes) > 1 else "settles a doubt"
        return f"{split}, {choice.bits:.2f} bit; {finish}"

    def _isolated(self, job: Job, told: Told) -> RankedCheck | None:
        """Fuse out before anything is switched on again, while a coil may lock on; None where there is no
        such danger, it is out already, or somebody overrode this in words.
        """
        hazard = self.danger.hazard(job.analysis, job.considered, job.beside)
        weights = [*job.given_real()]
        danger = sum(p * h for p, h in zip(weights, hazard, strict=False))
        if told.overridden or danger < LOCKED_LIMIT:
            return None
        last = told.findings[-1].situation.opened if told.findings else ()
        for coil in self.danger.maybe_locked(job.suspects, job.background):
            check = isolation(self.tools.model, coil)
            done = check is not None and any(f.situation == check.situation for f in told.findings)
            if check is None or done or set(check.situation.opened) & set(last):
                continue
            reason = f"a coil may lock on ({danger:.0%}): with this out the rest can be looked at under power"
            return RankedCheck(
                1, check, self.tools.minutes(check), 0.0, self.tools.minutes(check), (), reason
            )
        return None
