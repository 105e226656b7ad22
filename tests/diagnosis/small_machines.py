"""Small machines of many shapes, a few of their parts in all their failure modes, and random findings."""

from __future__ import annotations

import random
from collections.abc import Mapping
from dataclasses import dataclass

from matrixdoc.checks.model import MachineModel, build_model
from matrixdoc.checks.predictor import Predictor
from matrixdoc.checks.situation import ALL_LAMPS, OPEN_LOOP, Finding, Look, Situation
from matrixdoc.circuit.netlist import build_circuit
from matrixdoc.definition.library import machine_from_text
from matrixdoc.definition.wiring import Wiring
from matrixdoc.diagnosis.branches import Variable
from matrixdoc.diagnosis.evidence import Evidence
from matrixdoc.diagnosis.settings import Settings
from matrixdoc.faults.catalogue import load_catalogue
from matrixdoc.faults.priors import Fault, PossibleFault, possible_faults
from tests.diagnosis.enumeration import variable

BOARDS = """
boards:
  logic: {title: logic board}
  driver: {title: driver board}
link: {boards: [logic, driver], pins: 20}
"""
SWITCHES = """
title: Corner
{boards}
matrices:
  switch:
    style: {style}
    sensing: {sensing}
    order: {order}
    board: driver
    chart: |
      one   | two
      three | four
    columns:
      C1: {{logic: U1, link: 1, pre_driver: U2, chain: 2 1}}
      C2: {{logic: U1, link: 2, pre_driver: U2}}
    rows:
      R1: {{logic: U3, link: 3}}
"""
LAMPS = """
title: Corner lamps
{boards}
matrices:
  lamp:
    style: {style}
    order: {order}
    board: driver
    chart: |
      one   | two
      three | four
    columns:
      C1: {{logic: U1, link: 1}}
    rows:
      R1: {{logic: U3, link: 3}}
      R2: {{chain: 2 1}}
"""
BRANCHED = """
title: Fork
{boards}
matrices:
  switch:
    board: driver
    chart: |
      one   | two
      three | four
      five  | -
    columns:
      C1: {{logic: U1, link: 1, chain: 2 (3) 1}}
    rows:
      R1: {{logic: U3, link: 3}}
"""
COILS = """
title: Three coils
{boards}
supplies:
  coil: {{volts: 36 V, load: 1 A, winding_fuse: 8 A}}
feeds:
  one: {{supply: coil, fuse: 3 A, chain: [1, 2, 3]}}
coils:
  1: {{feed: one, board: driver, link: 1}}
  2: {{feed: one, board: driver, link: 2, style: {style}}}
  3: {{feed: one, board: driver, link: 3}}
"""

SHAPES: Mapping[str, str] = {
    "sinking, contact first": SWITCHES.format(
        boards=BOARDS, style="sink strobe, weak idle", sensing="comparator", order="contact first"
    ),
    "sinking, diode first": SWITCHES.format(
        boards=BOARDS, style="sink strobe, push-pull", sensing="74LS", order="diode first"
    ),
    "sinking, floating": SWITCHES.format(
        boards=BOARDS, style="sink strobe, floating idle", sensing="4000B CMOS", order="contact first"
    ),
    "sourcing, contact first": SWITCHES.format(
        boards=BOARDS, style="source strobe, weak idle", sensing="74HC", order="contact first"
    ),
    "sourcing, diode first": SWITCHES.format(
        boards=BOARDS, style="source strobe, push-pull", sensing="comparator", order="diode first"
    ),
    "a column that branches": BRANCHED.format(boards=BOARDS),
    "lamps, high columns": LAMPS.format(
        boards=BOARDS, style="high-side PNP columns, low-side rows", order="lamp first"
    ),
    "lamps, low columns": LAMPS.format(
        boards=BOARDS, style="low-side columns, high-side rows", order="diode first"
    ),
    "coils on one fuse": COILS.format(boards=BOARDS, style="low-side Darlington"),
    "coils on a feed that branches": COILS.format(boards=BOARDS, style="low-side MOS").replace(
        "[1, 2, 3]", "[1, [2], 3]"
    ),
}


@dataclass(frozen=True)
class Small:
    """A machine with the faults of a few parts, and what was found at it."""

    model: MachineModel
    findings: tuple[Finding, ...]

    @property
    def possible(self) -> Mapping[Fault, PossibleFault]:
        return {f: self.model.possible[f] for f in self.model.effects}

    def evidence(self, settings: Settings) -> Evidence:
        """The findings, with nothing remembered from elsewhere."""
        return Evidence(Predictor(self.model), self.findings, settings)

    def variables(self) -> list[Variable]:
        """One variable for each part, all its modes."""
        by_part: dict[str, list[tuple[str, float, bool]]] = {}
        for fault, entry in self.possible.items():
            by_part.setdefault(fault.part, []).append((fault.mode, entry.odds, False))
        return [variable(*states, name=part) for part, states in by_part.items()]


def small_machine(shape: str, seed: int, *, parts: int, lasting: bool = False) -> Small:
    """A random choice of parts (bridges and the supply's among them) and up to three findings.

    ``lasting`` leaves out what comes and goes.
    """
    rng = random.Random(f"{shape} {seed}")
    wiring = machine_from_text(SHAPES[shape], "small")
    circuit = build_circuit(wiring)
    every = possible_faults(circuit, load_catalogue())
    kept = {f: e for f, e in every.items() if e.odds > 0.0 and not (lasting and e.duty)}
    names = sorted({f.part for f in kept})
    bridges = [n for n in names if n.startswith("bridge/")]
    shared = [n for n in names if n.startswith(("supply/", "feed/"))]
    rest = [n for n in names if n not in bridges and n not in shared]
    chosen = rng.sample(rest, parts - 2) + rng.sample(shared, 1)
    chosen += rng.sample(bridges, 1) if bridges else rng.sample([n for n in rest if n not in chosen], 1)
    model = build_model(circuit, {f: e for f, e in kept.items() if f.part in chosen})
    findings = tuple(_finding(rng, wiring, model, chosen) for _ in range(rng.randint(1, 3)))
    return Small(model, findings)


def _finding(rng: random.Random, wiring: Wiring, model: MachineModel, chosen: list[str]) -> Finding:
    """A report that the healthy machine, or one of the faults, would give; now and then a random one."""
    situation, look = _looked(rng, wiring, model, chosen)
    predictor = Predictor(model)
    draw = rng.random()
    faults = () if draw < 0.3 else (rng.choice(sorted(model.effects)),)
    prediction = predictor.predict(situation, look, faults)
    outcome = rng.choices([o for o, _ in prediction], [p for _, p in prediction])[0]
    if draw > 0.9:
        some = {"lamp": "dim", "coil": "locked on", "meter": OPEN_LOOP, "fuse": "open"}
        outcome = some.get(
            look.kind, frozenset(rng.sample(sorted(wiring.switches), 1) if wiring.switches else ())
        )
    return Finding(situation, look, outcome)


def _looked(
    rng: random.Random, wiring: Wiring, model: MachineModel, chosen: list[str]
) -> tuple[Situation, Look]:
    draw = rng.random()
    wired = [p for p in chosen if len(model.part(p).nets) == 2]
    if draw < 0.15 and wired:
        red, black = model.part(rng.choice(wired)).nets
        function = rng.choice(["ohms", "diode"])
        return Situation(power=False), Look("meter", "", function, red, black)  # type: ignore[arg-type]
    fuses = [r for r, p in wiring.parts.items() if p.kind == "fuse"]
    if draw < 0.2:
        return Situation(power=False), Look("fuse", rng.choice(fuses))
    if wiring.switches:
        held = tuple(sorted(rng.sample(sorted(wiring.switches), rng.randint(0, 3))))
        return Situation(held=held), Look("reads")
    if wiring.lamps:
        lamp = rng.choice(sorted(wiring.lamps))
        return Situation(lamps=rng.choice([(lamp,), (ALL_LAMPS,)])), Look("lamp", lamp)
    coil = rng.choice(sorted(wiring.coils))
    if rng.random() < 0.3:
        return Situation(), Look("resting coils")
    return Situation(pulsed=coil), Look("coil", coil)
