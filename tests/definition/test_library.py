"""Finding and loading machines."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from matrixdoc.definition import library
from matrixdoc.definition.errors import InputError
from matrixdoc.definition.library import list_machines, load_machine, machine_from_text
from matrixdoc.definition.lint import lint

SMALL = "title: Mine\nmatrices: {switch: {chart: [[one]]}}\n"


@pytest.fixture
def own_folder(tmp_path, monkeypatch):
    folder = tmp_path / "machines"
    folder.mkdir()
    monkeypatch.setattr(library, "user_folder", lambda: folder)
    return folder


def test_user_folder_follows_the_platform(monkeypatch, tmp_path):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    folder = library.user_folder()
    assert folder.name == "machines"
    assert folder.parent.name == "matrixdoc"


def test_shipped_machines_are_listed_and_load(own_folder):
    names = [m.name for m in list_machines()]
    assert names == sorted(names)
    assert {"bare_chart", "lantern_quay"} <= set(names)
    for name in names:
        assert load_machine(name).parts


def test_own_machines_come_first(own_folder):
    (own_folder / "mine.yaml").write_text(SMALL)
    (own_folder / "bare_chart.yml").write_text(SMALL)
    (own_folder / "notes.txt").write_text("no machine")
    entries = {m.name: m for m in list_machines()}
    assert not entries["mine"].shipped
    assert not entries["bare_chart"].shipped
    assert "notes" not in entries
    assert load_machine("bare_chart").title == "Mine"


def test_a_folder_that_is_not_there_holds_nothing(monkeypatch, tmp_path):
    monkeypatch.setattr(library, "user_folder", lambda: tmp_path / "none")
    assert all(m.shipped for m in list_machines())


def test_paths_load(own_folder, tmp_path):
    path = tmp_path / "other.yaml"
    path.write_text(SMALL)
    assert load_machine(path).title == "Mine"
    assert load_machine(str(path)).title == "Mine"
    with pytest.raises(InputError, match="no such file"):
        load_machine(tmp_path / "gone.yaml")


@pytest.mark.parametrize("name", ["lantern_quai", "", "\0", "a\nb", "\x1b[31m"])
def test_unknown_names_are_told(name, own_folder):
    with pytest.raises(InputError) as caught:
        load_machine(name)
    assert "\x1b" not in str(caught.value)
    if name == "lantern_quai":
        assert "did you mean 'lantern_quay'" in str(caught.value)


def test_errors_name_file_line_and_path(tmp_path):
    path = tmp_path / "wrong.yaml"
    path.write_text("title: A\nmatrices:\n  switch:\n    chart: [[a, b], [c]]\n")
    with pytest.raises(InputError) as caught:
        load_machine(path)
    text = str(caught.value)
    assert text.startswith(f"{path}:4:")
    assert "matrices > switch > chart > entry 2" in text


def test_loading_is_quick():
    # The aim is 150 ms once imports are done; the best of five says what the work itself takes.
    load_machine("lantern_quay")
    times = []
    for _ in range(5):
        start = time.perf_counter()
        load_machine("lantern_quay")
        times.append(time.perf_counter() - start)
    assert min(times) < 0.15


def test_lantern_quay_is_complete():
    wiring = load_machine("lantern_quay")
    switch, lamp = wiring.matrices["switch"], wiring.matrices["lamp"]
    assert [len(m.columns) for m in (switch, lamp)] == [8, 8]
    assert [len(m.rows) for m in (switch, lamp)] == [8, 8]
    assert len(lamp.cells) == 64
    assert len(switch.cells) > 50
    singles = [c for c in wiring.coils.values() if not c.reference.endswith(("power", "hold"))]
    assert len(singles) == 20
    assert sum(bool(c.fired_by) for c in singles) == 6
    assert sum(bool(c.end_of_stroke) for c in wiring.coils.values()) == 2
    for matrix in (switch, lamp):
        for line in (*matrix.columns, *matrix.rows):
            assert line.chain_order == "known"
    assert wiring.batteries == ("logic",)
    for name in ("lamp", "coil"):
        supply = wiring.supplies[name]
        assert len(supply.rectifiers) == 4
        fuses = [wiring.parts[r] for r in supply.ac_parts if wiring.parts[r].kind == "fuse"]
        assert [f.origin for f in fuses] == ["stated"]
    assert [w for w in lint(wiring) if "battery" not in w] == []
    for part in wiring.parts.values():
        if part.kind == "pin" and not part.reference.startswith("supply/"):
            assert part.position is not None, part.reference
        assert part.place in wiring.places, part.reference
        assert part.title, part.reference


def test_shipped_files_name_no_path_of_this_computer():
    for machine in list_machines():
        text = machine.path.read_text("utf-8")
        assert "/root" not in text
        assert str(Path.home()) not in text


def test_text_loads():
    assert machine_from_text(SMALL).title == "Mine"
    with pytest.raises(InputError, match=r"shop\.yaml"):
        machine_from_text("title: [", "shop.yaml")
