"""What all driven circuits have in common: feed wire, winding, diode, driven wire, drive to ground.

The supply is always present at one lug (feed wire); the drive pulls the other lug to ground. The
diode across a winding has its cathode at the supply lug, its anode at the driven lug.
"""

from __future__ import annotations

from dataclasses import dataclass

from matrixdoc.definition.compile_builder import Builder, FormPath, coloured
from matrixdoc.definition.compile_drives import Decoder, output_part, signal_path
from matrixdoc.definition.compile_supplies import feed_net, fuse_part, known_supply
from matrixdoc.definition.schema_boards import FuseForm
from matrixdoc.definition.schema_matrices import DrivePath
from matrixdoc.definition.wiring import GROUND, Origin


@dataclass(frozen=True)
class Load:
    """One driven circuit while it is wired: its names and where it was said."""

    prefix: str
    words: str
    path: FormPath
    place: str
    board: str


def make_load(
    builder: Builder, prefix: str, words: str, facts: DrivePath, path: FormPath, place: str = "playfield"
) -> Load:
    """Look up board and place of a driven circuit."""
    board = builder.board(facts.board, (*path, "board"), builder.drive_board)
    return Load(prefix, words, path, builder.place(facts.place, (*path, "place"), place), board)


def ground_drive(
    builder: Builder,
    load: Load,
    facts: DrivePath,
    style: str,
    usual: str,
    inner: str,
    *,
    prefix: str = "",
    from_logic: bool = True,
    chosen: tuple[Decoder, int] | None = None,
) -> str:
    """The drive from ``inner`` to ground, with its signal path; returns the drive's reference.

    ``chosen``: the decoder that picks it, and the number of its output there.
    """
    styles = builder.styles.output
    name = style or usual
    if style and not builder.known(style, styles, "an output style", (*load.path, "style")):
        name = usual
    made = styles[name]
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
        nets = (inner, GROUND)
    output = output_part(builder, prefix, load.words, made.driver, nets, facts, made.type, load.board)
    select = chosen[0].select(chosen[1]) if chosen else ()
    return builder.drive(f"{prefix}/drive", load.words, signal, output, select)


def supply_lug(
    builder: Builder,
    load: Load,
    feed: str | None,
    supply: str | None,
    usual: str,
    fuse: FuseForm | None,
    lug: str,
) -> str:
    """The feed wire from a feed (or a supply's own, made where none is described) to a lug."""
    path = load.path
    if feed and builder.known(feed, builder.form.feeds, "a feed", (*path, "feed")):
        name = feed
    else:
        name = known_supply(builder, supply, usual, (*path, "supply"))
    net = feed_net(builder, name)
    before = ""
    chain = builder.feed_chains.get(name, ())
    if load.prefix in chain:
        index = chain.index(load.prefix)
        if index:
            before = f" from that of {chain[index - 1].replace('/', ' ')}"
            net = f"{chain[index - 1]}/supplied"
    if fuse is not None and fuse.fitted:
        fused = f"{load.prefix}/fused"
        fuse_part(builder, f"{load.prefix}/fuse", load.words, (net, fused), fuse, load.place, (*path, "fuse"))
        net = fused
    words = builder.form.feeds[name].wire if name in builder.form.feeds else ""
    return builder.add(
        f"{load.prefix}/feed",
        "wire",
        (net, lug),
        title=f"{load.words}, feed wire{coloured(words)} to its supply lug{before}",
        place=load.place,
        colour=words,
        origin="stated" if load.prefix in chain else "assumed",
    )


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


def add_diode(
    builder: Builder, reference: str, load: Load, driven: str, supply_lug_net: str, stated: str
) -> str:
    """The diode across a winding; ``none`` means that none is fitted there."""
    if stated.lower() == "none":
        return ""
    return builder.add(
        reference,
        "diode",
        (driven, supply_lug_net),
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
