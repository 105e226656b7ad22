"""What a mended short leaves behind: the fuse that it blew stays blown until somebody fits a new one.

A standing short blows its fuse as soon as the machine is on (``checks.fuses``). Mending the short does not
mend the fuse; and a fuse that was replaced while the short was still there has blown again as soon as the
machine was switched on. So from the short's repair on the fuse is blown, unless a new one was fitted and the
machine has not been on with both in it. (A new fuse is fitted by a repair, and by a look at what one does.)
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from itertools import product

from matrixdoc.checks.predictor import Predictor
from matrixdoc.checks.situation import Finding
from matrixdoc.diagnosis.told import Mend
from matrixdoc.faults.priors import Fault

Acting = list[tuple[float, tuple[Fault, ...]]]
Cured = Callable[[Fault, int], float]
"""Chance that a fault was cured when the finding with this number was made."""


class Aftermath:
    """Fuses left blown by what was mended, for one case on one machine."""

    def __init__(self, predictor: Predictor, findings: Sequence[Finding], mends: Sequence[Mend]) -> None:
        self.predictor = predictor
        self.findings = tuple(findings)
        self._fitted: dict[str, list[int]] = {}
        fuses = {m.part: m.after for m in mends if predictor.model.part(m.part).kind == "fuse"}
        for mend in mends:
            if mend.part in fuses:
                self._fitted.setdefault(mend.part, []).append(mend.after)
        for number, finding in enumerate(self.findings):
            if finding.look.kind == "new fuse":
                self._fitted.setdefault(finding.look.target, []).append(number)
        self._blown: dict[str, Fault | None] = {}
        self.courses: dict[Fault, tuple[float, ...]] = {}
        """For shorts of mended parts that blew a fuse: the chance that they were cured at each finding, and
        now. A dead feed after the repair says that a break is there yet, and not that a short is."""

    def blown(self, index: int, fault: Fault, cured: Cured) -> dict[Fault, float]:
        """Fuses that ``fault``, cured by finding ``index``, left blown, with their chances.

        ``index`` may be the number of findings: then it is asked of the machine as it stands.
        """
        found: dict[Fault, float] = {}
        for fuse in self.predictor.blown_by((fault,)):
            mode = self._mode(fuse)
            chance = 1.0 - self._whole(index, fuse, fault, cured)
            if mode is not None and chance > 0.0:
                found[mode] = chance
        return found

    def acting(self, index: int, gone: Iterable[Fault], left: tuple[Fault, ...], cured: Cured) -> Acting:
        """(share, faults): what acts on finding ``index`` after ``gone`` were cured and ``left`` stayed."""
        chances: dict[Fault, float] = {}
        parts = {f.part for f in left}
        for fault in gone:
            for mode, chance in self.blown(index, fault, cured).items():
                if mode.part not in parts:
                    chances[mode] = max(chance, chances.get(mode, 0.0))
        found: Acting = []
        for choice in product((True, False), repeat=len(chances)):
            share = 1.0
            for there, chance in zip(choice, chances.values(), strict=True):
                share *= chance if there else 1.0 - chance
            if share > 0.0:
                fuses = (mode for there, mode in zip(choice, chances, strict=True) if there)
                found.append((share, tuple(sorted((*left, *fuses)))))
        return found

    def _whole(self, index: int, fuse: str, fault: Fault, cured: Cured) -> float:
        """Chance that the fuse is a new one that the cured short never met."""
        fitted = [after for after in self._fitted.get(fuse, ()) if after <= index]
        now = cured(fault, index)
        if not fitted or now <= 0.0:
            return 0.0
        # The new fuse meets what is there at the first look under power.
        met = next((n for n in range(max(fitted), index) if self.findings[n].situation.power), index)
        return min(1.0, cured(fault, met) / now)

    def _mode(self, fuse: str) -> Fault | None:
        """The fuse's fault that is a blown one."""
        if fuse not in self._blown:
            possible = self.predictor.model.possible
            opens = [f for f, e in possible.items() if f.part == fuse and e.patch.absent and not e.duty]
            self._blown[fuse] = max(opens, key=lambda f: possible[f].odds, default=None)
        return self._blown[fuse]
