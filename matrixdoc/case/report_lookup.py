"""Looking up what a report names, one thing at a time; what is wrong is collected with its place."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any, TypeVar

from matrixdoc.case.names import Names, NameTrouble
from matrixdoc.case.report_form import ReportSettings
from matrixdoc.case.report_schema import Jumper, ReportForm
from matrixdoc.checks.situation import Situation, jumper, swap
from matrixdoc.definition.document import Document
from matrixdoc.definition.errors import Problem, quoted
from matrixdoc.definition.wiring import Wiring
from matrixdoc.diagnosis.settings import Settings

Path = tuple[str | int, ...]
_T = TypeVar("_T")


class Lookup:
    """Finds what a form names on one machine; ``problems`` holds what was wrong."""

    def __init__(self, document: Document, form: ReportForm, wiring: Wiring) -> None:
        self.document = document
        self.form = form
        self.wiring = wiring
        self.names = Names(wiring)
        self.problems: list[Problem] = []

    # -- problems ------------------------------------------------------------------------------

    def _problem(self, path: Path, found: str, expected: str, suggestion: str = "") -> None:
        self.problems.append(self.document.problem(path, found, expected, suggestion))

    def _one(self, find: Callable[[str], _T], words: str, path: Path) -> _T | None:
        try:
            return find(words)
        except NameTrouble as trouble:
            self._problem(path, quoted(trouble.found), trouble.expected, trouble.suggestion)
            return None

    def _all(self, find: Callable[[str], Sequence[str]], words: Sequence[str], path: Path) -> tuple[str, ...]:
        """Look up each of several names; lines are spread out, doubles dropped."""
        found: dict[str, None] = {}
        for position, each in enumerate(words):
            hit = self._one(find, each, self._item(path, position))
            found.update(dict.fromkeys(hit or ()))
        return tuple(found)

    def _each(self, find: Callable[[str], str], words: Sequence[str], path: Path) -> tuple[str, ...]:
        """Look up each of several names, one thing for each."""
        return self._all(lambda name: (find(name),), words, path)

    def _item(self, path: Path, position: int) -> Path:
        """The place of one name: a single name stands where the list would."""
        return (*path, position) if (*path, position) in self.document.positions else path

    # -- settings ------------------------------------------------------------------------------

    def settings(self, base: Settings) -> Settings:
        """``base`` with the report's own settings laid over it."""
        form = self.form.settings
        changes: dict[str, Any] = {}
        finders = {
            "recent_repair": self.names.worked_at,
            "battery_leak": self.names.worked_at,
            "open_places": self.names.place,
        }
        for name in ReportSettings.model_fields:
            value = getattr(form, name)
            if value is None:
                continue
            if name in finders:
                value = self._each(finders[name], value, ("settings", name.replace("_", " ")))
            changes[name] = tuple(value) if isinstance(value, list) else value
        return replace(base, **changes)

    def _altered(self, entry: object, path: Path) -> Situation:
        """What a look entry says of plugs off, jumpers and swapped parts."""
        opened = self._all(self.names.parts, getattr(entry, "opened", ()), (*path, "opened"))
        jumpers = []
        for position, lead in enumerate(getattr(entry, "jumpers", ())):
            ends = self._jumper(lead, self._item((*path, "jumpers"), position))
            if ends is not None:
                jumpers.append(jumper(*ends))
        swapped = []
        for position, names in enumerate(getattr(entry, "swapped", ())):
            place = (*path, "swapped", position)
            parts = self._each(self._swappable, names, place)
            if len(names) != 2:
                self._problem(place, f"{len(names)} parts", "two parts that sat in each other's place")
            elif len(parts) == 2:
                swapped.append(swap(*parts))
        return Situation(
            opened=tuple(sorted(opened)), jumpers=tuple(sorted(jumpers)), swapped=tuple(sorted(swapped))
        )

    def _swappable(self, words: str) -> str:
        """A part, or the lamp itself of a lamp that is named."""
        try:
            return self.names.part(words)
        except NameTrouble as trouble:
            if trouble.ambiguous and not words.casefold().startswith("lamp"):
                raise
            try:
                return self.wiring.lamps[self.names.lamp(words)].element
            except NameTrouble:
                raise trouble from None

    def _jumper(self, lead: Jumper, path: Path) -> tuple[str, str] | None:
        """The nets of a jumper, or None and a problem."""
        if lead.across:
            part = self._one(self.names.part, lead.across, (*path, "across"))
            nets = self.wiring.parts[part].nets if part else ()
            if part and len(nets) < 2:
                self._problem((*path, "across"), quoted(lead.across), "a part with two lugs")
            return (nets[0], nets[1]) if len(nets) >= 2 else None
        if not lead.from_:
            self._problem(path, "a jumper without its points", "from (and to), or across a part")
            return None
        one = self._one(self.names.point, lead.from_, (*path, "from"))
        two = self._one(self.names.point, lead.to, (*path, "to"))
        if one and one == two:
            self._problem((*path, "to"), quoted(lead.to), "another point than the first end of the jumper")
            return None
        return (one, two) if one and two else None
