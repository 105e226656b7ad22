"""``PART=MODE`` words as faults, and the failure modes that a part can have."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from matrixdoc.case.case import Case
from matrixdoc.case.name_index import SHOWN_CANDIDATES
from matrixdoc.case.names import Names, NameTrouble
from matrixdoc.cli.inputs import engine_of, possible_of
from matrixdoc.cli.text import heading, safe, table, wrapped
from matrixdoc.definition.errors import InputError, Problem, near_miss, quoted
from matrixdoc.definition.wiring import Wiring
from matrixdoc.faults.priors import Fault, PossibleFault

SPOKEN_MODES: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "open": (
            "blown",
            "burnt out",
            "never closes",
            "contacts open",
            "never conducts",
            "dead",
            "reads open",
        ),
        "shorted": (
            "shorted through",
            "input shorted",
            "stuck closed",
            "stuck active",
            "always conducts",
            "bridged",
        ),
        "blown": ("open", "burnt out", "dead"),
        "burnt out": ("blown", "open", "dead"),
        "dead": ("open", "burnt out", "blown", "never closes", "never conducts", "selects nothing"),
        "stuck closed": ("stuck active", "always conducts", "reads closed", "shorted"),
        "stuck": ("stuck closed", "stuck active", "stuck idle", "stays at rest", "stays pulled"),
        "stuck open": ("never closes", "reads open", "never conducts"),
        "stuck on": ("stuck active", "always on", "shorted", "always conducts", "always enables"),
        "intermittent": ("comes and goes", "closes now and then"),
        "high resistance": ("drifted high", "poor clip"),
        "grounded": ("shorted",),
    }
)
"""What a mode is called elsewhere; taken where it fits one mode of the part alone."""

_SPELLINGS: Mapping[str, str] = MappingProxyType(
    {
        "short": "shorted",
        "short circuit": "shorted",
        "shorts": "shorted",
        "opened": "open",
        "open circuit": "open",
        "broken": "open",
        "burned out": "burnt out",
        "burnt": "burnt out",
        "gone": "dead",
        "backwards": "reversed",
        "loose": "intermittent",
        "welded": "stuck closed",
        "locked on": "stuck on",
        "dirty": "high resistance",
        "corroded": "high resistance",
        "leaking": "leaky",
        "leaks": "leaky",
        "shorted to ground": "grounded",
        "not fitted": "missing",
    }
)


def read_faults(
    given: list[str], wiring: Wiring, possible: Mapping[Fault, PossibleFault]
) -> tuple[Fault, ...]:
    """``PART=MODE`` words as faults that this machine can have.

    Raises:
        InputError: every word that names no part, or no failure mode of its part.
    """
    names = Names(wiring)
    modes = _modes(possible)
    problems: list[Problem] = []
    faults: list[Fault] = []
    for words in given:
        part, sign, mode = words.rpartition("=")
        part, mode = part.strip(), " ".join(mode.split())
        if not sign or not part:
            part, mode = words.strip(" ="), ""
        try:
            reference = part if part in modes else names.part(part)
        except NameTrouble as trouble:
            able = _able(wiring, modes, part, mode) if mode else []
            if len(able) == 1:
                faults.append(able[0])
                continue
            if able:
                shown = ", ".join(f"{fault.part}={fault.mode}" for fault in able[:SHOWN_CANDIDATES])
                hint = f"{quoted(words)} can mean {shown}{' ...' if len(able) > SHOWN_CANDIDATES else ''}"
                problems.append(Problem("--fault", 0, 0, "", quoted(part), "one part", hint))
                continue
            if not sign:
                example = "PART=MODE, such as switch/C3R5/diode=shorted"
                problems.append(Problem("--fault", 0, 0, "", quoted(words), example))
            else:
                shown = quoted(trouble.found)
                problems.append(Problem("--fault", 0, 0, "", shown, trouble.expected, trouble.suggestion))
            continue
        known = modes.get(reference, [])
        fitting = modes_meant(mode, known)
        if len(fitting) != 1:
            problems.append(_no_mode(reference, mode, known, fitting))
        elif reference in {fault.part for fault in faults}:
            found = f"a second mode of {reference}"
            problems.append(Problem("--fault", 0, 0, "", found, "one failure mode for each part"))
        else:
            faults.append(Fault(reference, fitting[0]))
    if problems:
        raise InputError(problems)
    return tuple(faults)


def _able(wiring: Wiring, modes: Mapping[str, list[str]], device: str, mode: str) -> list[Fault]:
    """The faults that a mode of a whole device can mean: those of its parts that have that mode."""
    try:
        parts = parts_meant(wiring, modes, device)
    except InputError:
        return []
    found = [Fault(part, one) for part in parts for one in modes_meant(mode, modes[part])]
    exact = [fault for fault in found if fault.mode.casefold() == mode.casefold()]
    return exact or found


def modes_meant(words: str, known: list[str]) -> list[str]:
    """The modes among ``known`` that ``words`` can mean: the mode of that name, else by another name."""
    plain = " ".join(words.split()).casefold()
    spelled = _SPELLINGS.get(plain, plain)
    for word in (plain, spelled):
        if exact := [one for one in known if one.casefold() == word]:
            return exact
    return [one for one in known if one in SPOKEN_MODES.get(spelled, ())]


def _no_mode(reference: str, mode: str, known: list[str], fitting: list[str]) -> Problem:
    if not known:
        return Problem("--fault", 0, 0, "", reference, "a part that can fail: this one has no failure mode")
    found = quoted(mode) if mode else f"no mode of {reference}"
    hint = f"this can mean {' or '.join(fitting)}" if fitting else near_miss(mode, known)
    if not mode:
        hint = f"say {reference}={known[0]}"
    expected = f"a failure mode of {reference}: {', '.join(known)}"
    return Problem("--fault", 0, 0, "", found, expected, hint)


def _modes(possible: Mapping[Fault, PossibleFault]) -> dict[str, list[str]]:
    modes: dict[str, list[str]] = {}
    for fault in possible:
        modes.setdefault(fault.part, []).append(fault.mode)
    return modes


def parts_meant(wiring: Wiring, known: Mapping[str, list[str]], words: str) -> list[str]:
    """The parts that can fail among those that ``words`` mean: a part, a device, a connector, a feed.

    Raises:
        InputError: nothing goes by that name, or different things do.
    """
    names = Names(wiring)
    if words in known:
        return [words]
    devices: dict[str, None] = {}
    for find in (names.switches, names.lamps, names.coils):
        try:
            devices.update(dict.fromkeys(find(words)))
        except NameTrouble:
            continue
    stems = [*devices, *(reference.rpartition("/")[0] for reference in devices if reference in wiring.parts)]
    found = [part for stem in stems for part in known if part == stem or part.startswith(f"{stem}/")]
    if found:
        return list(dict.fromkeys(found))
    try:
        return [part for part in names.parts(words) if part in known]
    except NameTrouble as trouble:
        shown, hint = quoted(trouble.found), trouble.suggestion
        raise InputError([Problem("--list-modes", 0, 0, "", shown, trouble.expected, hint)]) from None


def modes_text(case: Case, words: str) -> str:
    """The failure modes of a part, or of every part of a device, as they are given to ``--fault``.

    Raises:
        InputError: nothing goes by that name.
    """
    possible = possible_of(case)
    parts = parts_meant(case.wiring, _modes(possible), words)
    if not parts:
        return wrapped(f"{safe(words)}: no failure mode is known of it.")
    pieces = [heading(f"{case.wiring.title}: failure modes of {words}")]
    known = engine_of(case).circuit.parts
    for part in parts:
        title = known[part].title
        pieces.append("\n" + wrapped(f"{part}{f' ({title})' if title else ''}", 0, 2))
        rows = [("  " + f.mode, entry.words) for f, entry in possible.items() if f.part == part]
        pieces.append(table(rows))
    example = next(fault for fault in possible if fault.part == parts[0])
    given = f"{example.part}={example.mode}"
    given = f'"{given}"' if " " in given else given
    pieces.append("\n" + wrapped(f"Give one as --fault {given}", 0, 2))
    return "\n".join(pieces)
