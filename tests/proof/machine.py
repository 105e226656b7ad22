"""What the second expansion makes: elements between nets, rails, commands, inputs, the things to press."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from tests.proof.authoring import part_values

EARTH = "0"


@dataclass(frozen=True, slots=True)
class Element:
    """One part: what it is, its nets by terminal (names of this expansion), its healthy values."""

    reference: str
    kind: str
    nets: tuple[str, ...]
    values: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Rail:
    """A supply as a source at its usual load; an ideal one (``stiff``) holds its nominal volts."""

    name: str
    net: str
    nominal_v: float
    source_ohm: float
    load_a: float
    stiff: bool

    @property
    def open_v(self) -> float:
        """Volts without load, so that the usual load brings them to nominal."""
        return self.nominal_v + self.source_ohm * self.load_a


@dataclass(frozen=True, slots=True)
class Command:
    """Signal parts from the logic on, and the output they command; for a decoder's output the select
    lines, lowest bit first, each as its parts in order, and the number of the output."""

    path: tuple[str, ...]
    output: str
    lines: tuple[tuple[str, ...], ...] = ()
    number: int = 0


@dataclass(frozen=True, slots=True)
class Decoder:
    """A decoder, and the parts of each of its select lines, lowest bit first."""

    part: str
    lines: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class Input:
    """A threshold on the first terminal of a sensing part, and the signal parts behind it."""

    sensing: str
    low_v: float
    high_v: float
    closed: str
    floating: str
    path: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Cell:
    """A fitted place: its lines, its contact or lamp, its diode, whether it rests closed."""

    column: str
    row: str
    element: str
    diode: str
    rests_closed: bool = False


@dataclass
class Grid:
    """A matrix: line keys, drivers by line, inputs by row, fitted cells, which lines strobe."""

    name: str
    style: str
    strobed: str
    columns: tuple[str, ...] = ()
    rows: tuple[str, ...] = ()
    drivers: dict[str, Command] = field(default_factory=dict)
    inputs: dict[str, Input] = field(default_factory=dict)
    cells: dict[str, Cell] = field(default_factory=dict)

    @property
    def phases(self) -> tuple[str, ...]:
        """Keys of the strobed lines."""
        return self.columns if self.strobed == "columns" else self.rows


@dataclass(frozen=True, slots=True)
class Winding:
    """A coil or flash lamp that is pulsed: its element and commands; contacts in series with it that
    rest closed, and contacts that the person closes."""

    reference: str
    element: str
    command: Command
    resting: tuple[str, ...] = ()
    pressed: tuple[str, ...] = ()
    enable: tuple[str, ...] = ()
    also: tuple[Command, ...] = ()

    @property
    def outputs(self) -> set[str]:
        """Everything that must conduct to pull it."""
        return {command.output for command in (self.command, *self.also)}


@dataclass
class Machine:
    """The whole expansion."""

    title: str
    elements: dict[str, Element] = field(default_factory=dict)
    rails: dict[str, Rail] = field(default_factory=dict)
    switches: dict[str, Grid] = field(default_factory=dict)
    lamps: dict[str, Grid] = field(default_factory=dict)
    windings: dict[str, Winding] = field(default_factory=dict)
    direct: dict[str, tuple[str, Input]] = field(default_factory=dict)
    single_lamps: dict[str, tuple[str, Command]] = field(default_factory=dict)
    lights: list[str] = field(default_factory=list)
    resting: list[str] = field(default_factory=list)
    """Contacts of door interlocks: closed while the door is shut."""
    coil_matrices: list[str] = field(default_factory=list)
    rests_closed: set[str] = field(default_factory=set)
    """Direct switches that are closed while nobody presses them."""

    def add(
        self,
        reference: str,
        kind: str,
        *nets: str,
        type_name: str = "",
        values: Mapping[str, float] | None = None,
        **own: float,
    ) -> str:
        """Add a part; a reference is used once."""
        assert reference not in self.elements, reference
        self.elements[reference] = Element(
            reference, kind, nets, part_values(kind, type_name, {**(values or {}), **own})
        )
        return reference

    def net(self, reference: str, terminal: int = 0) -> str:
        """The net at a terminal."""
        return self.elements[reference].nets[terminal]
