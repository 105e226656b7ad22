"""Door interlocks: a switch at a door that cuts a supply while the door is open."""

from __future__ import annotations

from matrixdoc.definition.compile_builder import Builder, FormPath, coloured
from matrixdoc.definition.schema_boards import InterlockForm
from matrixdoc.definition.wiring import Switch


def check_interlocks(builder: Builder) -> None:
    """Note feeds and door switches that do not fit together."""
    form = builder.form
    used: set[str] = set()
    for name, feed in form.feeds.items():
        path: FormPath = ("feeds", name, "interlock")
        if not builder.known(feed.interlock, form.interlocks, "a door interlock", path):
            continue
        assert feed.interlock is not None  # noqa: S101 - known names are not empty
        used.add(feed.interlock)
        supply = form.interlocks[feed.interlock].supply
        if supply != feed.supply:
            builder.problem(path, f"an interlock of the supply {supply}", f"one of the supply {feed.supply}")
    for name, facts in form.interlocks.items():
        here: FormPath = ("interlocks", name)
        allowed = dict.fromkeys([*form.supplies, *builder.styles.supply])
        builder.known(facts.supply, allowed, "a supply", (*here, "supply"))
        if name not in used:
            expected = f"'interlock: {name}' at a feed"
            builder.problem(here, "a door interlock that no feed names", expected, key=True)


def interlock_net(builder: Builder, name: str, rail: str) -> str:
    """The net behind a door interlock of ``rail``, which is wired when it is first asked for."""
    cut = f"interlock/{name}/cut"
    if f"interlock/{name}/contact" not in builder.parts:
        _wire_interlock(builder, name, builder.form.interlocks[name], (rail, cut))
    return cut


def _wire_interlock(builder: Builder, name: str, facts: InterlockForm, ends: tuple[str, str]) -> None:
    """Out from the rail to the door, through the contact, and back."""
    rail, cut = ends
    prefix = f"interlock/{name}"
    path: FormPath = ("interlocks", name)
    words = facts.title or f"{name} interlock"
    board = builder.board(facts.board, (*path, "board"), builder.drive_board)
    place = builder.place(facts.place, (*path, "place"), "cabinet")
    outer, _ = builder.harness(prefix, rail, words, facts.pin, board, path)
    names = ("return header", "return pin", "return pin")
    back: FormPath = (*path, "return_pin")
    returned, _ = builder.harness(prefix, cut, f"{words} return", facts.return_pin, board, back, names)
    near, far = f"{prefix}/near", f"{prefix}/far"
    for last, colour, nets, what in (
        ("wire", facts.wire, (outer, near), "wire to the door"),
        ("return wire", facts.return_wire, (far, returned), "wire back from the door"),
    ):
        builder.add(
            f"{prefix}/{last}",
            "wire",
            nets,
            title=f"{words}, {what}{coloured(colour)}",
            place=place,
            colour=colour,
            origin="stated" if colour else "assumed",
        )
    contact = builder.add(
        f"{prefix}/contact",
        "contact",
        (near, far),
        title=f"{words}, contact (closed while the door is shut, carries the coil current)",
        place=place,
        type_name="high-current",
        origin="stated",
        note=facts.note,
    )
    builder.switches[contact] = Switch(contact, words, contact, normally_closed=True)
    builder.line_nets[f"interlock {name}"] = outer
