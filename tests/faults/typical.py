"""A small machine with one of each typical path, and small single-part machines, for these tests."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

from matrixdoc.definition.wiring import Cell, Connector, Line, Matrix, Part, Place, Supply, Wiring

LOGIC = ("logic_output", "logic"), ("link_pin", "link")


@dataclass(frozen=True)
class FakeCircuit:
    """What the faults room asks of a circuit."""

    wiring: Wiring
    bridges: Mapping[str, Part] = field(default_factory=dict)


def wiring_of(parts: Iterable[Part], **more) -> Wiring:
    empty: dict[str, Any] = {
        name: {}
        for name in (
            "drives",
            "sensors",
            "matrices",
            "switches",
            "lamps",
            "coils",
            "supplies",
            "places",
            "connectors",
        )
    }
    return Wiring("Harbour Lights", parts={p.reference: p for p in parts}, **{**empty, **more})


def _line(prefix: str, kinds: Iterable[tuple[str, str]], **more) -> list[Part]:
    return [
        Part(
            f"{prefix}/{name}",
            kind,
            () if kind in dict(LOGIC) else (f"{prefix}/{name}.a", f"{prefix}/{name}.b"),
        )
        for kind, name in kinds
    ]


def typical_parts() -> list[Part]:
    """One switch cell with its column and row, the same of lamps, two coils, and their supply.

    The lines carry what a definition with full detail gives them.
    """
    connections = ("joint", "header"), ("pin", "pin"), ("wire", "wire")
    chain = [("wire", f"segment{n}") for n in range(1, 8)]
    stubs = ("wire", "column_stub"), ("wire", "row_stub")
    row_signals = ("logic_input", "input"), ("link_pin", "link")
    drive = (("low_side", "driver"), ("pre_driver", "predriver"), *LOGIC)
    return [
        *_line(
            "switch/C1R1", [("contact", "contact"), ("diode", "diode"), ("capacitor", "capacitor"), *stubs]
        ),
        *_line("switch/C1", [("strobe_sink", "driver"), ("resistor", "pull"), *connections, *chain, *LOGIC]),
        *_line(
            "switch/R1",
            [("sensing", "sensing"), ("resistor", "pull"), *connections, *chain, *row_signals],
        ),
        *_line("top lights/C1R1", [("lamp", "lamp"), ("joint", "socket"), ("diode", "diode"), *stubs]),
        *_line(
            "top lights/C1",
            [("high_side_darlington", "driver"), ("pre_driver", "predriver"), *connections, *chain, *LOGIC],
        ),
        *_line("top lights/R1", [*drive, ("resistor", "resistor"), *connections, *chain]),
        *[
            part
            for name in ("kicker", "gate")
            for part in _line(
                f"coil/{name}",
                [
                    ("coil", "winding"),
                    ("diode", "diode"),
                    ("wire", "feed"),
                    ("fuse", "fuse"),
                    *connections,
                    *drive,
                ],
            )
        ],
        *_line("feed/coils", [("fuse", "fuse"), *connections]),
        *_line(
            "supply/coils",
            [
                ("winding", "winding"),
                ("pin", "pin"),
                ("fuse", "fuse"),
                ("wire", "wire"),
                ("contact", "interlock"),
            ]
            + [("rectifier", f"rectifier{n}") for n in range(1, 5)]
            + [("electrolytic", "capacitor")],
        ),
    ]


def _matrix(name: str, device) -> Matrix:
    line = {key: Line(key, key, f"{name}/{key}/board", (f"{name}/{key}/lug1",)) for key in ("C1", "R1")}
    cell = Cell(
        f"{name}/C1R1", "C1", "R1", "first", f"{name}/C1R1/{'lamp' if device == 'lamp' else 'contact'}"
    )
    return Matrix(name, device, (line["C1"],), (line["R1"],), (cell,))


def bridge(first: str, second: str, where: str = "") -> Part:
    return Part(f"bridge/{first}~{second}", "bridge", (first, second), place=where)


def typical_circuit() -> FakeCircuit:
    """The machine of :func:`typical_parts`, with the bridge that one switch cell can have."""
    bridges = [bridge("switch/C1/lug1", "switch/R1/lug1")]
    return FakeCircuit(
        wiring_of(
            typical_parts(),
            matrices={"switch": _matrix("switch", "switch"), "top lights": _matrix("top lights", "lamp")},
        ),
        {b.reference: b for b in bridges},
    )


def workshop_circuit() -> FakeCircuit:
    """Twelve switch cells over two places and two boards, for what conditions do."""
    parts = []
    for number in range(1, 13):
        where = "playfield" if number <= 6 else "cabinet"
        cell = f"switch/C{number}R1"
        for kind, name, ends in (
            ("contact", "contact", (f"{cell}/middle", "switch/R1/lug1")),
            ("diode", "diode", (f"{cell}/stub", f"{cell}/middle")),
            ("wire", "column_stub", (f"switch/C{number}/lug1", f"{cell}/stub")),
        ):
            parts.append(Part(f"{cell}/{name}", kind, ends, place=where))
        board = "drive board" if number <= 6 else "lamp board"
        line = f"switch/C{number}"
        parts.append(
            Part(f"{line}/driver", "strobe_sink", (f"{line}/board", "ground"), place="head", board=board)
        )
        parts.append(
            Part(
                f"{line}/pin",
                "pin",
                (f"{line}/board", f"{line}/lug1"),
                place="head",
                board=board,
                connector="J one",
                position=number,
            )
        )
    nets = [f"switch/C{number}/board" for number in range(1, 13)]
    bridges = [bridge(one, two, "J one") for one, two in pairwise(nets)]
    bridges += [bridge(f"switch/C{n}R1/stub", f"switch/C{n}R1/middle") for n in range(1, 13)]
    return FakeCircuit(
        wiring_of(
            parts,
            matrices={"switch": _matrix("switch", "switch")},
            places={key: Place(key, key, 2.0) for key in ("playfield", "cabinet", "head", "coin door")},
            connectors={"J one": Connector("J one", "J one", "drive board", ())},
            supplies={"logic": Supply("logic", "logic", "rail/logic", 5.0, True, 0.1)},
        ),
        {b.reference: b for b in bridges},
    )
