"""The second expansion, continued: coils, flash lamps, flippers, direct lamps and switches, illumination."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from tests.proof.authoring import quantity, styles
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
        shared[name] = _to_ground(maker, own, facts, style, f"{own} inner")
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


def _to_ground(
    maker: Expander,
    own: str,
    facts: dict[str, Any],
    style: str,
    inner: str,
    *,
    from_logic: bool = True,
    decoder: tuple[Decoder, int] | None = None,
) -> Command:
    chosen = styles()["output"][style]
    board, output = maker.drive_board, f"{own}/driver"
    command = maker.command(own, facts, board, output, from_logic=from_logic, decoder=decoder)
    nets: tuple[str, ...] = (inner, EARTH)
    if chosen["driver"] == "changeover":
        nets = (EARTH, f"{own} unused", inner)
        relay = maker.machine.add(f"{own}/relay", "relay_coil_driver")
        command = Command((*command.path, relay), command.output)
    type_name = facts.get("drive_type") or chosen["type"]
    maker.machine.add(f"{own}/driver", chosen["driver"], *nets, type_name=type_name)
    return command


def _chained(maker: Expander, feed: str) -> list[str]:
    """What hangs on a feed in wiring order: each gets its supply from the lug before."""
    roots = {"": "coil/", "coil ": "coil/", "flash ": "flash/", "direct lamp ": "direct lamp/"}
    order = []
    for name in maker.form.get("feeds", {}).get(feed, {}).get("chain", ()):
        known = ("coils", ""), ("coils", "coil "), ("flash_lamps", "flash "), ("direct_lamps", "direct lamp ")
        for section, prefix in known:
            key = name.removeprefix(prefix)
            if name.startswith(prefix) and key in maker.form.get(section, {}):
                order.append(roots[prefix] + key)
                break
        else:  # a flipper, its key with or without the word
            order.append(f"coil/{name}" if name.endswith(" flipper") else f"coil/{name} flipper")
    return order


def _supplied(maker: Expander, own: str, facts: dict[str, Any], usual: str) -> str:
    net = maker.feed(facts.get("feed") or facts.get("supply", usual))
    order = _chained(maker, facts.get("feed", ""))
    if own in order[1:]:
        net = f"{order[order.index(own) - 1]} supplied"
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


def _diode(maker: Expander, reference: str, facts: dict[str, Any], driven: str, supplied: str) -> None:
    if facts.get("diode", "").lower() != "none":
        type_name = facts.get("diode") or maker.defaults["coil_diode"]
        maker.machine.add(reference, "diode", driven, supplied, type_name=type_name)


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
    supplied, driven = _supplied(maker, own, facts, "coil"), f"{own} driven"
    ohm = quantity(facts.get("resistance"), defaults["coil_ohm"])
    henry = {"inductance_h": quantity(facts["inductance"])} if "inductance" in facts else {}
    maker.machine.add(f"{own}/winding", "coil", supplied, driven, ohm=ohm, values=henry)
    _diode(maker, f"{own}/diode", facts, driven, supplied)
    inner = _driven_wire(maker, own, driven)
    style = facts.get("style") or defaults["coil_output"]
    if "shares" in facts:
        command = Command((), "")  # it gets that of the other coil
    else:
        at_drive = f"{own} common" if key in shared_by else inner
        command = _to_ground(maker, own, facts, style, at_drive, from_logic=not facts.get("fired_by"))
    stated = facts.get("enable", ())
    enables = tuple(
        f"enable/{name}/{part}"
        for name in ([stated] if isinstance(stated, str) else stated)
        for part in ("logic", "link")
        if f"enable/{name}/{part}" in maker.machine.elements
    )
    maker.machine.windings[own] = Winding(own, f"{own}/winding", command, enable=enables)


def _flash(maker: Expander, key: str, facts: dict[str, Any]) -> None:
    own, defaults = f"flash/{key}", maker.defaults
    supplied, driven = _supplied(maker, own, facts, "coil"), f"{own} driven"
    far, ohm = driven, quantity(facts.get("resistor"))
    if ohm:
        far = f"{own} limited"
        maker.machine.add(f"{own}/resistor", "resistor", far, driven, ohm=ohm)
    type_name = facts.get("lamp") or defaults["flash_lamp"]
    maker.machine.add(f"{own}/lamp", "lamp", supplied, far, type_name=type_name)
    inner = _driven_wire(maker, own, driven)
    command = _to_ground(maker, own, facts, facts.get("style") or defaults["flash_output"], inner)
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
        command = _to_ground(maker, own, facts, style, inner)
    eos, button = (f"{own}/eos",), (f"{own}/button",)
    for side in ("power", "hold"):
        maker.machine.windings[f"{own}/{side}"] = Winding(
            f"{own}/{side}", f"{own}/{side}", command, eos, button
        )


def _low_current_flipper(maker: Expander, own: str, facts: dict[str, Any]) -> None:
    supplied, defaults = _supplied(maker, own, facts, "coil"), maker.defaults
    sides = (("power", own, facts), ("hold", f"{own}/hold drive", facts.get("hold_drive", {})))
    for side, prefix, drive in sides:
        driven = f"{own} {side} driven"
        ohm = quantity(facts.get(side), defaults[f"flipper_{side}_ohm"])
        maker.machine.add(f"{own}/{side}", "coil", supplied, driven, ohm=ohm)
        _diode(maker, f"{own}/{side} diode", facts, driven, supplied)
        inner = _driven_wire(maker, prefix, driven)
        style = facts.get("style") or defaults["coil_output"]
        command = _to_ground(maker, prefix, drive, style, inner)
        maker.machine.windings[f"{own}/{side}"] = Winding(f"{own}/{side}", f"{own}/{side}", command)


def _direct_lamp(maker: Expander, key: str, facts: dict[str, Any], decoders: dict[str, Decoder]) -> None:
    own, defaults = f"direct lamp/{key}", maker.defaults
    supplied, driven, inside = _supplied(maker, own, facts, "lamp"), f"{own} driven", f"{own} inside"
    led = facts.get("element") == "LED"
    maker.machine.add(f"{own}/socket", "joint", supplied, inside)
    type_name = facts.get("lamp") or defaults["led" if led else "lamp"]
    maker.machine.add(f"{own}/lamp", "led" if led else "lamp", inside, driven, type_name=type_name)
    inner = _driven_wire(maker, own, driven)
    decoder = (decoders[facts["decoder"]], int(facts["output"])) if "decoder" in facts else None
    style = facts.get("style") or defaults["lamp_output"]
    command = _to_ground(maker, own, facts, style, inner, decoder=decoder)
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
    net = (
        maker.feed(facts["feed"]) if "feed" in facts else maker.rail(facts.get("supply", "illumination")).net
    )
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
