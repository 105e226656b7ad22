"""The fault catalogue: how each kind of part fails, how often, and what cures it.

The catalogue is data (``catalogue.toml``). Rates are relative: only their ratios matter, and one
visible setting turns them into probabilities (see ``priors.py``). Each kind also carries the rate
and the split of modes that a handbook gives for quiet equipment, for comparison.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from functools import lru_cache
from importlib import resources
from typing import Literal

from matrixdoc.circuit.patch import Patch
from matrixdoc.definition.errors import MatrixdocError
from matrixdoc.definition.wiring import Part, Wiring

Action = Literal["clean", "reseat", "replace", "repair"]
Cost = Literal["none", "low", "medium", "high"]
ConditionName = Literal["no vibration", "recent repair", "sat for years", "battery leak"]


CASCADE_RELATIONS = ("drive output",)
"""Relations of a damaged part to the part that damages it."""


class CatalogueError(MatrixdocError):
    """The catalogue is wrong: every mistake in it, one a line, with its place and the cure."""


@dataclass(frozen=True, slots=True)
class Repair:
    """What cures a mode.

    ``minutes`` is hands-on work with the place open, ``success`` the chance that it cures,
    ``cost`` the class of the parts bought.
    """

    action: Action
    words: str
    minutes: float
    success: float
    cost: Cost


@dataclass(frozen=True, slots=True)
class Mode:
    """One way in which a kind of part fails.

    ``share`` is its part of the kind's failures. ``patch`` is the change to the part; ``factor``
    multiplies healthy values (by value name) and is resolved against the part in hand.
    ``damage`` warns of what the mode, or a hasty repair of it, destroys. ``duty`` is the share of the
    time that an intermittent mode is there (0: all the time); it keeps its state until disturbed,
    or draws anew at each look (``restless``: a contact that every press moves). ``opens_warm`` and
    ``opens_cold`` are the chances that one that comes and goes shows as it warms, or as it cools, and
    ``warmth_source`` says where they come from.
    """

    name: str
    share: float
    source: str
    words: str
    patch: Patch
    repair: Repair
    factor: Mapping[str, float] = field(default_factory=dict)
    damage: str = ""
    duty: float = 0.0
    restless: bool = False
    opens_warm: float = 0.0
    opens_cold: float = 0.0
    warmth_source: str = ""


@dataclass(frozen=True, slots=True)
class KindFaults:
    """How one kind of part fails.

    ``rate`` is relative, under service. The handbook's rate, in failures per million hours of quiet
    equipment, and the published split of modes stand beside it for comparison only.
    """

    kind: str
    rate: float
    rate_source: str
    handbook_rate_per_1e6_h: float
    handbook_source: str
    published: str
    modes: tuple[Mode, ...]

    def mode(self, name: str) -> Mode:
        """The mode called ``name``.

        Raises:
            CatalogueError: this kind has no such mode.
        """
        for mode in self.modes:
            if mode.name == name:
                return mode
        known = ", ".join(m.name for m in self.modes)
        raise CatalogueError(f"a {self.kind} has no failure mode {name!r}; it has: {known}")


def role_path(reference: str, wiring: Wiring) -> str:
    """The reference with the name of a matrix replaced by what it is.

    A definition may call its lamp matrix anything: ``upper lamps/C1R1/diode`` has the role
    ``lamp matrix/C1R1/diode``.
    """
    root, slash, rest = reference.partition("/")
    matrix = wiring.matrices.get(root)
    return f"{matrix.device} matrix{slash}{rest}" if matrix is not None else reference


@dataclass(frozen=True, slots=True)
class ServiceRule:
    """The role of a part, told by its reference.

    ``pattern`` is matched on the whole role path (``*`` is any text; see :func:`role_path`),
    ``kinds`` limits it to part kinds (empty: all). ``factor`` multiplies the rate; ``use`` names
    another row of modes; ``damage`` is what the modes that warn of damage warn of in this role.
    """

    pattern: str
    kinds: frozenset[str]
    factor: float
    use: str
    source: str
    damage: str = ""


@dataclass(frozen=True, slots=True)
class CascadeRule:
    """One fault that damages another part with ``probability``.

    ``kinds`` and ``modes`` name the cause; ``damaged`` says which part suffers, by its relation to
    the cause (``drive output``: the output part that drives the same coil), and ``damaged_modes`` how,
    with their shares.
    """

    kinds: frozenset[str]
    modes: frozenset[str]
    damaged: str
    damaged_modes: Mapping[str, float]
    probability: float
    words: str
    source: str


@dataclass(frozen=True, slots=True)
class TimingRule:
    """A way to fail that only timing shows: a rule, not computed from the circuit.

    ``place`` says which parts: the ``firing switch`` of a coil that a switch fires by itself, or the
    contact at a flipper's ``end of stroke``; ``kinds`` the part kinds there. ``share`` is how often it
    happens against all failures of the part that the circuit shows; ``twice`` the share of firings that it
    makes double.
    """

    place: str
    kinds: frozenset[str]
    name: str
    share: float
    twice: float
    words: str
    repair: Repair
    source: str


@dataclass(frozen=True, slots=True)
class ConditionRule:
    """What a condition does to rates: multiplies modes (empty: all) of kinds (empty: all)."""

    name: ConditionName
    near: bool
    kinds: frozenset[str]
    modes: frozenset[str]
    factor: float
    source: str

    def fits(self, kind: str, mode: str) -> bool:
        """Whether the rule speaks of this mode of this kind (a row name of the catalogue)."""
        return (not self.kinds or kind in self.kinds) and (not self.modes or mode in self.modes)


@dataclass(frozen=True, slots=True)
class Catalogue:
    """All rows and rules.

    ``kinds`` is keyed by part kind, and by role (``stub``, ``coil_diode``) where a service rule
    uses one. ``digest`` is the SHA-256 of the content, for pinning a case.
    """

    kinds: Mapping[str, KindFaults]
    service: tuple[ServiceRule, ...]
    conditions: tuple[ConditionRule, ...]
    digest: str
    cascades: tuple[CascadeRule, ...] = ()
    timing: tuple[TimingRule, ...] = ()
    _service_of: dict[str, tuple[ServiceRule, ...]] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )

    def _rules_of(self, kind: str) -> tuple[ServiceRule, ...]:
        """The service rules that speak of this part kind, by its own name or of every kind."""
        known = self._service_of.get(kind)
        if known is None:
            known = tuple(rule for rule in self.service if not rule.kinds or kind in rule.kinds)
            self._service_of[kind] = known
        return known

    def faults_of(self, part: Part, wiring: Wiring) -> tuple[KindFaults, float]:
        """The modes that a part can fail in, and the factor on its kind's rate.

        Args:
            part: the part, or a latent bridge.
            wiring: the machine, which says what its matrices are.

        Returns:
            The row of modes and the product of the factors of every service rule that fits.

        Raises:
            CatalogueError: the catalogue has no row for this kind.
        """
        row, factor = part.kind, 1.0
        role = role_path(part.reference, wiring)
        for rule in self._rules_of(part.kind):
            if fnmatchcase(role, rule.pattern):
                factor *= rule.factor
                row = rule.use or row
        if row not in self.kinds:
            raise CatalogueError(
                f"the fault catalogue has no row [kind.{row}], which part {part.reference} needs;"
                f" it knows: {', '.join(sorted(self.kinds))}"
            )
        return self.kinds[row], factor

    def damage_of(self, part: Part, mode: Mode, wiring: Wiring) -> str:
        """What to beware of with this mode of this part: what its role says (the last rule that does), or
        else its row; nothing where the row does not warn.
        """
        warning = [r for r in self._rules_of(part.kind) if r.damage] if mode.damage else []
        if not warning:
            return mode.damage
        role = role_path(part.reference, wiring)
        said = [r.damage for r in warning if fnmatchcase(role, r.pattern)]
        return said[-1] if said else mode.damage


@lru_cache(maxsize=1)
def load_catalogue() -> Catalogue:
    """The catalogue that comes with the package.

    Raises:
        CatalogueError: the file does not parse or breaks a rule; the message lists every mistake.
    """
    from matrixdoc.faults.reading import read_catalogue

    text = resources.files("matrixdoc.faults").joinpath("catalogue.toml").read_text(encoding="utf-8")
    return read_catalogue(text, "catalogue.toml")
