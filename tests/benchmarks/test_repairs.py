"""The harness of ``bench_repairs.py`` itself: its machines show what the trade expects, its cases repeat."""

from __future__ import annotations

import json
import random
from collections import Counter

import pytest

from matrixdoc.checks.situation import ALL_LAMPS, OPEN_LOOP, Look, Situation
from matrixdoc.faults.priors import Fault
from tests.benchmarks.bench_repairs import jobs, keep, kept
from tests.benchmarks.repairs import orders
from tests.benchmarks.repairs.draw import DOUBLE, LOOSE, SINGLE, draws, faults_of
from tests.benchmarks.repairs.first_answer import LEADERS, Miss, answered, first_answer, openings
from tests.benchmarks.repairs.person import Person
from tests.benchmarks.repairs.plant import plant
from tests.benchmarks.repairs.repair import Repair, run_case
from tests.benchmarks.repairs.report import REST, lamp_of, opening, press, pulse, survey, with_slip
from tests.benchmarks.repairs.results import any_within, at_level, key, tables

NAME = "lantern_quay"
HEALTHY: frozenset[Fault] = frozenset()


@pytest.fixture(name="person")
def a_person() -> Person:
    return Person(plant(NAME), random.Random(7))


def one(part: str, mode: str) -> frozenset[Fault]:
    return frozenset({Fault(part, mode)})


def test_a_healthy_machine_works(person):
    resting = person.look(HEALTHY, *REST)
    assert resting == {"switch/C1R4"}  # the back box door is closed
    assert person.look(HEALTHY, *press("switch/C3R5")) == resting | {"switch/C3R5"}
    assert person.look(HEALTHY, *lamp_of("lamp/C2R4", ALL_LAMPS)) == "normal"
    assert person.look(HEALTHY, *lamp_of("lamp/C2R4", "lamp/C3R3")) == "off"
    assert person.look(HEALTHY, *pulse("coil/3")) == "fires"
    assert person.look(HEALTHY, Situation(), Look("resting coils")) == frozenset()


def test_faults_show_as_the_trade_says(person):
    resting = person.look(HEALTHY, *REST)
    dead = one("switch/C3R5/contact", "never closes")
    assert person.look(dead, *press("switch/C3R5")) == resting
    stuck = one("switch/C3R5/contact", "stuck closed")
    assert person.look(stuck, *REST) == resting | {"switch/C3R5"}
    # Weak idle columns, one diode shorted, three corners held: the fourth reads too.
    shorted = one("switch/C3R5/diode", "shorted")
    corners = ("switch/C3R5", "switch/C3R2", "switch/C6R5")
    assert person.look(shorted, *press(*corners)) == resting | {*corners, "switch/C6R2"}
    assert person.look(HEALTHY, *press(*corners)) == resting | {*corners}
    assert person.look(one("lamp/C2R4/lamp", "burnt out"), *lamp_of("lamp/C2R4", ALL_LAMPS)) == "off"
    assert person.look(one("feed/lower/fuse", "blown"), *pulse("coil/3")) == "nothing"
    assert person.look(one("coil/3/driver", "shorted"), *pulse("coil/3")) == "locked on"
    # A switch on the driver board that sticks locks its coil.
    welded = one("direct switch/buoy 1 ring/contact", "stuck closed")
    assert person.look(welded, Situation(), Look("resting coils")) == {"coil/31"}


def test_a_rail_without_its_fuse_or_rectifier(person):
    reads = person.look(one("supply/logic/fuse", "blown"), *REST)
    assert isinstance(reads, frozenset)
    assert "no self-test" in "".join(reads)
    assert person.look(
        one("supply/lamp/rectifier1", "shorted"), Situation(), Look("fuse", "supply/lamp/fuse")
    ) == ("open")
    volts = Look("meter", function="volts", red="rail/coil", black="ground")
    whole, dead = (
        person.look(faults, Situation(), volts) for faults in (HEALTHY, one("supply/coil/wire", "open"))
    )
    assert whole == pytest.approx(36.0, rel=0.08)
    assert dead == pytest.approx(0.0, abs=0.1)


def test_a_meter_on_the_simulation(person):
    circuit = person.plant.circuit
    lug, driven = circuit.parts["coil/3/winding"].nets
    ohms = Look("meter", function="ohms", red=lug, black=driven)
    unplugged = Situation(power=False)
    rated = circuit.values("coil/3/winding")["ohm"]
    assert person.look(HEALTHY, unplugged, ohms) == pytest.approx(rated, rel=0.12, abs=0.5)
    broken = person.look(one("coil/3/winding", "open"), unplugged, ohms)
    assert broken == OPEN_LOOP or (isinstance(broken, float) and broken > 100.0 * rated)


def test_cases_repeat_and_are_mixed_as_said():
    cases = draws(300, 3, ("lantern_quay", "wrong_chart"))
    assert cases == draws(300, 3, ("lantern_quay", "wrong_chart"))
    assert cases != draws(300, 4, ("lantern_quay", "wrong_chart"))
    assert Counter(c.kind for c in cases) == {SINGLE: 180, DOUBLE: 90, LOOSE: 30}
    for level in (0.2, 0.4):
        assert sum(c.slip < level for c in cases) == pytest.approx(300 * level, abs=3)
    assert len(jobs(cases, [0.0, 0.2, 0.4], 1.0)) == 300 + sum(c.slip < 0.4 for c in cases)
    loose = next(c for c in cases if c.kind == LOOSE and c.machine == NAME)
    found = faults_of(plant(NAME), loose, loose.rng("faults"))
    assert found == faults_of(plant(NAME), loose, loose.rng("faults"))
    assert plant(NAME).possible[found[0]].duty > 0.0


def test_a_report_complains_and_a_slip_changes_one_entry(person):
    faults = (Fault("switch/C3R5/contact", "never closes"),)
    report = opening(person, frozenset(faults), faults, random.Random(1))
    assert press("switch/C3R5") in report.complaint
    slipped = with_slip(report, person.plant, random.Random(2))
    changed = [a for a, b in zip(report.findings, slipped.findings, strict=True) if a != b]
    assert len(changed) == 1


def test_the_other_ways_cost_what_their_tests_cost(person):
    faults = (Fault("switch/C3R5/contact", "never closes"),)
    report = opening(person, frozenset(faults), faults, random.Random(1))
    order = orders.fixed_order(person.plant, report)
    assert order[0] == "switch/C3R5/contact"
    fixed, least = orders.walk(person.plant, order, faults), orders.oracle(person.plant, faults)
    assert fixed.minutes == pytest.approx(least.minutes + orders.TEST_MINUTES["contact"])
    assert order.index("switch/C3/wire") < len(order) - 1
    assert len(order) == len(set(order))


def test_a_whole_repair_and_its_table(tmp_path):
    cases = draws(2, 5, ("wrong_chart",))
    rows = {key(c, wrong=False): run_case(c, wrong=False, seconds=60.0) for c in cases}
    for row in rows.values():
        assert not row["error"], row["error"]
        assert row["minutes_oracle"] > 0.0
        assert row["seconds"]
    again = Repair(cases[0], wrong=False).run(60.0)
    first = rows[key(cases[0], wrong=False)]
    assert (again.faults, again.minutes, again.trace) == (first["faults"], first["minutes"], first["trace"])
    shown = tables(cases, rows, [0.0], ["wrong_chart"])
    assert "in the first three after the opening report" in shown
    assert len(at_level(cases, rows, 0.0)) == 2
    settings = {"cases": 2, "seed": 5, "machines": ["wrong_chart"]}
    path = tmp_path / "runs.json"
    keep(path, settings, rows)
    assert kept(path, settings) == json.loads(json.dumps(rows))
    with pytest.raises(SystemExit):
        kept(path, {**settings, "seed": 6})


def test_a_lamp_on_half_of_the_mains_cycle_flickers():
    lit = plant("kettle_hollow")
    half, question = one("supply/lamp/rectifier1", "open"), lamp_of("direct lamp/2", ALL_LAMPS)
    looks = [Person(lit, random.Random(n)).look(half, *question) for n in range(20)]
    # A small filament follows 60 Hz by more than a tenth, which an eye sees (see flicker.py).
    assert looks.count("flickers") >= 6
    assert looks.count("dim") > looks.count("normal")
    assert Person(lit, random.Random(1)).look(HEALTHY, *question) == "normal"
    # In a matrix the scan beats with the mains, slowly enough for any eye.
    scanned, ripple = plant(NAME), one("supply/lamp/capacitor", "open")
    seen = [
        Person(scanned, random.Random(n)).look(ripple, *lamp_of("lamp/C3R4", ALL_LAMPS)) for n in range(9)
    ]
    assert seen.count("flickers") > 3


def test_the_first_answer_alone_is_that_of_the_whole_repair():
    case = draws(2, 5, ("wrong_chart",))[0]
    whole, first = run_case(case, wrong=True, seconds=60.0), first_answer(case, wrong=True)
    assert not first["error"], first["error"]
    for name in ("faults", "rank_opening", "part_opening"):
        assert first[name] == whole[name]
    assert [line[2:] for line in first["report"]] == whole["report"]
    assert bool(first["why"]) != any_within(first["rank_opening"], LEADERS)
    shown = openings([first])
    for words in ("wrong_chart", case.kind, *first["rows"], *first["complaints"]):
        assert words in shown


def test_a_miss_is_laid_to_a_class():
    repair = Repair(draws(1, 5, ("wrong_chart",))[0], wrong=False)
    why, detail = Miss(repair, *answered(repair, repair.report.findings)).why()
    assert why
    assert detail[0].startswith("true: ")
    assert all(f.part in detail[0] for f in repair.faults)


def test_a_report_names_neighbours_of_the_same_kind(person):
    faults = (Fault("coil/3/wire", "open"),)
    report = opening(person, frozenset(faults), faults, random.Random(4))
    fine = [f for f in report.findings if (f.situation, f.look) not in report.complaint]
    assert {f.look.kind for f in fine} == {"coil"}
    lit = plant("kettle_hollow")
    lamp = Fault(next(iter(lit.machine.single_lamps)) + "/lamp", "burnt out")
    looked_at = {look.target for _, look in survey(lit, lamp, random.Random(1)) if look.kind == "lamp"}
    assert len(looked_at & set(lit.machine.single_lamps)) > 1


def test_the_eyes_own_spread_is_no_complaint(person):
    # Whatever lamp looks bright to this eye looks so on the whole machine, too.
    fault = Fault("switch/C3R5/contact", "never closes")
    for seed in range(3):
        odd = opening(person, frozenset({fault}), (fault,), random.Random(seed)).complaint
        assert {look.kind for _, look in odd} == {"reads"}


def test_a_floating_row_is_undecided_but_where_a_switch_pulls_it():
    machine = plant("bare_chart")
    row, pressed = "R2", "switch/C1R2"
    loose = one(f"switch/{row}/pull", "open")
    seen = [Person(machine, random.Random(n)).look(loose, *press(pressed)) for n in range(12)]
    assert all(pressed in found for found in seen)  # type: ignore[operator]
    assert len({len(found) for found in seen}) == 2  # type: ignore[arg-type]


def test_thorough_work_cures_what_cleaning_would():
    repair = Repair(draws(1, 5, ("lantern_quay",))[0], wrong=False)
    pin = "lamp/C2/pin"
    possible = repair.plant.possible
    open_, poor = Fault(pin, "open"), Fault(pin, "high resistance")
    assert repair.cures("reseat", poor) == possible[poor].success
    assert repair.cures("reseat", open_) == 0.0
    assert repair.cures("repair", poor) == possible[open_].success
    assert repair.cures("replace", Fault("switch/C3R5/contact", "never closes")) > 0.9
