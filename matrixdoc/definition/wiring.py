"""The resolved wiring of one machine: what every later room reads.

A definition file (the authoring form) is compiled to a :class:`Wiring`: a flat list of parts
between nets, with the drives that command them, the sensors that read them, the supplies that
feed them and the places where a person reaches them. Every default is filled in, and every part
says whether its facts were stated, came from a drive style, or were assumed.

Units: volts, ohms, amperes, henry, farads, watts, minutes, milliseconds, as each name says.
Nothing here computes anything; all values are immutable.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

Origin = Literal["stated", "style default", "assumed"]
ChainOrder = Literal["known", "assumed", "unknown"]

GROUND = "ground"


@dataclass(frozen=True, slots=True)
class Part:
    """Whatever can fail, or be put between two leads of a meter.

    ``reference`` is for ever: it is derived from the place by the published grammar (see
    DEVELOPERS.md), for example ``switch/C3/segment2``. ``nets`` are the terminals in the order of
    the kind (see ``circuit/kinds.toml``); a part of the signal layer has no nets.
    ``values`` override the healthy values of the kind. ``aliases`` are what is printed on the
    machine, free text. ``verified``: somebody looked at the machine, and it is so.
    """

    reference: str
    kind: str
    nets: tuple[str, ...] = ()
    values: Mapping[str, float] = field(default_factory=dict)
    title: str = ""
    place: str = ""
    board: str = ""
    connector: str = ""
    position: int | None = None
    colour: str = ""
    type_name: str = ""
    aliases: tuple[str, ...] = ()
    origin: Origin = "assumed"
    note: str = ""
    verified: bool = False


@dataclass(frozen=True, slots=True)
class Drive:
    """One command line: the discrete path from the logic to an output part.

    ``path`` lists the signal parts in order (logic output, link pin, pre-driver, ...), ``output``
    is the part that conducts while the drive is active (and, for a push-pull stage, the other way
    while it is idle). A break in the path leaves the output at ``open_input``.
    ``select`` is filled where a decoder picks this drive: pairs of (select line signal part,
    wanted bit); the decoder itself is a part of ``path``.
    """

    reference: str
    title: str
    path: tuple[str, ...]
    output: str
    open_input: Literal["active", "idle"] = "idle"
    select: tuple[tuple[str, int], ...] = ()


@dataclass(frozen=True, slots=True)
class Sensor:
    """One input of the logic: a threshold on a net.

    At or below ``low_v`` the input reads low, at or above ``high_v`` high, between them nobody
    can say. ``closed_reads`` is the level that means "closed". ``floating`` is what an
    unconnected input does. ``path`` lists the signal parts behind the input part.
    """

    reference: str
    net: str
    low_v: float
    high_v: float
    closed_reads: Literal["low", "high"] = "low"
    floating: Literal["low", "high", "undefined"] = "undefined"
    path: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Line:
    """A column or a row of a matrix. ``key`` is ``C3`` or ``R5``.

    ``board_net`` is the net at the drive or sensing part; ``lug_nets`` are the nets of the lugs in
    chain order; ``lugs_before``, filled where the wire branches, is the position in it of the lug that
    the wire to each comes from, -1 for the connector. ``drive`` names the :class:`Drive` (strobed or
    driven lines), ``sensor`` the :class:`Sensor` (switch rows). ``parts`` lists every part of the line
    in order from the board.
    ``verified``: somebody looked at the machine, and what is said of the line is so.
    """

    key: str
    title: str
    board_net: str
    lug_nets: tuple[str, ...]
    drive: str = ""
    sensor: str = ""
    chain_order: ChainOrder = "assumed"
    parts: tuple[str, ...] = ()
    colour: str = ""
    verified: bool = False
    lugs_before: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Cell:
    """A place of a matrix. ``reference`` is ``switch/C3R5``; ``element`` is what closes, glows or pulls
    there. ``verified``: somebody looked at the machine, and the device of that name is at that place.
    """

    reference: str
    column: str
    row: str
    title: str
    element: str
    diode: str = ""
    aliases: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    verified: bool = False


@dataclass(frozen=True, slots=True)
class Matrix:
    """A switch or lamp (or coil) matrix. ``cells`` holds the fitted places only.

    ``scan_ms`` is the time for one whole scan. ``strobed`` says which lines are active one at a
    time: the columns in almost every machine.
    """

    name: str
    device: Literal["switch", "lamp", "coil"]
    columns: tuple[Line, ...]
    rows: tuple[Line, ...]
    cells: tuple[Cell, ...]
    strobed: Literal["columns", "rows"] = "columns"
    scan_ms: float = 16.0


@dataclass(frozen=True, slots=True)
class Switch:
    """Any switch a person can press: in a matrix (``matrix`` filled) or wired directly."""

    reference: str
    title: str
    contact: str
    matrix: str = ""
    sensor: str = ""
    normally_closed: bool = False


@dataclass(frozen=True, slots=True)
class Opto:
    """An optical pair that does the work of a contact; ``reference`` is that of its switch.

    ``emitter`` sends light to ``receiver`` (kind phototransistor, which conducts while light
    arrives) until something stands in the beam. ``parts`` lists what feeds the emitter, in order
    from the net ``feed`` to ground. ``contact`` is the part that conducts in the place of a contact:
    the receiver itself, which then is a contact that opens when the beam is interrupted; or, where
    ``sensor`` is filled, the output of a buffer, which conducts while that sensor reads closed, that
    is while the receiver is dark.
    """

    reference: str
    emitter: str
    receiver: str
    contact: str
    feed: str
    parts: tuple[str, ...] = ()
    sensor: str = ""


@dataclass(frozen=True, slots=True)
class Lamp:
    """Any lamp: in a matrix, or with its own drive, or on an undriven (always on) line."""

    reference: str
    title: str
    element: str
    matrix: str = ""
    drive: str = ""
    always_on: bool = False


@dataclass(frozen=True, slots=True)
class Coil:
    """A coil (solenoid) or flash lamp that is pulsed.

    ``drive`` is its command. ``fired_by`` names the switch that fires it without the logic (empty:
    the logic fires it), ``trigger`` the sensor that reads that switch on the driver board, where it
    has one of its own. ``enable`` names signal parts without which it does not fire. ``holds``
    marks a winding meant to stay on. ``end_of_stroke`` names the contact that releases the power
    winding, if any. ``also`` names drives that the logic commands together with ``drive``: the
    column of a coil matrix, the relay that switches a shared drive over to this coil. ``matrix``
    is filled for a coil of a matrix.
    """

    reference: str
    title: str
    element: str
    drive: str = ""
    diode: str = ""
    fired_by: str = ""
    enable: tuple[str, ...] = ()
    pulse_ms: float = 50.0
    holds: bool = False
    end_of_stroke: str = ""
    parts: tuple[str, ...] = ()
    trigger: str = ""
    also: tuple[str, ...] = ()
    matrix: str = ""


@dataclass(frozen=True, slots=True)
class Supply:
    """A rail and what makes it.

    ``rail`` is the net that the rectifier (or regulator) delivers to. ``winding_v`` is the RMS
    voltage of the winding. ``ac_parts`` lists winding, fuse and wires of the alternating side in
    order; ``rectifiers`` the diodes of the bridge; ``capacitor`` and ``regulator`` may be empty.
    A ``stiff`` rail bounds the circuits that hang on it instead of being solved with them.
    ``load_a`` is the usual load, for ripple and sag figures. An ``alternating`` rail carries RMS
    volts and no direct ones (general illumination straight from its winding).
    """

    name: str
    title: str
    rail: str
    nominal_v: float
    stiff: bool
    source_ohm: float
    winding_v: float = 0.0
    ac_parts: tuple[str, ...] = ()
    rectifiers: tuple[str, ...] = ()
    capacitor: str = ""
    regulator: str = ""
    load_a: float = 0.0
    alternating: bool = False


@dataclass(frozen=True, slots=True)
class Place:
    """Where a person reaches parts. ``minutes`` to open it; ``power_off`` if it must be off."""

    key: str
    title: str
    minutes: float
    power_off: bool = False


@dataclass(frozen=True, slots=True)
class Connector:
    """A connector and its positions in order; an empty string is a position without a wire."""

    key: str
    title: str
    board: str
    pins: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Wiring:
    """Everything about one machine. ``digest`` pins the definition that a case was made with."""

    title: str
    parts: Mapping[str, Part]
    drives: Mapping[str, Drive]
    sensors: Mapping[str, Sensor]
    matrices: Mapping[str, Matrix]
    switches: Mapping[str, Switch]
    lamps: Mapping[str, Lamp]
    coils: Mapping[str, Coil]
    supplies: Mapping[str, Supply]
    places: Mapping[str, Place]
    connectors: Mapping[str, Connector]
    neighbours: tuple[tuple[str, str, str], ...] = ()
    """Pairs of nets that lie side by side: (net, net, where), candidates for a bridge."""
    self_tests: frozenset[str] = frozenset({"switch scan", "lamp test", "coil test"})
    notes: tuple[str, ...] = ()
    digest: str = ""
    batteries: tuple[str, ...] = ()
    """Boards that carry a battery."""
    optos: Mapping[str, Opto] = field(default_factory=dict)
    """Optical pairs, by the reference of their switch."""
