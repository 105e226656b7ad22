"""Switches wired straight to an input, and finding a switch by what a person calls it."""

from __future__ import annotations

from dataclasses import replace

from matrixdoc.definition.compile_builder import Builder, FormPath, coloured, named
from matrixdoc.definition.compile_drives import link_part, logic_input
from matrixdoc.definition.compile_optos import OPTO, OptoPlace, merged, opto_contact
from matrixdoc.definition.compile_supplies import rail_of
from matrixdoc.definition.errors import near_miss, quoted
from matrixdoc.definition.schema_loads import DirectSwitchForm
from matrixdoc.definition.styles import picked
from matrixdoc.definition.wiring import GROUND, Sensor, Switch


class SwitchIndex:
    """Finds switches by reference, cell, number or title. Made once all switches are wired."""

    def __init__(self, builder: Builder) -> None:
        self.builder = builder
        self.names: dict[str, set[str]] = {}
        matrices = {s.matrix for s in builder.switches.values() if s.matrix}
        for reference, switch in builder.switches.items():
            _, _, last = reference.partition("/")
            names = {reference, reference.replace("/", " "), switch.title}
            names.update(builder.parts[switch.contact].aliases)
            if not switch.matrix or len(matrices) == 1:
                names.add(last)
            for name in names:
                self.names.setdefault(name.strip().lower(), set()).add(reference)

    def find(self, name: str, path: FormPath) -> tuple[str, str]:
        """The switch called ``name``, and its own sensor on the drive board if the logic does not read it.

        An unknown or ambiguous name is noted as a problem and gives empty texts.
        """
        found = sorted(self.names.get(name.strip().lower(), ()))
        if len(found) == 1:
            switch = self.builder.switches[found[0]]
            sensor = f"{found[0]}/sensing"
            return found[0], sensor if not switch.sensor and sensor in self.builder.sensors else ""
        if found:
            places = ", ".join(reference.replace("/", " ") for reference in found)
            self.builder.problem(
                path, f"{quoted(name)}, which is {places}", "the one that is meant, such as C3R5"
            )
        elif not self.builder.of_unread(name):
            expected = "a switch, by its cell (C3R5), its number or its name"
            self.builder.problem(path, quoted(name), expected, near_miss(name, self.names))
        return "", ""

    def contact(self, name: str, path: FormPath) -> str:
        """The contact of the switch called ``name``."""
        reference, _ = self.find(name, path)
        return self.builder.switches[reference].contact if reference else ""


def compile_direct_switches(builder: Builder) -> None:
    """Wire every switch that has an input of its own."""
    for key, facts in builder.form.direct_switches.items():
        _direct_switch(builder, key, facts)


def _direct_switch(builder: Builder, key: str, facts: DirectSwitchForm) -> None:
    defaults = builder.styles.defaults
    path: FormPath = ("direct_switches", key)
    prefix = f"direct switch/{key}"
    words = f"direct switch {key}" + (f" ({facts.title})" if facts.title else "")
    read_by_logic = facts.read_by == "logic"
    home = builder.drive_board if not read_by_logic else builder.logic_board or builder.drive_board
    board = builder.board(facts.board, (*path, "board"), home)
    place = builder.place(facts.place, (*path, "place"), "cabinet")
    if facts.sensing:
        builder.known(facts.sensing, builder.styles.sensing, "a kind of sensing", (*path, "sensing"))
    sensing = picked(builder.styles.sensing, facts.sensing, defaults.sensing)
    rail, volts = rail_of(builder, facts.supply, "logic", (*path, "supply"))
    inner, near, far = f"{prefix}/board", f"{prefix}/near", f"{prefix}/far"
    builder.add(
        f"{prefix}/pull",
        "resistor",
        (inner, rail),
        title=f"{words}, pull-up resistor",
        place=builder.board_place(board),
        values={"ohm": facts.pull or defaults.direct_pull_ohm},
        board=board,
        origin="stated" if facts.pull else "style default",
    )
    sensor = builder.add(
        f"{prefix}/sensing",
        "sensing",
        (inner, GROUND),
        title=f"{words}, input part{named(facts.sensor)}",
        place=builder.board_place(board),
        board=board,
        type_name=sensing.type,
        alias=(facts.sensor,),
        origin="stated" if facts.sensor else "style default",
    )
    behind: list[str] = []
    if read_by_logic:
        # An input on the drive board reaches the logic over the link; one on the logic board does not.
        if facts.link is not None or (builder.form.link and board == builder.drive_board):
            behind.append(link_part(builder, prefix, words, facts.link, "", path))
        behind.append(logic_input(builder, prefix, words, facts.logic, board))
    low, high = sensing.thresholds(volts)
    builder.sensors[sensor] = Sensor(
        sensor, inner, low, high, "low", sensing.floating, tuple(b for b in behind if b)
    )
    outer, _ = builder.harness(prefix, inner, words, facts.pin, board, path)
    colour = coloured(facts.wire)
    builder.add(
        f"{prefix}/wire",
        "wire",
        (outer, near),
        title=f"{words} wire{colour}, from its pin to the switch",
        place=place,
        colour=facts.wire,
        origin="stated" if facts.wire else "assumed",
    )
    contact, lit = _contact(builder, facts, OptoPlace(prefix, words, place, path), (near, far))
    builder.add(f"{prefix}/return", "wire", (far, GROUND), title=f"{words}, ground wire", place=place)
    builder.line_nets[prefix.replace("/", " ")] = outer
    builder.switches[prefix] = Switch(
        prefix,
        facts.title or key,
        contact,
        sensor=sensor if read_by_logic else "",
        normally_closed=lit or facts.normally == "closed",
    )


def _contact(
    builder: Builder, facts: DirectSwitchForm, at: OptoPlace, nets: tuple[str, str]
) -> tuple[str, bool]:
    """The contact, and whether it is a receiver that conducts while nothing is in its beam."""
    if facts.element == OPTO:
        if facts.normally == "closed":
            found = "'normally: closed' of an optical pair"
            builder.problem((*at.path, "normally"), found, "'opto: {blocked: open}' or '{blocked: closed}'")
        named_at = replace(at, alias=(facts.number,), note=facts.note)
        return opto_contact(builder, named_at, merged(facts.opto), nets)
    element = facts.element or builder.styles.defaults.element
    if facts.opto is not None:
        builder.problem((*at.path, "opto"), f"'opto' of a {element} contact", "'element: opto'", key=True)
    contact = builder.add(
        f"{at.reference}/contact",
        "contact",
        nets,
        title=f"{at.words}, contact",
        place=at.place,
        type_name=element,
        alias=(facts.number,),
        origin="stated",
        note=facts.note,
    )
    return contact, False
