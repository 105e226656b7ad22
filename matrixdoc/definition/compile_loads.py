"""What all driven circuits have in common: feed wire, winding, diode, driven wire, drive.

On the low side the supply is always present at one lug (feed wire) and the drive pulls the other
lug to ground. On the high side the drive switches the supply to one lug and a return wire keeps the
other at ground. Either way the diode across a winding has its cathode at the lug that is the more
positive one while the drive is on, and a winding names its driven lug last.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from matrixdoc.definition.compile_builder import Builder, FormPath, coloured
from matrixdoc.definition.compile_drives import Decoder, output_part, signal_path
from matrixdoc.definition.compile_supplies import feed_net, fuse_part, known_supply
from matrixdoc.definition.errors import choice, quoted
from matrixdoc.definition.schema_boards import FuseForm
from matrixdoc.definition.schema_loads import ReturnForm
from matrixdoc.definition.schema_matrices import DrivePath
from matrixdoc.definition.styles import OutputStyle
from matrixdoc.definition.wiring import GROUND, Origin


@dataclass(frozen=True)
class Load:
    """One driven circuit while it is wired: its names and where it was said."""

    prefix: str
    words: str
    path: FormPath
    place: str
    board: str


@dataclass(frozen=True)
class Sides:
    """The nets around one load: its lug that is always at supply or ground, its driven lug, and what
    the drive switches to. ``parts`` are the wires to the first lug (and a fuse), in order.
    """

    lug: str
    driven: str
    switched_to: str
    parts: tuple[str, ...]

    @property
    def high_side(self) -> bool:
        """Whether the drive stands between supply and load."""
        return self.switched_to != GROUND


def make_load(
    builder: Builder, prefix: str, words: str, facts: DrivePath, path: FormPath, place: str = "playfield"
) -> Load:
    """Look up board and place of a driven circuit."""
    board = builder.board(facts.board, (*path, "board"), builder.drive_board)
    return Load(prefix, words, path, builder.place(facts.place, (*path, "place"), place), board)


def high_side(builder: Builder, style: str, usual: str) -> bool | None:
    """Whether a drive of that style stands on the supply's side; ``None`` where the style is unknown."""
    styles = builder.styles.output
    return None if style and style not in styles else styles[style or usual].high_side


def sides_of(
    builder: Builder,
    load: Load,
    facts: ReturnForm,
    supply: tuple[str | None, str | None, str],
    fuse: FuseForm | None,
    *,
    high: bool | None,
    own_drive: bool = True,
) -> Sides:
    """Wire what a load has apart from its driven lug: the supply's wire, or the ground's as well.

    ``supply``: the feed and the supply that are named, and the usual supply. A load on another's
    high-side drive (``own_drive`` false) has no supply of its own. Where nobody knows the side (``high``
    is ``None``) the load is wired as one on the ground side, and no key of it is out of place: the style
    that is not known is told where the drive is made.
    """
    prefix = load.prefix
    supplied, driven = f"{prefix}/supplied", f"{prefix}/driven"
    if not high:
        for field in ("return_pin", "return_wire") if high is False else ():
            if field in facts.model_fields_set:
                found = f"'{field}' of a load that is driven on its ground side"
                builder.problem((*load.path, field), found, "it where the style is a high-side one", key=True)
        parts = supply_lug(builder, load, supply, fuse, supplied)
        return Sides(supplied, driven, GROUND, parts)
    fed = supply_lug(builder, load, supply, fuse, supplied, to_drive=True) if own_drive else ()
    grounded = f"{prefix}/grounded"
    return Sides(grounded, driven, supplied, (*fed, *_return(builder, load, facts, grounded)))


def _return(builder: Builder, load: Load, facts: ReturnForm, grounded: str) -> list[str]:
    """The wire from a lug to ground, over a connector pin where one is stated."""
    net, found = GROUND, []
    at = "ground"
    if facts.return_pin is not None:
        names = ("return header", "return pin", "return pin")
        here: FormPath = (*load.path, "return_pin")
        words = f"{load.words} return"
        net, (joint, pin) = builder.harness(
            load.prefix, GROUND, words, facts.return_pin, load.board, here, names
        )
        at = f"pin {facts.return_pin.position} of connector {facts.return_pin.connector}"
        found = [pin, joint]
    wire = builder.add(
        f"{load.prefix}/return wire",
        "wire",
        (grounded, net),
        title=f"{load.words} return wire{coloured(facts.return_wire)}, from its grounded lug to {at}",
        place=load.place,
        colour=facts.return_wire,
        origin="stated" if facts.return_wire or facts.return_pin else "assumed",
    )
    return [wire, *found]


def output_drive(
    builder: Builder,
    load: Load,
    facts: DrivePath,
    style: str,
    usual: str,
    inner: str,
    *,
    switched_to: str = GROUND,
    prefix: str = "",
    from_logic: bool = True,
    chosen: tuple[Decoder, int] | None = None,
) -> str:
    """The drive from ``inner`` to ground or to the supply, with its signal path; returns its reference.

    ``chosen``: the decoder that picks it, and the number of its output there.
    """
    styles = builder.styles.output
    name = style or usual
    if style and not builder.known(style, styles, "an output style", (*load.path, "style")):
        name = usual
    made = styles[name]
    if made.high_side and switched_to == GROUND:
        lows = [other for other, row in styles.items() if not row.high_side]
        found = f"{quoted(name)} for a drive that pulls to ground"
        builder.problem((*load.path, "style"), found, choice(lows))
        made = styles[usual]
    _driven_once(builder, load, facts, made)
    prefix = prefix or load.prefix
    decoder = chosen[0] if chosen else None
    signal = signal_path(
        builder, prefix, load.words, facts, load.board, load.path, from_logic=from_logic, decoder=decoder
    )
    if made.driver == "changeover":
        # The unused contact of the set is an end of its own.
        nets: tuple[str, ...] = (GROUND, f"{prefix}/unused", inner)
        relay = builder.add(
            f"{prefix}/relay",
            "relay_coil_driver",
            title=f"{load.words}, relay and its driver",
            place=builder.board_place(load.board),
            board=load.board,
        )
        signal = (*signal, relay)
    else:
        nets = (inner, switched_to)
    output = output_part(builder, prefix, load.words, made.driver, nets, facts, made.type, load.board)
    select = chosen[0].select(chosen[1]) if chosen else ()
    return builder.drive(f"{prefix}/drive", load.words, signal, output, select)


_CHIP = re.compile(r"(?:IC|U)\d", re.ASCII | re.IGNORECASE)
"""Integrated circuits by their reference letters (IEEE 315: U; IC is usual too): many drives in one."""


def _driven_once(builder: Builder, load: Load, facts: DrivePath, style: OutputStyle) -> None:
    """Note a transistor or thyristor that is given to two loads; chips and relays have several drives."""
    if not facts.drive or style.several or _CHIP.match(facts.drive):
        return
    name = (load.board, facts.drive.casefold())
    other = builder.drive_uses.setdefault(name, load.words)
    if other != load.words:
        hint = (
            f"{other} has it. Both side by side on it: write one, with the ohms of both together. "
            "Turned over by a relay: 'shares:' and 'relay:'. "
            "One of several in a chip: 'style: low-side array'"
        )
        builder.problem((*load.path, "drive"), f"drive {quoted(facts.drive)} again", "each drive once", hint)


def chained_net(builder: Builder, feed: str, prefix: str) -> tuple[str, str]:
    """The net that ``prefix`` has its supply from on a feed, and words for what comes before it."""
    end = feed_net(builder, feed)
    before = builder.feed_chains.get(feed, {}).get(prefix, "")
    if not before:
        return end, ""
    return f"{before}/supplied", f" from that of {before.replace('/', ' ')}"


def supply_lug(
    builder: Builder,
    load: Load,
    supply: tuple[str | None, str | None, str],
    fuse: FuseForm | None,
    lug: str,
    *,
    to_drive: bool = False,
) -> tuple[str, ...]:
    """The feed wire from a feed (or a supply's own, made where none is described) to a lug.

    Returns a fuse of the load's own, if there is one, and the wire. ``to_drive``: it leads to the
    drive part instead of a lug.
    """
    path = load.path
    feed, stated, usual = supply
    if feed and builder.known(feed, builder.form.feeds, "a feed", (*path, "feed")):
        name = feed
    else:
        name = known_supply(builder, stated, usual, (*path, "supply"))
    net, before = chained_net(builder, name, load.prefix)
    found = []
    if fuse is not None and fuse.fitted:
        fused = f"{load.prefix}/fused"
        fuse_path = (*path, "fuse")
        own = fuse_part(builder, f"{load.prefix}/fuse", load.words, (net, fused), fuse, load.place, fuse_path)
        found.append(own)
        net = fused
    colour = builder.form.feeds[name].wire if name in builder.form.feeds else ""
    end = "its drive part" if to_drive else "its supply lug"
    wire = builder.add(
        f"{load.prefix}/feed",
        "wire",
        (net, lug),
        title=f"{load.words}, feed wire{coloured(colour)}{',' if colour else ''} to {end}{before}",
        place=builder.board_place(load.board) if to_drive else load.place,
        colour=colour,
        origin="stated" if load.prefix in builder.feed_chains.get(name, {}) else "assumed",
    )
    return (*found, wire)


def to_board(
    builder: Builder, load: Load, facts: DrivePath, lug: str, inner: str, prefix: str = ""
) -> list[str]:
    """The driven wire from a lug to its connector pin, and the header joint to ``inner``."""
    prefix = prefix or load.prefix
    outer, (joint, pin) = builder.harness(prefix, inner, load.words, facts.pin, load.board, load.path)
    at = f"pin {facts.pin.position} of connector {facts.pin.connector}" if facts.pin else "the connector pin"
    wire = builder.add(
        f"{prefix}/wire",
        "wire",
        (lug, outer),
        title=f"{load.words} wire{coloured(facts.wire)}, from its driven lug to {at}",
        place=load.place,
        colour=facts.wire,
        origin="stated" if facts.wire else "assumed",
    )
    builder.line_nets[" ".join(prefix.split("/"))] = outer
    return [wire, pin, joint]


def add_diode(builder: Builder, reference: str, load: Load, sides: Sides, stated: str) -> str:
    """The diode across a winding; ``none`` means that none is fitted there.

    It blocks while the drive is on and takes over the current when the drive lets go.
    """
    if stated.lower() == "none":
        return ""
    return builder.add(
        reference,
        "diode",
        (sides.lug, sides.driven) if sides.high_side else (sides.driven, sides.lug),
        title=f"{load.words}, diode across the winding",
        place=load.place,
        type_name=stated or builder.styles.defaults.coil_diode,
        origin="stated" if stated else "style default",
    )


def add_winding(
    builder: Builder,
    reference: str,
    words: str,
    load: Load,
    nets: tuple[str, str],
    ohm: float | None,
    usual_ohm: float,
    henry: float | None = None,
    alias: tuple[str, ...] = (),
) -> str:
    """Add one winding; without ``ohm`` it has the usual resistance."""
    origin: Origin = "stated" if ohm is not None else "style default"
    values = {"ohm": usual_ohm if ohm is None else ohm}
    if henry is not None:
        values["inductance_h"] = henry
    return builder.add(
        reference,
        "coil",
        nets,
        title=f"{load.words}, {words}, {values['ohm']:g} ohm",
        place=load.place,
        values=values,
        alias=alias,
        origin=origin,
    )
