"""One machine and what was found on it: the only object that front ends talk to.

A :class:`Case` is an immutable value: a machine, the settings, and an ordered tuple of entries.
Adding an entry gives a new case. Undo is an entry that retracts another one, so nothing that was
ever acknowledged is lost. Times and authors come in from the edge; nothing here reads a clock.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Literal

from matrixdoc.case.session import Session
from matrixdoc.checks.prediction import Prediction
from matrixdoc.checks.situation import Finding, Look, Situation
from matrixdoc.definition.errors import MatrixdocError
from matrixdoc.definition.wiring import Wiring
from matrixdoc.diagnosis.results import Diagnosis, RankedCheck
from matrixdoc.diagnosis.settings import Settings
from matrixdoc.faults.priors import Fault

if TYPE_CHECKING:
    from matrixdoc.diagnosis.tree_words import FaultTree

EntryKind = Literal["finding", "decline", "repair", "retraction", "note", "override"]


class CaseError(MatrixdocError):
    """An entry that does not fit the case: nothing to retract, an unknown part."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the case. ``number`` counts from 1 and is never used again.

    ``finding`` is filled for a finding; ``check_key`` for a decline ("I can't do that");
    ``parts`` and ``action`` (clean, reseat, swap, replace, repair) for a repair; ``target`` is
    the number of the entry that a retraction takes back; ``text`` is free words (of an override: why
    somebody goes on under power).
    """

    number: int
    kind: EntryKind
    time: str = ""
    author: str = ""
    finding: Finding | None = None
    check_key: str = ""
    parts: tuple[str, ...] = ()
    action: str = ""
    target: int = 0
    text: str = ""


def _moved_finding(finding: Finding, moved: Mapping[str, str]) -> Finding:
    situation = finding.situation
    look = finding.look
    if look.kind in ("lamp", "warm up"):
        look = replace(look, target=moved.get(look.target, look.target))
    held = tuple(sorted(moved.get(h, h) for h in situation.held))
    return replace(finding, situation=replace(situation, held=held), look=look)


@dataclass(frozen=True)
class Case:
    """A machine, settings and entries. Build one with :meth:`start`."""

    wiring: Wiring
    settings: Settings
    entries: tuple[Entry, ...] = ()
    session: Session | None = field(default=None, repr=False, compare=False)

    @classmethod
    def start(cls, wiring: Wiring, settings: Settings | None = None) -> Case:
        """An empty case on ``wiring``."""
        return cls(wiring, settings or Settings(), (), Session(wiring, settings or Settings()))

    # -- entries -----------------------------------------------------------------------------

    def _with(self, entry: Entry) -> Case:
        return replace(self, entries=(*self.entries, entry))

    @property
    def next_number(self) -> int:
        """The number that the next entry gets."""
        return len(self.entries) + 1

    def with_finding(self, finding: Finding, *, time: str = "", author: str = "", text: str = "") -> Case:
        """The case with one more finding.

        Raises:
            CaseError: the finding names a switch, lamp, coil, part or net this machine lacks.
        """
        self._engine.refuse_unknown(finding)
        return self._with(
            Entry(self.next_number, "finding", time, author, finding=finding, text=text or finding.words)
        )

    def with_decline(self, check_key: str, *, time: str = "", author: str = "", text: str = "") -> Case:
        """The case in which the person cannot or will not do the check with this key."""
        return self._with(Entry(self.next_number, "decline", time, author, check_key=check_key, text=text))

    def can_be_mended(self, part: str) -> bool:
        """Whether a repair of ``part`` can be noted: a part, a bridge between neighbours, or the chart."""
        return self._engine.can_be_mended(part)

    def with_repair(
        self, parts: Sequence[str], action: str, *, time: str = "", author: str = "", text: str = ""
    ) -> Case:
        """The case after somebody repaired, replaced, cleaned, reseated or swapped ``parts``.

        Findings made before the repair describe the machine before it; what is found afterwards
        describes the machine with these parts mended (at the action's success rate).

        Raises:
            CaseError: a part is not on this machine, or no part was named.
        """
        missing = [part for part in parts if not self._engine.can_be_mended(part)]
        if missing or not parts:
            raise CaseError(f"no such part on this machine: {', '.join(missing) or '(none named)'}")
        return self._with(
            Entry(self.next_number, "repair", time, author, parts=tuple(parts), action=action, text=text)
        )

    def with_retraction(self, number: int, *, time: str = "", author: str = "", text: str = "") -> Case:
        """The case in which entry ``number`` no longer counts. Retracting a retraction restores.

        Raises:
            CaseError: there is no such entry.
        """
        if not 1 <= number <= len(self.entries):
            raise CaseError(f"there is no entry {number} to take back; this case has {len(self.entries)}")
        return self._with(Entry(self.next_number, "retraction", time, author, target=number, text=text))

    def with_note(self, text: str, *, time: str = "", author: str = "") -> Case:
        """The case with a free remark; it changes no probability."""
        return self._with(Entry(self.next_number, "note", time, author, text=text))

    def with_override(self, text: str, *, time: str = "", author: str = "") -> Case:
        """The case in which somebody says, in words, that they go on under power in spite of a coil that
        may be locked on. Undo it like any entry.

        Raises:
            CaseError: no words were given.
        """
        if not text.strip():
            raise CaseError("going on under power wants words: who watches, and what stays off")
        return self._with(Entry(self.next_number, "override", time, author, text=text))

    def on_corrected(
        self, wiring: Wiring, moved: Mapping[str, str], text: str, *, time: str = "", author: str = ""
    ) -> Case:
        """The same entries on a corrected definition, with a note that says what was corrected.

        ``moved`` gives, for a device that is elsewhere now, its new reference: whoever held a switch
        held it by its name. What the machine showed stays by place.
        """
        entries = tuple(
            replace(e, finding=_moved_finding(e.finding, moved)) if e.finding is not None else e
            for e in self.entries
        )
        session = Session(wiring, self.settings)
        return replace(self, wiring=wiring, entries=entries, session=session).with_note(
            text, time=time, author=author
        )

    @property
    def standing(self) -> tuple[Entry, ...]:
        """Entries that still count, in order: those that no standing retraction takes back."""
        gone: set[int] = set()
        for entry in reversed(self.entries):
            if entry.kind == "retraction" and entry.number not in gone:
                gone.add(entry.target)
        return tuple(e for e in self.entries if e.number not in gone and e.kind != "retraction")

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Standing findings in order."""
        return tuple(e.finding for e in self.standing if e.finding is not None)

    def last_own_entry(self, author: str = "") -> Entry | None:
        """The entry that undo would take back: the newest standing one by ``author``."""
        for entry in reversed(self.standing):
            if not author or entry.author == author:
                return entry
        return None

    # -- answers -----------------------------------------------------------------------------

    @property
    def _engine(self) -> Session:
        if self.session is None:
            raise CaseError("a case is started with Case.start(wiring)")
        return self.session

    def left(self) -> tuple[str, ...]:
        """Where the work was left: the last look, power, what is off, on or swapped, what is unproven."""
        return self._engine.left(self.standing)

    def cautions(self) -> tuple[str, ...]:
        """What cannot wait (a coil locked on, smoke): known without any computing."""
        return self._engine.urgent(self.standing)

    def diagnose(self) -> Diagnosis:
        """The causes in order, given everything that stands."""
        return self._engine.diagnose(self.standing)

    def first_causes(self) -> Diagnosis:
        """The causes in order, sooner: before any check is worked out that could compare them.

        Every suspect stands by itself; :meth:`diagnose` puts those together that no check separates.
        """
        return self._engine.diagnose(self.standing, compared=False)

    def checks(self, limit: int = 10) -> tuple[RankedCheck, ...]:
        """The next checks worth doing, best first."""
        return self._engine.checks(self.standing, limit)

    def fault_tree(self, depth: int = 5, mass: float = 0.02, complaint: int = 1) -> FaultTree:
        """What to check, and what to check after each outcome, for one complaint of the case.

        Args:
            depth: steps from the first check to the deepest one.
            mass: branches less probable than this are left out.
            complaint: counted from 1, the likeliest first.

        Raises:
            NoComplaintError: nothing is wrong, or there is no such complaint.
        """
        return self._engine.fault_tree(self.standing, depth, mass, complaint)

    def unproven(self) -> tuple[str, ...]:
        """Repairs that no later finding has proven yet, in words."""
        return self._engine.unproven(self.standing)

    def simulate(self, faults: Sequence[Fault], situation: Situation, look: Look) -> Prediction:
        """What ``look`` would show in ``situation`` if exactly ``faults`` were there.

        Raises:
            CaseError: a fault that no part of this machine can have.
        """
        self._engine.refuse_unknown_faults(faults)
        return self._engine.predict(tuple(faults), situation, look)
