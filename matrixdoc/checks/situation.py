"""What is powered, pressed, commanded and connected at one moment, and what was seen then.

A :class:`Situation` says everything a person set up; a :class:`Look` says what they looked at; a
:class:`Finding` is a situation, a look and what was seen. Findings store their whole situation and
never the number of a generated check, so that they can be replayed on a corrected definition.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

Brightness = Literal["off", "dim", "normal", "bright", "flickers"]
CoilAction = Literal["fires", "fires twice", "weak", "nothing", "locked on", "fires with others"]
MeterFunction = Literal["volts", "ohms", "diode"]
LookKind = Literal[
    "reads", "lamp", "coil", "resting coils", "fuse", "new fuse", "meter", "wiggle", "warm", "warm up"
]

ALL_LAMPS = "all"
OPEN_LOOP = "OL"
NOT_SURE = "not sure"
NO_LOGIC = "no self-test runs: the logic is dead"
"""Stands in a ``reads`` outcome for a machine that shows nothing at all."""


@dataclass(frozen=True, slots=True, order=True)
class Situation:
    """What the person set up. The default: powered, nothing pressed, nothing commanded.

    ``held`` are switch references; ``lamps`` are lamp references, or ``("all",)``; ``pulsed`` is a
    coil reference or empty; ``opened`` are part references that are taken out of circuit (a fuse
    out of its clip, a connector pin unplugged, a lug lifted). ``jumpers`` are clip leads that bridge
    two nets, each written by :func:`jumper`; ``swapped`` are pairs of like parts that sit in each
    other's place, written by :func:`swap`.
    """

    power: bool = True
    held: tuple[str, ...] = ()
    lamps: tuple[str, ...] = ()
    pulsed: str = ""
    opened: tuple[str, ...] = ()
    jumpers: tuple[str, ...] = ()
    swapped: tuple[str, ...] = ()

    @property
    def altered(self) -> bool:
        """Whether the machine's wiring or its parts are not where they belong."""
        return bool(self.opened or self.jumpers or self.swapped)

    def at_rest(self) -> Situation:
        """The same machine with nothing pressed and no jumper on it."""
        return Situation(self.power, opened=self.opened, swapped=self.swapped)


BETWEEN = " ~ "


def jumper(one: str, two: str) -> str:
    """A jumper between two nets, as :attr:`Situation.jumpers` holds it."""
    return BETWEEN.join(sorted((one, two)))


def swap(one: str, two: str) -> str:
    """Two parts in each other's place, as :attr:`Situation.swapped` holds them."""
    return BETWEEN.join(sorted((one, two)))


def both_ends(pair: str) -> tuple[str, str]:
    """The two names that :func:`jumper` or :func:`swap` wrote."""
    one, _, two = pair.partition(BETWEEN)
    return one, two


@dataclass(frozen=True, slots=True, order=True)
class Look:
    """What is looked at.

    ``reads``: the switch scan, the whole of it. ``lamp``: the lamp named by ``target``. ``coil``:
    the coil named by ``target`` when pulsed, or, with a jumper on and nothing pulsed, what the jumper
    makes it do. ``resting coils``: all coils with nothing commanded. ``wiggle`` and ``warm``: whether
    moving the part ``target``, or warming or chilling it, makes the complaint come or go. ``warm up``: how
    the switch, lamp or coil ``target`` does from cold to warm; ``before`` are the warmth looks that were
    made earlier, each as (kind, target, outcome): they say whether what comes and goes follows warmth.
    ``fuse``: the fuse part ``target``, by meter, out of its clip. ``new fuse``: what a new one of the
    marked rating does in its place. ``meter``: ``function`` between
    the nets ``red`` and ``black``.
    """

    kind: LookKind
    target: str = ""
    function: MeterFunction | Literal[""] = ""
    red: str = ""
    black: str = ""
    before: tuple[tuple[str, str, str], ...] = ()


Outcome = frozenset[str] | str | float
"""A set of switch references (``reads``), of coil references (``resting coils``), a word
(``lamp``, ``coil``; ``fuse``: good or open; ``new fuse``: holds, blows at once,
blows after a while; ``wiggle`` and ``warm``: changes or stays; ``warm up``: fails warm, fails cold or no
change), or a number in the unit of the meter function; ``OL`` for an open reading."""


@dataclass(frozen=True, slots=True)
class Finding:
    """A situation, a look and its outcome; ``words`` are the person's own, kept for the log."""

    situation: Situation
    look: Look
    outcome: Outcome
    words: str = ""


@dataclass(frozen=True, slots=True)
class Check:
    """Something to do next: a situation, a look, and what it costs the person.

    ``kind`` is ``look``, ``meter`` or ``act``. For an act ``mends`` lists the parts that are
    repaired, replaced, reseated or cleaned, ``success`` the chance that it cures them, and the
    look is the one that shows it.
    """

    title: str
    kind: Literal["look", "meter", "act"]
    situation: Situation
    look: Look
    minutes: float
    places: tuple[str, ...] = ()
    set_up: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    mends: tuple[str, ...] = ()
    action: Literal["", "clean", "reseat", "swap", "replace", "repair"] = ""
    success: float = 1.0
    risk: float = 0.0
    key: str = field(default="")
