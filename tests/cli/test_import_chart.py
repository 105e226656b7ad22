"""A definition begun from charts in a spreadsheet."""

from __future__ import annotations

from pathlib import Path

import pytest

from matrixdoc.cli.main import main
from matrixdoc.cli.show import chart_of
from matrixdoc.definition.charts import chart_to_csv
from matrixdoc.definition.library import load_machine, machine_from_text

Capture = pytest.CaptureFixture[str]


@pytest.mark.parametrize("name", ["bare_chart", "lantern_quay", "storm_bureau"])
def test_a_printed_chart_begins_a_definition_of_the_same_matrix(
    name: str, tmp_path: Path, capsys: Capture
) -> None:
    wiring = load_machine(name)
    files = []
    for matrix in wiring.matrices.values():
        if matrix.device in ("switch", "lamp"):
            path = tmp_path / f"{matrix.name}.csv"
            path.write_text(chart_to_csv(chart_of(wiring, matrix)), encoding="utf-8", newline="")
            files.append(str(path))
    assert main(["chart", "--from-csv", *files, "--title", "Copy: one"]) == 0
    made = machine_from_text(capsys.readouterr().out, "printed")
    assert made.title == "Copy: one"
    for matrix in made.matrices.values():
        first = {(c.column, c.row): c.title for c in wiring.matrices[matrix.name].cells}
        assert {(c.column, c.row): c.title for c in matrix.cells} == first
        assert [line.colour for line in matrix.rows] == [
            line.colour for line in wiring.matrices[matrix.name].rows
        ]


def test_a_list_of_running_numbers_needs_its_size(tmp_path: Path, capsys: Capture) -> None:
    path = tmp_path / "switch_list.csv"
    path.write_text("No;Name\n1;start\n2;tilt\n3;left | lane\n", encoding="utf-8")
    assert main(["chart", "--from-csv", str(path), "--size", "2x2"]) == 0
    made = machine_from_text(capsys.readouterr().out, "printed")
    titles = {f"{c.column}{c.row}": c.title for c in made.matrices["switch"].cells}
    assert titles == {"C1R1": "start", "C1R2": "tilt", "C2R1": "left / lane"}
    assert main(["chart", "--from-csv", str(path)]) == 0
    assert "--size" in capsys.readouterr().err
    assert main(["chart", "--from-csv", str(path), "--size", "22"]) == 1
    assert "such as 8x8" in capsys.readouterr().err


def test_a_chart_that_does_not_say_what_it_is_of_is_refused(tmp_path: Path, capsys: Capture) -> None:
    path = tmp_path / "table.csv"
    path.write_text(",C1,C2\nR1,a,b\n", encoding="utf-8")
    assert main(["chart", "--from-csv", str(path)]) == 1
    assert "--matrix NAME" in capsys.readouterr().err
    assert main(["chart", "--from-csv", str(path), "--matrix", "lamp"]) == 0
    assert "lamp" in machine_from_text(capsys.readouterr().out, "printed").matrices
    assert main(["chart", "--from-csv", str(path), str(path)]) == 1


def test_what_is_wrong_with_the_printed_definition_is_told(tmp_path: Path, capsys: Capture) -> None:
    path = tmp_path / "switch.csv"
    path.write_text("switch,wire,C1\nwire,,yellowish\nR1,GN,a\n", encoding="utf-8")
    assert main(["chart", "--from-csv", str(path)]) == 0
    seen = capsys.readouterr()
    assert "yellowish" in seen.out
    assert "to be mended" in seen.err
    assert "yellow" in seen.err
