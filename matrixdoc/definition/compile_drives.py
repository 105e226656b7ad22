"""The discrete path from the logic to an output: logic part, link pin, pre-driver, output part."""

from __future__ import annotations

from collections.abc import Mapping

from matrixdoc.definition.compile_builder import Builder, FormPath, named
from matrixdoc.definition.schema import DrivePath
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
    if board and board not in link.boards[1:]:
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
) -> tuple[str, ...]:
    """Add logic output, link pin and pre-driver of one drive; returns their references in order.

    Without ``from_logic`` the command does not come from the logic (a coil fired by a switch).
    """
    found: list[str] = []
    home = builder.logic_board or board
    if from_logic:
        found.append(
            builder.add(
                f"{prefix}/logic",
                "logic_output",
                title=f"{words}, logic output" + (f" {facts.logic}" if facts.logic else ""),
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
