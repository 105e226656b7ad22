"""Facts of a chart's lines in words: pins, printed parts, titles."""

from __future__ import annotations

from matrixdoc.case.part_names import pin_name
from matrixdoc.definition.wiring import Line, Matrix, Wiring


def pins(wiring: Wiring, line: Line) -> list[str]:
    """Connector and position of every pin of a line, from the board outwards."""
    parts = [wiring.parts[reference] for reference in line.parts if reference in wiring.parts]
    return [pin_name(part) or part.connector for part in parts if part.kind == "pin" and part.connector]


def drive_name(wiring: Wiring, line: Line) -> str:
    """What is printed beside the part that drives or senses a line; empty if nobody said."""
    drive = wiring.drives.get(line.drive)
    sensor = wiring.sensors.get(line.sensor)
    part = wiring.parts.get(drive.output if drive else sensor.reference if sensor else "")
    return part.aliases[0] if part and part.aliases else ""


def own_title(matrix: Matrix, line: Line) -> str:
    """The title of a line, if it says more than the line's key does (``switch column 3`` does not)."""
    axis = "column" if line.key.startswith("C") else "row"
    return "" if line.title == f"{matrix.name} {axis} {line.key[1:]}" else line.title
