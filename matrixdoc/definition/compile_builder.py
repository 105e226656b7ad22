"""The one mutable thing of the compile step: parts, nets and problems are collected here."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from matrixdoc.definition.document import Document, path_words
from matrixdoc.definition.errors import Problem, choice, near_miss, quoted
from matrixdoc.definition.numbers import colour_words
from matrixdoc.definition.schema import MachineForm
from matrixdoc.definition.schema_boards import PinPlace
from matrixdoc.definition.styles import Styles, load_styles
from matrixdoc.definition.wiring import (
    Coil,
    Connector,
    Drive,
    Lamp,
    Matrix,
    Opto,
    Origin,
    Part,
    Place,
    Sensor,
    Supply,
    Switch,
)

FormPath = tuple[str | int, ...]

MOST_PROBLEMS = 200
LINK = "link"
"""The key that the link between the boards has among the connectors."""


_CELL_OR_NUMBER = re.compile(r"c\d+r\d+|\d+")


class TooManyProblems(Exception):  # noqa: N818 - ends the compile step, the problems are the error
    """Enough is wrong: looking on would cost time and help nobody."""


def whole_number(text: str) -> int | None:
    """A number of one to three plain digits without a leading zero, or None."""
    return int(text) if re.fullmatch(r"0|[1-9][0-9]{0,2}", text) else None


def coloured(code: str) -> str:
    """``", white-brown"`` for ``WH-BN``, to stand behind a wire's name; nothing for no colour."""
    return f", {colour_words(code)}" if code else ""


def named(*names: str) -> str:
    """The names that are not empty, each behind a space: ``" Q3 TIP102"``."""
    return "".join(f" {name}" for name in names if name)


@dataclass(slots=True)
class PinUse:
    """Who sits on a position of a connector: the pin part, its wire-side net, where it was said."""

    part: str
    net: str
    path: FormPath


@dataclass
class Builder:
    """Collects the resolved wiring of one machine; ``problems`` collects everything wrong with it."""

    form: MachineForm
    document: Document | None = None
    styles: Styles = field(default_factory=load_styles)
    parts: dict[str, Part] = field(default_factory=dict)
    drives: dict[str, Drive] = field(default_factory=dict)
    sensors: dict[str, Sensor] = field(default_factory=dict)
    matrices: dict[str, Matrix] = field(default_factory=dict)
    switches: dict[str, Switch] = field(default_factory=dict)
    lamps: dict[str, Lamp] = field(default_factory=dict)
    coils: dict[str, Coil] = field(default_factory=dict)
    supplies: dict[str, Supply] = field(default_factory=dict)
    optos: dict[str, Opto] = field(default_factory=dict)
    neighbours: dict[tuple[str, str], str] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    pin_uses: dict[str, dict[int, PinUse]] = field(default_factory=dict)
    link_uses: dict[int, str] = field(default_factory=dict)
    drive_uses: dict[tuple[str, str], str] = field(default_factory=dict)
    """Board and name of each output part that drives one thing only -> words for what it drives."""
    feed_nets: dict[str, str] = field(default_factory=dict)
    feed_chains: dict[str, dict[str, str]] = field(default_factory=dict)
    line_nets: dict[str, str] = field(default_factory=dict)
    used_places: dict[str, Place] = field(default_factory=dict)
    unread: set[str] = field(default_factory=set)
    """Matrices that could not be read, so that their names are missing: who uses those is not to blame."""

    # -- problems ------------------------------------------------------------------------------

    def problem(
        self, path: FormPath, found: str, expected: str, suggestion: str = "", *, key: bool = False
    ) -> None:
        """Note one thing that is wrong with the definition at ``path``."""
        if len(self.problems) >= MOST_PROBLEMS:
            raise TooManyProblems
        if self.document is not None:
            self.problems.append(self.document.problem(path, found, expected, suggestion, key=key))
        else:
            self.problems.append(Problem("", 0, 0, path_words(path), found, expected, suggestion))

    def known(self, name: str | None, allowed: Mapping[str, object], what: str, path: FormPath) -> bool:
        """Whether ``name`` is one of ``allowed``; a problem is noted where it is not."""
        if not name:
            return False
        if name in allowed:
            return True
        names = list(allowed)
        expected = f"{what}: {choice(names)}" if names else f"{what}; the definition describes none"
        self.problem(path, quoted(name), expected, near_miss(name, names))
        return False

    def supply_names(self) -> list[str]:
        """Supplies that may be named: the described ones, and the usual ones of those that are not."""
        usual = [name for name in self.styles.supply if name != "other"]
        return list(dict.fromkeys([*self.form.supplies, *usual]))

    def known_supply(self, name: str, path: FormPath) -> bool:
        """Whether a supply may be named so; a problem that offers the described ones where not."""
        names = self.supply_names()
        return name in names or self.known(name, self.form.supplies or dict.fromkeys(names), "a supply", path)

    def of_unread(self, name: str) -> bool:
        """Whether ``name`` may be one of a matrix that could not be read: a line, a cell, a title in it."""
        wanted = name.strip().lower()
        for matrix in self.unread:
            form = self.form.matrices[matrix]
            titles = {text.strip().lower() for row in form.chart or () for text in row}
            titles.update(text.strip().lower() for text in form.by_number.values())
            titles.update((cell.title or cell.number).lower() for cell in form.cells.values())
            own = (f"{matrix.lower()} ", f"{matrix.lower()}/")
            if wanted in titles or wanted.startswith(own) or _CELL_OR_NUMBER.fullmatch(wanted):
                return True
        return False

    # -- parts ---------------------------------------------------------------------------------

    def add(
        self,
        reference: str,
        kind: str,
        nets: Sequence[str] = (),
        *,
        title: str,
        place: str = "",
        values: Mapping[str, float] | None = None,
        board: str = "",
        pin: PinPlace | None = None,
        connector: str = "",
        position: int | None = None,
        colour: str = "",
        type_name: str = "",
        alias: Sequence[str] = (),
        origin: Origin = "assumed",
        note: str = "",
    ) -> str:
        """Add one part and return its reference."""
        if reference in self.parts:
            # Names that meet: a matrix called "coil", a coil called like a flipper.
            self.problem((), f"two parts that would be called {quoted(reference)}", "different names")
            return reference
        self.parts[reference] = Part(
            reference=reference,
            kind=kind,
            nets=tuple(nets),
            values=dict(values or {}),
            title=title,
            place=place,
            board=board,
            connector=pin.connector if pin else connector,
            position=pin.position if pin else position,
            colour=colour,
            type_name=type_name,
            aliases=tuple(a for a in alias if a),
            origin=origin,
            note=note,
        )
        return reference

    def drive(
        self,
        reference: str,
        title: str,
        path: Sequence[str],
        output: str,
        select: tuple[tuple[str, int], ...] = (),
    ) -> str:
        """Add one command line and return its reference."""
        self.drives[reference] = Drive(reference, title, tuple(path), output, select=select)
        return reference

    def neighbour(self, one: str, two: str, where: str) -> None:
        """Note that two nets lie side by side; the first place that says so is kept."""
        if one != two:
            key = (one, two) if one < two else (two, one)
            self.neighbours.setdefault(key, where)

    # -- places and boards ---------------------------------------------------------------------

    def place(self, name: str | None, path: FormPath, otherwise: str) -> str:
        """The key of a place: the stated one, or the usual one where nothing is stated."""
        stated = self.form.places
        if name:
            if name in stated:
                return name
            usual = self.styles.places
            if stated or name not in usual:
                self.known(name, stated or usual, "a place", path)
                return ""
            otherwise = name
        if not otherwise or otherwise in stated:
            return otherwise
        if otherwise in self.styles.places:
            self.used_places[otherwise] = self.styles.places[otherwise]
        return otherwise

    def board(self, name: str | None, path: FormPath, otherwise: str = "") -> str:
        """The key of a board: the stated one, or ``otherwise``."""
        if name:
            return name if self.known(name, self.form.boards, "a board", path) else ""
        return otherwise

    def board_place(self, board: str) -> str:
        """Where a board sits."""
        facts = self.form.boards.get(board)
        if facts is None:
            return self.place(None, (), "boards")
        return self.place(facts.place, ("boards", board, "place"), "boards")

    @property
    def logic_board(self) -> str:
        """The board with the logic, where the definition says which."""
        return self.form.link.boards[0] if self.form.link else ""

    @property
    def drive_board(self) -> str:
        """The board with the drives, where the definition says which."""
        if self.form.link:
            return self.form.link.boards[1]
        return next(iter(self.form.boards), "") if len(self.form.boards) == 1 else ""

    # -- the way from a board into the harness -----------------------------------------------------

    def claim(self, pin: PinPlace | None, part: str, net: str, path: FormPath) -> None:
        """Put a pin part on a position of a connector; two on one position are a problem."""
        if pin is None:
            return
        if not self.known(pin.connector, self.form.connectors, "a connector", path):
            return
        size = self.form.connectors[pin.connector].pins
        if size is not None and pin.position > size:
            self.problem(path, f"position {pin.position} of {pin.connector}", f"a position from 1 to {size}")
            return
        taken = self.pin_uses.setdefault(pin.connector, {})
        if pin.position in taken:
            other = taken[pin.position]
            self.problem(
                path,
                f"position {pin.position} of connector {pin.connector} again",
                f"each position once; it carries {self.parts[other.part].title} already",
            )
            return
        taken[pin.position] = PinUse(part, net, path)

    def pin_place(self, pin: PinPlace | None, board: str) -> str:
        """Where a person reaches a connector."""
        if pin is not None:
            facts = self.form.connectors.get(pin.connector)
            if facts is not None:
                if facts.place:
                    return self.place(facts.place, ("connectors", pin.connector, "place"), "boards")
                board = facts.board or board
        return self.board_place(board)

    def harness(
        self,
        prefix: str,
        inner: str,
        words: str,
        pin: PinPlace | None,
        board: str,
        path: FormPath,
        names: tuple[str, str, str] = ("header", "pin", "pin"),
    ) -> tuple[str, tuple[str, str]]:
        """Header joint and connector pin from the board's net ``inner`` into the harness.

        Returns the wire-side net and the two part references, the joint first. ``names`` are the
        last names of the joint, of the pin and of the pin's net.
        """
        header_name, pin_name, net_name = names
        header_net = f"{prefix}/{header_name}"
        outer = f"{prefix}/{net_name}"
        origin: Origin = "stated" if pin else "assumed"
        place = self.pin_place(pin, board)
        if pin:
            board = (
                self.form.connectors[pin.connector].board or board
                if pin.connector in self.form.connectors
                else board
            )
            at = f"pin {pin.position} of connector {pin.connector}"
        else:
            at = "connector pin"
        joint = self.add(
            f"{prefix}/{header_name}",
            "joint",
            (inner, header_net),
            title=f"{words}, solder joint of the header at {at}",
            place=place,
            board=board,
            pin=pin,
            origin=origin,
        )
        terminal = self.add(
            f"{prefix}/{pin_name}",
            "pin",
            (header_net, outer),
            title=f"{words}, {at}",
            place=place,
            board=board,
            pin=pin,
            origin=origin,
        )
        self.claim(pin, terminal, outer, (*path, "pin"))
        return outer, (joint, terminal)

    def connectors(self) -> dict[str, Connector]:
        """Every connector with the pin parts on its positions in order."""
        found: dict[str, Connector] = {}
        for key, facts in self.form.connectors.items():
            uses = self.pin_uses.get(key, {})
            size = facts.pins or max([*uses, *(whole_number(p) or 0 for p in facts.also)], default=0)
            pins = tuple(uses[n].part if n in uses else "" for n in range(1, min(size, 200) + 1))
            found[key] = Connector(key, facts.title or f"connector {key}", facts.board or "", pins)
        link = self.form.link
        if link is not None:
            size = link.pins or max(self.link_uses, default=0)
            pins = tuple(self.link_uses.get(n, "") for n in range(1, size + 1))
            found[LINK] = Connector(LINK, link.title or "link between the boards", link.boards[1], pins)
        return found
