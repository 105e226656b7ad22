"""Which nets lie side by side, and so can be bridged: pins, wires of one bundle, lugs of a cell."""

from __future__ import annotations

from itertools import pairwise

from matrixdoc.definition.compile_builder import Builder, whole_number
from matrixdoc.definition.errors import choice, near_miss, quoted
from matrixdoc.definition.wiring import GROUND


def compile_neighbours(builder: Builder) -> None:
    """Note every pair of neighbours that the definition shows (lugs of cells are noted already)."""
    _stated_pins(builder)
    _assumed_pins(builder)
    _bundles(builder)
    _lugs_near_metal(builder)


def _lugs_near_metal(builder: Builder) -> None:
    """The lug between a switch and its diode can bend until it touches the metal it is mounted on."""
    for matrix in builder.matrices.values():
        if matrix.device != "switch":
            continue
        for cell in matrix.cells:
            contact, diode = builder.parts.get(cell.element), builder.parts.get(cell.diode)
            if contact is not None and diode is not None:
                for net in set(contact.nets) & set(diode.nets):
                    where = f"lug between switch and diode of {cell.reference.replace('/', ' ')}, and metal"
                    builder.neighbour(net, GROUND, where)


def _stated_pins(builder: Builder) -> None:
    for key, connector in builder.form.connectors.items():
        uses = builder.pin_uses.get(key, {})
        nets: dict[int, str] = {}
        for text, what in connector.also.items():
            position = whole_number(text)
            if position is None:
                continue
            if position in uses:
                other = builder.parts[uses[position].part].title
                found = f"position {position} of connector {key} again"
                expected = f"each position once; it carries {other} already"
                builder.problem(("connectors", key, "also", text), found, expected, key=True)
            nets[position] = GROUND if what == GROUND else f"rail/{what}"
        nets |= {position: use.net for position, use in uses.items()}
        for position in sorted(nets):
            if position + 1 in nets:
                where = f"pins {position} and {position + 1} of connector {key}"
                builder.neighbour(nets[position], nets[position + 1], where)


def _assumed_pins(builder: Builder) -> None:
    """Lines whose pins nobody stated: the chart's order is taken for that of the pins."""
    for matrix in builder.matrices.values():
        for lines, word in ((matrix.columns, "columns"), (matrix.rows, "rows")):
            for one, two in pairwise(lines):
                pins = [builder.parts.get(f"{matrix.name}/{line.key}/pin") for line in (one, two)]
                if all(pin is not None and pin.position is None for pin in pins):
                    nets = [pin.nets[1] for pin in pins if pin is not None]
                    where = f"{matrix.name} {word} {one.key} and {two.key}, order of the pins assumed"
                    builder.neighbour(nets[0], nets[1], where)


def _bundles(builder: Builder) -> None:
    names = builder.line_nets
    lowered = {name.lower(): name for name in names}
    for index, bundle in enumerate(builder.form.bundles):
        found: list[str | None] = []
        for number, line in enumerate(bundle.lines):
            name = lowered.get(line.lower())
            if name is None and not builder.of_unread(line):
                expected = f"a line of this machine: {choice(list(names))}"
                path = ("bundles", index, "lines", number)
                builder.problem(path, quoted(line), expected, near_miss(line, names))
            found.append(name)
        where = f"wires in one bundle{', ' + bundle.title if bundle.title else ''}"
        for one, two in pairwise(found):
            if one is not None and two is not None:
                builder.neighbour(names[one], names[two], where)
