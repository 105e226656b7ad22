"""From findings to a posterior: scope, complaints, joint growth, the sum.

A *complaint* is a set of findings that the healthy machine does not explain and that one suspect
could explain together. Several complaints are several jobs; they are summed together (a shared
fuse explains two at once) and shown apart.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations, pairwise

from matrixdoc.checks.chart import CHART, devices
from matrixdoc.checks.model import MachineModel, opens_only
from matrixdoc.diagnosis.bounds import ABNORMAL
from matrixdoc.diagnosis.branches import State, Variable
from matrixdoc.diagnosis.chain_order import order_hypotheses
from matrixdoc.diagnosis.composites import (
    cascade_variables,
    intermittent_variables,
    plain_marginals,
    plain_sets,
    there_now,
)
from matrixdoc.diagnosis.contenders import contending_singles
from matrixdoc.diagnosis.evidence import OUTSIDE, Evidence, outside_fault
from matrixdoc.diagnosis.floating import floating_inputs, held_variables
from matrixdoc.diagnosis.posterior import CUT_BESIDE, Posterior, posterior
from matrixdoc.diagnosis.pulses import pulse_variables
from matrixdoc.diagnosis.two_at_once import gains_together, two_at_once
from matrixdoc.diagnosis.variables import build_variables
from matrixdoc.faults.catalogue import CascadeRule
from matrixdoc.faults.priors import Fault

EXPLAINS = 4.0
"""A fault explains a finding when it makes it this many times likelier."""
CLOSE = 0.02
"""Suspects down to this share of the best one decide which findings belong together."""
PAIR_CANDIDATES, MOST_PAIRS = 40, 250
"""Likeliest faults, and pairs of them, that are tried for a finding which no single one explains."""
ORDINARY = 0.2
"""A finding at least this likely under one fault needs no pair to explain it."""


@dataclass(frozen=True)
class Complaint:
    """Findings (by index) that belong together, and the faults that could explain any of them."""

    number: int
    findings: tuple[int, ...]
    suspects: tuple[Fault, ...]


@dataclass(frozen=True)
class Analysis:
    """Everything that explanation and ranking need."""

    evidence: Evidence
    posterior: Posterior
    complaints: tuple[Complaint, ...]
    healthy: tuple[float, ...]
    single: Mapping[Fault, Mapping[int, float]]
    """Likelihoods of each fault alone, for the findings in its scope."""
    there_now: Mapping[Fault, float] = field(default_factory=dict)
    """For what comes and goes: the chance that it is there now, if it is the cause."""

    def still_there(self, fault: Fault) -> float:
        """Chance that a fault which was there on arrival is there now.

        1 for a part that nobody mended; else what the findings since the repair say about whether
        the repair cured it, by Bayes' rule from the repair's chance of success.
        """
        evidence = self.evidence
        success = evidence.mended_now.get(fault.part, 0.0)
        if success <= 0.0:
            return 1.0
        there, gone = 1.0 - success, success
        for index, mended in enumerate(evidence.mended):
            if fault.part in mended:
                there *= evidence.report_given(index, (fault,))
                gone *= evidence.report_given(index, ())
        return there / (there + gone) if there + gone > 0.0 else 1.0 - success

    def complaint_of(self, fault: Fault) -> int:
        """Number of the complaint that a fault explains best; 0 if it explains none."""
        values = self.single.get(fault, {})
        best, most = 0, 0.0
        for complaint in self.complaints:
            gain = sum(math.log(values[f] / self.healthy[f]) for f in complaint.findings if f in values)
            if gain > most:
                best, most = complaint.number, gain
        return best

    def likelihood(self, index: int, faults: tuple[Fault, ...]) -> float:
        """P(finding | faults), through the evidence."""
        return self.evidence.likelihood(index, tuple(sorted(faults)))


def _touches(evidence: Evidence) -> dict[Fault, set[int]]:
    found: dict[Fault, set[int]] = {}
    for index in range(len(evidence)):
        for fault in evidence.scope(index):
            found.setdefault(fault, set()).add(index)
    return found


def _gain(single: Mapping[int, float], healthy: Sequence[float]) -> float:
    """Product over findings of likelihood ratio to the healthy machine, in natural logarithm."""
    return sum(math.log(value / healthy[f]) for f, value in single.items())


def _complaints(
    model: MachineModel,
    healthy: Sequence[float],
    single: Mapping[Fault, Mapping[int, float]],
    weights: Sequence[float],
) -> list[Complaint]:
    # Likelihoods of judgements that count as one are drawn towards 1; so are the limits.
    abnormal = [f for f, value in enumerate(healthy) if value < ABNORMAL ** weights[f]]
    parent = {f: f for f in abnormal}

    def find(f: int) -> int:
        while parent[f] != f:
            f = parent[f]
        return f

    explains: dict[Fault, list[int]] = {}
    score: dict[Fault, float] = {}
    best: dict[int, float] = dict.fromkeys(abnormal, -math.inf)
    for fault, values in single.items():
        explained = [f for f in abnormal if values.get(f, 0.0) > EXPLAINS ** weights[f] * healthy[f]]
        if not explained:
            continue
        explains[fault] = explained
        score[fault] = math.log(model.possible[fault].odds + 1e-300) + _gain(values, healthy)
        for f in explained:
            best[f] = max(best[f], score[fault])
    for fault, explained in explains.items():
        close = [f for f in explained if score[fault] >= best[f] + math.log(CLOSE)]
        for one, two in pairwise(close):
            parent[find(one)] = find(two)
    groups: dict[int, list[int]] = {}
    for f in abnormal:
        groups.setdefault(find(f), []).append(f)
    result = []
    for number, members in enumerate(groups.values(), start=1):
        suspects = tuple(
            sorted(
                (v for v, explained in explains.items() if set(explained) & set(members)),
                key=lambda v: (-score[v], v),
            )
        )
        result.append(Complaint(number, tuple(members), suspects))
    return result


def _pairs(
    evidence: Evidence,
    model: MachineModel,
    complaints: Sequence[Complaint],
    healthy: Sequence[float],
    single: Mapping[Fault, Mapping[int, float]],
) -> list[tuple[Fault, Fault]]:
    """Pairs that explain together what neither explains alone.

    Only faults that can make current flow are paired (opening dead branches changes nothing), the
    likeliest first, and only for findings that no single fault explains well.
    """
    found: list[tuple[Fault, Fault]] = []
    for complaint in complaints:
        for f in complaint.findings:
            # One fault that makes the finding an ordinary sight is explanation enough.
            if any(single[v].get(f, 0.0) > ORDINARY for v in complaint.suspects):
                continue
            candidates = sorted(
                (v for v in evidence.scope(f) if not opens_only(model.effects[v])),
                key=lambda v: (-model.possible[v].odds, v),
            )[:PAIR_CANDIDATES]
            pairs = [p for p in combinations(sorted(candidates), 2) if p[0].part != p[1].part]
            pairs.sort(key=lambda p: (-model.possible[p[0]].odds * model.possible[p[1]].odds, p))
            del pairs[MOST_PAIRS:]
            evidence.prepare((f, p) for p in pairs)
            for pair in pairs:
                alone = max(single.get(v, {}).get(f, healthy[f]) for v in pair)
                if evidence.likelihood(f, pair) > EXPLAINS * max(alone, healthy[f]):
                    found.append(pair)
    return list(dict.fromkeys(found))


def _singles(
    evidence: Evidence,
    touches: Mapping[Fault, set[int]],
    healthy: Sequence[float],
    *,
    everything: bool,
) -> dict[Fault, dict[int, float]]:
    """Likelihood of each fault alone, for the findings that it can change.

    Unless ``everything`` is wanted, the findings that the healthy machine does not explain come
    first, and only the faults that help with one of them are looked at any further: the others
    can only lose by what they would contradict, and no check is ranked by them.
    """
    if everything:
        wanted = [(f, (fault,)) for fault, touched in sorted(touches.items()) for f in sorted(touched)]
        evidence.prepare(wanted)
        whole: dict[Fault, dict[int, float]] = {}
        for f, (fault,) in wanted:
            whole.setdefault(fault, {})[f] = evidence.likelihood(f, (fault,))
        return whole
    abnormal = {f for f, value in enumerate(healthy) if value < ABNORMAL ** evidence.weights[f]}
    return contending_singles(evidence, touches, healthy, abnormal)


def analyse(evidence: Evidence, model: MachineModel, cascades: Sequence[CascadeRule] = ()) -> Analysis:
    """The posterior over sets of faults for these findings.

    With ``least_share`` 0 every part is its own variable, what comes and goes is taken as lasting,
    there are no cascades, and the sum runs to the end.
    """
    settings = evidence.settings
    exhaustive = settings.least_share <= 0.0
    indices = range(len(evidence))
    evidence.prepare([(f, ()) for f in indices])
    healthy = tuple(evidence.likelihood(f, ()) for f in indices)
    touches = _touches(evidence)
    single = _singles(evidence, touches, healthy, everything=exhaustive)
    complaints = _complaints(model, healthy, single, evidence.weights)
    extra: list[Variable] = []
    if not exhaustive:
        complaints = [_with_chart(evidence, c, single, touches, extra) for c in complaints]
        complaints = _with_orders(evidence, complaints, healthy, single, touches, extra)
    if settings.outside_weight > 0.0:
        for complaint in complaints:
            for f in complaint.findings:
                evidence.outside_groups[f] = str(complaint.number)
            fault = outside_fault(complaint.number)
            odds = settings.outside_weight
            extra.append(Variable((State(fault, odds, ((fault, odds),), opening=True),)))
            touches[fault] = set(complaint.findings)
    pairs = [] if exhaustive else _pairs(evidence, model, complaints, healthy, single)
    twos = () if exhaustive else two_at_once(evidence, healthy, touches)
    pairs += [pair for pair in twos if pair not in pairs]
    if pairs:
        complaints = _with_pairs(evidence, complaints, pairs, touches, single)
    relevant = [
        v
        for v, values in single.items()
        if v.part != CHART
        and (exhaustive or any(abs(value - healthy[f]) > 1e-9 * healthy[f] for f, value in values.items()))
    ]
    relevant_set = set(relevant) | {v for pair in pairs for v in pair}
    taken = frozenset(relevant_set)
    if not exhaustive:
        loose = {v for v in relevant_set if model.possible[v].duty > 0.0 and not model.possible[v].restless}
        relevant_set -= loose
        floats = floating_inputs(evidence, model, relevant_set, touches)
        relevant_set -= floats.keys()
        extra += _composites(evidence, model, loose, complaints, cascades, touches, floats)
    apart = frozenset(part for parts in evidence.mended for part in parts) | evidence.probed()
    variables = build_variables(model, relevant_set, extra, merge=not exhaustive, apart=apart)
    found = posterior(
        variables,
        len(evidence),
        evidence.likelihood,
        lambda fault: frozenset(touches.get(fault, ())),
        prepare=evidence.prepare,
        pairs=pairs,
        together=gains_together(evidence, twos, touches),
        least_share=settings.least_share,
    )
    composites = evidence.composites
    plain = replace(
        found,
        discarded=min(1.0, found.discarded + _left_out(model, touches, taken)),
        marginals=plain_marginals(found.marginals, composites),
        sets=plain_sets(found.sets, composites),
    )
    now = there_now(found.marginals, composites)
    return Analysis(evidence, plain, tuple(complaints), healthy, single, now)


def _left_out(model: MachineModel, touches: Mapping[Fault, set[int]], taken: frozenset[Fault]) -> float:
    """What faults that were dropped before the sum may have beside what explains the findings: as much as
    the likeliest of them has anyway, and a little more.
    """
    odds = [model.possible[f].odds for f in touches if f not in taken and f in model.effects]
    most = max(odds, default=0.0)
    return CUT_BESIDE * most / (1.0 + most)


def _with_chart(
    evidence: Evidence,
    complaint: Complaint,
    single: dict[Fault, dict[int, float]],
    touches: dict[Fault, set[int]],
    extra: list[Variable],
) -> Complaint:
    """The complaint with the exchanges on the chart that one of its findings points at.

    A press that reads another single switch and not the pressed one may be a chart that has the two
    the wrong way round, unless somebody verified them at the machine.
    """
    added = []
    for f in complaint.findings:
        for fault in evidence.exchanges(f):
            if fault in single:
                continue
            one, two = devices(fault)
            touched = {
                i
                for i, finding in enumerate(evidence.findings)
                if {one, two} & {*finding.situation.held, finding.look.target}
            }
            touches[fault] = touched
            single[fault] = {i: evidence.likelihood(i, (fault,)) for i in touched}
            odds = evidence.predictor.model.possible[fault].odds
            extra.append(Variable((State(fault, odds, ((fault, odds),), opening=False),)))
            added.append(fault)
    return replace(complaint, suspects=(*complaint.suspects, *added)) if added else complaint


def _with_orders(
    evidence: Evidence,
    complaints: Sequence[Complaint],
    healthy: Sequence[float],
    single: dict[Fault, dict[int, float]],
    touches: dict[Fault, set[int]],
    extra: list[Variable],
) -> list[Complaint]:
    """The complaints with the chains that may be wired in another order than the definition says."""
    limits = [ABNORMAL**weight for weight in evidence.weights]
    found = list(complaints)
    for one in order_hypotheses(evidence, healthy, limits):
        fault, odds = one.fault, one.odds
        evidence.predictor.model.possible.suspect(fault, odds)
        evidence.prepare([(i, (fault,)) for i in one.touches])
        touches[fault] = set(one.touches)
        single[fault] = {i: evidence.likelihood(i, (fault,)) for i in one.touches}
        extra.append(Variable((State(fault, odds, ((fault, odds),), opening=False),)))
        found = [
            replace(c, suspects=(*c.suspects, fault)) if one.touches.intersection(c.findings) else c
            for c in found
        ]
    return found


def _with_pairs(
    evidence: Evidence,
    complaints: Sequence[Complaint],
    pairs: Sequence[tuple[Fault, Fault]],
    touches: Mapping[Fault, set[int]],
    single: dict[Fault, dict[int, float]],
) -> list[Complaint]:
    """The complaints with the faults that explain something only in pairs among their suspects."""
    new = [v for v in dict.fromkeys(v for pair in pairs for v in pair) if v not in single]
    evidence.prepare([(f, (v,)) for v in new for f in touches.get(v, ())])
    for v in new:
        single[v] = {f: evidence.likelihood(f, (v,)) for f in sorted(touches.get(v, ()))}
    found = []
    for complaint in complaints:
        own = [v for v in new if touches.get(v, set()).intersection(complaint.findings)]
        found.append(replace(complaint, suspects=(*complaint.suspects, *own)) if own else complaint)
    return found


def _composites(
    evidence: Evidence,
    model: MachineModel,
    loose: set[Fault],
    complaints: Sequence[Complaint],
    cascades: Sequence[CascadeRule],
    touches: dict[Fault, set[int]],
    floats: Mapping[Fault, str],
) -> list[Variable]:
    """Variables of what comes and goes, of cascades, floating inputs and fuses that a pulse blew; their
    aliases are told to the evidence.
    """
    count = max(evidence.stretch, default=0) + 1
    patterns, composites = intermittent_variables(model, loose, count)
    suspects = [v for c in complaints for v in c.suspects]
    joint, more = cascade_variables(model, cascades, suspects)
    held, floating = held_variables(model, floats)
    pulsed, blown = pulse_variables(evidence, model, suspects)
    evidence.composites = {**composites, **more, **floating, **blown}
    for alias, composite in evidence.composites.items():
        touched = set().union(*(touches.get(f, set()) for f in composite.faults))
        touches[alias] = {f for f in touched if evidence.acting_of(composite, f)}
    return [*patterns, *joint, *held, *pulsed]


def outside_share(analysis: Analysis) -> float:
    """The largest share that "outside the model" has of any complaint."""
    shares = [p for fault, p in analysis.posterior.marginals.items() if fault.part == OUTSIDE]
    return max(shares, default=0.0)
