"""The page of ``matrixdoc simulate``: what is not as on a healthy machine, the like together."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from matrixdoc.case.case import Case
from matrixdoc.case.wording import net_words, outcome_words
from matrixdoc.checks.situation import ALL_LAMPS, NO_LOGIC, LookKind, Outcome
from matrixdoc.circuit.sharing import shared_by
from matrixdoc.cli.grouping import together
from matrixdoc.cli.inputs import engine_of
from matrixdoc.cli.simulate_seen import SURE, Seen, fuse_name, title_text
from matrixdoc.cli.simulate_switches import switch_lines
from matrixdoc.cli.text import safe, share, wrapped
from matrixdoc.definition.wiring import Wiring
from matrixdoc.faults.priors import Fault

_LEAST_VOLTS = 0.03
"""Share of its voltage by which a rail must be off to be worth a line."""

_GHOST = "ghost: "
"""Marks what is seen of a lamp that is not commanded."""

Said = dict[str, list[str]]
"""What is seen, in words -> the devices of which it is."""


def page_text(
    case: Case, faults: Sequence[Fault], seen: Sequence[Seen], cautions: Sequence[str], blown: Sequence[str]
) -> str:
    """What differs, by fuse, switch, lamp, coil and supply; then what was looked at."""
    wiring = case.wiring
    differing = [one for one in seen if one.differs]
    odd = [one for one in differing if not _without_logic(one)]
    untested = [one for one in differing if _without_logic(one)]
    pieces = title_text(case, faults, cautions)
    sections: list[tuple[str, list[str]]] = [
        ("THE LOGIC IS DEAD: no self-test runs", _untested_lines(wiring, untested)),
        ("FUSES", _fuse_lines(case, odd, blown)),
        ("SWITCHES", switch_lines(wiring, [one for one in seen if one not in untested])),
        ("LAMPS", _lamp_lines(wiring, odd)),
        ("COILS", _coil_lines(wiring, odd)),
        ("SUPPLIES", _supply_lines(wiring, odd)),
    ]
    for head, lines in sections:
        if lines:
            pieces.append(f"\n{head}")
            pieces.extend(wrapped(line, 2, 4) for line in lines)
    if not any(lines for _, lines in sections):
        pieces.append("\n" + wrapped("Nothing looks different from a healthy machine."))
        if faults:
            pieces.append(wrapped("A meter may still tell: matrixdoc path names the parts to put leads on."))
    pieces.append("\n" + wrapped(_looked_at(wiring, seen)))
    return "\n".join(pieces)


def _looked_at(wiring: Wiring, seen: Sequence[Seen]) -> str:
    switches = len({s for one in seen if one.look.kind == "reads" for s in one.situation.held})
    lamps = len({one.look.target for one in seen if one.look.kind == "lamp"})
    coils = len({one.look.target for one in seen if one.look.kind == "coil"})
    counted = [
        f"{count} {name}{'' if count == 1 else ending} {how}"
        for count, name, ending, how in (
            (switches, "switch", "es", "pressed one by one"),
            (lamps, "lamp", "s", "lit all together, alone, and with one line left out"),
            (coils, "coil", "s", "pulsed"),
        )
        if count
    ]
    rails = [supply.name for supply in wiring.supplies.values() if not supply.alternating]
    if rails:
        counted.append(f"the rails {', '.join(rails)}")
    return (
        f"Looked at: {'; '.join(['the machine as it is switched on', *counted])}. What is not named above is "
        "as on a healthy machine; --all lists every look."
    )


def _without_logic(one: Seen) -> bool:
    """Whether a look shows nothing because no self-test runs."""
    return any(o == NO_LOGIC or (isinstance(o, frozenset) and NO_LOGIC in o) for o in one.odd)


def _untested_lines(wiring: Wiring, untested: Sequence[Seen]) -> list[str]:
    """What cannot be tried at all."""
    if not untested:
        return []

    def targets(kind: LookKind) -> list[str]:
        return list(dict.fromkeys(one.look.target for one in untested if one.look.kind == kind))

    switches = dict.fromkeys(s for one in untested if one.look.kind == "reads" for s in one.situation.held)
    named = {
        "no switch reads": list(switches),
        "no lamp can be commanded": targets("lamp"),
        "no coil can be pulsed": targets("coil"),
    }
    return _told(wiring, {words: devices for words, devices in named.items() if devices})


# -- fuses ---------------------------------------------------------------------------------------------


def _fuse_lines(case: Case, odd: Sequence[Seen], blown: Sequence[str]) -> list[str]:
    wiring = case.wiring
    lines = [
        f"{fuse_name(wiring, fuse)} blows as soon as the machine is on, and a new one blows again. Dead "
        f"behind it: {_behind(case, fuse)}. The rest of this page is the machine with that fuse blown."
        for fuse in blown
    ]
    fuses = [one for one in odd if one.look.kind == "new fuse" and one.look.target not in blown]
    standing = {one.look.target for one in fuses if not one.situation.pulsed}
    # The fuse of the lowest rating on the way of one current goes first.
    fuses.sort(key=lambda one: engine_of(case).circuit.values(one.look.target)["rated_a"])
    coils_of: dict[tuple[str, str], list[str]] = {}
    for one in fuses:
        if not (one.situation.pulsed and one.look.target in standing):
            coils_of.setdefault((one.look.target, _outcome(wiring, one)), []).append(one.situation.pulsed)
    told: set[tuple[str, ...]] = set()
    for (fuse, words), coils in coils_of.items():
        pulsed = coils != [""]
        when = f"when {together(wiring, coils)} is pulsed" if pulsed else "with the machine just switched on"
        if not words.startswith("blows"):
            lines.append(f"{fuse_name(wiring, fuse)}: {words} {when}")
        elif tuple(coils) in told:
            lines.append(f"{fuse_name(wiring, fuse)} carries the same current and may go with it")
        else:
            told.add(tuple(coils))
            lines.append(
                f"{fuse_name(wiring, fuse)}: {words} {when}. Dead behind it then: {_behind(case, fuse)}"
            )
    if not lines and any(one.odd and one.look.kind == "resting coils" for one in odd):
        lines.append("none blows by it: the coil stays on until somebody switches off")
    return lines


def _behind(case: Case, fuse: str) -> str:
    """What a fuse serves, in words."""
    circuit, wiring = engine_of(case).circuit, case.wiring
    served = shared_by(circuit, fuse)
    supply = next((s for s in wiring.supplies.values() if fuse in s.ac_parts), None)
    if supply is not None and not served:
        return f"the whole {supply.title or supply.name}"
    known = [r for r in served if r in wiring.coils or r in wiring.lamps or r in wiring.switches]
    words = together(wiring, known) or "nothing that this definition names"
    return f"the whole {supply.title or supply.name}: {words}" if supply is not None else words


# -- lamps ---------------------------------------------------------------------------------------------


def _lamp_lines(wiring: Wiring, odd: Sequence[Seen]) -> list[str]:
    lamps = [one for one in odd if one.look.kind == "lamp"]
    lit: dict[str, dict[str, str]] = {}
    for one in lamps:
        context = _context(one)
        if context in ("all", "alone"):
            lit.setdefault(one.look.target, {})[context] = _outcome(wiring, one)
    lines: Said = {}
    for lamp, words in lit.items():
        both = words.get("all"), words.get("alone")
        in_matrix = bool(wiring.lamps[lamp].matrix)
        if both[0] == both[1] or (both[1] is None and not in_matrix):
            lines.setdefault(f"{both[0]}", []).append(lamp)
            continue
        if both[0] is not None:
            how = "with all lamps on" + ("" if both[1] is not None else " (alone as it should be)")
            lines.setdefault(f"{both[0]} {how}", []).append(lamp)
        if both[1] is not None:
            how = "when lit alone" + ("" if both[0] is not None else " (with all lamps on as it should be)")
            lines.setdefault(f"{both[1]} {how}", []).append(lamp)
    # What never lights comes before what is only too dim.
    told = _told(wiring, dict(sorted(lines.items(), key=lambda item: not item[0].startswith("off"))))
    return [*told, *_pattern_lines(wiring, lamps, lit)]


def _pattern_lines(wiring: Wiring, lamps: Sequence[Seen], lit: dict[str, dict[str, str]]) -> list[str]:
    """What only shows while a line is left out: lamps that glow uncommanded, above all."""
    by_pattern: dict[tuple[str, ...], Said] = {}
    for one in lamps:
        if _context(one) != "pattern":
            continue
        commanded = one.look.target in one.situation.lamps
        words = _outcome(wiring, one)
        if commanded and words in lit.get(one.look.target, {}).values():
            continue
        shown = words if commanded else f"{_GHOST}{words}"
        by_pattern.setdefault(one.situation.lamps, {}).setdefault(shown, []).append(one.look.target)
    alike: dict[str, list[str]] = {}
    for pattern, said in by_pattern.items():
        matrix = wiring.lamps[pattern[0]].matrix
        left_out = [r for r, lamp in wiring.lamps.items() if lamp.matrix == matrix and r not in pattern]
        ghosts = {w.removeprefix(_GHOST): lamps for w, lamps in said.items() if w.startswith(_GHOST)}
        rest = _told(wiring, {w: lamps for w, lamps in said.items() if not w.startswith(_GHOST)})
        if ghosts:
            rest.insert(0, f"glow although nothing commands them: {', and '.join(_told(wiring, ghosts))}")
        for line in rest:
            alike.setdefault(line, []).extend(left_out)
    return [f"with all lamps on but {together(wiring, out)}: {line}" for line, out in alike.items()]


def _context(one: Seen) -> str:
    """How the lamps were commanded: all, this one alone, or a pattern."""
    if one.situation.lamps == (ALL_LAMPS,):
        return "all"
    return "alone" if one.situation.lamps == (one.look.target,) else "pattern"


# -- coils and supplies --------------------------------------------------------------------------------


def _coil_lines(wiring: Wiring, odd: Sequence[Seen]) -> list[str]:
    lines = []
    locked: set[str] = set()
    for one in odd:
        if one.look.kind == "resting coils":
            pulled = [outcome for outcome in one.odd if isinstance(outcome, frozenset) and outcome]
            locked |= set().union(*pulled)
            if pulled:
                sure = "" if one.chance >= SURE else f" ({share(one.chance)})"
                lines.append(
                    f"pulled in as soon as the machine is on{sure}: {together(wiring, sorted(locked))}"
                )
    said: Said = {}
    for one in odd:
        if one.look.kind == "coil" and not (one.look.target in locked and one.odd == ("locked on",)):
            said.setdefault(_outcome(wiring, one), []).append(one.look.target)
    named = {"nothing": "do nothing when pulsed", "weak": "weak when pulsed"}
    return [*lines, *_told(wiring, {_renamed(words, named): coils for words, coils in said.items()})]


def _renamed(words: str, names: dict[str, str]) -> str:
    for word, said in names.items():
        if words == word or words.startswith(f"{word} ("):
            return words.replace(word, said, 1)
    return words


def _supply_lines(wiring: Wiring, odd: Sequence[Seen]) -> list[str]:
    lines = []
    for one in odd:
        if one.look.kind != "meter":
            continue
        usual, now = one.usual, one.outcomes[0][0]
        if not isinstance(usual, float) or not isinstance(now, float):
            continue
        if abs(now - usual) > _LEAST_VOLTS * abs(usual):
            volts, healthy = (outcome_words(wiring, one.look, value) for value in (now, usual))
            lines.append(f"{net_words(wiring, one.look.red)}: {volts} instead of {healthy}")
    return lines


# -- words ---------------------------------------------------------------------------------------------


def _told(wiring: Wiring, said: Said) -> list[str]:
    return [f"{words}: {together(wiring, devices)}" for words, devices in said.items()]


def _outcome(wiring: Wiring, one: Seen) -> str:
    """What is odd, in words; how probable it is where it may as well not be seen."""
    return chance_words(one, lambda outcome: outcome_words(wiring, one.look, outcome))


def chance_words(one: Seen, words: Callable[[Outcome], str]) -> str:
    """The odd outcomes in ``words``, with their chance in tens of percent where it is no certainty."""
    told = " or ".join(dict.fromkeys(safe(words(outcome)) for outcome in one.odd[:2]))
    if not told:
        return safe(words(one.usual)) + " more often than it should"
    return told if one.chance >= SURE else f"{told} (about {round(10 * one.chance) * 10 or 5} %)"
