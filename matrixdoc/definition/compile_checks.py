"""What the definition says about itself: names that must exist, roots that must be free."""

from __future__ import annotations

from matrixdoc.definition.compile_builder import Builder, FormPath
from matrixdoc.definition.errors import choice, near_miss, quoted
from matrixdoc.definition.references import RESERVED_ROOTS
from matrixdoc.definition.wiring import GROUND


def devices(builder: Builder) -> dict[str, str]:
    """What each matrix consists of; a matrix called "switch" or "lamp" says so by its name."""
    found: dict[str, str] = {}
    for name, matrix in builder.form.matrices.items():
        path: FormPath = ("matrices", name)
        device = matrix.device
        if device is None:
            words = name.lower().replace("-", " ").split()
            device = next((d for d in ("switch", "lamp") if d in words or f"{d}s" in words), None)
            if "switches" in words:
                device = "switch"
        if device is None:
            builder.problem(path, "a matrix of unknown parts", "'device: switch' or 'device: lamp'", key=True)
            continue
        styles = builder.styles.switch if device == "switch" else builder.styles.lamp
        usable = True
        if matrix.style and not builder.known(matrix.style, styles, "a drive style", (*path, "style")):
            usable = False
        if matrix.sensing and not builder.known(
            matrix.sensing, builder.styles.sensing, "a kind of sensing", (*path, "sensing")
        ):
            usable = False
        if usable:
            found[name] = device
    return found


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
    if form.link:
        for index, board in enumerate(form.link.boards):
            builder.known(board, form.boards, "a board", ("link", "boards", index))
    for key, facts in form.boards.items():
        builder.place(facts.place, ("boards", key, "place"), "boards")
    _connectors(builder)
    _supply_names(builder)


def _connectors(builder: Builder) -> None:
    form = builder.form
    for key, connector in form.connectors.items():
        path: FormPath = ("connectors", key)
        builder.board(connector.board, (*path, "board"))
        builder.place(connector.place, (*path, "place"), "boards")
        for position, what in connector.also.items():
            here = (*path, "also", position)
            size = connector.pins or 200
            if not position.isdigit() or not 1 <= int(position[:6]) <= size:
                builder.problem(here, quoted(position), f"a position from 1 to {size}", key=True)
            names = [GROUND, *dict.fromkeys([*form.supplies, *builder.styles.supply])]
            if what not in names:
                builder.problem(
                    here, quoted(what), f"ground or a supply: {choice(names)}", near_miss(what, names)
                )


def _supply_names(builder: Builder) -> None:
    form = builder.form
    allowed = dict.fromkeys([*form.supplies, *builder.styles.supply])
    for name, feed in form.feeds.items():
        builder.known(feed.supply, allowed, "a supply", ("feeds", name, "supply"))
