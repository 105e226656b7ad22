"""Supplies and feeds: from the winding to the rail, and from the rail into the harness."""

from __future__ import annotations

import math

from matrixdoc.definition.compile_builder import Builder, FormPath, coloured, named
from matrixdoc.definition.compile_interlocks import interlock_net
from matrixdoc.definition.fuse_words import fuse_title
from matrixdoc.definition.schema_boards import BridgeForm, FeedForm, FuseForm, SupplyForm
from matrixdoc.definition.styles import SupplyStyle
from matrixdoc.definition.wiring import GROUND, Supply


def _style(builder: Builder, name: str) -> SupplyStyle:
    styles = builder.styles.supply
    return styles.get(name, styles["other"])


def fuse_part(
    builder: Builder,
    reference: str,
    words: str,
    nets: tuple[str, str],
    facts: FuseForm | None,
    place: str,
    path: FormPath,
    otherwise_a: float | None = None,
) -> str:
    """Add a fuse; without ``facts`` it is an assumed one of ``otherwise_a`` amperes."""
    stated = facts or FuseForm()
    rating = stated.rating if stated.rating is not None else otherwise_a
    return builder.add(
        reference,
        "fuse",
        nets,
        title=f"{words}, {fuse_title(stated.name, stated.rating, stated.blow)}",
        place=builder.place(stated.place, (*path, "place"), place),
        values={"rated_a": rating} if rating is not None else None,
        type_name=stated.blow,
        alias=(stated.name,),
        origin="stated" if facts else "assumed",
        note=stated.note,
    )


def winding_volts(
    rail_v: float, *, alternating: bool, filtered: bool, regulated: bool, bridge_v: float, headroom_v: float
) -> float:
    """RMS volts of a winding that makes ``rail_v``.

    Filtered: peak less the bridge gives the rail (plus a regulator's headroom). Unfiltered: the
    mean of a full-wave rectified sine is ``2 sqrt(2) / pi`` of its RMS value.
    """
    if alternating:
        return rail_v
    raw = rail_v + (headroom_v if regulated else 0.0) + bridge_v
    return raw / math.sqrt(2.0) if filtered else raw * math.pi / (2.0 * math.sqrt(2.0))


def supply_rail(builder: Builder, name: str) -> str:
    """The rail net of a supply, which is built when it is first asked for."""
    if name not in builder.supplies:
        _build_supply(builder, name, builder.form.supplies.get(name))
    return builder.supplies[name].rail


def _build_supply(builder: Builder, name: str, stated: SupplyForm | None) -> None:
    form = stated or SupplyForm()
    style = _style(builder, name)
    source = builder.styles.source
    path: FormPath = ("supplies", name)
    prefix, rail = f"supply/{name}", f"rail/{name}"
    board = builder.board(form.board, (*path, "board"))
    home = builder.board_place(board) if board else builder.place(None, path, "cabinet")
    place = builder.place(form.place, (*path, "place"), home)
    title = form.title or (style.title if name in builder.styles.supply else f"{name} supply")
    words = title
    bare_style = stated is None or (form.volts is None and form.bridge is None)
    alternating = form.alternating or (bare_style and style.alternating)
    bridge = form.bridge or BridgeForm()
    rectified = bridge.fitted and not alternating
    regulated = form.regulator is not None or (bare_style and style.regulated and not alternating)
    capacitance = (
        form.capacitor if form.capacitor is not None else (0.0 if alternating else style.capacitance_f)
    )
    volts = form.volts if form.volts is not None else style.volts
    winding_v = form.winding or winding_volts(
        volts,
        alternating=alternating or not rectified,
        filtered=capacitance > 0,
        regulated=regulated,
        bridge_v=source.bridge_v,
        headroom_v=source.headroom_v,
    )
    # -- the alternating side, in order from the winding
    far = GROUND if alternating or not rectified else f"{prefix}/winding2"
    net = f"{prefix}/winding1"
    ac_parts = [
        builder.add(
            f"{prefix}/winding",
            "winding",
            (net, far),
            title=f"{words}, transformer winding {winding_v:.3g} V",
            place=place,
            values={"ohm": form.winding_ohms} if form.winding_ohms else None,
            origin="stated" if form.winding else "assumed",
        )
    ]
    last = rail if alternating or not rectified else f"{prefix}/fused"
    fused = form.winding_fuse is None or form.winding_fuse.fitted
    for kind, title_words in (("pin", "connector pin of the winding"), ("wire", "wire from the winding")):
        after = last if kind == "wire" and not fused else f"{prefix}/{kind}"
        ac_parts.append(
            builder.add(f"{prefix}/{kind}", kind, (net, after), title=f"{words}, {title_words}", place=place)
        )
        net = after
    if fused:
        fuse_path: FormPath = (*path, "winding_fuse")
        ac_parts.append(
            fuse_part(
                builder,
                f"{prefix}/fuse",
                words,
                (net, last),
                form.winding_fuse,
                place,
                fuse_path,
                style.fuse_a,
            )
        )
    # -- rectifier, capacitor, regulator
    raw = f"{prefix}/raw" if regulated else rail
    rectifiers: list[str] = []
    if rectified:
        ends = ((last, raw), (far, raw), (GROUND, last), (GROUND, far))
        for number, nets in enumerate(ends, start=1):
            rectifiers.append(
                builder.add(
                    f"{prefix}/rectifier{number}",
                    "rectifier",
                    nets,
                    title=f"{words}, diode {number} of the bridge{named(bridge.name, bridge.type)}",
                    place=builder.place(bridge.place, (*path, "bridge", "place"), place),
                    type_name=bridge.type or builder.styles.defaults.rectifier,
                    board=board,
                    alias=(bridge.name,),
                    origin="stated" if form.bridge else "assumed",
                    note=bridge.note,
                )
            )
    capacitor = regulator = ""
    if capacitance > 0:
        capacitor = builder.add(
            f"{prefix}/capacitor",
            "electrolytic",
            (raw, GROUND),
            title=f"{words}, capacitor {capacitance * 1e6:g} uF",
            place=place,
            board=board,
            values={"capacitance_f": capacitance},
            origin="stated" if form.capacitor else "assumed",
        )
    if regulated:
        regulator = builder.add(
            f"{prefix}/regulator",
            "regulator",
            (raw, rail),
            title=f"{words}, regulator{named(form.regulator or '')}",
            place=place,
            board=board,
            alias=(form.regulator or "",),
            origin="stated" if form.regulator else "assumed",
        )
    usual = (
        source.alternating_ohm
        if alternating
        else source.regulated_ohm
        if regulated
        else source.unregulated_ohm
    )
    builder.supplies[name] = Supply(
        name=name,
        title=words,
        rail=rail,
        nominal_v=volts,
        stiff=regulated if form.stiff is None else form.stiff,
        source_ohm=form.source or usual,
        winding_v=winding_v,
        ac_parts=tuple(ac_parts),
        rectifiers=tuple(rectifiers),
        capacitor=capacitor,
        regulator=regulator,
        load_a=form.load if form.load is not None else style.load_a,
        alternating=alternating,
    )


def feed_net(builder: Builder, name: str) -> str:
    """The harness end of a feed: rail, fuse, header joint, pin, wire. Built when first asked for.

    A name that is no described feed is that of a supply: its feed is made up, without a fuse of
    its own.
    """
    if name in builder.feed_nets:
        return builder.feed_nets[name]
    form = builder.form.feeds.get(name) or FeedForm(supply=name)
    path: FormPath = ("feeds", name)
    prefix = f"feed/{name}"
    rail = supply_rail(builder, form.supply)
    if form.interlock is not None and form.interlock in builder.form.interlocks:
        rail = interlock_net(builder, form.interlock, rail)
    board = builder.board(form.board, (*path, "board"), builder.drive_board)
    words = form.title or f"{name} feed"
    inner = rail
    if form.fuse is not None and form.fuse.fitted:
        inner = f"{prefix}/fused"
        place = builder.board_place(board)
        fuse_part(builder, f"{prefix}/fuse", words, (rail, inner), form.fuse, place, (*path, "fuse"))
    outer, _ = builder.harness(prefix, inner, words, form.pin, board, path)
    end = f"{prefix}/end"
    colour = coloured(form.wire)
    builder.add(
        f"{prefix}/wire",
        "wire",
        (outer, end),
        title=f"{words} wire{colour}, from its pin to the first lug",
        place=builder.place(form.place, (*path, "place"), "playfield"),
        colour=form.wire,
        origin="stated" if form.wire else "assumed",
    )
    builder.line_nets[f"feed {name}"] = outer
    builder.feed_nets[name] = end
    return end


def known_supply(builder: Builder, name: str | None, usual: str, path: FormPath) -> str:
    """The stated supply, or the usual one; an unknown name is a problem and gives the usual one."""
    if not name:
        return usual
    return name if builder.known_supply(name, path) else usual


def rail_of(
    builder: Builder,
    supply: str | None,
    usual: str,
    path: FormPath,
    feed: str | None = None,
    feed_path: FormPath = (),
) -> tuple[str, float]:
    """The net that feeds a circuit and its nominal volts: the end of a feed, or a rail itself."""
    if feed and builder.known(feed, builder.form.feeds, "a feed", feed_path):
        name = builder.form.feeds[feed].supply
        if name in builder.supply_names():
            return feed_net(builder, feed), builder.supplies[name].nominal_v
        return "rail/" + name, 0.0
    name = known_supply(builder, supply, usual, path)
    rail = supply_rail(builder, name)
    return rail, builder.supplies[name].nominal_v
