"""Wirings built by hand for the tests of the circuit room: a small builder, invented machines."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from matrixdoc.definition.wiring import (
    GROUND,
    Cell,
    Coil,
    Drive,
    Lamp,
    Line,
    Matrix,
    Part,
    Supply,
    Switch,
    Wiring,
)


@dataclass
class WiringBuilder:
    """``add`` parts, then ``build``; everything that is not said stays empty."""

    title: str = "test wiring"
    parts: dict[str, Part] = field(default_factory=dict)
    supplies: dict[str, Supply] = field(default_factory=dict)
    matrices: dict[str, Matrix] = field(default_factory=dict)
    switches: dict[str, Switch] = field(default_factory=dict)
    lamps: dict[str, Lamp] = field(default_factory=dict)
    coils: dict[str, Coil] = field(default_factory=dict)
    drives: dict[str, Drive] = field(default_factory=dict)
    neighbours: list[tuple[str, str, str]] = field(default_factory=list)

    def add(self, reference: str, kind: str, *nets: str, type_name: str = "", **values: float) -> str:
        """Add a part; keyword numbers are its own values."""
        assert reference not in self.parts
        self.parts[reference] = Part(
            reference, kind, nets, values=values, type_name=type_name, title=reference
        )
        return reference

    def supply(
        self, name: str, rail: str, volts: float, *, stiff: bool = True, ohm: float = 0.0, **more: object
    ) -> None:
        """Add a supply with its rail."""
        self.supplies[name] = Supply(name, f"{name} supply", rail, volts, stiff, ohm, **more)  # type: ignore[arg-type]

    def build(self) -> Wiring:
        """The wiring."""
        return Wiring(
            title=self.title,
            parts=dict(self.parts),
            drives=dict(self.drives),
            sensors={},
            matrices=dict(self.matrices),
            switches=dict(self.switches),
            lamps=dict(self.lamps),
            coils=dict(self.coils),
            supplies=dict(self.supplies),
            places={},
            connectors={},
            neighbours=tuple(self.neighbours),
        )


def add_line(builder: WiringBuilder, matrix: str, key: str, lugs: int) -> tuple[str, ...]:
    """Board net - pin - wire - first lug - segment - next lug ...; gives the lug nets."""
    line = f"{matrix}/{key}"
    builder.add(f"{line}/pin", "pin", f"{line}/board", f"{line}/plug")
    builder.add(f"{line}/wire", "wire", f"{line}/plug", f"{line}/lug1")
    for lug in range(1, lugs):
        builder.add(f"{line}/segment{lug}", "wire", f"{line}/lug{lug}", f"{line}/lug{lug + 1}")
    return tuple(f"{line}/lug{lug}" for lug in range(1, lugs + 1))


def switch_matrix(
    columns: int = 8,
    rows: int = 8,
    *,
    drive: str = "strobe_sink",
    pull_ohm: float = 1000.0,
    column_pull_ohm: float | None = 10000.0,
    diode_values: Mapping[str, float] | None = None,
) -> WiringBuilder:
    """A switch matrix with every wire, segment, stub and joint as a part; columns sink, rows are pulled up.

    Each cell: row lug - joint - diode - contact - stub wire - column lug. ``column_pull_ohm`` None
    leaves idle columns floating.
    """
    builder = WiringBuilder("switch matrix")
    builder.supply("logic", "rail/logic", 5.0)
    column_lines, row_lines, cells = [], [], []
    for c in range(1, columns + 1):
        lugs = add_line(builder, "switch", f"C{c}", rows)
        nets = (
            (f"switch/C{c}/board", GROUND, "rail/logic")
            if drive == "strobe_push_pull"
            else (f"switch/C{c}/board", GROUND)
        )
        output = builder.add(f"switch/C{c}/drive", drive, *nets)
        builder.drives[f"switch/C{c}"] = Drive(f"switch/C{c}", f"column {c}", (), output)
        if column_pull_ohm is not None:
            builder.add(
                f"switch/C{c}/pull", "resistor", "rail/logic", f"switch/C{c}/board", ohm=column_pull_ohm
            )
        parts = tuple(name for name in builder.parts if name.startswith(f"switch/C{c}/"))
        column_lines.append(
            Line(f"C{c}", f"column {c}", f"switch/C{c}/board", lugs, f"switch/C{c}", parts=parts)
        )
    for r in range(1, rows + 1):
        lugs = add_line(builder, "switch", f"R{r}", columns)
        builder.add(f"switch/R{r}/pull", "resistor", "rail/logic", f"switch/R{r}/board", ohm=pull_ohm)
        builder.add(f"switch/R{r}/input", "sensing", f"switch/R{r}/board", GROUND)
        parts = tuple(name for name in builder.parts if name.startswith(f"switch/R{r}/"))
        row_lines.append(
            Line(f"R{r}", f"row {r}", f"switch/R{r}/board", lugs, "", f"switch/R{r}", parts=parts)
        )
    for c in range(1, columns + 1):
        for r in range(1, rows + 1):
            cell = f"switch/C{c}R{r}"
            names = (
                builder.add(f"{cell}/joint", "joint", f"switch/R{r}/lug{c}", f"{cell}/anode"),
                builder.add(
                    f"{cell}/diode",
                    "diode",
                    f"{cell}/anode",
                    f"{cell}/middle",
                    type_name="1N4148",
                    **(diode_values or {}),
                ),
                builder.add(f"{cell}/contact", "contact", f"{cell}/middle", f"{cell}/leaf"),
                builder.add(f"{cell}/stub", "wire", f"{cell}/leaf", f"switch/C{c}/lug{r}"),
            )
            builder.switches[cell] = Switch(cell, cell, names[2], "switch", f"switch/R{r}")
            cells.append(Cell(cell, f"C{c}", f"R{r}", cell, names[2], names[1], parts=names))
    builder.matrices["switch"] = Matrix(
        "switch", "switch", tuple(column_lines), tuple(row_lines), tuple(cells)
    )
    return builder


def lamp_matrix(
    columns: int = 8, rows: int = 8, *, row_ohm: float = 0.0, stiff: bool = True
) -> WiringBuilder:
    """A lamp matrix: high-side columns, low-side rows, lamp and diode in each cell."""
    builder = WiringBuilder("lamp matrix")
    builder.supply("lamp", "rail/lamp", 18.0, stiff=stiff, ohm=0.1)
    for c in range(1, columns + 1):
        add_line(builder, "lamp", f"C{c}", rows)
        builder.add(f"lamp/C{c}/drive", "high_side_darlington", f"lamp/C{c}/board", "rail/lamp")
    for r in range(1, rows + 1):
        add_line(builder, "lamp", f"R{r}", columns)
        if row_ohm:
            builder.add(
                f"lamp/R{r}/limit", "resistor", f"lamp/R{r}/board", f"lamp/R{r}/collector", ohm=row_ohm
            )
        builder.add(
            f"lamp/R{r}/drive",
            "low_side_npn",
            f"lamp/R{r}/collector" if row_ohm else f"lamp/R{r}/board",
            GROUND,
        )
    for c in range(1, columns + 1):
        for r in range(1, rows + 1):
            cell = f"lamp/C{c}R{r}"
            builder.add(f"{cell}/lamp", "lamp", f"lamp/C{c}/lug{r}", f"{cell}/middle", type_name="47")
            builder.add(f"{cell}/diode", "diode", f"{cell}/middle", f"{cell}/tail", type_name="1N4004")
            builder.add(f"{cell}/stub", "wire", f"{cell}/tail", f"lamp/R{r}/lug{c}")
            builder.lamps[cell] = Lamp(cell, cell, f"{cell}/lamp", "lamp")
    return builder
