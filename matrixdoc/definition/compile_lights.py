"""General illumination: fused lines that are always on, their lamps side by side."""

from __future__ import annotations

from matrixdoc.definition.compile_builder import Builder, FormPath, coloured
from matrixdoc.definition.compile_feed_chains import light_rail
from matrixdoc.definition.compile_supplies import fuse_part
from matrixdoc.definition.schema_boards import FuseForm
from matrixdoc.definition.schema_loads import IlluminationForm
from matrixdoc.definition.wiring import GROUND, Lamp


def compile_lights(builder: Builder) -> None:
    """Wire every general-illumination line."""
    for key, facts in builder.form.illumination.items():
        _line(builder, key, facts)


def _line(builder: Builder, key: str, facts: IlluminationForm) -> None:
    path: FormPath = ("illumination", key)
    prefix = f"illumination/{key}"
    words = facts.title or f"illumination {key}"
    board = builder.board(facts.board, (*path, "board"))
    home = builder.board_place(board) if board else builder.place(None, path, "cabinet")
    place = builder.place(facts.place, (*path, "place"), "playfield")
    net = light_rail(builder, key, home)
    fuse = facts.fuse or FuseForm()
    if fuse.fitted:
        fused = f"{prefix}/fused"
        fuse_part(builder, f"{prefix}/fuse", words, (net, fused), facts.fuse, home, (*path, "fuse"), 5.0)
        net = fused
    outer, _ = builder.harness(prefix, net, words, facts.pin, board, path)
    back = f"{prefix}/return"
    names = ("return header", "return pin", "return pin")
    return_path: FormPath = (*path, "return_pin")
    returned, _ = builder.harness(
        prefix, GROUND, f"{words} return", facts.return_pin, board, return_path, names
    )
    line = f"{prefix}/line"
    for name, colour, nets, what in (
        ("wire", facts.wire, (outer, line), "wire"),
        ("return wire", facts.return_wire, (back, returned), "return wire"),
    ):
        builder.add(
            f"{prefix}/{name}",
            "wire",
            nets,
            title=f"{words} {what}{coloured(colour)}",
            place=place,
            colour=colour,
            origin="stated" if colour else "assumed",
        )
    titles = facts.lamps if isinstance(facts.lamps, tuple) else tuple("" for _ in range(facts.lamps))
    for number, title in enumerate(titles, start=1):
        lamp_words = f"{words} lamp {number}" + (f" ({title})" if title else "")
        middle = f"{prefix}/socket{number}"
        builder.add(
            f"{prefix}/socket{number}",
            "joint",
            (line, middle),
            title=f"{lamp_words}, socket contact",
            place=place,
        )
        lamp = builder.add(
            f"{prefix}/lamp{number}",
            "lamp",
            (middle, back),
            title=lamp_words,
            place=place,
            type_name=facts.lamp or builder.styles.defaults.lamp,
            origin="stated" if facts.lamp else "style default",
        )
        builder.lamps[lamp] = Lamp(lamp, title or lamp_words, lamp, always_on=True)
    builder.line_nets[prefix.replace("/", " ")] = outer
