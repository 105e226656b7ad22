"""The reducers of the bench: pure, tested without any screen."""

from __future__ import annotations

import pytest

from matrixdoc.bench import history, state
from matrixdoc.bench.marks import resting_reads, seen_on
from matrixdoc.bench.state import BenchError, Stamp
from matrixdoc.checks.situation import ALL_LAMPS, NOT_SURE, Finding, Look, Situation
from tests.bench.fakes import fake_case, make_wiring, press_finding

NOW = Stamp("2026-01-05T10:00:00", "")
NC = "switch/C2R1"


@pytest.fixture
def view():
    return state.open_view(fake_case())


def at(view, reference):
    for index, place in enumerate(view.places):
        if reference in place.find:
            return state.put_cursor(state.show_place(view, index), place.find[reference])
    raise AssertionError(reference)


def mark(view, reference, key):
    return state.mark(at(view, reference), key, NOW)


def test_places_are_matrices_then_lists(view):
    assert [(p.title, p.grid, p.device) for p in view.places] == [
        ("switch", True, "switch"),
        ("lamp", True, "lamp"),
        ("coils", False, "coil"),
        ("switch list", False, "switch"),
        ("lamp list", False, "lamp"),
    ]


def test_the_cursor_stops_at_the_edges(view):
    assert state.move(view, -1, -1).cursor == (0, 0)
    assert state.move(view, 100, 2).cursor == (3, 2)


def test_each_place_keeps_its_cursor(view):
    moved = state.move(view, 2, 1)
    there = state.next_place(moved)
    assert there.cursor == (0, 0)
    assert state.next_place(there, -1).cursor == (2, 1)
    assert state.show_place(moved, 99) is moved


def test_never_reads_is_a_press_that_shows_only_what_rests(view):
    marked = mark(view, "switch/C3R2", "never")
    assert marked.case.findings == (
        Finding(Situation(held=("switch/C3R2",)), Look("reads"), frozenset({NC})),
    )
    assert marked.seen["switch/C3R2"].words == "never reads"
    assert marked.case.entries[0].time == NOW.time


def test_fine_is_a_press_that_shows_itself(view):
    marked = mark(view, "switch/C3R2", "fine")
    assert marked.case.findings[0].outcome == {"switch/C3R2", NC}
    assert marked.seen["switch/C3R2"].mark == "fine"


def test_always_grows_one_resting_scan(view):
    once = mark(view, "switch/C1R1", "always")
    twice = mark(once, "switch/C1R2", "always")
    assert [f.outcome for f in twice.case.findings] == [frozenset({"switch/C1R1", "switch/C1R2", NC})]
    assert {r for r, s in twice.seen.items() if s.mark == "always"} == {"switch/C1R1", "switch/C1R2"}
    assert len(twice.case.entries) == 3
    assert twice.case.entries[1].text == history.REPLACED


def test_never_after_always_takes_it_out_of_the_resting_scan(view):
    marked = mark(mark(mark(view, "switch/C1R1", "always"), "switch/C1R2", "always"), "switch/C1R1", "never")
    assert resting_reads(marked.case) == {"switch/C1R2", NC}
    assert marked.seen["switch/C1R1"].mark == "never"
    assert marked.seen["switch/C1R2"].mark == "always"


def test_a_second_mark_corrects_the_first(view):
    marked = mark(mark(view, "switch/C1R1", "never"), "switch/C1R1", "fine")
    assert len(marked.case.findings) == 1
    assert marked.seen["switch/C1R1"].mark == "fine"
    again = mark(marked, "switch/C1R1", "fine")
    assert again.case is marked.case


def test_a_normally_closed_switch_has_its_own_meaning(view):
    fine = mark(view, NC, "fine")
    assert NC not in fine.case.findings[0].outcome
    assert fine.seen[NC].words == "fine: opens when pressed"
    always = mark(view, NC, "always")
    assert NC in always.case.findings[0].outcome
    assert always.seen[NC].mark == "always"
    never = mark(view, NC, "never")
    assert never.case.findings[0] == Finding(Situation(), Look("reads"), frozenset())
    assert never.seen[NC].mark == "never"


def test_reads_others_is_chosen_on_the_grid(view):
    begun = mark(view, "switch/C1R1", "others")
    assert begun.case is view.case
    assert begun.choosing is not None
    assert begun.choosing.chosen == {"switch/C1R1", NC}
    there = state.toggle(at(begun, "switch/C1R3"))
    unfitted = state.toggle(at(there, "switch/C4R4"))
    done = state.finish_choosing(unfitted, NOW)
    assert done.choosing is None
    assert done.case.findings[0] == press_finding(
        "switch/C1R1", "switch/C1R1", "switch/C1R3", "switch/C4R4", NC
    )
    assert done.seen["switch/C1R1"].mark == "others"
    assert "C1R3" in done.seen["switch/C1R1"].words


def test_a_choice_can_be_left(view):
    begun = mark(view, "switch/C1R1", "others")
    assert state.mark(begun, "never", NOW).case is view.case
    assert state.show_pane(begun, "causes").pane == "place"
    assert state.cancel_choosing(begun).choosing is None
    assert state.undo(begun, NOW).choosing is None


def test_lamps_are_looked_at_under_a_pattern(view):
    alone = mark(view, "lamp/C1R1", "off")
    assert alone.case.findings[0] == Finding(
        Situation(lamps=("lamp/C1R1",)), Look("lamp", "lamp/C1R1"), "off"
    )
    everything = mark(state.turn_pattern(alone), "lamp/C1R1", "dim")
    assert everything.case.findings[1].situation.lamps == (ALL_LAMPS,)
    assert everything.seen["lamp/C1R1"].mark == "dim"
    nothing = mark(state.turn_pattern(everything), "lamp/C1R2", "normal")
    assert nothing.case.findings[2].situation.lamps == ()
    assert nothing.seen["lamp/C1R2"].mark == "stray"
    assert state.turn_pattern(nothing).pattern == "itself"


def test_a_stray_lamp_names_what_was_commanded(view):
    begun = mark(view, "lamp/C1R1", "stray")
    itself = state.toggle(begun)
    assert itself.choosing is not None
    assert itself.choosing.chosen == frozenset()
    chosen = state.toggle(at(begun, "lamp/C2R1"))
    done = state.finish_choosing(chosen, NOW)
    assert done.case.findings[0] == Finding(
        Situation(lamps=("lamp/C2R1",)), Look("lamp", "lamp/C1R1"), "normal"
    )
    assert done.seen["lamp/C1R1"].mark == "stray"


def test_a_choice_of_lamps_stays_on_lamps(view):
    begun = mark(view, "lamp/C1R1", "stray")
    assert state.show_place(begun, 0) is begun


def test_coils(view):
    weak = mark(view, "coil/1", "weak")
    assert weak.case.findings[0] == Finding(Situation(pulsed="coil/1"), Look("coil", "coil/1"), "weak")
    locked = mark(mark(weak, "coil/1", "locked"), "coil/2", "locked")
    assert locked.case.findings[-1].outcome == {"coil/1", "coil/2"}
    assert locked.seen["coil/1"].mark == "locked"
    assert any("SWITCH OFF" in c for c in locked.case.cautions())


@pytest.mark.parametrize("reference", ["switch/C1R1", "lamp/C1R1", "coil/1", "switch/coin door", "lamp/sign"])
def test_not_sure_is_a_mark_too(view, reference):
    marked = mark(view, reference, "unsure")
    assert marked.case.findings[0].outcome == NOT_SURE
    assert marked.seen[reference].mark == "unsure"


def test_nothing_can_be_marked_where_nothing_is(view):
    with pytest.raises(BenchError, match="nothing is fitted"):
        mark(view, "switch/C4R4", "never")
    with pytest.raises(BenchError, match="no mark"):
        mark(view, "switch/C1R1", "dim")


def test_taking_a_mark_off(view):
    marked = mark(view, "switch/C1R1", "never")
    off = state.clear_mark(marked, NOW)
    assert off.case.findings == ()
    assert "switch/C1R1" not in off.seen
    with pytest.raises(BenchError, match="no mark"):
        state.clear_mark(off, NOW)


def test_taking_one_of_two_resting_marks_off_keeps_the_other(view):
    marked = mark(mark(view, "switch/C1R1", "always"), "switch/C1R2", "always")
    off = state.clear_mark(at(marked, "switch/C1R1"), NOW)
    assert set(off.seen) == {"switch/C1R2"}


def test_undo_and_redo_walk_back_and_forth(view):
    one = mark(view, "switch/C1R1", "never")
    two = mark(one, "switch/C1R2", "fine")
    back = state.undo(two, NOW)
    assert back.seen == one.seen
    start = state.undo(back, NOW)
    assert start.seen == {}
    with pytest.raises(BenchError, match="nothing to undo"):
        state.undo(start, NOW)
    forth = state.redo(start, NOW)
    assert forth.seen == one.seen
    forth = state.redo(forth, NOW)
    assert forth.seen == two.seen
    with pytest.raises(BenchError, match="bring back"):
        state.redo(forth, NOW)
    assert state.undo(forth, NOW).seen == one.seen
    assert len(forth.case.entries) > len(two.case.entries)


def test_undo_of_a_correction_brings_the_first_mark_back(view):
    one = mark(mark(view, "switch/C1R1", "always"), "switch/C1R2", "always")
    back = state.undo(one, NOW)
    assert set(back.seen) == {"switch/C1R1"}
    forth = state.redo(back, NOW)
    assert set(forth.seen) == {"switch/C1R1", "switch/C1R2"}
    assert forth.case.findings == one.case.findings


def test_undo_of_taking_a_mark_off_puts_it_on_again(view):
    off = state.clear_mark(mark(view, "switch/C1R1", "never"), NOW)
    assert state.undo(off, NOW).seen["switch/C1R1"].mark == "never"


def test_a_new_mark_ends_redo(view):
    back = state.undo(mark(view, "switch/C1R1", "never"), NOW)
    with pytest.raises(BenchError):
        state.redo(mark(back, "switch/C1R2", "never"), NOW)


def test_undo_takes_only_ones_own_entries(view):
    other = state.mark(at(view, "switch/C1R1"), "never", Stamp("", "the other bench"))
    with pytest.raises(BenchError):
        state.undo(other, NOW)


def test_a_note_called_undo_is_a_note(view):
    noted = state.note(view, "undo", NOW)
    assert state.undo(noted, NOW).case.standing == ()
    with pytest.raises(BenchError, match="words"):
        state.note(view, "  ", NOW)


def test_the_log_keeps_what_was_taken_back(view):
    back = state.undo(mark(view, "switch/C1R1", "never"), NOW)
    rows = history.log_rows(back.case)
    assert [(r.number, r.gone) for r in rows] == [(2, False), (1, True)]
    with pytest.raises(BenchError):
        state.take_back(state.pick(back, "log", 1), NOW)
    marked = mark(back, "switch/C1R2", "never")
    taken = state.take_back(marked, NOW)
    assert "switch/C1R2" not in taken.seen


def test_a_repair_makes_older_marks_old_and_asks_for_its_proof(view):
    marked = mark(view, "switch/C1R1", "never")
    assert state.unproven_proof(marked) is None
    mended = state.repair(marked, ("switch/C1R1/contact",), "clean", NOW)
    assert mended.seen["switch/C1R1"].old
    proof = state.unproven_proof(mended)
    assert proof is not None
    assert proof.situation.held == ("switch/C1R1",)
    proven = state.answer_check(mended, proof, frozenset({"switch/C1R1", NC}), NOW)
    assert "PROVEN" in proven.said
    assert state.unproven_proof(proven) is None
    assert not proven.seen["switch/C1R1"].old
    failed = state.answer_check(mended, proof, frozenset({NC}), NOW)
    assert "not cured" in failed.said
    unsure = state.answer_check(mended, proof, NOT_SURE, NOW)
    assert "no proof" in unsure.said


def test_after_a_repair_marks_do_not_correct_older_ones(view):
    mended = state.repair(mark(view, "switch/C1R1", "never"), ("switch/C1R1/contact",), "clean", NOW)
    again = mark(mended, "switch/C1R1", "fine")
    assert len(again.case.findings) == 2


def test_stale_answers_are_dropped(view):
    one = mark(view, "switch/C1R1", "never")
    diagnosis = one.case.diagnose()
    two = mark(one, "switch/C1R2", "never")
    assert state.with_diagnosis(two, diagnosis, len(one.case.entries)).diagnosis is None
    fresh = state.with_diagnosis(one, diagnosis, len(one.case.entries))
    assert fresh.suspects["switch/C1R1"] == pytest.approx(0.85)
    assert not fresh.stale
    assert state.with_checks(two, one.case.checks(), 1).ranked == ()


def test_resuming_shows_what_was_marked():
    case = fake_case().with_finding(press_finding("switch/C1R1", NC))
    assert seen_on(case)["switch/C1R1"].mark == "never"
    assert state.open_view(case).seen["switch/C1R1"].mark == "never"


def test_machines_of_any_size_open():
    for columns, rows in ((1, 1), (16, 16), (32, 32)):
        view = state.open_view(fake_case(make_wiring(columns, rows, gaps=())))
        assert view.spot is not None
        assert state.move(view, 99, 99).cursor == (columns - 1, rows - 1)
