"""Flippers with an end-of-stroke switch of either type."""

from __future__ import annotations

from dataclasses import replace

from matrixdoc.definition.compile_builder import Builder, FormPath, coloured
from matrixdoc.definition.compile_loads import (
    Load,
    add_diode,
    add_winding,
    high_side,
    make_load,
    output_drive,
    sides_of,
    to_board,
)
from matrixdoc.definition.compile_switches import SwitchIndex
from matrixdoc.definition.schema_loads import FlipperForm
from matrixdoc.definition.schema_matrices import DrivePath
from matrixdoc.definition.wiring import Coil, Switch


def flipper_name(key: str) -> str:
    """``left flipper`` for the keys ``left`` and ``left flipper``."""
    return key if key.endswith(" flipper") else f"{key} flipper"


def compile_flipper(builder: Builder, key: str, facts: FlipperForm, switches: SwitchIndex) -> None:
    """Wire one flipper; its key may leave out the word flipper."""
    name = flipper_name(key)
    words = facts.title or name
    load = make_load(builder, f"coil/{name}", words, facts, ("flippers", key))
    if facts.end_of_stroke == "high-current":
        _high_current_flipper(builder, load, facts)
    else:
        _low_current_flipper(builder, load, facts, switches)


def _high_current_flipper(builder: Builder, load: Load, facts: FlipperForm) -> None:
    """Feed, power winding, hold winding bridged by the end-of-stroke contact, cabinet button, output."""
    defaults = builder.styles.defaults
    prefix, path = load.prefix, load.path
    supplied, middle, driven = f"{prefix}/supplied", f"{prefix}/middle", f"{prefix}/driven"
    for field, value in (("eos", facts.eos), ("button", facts.button), ("hold_drive", facts.hold_drive)):
        if value:
            hint = "write 'end_of_stroke: low-current' if the logic reads the contact"
            builder.problem((*path, field), f"{field} of a high-current flipper", "no such key", hint)
    supply = (facts.feed, facts.supply, "coil")
    sides = sides_of(builder, load, facts, supply, facts.fuse, high=False)
    alias = tuple(a for a in (facts.number,) if a)
    power = add_winding(
        builder,
        f"{prefix}/power",
        "power winding",
        load,
        (supplied, middle),
        facts.power,
        defaults.flipper_power_ohm,
        alias=alias,
    )
    hold = add_winding(
        builder,
        f"{prefix}/hold",
        "hold winding",
        load,
        (middle, driven),
        facts.hold,
        defaults.flipper_hold_ohm,
        alias=alias,
    )
    eos = builder.add(
        f"{prefix}/eos",
        "contact",
        (middle, driven),
        title=f"{load.words}, end-of-stroke contact (high-current, opens at the end of the stroke)",
        place=load.place,
        type_name="high-current",
        origin="stated",
    )
    builder.switches[eos] = Switch(eos, f"{load.words} end-of-stroke contact", eos, normally_closed=True)
    diode = add_diode(builder, f"{prefix}/diode", load, sides, facts.diode)
    button, parts, board_net = _button(builder, load, facts, driven)
    if facts.output and builder.known(
        facts.output, builder.form.outputs, "a shared output", (*path, "output")
    ):
        drive = f"output/{facts.output}/drive"
    else:
        drive = output_drive(builder, load, facts, facts.style, defaults.shared_output, board_net)
    output = builder.drives[drive].output
    everything = (*sides.parts, power, hold, eos, *([diode] if diode else []), *parts, output)
    for winding, title, holds in ((power, "power winding", False), (hold, "hold winding", True)):
        builder.coils[winding] = Coil(
            reference=winding,
            title=f"{load.words}, {title}",
            element=winding,
            drive=drive,
            diode=diode,
            fired_by=button,
            pulse_ms=defaults.pulse_ms,
            holds=holds,
            end_of_stroke="" if holds else eos,
            parts=everything,
        )


def _button(builder: Builder, load: Load, facts: FlipperForm, driven: str) -> tuple[str, list[str], str]:
    """Driven wire, cabinet button contact, its wire back, pin and joint; returns the board's net."""
    prefix, path = load.prefix, load.path
    cabinet = facts.cabinet
    place = builder.place(cabinet.place if cabinet else None, (*path, "cabinet", "place"), "cabinet")
    words = (cabinet.title if cabinet and cabinet.title else "") or f"{load.words} button"
    near, far = f"{prefix}/button", f"{prefix}/switched"
    shared = facts.output if facts.output and facts.output in builder.form.outputs else ""
    inner = f"output/{shared}/board" if shared else f"{prefix}/board"
    board = load.board
    if shared:
        stated = builder.form.outputs[shared].board
        board = stated if stated and stated in builder.form.boards else board
    wire = builder.add(
        f"{prefix}/wire",
        "wire",
        (driven, near),
        title=f"{load.words} wire{coloured(facts.wire)}, from its driven lug to the cabinet button",
        place=load.place,
        colour=facts.wire,
        origin="stated" if facts.wire else "assumed",
    )
    contact = builder.add(
        f"{prefix}/button",
        "contact",
        (near, far),
        title=f"{words}, cabinet contact (carries the coil current)",
        place=place,
        type_name="high-current",
        origin="stated" if cabinet else "assumed",
        note=cabinet.note if cabinet else "",
    )
    builder.switches[contact] = Switch(contact, words, contact)
    pin = (cabinet.pin if cabinet else None) or facts.pin
    at: FormPath = (*path, "cabinet") if cabinet and cabinet.pin else path
    outer, (joint, terminal) = builder.harness(prefix, inner, load.words, pin, board, at)
    colour = cabinet.wire if cabinet else ""
    back = builder.add(
        f"{prefix}/button wire",
        "wire",
        (far, outer),
        title=f"{words} wire{coloured(colour)}, from the cabinet button to its connector pin",
        place=place,
        colour=colour,
        origin="stated" if colour else "assumed",
    )
    builder.line_nets[" ".join(prefix.split("/"))] = outer
    return contact, [wire, contact, back, terminal, joint], inner


def _low_current_flipper(builder: Builder, load: Load, facts: FlipperForm, switches: SwitchIndex) -> None:
    """Two windings with a drive each; the logic reads button and end-of-stroke switch."""
    defaults = builder.styles.defaults
    prefix, path = load.prefix, load.path
    for field, value in (("output", facts.output), ("cabinet", facts.cabinet)):
        if value:
            builder.problem((*path, field), f"{field} of a low-current flipper", "no such key")
    high = high_side(builder, facts.style, defaults.coil_output)
    common = sides_of(builder, load, facts, (facts.feed, facts.supply, "coil"), facts.fuse, high=high)
    eos = switches.contact(facts.eos, (*path, "eos")) if facts.eos else ""
    if facts.button:
        switches.find(facts.button, (*path, "button"))
    hold = facts.hold_drive or DrivePath()
    hold_prefix, hold_path = f"{prefix}/hold drive", (*path, "hold_drive")
    windings: tuple[tuple[str, float | None, float, DrivePath, str, FormPath], ...] = (
        ("power", facts.power, defaults.flipper_power_ohm, facts, prefix, path),
        ("hold", facts.hold, defaults.flipper_hold_ohm, hold, hold_prefix, hold_path),
    )
    style = facts.style
    for side, ohm, usual, drive_facts, drive_prefix, here in windings:
        own = Load(drive_prefix, f"{load.words} {side}", here, load.place, load.board)
        driven, inner = f"{prefix}/{side} driven", f"{drive_prefix}/board"
        sides = replace(common, driven=driven)
        nets = (sides.lug, driven)
        winding = add_winding(builder, f"{prefix}/{side}", f"{side} winding", load, nets, ohm, usual)
        diode = add_diode(builder, f"{prefix}/{side} diode", own, sides, facts.diode)
        wires = to_board(builder, own, drive_facts, driven, inner)
        drive = output_drive(
            builder,
            own,
            drive_facts,
            style,
            defaults.coil_output,
            inner,
            switched_to=sides.switched_to,
        )
        if facts.style not in builder.styles.output:
            style = ""  # one that is not known is told once, at the first of the two drives
        output = builder.drives[drive].output
        builder.coils[winding] = Coil(
            reference=winding,
            title=f"{load.words}, {side} winding",
            element=winding,
            drive=drive,
            diode=diode,
            pulse_ms=defaults.pulse_ms,
            holds=side == "hold",
            end_of_stroke=eos if side == "power" else "",
            parts=tuple(p for p in (*sides.parts, winding, diode, *wires, output) if p),
        )
