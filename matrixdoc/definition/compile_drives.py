"""The discrete path from the logic to an output: logic part, link pin, pre-driver, output part."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from matrixdoc.definition.compile_builder import LINK, Builder, FormPath, named
from matrixdoc.definition.schema_matrices import DecoderForm, DrivePath
from matrixdoc.definition.wiring import Origin


def link_part(
    builder: Builder, prefix: str, words: str, position: int | None, board: str, path: FormPath
) -> str:
    """The link pin between logic and drive board, or an empty string where there is no link."""
    link = builder.form.link
    if link is None:
        if position is not None:
            builder.problem(
                (*path, "link"), f"position {position}", "a link between boards, described as 'link:'"
            )
        return ""
    if board and board != link.boards[1]:
        if position is not None:
            found = f"position {position}, for a part on board {board}"
            builder.problem((*path, "link"), found, f"a part on board {link.boards[1]}")
        return ""
    if position is not None:
        if link.pins is not None and position > link.pins:
            builder.problem((*path, "link"), f"position {position}", f"a position from 1 to {link.pins}")
        elif position in builder.link_uses:
            other = builder.parts[builder.link_uses[position]].title
            builder.problem(
                (*path, "link"), f"position {position} again", f"each position once; {other} has it"
            )
    at = f"link pin {position}" if position is not None else "link pin"
    reference = builder.add(
        f"{prefix}/link",
        "link_pin",
        title=f"{words}, {at} between {link.boards[0]} and {link.boards[1]}",
        place=builder.place(link.place, ("link", "place"), builder.board_place(link.boards[1])),
        board=link.boards[1],
        connector=LINK,
        position=position,
        origin="stated" if position is not None else "assumed",
    )
    if position is not None:
        builder.link_uses.setdefault(position, reference)
    return reference


def signal_path(
    builder: Builder,
    prefix: str,
    words: str,
    facts: DrivePath,
    board: str,
    path: FormPath,
    *,
    from_logic: bool = True,
    decoder: Decoder | None = None,
) -> tuple[str, ...]:
    """Add logic output, link pin and pre-driver of one drive; returns their references in order.

    Without ``from_logic`` the command does not come from the logic (a coil fired by a switch). A
    ``decoder`` stands in the place of a logic output and link pin of its own.
    """
    found: list[str] = []
    if decoder is not None:
        found.append(decoder.part)
        from_logic = False
        for field, value in (("logic", facts.logic), ("link", facts.link)):
            if value:
                builder.problem((*path, field), f"{field} of a decoded drive", "it at a line of the decoder")
    home = builder.logic_board or board
    if from_logic:
        found.append(
            builder.add(
                f"{prefix}/logic",
                "logic_output",
                title=f"{words}, logic output{named(facts.logic)}",
                place=builder.board_place(home),
                board=home,
                alias=(facts.logic,),
                origin="stated" if facts.logic else "assumed",
            )
        )
        found.append(link_part(builder, prefix, words, facts.link, board, path))
    if facts.pre_driver:
        found.append(
            builder.add(
                f"{prefix}/predriver",
                "pre_driver",
                title=f"{words}, pre-driver {facts.pre_driver}",
                place=builder.board_place(board),
                board=board,
                alias=(facts.pre_driver,),
                origin="stated",
            )
        )
    return tuple(reference for reference in found if reference)


def logic_input(builder: Builder, prefix: str, words: str, name: str, board: str) -> str:
    """The input of the logic behind a sensing part."""
    home = builder.logic_board or board
    return builder.add(
        f"{prefix}/input",
        "logic_input",
        title=f"{words}, logic input{named(name)}",
        place=builder.board_place(home),
        board=home,
        alias=(name,),
        origin="stated" if name else "assumed",
    )


@dataclass(frozen=True)
class Decoder:
    """A decoder once it is added: its part, and for each select line its parts."""

    part: str
    lines: tuple[tuple[str, ...], ...]

    def select(self, index: int) -> tuple[tuple[str, int], ...]:
        """The wanted bit of every select part for the output number ``index``."""
        return tuple((part, index >> bit & 1) for bit, parts in enumerate(self.lines) for part in parts)


def decoder_parts(
    builder: Builder,
    root: str,
    facts: DecoderForm | None,
    outputs: int,
    board: str,
    path: FormPath,
    words: str = "",
) -> Decoder | None:
    """Add a decoder and its select lines, if one is described.

    Without ``words`` it is the column decoder of the matrix ``root``; otherwise it stands alone
    under the reference ``root``.
    """
    if facts is None:
        return None
    if outputs > 1 << len(facts.lines):
        found = f"{len(facts.lines)} select lines for {outputs} columns"
        builder.problem((*path, "lines"), found, f"{(outputs - 1).bit_length()} lines")
    home = builder.logic_board or board
    lines: list[tuple[str, ...]] = []
    for number, line in enumerate(facts.lines, start=1):
        prefix = f"{root}/select{number}"
        line_words = f"{words} select {number}" if words else f"{root} column select {number}"
        logic = builder.add(
            f"{prefix}/logic",
            "logic_output",
            title=f"{line_words}, logic output{named(line.logic)}",
            place=builder.board_place(home),
            board=home,
            alias=(line.logic,),
            origin="stated",
        )
        link = link_part(builder, prefix, line_words, line.link, board, (*path, "lines", number - 1))
        lines.append(tuple(part for part in (logic, link) if part))
    part = builder.add(
        root if words else f"{root}/decoder",
        "decoder",
        title=f"{words or f'{root} column decoder'}{named(facts.name)}",
        place=builder.board_place(board),
        board=board,
        alias=(facts.name,),
        origin="stated",
        note=facts.note,
    )
    return Decoder(part, tuple(lines))


def output_part(
    builder: Builder,
    prefix: str,
    words: str,
    kind: str,
    nets: tuple[str, ...],
    facts: DrivePath,
    type_name: str,
    board: str,
    values: Mapping[str, float] | None = None,
) -> str:
    """Add the part that conducts while the drive is active."""
    origin: Origin = "stated" if facts.drive or facts.drive_type else "style default"
    return builder.add(
        f"{prefix}/driver",
        kind,
        nets,
        title=f"{words}, drive part{named(facts.drive, facts.drive_type)}",
        place=builder.board_place(board),
        values=values,
        board=board,
        type_name=facts.drive_type or type_name,
        alias=(facts.drive,),
        origin=origin,
        note=facts.note,
    )
