"""Fields, fast keys, lists that end, the words of work under power, normally closed switches."""

from __future__ import annotations

import pytest
from textual import events
from textual.widgets import Input, OptionList, SelectionList, Static

from matrixdoc.bench import state
from matrixdoc.bench.app import BenchApp
from matrixdoc.bench.check_dialog import CheckDialog
from matrixdoc.bench.desk import Desk
from matrixdoc.bench.dialogs import HelpDialog, MarkMenu
from matrixdoc.bench.history import log_rows
from matrixdoc.bench.marks import resting_reads
from matrixdoc.bench.opening import Opened
from matrixdoc.bench.panes import FooterBar
from matrixdoc.bench.picture import settle
from matrixdoc.checks.situation import NOT_SURE, Finding, Look, Situation
from matrixdoc.checks.wording import seen_words
from tests.bench.fakes import MemoryStore, fake_case
from tests.bench.test_state import at

SMALL, LARGE = (80, 24), (120, 40)
NC = "switch/C2R1"
NOW = state.Stamp("2026-01-05T10:00:00+00:00", "")


def bench(**more):
    return BenchApp(Opened(fake_case(), MemoryStore(), "tuesday"), clock=lambda: NOW.time, **more)


async def press(app, pilot, *keys):
    for key in keys:
        await pilot.press(key)
    await settle(app, pilot)


async def at_once(app, pilot, *keys):
    """All keys in one go, before the app looks at the first."""
    for key in keys:
        app.post_message(events.Key(key, key if len(key) == 1 else None))
    await pilot.pause()
    await settle(app, pilot)


def shown(app):
    return "".join(s.text for strip in app.screen._compositor.render_strips() for s in strip)


def text_of(widget):
    return str(widget.render())


async def open_check(app, pilot, key):
    index = next(i for i, r in enumerate(app.view.ranked) if r.check.key.startswith(key))
    await press(app, pilot, "k", *["down"] * index, "enter")
    assert isinstance(app.screen, CheckDialog)
    return app.screen


# -- fields ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("typed", "reads"), [("C1R4", {"switch/C1R4"}), ("C1R1", {"switch/C1R1"})])
async def test_what_is_typed_is_what_is_recorded(typed, reads):
    app = bench()
    async with app.run_test(size=SMALL) as pilot:
        await settle(app, pilot)
        await press(app, pilot, "down", "n")
        dialog = await open_check(app, pilot, "press")
        assert dialog.focused is dialog.query_one(Input)
        await press(app, pilot, *typed)
        assert dialog.query_one(Input).value == typed
        assert app.screen is dialog
        await press(app, pilot, "enter")
        found = app.store.entries[-1].finding
        assert (found.outcome, found.words) == (reads, typed)


async def test_what_is_not_understood_is_kept_and_said():
    app = bench()
    async with app.run_test(size=SMALL) as pilot:
        await settle(app, pilot)
        await press(app, pilot, "down", "n")
        dialog = await open_check(app, pilot, "press")
        await press(app, pilot, "enter", *"C9R9", "enter")
        assert app.screen is dialog
        assert dialog.query_one(Input).value == "C9R9"
        refused = dialog.query_one("#refused", Static)
        assert "C9R9" in text_of(refused)
        assert "C9R9" in shown(app)
        assert refused.region.height
        assert dialog.query_one("#keys").region.bottom <= SMALL[1]
        assert len(app.store.entries) == 1


async def test_digits_choose_in_the_list_and_up_goes_back_to_the_field():
    app = bench()
    async with app.run_test(size=SMALL) as pilot:
        await settle(app, pilot)
        await press(app, pilot, "down", "n")
        dialog = await open_check(app, pilot, "press")
        await press(app, pilot, "down")
        assert dialog.focused is dialog.query_one(OptionList)
        await press(app, pilot, "up", "2")
        assert dialog.query_one(Input).value == "2"
        await press(app, pilot, "down", "2")
        assert app.screen is app._desk
        assert app.store.entries[-1].finding.outcome == {NC}


# -- fast keys ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("doubled", [1, 3])
async def test_keys_sent_at_once_reach_the_window_that_they_open(doubled):
    app = bench()
    async with app.run_test(size=SMALL) as pilot:
        await settle(app, pilot)
        await press(app, pilot, "down", "n")
        keys = ["k", "down", "down", *["enter"] * doubled, *"C3R1"]
        await at_once(app, pilot, *keys)
        assert isinstance(app.screen, CheckDialog)
        assert app.screen.check.key == "press switch/C1R1"
        assert app.screen.query_one(Input).value == "C3R1"
        await at_once(app, pilot, "enter", "enter", "enter")
        assert app.store.entries[-1].finding.outcome == {"switch/C3R1"}
        assert len(app.store.entries) == 2
    assert app.return_code in (None, 0)


async def test_a_doubled_enter_mends_once_and_proves_nothing():
    app = bench()
    async with app.run_test(size=SMALL) as pilot:
        await settle(app, pilot)
        await press(app, pilot, "n", "c", "r")
        await at_once(app, pilot, "enter", "enter", "enter", "enter")
        assert [e.kind for e in app.store.entries] == ["finding", "repair"]
        assert isinstance(app.screen, CheckDialog)
        assert app.view.case.unproven()


async def test_a_part_that_is_chosen_is_told_by_a_word_and_not_by_its_colour_alone():
    app = bench()
    async with app.run_test(size=SMALL) as pilot:
        await settle(app, pilot)
        await press(app, pilot, "n", "c", "r")
        parts = app.screen.query_one(SelectionList)
        assert str(parts.get_option_at_index(0).prompt).startswith("mended")
        await press(app, pilot, "tab", "space")
        assert parts.selected == []
        assert str(parts.get_option_at_index(0).prompt).startswith("left")
        await press(app, pilot, "space")
        assert str(parts.get_option_at_index(0).prompt).startswith("mended")


@pytest.mark.parametrize("size", [SMALL, LARGE])
async def test_windows_opened_and_closed_in_a_hurry(size):
    app = bench()
    async with app.run_test(size=size) as pilot:
        await settle(app, pilot)
        await press(app, pilot, "n")
        burst = ["k", "enter", "escape", "escape", "question_mark", "question_mark", "q", "q", "escape"]
        for _ in range(3):
            await at_once(app, pilot, *burst)
            if app.return_value is not None:
                break
            while not isinstance(app.screen, Desk):
                await press(app, pilot, "escape")
        assert len(app.store.entries) == 1
        for kind, key in ((HelpDialog, "question_mark"), (MarkMenu, "enter")):
            await press(app, pilot, "g", key)
            assert isinstance(app.screen, kind)
            app.screen.dismiss(None)
            await at_once(app, pilot, "escape", "escape")
            assert isinstance(app.screen, Desk)
    assert app.return_code in (None, 0)


async def test_a_window_answers_once():
    app = bench()
    async with app.run_test(size=SMALL) as pilot:
        await settle(app, pilot)
        await press(app, pilot, "question_mark")
        dialog = app.screen
        dialog.dismiss(None)
        dialog.dismiss(None)
        await settle(app, pilot)
        assert app.screen_stack == [app._desk]


# -- work under power --------------------------------------------------------------------------------


@pytest.mark.parametrize("size", [SMALL, LARGE])
async def test_a_repair_is_done_unplugged_and_proven_under_power(size):
    app = bench()
    async with app.run_test(size=size) as pilot:
        await settle(app, pilot)
        await press(app, pilot, "n", "k")
        assert "DO IT" not in shown(app)
        await press(app, pilot, "g")
        dialog = await open_check(app, pilot, "clean")
        assert dialog.heading.endswith("power OFF and UNPLUGGED")
        lines = [text_of(s) for s in dialog.query("#body Static").results(Static)]
        work = next(line for line in lines if line.startswith("Work"))
        proof = next(line for line in lines if line.startswith("Proof"))
        assert "power OFF and unplugged" in work
        assert "power on" not in work
        assert "then power on, holding switch C1R1" in proof


# -- lists -------------------------------------------------------------------------------------------


async def test_cannot_is_asked_for_by_its_own_key():
    app = bench()
    async with app.run_test(size=SMALL) as pilot:
        await settle(app, pilot)
        await press(app, pilot, "n")
        dialog = await open_check(app, pilot, "clean")
        listing = dialog.query_one(OptionList)
        assert dialog.focused is listing
        await press(app, pilot, "up")
        assert listing.highlighted == 0
        await press(app, pilot, "down", "down", "enter")
        assert [e.kind for e in app.store.entries] == ["finding", "repair"]
        await press(app, pilot, "down", "d")
        assert app.view.case.unproven()
        assert [e.kind for e in app.store.entries] == ["finding", "repair"]


async def test_lists_end_at_their_ends_and_show_where_one_is():
    app = bench()
    async with app.run_test(size=SMALL) as pilot:
        await settle(app, pilot)
        await press(app, pilot, "enter")
        listing = app.screen.query_one(OptionList)
        await press(app, pilot, "up")
        assert listing.highlighted == 0
        await press(app, pilot, *["down"] * 20)
        assert listing.highlighted == listing.option_count - 1
        here = listing.get_component_rich_style("option-list--option-highlighted")
        plain = listing.get_component_rich_style("option-list--option")
        assert here.bgcolor != plain.bgcolor
        assert here.underline


# -- normally closed ---------------------------------------------------------------------------------


@pytest.mark.parametrize("plain", [False, True])
@pytest.mark.parametrize("size", [SMALL, LARGE])
async def test_normally_closed_cells_are_told_by_sign_and_word(size, plain):
    app = bench(plain=plain)
    async with app.run_test(size=size) as pilot:
        await settle(app, pilot)
        assert "/ rope" in shown(app)
        assert "/ normally closed: reads" in text_of(app.screen.query_one(FooterBar))
        assert "/ normally closed: reads" in shown(app)
        await press(app, pilot, "right", "f")
        assert "FINE/" in shown(app)
        assert "opens when pressed" in shown(app)
        await press(app, pilot, "2")
        assert "/ normally closed: reads" not in shown(app)


MARKS = {"never": "n", "always": "a", "fine": "f", "unsure": "u"}


@pytest.mark.parametrize("reference", [NC, "switch/C1R1"])
@pytest.mark.parametrize("last", list(MARKS))
def test_only_the_last_mark_of_a_cell_counts(reference, last):
    alone = state.mark(at(state.open_view(fake_case()), reference), last, NOW)
    view = at(state.open_view(fake_case()), reference)
    for key in (*[m for m in MARKS if m != last], last):
        view = state.mark(view, key, NOW)
    assert view.case.findings == alone.case.findings
    assert view.seen.keys() == alone.seen.keys()
    assert view.seen[reference].mark == last
    assert resting_reads(view.case) == resting_reads(alone.case)


async def test_three_marks_by_key_leave_the_last():
    app = bench()
    async with app.run_test(size=SMALL) as pilot:
        await settle(app, pilot)
        await press(app, pilot, "right", "n", "a", "f")
        (found,) = app.view.case.findings
        assert found == Finding(Situation(held=(NC,)), Look("reads"), frozenset())
        await press(app, pilot, "z")
        assert app.view.seen[NC].mark == "always"


def test_other_cells_keep_their_marks():
    view = state.mark(at(state.open_view(fake_case()), "switch/C1R1"), "always", NOW)
    for key in ("never", "always", "fine"):
        view = state.mark(at(view, NC), key, NOW)
    assert resting_reads(view.case) == {"switch/C1R1", NC}
    assert {r: s.mark for r, s in view.seen.items()} == {"switch/C1R1": "always", NC: "fine"}


@pytest.mark.parametrize(
    ("key", "said"),
    [
        ("fine", "normally closed, pressed: opens, as it should"),
        ("always", "normally closed, pressed: still reads, does not open"),
        ("never", "normally closed switch C2R1 does not read, where it should"),
    ],
)
def test_the_log_says_what_a_normally_closed_switch_does(key, said):
    view = state.mark(at(state.open_view(fake_case()), NC), key, NOW)
    (row,) = log_rows(view.case)
    assert said in row.words
    assert ("as it should" in row.words) == (key == "fine")


def test_a_check_on_a_normally_closed_switch_offers_what_it_can_do():
    from matrixdoc.bench.answers import base_choices, parse_answer
    from matrixdoc.checks.situation import Check

    view = state.open_view(fake_case())
    check = Check("press it", "look", Situation(held=(NC,)), Look("reads"), 1.0)
    words = {c.words: c.outcome for c in base_choices(view, check)}
    assert words["opens: no longer reads, as it should"] == frozenset()
    assert words["still reads: does not open"] == {NC}  # type: ignore[comparison-overlap]
    assert parse_answer(view, check, "fine") == frozenset()
    assert parse_answer(view, check, "itself") == {NC}  # type: ignore[comparison-overlap]
    more = Finding(Situation(held=(NC,)), Look("reads"), frozenset({"switch/C1R1"}))
    assert "opens; switch C1R1 reads too" in seen_words(view.case.wiring, more)
    assert "not sure" in seen_words(view.case.wiring, Finding(Situation(held=(NC,)), Look("reads"), NOT_SURE))
