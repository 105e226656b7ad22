"""Columns and rows of a matrix of lamps or coils: a drive, perhaps a resistor, and the harness."""

from __future__ import annotations

from dataclasses import dataclass

from matrixdoc.definition.compile_builder import Builder, named
from matrixdoc.definition.compile_cells import make_line
from matrixdoc.definition.compile_drives import Decoder, output_part, signal_path
from matrixdoc.definition.compile_lines import LinePlan, MatrixPlan, Wired, wire_line
from matrixdoc.definition.wiring import GROUND, Line, Origin


@dataclass(frozen=True)
class LineStyle:
    """What drives the lines of one direction, and the resistor in each of them (0 ohm: none)."""

    kind: str
    type_name: str
    resistor_ohm: float = 0.0
    resistor_origin: Origin = "style default"
    clamped: bool = False

    @property
    def feeding(self) -> bool:
        """Whether such a line switches the supply, rather than sinks."""
        return self.kind.startswith("high_side")


def driven_line(
    builder: Builder,
    plan: MatrixPlan,
    line: LinePlan,
    style: LineStyle,
    at: tuple[str, str],
    chosen: tuple[Decoder, int] | None,
) -> tuple[Line, Wired]:
    """Wire one line; ``at`` holds the rail and the board, ``chosen`` a decoder and the line's number."""
    facts, prefix, words = line.facts, f"{plan.name}/{line.key}", line.words(plan.name)
    rail = at[0]
    board = builder.board(facts.board, (*line.path, "board"), at[1])
    inner = f"{prefix}/board"
    decoder = chosen[0] if chosen else None
    path = signal_path(builder, prefix, words, facts, board, line.path, decoder=decoder)
    other = rail if style.feeding else GROUND
    output = output_part(builder, prefix, words, style.kind, (inner, other), facts, style.type_name, board)
    select = chosen[0].select(chosen[1]) if chosen else ()
    drive = builder.drive(f"{prefix}/drive", facts.title or words, path, output, select)
    parts = [output]
    exit_net = inner
    if style.resistor_ohm > 0:
        exit_net = f"{prefix}/limited"
        parts.append(
            builder.add(
                f"{prefix}/resistor",
                "resistor",
                (inner, exit_net),
                title=f"{words}, power resistor{named(facts.resistor)}",
                place=builder.board_place(board),
                values={"ohm": style.resistor_ohm},
                board=board,
                alias=(facts.resistor,),
                origin=style.resistor_origin,
            )
        )
    if style.clamped:
        # The kick-back of a winding whose line is let go finds its way to the rail, or from ground.
        clamp = (inner, rail) if other == GROUND else (GROUND, inner)
        parts.append(
            builder.add(
                f"{prefix}/clamp",
                "diode",
                clamp,
                title=f"{words}, clamp diode",
                place=builder.board_place(board),
                board=board,
                type_name=builder.styles.defaults.coil_diode,
                origin="style default",
            )
        )
    wired = wire_line(builder, plan, line, exit_net, board)
    return make_line(plan, line, inner, wired, parts, drive=drive), wired
