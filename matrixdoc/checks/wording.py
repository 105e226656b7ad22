"""Situations, looks, outcomes and findings in plain words, with this machine's names."""

from __future__ import annotations

from collections.abc import Iterable

from matrixdoc.checks.lead_words import lead_words
from matrixdoc.checks.situation import (
    ALL_LAMPS,
    NO_LOGIC,
    NOT_SURE,
    OPEN_LOOP,
    Finding,
    Look,
    Outcome,
    Situation,
    both_ends,
)
from matrixdoc.definition.wiring import GROUND, Part, Wiring

UNITS = {"volts": "V", "ohms": "ohm", "diode": "V"}
METER_WORDS = {"volts": "volts", "ohms": "ohms", "diode": "diode test"}


def device_words(wiring: Wiring, reference: str) -> str:
    """A switch, lamp or coil as a person names it: ``switch C3R5 (left lane)``."""
    device = wiring.switches.get(reference) or wiring.lamps.get(reference) or wiring.coils.get(reference)
    name = reference.replace("/", " ", 1)
    title = device.title if device is not None else ""
    return f"{name} ({title})" if title and title not in name else name


def short_words(references: Iterable[str]) -> str:
    """Several references, short: ``switch C3R5, C3R6``; ``nothing`` for none."""
    groups: dict[str, list[str]] = {}
    for reference in sorted(references):
        head, _, tail = reference.partition("/")
        groups.setdefault(head, []).append(tail or head)
    return "; ".join(f"{head} {', '.join(tails)}" for head, tails in groups.items()) or "nothing"


def part_words(part: Part) -> str:
    """A part as a person finds it: its title, else its reference."""
    return part.title or part.reference.replace("/", " ", 1)


def net_words(wiring: Wiring, net: str) -> str:
    """A point to put a lead on, as a person finds it: pin, lug or clip, wire colour, place."""
    return lead_words(wiring).words(net)


def apart_words(part: Part) -> str:
    """How a part is taken out of circuit."""
    if part.kind == "pin":
        return f"{part_words(part)} unplugged"
    if part.kind == "fuse":
        return f"{part_words(part)} out of its clip"
    return f"one lug of {part_words(part)} lifted"


def jumper_words(wiring: Wiring, lead: str) -> str:
    """A jumper as a person puts it on: across a part, or between two points."""
    one, two = both_ends(lead)
    for part in wiring.parts.values():
        if one in part.nets[:2] and two in part.nets[:2]:
            return f"a jumper across {part_words(part)}"
    if GROUND in (one, two):
        return f"a jumper from {net_words(wiring, two if one == GROUND else one)} to ground"
    return f"a jumper from {net_words(wiring, one)} to {net_words(wiring, two)}"


def moved_words(part: Part) -> str:
    """A part as a hand takes hold of it: a pin moves with its whole connector."""
    return f"connector {part.connector}" if part.connector else part_words(part)


def situation_words(wiring: Wiring, situation: Situation) -> str:
    """What is set up: ``power on, holding switch C3R5``."""
    words = ["power on" if situation.power else "power off and unplugged"]
    if situation.held:
        words.append(f"holding {short_words(situation.held)}")
    if situation.lamps:
        commanded = "all lamps" if ALL_LAMPS in situation.lamps else short_words(situation.lamps)
        words.append(f"{commanded} commanded on")
    if situation.pulsed:
        words.append(f"{device_words(wiring, situation.pulsed)} pulsed")
    if situation.opened:
        words.extend(apart_words(wiring.parts[reference]) for reference in situation.opened)
    words.extend(jumper_words(wiring, lead) for lead in situation.jumpers)
    for pair in situation.swapped:
        one, two = (part_words(wiring.parts[name]) for name in both_ends(pair))
        words.append(f"{one} and {two} swapped")
    return ", ".join(words)


def left_altered(wiring: Wiring, before: Situation, now: Situation | None = None) -> tuple[str, ...]:
    """What an earlier look left off, on or swapped that a later one does not want: to be put back.

    ``now`` None: everything.
    """
    keep = now or Situation()
    found = []
    apart = [r for r in before.opened if r not in keep.opened]
    if apart:
        names = ", ".join(part_words(wiring.parts[r]) for r in apart)
        found.append(f"put back before power: {names}")
    leads = [lead for lead in before.jumpers if lead not in keep.jumpers]
    found.extend(f"take off before power: {jumper_words(wiring, lead)}" for lead in leads)
    for pair in before.swapped:
        if pair not in keep.swapped:
            one, two = (part_words(wiring.parts[name]) for name in both_ends(pair))
            found.append(f"put back where they belong: {one} and {two}")
    return tuple(found)


def look_words(wiring: Wiring, look: Look) -> str:
    """What is looked at."""
    if look.kind == "reads":
        return "what the switch scan reads"
    if look.kind == "new fuse":
        part = wiring.parts.get(look.target)
        return f"a new {part_words(part) if part else look.target}"
    if look.kind == "wiggle":
        part = wiring.parts.get(look.target)
        return f"whether moving {moved_words(part) if part else look.target} changes anything"
    if look.kind == "warm":
        part = wiring.parts.get(look.target)
        return f"whether warming or chilling {moved_words(part) if part else look.target} changes anything"
    if look.kind == "warm up":
        return f"{device_words(wiring, look.target)} from cold to warm"
    if look.kind in ("lamp", "coil"):
        return device_words(wiring, look.target)
    if look.kind == "resting coils":
        return "which coils pull in by themselves"
    if look.kind == "fuse":
        part = wiring.parts.get(look.target)
        return f"{part_words(part) if part else look.target}, by meter, out of its clip"
    function = METER_WORDS[look.function or "volts"]
    return f"{function}, red on {net_words(wiring, look.red)}, black on {net_words(wiring, look.black)}"


def number_words(value: float, unit: str) -> str:
    """A reading the way a meter shows it: ``4.72 V``, ``12.3 ohm``, ``2.2 kohm``."""
    if unit == "ohm":
        for size, prefix in ((1e6, "M"), (1e3, "k")):
            if abs(value) >= size:
                return f"{value / size:.3g} {prefix}ohm"
        return f"{value:.1f} ohm" if value < 100 else f"{value:.0f} ohm"
    return f"{value:.2f} {unit}" if abs(value) < 10 else f"{value:.1f} {unit}"


def usual_resting(wiring: Wiring) -> frozenset[str]:
    """What reads with nothing pressed on a sound machine: its normally closed switches, as far
    as the logic reads them (an end-of-stroke contact in a winding is not read).
    """
    return frozenset(r for r, s in wiring.switches.items() if s.normally_closed and (s.matrix or s.sensor))


def _reads_words(wiring: Wiring, seen: frozenset[str], held: tuple[str, ...] = ()) -> str:
    """What a scan reads, told against what it usually reads: normally closed switches read at rest
    and are named only where they do not.
    """
    usual = usual_resting(wiring).difference(held)
    words = f"reads {short_words(seen - usual)}"
    missing = usual - seen
    return words + (f", and no longer {short_words(missing)}" if missing else "")


_ONLY_MISSING = "reads nothing, and no longer "


def outcome_words(wiring: Wiring, look: Look, outcome: Outcome, held: tuple[str, ...] = ()) -> str:
    """What is seen, in words; ``held`` are the switches that are held meanwhile."""
    if outcome == NOT_SURE:
        return NOT_SURE
    if isinstance(outcome, frozenset):
        if look.kind == "resting coils":
            return f"locked on: {short_words(outcome)}" if outcome else "no coil pulls in"
        return _reads_words(wiring, outcome, held)
    if outcome == NO_LOGIC:
        return f"{outcome}, so it reads nothing"
    if isinstance(outcome, float):
        return number_words(outcome, UNITS[look.function or "volts"])
    if outcome == OPEN_LOOP:
        return "OL (open)"
    return outcome


def finding_words(wiring: Wiring, finding: Finding) -> str:
    """A finding as one line."""
    situation, look = finding.situation, finding.look
    seen = outcome_words(wiring, look, finding.outcome)
    if look.kind == "reads":
        if situation.altered:
            return f"{situation_words(wiring, situation)}: {seen}"
        if not situation.held:
            if isinstance(finding.outcome, frozenset) and seen.startswith(_ONLY_MISSING):
                missing = seen.removeprefix(_ONLY_MISSING)
                one = "," not in missing and ";" not in missing
                named = device_words(wiring, missing.replace(" ", "/", 1)) if one else missing
                return f"at rest: {named} {'does' if one else 'do'} not read"
            return f"with nothing pressed it {seen}" if seen != NOT_SURE else "resting scan: not sure"
        if isinstance(finding.outcome, frozenset):
            seen = _reads_words(wiring, finding.outcome, situation.held)
        alone = f"reads {short_words(situation.held)}"
        if len(situation.held) == 1:
            (only,) = situation.held
            if only in usual_resting(wiring) and isinstance(finding.outcome, frozenset):
                return _pressed_open(wiring, only, finding.outcome)
            if seen == alone:
                return f"{device_words(wiring, only)} pressed: reads by itself, as it should"
        pressed = (
            device_words(wiring, situation.held[0])
            if len(situation.held) == 1
            else short_words(situation.held)
        )
        return f"{pressed} held: {seen}"
    if look.kind == "lamp":
        told = seen if seen == "flickers" else f"is {seen}"
        return f"{device_words(wiring, look.target)} {told} ({situation_words(wiring, situation)})"
    if look.kind == "coil" and situation.jumpers and not situation.pulsed:
        return (
            f"{device_words(wiring, look.target)} with {jumper_words(wiring, situation.jumpers[0])}: {seen}"
        )
    if look.kind == "coil":
        return f"{device_words(wiring, look.target)} pulsed: {seen}"
    return f"{look_words(wiring, look)}: {seen} ({situation_words(wiring, situation)})"


def _pressed_open(wiring: Wiring, switch: str, outcome: frozenset[str]) -> str:
    """A normally closed switch that is pressed opens: what reads then is the complaint."""
    usual = usual_resting(wiring)
    stays = switch in outcome
    more, missing = outcome - usual - {switch}, usual - outcome - {switch}
    words = "still reads, does not open" if stays else "opens"
    if more:
        words += f"; {short_words(more)} reads too"
    if missing:
        words += f"; normally closed {short_words(missing)} no longer reads"
    if not (stays or more or missing):
        words += ", as it should"
    return f"{device_words(wiring, switch)}, normally closed, pressed: {words}"


def seen_words(wiring: Wiring, finding: Finding) -> str:
    """A finding as one line of a log: a resting scan says what normally closed switches should do."""
    situation, look, outcome = finding.situation, finding.look, finding.outcome
    resting = look.kind == "reads" and not situation.altered and not situation.held
    missing = usual_resting(wiring) - outcome if isinstance(outcome, frozenset) else frozenset()
    if not resting or not isinstance(outcome, frozenset) or not missing:
        return finding_words(wiring, finding)
    silent = f"normally closed {short_words(missing)} does not read, where it should"
    more = outcome - usual_resting(wiring)
    return f"with nothing pressed: {silent}" + (f"; {short_words(more)} reads" if more else "")
