"""Checks worth considering for a list of suspects, generated from the machine.

No check is listed by hand for any machine: every suspect part belongs to devices (a cell, a lamp,
a coil) and to lines; what a person can look at, measure or mend there follows. Minutes for each
kind of work are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from matrixdoc.checks import acts
from matrixdoc.checks.cautions import (
    CAUTION_COIL,
    CAUTION_FUSE,
    CAUTION_LAMP,
    CAUTION_LIVE,
    CAUTION_MAINS,
    CAUTION_OFF,
    CAUTION_SOLDER,
)
from matrixdoc.checks.model import MachineModel
from matrixdoc.checks.probing import Probing
from matrixdoc.checks.situation import ALL_LAMPS, Check, Look, MeterFunction, Situation
from matrixdoc.checks.wording import apart_words, device_words, net_words, part_words
from matrixdoc.definition import chains
from matrixdoc.definition.wiring import GROUND, Cell, Coil, Line, Matrix, Part
from matrixdoc.faults.priors import Fault

LOOK_MINUTES = 1.0
FUSE_MINUTES = 2.0
VOLTS_MINUTES = 3.0
OHMS_MINUTES = 4.0
DIODE_MINUTES = 4.0
LEAST_WARMTH = 0.2
"""Warming is offered for parts whose coming and going follows warmth at least this often."""


@dataclass(frozen=True, slots=True)
class Belongings:
    """Where a part belongs: cells, lines (with matrix) and coils, and the lamps outside matrices."""

    cells: tuple[tuple[Matrix, Cell], ...]
    lines: tuple[tuple[Matrix, Line], ...]
    coils: tuple[Coil, ...]
    lamps: tuple[str, ...]
    switches: tuple[str, ...]
    supplies: tuple[str, ...]


class CheckGenerator:
    """Generates checks for one machine. Everything it knows is read off the wiring once."""

    def __init__(self, model: MachineModel) -> None:
        self.model = model
        self.wiring = model.circuit.wiring
        self.probing = Probing(self.wiring)
        self._cells: dict[str, list[tuple[Matrix, Cell]]] = {}
        self._lines: dict[str, list[tuple[Matrix, Line]]] = {}
        self._net_lines: dict[str, list[tuple[Matrix, Line]]] = {}
        self._coils: dict[str, list[Coil]] = {}
        self._lamps: dict[str, list[str]] = {}
        self._switches: dict[str, list[str]] = {}
        self._supplies: dict[str, list[str]] = {}
        loose = [(f.part, entry) for f, entry in model.possible.items() if entry.duty > 0.0]
        self._loose = frozenset(part for part, _ in loose)
        follow = (part for part, entry in loose if entry.opens_warm + entry.opens_cold >= LEAST_WARMTH)
        self._follows_warmth = frozenset(follow)
        for matrix in self.wiring.matrices.values():
            self._index_matrix(matrix)
        self._index_devices()

    def _index_matrix(self, matrix: Matrix) -> None:
        """Note which parts and nets belong to which cells and lines."""
        for cell in matrix.cells:
            for reference in {*cell.parts, cell.element, cell.diode} - {""}:
                self._cells.setdefault(reference, []).append((matrix, cell))
        for line in (*matrix.columns, *matrix.rows):
            for reference in self._line_parts(line):
                self._lines.setdefault(reference, []).append((matrix, line))
            for net in {line.board_net, *line.lug_nets}:
                self._net_lines.setdefault(net, []).append((matrix, line))

    def _index_devices(self) -> None:
        """Note which parts belong to which coils, to lamps and switches outside matrices, to supplies."""
        for coil in self.wiring.coils.values():
            own = {*coil.parts, coil.element, coil.diode, *self.model.drives_path(coil.drive)}
            for reference in own - {""}:
                self._coils.setdefault(reference, []).append(coil)
        for name, lamp in self.wiring.lamps.items():
            if not lamp.matrix:
                for reference in {lamp.element, *self.model.drives_path(lamp.drive)}:
                    self._lamps.setdefault(reference, []).append(name)
        for name, switch in self.wiring.switches.items():
            sensor = self.wiring.sensors.get(switch.sensor) if not switch.matrix else None
            for reference in {switch.contact, *((sensor.reference, *sensor.path) if sensor else ())}:
                self._switches.setdefault(reference, []).append(name)
        for name, supply in self.wiring.supplies.items():
            for reference in (*supply.ac_parts, *supply.rectifiers, supply.capacitor, supply.regulator):
                self._supplies.setdefault(reference, []).append(name)

    def _line_parts(self, line: Line) -> set[str]:
        drive = self.wiring.drives.get(line.drive)
        sensor = self.wiring.sensors.get(line.sensor)
        found = set(line.parts)
        if drive is not None:
            found |= {*drive.path, drive.output}
        if sensor is not None:
            found |= {sensor.reference, *sensor.path}
        return found

    def belongings(self, reference: str) -> Belongings:
        """What the part is a part of. A bridge belongs to the lines and cells of both its nets."""
        part = self.model.part(reference)
        cells = list(self._cells.get(reference, ()))
        lines = list(self._lines.get(reference, ()))
        if part.kind == "bridge":
            for net in part.nets:
                lines.extend(self._net_lines.get(net, ()))
        return Belongings(
            tuple(cells),
            tuple(_unique(lines)),
            tuple(self._coils.get(reference, ())),
            tuple(self._lamps.get(reference, ())),
            tuple(self._switches.get(reference, ())),
            tuple(self._supplies.get(reference, ())),
        )

    # -- looks -------------------------------------------------------------------------------

    def press(self, held: Sequence[str]) -> Check:
        """Hold switches and look at the scan."""
        ordered = tuple(sorted(held))
        names = " and ".join(device_words(self.wiring, h) for h in ordered)
        return Check(
            title=f"hold {names}; see what the switch scan reads"
            if ordered
            else "look at the resting switch scan",
            kind="look",
            situation=Situation(held=ordered),
            look=Look("reads"),
            minutes=LOOK_MINUTES + 0.5 * max(0, len(ordered) - 1),
            set_up=("switch self-test on, nothing resting on any switch",),
            key=f"press {' '.join(ordered)}" if ordered else "resting scan",
        )

    def lamp(self, lamp: str, pattern: tuple[str, ...]) -> Check:
        """Command lamps and look at one of them."""
        what = "all lamps on" if ALL_LAMPS in pattern else ("alone" if pattern == (lamp,) else "with others")
        return Check(
            title=f"lamp test, {what}: look at {device_words(self.wiring, lamp)}",
            kind="look",
            situation=Situation(lamps=pattern),
            look=Look("lamp", lamp),
            minutes=LOOK_MINUTES,
            set_up=(f"lamp self-test, {what}",),
            key=f"lamp {lamp} of {' '.join(pattern)}",
        )

    def pulse(self, coil: str) -> Check:
        """Pulse one coil and see what it does."""
        return Check(
            title=f"coil test: pulse {device_words(self.wiring, coil)}",
            kind="look",
            situation=Situation(pulsed=coil),
            look=Look("coil", coil),
            minutes=LOOK_MINUTES,
            set_up=("coil self-test, one coil at a time",),
            cautions=(CAUTION_COIL,),
            key=f"pulse {coil}",
        )

    def fuse(self, reference: str) -> Check:
        """A fuse by meter, out of its clip."""
        part = self.model.part(reference)
        return Check(
            title=f"measure {part_words(part)}, out of its clip",
            kind="meter",
            situation=Situation(power=False),
            look=Look("fuse", reference),
            minutes=FUSE_MINUTES,
            places=(part.place,) if part.place else (),
            set_up=("unplug, take the fuse out, measure ohms across it",),
            cautions=(CAUTION_FUSE,),
            key=f"fuse {reference}",
        )

    def meter(
        self,
        function: MeterFunction,
        red: str,
        black: str,
        situation: Situation,
        title: str = "",
    ) -> Check:
        """A meter between two nets, each reached at its own place."""
        live = situation.power
        minutes = {"volts": VOLTS_MINUTES, "ohms": OHMS_MINUTES, "diode": DIODE_MINUTES}[function]
        words = {"volts": "volts", "ohms": "ohms", "diode": "diode test"}[function]
        where = f"red on {net_words(self.wiring, red)}, black on {net_words(self.wiring, black)}"
        unplugged = [apart_words(self.model.part(reference)) for reference in situation.opened]
        apart = f", with {' and '.join(unplugged)}" if unplugged else ""
        places = [self.probing.place(net) for net in (red, black)]
        places += [self.model.part(reference).place for reference in situation.opened]
        return Check(
            title=(title or f"{words}: {where}") + apart,
            kind="meter",
            situation=situation,
            look=Look("meter", function=function, red=red, black=black),
            minutes=minutes,
            places=tuple(dict.fromkeys(p for p in places if p)),
            set_up=(*unplugged, *self._holding(situation), f"meter on {words}: {where}"),
            cautions=(CAUTION_LIVE if live else CAUTION_OFF,),
            risk=0.5 if live else 0.0,
            key=" ".join([function, red, black, "on" if live else "off", *situation.held, *situation.opened]),
        )

    def _holding(self, situation: Situation) -> tuple[str, ...]:
        """What a hand does while the leads are on: hold a switch, stand in the beam of an optical pair."""
        optos = self.wiring.optos
        return tuple(
            f"{'block the beam of' if held in optos else 'hold'} {device_words(self.wiring, held)}"
            for held in situation.held
        )

    def repair(self, faults: Sequence[Fault], proof: Check) -> Check:
        """Mend a part the way its most probable fault wants; ``proof`` is the look that shows it."""
        entry = self.model.possible[faults[0]]
        part = self.model.part(faults[0].part)
        cautions = [CAUTION_FUSE if part.kind == "fuse" else CAUTION_SOLDER]
        if entry.action in ("clean", "reseat"):
            cautions = [CAUTION_OFF]
        if part.kind == "winding":
            cautions = [CAUTION_MAINS]
        if part.kind in ("lamp", "led"):
            cautions = [CAUTION_LAMP]
        if entry.damage:
            cautions.append(entry.damage)
        first = self._before_power(part.reference) if entry.action == "replace" else ()
        return Check(
            title=f"{entry.action} {part_words(part)}",
            kind="act",
            situation=proof.situation,
            look=proof.look,
            minutes=entry.repair_minutes + proof.minutes + OHMS_MINUTES * len(first),
            places=(part.place,) if part.place else (),
            set_up=(entry.repair, *first, f"then: {proof.title}"),
            cautions=tuple(cautions),
            mends=(part.reference,),
            action=entry.action,
            success=entry.success,
            key=f"{entry.action} {part.reference}",
        )

    def _before_power(self, reference: str) -> tuple[str, ...]:
        """What must be measured before a new drive part gets power: what it drives may have killed it."""
        coils = [c for c in self._coils.get(reference, ()) if c.element]
        if reference not in self.model.drive_of_output or not coils:
            return ()
        ohms = [self.model.circuit.values(c.element)["ohm"] for c in coils]
        least = " or ".join(sorted({f"{value:.3g} ohm" for value in ohms}))
        return (
            (
                f"before power: measure the coil ({least}), its diode, and the pre-driver: "
                "a shorted one kills the new part at once"
            ),
        )

    # -- what to do about a suspect ----------------------------------------------------------

    def for_part(self, reference: str) -> list[Check]:
        """Looks and meter checks that bear on one part."""
        part = self.model.part(reference)
        found: list[Check] = []
        own = self.belongings(reference)
        for matrix, cell in own.cells:
            found.extend(self._cell_looks(matrix, cell))
            found.extend(acts.for_cell(self.model, matrix, cell))
        for matrix, line in own.lines:
            found.extend(self._line_looks(matrix, line))
            found.extend(self._line_meter(matrix, line))
            found.extend(acts.for_line(self.model, matrix, line))
        for coil in own.coils:
            found.append(self.pulse(coil.reference))
            found.extend(self._coil_meter(coil))
            found.extend(acts.for_coil(self.model, coil))
        found.extend(self.lamp(lamp, (lamp,)) for lamp in own.lamps)
        for switch in own.switches:
            found.append(self.press((switch,)))
            found.extend(acts.across_contact(self.model, switch))
        for supply in own.supplies:
            rail = self.wiring.supplies[supply].rail
            found.append(self.meter("volts", rail, GROUND, Situation()))
        if part.kind == "fuse":
            found.append(self.fuse(reference))
        found.extend(self._feed_meter(part))
        found.extend(self._across(part))
        if reference in self._loose:
            found.extend(acts.wiggle(part))
            if reference in self._follows_warmth:
                found.extend(acts.warm(part))
        return [check for check in found if not self._closed_under_power(check)]

    def _closed_under_power(self, check: Check) -> bool:
        """Whether the check puts leads, power on, where the machine may only be open with power off."""
        places = [self.wiring.places[p] for p in check.places if p in self.wiring.places]
        return check.kind == "meter" and check.situation.power and any(p.power_off for p in places)

    def _cell_looks(self, matrix: Matrix, cell: Cell) -> list[Check]:
        if matrix.device == "switch":
            return [self.press((cell.reference,)), self.press(()), *self._corners(matrix, cell)]
        if matrix.device == "lamp":
            return [
                self.lamp(cell.reference, (cell.reference,)),
                self.lamp(cell.reference, (ALL_LAMPS,)),
                *(self.lamp(c.reference, (cell.reference,)) for c in self._neighbours(matrix, cell)[:2]),
            ]
        return [self.pulse(cell.reference)]

    def _corners(self, matrix: Matrix, cell: Cell) -> list[Check]:
        """Rectangles that bring a bad diode to light: three corners held, the suspect one between the
        other two, and two of them alone. The fourth corner reads with weak idle columns; with hard
        ones a closed switch of the row goes missing: the circuit says which.
        """
        place = {(c.column, c.row): c for c in matrix.cells}
        for other in matrix.cells:
            if other.column == cell.column or other.row == cell.row:
                continue
            near = place.get((cell.column, other.row))
            across = place.get((other.column, cell.row))
            if near is not None and across is not None:
                corners = (cell.reference, near.reference, across.reference)
                return [self.press(corners), self.press(corners[:2]), self.press((corners[0], corners[2]))]
        return []

    def _neighbours(self, matrix: Matrix, cell: Cell) -> list[Cell]:
        """One fitted cell of the same column and one of the same row."""
        column = [c for c in matrix.cells if c.column == cell.column and c is not cell]
        row = [c for c in matrix.cells if c.row == cell.row and c is not cell]
        return [*column[:1], *row[:1]]

    def _line_looks(self, matrix: Matrix, line: Line) -> list[Check]:
        """The first and the last fitted cell of the line, and those at the ends of its branches."""
        cells = [c for c in matrix.cells if line.key in (c.column, c.row)]
        ends = [cells[0], cells[-1]] if len(cells) > 1 else cells
        if line.lugs_before:
            last = {line.lug_nets[n] for n in chains.ends(line.lugs_before)}
            ends += [c for c in cells if c not in ends and last & self._lugs_of(c)]
        if matrix.device == "switch":
            checks = [self.press((c.reference,)) for c in ends]
            checks.append(self.press(()))
            return checks
        if matrix.device == "lamp":
            return [
                self.lamp(c.reference, pattern) for c in ends for pattern in ((c.reference,), (ALL_LAMPS,))
            ]
        return [self.pulse(c.reference) for c in ends]

    def _lugs_of(self, cell: Cell) -> set[str]:
        """The nets of the lugs of a cell: where it hangs on its column and on its row."""
        return {self.model.part(cell.parts[end]).nets[0] for end in (0, -1)}

    def _line_meter(self, matrix: Matrix, line: Line) -> list[Check]:
        """Continuity from the board to some lugs; the board net while the scan runs; the harness alone.

        The harness is measured to ground with its pin unplugged: a short that stays is not the board's.
        """
        lugs = [line.lug_nets[i] for i in _telling_lugs(line)]
        off = Situation(power=False)
        found = [self.meter("ohms", line.board_net, lug, off) for lug in lugs if lug != line.board_net]
        pattern = (ALL_LAMPS,) if matrix.device == "lamp" else ()
        found.append(self.meter("volts", line.board_net, GROUND, Situation(lamps=pattern)))
        pin = self._pin(line.parts)
        if pin and lugs[0] != line.board_net:
            found.append(self.meter("ohms", lugs[0], GROUND, Situation(power=False, opened=(pin,))))
        return found

    def _pin(self, parts: Iterable[str]) -> str:
        """The connector pin among ``parts``: what unplugging takes out. Empty where there is none."""
        return next((p for p in parts if self.model.part(p).kind == "pin"), "")

    def _coil_meter(self, coil: Coil) -> list[Check]:
        """Volts at rest on both lugs; ohms of the winding; ohms of the driven lug to ground, unplugged.

        What is left of a locked coil's short with its connector off lies in the harness.
        """
        if not coil.element:
            return []
        one, two = self.model.part(coil.element).nets[:2]
        found = [
            self.meter("volts", one, GROUND, Situation()),
            self.meter("volts", two, GROUND, Situation()),
            self.meter("ohms", one, two, Situation(power=False)),
        ]
        pin = self._pin(coil.parts)
        if pin:
            found.append(self.meter("ohms", two, GROUND, Situation(power=False, opened=(pin,))))
        return found

    def _feed_meter(self, part: Part) -> list[Check]:
        """From the rail to just after the part: a break before that point is told from one behind it."""
        feed = self.probing.feed(part.reference)
        if feed is None:
            return []
        rail, after = feed
        return [
            self.meter("volts", after, GROUND, Situation()),
            self.meter("ohms", rail, after, Situation(power=False)),
        ]

    def _across(self, part: Part) -> list[Check]:
        """Ohms or diode test across the part itself, machine off."""
        if len(part.nets) < 2 or part.kind in ("sensing", "electrolytic", "regulator"):
            return []
        off = Situation(power=False)
        words = part_words(part)
        one, two = part.nets[0], part.nets[1]
        if part.kind in ("diode", "led", "rectifier", "emitter"):
            return [
                self.meter("diode", one, two, off, f"diode test of {words}, red on the anode"),
                self.meter("diode", two, one, off, f"diode test of {words}, red on the cathode"),
            ]
        if part.kind == "bridge":
            return [
                self.meter(
                    "ohms",
                    one,
                    two,
                    off,
                    f"ohms between {net_words(self.wiring, one)} and {net_words(self.wiring, two)}",
                )
            ]
        if part.reference in self.model.drive_of_output:
            return [self.meter("ohms", one, two, off, f"ohms across {words}")]
        held: tuple[str, ...] = ()
        switch = self.model.switch_of_contact.get(part.reference)
        if switch is not None and not self.wiring.switches[switch].normally_closed:
            held = (switch,)
        title = f"ohms across {words}" + (f", with {device_words(self.wiring, held[0])} held" if held else "")
        return [self.meter("ohms", one, two, Situation(power=False, held=held), title)]


def _telling_lugs(line: Line) -> list[int]:
    """Positions of the lugs to measure to: the first, one half way, the last; with branches also where
    one ends and where one leaves.
    """
    count, before = len(line.lug_nets), line.lugs_before
    forks = {n for n in before if n >= 0 and before.count(n) > 1}
    return sorted({0, count // 2, count - 1, *chains.ends(before), *forks})


def _unique(lines: Iterable[tuple[Matrix, Line]]) -> list[tuple[Matrix, Line]]:
    seen: dict[tuple[str, str], tuple[Matrix, Line]] = {}
    for matrix, line in lines:
        seen.setdefault((matrix.name, line.key), (matrix, line))
    return list(seen.values())
