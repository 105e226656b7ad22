"""Short stories: what experience expects, cautions, proof, a slip, a ghost, two jobs, a wrong chart."""

from __future__ import annotations

import random
from collections.abc import Callable

import pytest

from matrixdoc.case.case import Case
from matrixdoc.case.session import Session
from matrixdoc.checks.situation import Finding, Look, Situation
from matrixdoc.definition.corrections import SwapCells, corrected, moved
from matrixdoc.definition.document import read_document
from matrixdoc.definition.library import load_machine, shipped_folder
from matrixdoc.definition.wiring import Wiring
from matrixdoc.diagnosis.results import Diagnosis
from matrixdoc.faults.priors import Fault
from tests.signatures import coil_rows, lamp_rows, switch_rows
from tests.signatures.technician import (
    MACHINES,
    PLACES,
    Technician,
    along,
    cells,
    chooser,
    holds,
    large,
    rank_of,
    started,
)

FIRST = "lantern_quay"

LEAST_POINTS = 10
"""The table's own roughness: shares nearer to each other than this are not put in order."""


Report = Callable[[Case, random.Random], Technician]

# -- what experience expects -----------------------------------------------------------------------

EXPERIENCE: dict[str, tuple[Report, dict[str, int]]] = {}
"""Row of the trade's table -> (the report, group of causes -> share of 100). The shares: common
practice, no source. Groups that have no part here are left out (a door interlock, a coil's own fuse:
here coils share one).
"""


def expected(words: str, **shares: int) -> Callable[[Report], Report]:
    """Register a report under a row of the table with the shares that the table gives."""

    def register(report: Report) -> Report:
        EXPERIENCE[words] = (report, shares)
        return report

    return register


def group_of(part: str, kind: str, mode: str) -> str:
    """The table's name for a fault: contact, wire, diode, pin, drive, logic, lamp, socket and so on."""
    tail = part.rpartition("/")[2]
    if kind == "bridge" or tail in ("lamp", "socket", "contact", "capacitor", "winding"):
        return "bridge" if kind == "bridge" else tail
    if kind == "diode":
        return "diode_shorted" if mode == "shorted" else "diode_bypassed" if mode == "bypassed" else "diode"
    if kind in ("pin", "joint"):
        return "pin"
    if kind in ("logic_output", "link_pin", "logic_input", "pre_driver", "decoder"):
        return "logic"
    if kind in ("sensing", "resistor") or kind.startswith(("strobe_", "low_side", "high_side")):
        return "drive"
    return kind


def shares_of(diagnosis: Diagnosis) -> dict[str, float]:
    """Probability of each group over all members of all causes that are a single fault."""
    found: dict[str, float] = {}
    for cause in diagnosis.causes:
        for names, probability in cause.members:
            if len(names) == 1:
                group = group_of(names[0].part, names[0].kind, names[0].mode)
                found[group] = found.get(group, 0.0) + probability
    return found


def inner_cell(case: Case, matrix: str, rng: random.Random) -> list[str]:
    """A cell with others behind it on both its chains, and the next one on each: that they work says that
    the fault is the cell's own, as the table means it, and not a break of a chain before its last lug."""
    found = []
    for cell in cells(case.wiring, matrix):
        chains = [along(case.wiring, matrix, line) for line in (cell.column, cell.row)]
        behind = [chain[chain.index(cell) + 1 :] for chain in chains]
        if all(behind):
            found.append([cell.reference, *(some[0].reference for some in behind)])
    return rng.choice(found)


@expected("one switch never reads", contact=65, wire=15, diode=15)
def one_switch_never_reads(case: Case, rng: random.Random) -> Technician:
    place, *others = inner_cell(case, "switch", rng)
    technician = Technician(case, (Fault(f"{place}/contact", "never closes"),))
    technician.press(place)
    technician.again()
    for other in others:
        assert other in technician.press(other)
    return technician


@expected("one switch always reads", contact=85, capacitor=5, bridge=5)
def one_switch_always_reads(case: Case, rng: random.Random) -> Technician:
    place = rng.choice(
        [r for r in switch_rows.every_cell(case.wiring) if f"{r}/capacitor" in case.wiring.parts]
    )
    technician = Technician(case, (Fault(f"{place}/contact", "stuck closed"),))
    switch_rows.live_cell(technician, place, rng)
    return technician


@expected("whole switch column dead", pin=40, drive=30, wire=20, logic=10)
def whole_switch_column_dead(case: Case, rng: random.Random) -> Technician:
    place = rng.choice(switch_rows.every_column(case.wiring))
    technician = Technician(case, (Fault(f"switch/{place}/pin", "open"),))
    switch_rows.dead_line(technician, place, rng)
    return technician


@expected("whole switch row dead", pin=40, drive=30, wire=20, logic=10)
def whole_switch_row_dead(case: Case, rng: random.Random) -> Technician:
    place = rng.choice(switch_rows.every_row(case.wiring))
    technician = Technician(case, (Fault(f"switch/{place}/pin", "open"),))
    switch_rows.dead_line(technician, place, rng)
    return technician


@expected("phantom corner", diode_shorted=60, diode_bypassed=15)
def phantom_corner(case: Case, rng: random.Random) -> Technician:
    place = rng.choice(switch_rows.rectangles(case.wiring))
    technician = Technician(case, (Fault(f"{place.split(' | ')[0]}/diode", "shorted"),))
    switch_rows.phantom(technician, place, rng)
    return technician


@expected("one lamp dark", lamp=70, socket=18, wire=7, diode=5)
def one_lamp_dark(case: Case, rng: random.Random) -> Technician:
    place, *others = inner_cell(case, "lamp", rng)
    technician = Technician(case, (Fault(f"{place}/lamp", "burnt out"),))
    technician.lamp(place)
    technician.again()
    for other in others:
        assert technician.lamp(other) == "normal"
    return technician


@expected("whole lamp row dark", pin=45, drive=35, wire=10, logic=10)
def whole_lamp_row_dark(case: Case, rng: random.Random) -> Technician:
    place = rng.choice(lamp_rows.steady(case.wiring))
    technician = Technician(case, (Fault(f"lamp/{place}/pin", "open"),))
    lamp_rows.dark_line(technician, place, rng)
    return technician


@expected("one coil dead", wire=35, drive=20, pin=20, logic=10, winding=5)
def one_coil_dead(case: Case, rng: random.Random) -> Technician:
    # The last coil of a feed's chain: a wire off either of its lugs kills it alone, as the table means it.
    place = rng.choice([c for c in coil_rows.last_of_feed(case.wiring) if c.startswith("coil/")])
    technician = Technician(case, (Fault(f"{place}/driver", "open"),))
    coil_rows.dead(technician, place, rng)
    return technician


@expected("one coil locked on", drive=80, logic=15, wire=5)
def one_coil_locked_on(case: Case, rng: random.Random) -> Technician:
    place = rng.choice(coil_rows.logic_coils(case.wiring))
    technician = Technician(case, (Fault(f"{place}/driver", "shorted"),))
    coil_rows.locked(technician, place, rng)
    return technician


@expected("all coils dead", fuse=45, wire=15)
def all_coils_dead(case: Case, rng: random.Random) -> Technician:
    technician = Technician(case, (Fault("supply/coil/fuse", "blown"),))
    coil_rows.all_dead(technician, "coil", rng)
    return technician


def able(wiring: Wiring) -> set[str]:
    """Rows of the table that the machine can show; "one switch" and "phantom" want cells of that kind."""
    found = {"one switch never reads", "whole switch column dead", "whole switch row dead"}
    hard = any(p.kind == "strobe_push_pull" for p in wiring.parts.values())
    if any(f"{c.reference}/capacitor" in wiring.parts for c in cells(wiring, "switch")):
        found.add("one switch always reads")
    if not hard:
        found.add("phantom corner")
    if "lamp" in wiring.matrices:
        found |= {"one lamp dark", "whole lamp row dark"}
    if coil_rows.logic_coils(wiring):
        found |= {"one coil dead", "one coil locked on"}
    if "supply/coil/fuse" in wiring.parts:
        found.add("all coils dead")
    return found


def experienced() -> list[tuple[str, str]]:
    """Each row of the table on machine 1 and on another machine of those that can show it."""
    found = []
    for words in EXPERIENCE:
        others = [m for m in MACHINES if m != FIRST and words in able(started(m).wiring)]
        small = [m for m in others if not large(m)] or others
        chosen = chooser(words, "machine").sample(small, 1) if PLACES == 1 else others
        found += [(words, machine) for machine in (FIRST, *chosen)]
    return found


@pytest.mark.parametrize(("words", "machine"), experienced())
def test_what_experience_expects(words, machine):
    """Groups of causes come out in the table's order wherever it puts ten points between them."""
    report, table = EXPERIENCE[words]
    technician = report(started(machine), chooser(words, machine))
    found = shares_of(technician.diagnose())
    for name, share in table.items():
        for other, less in table.items():
            if share >= less + LEAST_POINTS:
                assert found.get(name, 0.0) > found.get(other, 0.0), (name, other, found)


# -- the chart is wrong ----------------------------------------------------------------------------


def exchange(machine: str) -> tuple[str, str]:
    """Two cells that the practice panel says are exchanged; on another machine two that nobody verified,
    in different columns and rows."""
    if machine == "wrong_chart":
        return "switch/C3R2", "switch/C2R3"
    wiring = started(machine).wiring
    rng = chooser("chart", machine)
    one = rng.choice([c for c in cells(wiring, "switch") if not c.verified])
    far = [c for c in cells(wiring, "switch") if c.column != one.column and c.row != one.row]
    return one.reference, rng.choice([c for c in far if not c.verified]).reference


@pytest.mark.parametrize("machine", ["wrong_chart", "lantern_quay"])
def test_a_wrong_chart_is_the_first_cause_and_its_correction_explains_everything(machine):
    """Who presses the one reads the other: the chart has them exchanged. The machine itself is right:
    what is seen comes from the corrected wiring, healthy, and is told by the names of the wrong chart.
    """
    one, two = exchange(machine)
    cells_of = [reference.rpartition("/")[2] for reference in (one, two)]
    swap = SwapCells(matrix="switch", one=cells_of[0], two=cells_of[1])
    wiring = corrected(read_document(shipped_folder() / f"{machine}.yaml"), [swap])
    right = Case.start(wiring)
    went = moved([swap])
    case = started(machine)
    others = [c.reference for c in cells(wiring, "switch") if c.reference not in (one, two)]
    for device in (one, two, chooser("chart", machine, "other").choice(others)):
        seen = right.simulate((), Situation(held=(went.get(device, device),)), Look("reads"))[0][0]
        assert isinstance(seen, frozenset)
        case = case.with_finding(Finding(Situation(held=(device,)), Look("reads"), seen))
    first = case.diagnose().causes[0]
    assert first.faults[0].part == "the chart", first.title
    assert one in first.faults[0].mode
    assert two in first.faults[0].mode
    assert "exchanged" in first.faults[0].mode
    after = case.on_corrected(wiring, went, "followed the wires").diagnose()
    assert after.causes == ()
    assert all(f.verdict in ("as expected", "explained") for f in after.findings)
    assert after.contradictions == ()


# -- a locked coil ---------------------------------------------------------------------------------


def test_a_locked_coil_is_switched_off_before_anything_is_computed(monkeypatch):
    def refuse(_: Session) -> object:
        raise AssertionError("the engine was asked")

    monkeypatch.setattr(Session, "engine", property(refuse))
    case = Case.start(load_machine("lantern_quay"))
    coil = chooser("locked").choice(coil_rows.own_coils(case.wiring))
    assert case.cautions() == ()
    for finding in (
        Finding(Situation(), Look("resting coils"), frozenset({coil})),
        Finding(Situation(pulsed=coil), Look("coil", coil), "locked on"),
    ):
        cautions = case.with_finding(finding).cautions()
        assert len(cautions) == 1
        assert "switch off" in cautions[0].lower()
        assert coil.replace("/", " ") in cautions[0]
    assert "switch off" in case.with_note("smoke from the driver board").cautions()[0].lower()


def test_a_locked_coil_gets_no_check_under_power(case):
    """Nothing is to be tried with power on while a coil would burn, unless it is off its supply or drive."""
    place = chooser("no power").choice(coil_rows.logic_coils(case.wiring))
    technician = Technician(case, (Fault(f"{place}/driver", "shorted"),))
    coil_rows.locked(technician, place, chooser("no power"))
    for ranked in technician.case.checks():
        situation = ranked.check.situation
        assert ranked.check.kind == "act" or not situation.power or situation.opened, ranked.check.title


# -- proof after repair ----------------------------------------------------------------------------


def looker(technician: Technician, what: str) -> Callable[[str], object]:
    """How a switch, a lamp or a coil is looked at."""
    looks: dict[str, Callable[[str], object]] = {
        "switch": technician.press,
        "lamp": technician.lamp,
        "coil": technician.pulse,
    }
    return looks[what]


@pytest.mark.parametrize("what", ["switch", "lamp", "coil"])
def test_a_good_look_after_the_repair_proves_it(case, what):
    rng = chooser("proof", what)
    wiring = case.wiring
    place = rng.choice(
        {
            "switch": switch_rows.every_cell(wiring),
            "lamp": lamp_rows.every_cell(wiring),
            "coil": coil_rows.logic_coils(wiring),
        }[what]
    )
    fault, action = {
        "switch": (Fault(f"{place}/contact", "never closes"), "clean"),
        "lamp": (Fault(f"{place}/lamp", "burnt out"), "replace"),
        "coil": (Fault(f"{place}/driver", "open"), "replace"),
    }[what]
    technician = Technician(case, (fault,))
    look = looker(technician, what)
    look(place)
    technician.again()
    before = technician.diagnose().marginals[fault.part, fault.mode]
    technician.case = technician.case.with_repair([fault.part], action)
    assert technician.case.unproven()
    waiting = [c for c in technician.diagnose().causes if c.faults[0].part == fault.part]
    assert all("not yet proven" in c.title for c in waiting), [c.title for c in waiting]
    technician.faults = ()
    look(place)
    after = technician.diagnose()
    assert technician.case.unproven() == ()
    # That it was the mended part is now likelier than before; it is told as proven, and nothing that
    # was seen before or after the repair is left unexplained.
    assert after.marginals[fault.part, fault.mode] > before
    assert holds(after.causes[0], fault.part)
    assert "proven by a look since" in after.causes[0].title
    assert all(f.verdict != "not explained" for f in after.findings), [f.words for f in after.findings]
    assert after.contradictions == ()


@pytest.mark.parametrize("what", ["switch", "lamp", "coil"])
def test_a_repair_that_did_not_help_is_no_longer_the_first_suspect(case, what):
    """The part most likely by experience was mended, the fault lay elsewhere and is still there."""
    rng = chooser("in vain", what)
    place = rng.choice(
        {
            "switch": switch_rows.every_cell(case.wiring),
            "lamp": lamp_rows.every_cell(case.wiring),
            "coil": coil_rows.logic_coils(case.wiring),
        }[what]
    )
    fault, mended = {
        "switch": (f"{place}/diode", f"{place}/contact"),
        "lamp": (f"{place}/socket", f"{place}/lamp"),
        "coil": (f"{place}/winding", f"{place}/driver"),
    }[what]
    reports: dict[str, Callable[[Technician, str, random.Random], None]] = {
        "switch": switch_rows.dead_cell,
        "lamp": lamp_rows.dark_cell,
        "coil": coil_rows.dead,
    }
    technician = Technician(case, (Fault(fault, "open"),))
    reports[what](technician, place, rng)
    technician.case = technician.case.with_repair([mended], "replace")
    looker(technician, what)(place)
    diagnosis = technician.diagnose()
    assert not holds(diagnosis.causes[0], mended), diagnosis.causes[0].title
    assert rank_of(diagnosis, fault) >= 1


# -- a slip, a ghost, two jobs ---------------------------------------------------------------------


def test_one_wrong_entry_does_not_sink_the_true_cause(case):
    """A dead column; one press in the middle of its chain is written down as if it had read."""
    wiring = case.wiring
    rng = chooser("slip")
    column = rng.choice([c for c in switch_rows.every_column(wiring) if len(along(wiring, "switch", c)) >= 6])
    technician = Technician(case, (Fault(f"switch/{column}/pin", "open"),))
    line = along(wiring, "switch", column)
    right = Technician(case, ())
    for number, cell in enumerate(line):
        if number == len(line) // 2:
            seen = right.press(cell.reference)
            technician.case = technician.case.with_finding(
                Finding(Situation(held=(cell.reference,)), Look("reads"), seen)
            )
        else:
            technician.press(cell.reference)
    technician.rest()
    diagnosis = technician.diagnose()
    rank = rank_of(diagnosis, f"switch/{column}/pin")
    whole_line = {f"switch/{column}/{name}" for name in ("driver", "header", "pin", "wire")}
    assert any(holds(diagnosis.causes[0], part) for part in whole_line), diagnosis.causes[0].title
    assert 0 < rank <= 4
    assert len([f for f in diagnosis.findings if f.verdict == "not explained"]) == 1


def test_the_same_diode_shows_in_two_rectangles(case):
    """A ghost in one rectangle leaves some doubt; a second rectangle with the same corner hardly any;
    a healthy machine shows no ghost at all."""
    rng = chooser("ghost")
    places = switch_rows.rectangles(case.wiring)
    suspect = rng.choice(places).split(" | ")[0]
    ghosts = rng.sample([p for p in places if p.startswith(f"{suspect} | ")], 2)
    technician = Technician(case, (Fault(f"{suspect}/diode", "shorted"),))
    healthy = Technician(case, ())
    shares = []
    for place in ghosts:
        switch_rows.phantom(technician, place, rng)
        corners = technician.case.findings[-5].situation.held
        assert len(corners) == 3
        assert place.split(" | ")[1] not in healthy.press(*corners)
        diagnosis = technician.diagnose()
        assert rank_of(diagnosis, f"{suspect}/diode") == 1
        shares.append(diagnosis.causes[0].probability)
    assert shares[0] > 0.8
    assert shares[1] > max(0.95, shares[0])


def test_a_dead_switch_and_a_dark_lamp_are_two_jobs(case):
    """Reported together, each complaint has its own true cause in the lead."""
    rng = chooser("two jobs")
    switch = rng.choice(switch_rows.every_cell(case.wiring))
    lamp = rng.choice([c.reference for c in cells(case.wiring, "lamp")])
    faults = (Fault(f"{switch}/contact", "never closes"), Fault(f"{lamp}/lamp", "burnt out"))
    technician = Technician(case, faults)
    switch_rows.dead_cell(technician, switch, rng)
    lamp_rows.dark_cell(technician, lamp, rng)
    diagnosis = technician.diagnose()
    leaders = diagnosis.causes[:2]
    for fault in faults:
        assert any(holds(cause, fault.part, fault.mode) for cause in leaders), [c.title for c in leaders]
    assert not any(len(cause.faults) > 1 for cause in leaders)


# -- what one fault does not show ------------------------------------------------------------------


def test_faults_that_show_nothing_yet(case):
    """The circuit is right where the trade's list speaks of what comes later: an open coil diode (until
    its kick-back kills the transistor), an end-of-stroke contact that stays closed (until the winding
    burns), and one open rectifier diode of a filtered supply (mostly ripple, no less light or force)."""
    coil = chooser("silent").choice(coil_rows.logic_coils(case.wiring))
    flipper = chooser("silent").choice(coil_rows.flippers(case.wiring))
    for fault, pulsed in (
        (Fault(f"{coil}/diode", "open"), coil),
        (Fault(f"{flipper}/eos", "stuck closed"), f"{flipper}/power"),
        (Fault("supply/coil/rectifier1", "open"), coil),
    ):
        technician = Technician(case, (fault,))
        assert technician.pulse(pulsed) == "fires"
        assert technician.resting_coils() == frozenset()
        assert technician.diagnose().causes == ()
    technician = Technician(case, (Fault("supply/lamp/rectifier1", "open"),))
    assert technician.lamp_all(chooser("silent").choice(lamp_rows.every_cell(case.wiring))) == "normal"
    assert technician.diagnose().causes == ()
