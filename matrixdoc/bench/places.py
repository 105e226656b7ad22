"""The places of the bench: one for each matrix (a grid), one for each list of other devices.

Derived once from the resolved wiring; nothing here changes while a case is worked on.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from matrixdoc.bench.signs import Device, clean
from matrixdoc.definition.wiring import Line, Matrix, Wiring

Position = tuple[int, int]
"""(column, row), both from 0. In a list the column is always 0."""


@dataclass(frozen=True, slots=True)
class Spot:
    """One position of a place. ``fitted`` is false where a matrix has no device."""

    reference: str
    name: str
    title: str
    fitted: bool = True
    normally_closed: bool = False
    around: str = ""

    @property
    def words(self) -> str:
        """Name and title: ``switch C3R5 left lane``."""
        return f"{self.name} {self.title}" if self.title and self.title not in self.name else self.name


@dataclass(frozen=True)
class Place:
    """A grid (``matrix`` filled) or a list of devices that a person moves over."""

    key: str
    title: str
    device: Device
    grid: bool
    columns: int
    rows: int
    spots: Mapping[Position, Spot]
    column_heads: tuple[str, ...] = ()
    row_heads: tuple[str, ...] = ()
    find: Mapping[str, Position] = field(default_factory=dict)

    def spot(self, position: Position) -> Spot | None:
        """What is at ``position``; None outside of the place."""
        return self.spots.get(position)


def _line_words(kind: str, line: Line) -> str:
    from matrixdoc.definition.numbers import colour_words

    colour = ""
    if line.colour:
        try:
            colour = colour_words(line.colour)
        except ValueError:
            colour = clean(line.colour, 20)
    title = clean(line.title, 40) if kind not in line.title.casefold() and line.title != line.key else ""
    inside = ", ".join(w for w in (title, f"{colour} wire" if colour else "") if w)
    return f"{kind} {line.key}" + (f" ({inside})" if inside else "")


def _grid(wiring: Wiring, matrix: Matrix) -> Place:
    columns = {line.key: i for i, line in enumerate(matrix.columns)}
    rows = {line.key: i for i, line in enumerate(matrix.rows)}
    by_element: dict[str, str] = {}
    for reference, switch in wiring.switches.items():
        by_element.setdefault(switch.contact, reference)
    for reference, lamp in wiring.lamps.items():
        by_element.setdefault(lamp.element, reference)
    for reference, coil in wiring.coils.items():
        by_element.setdefault(coil.element, reference)
    around = {
        (c, r): f"{_line_words('column', matrix.columns[c])} · {_line_words('row', matrix.rows[r])}"
        for c in columns.values()
        for r in rows.values()
    }
    spots: dict[Position, Spot] = {
        (c, r): Spot(
            f"{matrix.name}/{ck}{rk}",
            f"{clean(matrix.name, 30)} {ck}{rk}",
            "not fitted",
            fitted=False,
            around=around[c, r],
        )
        for ck, c in columns.items()
        for rk, r in rows.items()
    }
    for cell in matrix.cells:
        position = (columns[cell.column], rows[cell.row])
        reference = by_element.get(cell.element, cell.reference)
        found = wiring.switches.get(reference)
        spots[position] = Spot(
            reference,
            f"{clean(matrix.name, 30)} {cell.column}{cell.row}",
            clean(cell.title, 60),
            normally_closed=found.normally_closed if found is not None else False,
            around=around[position],
        )
    return Place(
        key=matrix.name,
        title=clean(matrix.name, 16),
        device=matrix.device,
        grid=True,
        columns=len(columns),
        rows=len(rows),
        spots=spots,
        column_heads=tuple(line.key for line in matrix.columns),
        row_heads=tuple(line.key for line in matrix.rows),
        find={spot.reference: position for position, spot in spots.items()},
    )


def _list(key: str, title: str, device: Device, spots: list[Spot]) -> Place:
    return Place(
        key=key,
        title=title,
        device=device,
        grid=False,
        columns=1,
        rows=len(spots),
        spots={(0, i): spot for i, spot in enumerate(spots)},
        find={spot.reference: (0, i) for i, spot in enumerate(spots)},
    )


def _spot(reference: str, title: str, *, normally_closed: bool = False, around: str = "") -> Spot:
    return Spot(
        reference,
        clean(reference.replace("/", " ", 1), 60),
        clean(title, 60),
        normally_closed=normally_closed,
        around=around,
    )


def places_of(wiring: Wiring) -> tuple[Place, ...]:
    """Every place of the machine: its matrices, then coils, then what is wired outside matrices."""
    grids = [_grid(wiring, matrix) for matrix in wiring.matrices.values() if matrix.columns and matrix.rows]
    in_grids = {reference for place in grids for reference in place.find}
    found = list(grids)
    coils = [
        _spot(ref, coil.title, around=f"also fired by {clean(coil.fired_by, 40)}" if coil.fired_by else "")
        for ref, coil in wiring.coils.items()
        if ref not in in_grids
    ]
    switches = [
        _spot(ref, switch.title, normally_closed=switch.normally_closed, around="wired outside the matrix")
        for ref, switch in wiring.switches.items()
        if ref not in in_grids
    ]
    lamps = [
        _spot(ref, lamp.title, around="always on" if lamp.always_on else "wired outside the matrix")
        for ref, lamp in wiring.lamps.items()
        if ref not in in_grids
    ]
    if coils:
        found.append(_list("coils", "coils", "coil", coils))
    if switches:
        found.append(_list("switch list", "switch list", "switch", switches))
    if lamps:
        found.append(_list("lamp list", "lamp list", "lamp", lamps))
    return tuple(found)


@dataclass(frozen=True)
class Owners:
    """Which device, and which line of which matrix, each part belongs to."""

    devices: Mapping[str, tuple[str, ...]]
    lines: Mapping[str, tuple[tuple[str, str], ...]]


def owners_of(wiring: Wiring) -> Owners:
    """Index parts by what they belong to, so that suspicion can be shown on the grids."""
    devices: dict[str, list[str]] = {}
    lines: dict[str, list[tuple[str, str]]] = {}
    own: list[tuple[str, Iterable[str]]] = []
    for matrix in wiring.matrices.values():
        own.extend((cell.reference, (*cell.parts, cell.element, cell.diode)) for cell in matrix.cells)
        for line in (*matrix.columns, *matrix.rows):
            for part in _line_parts(wiring, line):
                lines.setdefault(part, []).append((matrix.name, line.key))
    for reference, coil in wiring.coils.items():
        own.append((reference, (*coil.parts, coil.element, coil.diode, *_drive_parts(wiring, coil.drive))))
    own.extend((reference, (switch.contact,)) for reference, switch in wiring.switches.items())
    own.extend((reference, (lamp.element,)) for reference, lamp in wiring.lamps.items())
    for reference, parts in own:
        for part in parts:
            if part and reference not in devices.setdefault(part, []):
                devices[part].append(reference)
    return Owners(
        {part: tuple(some) for part, some in devices.items()},
        {part: tuple(dict.fromkeys(some)) for part, some in lines.items()},
    )


def _drive_parts(wiring: Wiring, name: str) -> tuple[str, ...]:
    drive = wiring.drives.get(name)
    return (*drive.path, drive.output) if drive is not None else ()


def _line_parts(wiring: Wiring, line: Line) -> set[str]:
    sensor = wiring.sensors.get(line.sensor)
    sensing = (sensor.reference, *sensor.path) if sensor is not None else ()
    return {*line.parts, *_drive_parts(wiring, line.drive), *sensing}
