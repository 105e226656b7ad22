"""What the definition says about itself: names that must exist, roots that must be free."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Literal

from matrixdoc.definition.compile_builder import LINK, Builder, FormPath, TooManyProblems, whole_number
from matrixdoc.definition.compile_interlocks import check_interlocks
from matrixdoc.definition.errors import choice, near_miss, quoted
from matrixdoc.definition.references import RESERVED_ROOTS
from matrixdoc.definition.schema_boards import BridgeForm
from matrixdoc.definition.schema_matrices import DrivePath
from matrixdoc.definition.styles import Styles
from matrixdoc.definition.wiring import GROUND


def devices(builder: Builder) -> dict[str, str]:
    """What each matrix consists of; a matrix called "switch" or "lamp" says so by its name."""
    found: dict[str, str] = {}
    for name, matrix in builder.form.matrices.items():
        path: FormPath = ("matrices", name)
        device = matrix.device
        if device is None:
            words = name.lower().replace("-", " ").split()
            device = next((d for d in _STYLES_OF if d in words or f"{d}s" in words), None)
            if "switches" in words:
                device = "switch"
        if device is None:
            expected = "'device: switch', 'device: lamp' or 'device: coil'"
            builder.problem(path, "a matrix of unknown parts", expected, key=True)
            builder.unread.add(name)
            continue
        styles = _STYLES_OF[device](builder.styles)
        _foreign_keys(builder, name, device)
        # An unknown style is wired as the usual one, so that nothing else looks wrong for it.
        if matrix.style:
            builder.known(matrix.style, styles, "a drive style", (*path, "style"))
        if matrix.sensing:
            builder.known(matrix.sensing, builder.styles.sensing, "a kind of sensing", (*path, "sensing"))
        found[name] = device
    return found


MOST_CELLS = 8 * 32 * 32

_STYLES_OF: Mapping[Literal["switch", "lamp", "coil"], Callable[[Styles], Mapping[str, object]]] = {
    "switch": lambda styles: styles.switch,
    "lamp": lambda styles: styles.lamp,
    "coil": lambda styles: styles.coil_matrix,
}
_OF_SWITCHES = (
    "sensing",
    "row_pull",
    "column_pull",
    "column_drive",
    "reads_low_at",
    "reads_high_at",
    "opto",
)
_OF_LAMPS = ("lamp", "row_resistor")
_OF_COILS = ("resistance", "inductance", "pulse")
_OF_LOADS = ("feed", "row_type")
_FOREIGN = {
    "switch": (*_OF_LAMPS, *_OF_COILS, *_OF_LOADS),
    "lamp": (*_OF_SWITCHES, *_OF_COILS),
    "coil": (*_OF_SWITCHES, *_OF_LAMPS),
}
_CELLS_FOREIGN = {
    "switch": ("lamp", "resistance", "inductance", "pulse", "holds"),
    "lamp": ("opto", "capacitor", "normally", "resistance", "inductance", "pulse", "holds"),
    "coil": ("opto", "capacitor", "normally", "lamp"),
}


def _foreign_keys(builder: Builder, name: str, device: str) -> None:
    """Keys that mean something for another kind of matrix only."""
    matrix = builder.form.matrices[name]
    for field in _FOREIGN[device]:
        if field in matrix.model_fields_set:
            found = f"'{field}' in a {device} matrix"
            builder.problem(("matrices", name, field), found, "keys that such a matrix has", key=True)
    for key, cell in matrix.cells.items():
        for field in _CELLS_FOREIGN[device]:
            if field in cell.model_fields_set:
                found = f"'{field}' in a {device} cell"
                here: FormPath = ("matrices", name, "cells", key, field)
                builder.problem(here, found, "keys that such a cell has", key=True)
    low, high = matrix.reads_low_at, matrix.reads_high_at
    if low is not None and high is not None and low > high:
        path: FormPath = ("matrices", name, "reads_low_at")
        builder.problem(path, f"{low:g} V, above reads_high_at", f"at most {high:g} V")


def check_form(builder: Builder) -> None:
    """Note everything that can be seen before anything is wired."""
    form = builder.form
    circuits = (
        form.matrices,
        form.coils,
        form.flippers,
        form.flash_lamps,
        form.direct_switches,
        form.direct_lamps,
        form.illumination,
    )
    if not any(circuits):
        builder.problem((), "a machine without circuits", "at least one matrix, coil, lamp or switch")
    for name in form.matrices:
        if name in RESERVED_ROOTS:
            taken = choice(sorted(RESERVED_ROOTS))
            builder.problem(("matrices", name), quoted(name), f"a name that is not one of {taken}", key=True)
    for key in form.coils:
        if key.endswith(" flipper"):
            builder.problem(("coils", key), quoted(key), "a flipper under 'flippers:'", key=True)
    cells = sum(len(row) for matrix in form.matrices.values() for row in matrix.chart or ())
    if cells > MOST_CELLS:
        builder.problem(("matrices",), f"charts with {cells} places", f"at most {MOST_CELLS} in a machine")
        raise TooManyProblems
    if form.link:
        for index, board in enumerate(form.link.boards):
            builder.known(board, form.boards, "a board", ("link", "boards", index))
    for key, facts in form.boards.items():
        builder.place(facts.place, ("boards", key, "place"), "boards")
    _connectors(builder)
    _supply_names(builder)
    _sides(builder)


_SIDE = re.compile(r"(?:high|low)[ -]?side|highside|lowside", re.IGNORECASE)


def _sides(builder: Builder) -> None:
    """A marking that says on which side a drive stands: that is said by its style."""
    form = builder.form
    sections: Mapping[str, Mapping[str, DrivePath]] = {
        "coils": form.coils,
        "flash_lamps": form.flash_lamps,
        "direct_lamps": form.direct_lamps,
        "flippers": form.flippers,
        "outputs": form.outputs,
    }
    for section, entries in sections.items():
        for key, facts in entries.items():
            if _SIDE.search(facts.drive_type):
                names = choice([f"'{name}'" for name in builder.styles.output if "side" in name])
                builder.problem(
                    (section, key, "drive_type"),
                    quoted(facts.drive_type),
                    "what is printed on the part, such as TIP102",
                    f"on which side it stands is said by 'style:': {names}",
                )


def _connectors(builder: Builder) -> None:
    form = builder.form
    if form.link and LINK in form.connectors:
        builder.problem(("connectors", LINK), quoted(LINK), "another name: the link has this one", key=True)
    for key, connector in form.connectors.items():
        path: FormPath = ("connectors", key)
        builder.board(connector.board, (*path, "board"))
        builder.place(connector.place, (*path, "place"), "boards")
        for position, what in connector.also.items():
            here = (*path, "also", position)
            size = connector.pins or 200
            if not 1 <= (whole_number(position) or 0) <= size:
                builder.problem(here, quoted(position), f"a position from 1 to {size}", key=True)
            if what != GROUND and what not in builder.supply_names():
                names = [GROUND, *(form.supplies or builder.supply_names())]
                builder.problem(
                    here, quoted(what), f"ground or a supply: {choice(names)}", near_miss(what, names)
                )


def _supply_names(builder: Builder) -> None:
    form = builder.form
    for name, supply in form.supplies.items():
        for field, value in (("bridge", supply.bridge), ("regulator", supply.regulator)):
            absent = isinstance(value, BridgeForm) and not value.fitted
            if supply.alternating and value is not None and not absent:
                path: FormPath = ("supplies", name, field)
                builder.problem(
                    path, f"a {field} on an alternating supply", "'alternating: no', or no such part"
                )
    for name, feed in form.feeds.items():
        builder.known_supply(feed.supply, ("feeds", name, "supply"))
    check_interlocks(builder)
