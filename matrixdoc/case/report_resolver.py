"""One report form and one machine: names looked up, entries spread out into steps."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

from matrixdoc.case.names import NameTrouble
from matrixdoc.case.report_lookup import Lookup, Path
from matrixdoc.case.report_schema import (
    CoilEntry,
    DeclineEntry,
    DiodeEntry,
    FuseEntry,
    HoldEntry,
    LampEntry,
    NewFuseEntry,
    NoteEntry,
    OhmsEntry,
    OverrideEntry,
    PoweredMeter,
    PowerUpEntry,
    PressEntry,
    RepairEntry,
    ReportForm,
    RestingEntry,
    UnpoweredMeter,
    VoltsEntry,
    WalkEntry,
    WarmEntry,
    WarmUpEntry,
    WiggleEntry,
    leading_word,
)
from matrixdoc.checks.situation import (
    ALL_LAMPS,
    NOT_SURE,
    Finding,
    Look,
    MeterFunction,
    Outcome,
    Situation,
)
from matrixdoc.definition.document import Document
from matrixdoc.definition.errors import InputError
from matrixdoc.definition.numbers import parse_reading
from matrixdoc.definition.wiring import Wiring


@dataclass(frozen=True, slots=True)
class Step:
    """One thing that was done or seen, in the order of the report."""

    kind: Literal["finding", "repair", "decline", "note", "override"]
    finding: Finding | None = None
    parts: tuple[str, ...] = ()
    action: str = ""
    check_key: str = ""
    text: str = ""


class Resolver(Lookup):
    """Turns a form into steps; collects what is wrong instead of stopping at the first."""

    def __init__(self, document: Document, form: ReportForm, wiring: Wiring) -> None:
        super().__init__(document, form, wiring)
        # What a healthy machine reads with nothing pressed: the normally closed switches.
        self.closed = frozenset(
            reference
            for reference, switch in wiring.switches.items()
            if switch.normally_closed and (switch.sensor or switch.matrix)
        )
        # What this machine was said to read with nothing pressed.
        self.resting = self.closed
        self._makers: dict[str, Callable[[Any, Path], list[Step]]] = {
            "press": self._press,
            "hold": self._hold,
            "resting": self._rest,
            "walk": self._walk,
            "lamp": self._lamp,
            "coil": self._coil,
            "power up": self._power_up,
            "fuse": self._fuse,
            "new fuse": self._new_fuse,
            "wiggle": self._wiggle,
            "warm": self._warm,
            "warm up": self._warm_up,
            "volts": self._meter,
            "ohms": self._meter,
            "diode": self._meter,
            "repair": self._repair,
            "decline": self._decline,
            "override": self._override,
            "note": self._note,
        }

    # -- entries -------------------------------------------------------------------------------

    def steps(self) -> tuple[Step, ...]:
        """Every entry spread out into steps, in order; ``problems`` holds what was wrong."""
        steps: list[Step] = []
        for words, seen in (("smoke was seen", self.form.smoke), ("there is a burnt smell", self.form.smell)):
            if seen:
                steps.append(Step("note", text=words))
        for position, entry in enumerate(self.form.findings):
            word = leading_word(entry)
            if word is None:
                continue
            words = getattr(entry, "words", "")
            made = self._makers[word](entry, ("findings", position))
            altered = self._altered(entry, ("findings", position))
            for step in made:
                if altered.altered and step.finding is not None:
                    situation = replace(
                        step.finding.situation,
                        opened=altered.opened,
                        jumpers=altered.jumpers,
                        swapped=altered.swapped,
                    )
                    if situation.jumpers and step.finding.look.kind == "coil":
                        situation = replace(situation, pulsed="")  # the lead fires it, not the machine
                    step = replace(step, finding=replace(step.finding, situation=situation))
                if words and step.finding is not None:
                    step = replace(step, finding=replace(step.finding, words=words))
                steps.append(step)
        return tuple(steps)

    def _new_fuse(self, entry: NewFuseEntry, path: Path) -> list[Step]:
        fuse = self._one(self.names.fuse, entry.new_fuse, (*path, "new fuse"))
        pulsed = (self._one(self.names.coil, entry.pulsed, (*path, "pulsed")) or "") if entry.pulsed else ""
        if fuse is None or (entry.pulsed and not pulsed):
            return []
        return [_seen(Situation(pulsed=pulsed), Look("new fuse", fuse), entry.seen)]

    def _wiggle(self, entry: WiggleEntry, path: Path) -> list[Step]:
        part = self._one(self.names.part, entry.wiggle, (*path, "wiggle"))
        return [_seen(Situation(), Look("wiggle", part), entry.seen)] if part else []

    def _warm(self, entry: WarmEntry, path: Path) -> list[Step]:
        part = self._one(self.names.part, entry.warm, (*path, "warm"))
        return [_seen(Situation(), Look("warm", part), entry.seen)] if part else []

    def _warm_up(self, entry: WarmUpEntry, path: Path) -> list[Step]:
        device = self._one(self.names.device, entry.warm_up, (*path, "warm up"))
        return [_seen(Situation(), Look("warm up", device), entry.seen)] if device else []

    def _reads(
        self,
        reads: str | list[str],
        held: tuple[str, ...],
        path: Path,
        *,
        whole: bool = False,
        missing: Sequence[str] = (),
    ) -> Outcome | None:
        """The outcome of a switch scan: a word stands for a set, given what is held.

        A list means what reads beside the normally closed switches that are not held, or, if
        ``whole``, everything that reads. ``missing`` are normally closed switches that do not read.
        """
        gone = self._missing(missing, path)
        if gone is None:
            return None
        outcome = self._named(reads, held, path, whole=whole)
        return outcome - gone if isinstance(outcome, frozenset) else outcome

    def _missing(self, missing: Sequence[str], path: Path) -> frozenset[str] | None:
        place = (*path[:-1], "missing")
        before = len(self.problems)
        gone = self._all(self.names.switches, missing, place)
        for one in gone:
            if one not in self.closed:
                self._problem(
                    place,
                    f"{one}, which is not normally closed",
                    "a switch that reads at rest on a healthy machine",
                    f"say: press {one.partition('/')[2]} reads nothing",
                )
        return None if len(self.problems) > before else frozenset(gone)

    def _named(
        self, reads: str | list[str], held: tuple[str, ...], path: Path, *, whole: bool
    ) -> Outcome | None:
        word = reads.strip().casefold() if isinstance(reads, str) else ""
        if word == NOT_SURE:
            return NOT_SURE
        if word in ("nothing", "none"):
            return frozenset() if whole else self.resting
        if word in ("itself", "themselves", "fine", "ok"):
            closed = {r for r in held if not self.wiring.switches[r].normally_closed}
            opened = {r for r in held if self.wiring.switches[r].normally_closed}
            return frozenset((self.resting | closed) - opened)
        listed = [reads] if isinstance(reads, str) else reads
        before = len(self.problems)
        found = frozenset(self._all(self.names.readings, listed, path))
        if len(self.problems) > before:
            return None
        return found if whole else found | ((self.closed & self.resting) - set(held))

    def _press(self, entry: PressEntry, path: Path) -> list[Step]:
        switch = self._one(self.names.switch, entry.press, (*path, "press"))
        held = (switch,) if switch else ()
        outcome = self._reads(entry.reads, held, (*path, "reads"), whole=entry.whole, missing=entry.missing)
        return [_seen(Situation(held=held), Look("reads"), outcome)] if held and outcome is not None else []

    def _hold(self, entry: HoldEntry, path: Path) -> list[Step]:
        held = tuple(sorted(self._all(self.names.switches, entry.hold, (*path, "hold"))))
        outcome = self._reads(entry.reads, held, (*path, "reads"), whole=entry.whole, missing=entry.missing)
        return [] if outcome is None else [_seen(Situation(held=held), Look("reads"), outcome)]

    def _rest(self, entry: RestingEntry, path: Path) -> list[Step]:
        # A new look at rest starts from the healthy machine.
        self.resting = self.closed
        outcome = self._reads(entry.resting, (), (*path, "resting"), whole=entry.whole, missing=entry.missing)
        if outcome is None:
            return []
        if isinstance(outcome, frozenset):
            # From here on "nothing" and "itself" are said on top of what reads anyway.
            self.resting = outcome
        return [_seen(Situation(), Look("reads"), outcome)]

    def _walk(self, entry: WalkEntry, path: Path) -> list[Step]:
        path = (*path, "walk")
        matrix = self._one(lambda w: self.names.matrix(w, "switch"), entry.walk.matrix, (*path, "matrix"))
        if matrix is None:
            return []
        odd: dict[str, tuple[str | list[str], Path]] = {}
        lines: dict[str, tuple[str | list[str], Path]] = {}
        for key, reads in entry.walk.odd.items():
            place = (*path, "odd", key)
            hit = self._one(self.names.switches, key, place) or ()
            # What is said of one cell outranks what is said of its whole line.
            (odd if len(hit) == 1 else lines).update(dict.fromkeys(hit, (reads, place)))
        steps = self._at_rest({**lines, **odd})
        for reference, switch in self.wiring.switches.items():
            if switch.matrix != matrix.name and reference not in odd:
                continue
            usual: tuple[str | list[str], Path] = (entry.walk.others, path)
            reads, place = odd.get(reference) or lines.get(reference) or usual
            word = reads.casefold() if isinstance(reads, str) else ""
            closed = reference in self.closed
            if word == "not tried" or word == ("never" if closed else "always"):
                continue  # told of rest: the same with it held is no news
            if word in ("never", "always"):
                reads = [reference] if closed else "nothing"
            outcome = self._reads(reads, (reference,), place, whole=entry.whole)
            if outcome is not None:
                steps.append(_seen(Situation(held=(reference,)), Look("reads"), outcome))
        return steps

    def _at_rest(self, odd: Mapping[str, tuple[str | list[str], Path]]) -> list[Step]:
        """What ``never`` and ``always`` say of rest: a normally closed switch that never reads is missing
        there, any other that always reads shows there.
        """
        said = {r: reads.casefold() for r, (reads, _) in odd.items() if isinstance(reads, str)}
        gone = {r for r, word in said.items() if word == "never" and r in self.closed}
        more = {r for r, word in said.items() if word == "always" and r not in self.closed}
        if not gone and not more:
            return []
        self.resting = (self.resting | more) - gone
        return [_seen(Situation(), Look("reads"), self.resting)]

    def _lamp(self, entry: LampEntry, path: Path) -> list[Step]:
        everything = self._matrix_lamps(entry, path)
        if [word.casefold() for word in entry.lamp] == [ALL_LAMPS]:
            lamps = everything
        else:
            lamps = self._all(self.names.lamps, entry.lamp, (*path, "lamp"))
        rest = tuple(one for one in everything if one not in lamps) if entry.others else ()
        word = entry.commanded[0].casefold() if len(entry.commanded) == 1 else ""
        if word == "itself" and rest and len(lamps) > 1:
            self._problem(
                (*path, "others"),
                "others beside several lamps that were commanded one by one",
                "commanded: each (every lamp of the matrix in its own turn), or one lamp",
            )
            return []
        fixed: tuple[str, ...] = ()
        if word not in ("all", "itself", "each", "nothing"):
            fixed = tuple(sorted(self._all(self.names.lamps, entry.commanded, (*path, "commanded"))))

        def situation(of: str) -> Situation:
            if word == "all":
                return Situation(lamps=(ALL_LAMPS,))
            if word == "itself":
                return Situation(lamps=(of,) if of in lamps else lamps[:1])
            return Situation(lamps=(of,) if word == "each" else fixed)

        pairs = [(one, entry.seen) for one in lamps] + [(one, entry.others or "") for one in rest]
        return [_seen(situation(one), Look("lamp", one), seen) for one, seen in pairs]

    def _matrix_lamps(self, entry: LampEntry, path: Path) -> tuple[str, ...]:
        """Every lamp that ``all`` and ``others`` mean: those of the matrix, or of the string, spoken of."""
        if entry.lamp != [ALL_LAMPS] and entry.others is None:
            return ()
        name = entry.matrix
        if not name and entry.lamp != [ALL_LAMPS]:
            try:
                first = self.names.lamps(entry.lamp[0])[0]
                name = self.wiring.lamps[first].matrix
                if beside := self.names.beside(first):
                    return beside
            except (NameTrouble, IndexError):
                return ()  # told where the lamp itself is looked up
        matrix = self._one(lambda w: self.names.matrix(w, "lamp"), name, (*path, "lamp"))
        if matrix is None:
            return ()
        return tuple(r for r, one in self.wiring.lamps.items() if one.matrix == matrix.name)

    def _coil(self, entry: CoilEntry, path: Path) -> list[Step]:
        held = tuple(sorted(self._all(self.names.switches, entry.held, (*path, "held"))))
        coils = self._all(self.names.coils, entry.coil, (*path, "coil"))
        pairs: list[tuple[str, str]] = [(one, entry.seen) for one in coils]
        if entry.others is not None:
            kinds = {one.partition("/")[0] for one in coils}
            rest = (r for r in self.wiring.coils if r not in coils and r.partition("/")[0] in kinds)
            pairs += [(one, entry.others) for one in rest]
        return [_seen(Situation(pulsed=one, held=held), Look("coil", one), seen) for one, seen in pairs]

    def _power_up(self, entry: PowerUpEntry, path: Path) -> list[Step]:
        locked = entry.power_up.locked
        word = locked[0].casefold() if len(locked) == 1 else ""
        outcome: Outcome
        if word == NOT_SURE:
            outcome = NOT_SURE
        elif word in ("nothing", "nothing locked"):
            outcome = frozenset()
        else:
            outcome = frozenset(self._all(self.names.coils, locked, (*path, "power up", "locked")))
        return [_seen(Situation(), Look("resting coils"), outcome)]

    def _fuse(self, entry: FuseEntry, path: Path) -> list[Step]:
        fuses = self._each(self.names.fuse, entry.fuse, (*path, "fuse"))
        return [_seen(Situation(power=False), Look("fuse", f), entry.seen) for f in fuses]

    def _meter(self, entry: VoltsEntry | OhmsEntry | DiodeEntry, path: Path) -> list[Step]:
        function: MeterFunction
        form: PoweredMeter | UnpoweredMeter
        if isinstance(entry, VoltsEntry):
            function, form = "volts", entry.volts
        elif isinstance(entry, OhmsEntry):
            function, form = "ohms", entry.ohms
        else:
            function, form = "diode", entry.diode
        path = (*path, function)
        red = self._one(self.names.point, form.red, (*path, "red"))
        black = self._one(self.names.point, form.black, (*path, "black"))
        reading: float | str | None
        try:
            reading = (
                NOT_SURE if form.reading.casefold() == NOT_SURE else parse_reading(form.reading, function)
            )
        except InputError as error:
            for told in error.problems:
                self._problem((*path, "reading"), told.found, told.expected, told.suggestion)
            reading = None
        situation = Situation(
            power=form.power,
            held=tuple(sorted(self._all(self.names.switches, form.held, (*path, "held")))),
            lamps=tuple(sorted(self._all(self._lamps_or_all, form.lamps, (*path, "lamps")))),
            pulsed=(self._one(self.names.coil, form.pulsed, (*path, "pulsed")) or "") if form.pulsed else "",
            opened=tuple(sorted(self._all(self.names.parts, form.opened, (*path, "opened")))),
        )
        if red is None or black is None or reading is None:
            return []
        return [_seen(situation, Look("meter", "", function, red, black), reading)]

    def _lamps_or_all(self, words: str) -> tuple[str, ...]:
        return (ALL_LAMPS,) if words.casefold() == ALL_LAMPS else self.names.lamps(words)

    def _repair(self, entry: RepairEntry, path: Path) -> list[Step]:
        parts = self._all(self._mended, entry.repair.parts, (*path, "repair", "parts"))
        if not entry.repair.parts:
            self._problem((*path, "repair", "parts"), "no part", "at least one part that was mended")
        # A repaired machine is looked at afresh: what used to read at rest need not any more.
        self.resting = self.closed
        return [Step("repair", parts=parts, action=entry.repair.action, text=entry.words)]

    def _mended(self, words: str) -> tuple[str, ...]:
        """Parts by name, or the lamp itself of a lamp that is named."""
        try:
            return self.names.parts(words)
        except NameTrouble as trouble:
            if trouble.ambiguous and not words.casefold().startswith("lamp"):
                raise
            return (self._swappable(words),)

    def _decline(self, entry: DeclineEntry, path: Path) -> list[Step]:
        del path
        return [Step("decline", check_key=entry.decline, text=entry.words)]

    def _override(self, entry: OverrideEntry, path: Path) -> list[Step]:
        del path
        return [Step("override", text=entry.override)]

    def _note(self, entry: NoteEntry, path: Path) -> list[Step]:
        del path
        return [Step("note", text=entry.note)]


def _seen(situation: Situation, look: Look, outcome: Outcome) -> Step:
    return Step("finding", Finding(situation, look, outcome))
