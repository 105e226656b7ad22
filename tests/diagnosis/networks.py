"""A pair of matrices as a Bayesian network of pyAgrum, and the same through the package.

The network is built from the chains and the priors alone: one node for each part with its open modes, and
OR nodes that hold "broken up to here" for each lug of a line, each cell, and the lamp supply. Findings enter
as likelihoods of "the path of this look is broken". Two numbers for each look come from the package: what
it thinks of the report on a whole and on a broken path.
"""

from __future__ import annotations

import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from matrixdoc.checks.model import build_model, opens_only
from matrixdoc.checks.predictor import Predictor
from matrixdoc.checks.situation import ALL_LAMPS, Finding, Look, Situation
from matrixdoc.circuit.netlist import build_circuit
from matrixdoc.definition.library import machine_from_text
from matrixdoc.diagnosis.evidence import Evidence
from matrixdoc.diagnosis.posterior import Posterior, posterior
from matrixdoc.diagnosis.settings import Settings
from matrixdoc.diagnosis.variables import build_variables
from matrixdoc.faults.catalogue import load_catalogue
from matrixdoc.faults.priors import Fault, PossibleFault, possible_faults
from tests.diagnosis.pairs import RUNS, Cell, Pair

with warnings.catch_warnings():
    # Its generated wrapper warns while it loads, and crashes the interpreter where that is an error.
    warnings.simplefilter("ignore")
    import pyagrum

Odds = Mapping[str, Mapping[str, float]]
"""Odds of each open mode of each part."""


@dataclass(frozen=True)
class Problem:
    """A pair with findings: ``dead`` cells show nothing, the others what they should."""

    pair: Pair
    evidence: Evidence
    possible: Mapping[Fault, PossibleFault]
    looked: Sequence[tuple[str, Cell]]

    @property
    def odds(self) -> Odds:
        found: dict[str, dict[str, float]] = {}
        for fault, entry in self.possible.items():
            found.setdefault(fault.part, {})[fault.mode] = entry.odds
        return found


def make_problem(
    machine: Pair,
    dead: Mapping[str, set[Cell]],
    settings: Settings,
    *,
    one_mode: bool,
    looks: Sequence[tuple[str, Cell]] | None = None,
    all_lamps: bool = False,
) -> Problem:
    """Every switch pressed alone and every lamp looked at, on the machine with opens only.

    ``one_mode`` keeps the likeliest open of each part.
    """
    circuit = build_circuit(machine_from_text(machine.text(), "pair"))
    every = possible_faults(circuit, load_catalogue())
    whole_model = build_model(circuit, every)
    on_path = set(machine.parts())
    kept: dict[Fault, PossibleFault] = {}
    best: dict[str, PossibleFault] = {}
    for fault, entry in every.items():
        lasting = entry.duty == 0.0 and entry.odds > 0.0
        if fault.part in on_path and lasting and opens_only(whole_model.effects[fault]):
            kept[fault] = entry
            if fault.part not in best or entry.odds > best[fault.part].odds:
                best[fault.part] = entry
    if one_mode:
        kept = {entry.fault: entry for entry in best.values()}
    looked = looks if looks is not None else [(m, cell) for m in ("switch", "lamp") for cell in machine.cells]
    findings = []
    for matrix, cell in looked:
        name = f"{matrix}/C{cell[0]}R{cell[1]}"
        broken = cell in dead.get(matrix, ())
        if matrix == "switch":
            seen = frozenset() if broken else frozenset({name})
            findings.append(Finding(Situation(held=(name,)), Look("reads"), seen))
        else:
            lit = (ALL_LAMPS,) if all_lamps else (name,)
            findings.append(Finding(Situation(lamps=lit), Look("lamp", name), "off" if broken else "normal"))
    evidence = Evidence(Predictor(build_model(circuit, kept)), findings, settings)
    return Problem(machine, evidence, kept, looked)


def scopes(evidence: Evidence) -> dict[Fault, frozenset[int]]:
    """Findings in whose scope each fault is."""
    found: dict[Fault, set[int]] = {}
    for index in range(len(evidence)):
        for fault in evidence.scope(index):
            found.setdefault(fault, set()).add(index)
    return {fault: frozenset(some) for fault, some in found.items()}


def by_package(problem: Problem, *, merge: bool) -> Posterior:
    """Evidence to posterior with the package's own functions, over every open on the paths."""
    evidence = problem.evidence
    touched = scopes(evidence)
    variables = build_variables(evidence.predictor.model, list(problem.possible), merge=merge)
    return posterior(
        variables,
        len(evidence),
        evidence.likelihood,
        lambda fault: touched.get(fault, frozenset()),
        prepare=evidence.prepare,
        least_share=evidence.settings.least_share,
    )


class Network:
    """The network of a problem."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.net = pyagrum.BayesNet()
        self.evidence: dict[str, list[float]] = {}
        self.names: dict[str, str] = {}
        self.modes: dict[str, list[str]] = {}
        self.runs: dict[str, str] = {}
        self._build()

    def _part(self, reference: str) -> str:
        if reference not in self.names:
            odds = self.problem.odds[reference]
            self.modes[reference] = ["whole", *odds]
            name = self.names[reference] = f"part{len(self.names)}"
            self.net.add(pyagrum.LabelizedVariable(name, reference, self.modes[reference]))
            total = 1.0 + sum(odds.values())
            self.net.cpt(name).fillWith([1.0 / total, *(o / total for o in odds.values())])
        return self.names[reference]

    def _any(self, parents: Sequence[str]) -> str:
        """Broken as soon as one parent is not in its first state, two parents at a time."""
        done = parents[0]
        for parent in parents[1:]:
            name = f"any{self.net.size()}"
            self.net.add(pyagrum.LabelizedVariable(name, name, ["whole", "broken"]))
            self.net.addArc(done, name)
            self.net.addArc(parent, name)
            # The child varies fastest, then its parents in the order of their arcs.
            sizes = [self.net.variable(p).domainSize() for p in (done, parent)]
            broken = [float(bool(one or two)) for two in range(sizes[1]) for one in range(sizes[0])]
            self.net.cpt(name).fillWith([value for b in broken for value in (1.0 - b, b)])
            done = name
        return done

    def _line(self, matrix: str, letter: str, number: int) -> list[str]:
        """Nodes "broken up to this lug", from the first lug on."""
        pair = self.problem.pair
        head = pair.head(matrix, letter, number)
        groups: list[str] = []
        for run in RUNS:
            inside = [p for p in head if p.rpartition("/")[2] in run]
            if len(inside) > 1 and not (matrix == "switch" and letter == "R" and "logic" in run):
                groups.append(self._any([self._part(p) for p in inside]))
                self.runs["; ".join(inside)] = groups[-1]
                head = [p for p in head if p not in inside]
        lugs = [self._any([*groups, *(self._part(p) for p in head)])]
        for segment in pair.segments(matrix, letter, number):
            lugs.append(self._any([lugs[-1], self._part(segment)]))
        return lugs

    def _build(self) -> None:
        problem, pair = self.problem, self.problem.pair
        lines = {
            (matrix, letter, number): self._line(matrix, letter, number)
            for matrix in ("switch", "lamp")
            for letter in "CR"
            for number in pair.lines(letter)
        }
        supply = self._any([self._part(p) for p in pair.supply("lamp")])
        for index, (matrix, (c, r)) in enumerate(problem.looked):
            column = lines[matrix, "C", c][pair.lug(matrix, "C", c, r)]
            row = lines[matrix, "R", r][pair.lug(matrix, "R", r, c)]
            cell = self._any([self._part(p) for p in pair.cell(matrix, (c, r))])
            ends = [column, row, cell] + ([supply] if matrix == "lamp" else [])
            diode = f"{matrix}/C{c}R{r}/diode"
            broken = Fault(diode, next(iter(problem.odds[diode])))
            self.evidence[self._any(ends)] = [
                problem.evidence.likelihood(index, ()),
                problem.evidence.likelihood(index, (broken,)),
            ]

    def solve(self) -> pyagrum.LazyPropagation:
        """Exact inference with the findings as likelihoods."""
        inference = pyagrum.LazyPropagation(self.net)
        inference.setEvidence(self.evidence)
        inference.makeInference()
        return inference

    def marginals(self) -> tuple[dict[Fault, float], dict[str, float]]:
        """Probability of each fault, and that a run of parts (named by its parts) is open."""
        inference = self.solve()
        faults: dict[Fault, float] = {}
        for reference, name in self.names.items():
            found = inference.posterior(name)
            for number, mode in enumerate(self.modes[reference]):
                if number:
                    faults[Fault(reference, mode)] = float(found[number])
        return faults, {words: float(inference.posterior(name)[1]) for words, name in self.runs.items()}
