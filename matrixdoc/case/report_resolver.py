"""One report form and one machine: names looked up, entries spread out into steps."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from matrixdoc.case.names import NameTrouble
from matrixdoc.case.report_lookup import Path
from matrixdoc.case.report_schema import (
    CoilEntry,
    DeclineEntry,
    DiodeEntry,
    FuseEntry,
    LampEntry,
    NewFuseEntry,
    NoteEntry,
    OhmsEntry,
    OverrideEntry,
    PoweredMeter,
    PowerUpEntry,
    RepairEntry,
    ReportForm,
    UnpoweredMeter,
    VoltsEntry,
    WarmEntry,
    WarmUpEntry,
    WiggleEntry,
    leading_word,
)
from matrixdoc.case.report_steps import Step, finding_step
from matrixdoc.case.report_switches import SwitchEntries
from matrixdoc.checks.situation import (
    ALL_LAMPS,
    NOT_SURE,
    Look,
    MeterFunction,
    Outcome,
    Situation,
)
from matrixdoc.definition.document import Document
from matrixdoc.definition.errors import InputError
from matrixdoc.definition.numbers import parse_reading
from matrixdoc.definition.wiring import Wiring


class Resolver(SwitchEntries):
    """Turns a form into steps; collects what is wrong instead of stopping at the first."""

    def __init__(self, document: Document, form: ReportForm, wiring: Wiring) -> None:
        super().__init__(document, form, wiring)
        self._makers: dict[str, Callable[[Any, Path], list[Step]]] = {
            "press": self.press,
            "hold": self.hold,
            "resting": self.rest,
            "walk": self.walk,
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
        return [finding_step(Situation(pulsed=pulsed), Look("new fuse", fuse), entry.seen)]

    def _wiggle(self, entry: WiggleEntry, path: Path) -> list[Step]:
        part = self._one(self.names.part, entry.wiggle, (*path, "wiggle"))
        return [finding_step(Situation(), Look("wiggle", part), entry.seen)] if part else []

    def _warm(self, entry: WarmEntry, path: Path) -> list[Step]:
        part = self._one(self.names.part, entry.warm, (*path, "warm"))
        return [finding_step(Situation(), Look("warm", part), entry.seen)] if part else []

    def _warm_up(self, entry: WarmUpEntry, path: Path) -> list[Step]:
        device = self._one(self.names.device, entry.warm_up, (*path, "warm up"))
        return [finding_step(Situation(), Look("warm up", device), entry.seen)] if device else []

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
        return [finding_step(situation(one), Look("lamp", one), seen) for one, seen in pairs]

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
        return [
            finding_step(Situation(pulsed=one, held=held), Look("coil", one), seen) for one, seen in pairs
        ]

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
        return [finding_step(Situation(), Look("resting coils"), outcome)]

    def _fuse(self, entry: FuseEntry, path: Path) -> list[Step]:
        fuses = self._each(self.names.fuse, entry.fuse, (*path, "fuse"))
        return [finding_step(Situation(power=False), Look("fuse", f), entry.seen) for f in fuses]

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
        return [finding_step(situation, Look("meter", "", function, red, black), reading)]

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
