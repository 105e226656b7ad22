"""Looks that provoke what comes and goes: moved by hand, warmed or chilled, and a run from cold to warm.

A cracked joint or a tired contact is pulled open or pressed together as its parts grow with heat. How often
one of a kind does so is in the catalogue (``warmth``); what a hand, a hair dryer and a run of twenty minutes
show of it stands here. Whether a joint follows warmth is one fact of it: later looks are told what earlier
ones showed.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence

from matrixdoc.checks.model import MachineModel
from matrixdoc.checks.prediction import Prediction
from matrixdoc.checks.situation import NOT_SURE, Finding, Look, Situation
from matrixdoc.definition.wiring import Wiring
from matrixdoc.faults.priors import Fault

PROVOKED = frozenset({"wiggle", "warm", "warm up"})
"""Kinds of look that ask whether something comes or goes, and not what is there now."""
WARMTH = frozenset({"warm", "warm up"})
"""Those whose answer does not hang on whether what comes and goes is there now: warmth brings it."""

WIGGLE_SHOWS, WIGGLE_MISLEADS = 0.8, 0.02
"""Chance that moving a loose joint or contact shows it, and that moving a sound one seems to: the hand
moves its neighbours too (common practice, no source)."""

WARM_SHOWS, WARM_MISLEADS = 0.85, 0.02
"""Chance that warm air or freeze spray on a joint that follows warmth shows it, and that on a sound one it
seems to: the air warms its neighbours too (common practice, no source)."""

RUN_SHOWS = 0.9
"""Chance that a run of twenty minutes from cold shows a joint that follows warmth (common practice, no
source)."""
SOUND_MISLEADS, LASTING_MISLEADS = 1e-5, 1e-3
"""Chance that a device is said to fail cold, or warm, only, although nothing is wrong with it or although it
fails all the time: the first nobody imagines (common practice, no source)."""

FAILS_WARM, FAILS_COLD, NO_CHANGE = "fails warm", "fails cold", "no change"
Before = tuple[tuple[str, str, str], ...]
Seen = Callable[[Situation, Look, tuple[Fault, ...]], Prediction]


def moves_with(wiring: Wiring, target: str, part: str) -> bool:
    """Whether ``part`` is moved, or warmed, with ``target``: it is the same, or of the same connector."""
    one, other = wiring.parts.get(target), wiring.parts.get(part)
    return part == target or bool(one and other and one.connector and one.connector == other.connector)


def wiggled(model: MachineModel, target: str, faults: Sequence[Fault]) -> Prediction:
    """Whether moving a part makes the complaint come and go: if a fault of it comes and goes."""
    wiring, possible = model.circuit.wiring, model.possible
    loose = any(
        f in possible and possible[f].duty > 0.0 and moves_with(wiring, target, f.part) for f in faults
    )
    return _changes(WIGGLE_SHOWS if loose else WIGGLE_MISLEADS)


def warmed(model: MachineModel, look: Look, faults: Sequence[Fault], seen: Seen) -> Prediction:
    """Whether warming or chilling a part makes the complaint come and go: if it follows warmth."""
    wiring = model.circuit.wiring
    near = [f for f in faults if moves_with(wiring, look.target, f.part)]
    follow = [sum(_follows(model, f, look.before, seen)) for f in near]
    return _changes(1.0 - (1.0 - WARM_MISLEADS) * math.prod(1.0 - WARM_SHOWS * share for share in follow))


def _changes(share: float) -> Prediction:
    outcomes = (("changes", share), ("stays", 1.0 - share))
    return outcomes if share >= 0.5 else outcomes[::-1]


def as_usual(wiring: Wiring, device: str) -> tuple[Situation, Look]:
    """The plain look that shows whether a switch, a lamp or a coil works."""
    if device in wiring.switches:
        return Situation(held=(device,)), Look("reads")
    if device in wiring.lamps:
        lit = () if wiring.lamps[device].always_on else (device,)
        return Situation(lamps=lit), Look("lamp", device)
    return Situation(pulsed=device), Look("coil", device)


def run_warm(model: MachineModel, look: Look, faults: tuple[Fault, ...], seen: Seen) -> Prediction:
    """How a device does from cold to warm; ``seen`` predicts its plain look.

    Of the faults that follow warmth those count whose absence changes what the device does.
    """
    situation, plain = as_usual(model.circuit.wiring, look.target)
    now = seen(situation, plain, faults)[0][0]
    steady, warm, cold = 1.0, 0.0, 0.0
    for fault in faults:
        without = tuple(f for f in faults if f != fault)
        if any(_warmth(model, fault)) and seen(situation, plain, without)[0][0] != now:
            opens_warm, opens_cold = _follows(model, fault, look.before, seen)
            steady *= 1.0 - RUN_SHOWS * (opens_warm + opens_cold)
            warm, cold = warm + opens_warm, cold + opens_cold
    misled = SOUND_MISLEADS if now == seen(situation, plain, ())[0][0] else LASTING_MISLEADS
    turned = 1.0 - steady
    share = warm / max(warm + cold, 1e-12)
    outcomes = (
        (FAILS_WARM, turned * share + steady * misled),
        (FAILS_COLD, turned * (1.0 - share) + steady * misled),
        (NO_CHANGE, steady * (1.0 - 2.0 * misled)),
    )
    return tuple(sorted(outcomes, key=lambda o: -o[1]))


def asked_of_run(
    model: MachineModel, device: str, faults: tuple[Fault, ...]
) -> list[tuple[Situation, Look, tuple[Fault, ...]]]:
    """What :func:`run_warm` will ask, to be solved together with other questions."""
    situation, look = as_usual(model.circuit.wiring, device)
    sets = [faults, (), *(tuple(f for f in faults if f != g) for g in faults if any(_warmth(model, g)))]
    return [(situation, look, some) for some in dict.fromkeys(sets)]


def _warmth(model: MachineModel, fault: Fault) -> tuple[float, float]:
    """Chances that a fault opens as it warms, and as it cools; 0 for one that lasts."""
    entry = model.possible.get(fault)
    return (entry.opens_warm, entry.opens_cold) if entry is not None else (0.0, 0.0)


def _follows(model: MachineModel, fault: Fault, before: Before, seen: Seen) -> tuple[float, float]:
    """The same chances after what earlier looks at warmth showed, by Bayes' rule.

    A joint follows warmth or it does not: what was seen once of it will be seen again.
    """
    warm, cold = _warmth(model, fault)
    if not warm + cold:
        return 0.0, 0.0
    neither = 1.0 - warm - cold
    for kind, target, outcome in before:
        if kind == "warm" and moves_with(model.circuit.wiring, target, fault.part):
            moves = 1.0 - (1.0 - WARM_MISLEADS) * (1.0 - WARM_SHOWS)
            told, sound = (
                (moves, WARM_MISLEADS) if outcome == "changes" else (1.0 - moves, 1.0 - WARM_MISLEADS)
            )
            warm, cold, neither = warm * told, cold * told, neither * sound
        elif kind == "warm up" and _matters(model, fault, target, seen):
            shows = {
                FAILS_WARM: (RUN_SHOWS, 0.0, LASTING_MISLEADS),
                FAILS_COLD: (0.0, RUN_SHOWS, LASTING_MISLEADS),
                NO_CHANGE: (1.0 - RUN_SHOWS, 1.0 - RUN_SHOWS, 1.0),
            }[outcome]
            warm, cold, neither = warm * shows[0], cold * shows[1], neither * shows[2]
        total = warm + cold + neither
        warm, cold, neither = warm / total, cold / total, neither / total
    return warm, cold


def _matters(model: MachineModel, fault: Fault, device: str, seen: Seen) -> bool:
    situation, look = as_usual(model.circuit.wiring, device)
    return seen(situation, look, (fault,))[0][0] != seen(situation, look, ())[0][0]


def warmth_before(findings: Iterable[Finding]) -> Before:
    """The looks at warmth among these findings, as :attr:`Look.before` holds them."""
    return tuple(
        (f.look.kind, f.look.target, f.outcome)
        for f in findings
        if f.look.kind in WARMTH and isinstance(f.outcome, str) and f.outcome != NOT_SURE
    )
