"""The opening report: what a technician walks in with, looked at on the benchmark's own simulation.

The affected switch is pressed, the affected lamp looked at, the affected coil pulsed; then a few neighbours
of the same kind: who finds one coil dead has stepped through the coil test. What is affected shows in a
survey of the looks around the fault, against the same looks at the healthy machine by the same eye at the
same moment, so that the eye's own spread is no complaint; the survey itself is not reported.
"""

from __future__ import annotations

import random
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

from matrixdoc.checks.situation import ALL_LAMPS, NO_LOGIC, NOT_SURE, Finding, Look, Outcome, Situation
from matrixdoc.faults.priors import Fault
from tests.benchmarks.repairs.draw import heads
from tests.benchmarks.repairs.person import Person
from tests.benchmarks.repairs.plant import Plant

Question = tuple[Situation, Look]

MOST_ODD, MOST_NORMAL = 3, 4
"""Entries of a report about one fault: looks that show something wrong, and looks that do not."""
LINE_SAMPLE, OTHERS = 5, 2
REST: Question = (Situation(), Look("reads"))
RESTING_COILS: Question = (Situation(), Look("resting coils"))


class NothingShowsError(Exception):
    """No usual look shows anything of the fault."""


@dataclass(frozen=True)
class Report:
    """The entries, and which of their looks showed something wrong (the complaint)."""

    findings: tuple[Finding, ...]
    complaint: tuple[Question, ...]


def press(*held: str) -> Question:
    """Switches held, the scan looked at."""
    return Situation(held=tuple(sorted(held))), Look("reads")


def lamp_of(lamp: str, *pattern: str) -> Question:
    """One lamp looked at."""
    return Situation(lamps=pattern), Look("lamp", lamp)


def pulse(coil: str) -> Question:
    """One coil pulsed."""
    return Situation(pulsed=coil), Look("coil", coil)


def survey(plant: Plant, fault: Fault, rng: random.Random) -> list[Question]:
    """Looks around a fault, the nearest first."""
    machine = plant.machine
    own = heads(plant, fault.part)
    found: list[Question] = [REST]
    if machine.windings:
        found.append(RESTING_COILS)
    roots = {head.partition("/")[0] for head in own}
    wide = not roots & {*machine.switches, *machine.lamps, "direct switch", "direct lamp", "illumination"}
    found += _switch_looks(plant, own, rng, wide=wide)
    found += _lamp_looks(plant, own, rng, wide=wide)
    coils = list(machine.windings)
    near = [c for c in coils if any(c == h or c.startswith(f"{h}/") for h in own)]
    near += [c for c in coils if _crosses(c, own)]
    others = [c for c in coils if c not in near]
    rng.shuffle(others)
    found += [pulse(c) for c in (*near, *(others if wide else others[:OTHERS]))]
    # A switch that fires its coil on the driver board: pressed, its coil should pull.
    for own_switch in sorted({s for _, s in plant.triggers.values()}):
        if own_switch in own or wide:
            found.append((Situation(held=(own_switch,)), Look("resting coils")))
    return list(dict.fromkeys(found))


def _crosses(cell: str, own: Iterable[str]) -> bool:
    """Whether a cell lies on one of the lines."""
    root, _, key = cell.rpartition("/")
    column, _, row = key.partition("R")
    return bool({f"{root}/{column}", f"{root}/R{row}"} & set(own)) if row else False


def _switch_looks(plant: Plant, own: set[str], rng: random.Random, *, wide: bool) -> list[Question]:
    found: list[Question] = []
    for grid in plant.machine.switches.values():
        cells = [f"{grid.name}/{key}" for key in grid.cells]
        here = [c for c in cells if c in own]
        along = [c for c in cells if c not in here and _crosses(c, own)]
        rest = [c for c in cells if c not in here and c not in along]
        rng.shuffle(along)
        rng.shuffle(rest)
        touched = any(head.startswith(f"{grid.name}/") for head in own)
        count = OTHERS if touched else 3 if wide else 0
        found += [press(c) for c in (*here, *along[:LINE_SAMPLE], *rest[:count])]
        for cell in here:
            found += _corners(cells, cell, rng)
        if touched and along and not here:
            # Two of a line at once, and the corner of a third: what sneaks shows only then.
            found += _corners(cells, along[0], rng)
    return found + [press(name) for name in _with_neighbours(list(plant.machine.direct), own, rng, wide=wide)]


def _with_neighbours(names: list[str], own: set[str], rng: random.Random, *, wide: bool) -> list[str]:
    """Devices outside matrices: the affected ones, and others of their kind; all where it may be any."""
    here = [name for name in names if name in own]
    if wide or not here:
        return names if wide else []
    others = [name for name in names if name not in here]
    return here + rng.sample(others, min(OTHERS, len(others)))


def _corners(cells: list[str], cell: str, rng: random.Random) -> list[Question]:
    """Three corners of a rectangle, the cell between the other two; and the cell with one of them."""
    root, _, key = cell.rpartition("/")
    column, _, row = key.partition("R")
    same_column = [c for c in cells if c.startswith(f"{root}/{column}R") and c != cell]
    same_row = [c for c in cells if c.endswith(f"R{row}") and c.startswith(f"{root}/") and c != cell]
    if not same_column or not same_row:
        return []
    one, two = rng.choice(same_column), rng.choice(same_row)
    return [press(cell, one, two), press(cell, one), press(cell, two)]


def _lamp_looks(plant: Plant, own: set[str], rng: random.Random, *, wide: bool) -> list[Question]:
    found: list[Question] = []
    machine = plant.machine
    for grid in machine.lamps.values():
        cells = [f"{grid.name}/{key}" for key in grid.cells]
        here = [c for c in cells if c in own]
        along = [c for c in cells if c not in here and _crosses(c, own)]
        rest = [c for c in cells if c not in here and c not in along]
        rng.shuffle(along)
        rng.shuffle(rest)
        touched = any(head.startswith(f"{grid.name}/") for head in own)
        count = OTHERS if touched else 3 if wide else 0
        chosen = [*here, *along[:LINE_SAMPLE], *rest[:count]]
        found += [lamp_of(c, ALL_LAMPS) for c in chosen]
        lit = (here or along)[:1]
        found += [lamp_of(c, *lit) for c in (*lit, *along[:3]) if lit]
    for name in _with_neighbours(list(machine.single_lamps), own, rng, wide=wide):
        found += [lamp_of(name, ALL_LAMPS), lamp_of(name, name)]
    lights: dict[str, list[str]] = {}
    for name in machine.lights:
        lights.setdefault(name.rpartition("/")[0], []).append(name)
    for line in _with_neighbours(list(lights), own, rng, wide=wide):
        count = 4 if line in own or wide else 1
        found += [lamp_of(c, ALL_LAMPS) for c in rng.sample(lights[line], min(count, len(lights[line])))]
    # Lamps of the line that the fault names itself.
    found += [lamp_of(name, ALL_LAMPS) for name in machine.lights if name in own]
    return found


def opening(
    person: Person, present: frozenset[Fault], faults: tuple[Fault, ...], rng: random.Random
) -> Report:
    """The report about faults that are there; each of them is to show in a look of its own.

    Raises:
        NothingShowsError: one of them shows nothing that would not be seen without it.
    """
    findings: dict[Question, Outcome] = {}
    shown: list[list[Question]] = []
    for fault in faults:
        odd, normal = _looked(person, present, fault, rng)
        findings.update(odd)
        kinds = {look.kind for _, look in odd}
        like = sorted(normal, key=lambda question: question[1].kind not in kinds)
        findings.update({question: normal[question] for question in like[:MOST_NORMAL]})
        shown.append(list(odd))
    locked = findings.get(RESTING_COILS)
    if locked:  # nobody pulses coils on a machine that burns one
        findings = {q: o for q, o in findings.items() if q[1].kind != "coil"}
    dead = findings.get(REST) == frozenset({NO_LOGIC})
    if dead:  # nor runs tests that do not start
        findings = {q: o for q, o in findings.items() if q == REST or _runs_alone(person.plant, q)}
    complaint = dict.fromkeys(q for odd in shown for q in odd if q in findings)
    if any(not findings.keys() & set(odd) for odd in shown):
        raise NothingShowsError  # what else is wrong hides behind the coil, or the dead logic
    entries = tuple(Finding(s, k, outcome) for (s, k), outcome in findings.items())
    return Report(entries, tuple(complaint))


def _runs_alone(plant: Plant, question: Question) -> bool:
    return question == RESTING_COILS or question[1].target in plant.machine.lights


def _looked(
    person: Person, present: frozenset[Fault], fault: Fault, rng: random.Random
) -> tuple[dict[Question, Outcome], dict[Question, Outcome]]:
    """Looks that show something of this fault, and looks that show nothing at all."""
    odd: dict[Question, Outcome] = {}
    normal: dict[Question, Outcome] = {}
    shows = False
    for question in survey(person.plant, fault, rng):
        moment = person.rng.getstate()

        def seen_then(some: frozenset[Fault], question: Question = question, moment: Any = moment) -> Outcome:
            person.rng.setstate(moment)  # the same eye, the same toss of an undecided input
            return person.look(some, *question)

        usual, without = seen_then(frozenset()), seen_then(present - {fault})
        seen = seen_then(present)
        if NOT_SURE in (seen, usual):
            continue
        if not differs(seen, usual):
            normal.setdefault(question, seen)
            continue
        if differs(seen, without) and len(odd) < MOST_ODD:
            shows = True
            odd[question] = seen
        kinds = {look.kind for _, look in odd}
        if len(odd) >= MOST_ODD and sum(look.kind in kinds for _, look in normal) >= MOST_NORMAL:
            break
    if not shows:
        raise NothingShowsError
    return odd, normal


def differs(one: Outcome, other: Outcome) -> bool:
    """Whether a person calls two outcomes different."""
    return one != other


def with_slip(report: Report, plant: Plant, rng: random.Random) -> Report:
    """The report with one entry wrong, the only one that complains excepted."""
    odd = {(f.situation, f.look) for f in report.findings} & set(report.complaint)
    able = [n for n, f in enumerate(report.findings) if len(odd) > 1 or (f.situation, f.look) not in odd]
    if not able:
        return report
    chosen = rng.choice(able)
    finding = report.findings[chosen]
    wrong = replace(finding, outcome=_misheard(finding, plant, rng))
    findings = (*report.findings[:chosen], wrong, *report.findings[chosen + 1 :])
    return Report(findings, report.complaint)


def _misheard(finding: Finding, plant: Plant, rng: random.Random) -> Outcome:
    """Another thing that a person might say."""
    seen, look, held = finding.outcome, finding.look, finding.situation.held
    if look.kind == "reads" and isinstance(seen, frozenset):
        resting = {n for n, (_, closed) in plant.contacts.items() if closed and n in plant.wiring.switches}
        usual = frozenset(r for r in seen if r in resting)
        options: list[Outcome] = [usual, usual | frozenset(held)]
        cells = [f"{g.name}/{k}" for g in plant.machine.switches.values() for k in g.cells]
        options.append(seen | {rng.choice(cells)})
        if seen - usual:
            options.append(seen - {rng.choice(sorted(seen - usual))})
    elif look.kind == "resting coils":
        options = [frozenset(), frozenset(rng.sample(sorted(plant.machine.windings), 1))]
    elif look.kind == "lamp":
        options = ["off", "dim", "normal", "bright"]
    else:
        options = ["fires", "weak", "nothing"]
    return rng.choice([o for o in options if o != seen])
