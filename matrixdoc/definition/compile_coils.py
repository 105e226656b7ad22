"""Coils, flash lamps, lamps with a drive of their own, and the outputs that several circuits share."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from matrixdoc.definition.compile_builder import Builder, FormPath, named
from matrixdoc.definition.compile_drives import Decoder, link_part
from matrixdoc.definition.compile_flippers import compile_flipper
from matrixdoc.definition.compile_loads import (
    add_diode,
    add_winding,
    high_side,
    make_load,
    output_drive,
    sides_of,
    to_board,
)
from matrixdoc.definition.compile_relays import (
    Sharing,
    changeover_set,
    compile_decoders,
    compile_relays,
    sharings,
)
from matrixdoc.definition.compile_switches import SwitchIndex
from matrixdoc.definition.schema_loads import CoilForm, DirectLampForm, FlashForm, OutputForm
from matrixdoc.definition.wiring import Coil, Lamp


def compile_coils(builder: Builder, switches: SwitchIndex) -> None:
    """Wire all coils, flash lamps, flippers, direct lamps and the shared outputs."""
    form = builder.form
    _enables(builder)
    for name, output in form.outputs.items():
        _shared_output(builder, name, output)
    relays = compile_relays(builder)
    shared = sharings(builder)
    # A coil that shares a drive comes after the coil whose drive it is.
    for key, coil in sorted(form.coils.items(), key=lambda entry: entry[1].shares is not None):
        _coil(builder, key, coil, switches, shared.get(key))
    for key, sharing in shared.items():
        if key == sharing.first:
            _share(builder, sharing, relays[sharing.relay])
    for key, flash in form.flash_lamps.items():
        _flash(builder, key, flash)
    for key, flipper in form.flippers.items():
        compile_flipper(builder, key, flipper, switches)
    decoders = compile_decoders(builder)
    for key, lamp in form.direct_lamps.items():
        _direct_lamp(builder, key, lamp, decoders)


def _share(builder: Builder, sharing: Sharing, signal: tuple[str, ...]) -> None:
    """Put the contact set between a shared drive and its two coils."""
    first, second = (builder.coils[f"coil/{key}"] for key in (sharing.first, sharing.second))
    driver = builder.parts[builder.drives[first.drive].output]
    contacts = changeover_set(builder, sharing, signal, driver.board)
    for coil, also in ((first, ()), (second, (sharing.selecting,))):
        parts = (*coil.parts, contacts, driver.reference)
        builder.coils[coil.reference] = replace(coil, drive=first.drive, also=also, parts=parts)


def _enables(builder: Builder) -> None:
    for name, facts in builder.form.enables.items():
        path: FormPath = ("enables", name)
        board = builder.board(facts.board, (*path, "board"), builder.drive_board)
        words = facts.title or f"{name} enable"
        home = builder.logic_board or board
        builder.add(
            f"enable/{name}/logic",
            "enable",
            title=f"{words}, logic output{named(facts.logic)}",
            place=builder.board_place(home),
            board=home,
            alias=(facts.logic,),
            origin="stated",
            note=facts.note,
        )
        link_part(builder, f"enable/{name}", words, facts.link, board, path)


def _enable_parts(builder: Builder, names: tuple[str, ...], path: FormPath) -> tuple[str, ...]:
    found: list[str] = []
    for index, name in enumerate(names):
        if builder.known(name, builder.form.enables, "an enable line", (*path, "enable", index)):
            found.extend(r for r in (f"enable/{name}/logic", f"enable/{name}/link") if r in builder.parts)
    return tuple(found)


def _shared_output(builder: Builder, name: str, facts: OutputForm) -> None:
    path: FormPath = ("outputs", name)
    load = make_load(builder, f"output/{name}", facts.title or f"{name} output", facts, path, "boards")
    inner = f"{load.prefix}/board"
    output_drive(builder, load, facts, facts.style, builder.styles.defaults.shared_output, inner)
    if facts.pin is not None:
        builder.problem((*path, "pin"), "a pin of a shared output", "pins at the circuits that share it")


def _coil(
    builder: Builder, key: str, facts: CoilForm, switches: SwitchIndex, sharing: Sharing | None
) -> None:
    defaults = builder.styles.defaults
    path: FormPath = ("coils", key)
    title = facts.title or f"coil {key}"
    words = f"coil {key}" + (f" ({facts.title})" if facts.title else "")
    load = make_load(builder, f"coil/{key}", words, facts, path)
    prefix = load.prefix
    first = builder.form.coils[sharing.first] if sharing else facts
    own_drive = first is facts
    high = high_side(builder, first.style, defaults.coil_output)
    if high and not own_drive:
        _no_supply(builder, facts, sharing.first if sharing else "", path)
    supply = (facts.feed, facts.supply, "coil")
    sides = sides_of(builder, load, facts, supply, facts.fuse, high=high, own_drive=own_drive)
    inner = sharing.nets[key] if sharing else f"{prefix}/board"
    winding = add_winding(
        builder,
        f"{prefix}/winding",
        "winding",
        load,
        (sides.lug, sides.driven),
        facts.resistance,
        defaults.coil_ohm,
        facts.inductance,
        tuple(a for a in (facts.number,) if a),
    )
    diode = add_diode(builder, f"{prefix}/diode", load, sides, facts.diode)
    wires = to_board(builder, load, facts, sides.driven, inner)
    fired_by, trigger = switches.find(facts.fired_by, (*path, "fired_by")) if facts.fired_by else ("", "")
    drive, output = "", ""
    if own_drive:
        drive = output_drive(
            builder,
            load,
            facts,
            facts.style,
            defaults.coil_output,
            sharing.common if sharing else inner,
            switched_to=sides.switched_to,
            from_logic=not facts.fired_by,
        )
        output = "" if sharing else builder.drives[drive].output
    parts = (*sides.parts, winding, diode, *wires, output)
    builder.neighbour(sides.lug, sides.driven, f"lugs of {load.words}")
    builder.coils[prefix] = Coil(
        reference=prefix,
        title=title,
        element=winding,
        drive=drive,
        diode=diode,
        fired_by=fired_by,
        enable=_enable_parts(builder, facts.enable, path),
        pulse_ms=facts.pulse if facts.pulse is not None else defaults.pulse_ms,
        holds=facts.holds,
        parts=tuple(p for p in parts if p),
        trigger=trigger,
    )


def _no_supply(builder: Builder, facts: CoilForm, first: str, path: FormPath) -> None:
    """A coil on another's high-side drive has its supply from there."""
    for field in ("feed", "supply", "fuse"):
        if field in facts.model_fields_set:
            found = f"'{field}' of a coil that shares a high-side drive"
            builder.problem((*path, field), found, f"it at coil {first}", key=True)


def _flash(builder: Builder, key: str, facts: FlashForm) -> None:
    defaults = builder.styles.defaults
    path: FormPath = ("flash_lamps", key)
    words = f"flash lamp {key}" + (f" ({facts.title})" if facts.title else "")
    load = make_load(builder, f"flash/{key}", words, facts, path)
    prefix = load.prefix
    inner = f"{prefix}/board"
    high = high_side(builder, facts.style, defaults.flash_output)
    sides = sides_of(builder, load, facts, (facts.feed, facts.supply, "coil"), facts.fuse, high=high)
    lamp_net, resistor = sides.driven, ""
    if facts.resistor:
        lamp_net = f"{prefix}/limited"
        resistor = builder.add(
            f"{prefix}/resistor",
            "resistor",
            (lamp_net, sides.driven),
            title=f"{words}, series resistor {facts.resistor:g} ohm",
            place=load.place,
            values={"ohm": facts.resistor},
            origin="stated",
        )
    lamp = builder.add(
        f"{prefix}/lamp",
        "lamp",
        (sides.lug, lamp_net),
        title=f"{words}, lamp",
        place=load.place,
        type_name=facts.lamp or defaults.flash_lamp,
        alias=(facts.number,),
        origin="stated" if facts.lamp else "style default",
    )
    wires = to_board(builder, load, facts, sides.driven, inner)
    drive = output_drive(
        builder, load, facts, facts.style, defaults.flash_output, inner, switched_to=sides.switched_to
    )
    parts = (*sides.parts, lamp, resistor, *wires, builder.drives[drive].output)
    builder.coils[prefix] = Coil(
        reference=prefix,
        title=facts.title or words,
        element=lamp,
        drive=drive,
        pulse_ms=facts.pulse if facts.pulse is not None else defaults.pulse_ms,
        parts=tuple(p for p in parts if p),
    )


def _direct_lamp(builder: Builder, key: str, facts: DirectLampForm, decoders: Mapping[str, Decoder]) -> None:
    defaults = builder.styles.defaults
    path: FormPath = ("direct_lamps", key)
    words = f"direct lamp {key}" + (f" ({facts.title})" if facts.title else "")
    load = make_load(builder, f"direct lamp/{key}", words, facts, path)
    prefix = load.prefix
    is_led = facts.element == "LED"
    inner = f"{prefix}/board"
    high = high_side(builder, facts.style, defaults.lamp_output)
    sides = sides_of(builder, load, facts, (facts.feed, facts.supply, "lamp"), None, high=high)
    socket_net = f"{prefix}/socket"
    builder.add(
        f"{prefix}/socket",
        "joint",
        (sides.lug, socket_net),
        title=f"{words}, socket contact",
        place=load.place,
    )
    lamp = builder.add(
        f"{prefix}/lamp",
        "led" if is_led else "lamp",
        (sides.driven, socket_net) if high else (socket_net, sides.driven),
        title=f"{words}, {'LED' if is_led else 'lamp'}",
        place=load.place,
        type_name=facts.lamp or (defaults.led if is_led else defaults.lamp),
        alias=(facts.number,),
        origin="stated" if facts.lamp else "style default",
    )
    to_board(builder, load, facts, sides.driven, inner)
    chosen = _decoder_output(builder, facts, decoders, path)
    drive = output_drive(
        builder,
        load,
        facts,
        facts.style,
        defaults.lamp_output,
        inner,
        switched_to=sides.switched_to,
        chosen=chosen,
    )
    builder.lamps[prefix] = Lamp(prefix, facts.title or words, lamp, drive=drive)


def _decoder_output(
    builder: Builder, facts: DirectLampForm, decoders: Mapping[str, Decoder], path: FormPath
) -> tuple[Decoder, int] | None:
    """The decoder that picks a lamp's drive, and the number of its output."""
    if facts.decoder is None:
        if facts.output is not None:
            builder.problem((*path, "output"), "an output without a decoder", "'decoder:' beside it")
        return None
    if not builder.known(facts.decoder, builder.form.decoders, "a decoder", (*path, "decoder")):
        return None
    made = decoders[facts.decoder]
    last = (1 << len(made.lines)) - 1
    if facts.output is None or facts.output > last:
        found = "no output number" if facts.output is None else f"output {facts.output}"
        field = "decoder" if facts.output is None else "output"
        builder.problem((*path, field), found, f"'output:' with a number from 0 to {last}")
        return None
    return made, facts.output
