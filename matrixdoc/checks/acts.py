"""Acts that change the circuit for one look: jumpers, lifted lugs, plugs off, parts swapped.

Each is a check like any other: a situation that says how the machine is altered, and a look. Which
of them bear on a suspect is read off the wiring; whether one could do harm is asked of the circuit
(``diagnosis.harm``) before it is offered. Minutes are common practice, no source.
"""

from __future__ import annotations

from matrixdoc.checks.cautions import (
    CAUTION_COIL,
    CAUTION_GROUND,
    CAUTION_LAMP,
    CAUTION_LEAD,
    CAUTION_LIVE,
    CAUTION_OFF,
    CAUTION_RUN,
    CAUTION_SOLDER,
    CAUTION_WARM,
    CAUTION_WIGGLE,
)
from matrixdoc.checks.model import MachineModel
from matrixdoc.checks.situation import ALL_LAMPS, Check, Look, Situation, jumper, swap
from matrixdoc.checks.wording import apart_words, device_words, moved_words, part_words
from matrixdoc.definition.wiring import GROUND, Cell, Coil, Line, Matrix, Part

LEAD_MINUTES = 2.0
GROUND_MINUTES = 2.0
SWAP_MINUTES = 2.5
LIFT_MINUTES = 6.0
UNPLUG_MINUTES = 2.5
WIGGLE_MINUTES = 1.5
WARM_MINUTES = 3.0
RUN_MINUTES = 20.0


def across_contact(model: MachineModel, switch: str) -> list[Check]:
    """A jumper across the contact of a switch: what the contact should do, without it."""
    part = model.part(model.circuit.wiring.switches[switch].contact)
    if part.kind != "contact" or len(part.nets) < 2:
        return []
    return [_read_with((part.nets[0], part.nets[1]), f"across the contact of {_named(model, switch)}", part)]


def for_cell(model: MachineModel, matrix: Matrix, cell: Cell) -> list[Check]:
    """Leads across a cell of a switch matrix; a lamp in another's place."""
    if matrix.device == "switch":
        return [*across_contact(model, cell.reference), *_across_cell(model, cell)]
    if matrix.device == "lamp":
        return _swapped(model, matrix, cell)
    return []


def _across_cell(model: MachineModel, cell: Cell) -> list[Check]:
    """A lead across the contact and its diode together: what is left are the cell's lugs and its lines."""
    contact = model.part(cell.element)
    if not cell.diode or contact.kind != "contact":
        return []
    ends = set(contact.nets[:2]) ^ set(model.part(cell.diode).nets[:2])
    if len(ends) != 2:
        return []
    one, two = sorted(ends)
    where = f"across {_named(model, cell.reference)} with its diode, lug to lug"
    return [_read_with((one, two), where, contact)]


def _read_with(nets: tuple[str, str], where: str, part: Part) -> Check:
    return Check(
        title=f"jumper {where}; see what the switch scan reads",
        kind="look",
        situation=Situation(jumpers=(jumper(*nets),)),
        look=Look("reads"),
        minutes=LEAD_MINUTES,
        places=(part.place,) if part.place else (),
        set_up=("switch self-test on, nothing pressed", f"jumper {where}"),
        cautions=(CAUTION_LEAD,),
        key=f"jumper {jumper(*nets)}",
    )


def _swapped(model: MachineModel, matrix: Matrix, cell: Cell) -> list[Check]:
    """The lamp with one of its neighbours: a fault that goes with it is the lamp's own."""
    own = model.part(cell.element)
    if own.kind != "lamp":
        return []
    for other in matrix.cells:
        near = other is not cell and (other.column == cell.column or other.row == cell.row)
        if not near or model.part(other.element).kind != "lamp":
            continue
        if model.circuit.values(other.element) != model.circuit.values(cell.element):
            continue
        names = f"{_named(model, cell.reference)} and {_named(model, other.reference)}"
        return [
            Check(
                title=f"swap the lamps of {names}; look at {_named(model, cell.reference)}",
                kind="look",
                situation=Situation(lamps=(ALL_LAMPS,), swapped=(swap(cell.element, other.element),)),
                look=Look("lamp", cell.reference),
                minutes=SWAP_MINUTES,
                places=tuple(dict.fromkeys(p for p in (own.place, model.part(other.element).place) if p)),
                set_up=(f"put the lamps of {names} in each other's place", "lamp self-test, all lamps on"),
                cautions=(CAUTION_LAMP,),
                key=f"swap {swap(cell.element, other.element)} look {cell.reference}",
            )
        ]
    return []


def for_line(model: MachineModel, matrix: Matrix, line: Line) -> list[Check]:
    """The resting scan with the line's pin unplugged: what still reads is the board's own doing."""
    pin = next((p for p in line.parts if model.part(p).kind == "pin"), "")
    if matrix.device != "switch" or not pin:
        return []
    part = model.part(pin)
    return [
        Check(
            title=f"resting switch scan with {part_words(part)} unplugged",
            kind="look",
            situation=Situation(opened=(pin,)),
            look=Look("reads"),
            minutes=UNPLUG_MINUTES,
            places=(part.place,) if part.place else (),
            set_up=(
                f"power off, unplug {part_words(part)}, power on",
                "switch self-test on, nothing pressed",
            ),
            cautions=(CAUTION_OFF,),
            key=f"resting scan without {pin}",
        )
    ]


def driven_lug(model: MachineModel, coil: Coil) -> str:
    """The net of the coil's lug that its drive pulls to ground; empty where there is none."""
    wiring = model.circuit.wiring
    drive = wiring.drives.get(coil.drive)
    if drive is None or not coil.element or coil.also:
        return ""
    lugs = model.part(coil.element).nets[:2]
    rails = {supply.rail for supply in wiring.supplies.values()}
    if GROUND not in model.part(drive.output).nets or rails.intersection(model.part(drive.output).nets):
        return ""
    return lugs[1]


def for_coil(model: MachineModel, coil: Coil) -> list[Check]:
    """The driven lug to ground for an instant; the diode with the winding lifted."""
    found = []
    lug = driven_lug(model, coil)
    winding = model.part(coil.element) if coil.element else None
    if lug and winding is not None:
        name = _named(model, coil.reference)
        found.append(
            Check(
                title=f"ground the driven lug of {name} for an instant",
                kind="look",
                situation=Situation(jumpers=(jumper(lug, GROUND),)),
                look=Look("coil", coil.reference),
                minutes=GROUND_MINUTES,
                places=(winding.place,) if winding.place else (),
                set_up=(
                    f"find the driven lug of {name}: the one whose wire goes to the drive part",
                    "touch it to ground with an insulated clip lead, an instant only",
                ),
                cautions=(CAUTION_GROUND, CAUTION_LIVE, CAUTION_COIL),
                risk=1.0,
                key=f"ground {lug}",
            )
        )
    if winding is not None and coil.diode:
        diode = model.part(coil.diode)
        off = Situation(power=False, opened=(winding.reference,))
        one, two = diode.nets[:2]
        for red, black, lead in ((one, two, "anode"), (two, one, "cathode")):
            found.append(
                Check(
                    title=f"diode test of {part_words(diode)}, {apart_words(winding)}, red on the {lead}",
                    kind="meter",
                    situation=off,
                    look=Look("meter", function="diode", red=red, black=black),
                    minutes=LIFT_MINUTES,
                    places=(winding.place,) if winding.place else (),
                    set_up=(
                        f"lift one lug of {part_words(winding)}: the winding would short the test",
                        f"meter on diode test, red on the {lead}",
                    ),
                    cautions=(CAUTION_OFF, CAUTION_SOLDER),
                    key=f"diode {red} {black} off {winding.reference}",
                )
            )
    return found


def wiggle(part: Part) -> list[Check]:
    """Move a part that may come and go, and watch."""
    words = moved_words(part)
    return [
        Check(
            title=f"wiggle {words} while the complaint shows: does anything change?",
            kind="look",
            situation=Situation(),
            look=Look("wiggle", part.reference),
            minutes=WIGGLE_MINUTES,
            places=(part.place,) if part.place else (),
            set_up=("set up the look that shows the complaint", f"press and move {words} gently, and watch"),
            cautions=(CAUTION_WIGGLE,),
            key=f"wiggle {part.connector or part.reference}",
        )
    ]


def warm(part: Part) -> list[Check]:
    """Warm or chill a part that may follow warmth, and watch."""
    words = moved_words(part)
    return [
        Check(
            title=f"warm {words} with a hair dryer, or chill it: does anything change?",
            kind="look",
            situation=Situation(),
            look=Look("warm", part.reference),
            minutes=WARM_MINUTES,
            places=(part.place,) if part.place else (),
            set_up=(
                "set up the look that shows the complaint",
                f"warm air on {words} for a minute, and watch",
                "if nothing changes: a short burst of freeze spray, and watch until it is warm again",
            ),
            cautions=(CAUTION_WARM,),
            key=f"warm {part.connector or part.reference}",
        )
    ]


def warm_up(model: MachineModel, device: str) -> Check:
    """Let the machine run from cold, and look at a device all the while."""
    name = _named(model, device)
    return Check(
        title=f"from cold to warm: look at {name} now and again for twenty minutes",
        kind="look",
        situation=Situation(),
        look=Look("warm up", device),
        minutes=RUN_MINUTES,
        set_up=(
            "let the machine stand switched off until it is cold",
            f"power on; look at {name} at once, and again until twenty minutes are over",
        ),
        cautions=(CAUTION_RUN,),
        key=f"warm up {device}",
    )


def _named(model: MachineModel, reference: str) -> str:
    return device_words(model.circuit.wiring, reference)
