"""The second expansion, continued: coils, flash lamps, flippers, direct lamps and switches, illumination."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from tests.proof.authoring import quantity, runs, styles
from tests.proof.machine import EARTH, Command, Decoder, Winding

if TYPE_CHECKING:
    from tests.proof.expansion import Expander


def expand_loads(maker: Expander) -> None:
    """Everything that has a drive, an input or a fused line of its own."""
    form = maker.form
    for key, facts in form.get("direct_switches", {}).items():
        _direct_switch(maker, key, facts)
    for name, facts in form.get("enables", {}).items():
        maker.machine.add(f"enable/{name}/logic", "enable")
        if maker.has_link(facts.get("board", maker.drive_board)):
            maker.machine.add(f"enable/{name}/link", "link_pin")
    shared: dict[str, Command] = {}
    for name, facts in form.get("outputs", {}).items():
        own = f"output/{name}"
        style = facts.get("style") or maker.defaults["shared_output"]
        shared[name] = _output(maker, own, facts, style, f"{own} inner")
    relays = {name: _relay(maker, name, facts) for name, facts in form.get("relays", {}).items()}
    coils = form.get("coils", {})
    shared_by = {facts["shares"]: key for key, facts in coils.items() if "shares" in facts}
    for key, facts in sorted(coils.items(), key=lambda entry: "shares" in entry[1]):
        _coil(maker, key, facts, shared_by)
        if "shares" in facts:
            _changeover(maker, key, facts["shares"], relays[facts["relay"]])
    for key, facts in form.get("flash_lamps", {}).items():
        _flash(maker, key, facts)
    for key, facts in form.get("flippers", {}).items():
        own = f"coil/{key}" if key.endswith(" flipper") else f"coil/{key} flipper"
        if facts.get("end_of_stroke", "high-current") == "high-current":
            _high_current_flipper(maker, own, facts, shared)
        else:
            _low_current_flipper(maker, own, facts)
    decoders = {
        name: maker.decoder(f"decoder/{name}", f"decoder/{name}", facts, maker.drive_board)
        for name, facts in form.get("decoders", {}).items()
    }
    for key, facts in form.get("direct_lamps", {}).items():
        _direct_lamp(maker, key, facts, decoders)
    for key, facts in form.get("illumination", {}).items():
        _illumination(maker, key, facts)


def _output(
    maker: Expander,
    own: str,
    facts: dict[str, Any],
    style: str,
    inner: str,
    other: str = EARTH,
    *,
    from_logic: bool = True,
    decoder: tuple[Decoder, int] | None = None,
) -> Command:
    chosen = styles()["output"][style]
    board, output = maker.drive_board, f"{own}/driver"
    command = maker.command(own, facts, board, output, from_logic=from_logic, decoder=decoder)
    nets: tuple[str, ...] = (inner, other)
    if chosen["driver"] == "changeover":
        nets = (EARTH, f"{own} unused", inner)
        relay = maker.machine.add(f"{own}/relay", "relay_coil_driver")
        command = Command((*command.path, relay), command.output)
    type_name = facts.get("drive_type") or chosen["type"]
    maker.machine.add(f"{own}/driver", chosen["driver"], *nets, type_name=type_name)
    return command


def _chained(maker: Expander, feed: str) -> dict[str, str]:
    """What hangs on a feed, each with what it gets its supply from; nothing for the end of the feed."""
    told = runs(maker.form.get("feeds", {}).get(feed, {}).get("chain", ()))
    own = {name: _root(maker, name) for name, _ in told}
    return {own[name]: own[before] if before else "" for name, before in told}


def _root(maker: Expander, name: str) -> str:
    """The beginning of the references of what a chain calls ``name``."""
    roots = {"": "coil/", "coil ": "coil/", "flash ": "flash/", "direct lamp ": "direct lamp/"}
    roots["illumination "] = "illumination/"
    known = ("coils", ""), ("coils", "coil "), ("flash_lamps", "flash "), ("direct_lamps", "direct lamp ")
    for section, prefix in (*known, ("illumination", "illumination ")):
        key = name.removeprefix(prefix)
        if name.startswith(prefix) and key in maker.form.get(section, {}):
            return roots[prefix] + key
    matrix, _, line = name.rpartition(" ")
    if name in maker.form.get("matrices", {}):
        return name
    if matrix in maker.form.get("matrices", {}):
        return f"{matrix}/{line}"
    # A flipper, its key with or without the word.
    return f"coil/{name}" if name.endswith(" flipper") else f"coil/{name} flipper"


def fed_through(maker: Expander, own: str, feed: str) -> str | None:
    """The net that something in the chain of a feed has its supply from; None if it is in none."""
    order = _chained(maker, feed)
    if own not in order:
        return None
    return f"{order[own]} supplied" if order[own] else maker.feed(feed)


def tap(maker: Expander, own: str, feed: str) -> str | None:
    """A feed wire of its own for a matrix, a line or an illumination line in a chain."""
    net = fed_through(maker, own, feed)
    if net is not None and f"{own}/feed" not in maker.machine.elements:
        maker.machine.add(f"{own}/feed", "wire", net, f"{own} supplied")
    return None if net is None else f"{own} supplied"


def _high_side(style: str) -> bool:
    """Whether a drive of that style stands between supply and load."""
    return styles()["output"][style]["driver"].startswith("high_side")  # type: ignore[no-any-return]


def _ends(
    maker: Expander, own: str, facts: dict[str, Any], usual: str, style: str, *, supply: bool = True
) -> tuple[str, str, str]:
    """The lug that is always at supply or ground, the driven lug, and the far side of the drive."""
    driven = f"{own} driven"
    if not _high_side(style):
        return _supplied(maker, own, facts, usual), driven, EARTH
    fed = _supplied(maker, own, facts, usual) if supply else ""
    back, grounded = EARTH, f"{own} grounded"
    if "return_pin" in facts:
        back = f"{own} returned"
        maker.header(own, EARTH, back, "return header", "return pin")
    maker.machine.add(f"{own}/return wire", "wire", grounded, back)
    return grounded, driven, fed


def _supplied(maker: Expander, own: str, facts: dict[str, Any], usual: str) -> str:
    name = facts.get("feed") or facts.get("supply", usual)
    net = fed_through(maker, own, name) or maker.feed(name)
    if facts.get("fuse", "none") != "none":
        maker.fuse(f"{own}/fuse", net, f"{own} fused", facts["fuse"])
        net = f"{own} fused"
    maker.machine.add(f"{own}/feed", "wire", net, f"{own} supplied")
    return f"{own} supplied"


def _driven_wire(maker: Expander, own: str, lug: str) -> str:
    inner, outside = f"{own} inner", f"{own} outside"
    maker.header(own, inner, outside)
    maker.machine.add(f"{own}/wire", "wire", lug, outside)
    return inner


def _diode(maker: Expander, reference: str, facts: dict[str, Any], anode: str, cathode: str) -> None:
    if facts.get("diode", "").lower() != "none":
        type_name = facts.get("diode") or maker.defaults["coil_diode"]
        maker.machine.add(reference, "diode", anode, cathode, type_name=type_name)


def _relay(maker: Expander, name: str, facts: dict[str, Any]) -> tuple[str, ...]:
    """Signal parts that pull a relay, itself the last."""
    own = f"relay/{name}"
    path = maker.command(own, facts, maker.drive_board, "").path
    return (*path, maker.machine.add(f"{own}/relay", "relay_coil_driver"))


def _changeover(maker: Expander, second: str, first: str, signal: tuple[str, ...]) -> None:
    """The contact set that sends one drive to either of two coils."""
    own, windings = f"coil/{first}", maker.machine.windings
    contacts = f"{own}/changeover"
    ends = (f"{own} common", f"{own} inner", f"coil/{second} inner")
    maker.machine.add(contacts, "changeover", *ends)
    command = windings[own].command
    other = windings[f"coil/{second}"]
    windings[other.reference] = replace(other, command=command, also=(Command(signal, contacts),))


def _coil(maker: Expander, key: str, facts: dict[str, Any], shared_by: dict[str, str]) -> None:
    own, defaults = f"coil/{key}", maker.defaults
    driving = maker.form["coils"][facts["shares"]] if "shares" in facts else facts
    style = driving.get("style") or defaults["coil_output"]
    lug, driven, other = _ends(maker, own, facts, "coil", style, supply=driving is facts)
    ohm = quantity(facts.get("resistance"), defaults["coil_ohm"])
    henry = {"inductance_h": quantity(facts["inductance"])} if "inductance" in facts else {}
    maker.machine.add(f"{own}/winding", "coil", lug, driven, ohm=ohm, values=henry)
    # The cathode is at the lug that is positive while the drive is on.
    anode, cathode = (lug, driven) if _high_side(style) else (driven, lug)
    _diode(maker, f"{own}/diode", facts, anode, cathode)
    inner = _driven_wire(maker, own, driven)
    if "shares" in facts:
        command = Command((), "")  # it gets that of the other coil
    else:
        at_drive = f"{own} common" if key in shared_by else inner
        from_logic = not facts.get("fired_by")
        command = _output(maker, own, facts, style, at_drive, other, from_logic=from_logic)
    stated = facts.get("enable", ())
    enables = tuple(
        f"enable/{name}/{part}"
        for name in ([stated] if isinstance(stated, str) else stated)
        for part in ("logic", "link")
        if f"enable/{name}/{part}" in maker.machine.elements
    )
    maker.machine.windings[own] = Winding(own, f"{own}/winding", command, enable=enables)


def _flash(maker: Expander, key: str, facts: dict[str, Any]) -> None:
    own, style = f"flash/{key}", facts.get("style") or maker.defaults["flash_output"]
    lug, driven, other = _ends(maker, own, facts, "coil", style)
    far, ohm = driven, quantity(facts.get("resistor"))
    if ohm:
        far = f"{own} limited"
        maker.machine.add(f"{own}/resistor", "resistor", far, driven, ohm=ohm)
    type_name = facts.get("lamp") or maker.defaults["flash_lamp"]
    maker.machine.add(f"{own}/lamp", "lamp", lug, far, type_name=type_name)
    inner = _driven_wire(maker, own, driven)
    command = _output(maker, own, facts, style, inner, other)
    maker.machine.windings[own] = Winding(own, f"{own}/lamp", command)


def _high_current_flipper(
    maker: Expander, own: str, facts: dict[str, Any], shared: dict[str, Command]
) -> None:
    add, defaults = maker.machine.add, maker.defaults
    supplied, middle, driven = _supplied(maker, own, facts, "coil"), f"{own} between", f"{own} driven"
    ohms = [quantity(facts.get(side), defaults[f"flipper_{side}_ohm"]) for side in ("power", "hold")]
    add(f"{own}/power", "coil", supplied, middle, ohm=ohms[0])
    add(f"{own}/hold", "coil", middle, driven, ohm=ohms[1])
    add(f"{own}/eos", "contact", middle, driven)
    _diode(maker, f"{own}/diode", facts, driven, supplied)
    add(f"{own}/wire", "wire", driven, f"{own} at the button")
    add(f"{own}/button", "contact", f"{own} at the button", f"{own} behind the button")
    output = facts.get("output")
    inner = f"output/{output} inner" if output in shared else f"{own} inner"
    maker.header(own, inner, f"{own} outside")
    add(f"{own}/button wire", "wire", f"{own} behind the button", f"{own} outside")
    if output in shared:
        command = shared[output]
    else:
        style = facts.get("style") or defaults["shared_output"]
        command = _output(maker, own, facts, style, inner)
    eos, button = (f"{own}/eos",), (f"{own}/button",)
    for side in ("power", "hold"):
        maker.machine.windings[f"{own}/{side}"] = Winding(
            f"{own}/{side}", f"{own}/{side}", command, eos, button
        )


def _low_current_flipper(maker: Expander, own: str, facts: dict[str, Any]) -> None:
    defaults = maker.defaults
    style = facts.get("style") or defaults["coil_output"]
    lug, _, other = _ends(maker, own, facts, "coil", style)
    sides = (("power", own, facts), ("hold", f"{own}/hold drive", facts.get("hold_drive", {})))
    for side, prefix, drive in sides:
        driven = f"{own} {side} driven"
        ohm = quantity(facts.get(side), defaults[f"flipper_{side}_ohm"])
        maker.machine.add(f"{own}/{side}", "coil", lug, driven, ohm=ohm)
        anode, cathode = (lug, driven) if _high_side(style) else (driven, lug)
        _diode(maker, f"{own}/{side} diode", facts, anode, cathode)
        inner = _driven_wire(maker, prefix, driven)
        command = _output(maker, prefix, drive, style, inner, other)
        maker.machine.windings[f"{own}/{side}"] = Winding(f"{own}/{side}", f"{own}/{side}", command)


def _direct_lamp(maker: Expander, key: str, facts: dict[str, Any], decoders: dict[str, Decoder]) -> None:
    own, defaults = f"direct lamp/{key}", maker.defaults
    style, inside = facts.get("style") or defaults["lamp_output"], f"{own} inside"
    lug, driven, other = _ends(maker, own, facts, "lamp", style)
    led = facts.get("element") == "LED"
    maker.machine.add(f"{own}/socket", "joint", lug, inside)
    type_name = facts.get("lamp") or defaults["led" if led else "lamp"]
    flow = (driven, inside) if _high_side(style) else (inside, driven)
    maker.machine.add(f"{own}/lamp", "led" if led else "lamp", *flow, type_name=type_name)
    inner = _driven_wire(maker, own, driven)
    decoder = (decoders[facts["decoder"]], int(facts["output"])) if "decoder" in facts else None
    command = _output(maker, own, facts, style, inner, other, decoder=decoder)
    maker.machine.single_lamps[own] = (f"{own}/lamp", command)


def _direct_switch(maker: Expander, key: str, facts: dict[str, Any]) -> None:
    own, add = f"direct switch/{key}", maker.machine.add
    heard = facts.get("read_by", "logic") == "logic"
    home = (maker.link_boards[0] if maker.link_boards else maker.drive_board) if heard else maker.drive_board
    board = facts.get("board", home)
    rail, inner = maker.rail(facts.get("supply", "logic")), f"{own} inner"
    ohm = quantity(facts.get("pull"), maker.defaults["direct_pull_ohm"])
    add(f"{own}/pull", "resistor", inner, rail.net, ohm=ohm)
    style = styles()["sensing"][facts.get("sensing") or maker.defaults["sensing"]]
    made = maker.sensing(own, inner, style, "", rail, "low")
    path = []
    if heard:
        if "link" in facts or (maker.link_boards and board == maker.drive_board):
            path.append(add(f"{own}/link", "link_pin"))
        path.append(add(f"{own}/input", "logic_input"))
    maker.header(own, inner, f"{own} outside")
    add(f"{own}/wire", "wire", f"{own} outside", f"{own} near")
    contact, closed = f"{own}/contact", facts.get("normally") == "closed"
    if facts.get("element") == "opto":
        contact, closed = maker.optical_pair(own, facts.get("opto", {}), (f"{own} near", f"{own} far"))
    else:
        add(contact, "contact", f"{own} near", f"{own} far")
    add(f"{own}/return", "wire", f"{own} far", EARTH)
    if heard:
        behind = type(made)(made.sensing, made.low_v, made.high_v, made.closed, made.floating, tuple(path))
        maker.machine.direct[own] = (contact, behind)
        if closed:
            maker.machine.rests_closed.add(own)


def _illumination(maker: Expander, key: str, facts: dict[str, Any]) -> None:
    own, add = f"illumination/{key}", maker.machine.add
    if "feed" in facts:
        net = tap(maker, own, facts["feed"]) or maker.feed(facts["feed"])
    else:
        net = maker.rail(facts.get("supply", "illumination")).net
    if facts.get("fuse") != "none":
        maker.fuse(f"{own}/fuse", net, f"{own} fused", facts.get("fuse"), 5.0)
        net = f"{own} fused"
    maker.header(own, net, f"{own} outside")
    add(f"{own}/wire", "wire", f"{own} outside", f"{own} line")
    maker.header(own, EARTH, f"{own} returned", "return header", "return pin")
    add(f"{own}/return wire", "wire", f"{own} back", f"{own} returned")
    stated = facts.get("lamps", "1")
    count = int(stated) if isinstance(stated, str) else len(stated)
    for number in range(1, count + 1):
        add(f"{own}/socket{number}", "joint", f"{own} line", f"{own} inside {number}")
        type_name = facts.get("lamp") or maker.defaults["lamp"]
        maker.machine.lights.append(
            add(f"{own}/lamp{number}", "lamp", f"{own} inside {number}", f"{own} back", type_name=type_name)
        )
