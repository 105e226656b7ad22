"""Pictures of the bench at both sizes, in colour, without, and in plain letters."""

from __future__ import annotations

import pytest

from matrixdoc.bench.app import BenchApp
from matrixdoc.bench.opening import Opened
from matrixdoc.bench.picture import export_picture, settle
from tests.bench.fakes import fake_case, make_wiring

SMALL, LARGE = (80, 24), (120, 40)
MARKS = ("right", "right", "n", "down", "f", "down", "a", "left", "u")


def bench(wiring=None, **more):
    return BenchApp(Opened(fake_case(wiring), None, "tuesday"), clock=lambda: "2026-01-05T10:00:00", **more)


def after(*keys):
    async def go(pilot):
        await settle(pilot.app, pilot)
        for key in keys:
            await pilot.press(key)
        await settle(pilot.app, pilot)

    return go


VIEWS = {
    "marks": MARKS,
    "check": (*MARKS, "k", "enter"),
    "causes": (*MARKS, "c"),
    "locked": ("3", "l"),
    "choosing": ("o", "down", "space"),
}


@pytest.mark.parametrize(
    ("size", "keys"),
    [pytest.param(SMALL, keys, id=f"80x24-{name}") for name, keys in VIEWS.items()]
    + [pytest.param(LARGE, VIEWS[name], id=f"120x40-{name}") for name in ("marks", "check")],
)
def test_the_bench(snap_compare, size, keys):
    assert snap_compare(bench(), terminal_size=size, run_before=after(*keys))


def test_sixteen_rows_are_whole(snap_compare):
    app = bench(make_wiring(16, 16, gaps=()))
    assert snap_compare(app, terminal_size=SMALL, run_before=after(*MARKS))


def test_plain_letters(snap_compare):
    assert snap_compare(bench(plain=True), terminal_size=SMALL, run_before=after(*MARKS))


def test_without_colour(snap_compare, monkeypatch):
    monkeypatch.setenv("NO_COLOR", "1")
    assert snap_compare(bench(), terminal_size=SMALL, run_before=after(*MARKS))


def test_the_colours_of_the_terminal(snap_compare):
    app = bench()
    app.theme = "ansi-dark"
    assert snap_compare(app, terminal_size=SMALL, run_before=after(*MARKS))


def test_the_picture_for_the_documents_needs_nothing_from_outside(tmp_path):
    for name in ("one.svg", "two.svg"):
        export_picture(tmp_path / name, fake_case(), LARGE, MARKS, "tuesday")
    svg = (tmp_path / "one.svg").read_text(encoding="utf-8")
    assert "http" not in svg.replace("http://www.w3.org/2000/svg", "").replace(
        "https://www.textualize.io", ""
    )
    assert "@font-face" not in svg
    assert "NEVER" in svg
    assert svg == (tmp_path / "two.svg").read_text(encoding="utf-8")
