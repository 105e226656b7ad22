"""Entries about switches: presses, holds, rest and walks, told against what reads at rest anyway."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from matrixdoc.case.report_lookup import Lookup, Path
from matrixdoc.case.report_schema import HoldEntry, PressEntry, ReportForm, RestingEntry, WalkEntry
from matrixdoc.case.report_steps import Step, finding_step
from matrixdoc.checks.situation import NOT_SURE, Look, Outcome, Situation
from matrixdoc.checks.wording import usual_resting
from matrixdoc.definition.document import Document
from matrixdoc.definition.wiring import Wiring


class SwitchEntries(Lookup):
    """Spreads out entries about switches; remembers what the machine was said to read at rest."""

    def __init__(self, document: Document, form: ReportForm, wiring: Wiring) -> None:
        super().__init__(document, form, wiring)
        # What a healthy machine reads with nothing pressed: the normally closed switches.
        self.closed = usual_resting(wiring)
        # What this machine was said to read with nothing pressed.
        self.resting = self.closed

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

    def press(self, entry: PressEntry, path: Path) -> list[Step]:
        """One switch pressed."""
        switch = self._one(self.names.switch, entry.press, (*path, "press"))
        held = (switch,) if switch else ()
        outcome = self._reads(entry.reads, held, (*path, "reads"), whole=entry.whole, missing=entry.missing)
        return (
            [finding_step(Situation(held=held), Look("reads"), outcome)]
            if held and outcome is not None
            else []
        )

    def hold(self, entry: HoldEntry, path: Path) -> list[Step]:
        """Several switches held at once."""
        held = tuple(sorted(self._all(self.names.switches, entry.hold, (*path, "hold"))))
        outcome = self._reads(entry.reads, held, (*path, "reads"), whole=entry.whole, missing=entry.missing)
        return [] if outcome is None else [finding_step(Situation(held=held), Look("reads"), outcome)]

    def rest(self, entry: RestingEntry, path: Path) -> list[Step]:
        """What reads with nothing pressed; later entries are told on top of it."""
        # A new look at rest starts from the healthy machine.
        self.resting = self.closed
        outcome = self._reads(entry.resting, (), (*path, "resting"), whole=entry.whole, missing=entry.missing)
        if outcome is None:
            return []
        if isinstance(outcome, frozenset):
            # From here on "nothing" and "itself" are said on top of what reads anyway.
            self.resting = outcome
        return [finding_step(Situation(), Look("reads"), outcome)]

    def walk(self, entry: WalkEntry, path: Path) -> list[Step]:
        """Every switch of a matrix pressed alone, the odd ones named."""
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
                steps.append(finding_step(Situation(held=(reference,)), Look("reads"), outcome))
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
        return [finding_step(Situation(), Look("reads"), self.resting)]
