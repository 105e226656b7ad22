"""What a repair costs by other ways: the fixed order of experience, probability over cost, an oracle.

Both orders test suspects directly, one after the other, by a test that never errs; then they mend. Minutes
of the tests and the shares of the table are those of the trade (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from matrixdoc.checks.situation import NO_LOGIC, Finding
from matrixdoc.faults.priors import Fault
from tests.benchmarks.repairs.plant import Plant
from tests.benchmarks.repairs.report import REST, Report
from tests.proof.machine import EARTH

POWER_OFF_MINUTES, POWER_ON_MINUTES = 1.0, 0.5
GIVE_UP_MINUTES = 120.0
PROOF_MINUTES = 1.0

TEST_MINUTES = {
    "contact": 2.0,
    "wire": 4.0,
    "pin": 4.0,
    "diode": 5.0,
    "drive": 5.0,
    "logic": 5.0,
    "lamp": 1.0,
    "socket": 2.0,
    "fuse": 2.0,
    "coil": 4.0,
    "supply": 5.0,
    "bridge": 4.0,
    "capacitor": 4.0,
    "interlock": 2.0,
    "optical": 4.0,
}
EXPERIENCE: dict[str, dict[str, float]] = {
    "switch never reads": {"contact": 65, "optical": 65, "wire": 15, "diode": 15},
    "switch always reads": {"contact": 85, "optical": 85, "capacitor": 3, "diode": 2, "bridge": 5},
    "switch line dead": {"pin": 40, "wire": 20, "drive": 30, "logic": 10},
    "phantom": {"diode": 75, "bridge": 25},
    "lamp dark": {"lamp": 70, "socket": 18, "wire": 7, "diode": 5},
    "lamp line dark": {"pin": 45, "drive": 35, "wire": 10, "logic": 10},
    "coil dead": {"wire": 35, "drive": 20, "pin": 20, "fuse": 10, "logic": 10, "coil": 5},
    "coil locked": {"drive": 80, "logic": 15, "wire": 5},
    "coils dead": {"fuse": 45, "pin": 15, "supply": 10, "interlock": 15, "wire": 15},
    "logic dead": {"fuse": 45, "supply": 40, "pin": 10, "wire": 5},
}
"""Shares of causes in percent, by symptom and role; what is not named shares the rest."""
REST_SHARE = 5.0

_ROLES = {
    "contact": "contact",
    "wire": "wire",
    "joint": "pin",
    "pin": "pin",
    "diode": "diode",
    "lamp": "lamp",
    "led": "lamp",
    "fuse": "fuse",
    "coil": "coil",
    "capacitor": "capacitor",
    "emitter": "optical",
    "phototransistor": "optical",
    "winding": "supply",
    "rectifier": "supply",
    "electrolytic": "supply",
    "regulator": "supply",
    "resistor": "drive",
    "sensing": "drive",
    "changeover": "drive",
}
SIGNALS = {
    *("logic_output", "link_pin", "pre_driver", "decoder", "logic_input", "enable", "relay_coil_driver"),
}


def role(plant: Plant, part: str) -> str:
    """What a part is to experience."""
    if part in plant.circuit.bridges:
        return "bridge"
    kind = plant.machine.elements[part].kind
    if part.endswith("/socket"):
        return "socket"
    if part.startswith("interlock/") and kind == "contact":
        return "interlock"
    return "logic" if kind in SIGNALS else _ROLES.get(kind, "drive")


@dataclass
class Bench:
    """Where the person stands: panels open, power on or off; minutes and steps so far."""

    plant: Plant
    minutes: float = 0.0
    steps: int = 0
    opened: set[str] = field(default_factory=set)
    power: bool = True

    def spend(self, minutes: float, places: Sequence[str], *, power: bool, power_after: bool) -> None:
        """One check or repair, panels and switch included."""
        self.steps += 1
        self.minutes += minutes
        for key in places:
            place = self.plant.wiring.places.get(key)
            if place is not None and key not in self.opened:
                self.opened.add(key)
                self.minutes += place.minutes
        for wanted in (power, power_after):
            if wanted != self.power:
                self.minutes += POWER_ON_MINUTES if wanted else POWER_OFF_MINUTES
                self.power = wanted

    def test(self, part: str) -> None:
        """A part tested at its place, machine off."""
        minutes = TEST_MINUTES[role(self.plant, part)]
        self.spend(minutes, [self.plant.place_minutes(part)[0]], power=False, power_after=False)

    def mend(self, fault: Fault) -> None:
        """The right repair, as often as it takes on average, and the look that proves it."""
        entry = self.plant.possible[fault]
        minutes = (entry.repair_minutes + PROOF_MINUTES) / entry.success
        self.spend(minutes, [self.plant.place_minutes(fault.part)[0]], power=False, power_after=True)


def symptoms(plant: Plant, report: Report) -> list[tuple[str, set[str]]]:
    """The complaints of a report as experience calls them, each with the devices and lines it is about."""
    odd = [f for f in report.findings if (f.situation, f.look) in report.complaint]
    found: list[tuple[str, set[str]]] = []
    if any((f.situation, f.look) == REST and f.outcome == frozenset({NO_LOGIC}) for f in odd):
        return [("logic dead", {f"supply/{rail}" for rail in plant.logic_rails})]
    reads = [f for f in odd if f.look.kind == "reads"]
    found += _switch_symptoms(plant, reads)
    dark = [f.look.target for f in odd if f.look.kind == "lamp"]
    found += _lines("lamp dark", "lamp line dark", dark)
    coils = [f for f in odd if f.look.kind in ("coil", "resting coils")]
    locked = {
        c for f in coils if isinstance(f.outcome, frozenset) and not f.situation.held for c in f.outcome
    }
    locked |= {f.look.target for f in coils if f.outcome == "locked on"}
    if locked:
        found.append(("coil locked", locked))
    dead = {f.look.target for f in coils if f.look.kind == "coil"} - locked
    dead |= {
        c for f in coils if f.situation.held for c, (_, s) in plant.triggers.items() if s in f.situation.held
    }
    if dead:
        found.append(("coils dead" if len(dead) > 1 else "coil dead", dead))
    return found


def _switch_symptoms(plant: Plant, reads: Sequence[Finding]) -> list[tuple[str, set[str]]]:
    silent: list[str] = []
    always: set[str] = set()
    phantom: set[str] = set()
    for finding in reads:
        seen = finding.outcome if isinstance(finding.outcome, frozenset) else frozenset()
        held = finding.situation.held
        usual = {n for n, (_, closed) in plant.contacts.items() if closed}
        usual |= {n for n, pair in plant.optical.items() if pair.buffer is None}
        expected = {n for n in held if n not in usual} | {n for n in usual if n not in held}
        known = {n for n in expected if n in plant.wiring.switches and plant.wiring.switches[n].sensor}
        known |= {n for n in expected if n.rpartition("/")[0] in plant.machine.switches}
        silent += sorted(known - seen)
        extra = set(seen) - expected
        (always if len(held) < 2 else phantom).update(extra)
    found = _lines("switch never reads", "switch line dead", silent)
    found += _lines("switch always reads", "switch line dead", sorted(always))
    if phantom - always:
        found.append(("phantom", phantom | {h for f in reads for h in f.situation.held}))
    return found


def _lines(one: str, many: str, devices: Sequence[str]) -> list[tuple[str, set[str]]]:
    """A device by itself, or the line that several of them share."""
    if not devices:
        return []
    if len(set(devices)) == 1:
        return [(one, set(devices))]
    lines: dict[str, set[str]] = {}
    for device in devices:
        for line in _crossing(device):
            lines.setdefault(line, set()).add(device)
    best = max(lines, key=lambda line: len(lines[line]), default="")
    if best and len(lines[best]) > 1:
        return [(many, {best, *devices})]
    return [(one, set(devices))]


def _crossing(device: str) -> list[str]:
    root, _, key = device.rpartition("/")
    column, _, row = key.partition("R")
    return [f"{root}/{column}", f"{root}/R{row}"] if row and column.startswith("C") else [root]


def path(plant: Plant, devices: set[str], *, line: bool = False) -> list[str]:
    """Parts through which these devices work: their own, their lines' (of a dead line that line's alone),
    what commands and feeds them, bridges there; the nearest first."""
    lines = {d for d in devices if not _is_cell(d)} if line else set()
    near = _under(plant, lines or devices)
    for device in sorted(devices):
        if not line:
            near += _under(plant, set(_crossing(device)))
        near += _commanding(plant, device)
    near += _feeding(plant, near)
    if line:  # what hangs on it comes last
        near += _under(plant, devices)
    nets = {net for r in near for net in plant.wiring.parts[r].nets} - {"ground"}
    nets -= {supply.rail for supply in plant.wiring.supplies.values()}
    near += [b for b, part in plant.circuit.bridges.items() if nets & set(part.nets)]
    return list(dict.fromkeys(near))


def _is_cell(device: str) -> bool:
    return "R" in device.rpartition("/")[2] and len(_crossing(device)) == 2


def _under(plant: Plant, owners: set[str]) -> list[str]:
    prefixes = tuple(f"{owner}/" for owner in sorted(owners))
    return [r for r in plant.machine.elements if r in owners or r.startswith(prefixes)]


def _commanding(plant: Plant, device: str) -> list[str]:
    """Signal parts, relays and shared outputs that make a winding or lamp work."""
    found: list[str] = []
    commands = []
    winding = plant.machine.windings.get(device)
    if winding is not None:
        found += winding.enable
        commands = [winding.command, *winding.also]
        trigger = plant.triggers.get(device)
        if trigger is not None:
            found += _under(plant, {trigger[1]})
    elif device in plant.machine.single_lamps:
        commands = [plant.machine.single_lamps[device][1]]
    for command in commands:
        found += command.path
        found += [part for some in command.lines for part in some]
        if command.output:
            found += _under(plant, {command.output.rpartition("/")[0]})
    return found


def _feeding(plant: Plant, near: Sequence[str]) -> list[str]:
    """Parts between these and their rails, and the rails' own."""
    elements = plant.machine.elements
    rails = {rail.net: rail.name for rail in plant.machine.rails.values()}
    series = [
        r for r, e in elements.items() if r.startswith(("feed/", "interlock/", "coil/", "illumination/"))
    ]
    reached = {net for r in near for net in elements[r].nets} - {EARTH}
    found: list[str] = []
    supplied = {rails[net] for net in reached if net in rails}
    waiting = True
    while waiting:
        waiting = False
        for reference in series:
            element = elements[reference]
            own = reference.startswith(("feed/", "interlock/")) or reference.endswith("/feed")
            if reference in found or not own or not reached & set(element.nets):
                continue
            found.append(reference)
            waiting = True
            for net in element.nets:
                if net in rails:
                    supplied.add(rails[net])
                elif net != EARTH:
                    reached.add(net)
    return found + [r for name in sorted(supplied) for r in _under(plant, {f"supply/{name}"})]


def fixed_order(plant: Plant, report: Report) -> list[str]:
    """Suspects in descending order of the trade's experience."""
    found: dict[str, None] = {}
    for words, devices in symptoms(plant, report):
        parts = path(plant, devices, line=words.endswith(("line dead", "line dark")))
        table = EXPERIENCE[words]
        roles = {part: role(plant, part) for part in parts}
        counts: dict[str, int] = {}
        for part in parts:
            counts[roles[part]] = counts.get(roles[part], 0) + 1
        rest = sum(1 for part in parts if roles[part] not in table)
        weight = {p: table[r] / counts[r] if r in table else REST_SHARE / rest for p, r in roles.items()}
        # Of two alike the nearer to the device first: the order of the path.
        found.update(dict.fromkeys(sorted(parts, key=lambda part: -weight[part])))
    return list(found)


def over_cost(plant: Plant, posterior: Mapping[tuple[str, str], float]) -> list[str]:
    """Suspects in descending order of probability over the minutes of their test."""
    parts: dict[str, float] = {}
    for (part, _), share in posterior.items():
        if part in plant.machine.elements or part in plant.circuit.bridges:
            parts[part] = parts.get(part, 0.0) + share
    cost = {p: TEST_MINUTES[role(plant, p)] + plant.place_minutes(p)[1] for p in parts}
    return sorted(parts, key=lambda p: (-parts[p] / cost[p], p))


def walk(plant: Plant, order: Sequence[str], faults: Sequence[Fault]) -> Bench:
    """Test by test until every fault is found and mended; who finds one of them no more begins anew."""
    bench, left = Bench(plant), {f.part: f for f in faults}
    for part in order:
        if not left:
            return bench
        bench.test(part)
        if part in left:
            bench.mend(left.pop(part))
    for fault in left.values():
        bench.minutes += GIVE_UP_MINUTES
        bench.mend(fault)
    return bench


def oracle(plant: Plant, faults: Sequence[Fault]) -> Bench:
    """Somebody who knows what is wrong."""
    bench = Bench(plant)
    for fault in faults:
        bench.mend(fault)
    return bench
