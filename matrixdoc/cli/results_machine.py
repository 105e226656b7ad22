"""What ``--json`` prints about machines and files: lists, charts, paths, what is wrong with a file."""

from __future__ import annotations

from typing import Literal

from matrixdoc.cli.results_base import Result


class MachineResult(Result):
    """One definition that can be named on the command line."""

    name: str
    title: str
    path: str
    origin: str


class MachinesResult(Result):
    """``matrixdoc machines --json``."""

    machines: list[MachineResult]


class ProblemResult(Result):
    """One thing wrong with a file: where, what was found, what would be right."""

    source: str
    line: int
    column: int
    path: str
    found: str
    expected: str
    suggestion: str


class FileResult(Result):
    """One validated file; ``advice`` is what is worth a second look in a machine that can be used."""

    file: str
    kind: Literal["machine", "report", "unknown"]
    valid: bool
    title: str
    parts: int
    assumed: int
    problems: list[ProblemResult]
    advice: list[str]


class ValidateResult(Result):
    """``matrixdoc validate --json``."""

    files: list[FileResult]


class LineResult(Result):
    """A column or row of a chart."""

    key: str
    title: str
    colour: str
    pins: list[str]
    drive_part: str


class CellResult(Result):
    """A fitted cell of a chart."""

    column: str
    row: str
    reference: str
    title: str
    aliases: list[str]


class MatrixResult(Result):
    """One matrix as its chart."""

    name: str
    device: str
    columns: list[LineResult]
    rows: list[LineResult]
    cells: list[CellResult]


class ChartResult(Result):
    """``matrixdoc chart --json``."""

    machine: str
    matrices: list[MatrixResult]


class StepResult(Result):
    """One part on a path, from the supply to ground or from the logic to the output."""

    part: str
    kind: str
    title: str
    layer: Literal["current", "command", "sensing"]
    from_net: str
    to_net: str
    connector: str
    position: int | None
    colour: str
    place: str
    type_name: str
    origin: str
    shared_by: list[str]


class PathResult(Result):
    """``matrixdoc path --json``."""

    machine: str
    place: str
    title: str
    steps: list[StepResult]


class SpiceResult(Result):
    """``matrixdoc spice --json``."""

    machine: str
    title: str
    deck: str
