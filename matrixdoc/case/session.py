"""From the entries of a case to questions for the engine.

Findings made before a repair describe the machine as it came; findings made after it describe the
machine with that part mended, as far as such a repair succeeds.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Protocol

from matrixdoc.checks.chart import CHART
from matrixdoc.checks.prediction import Prediction
from matrixdoc.checks.provoked import WARMTH
from matrixdoc.checks.situation import (
    ALL_LAMPS,
    NOT_SURE,
    Finding,
    Look,
    Outcome,
    Situation,
    both_ends,
)
from matrixdoc.checks.wording import device_words, finding_words, left_altered
from matrixdoc.definition.errors import MatrixdocError
from matrixdoc.definition.wiring import Wiring
from matrixdoc.diagnosis.engine import Engine, Told
from matrixdoc.diagnosis.results import Diagnosis, RankedCheck
from matrixdoc.diagnosis.settings import Settings
from matrixdoc.diagnosis.told import Mend
from matrixdoc.faults.priors import Fault

if TYPE_CHECKING:
    from matrixdoc.diagnosis.tree_words import FaultTree

DONE_WORDS = {
    "clean": "cleaned",
    "reseat": "reseated",
    "swap": "swapped",
    "replace": "replaced",
    "repair": "repaired",
}

SWITCH_OFF = (
    "SWITCH OFF NOW and unplug: {what}. A locked coil burns within seconds to a minute and can start a fire. "
    "Do not switch on again before its fuse is out or its connector is off."
)
OVERRIDDEN = (
    "checks under power are offered all the same, because somebody wrote: {words}. Nobody works alone on "
    "this; a hand stays on the switch."
)
SMOKE_WORDS = re.compile(r"\b(smok\w*|smell\w*|burn(s|t|ing)|on fire|too hot|very hot)\b", re.IGNORECASE)


SHOWING = frozenset({"reads", "lamp", "coil", "resting coils"})
"""Looks at what the machine does."""


class StandingEntry(Protocol):
    """What the session needs of an entry (see ``case.Entry``)."""

    @property
    def kind(self) -> str: ...  # noqa: D102 - see case.Entry

    @property
    def finding(self) -> Finding | None: ...  # noqa: D102 - see case.Entry

    @property
    def parts(self) -> tuple[str, ...]: ...  # noqa: D102 - see case.Entry

    @property
    def action(self) -> str: ...  # noqa: D102 - see case.Entry

    @property
    def check_key(self) -> str: ...  # noqa: D102 - see case.Entry

    @property
    def text(self) -> str: ...  # noqa: D102 - see case.Entry


class UnknownDeviceError(MatrixdocError):
    """A finding names something that this machine does not have."""


def proves(finding: Finding, before: Sequence[Finding]) -> bool:
    """Whether a look after a repair shows again what was looked at ``before`` it: the same switches pressed,
    the same lamp, the same coil. A reading of a meter says that a part is sound, and not that the machine
    does what it should; where nothing but readings was told, the same reading proves it.
    """
    shown = {_shown(f) for f in before if f.look.kind in SHOWING} or {_shown(f) for f in before}
    return _shown(finding) in shown


def _shown(finding: Finding) -> tuple[Look, tuple[str, ...]]:
    return finding.look, finding.situation.held if finding.look.kind != "lamp" else ()


class Session:
    """Answers for one machine under one set of settings. The engine is made when first needed."""

    def __init__(self, wiring: Wiring, settings: Settings) -> None:
        self.wiring = wiring
        self.settings = settings
        self._engine: Engine | None = None
        self._nets: frozenset[str] | None = None

    @property
    def engine(self) -> Engine:
        """The engine of this machine."""
        if self._engine is None:
            self._engine = Engine(self.wiring, self.settings)
        return self._engine

    def can_be_mended(self, part: str) -> bool:
        """Whether this machine has the part; bridges between neighbours and the chart are mended, too."""
        return part in self.wiring.parts or part == CHART or part in self.engine.circuit.bridges

    def refuse_unknown(self, finding: Finding) -> None:
        """Raise UnknownDeviceError for a switch, lamp, coil, part or net that is not there."""
        wiring, situation, look = self.wiring, finding.situation, finding.look
        wanted = self._named_by(look)
        wanted.extend((name, wiring.switches, "switch") for name in situation.held)
        wanted.extend((name, wiring.lamps, "lamp") for name in situation.lamps if name != ALL_LAMPS)
        wanted.extend((name, wiring.parts, "part") for name in situation.opened)
        swapped = [part for pair in situation.swapped for part in both_ends(pair)]
        wanted.extend((name, wiring.parts, "part") for name in swapped)
        if situation.pulsed:
            wanted.append((situation.pulsed, wiring.coils, "coil"))
        for name, known, what in wanted:
            if name not in known:
                raise UnknownDeviceError(f"this machine has no {what} {name!r}")
        nets = [net for lead in situation.jumpers for net in both_ends(lead)]
        if look.kind == "meter":
            nets += [look.red, look.black]
        if nets:
            if self._nets is None:
                self._nets = frozenset(n for p in wiring.parts.values() for n in p.nets)
            for net in nets:
                if net not in self._nets:
                    raise UnknownDeviceError(f"this machine has no net {net!r} to put a lead on")

    def _named_by(self, look: Look) -> list[tuple[str, Mapping[str, object], str]]:
        """What a look names, where it has to be found, and what kind of thing it is."""
        wiring = self.wiring
        known: Mapping[str, tuple[Mapping[str, object], str]] = {
            "lamp": (wiring.lamps, "lamp"),
            "coil": (wiring.coils, "coil"),
            **dict.fromkeys(("fuse", "new fuse", "wiggle", "warm"), (wiring.parts, "part")),
            "warm up": ({**wiring.switches, **wiring.lamps, **wiring.coils}, "switch, lamp or coil"),
        }
        return [(look.target, *known[look.kind])] if look.kind in known else []

    def refuse_unknown_faults(self, faults: Sequence[Fault]) -> None:
        """Raise UnknownDeviceError for a fault that no part of this machine can have."""
        for fault in faults:
            if fault not in self.engine.possible:
                modes = [f.mode for f in self.engine.possible if f.part == fault.part]
                known = f"it can be: {', '.join(modes)}" if modes else "there is no such part"
                raise UnknownDeviceError(f"{fault.part} cannot be {fault.mode!r} on this machine; {known}")

    # -- what the entries say ----------------------------------------------------------------

    def told(self, entries: Sequence[StandingEntry]) -> Told:
        """The entries as the engine takes them."""
        findings: list[Finding] = []
        mends: list[Mend] = []
        disturbed: list[int] = []
        words: dict[str, str] = {}
        declined: set[str] = set()
        overridden = False
        acts, proving = 0, -1
        seen: dict[tuple[Situation, Look], Outcome] = {}
        for entry in entries:
            if entry.kind == "finding" and entry.finding is not None:
                finding = entry.finding
                look = (finding.situation, finding.look)
                if finding.outcome != NOT_SURE and not isinstance(finding.outcome, float):
                    if seen.get(look, finding.outcome) != finding.outcome:
                        acts += 1  # what comes and goes has changed by itself: played, warmed up, knocked
                        seen.clear()
                    seen[look] = finding.outcome
                if proving >= 0 and proves(finding, findings[:proving]):
                    proving = -1
                findings.append(finding)
                disturbed.append(acts)
                if finding.look.kind in WARMTH:
                    acts += 1
                    seen.clear()
            elif entry.kind == "repair":
                acts += 1
                seen.clear()
                proving = len(findings) if proving < 0 else proving
                for part in entry.parts:
                    mends.append(Mend(part, entry.action, len(findings)))
                    words[part] = DONE_WORDS.get(entry.action, "mended")
            elif entry.kind == "decline":
                declined.add(entry.check_key)
            elif entry.kind == "override":
                overridden = True
        return Told(
            tuple(findings),
            tuple(mends),
            tuple(disturbed),
            words,
            frozenset(declined),
            proving,
            overridden,
        )

    def left(self, entries: Sequence[StandingEntry]) -> tuple[str, ...]:
        """Where the work was left: power, what is off, on or swapped, what is mended and not yet proven."""
        findings = [entry.finding for entry in entries if entry.finding is not None]
        if not findings:
            return ()
        last = findings[-1]
        return (
            f"last looked at: {finding_words(self.wiring, last)}",
            "left switched on" if last.situation.power else "left switched off and unplugged",
            *left_altered(self.wiring, last.situation),
            *self.unproven(entries),
        )

    def urgent(self, entries: Sequence[StandingEntry]) -> tuple[str, ...]:
        """What cannot wait. Looks only at the words of the entries; nothing is computed."""
        found = []
        for entry in entries:
            finding = entry.finding
            if entry.kind == "note" and SMOKE_WORDS.search(entry.text):
                found.append(SWITCH_OFF.format(what=entry.text.strip()))
            if finding is None:
                continue
            if finding.outcome == "locked on":
                found.append(
                    SWITCH_OFF.format(what=f"{device_words(self.wiring, finding.look.target)} is locked on")
                )
            elif (
                finding.look.kind == "resting coils"
                and not finding.situation.held
                and isinstance(finding.outcome, frozenset)
                and finding.outcome
            ):
                names = ", ".join(device_words(self.wiring, c) for c in sorted(finding.outcome))
                found.append(SWITCH_OFF.format(what=f"locked on: {names}"))
        if entries and self._proven_since(entries):
            return ()
        chosen = [e.text for e in entries if e.kind == "override"]
        if found and chosen:
            found.append(OVERRIDDEN.format(words=chosen[-1].strip() or "go on"))
        return tuple(dict.fromkeys(found))

    def _proven_since(self, entries: Sequence[StandingEntry]) -> bool:
        """Whether the newest look at the resting coils, after a repair, found none pulled in."""
        repaired = False
        quiet = False
        for entry in entries:
            if entry.kind == "repair":
                repaired = True
                quiet = False
            finding = entry.finding
            if finding is not None and finding.look.kind == "resting coils":
                quiet = repaired and finding.outcome == frozenset()
        return quiet

    def unproven(self, entries: Sequence[StandingEntry]) -> tuple[str, ...]:
        """Repairs after which nobody has looked again at what was wrong."""
        waiting: list[str] = []
        complained: list[Finding] = []
        for entry in entries:
            if entry.kind == "repair":
                parts = ", ".join(entry.parts)
                waiting.append(f"{DONE_WORDS.get(entry.action, 'mended')}: {parts}; not yet proven")
            elif entry.finding is not None:
                if waiting and proves(entry.finding, complained):
                    waiting.clear()
                elif not waiting:
                    complained.append(entry.finding)
        return tuple(waiting)

    # -- answers -----------------------------------------------------------------------------

    def diagnose(self, entries: Sequence[StandingEntry], *, compared: bool = True) -> Diagnosis:
        """The causes, given what stands."""
        return self.engine.diagnose(self.told(entries), self.urgent(entries), compared=compared)

    def checks(self, entries: Sequence[StandingEntry], limit: int) -> tuple[RankedCheck, ...]:
        """The next checks worth doing."""
        return self.engine.checks(self.told(entries), limit)

    def fault_tree(
        self, entries: Sequence[StandingEntry], depth: int, mass: float, complaint: int
    ) -> FaultTree:
        """The plan for one complaint, unrolled."""
        from matrixdoc.diagnosis.tree_words import fault_tree

        return fault_tree(self.engine, self.told(entries), depth, mass, complaint)

    def predict(self, faults: tuple[Fault, ...], situation: Situation, look: Look) -> Prediction:
        """What a look would show under exactly these faults."""
        return self.engine.predict(faults, situation, look)
