"""The running bench: keys only, from the first symptom to the proof; errors, saving, touch, sizes."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from textual.widgets import Input, SelectionList, Static

from matrixdoc.bench import state
from matrixdoc.bench.actions import ACTIONS
from matrixdoc.bench.app import MOVE_KEYS, BenchApp, run
from matrixdoc.bench.cause_dialog import CauseDialog, RepairDialog
from matrixdoc.bench.check_dialog import CheckDialog
from matrixdoc.bench.chooser import Chooser
from matrixdoc.bench.desk import Desk
from matrixdoc.bench.dialogs import HelpDialog, MarkMenu, MessageDialog, NoteDialog
from matrixdoc.bench.history import log_rows
from matrixdoc.bench.opening import Opened
from matrixdoc.bench.panes import CautionBar, FooterBar, RowList, TabBar
from matrixdoc.bench.picture import settle
from matrixdoc.checks.situation import OPEN_LOOP, Finding, Look, Situation
from matrixdoc.definition.library import load_machine
from matrixdoc.diagnosis.results import Cause, FaultName
from tests.bench.fakes import MemoryStore, fake_case, make_wiring

CLOCK = "2026-01-05T10:00:00+00:00"
SMALL, LARGE = (80, 24), (120, 40)


def bench(case=None, store=None, **more):
    return BenchApp(Opened(case or fake_case(), store, "tuesday"), clock=lambda: CLOCK, **more)


async def press(app, pilot, *keys):
    for key in keys:
        await pilot.press(key)
    await settle(app, pilot)


def shown(app):
    """Every letter on the screen."""
    return "".join(s.text for strip in app.screen._compositor.render_strips() for s in strip)


def text_of(widget):
    return str(widget.render())


@pytest.mark.parametrize("size", [SMALL, LARGE])
async def test_one_whole_repair_by_keyboard_alone(size):
    store = MemoryStore()
    app = bench(store=store)
    async with app.run_test(size=size) as pilot:
        await settle(app, pilot)
        # The symptom: C3R2 never reads; its neighbour does.
        await press(app, pilot, "right", "right", "down", "n", "down", "f")
        assert [e.kind for e in store.entries] == ["finding", "finding"]
        assert app.view.causes[0].title == "switch C3R2 contact: never closes"
        assert app.view.suspects["switch/C3R2"] > 0.8
        # The check: its result is typed.
        await press(app, pilot, "k", "enter")
        assert isinstance(app.screen, CheckDialog)
        assert app.screen.check.look.function == "ohms"
        await press(app, pilot, *"nonsense", "enter")
        assert isinstance(app.screen, CheckDialog)
        assert "ohms, such as" in text_of(app.screen.query_one("#refused", Static))
        app.screen.query_one(Input).clear()
        await press(app, pilot, "O", "L", "enter")
        typed = store.entries[-1].finding
        assert typed is not None
        assert (typed.outcome, typed.words) == (OPEN_LOOP, "OL")
        assert app.view.causes[0].probability == pytest.approx(0.96)
        # The repair, from the cause in full.
        await press(app, pilot, "c", "enter")
        assert isinstance(app.screen, CauseDialog)
        await press(app, pilot, "r")
        assert isinstance(app.screen, RepairDialog)
        await press(app, pilot, "enter")
        assert store.entries[-1].kind == "repair"
        assert store.entries[-1].parts == ("switch/C3R2/contact",)
        assert store.entries[-1].action == "clean"
        # The proof is asked for at once.
        assert isinstance(app.screen, CheckDialog)
        assert app.screen.check.situation.held == ("switch/C3R2",)
        await press(app, pilot, "down", "enter")
        assert app.screen is app._desk
        assert "PROVEN" in app.view.said
        assert app.view.case.unproven() == ()
        assert app.view.causes == ()
        assert tuple(store.entries) == app.view.case.entries


@pytest.mark.parametrize(
    ("keys", "outcome", "glyph", "word"),
    [
        (("2", "f"), "flickers", "≈", "FLICKERS"),
        (("3", "b"), "fires twice", "»", "TWICE"),
    ],
)
async def test_flickering_and_double_firing_have_signs(keys, outcome, glyph, word):
    app = bench()
    async with app.run_test(size=SMALL) as pilot:
        await settle(app, pilot)
        await press(app, pilot, *keys)
        (found,) = app.view.case.findings
        assert found.outcome == outcome
        assert f"{glyph} {word}" in shown(app)
        await press(app, pilot, "down", "enter")
        assert isinstance(app.screen, MarkMenu)
        assert f"{glyph} {outcome}" in shown(app)
        assert "take the mark off" in shown(app)


async def test_a_bridge_between_neighbours_is_noted_as_mended():
    """The lugs of a coil bent together: no part of the definition, and mended all the same."""
    wiring = load_machine("lantern_quay")
    bridge = "bridge/coil/5/driven~coil/5/supplied"
    lugs = FaultName(bridge, "bridged", "bridge", "lugs of coil 5", "playfield")
    cause = Cause(1, 0.9, "lugs of coil 5: bridged", (lugs,), (((lugs,), 0.9),), repair="clear the bridge")
    seen = Finding(Situation(pulsed="coil/5"), Look("coil", "coil/5"), "nothing")
    store = MemoryStore()
    case = fake_case(wiring).with_finding(seen)
    store.entries.extend(case.entries)
    app = bench(case, store)
    async with app.run_test(size=SMALL) as pilot:
        await settle(app, pilot)
        app._push(RepairDialog(app.view, cause), lambda answer: app._repaired(*answer))
        await settle(app, pilot)
        assert isinstance(app.screen, RepairDialog)
        assert app.screen.query_one(SelectionList).selected == [bridge]
        assert "mended lugs of coil 5: bridged" in shown(app)
        await press(app, pilot, "enter")
        assert (store.entries[-1].kind, store.entries[-1].parts) == ("repair", (bridge,))
        assert "bridge between driven lug of coil 5" in log_rows(app.view.case)[0].words


async def test_undo_and_redo_by_key():
    app = bench(store=MemoryStore())
    async with app.run_test(size=SMALL) as pilot:
        await settle(app, pilot)
        await press(app, pilot, "n", "down", "f", "z")
        assert set(app.view.seen) == {"switch/C1R1"}
        await press(app, pilot, "y")
        assert set(app.view.seen) == {"switch/C1R1", "switch/C1R2"}
        await press(app, pilot, "ctrl+z", "z", "z")
        assert app.view.seen == {}


async def test_a_locked_coil_is_shown_before_anything_is_computed():
    case = fake_case()
    app = bench(case)
    async with app.run_test(size=SMALL) as pilot:
        await settle(app, pilot)
        with app._computing:  # the worker cannot compute while the test holds this
            await pilot.press("3", "l")
            await pilot.pause()
            bar = app.screen.query_one(CautionBar)
            assert bar.display
            assert "SWITCH OFF NOW" in text_of(bar)
            assert bar.region.width == SMALL[0]
            assert app.view.stale
            assert "working" in app.view.busy
        await settle(app, pilot)
        assert not app.view.stale


async def test_declining_a_check_ranks_the_others():
    app = bench(store=MemoryStore())
    async with app.run_test(size=SMALL) as pilot:
        await settle(app, pilot)
        await press(app, pilot, "n", "k", "d")
        assert [e.kind for e in app.view.case.entries] == ["finding", "decline"]
        assert all(r.check.look.kind != "meter" for r in app.view.ranked)
        await press(app, pilot, "enter", "d")
        assert app.view.case.entries[-1].check_key == "clean switch/C1R1"


async def test_reads_others_is_chosen_on_the_grid():
    app = bench()
    async with app.run_test(size=SMALL) as pilot:
        await settle(app, pilot)
        await press(app, pilot, "o", "down", "down", "space", "enter")
        assert app.view.case.findings[0].outcome >= {"switch/C1R1", "switch/C1R3"}
        await press(app, pilot, "down", "o", "escape")
        assert len(app.view.case.entries) == 1


async def test_a_check_may_be_answered_on_the_grid():
    app = bench()
    async with app.run_test(size=SMALL) as pilot:
        await settle(app, pilot)
        await press(app, pilot, "n", "k", "down", "down", "enter")
        assert isinstance(app.screen, CheckDialog)
        dialog = app.screen
        await press(app, pilot, *["down"] * 9, "enter")
        assert app.screen is not dialog
        assert app.view.choosing is not None
        await press(app, pilot, "down", "space", "enter")
        assert app.view.case.findings[-1].outcome == {"switch/C1R1", "switch/C1R2", "switch/C2R1"}


async def test_what_cannot_be_saved_is_not_shown_as_noted():
    store = MemoryStore()
    app = bench(store=store)
    async with app.run_test(size=SMALL) as pilot:
        await settle(app, pilot)
        await press(app, pilot, "n")
        store.full = True
        await press(app, pilot, "down", "f")
        assert isinstance(app.screen, MessageDialog)
        await press(app, pilot, "enter")
        assert len(app.view.case.entries) == 1
        assert set(app.view.seen) == {"switch/C1R1"}
        store.full = False
        await press(app, pilot, "f")
        assert len(store.entries) == 2


async def test_an_engine_that_fails_leaves_the_findings():
    app = bench(fake_case(fail=True), MemoryStore())
    async with app.run_test(size=SMALL) as pilot:
        await settle(app, pilot)
        assert isinstance(app.screen, MessageDialog)
        await press(app, pilot, "enter", "n", "enter")
        assert len(app.view.case.findings) == 1
        assert app.view.busy == ""


async def test_windows_open_and_close():
    app = bench()
    async with app.run_test(size=SMALL) as pilot:
        await settle(app, pilot)
        for key, kind in (("question_mark", HelpDialog), ("enter", MarkMenu), ("t", NoteDialog)):
            await press(app, pilot, key)
            assert isinstance(app.screen, kind)
            await press(app, pilot, "escape")
            assert isinstance(app.screen, Desk)
        await press(app, pilot, "t", *"smoke", "enter")
        assert any("SWITCH OFF" in c for c in app.view.case.cautions())
        await press(app, pilot, "h", "enter")
        assert isinstance(app.screen, MessageDialog)
        await press(app, pilot, "enter", "x")
        assert app.view.case.cautions() == ()
        await press(app, pilot, "m")
        assert app.screen is not app._desk
        await press(app, pilot, "escape", "q")
    assert app.return_value == 0


async def test_marks_by_menu_and_by_touch():
    app = bench()
    async with app.run_test(size=SMALL) as pilot:
        await settle(app, pilot)
        await press(app, pilot, "enter", "down", "enter")
        assert app.view.seen["switch/C1R1"].mark == "always"
        grid = app._desk.grid
        await pilot.click(grid, offset=(4 + grid.cell_width + 2, 3))
        await settle(app, pilot)
        assert app.view.cursor == (1, 2)
        await pilot.click(grid, offset=(4 + grid.cell_width + 2, 3))
        await settle(app, pilot)
        assert isinstance(app.screen, MarkMenu)
        await press(app, pilot, "n")
        assert app.view.seen["switch/C2R3"].mark == "never"
        await pilot.click(TabBar, offset=(12, 0))
        assert app.view.place.key == "lamp"
        await pilot.click(FooterBar, offset=(1, 0))
        await settle(app, pilot)
        assert app.view.seen["lamp/C1R1"].mark == "off"


@pytest.mark.parametrize(
    ("size", "shape"),
    [(SMALL, (1, 1)), (SMALL, (16, 16)), (SMALL, (32, 32)), (LARGE, (8, 8)), (LARGE, (32, 32))],
)
async def test_grids_are_whole_up_to_sixteen_rows(size, shape):
    columns, rows = shape
    app = bench(fake_case(make_wiring(columns, rows, gaps=())))
    async with app.run_test(size=size) as pilot:
        await settle(app, pilot)
        grid = app._desk.grid
        drawn = 4 + grid.cell_width * columns
        assert drawn <= grid.size.width
        if rows <= 16:
            assert grid.virtual_size.height <= grid.size.height
        for _ in range(4):
            await press(app, pilot, "pagedown", "end")
        assert app.view.cursor == (columns - 1, rows - 1)
        region = grid._cell_region(app.view.cursor)
        assert region.bottom - grid.scroll_offset.y <= grid.size.height
        footer = app.screen.query_one(FooterBar)
        assert footer.region.bottom == size[1]
        for name in ("#title", "#tabs", "#position", "#footer"):
            assert app.screen.query_one(name).size.height == 1


async def test_side_by_side_when_there_is_room():
    app = bench()
    async with app.run_test(size=LARGE) as pilot:
        await settle(app, pilot)
        await press(app, pilot, "n")
        for name in ("#causes", "#checks", "#log"):
            assert app.screen.query_one(name, RowList).region.height > 3
        await press(app, pilot, "c")
        assert app._desk.grid.region.height > 3
        await pilot.resize_terminal(*SMALL)
        await pilot.pause(0.3)
        assert app._desk.grid.region.height == 0
        assert app.screen.query_one("#causes", RowList).region.height > 3


async def test_plain_signs_and_every_theme():
    app = bench(plain=True)
    async with app.run_test(size=SMALL) as pilot:
        await settle(app, pilot)
        await press(app, pilot, "n", "down", "a", "2", "o", "3", "w", "1")
        for _ in range(4):
            await press(app, pilot, "i")
            drawn = shown(app)
            left = {c for c in drawn if not c.isascii()} - {"·"}
            assert not left
        await press(app, pilot, "j")
        drawn = shown(app)
        assert "×" in drawn


async def test_markup_and_escapes_in_a_definition_are_shown_as_text():
    title = "[bold red]x[/] \x1b[31m"
    app = bench(fake_case(make_wiring(title=title)))
    async with app.run_test(size=LARGE) as pilot:
        await settle(app, pilot)
        drawn = shown(app)
        assert "[bold red]x[/] \\x1b[31m" in drawn
        assert "\x1b" not in drawn
        await press(app, pilot, "t", *"[/b]", "enter", "h", "enter")
        assert isinstance(app.screen, MessageDialog)


KEYS = sorted(
    {key for a in ACTIONS for key in a.keys if key not in ("q", "ctrl+q", "m", "ctrl+p")}
    | {*MOVE_KEYS, *"12345"}
)


@settings(max_examples=4, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(st.sampled_from([*KEYS, "n", "enter", "o", "space", "c", "k", "r"]), min_size=10, max_size=24)
)
def test_any_keys_in_any_order(keys):
    import asyncio

    async def go():
        store = MemoryStore()
        app = bench(store=store)
        async with app.run_test(size=SMALL) as pilot:
            await settle(app, pilot)
            await pilot.press(*keys)
            await settle(app, pilot)
            assert app.view is not None
            assert app.view.case.entries == tuple(store.entries)
            assert app.return_code in (None, 0)

    asyncio.run(go())


# -- opening ---------------------------------------------------------------------------------------


async def test_what_cannot_be_opened_is_told_and_a_choice_is_offered(tmp_path):
    from matrixdoc.bench.opening import open_asked

    app = BenchApp(
        opener=lambda: open_asked("no such machine", None, None, CLOCK, "", tmp_path), folder=tmp_path
    )
    async with app.run_test(size=SMALL) as pilot:
        for _ in range(200):
            await pilot.pause(0.02)
            if isinstance(app.screen, MessageDialog):
                break
        await pilot.pause()
        assert "no such machine" in shown(app)
        await pilot.press("enter")
        for _ in range(200):
            await pilot.pause(0.02)
            if isinstance(app.screen, Chooser) and app.screen.offers:
                break
        await pilot.pause()
        assert "BEGIN A NEW CASE ON" in shown(app)
        await pilot.press("q")
    assert app.return_value == 1


async def test_a_machine_is_chosen_and_the_case_is_on_disk_at_the_first_entry(tmp_path):
    from matrixdoc.bench.opening import open_stored
    from matrixdoc.case.file import list_cases

    app = BenchApp(folder=tmp_path, clock=lambda: CLOCK)
    async with app.run_test(size=SMALL) as pilot:
        for _ in range(200):
            await pilot.pause(0.02)
            if isinstance(app.screen, Chooser) and app.screen.offers:
                break
        await pilot.press("enter")
        for _ in range(400):
            await pilot.pause(0.02)
            if app.view is not None:
                break
        assert list_cases(tmp_path) == ()
        await pilot.press("t", *"first", "enter")
        await settle(app, pilot)
        (stored,) = list_cases(tmp_path)
        assert stored.entries == 1
    app.close_store()
    again = open_stored(stored.path)
    assert [e.text for e in again.case.entries] == ["first"]
    assert again.store is not None
    again.store.close()


def test_without_a_terminal_it_says_what_to_use(capsys, monkeypatch):
    monkeypatch.delenv("TEXTUAL_DRIVER", raising=False)
    monkeypatch.setattr(sys, "__stdin__", None)
    assert run("anything", None, None) == 1
    assert "matrixdoc diagnose" in capsys.readouterr().err


async def test_a_whole_repair_on_the_real_engine():
    from matrixdoc.case.case import Case
    from matrixdoc.definition.library import load_machine

    store = MemoryStore()
    app = bench(Case.start(load_machine("bare_chart")), store)
    async with app.run_test(size=SMALL) as pilot:
        await settle(app, pilot)
        await press(app, pilot, "down", "down", "n", "down", "f", "up", "right", "f")
        assert app.view.causes[0].faults[0].part == "switch/C1R3/contact"
        assert app.view.ranked
        await press(app, pilot, "c", "r", "enter")
        assert store.entries[-1].kind == "repair"
        await press(app, pilot, "1", "enter")
        assert isinstance(app.screen, CheckDialog)
        assert app.screen.query_one(Input).value == "1"
        await press(app, pilot, "down", "1")
        assert "PROVEN" in app.view.said
        assert app.view.case.unproven() == ()
        assert tuple(store.entries) == app.view.case.entries


def test_nothing_heavy_is_imported_before_the_first_paint():
    code = (
        "import sys, matrixdoc.bench.app; "
        "heavy = {'numpy', 'networkx', 'pydantic', 'yaml', 'matrixdoc.diagnosis.engine'}; "
        "print(sorted(heavy & set(sys.modules)))"
    )
    root = Path(__file__).resolve().parents[2]
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=True,
        cwd=root,
        env=dict(os.environ),
    )
    assert done.stdout.strip() == "[]"


def test_state_needs_no_screen():
    code = "import sys, matrixdoc.bench.state; print('textual' in sys.modules)"
    root = Path(__file__).resolve().parents[2]
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=root)
    assert done.stdout.strip() == "False"
    assert state.BenchError("x").args == ("x",)
