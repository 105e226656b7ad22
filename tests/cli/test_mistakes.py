"""Commands as a tired person types them: one clear message, where and what would be right."""

from __future__ import annotations

from pathlib import Path

import pytest

from matrixdoc.cli.main import main

HERE = Path(__file__).parent
POCKET = str(HERE / "pocket.yaml")
DEMO = str(HERE.parents[1] / "demo" / "07_dead_feed.yaml")

Capture = pytest.CaptureFixture[str]


def complaint(capsys: Capture, *argv: str) -> tuple[int, str]:
    try:
        status = main(argv)
    except SystemExit as leaving:
        status = int(leaving.code or 0)
    # Lines are wrapped for the terminal: what is said is looked for in one line.
    return status, " ".join(capsys.readouterr().err.split())


@pytest.mark.parametrize(
    ("argv", "status", "said"),
    [
        (["diagnos", POCKET], 2, "did you mean diagnose?"),
        (["diagnose", POCKET, "--saw", "press", "C1R1", "reads", "nothing"], 2, "put it in quotes"),
        (["path", POCKET, "coil", "1"], 2, "names with blanks stand in quotes"),
        (["schema", "machin"], 2, "did you mean machine?"),
        (["show"], 2, "missing: MACHINE"),
        (["diagnose", POCKET, "--top", "-3"], 2, "'-3' is not a number from 1 to 1000"),
        (["diagnose", DEMO], 1, "the machine first, then the report; say lantern_quay"),
        (["diagnose", POCKET, POCKET], 1, "found a machine definition; expected a report"),
        (["diagnose", POCKET, "one.yaml", "--report", "two.yaml"], 1, "found two reports"),
        (["diagnose", POCKET, "--report", "none.yaml"], 1, "no such file"),
        (["diagnose", POCKET, "--saw", "press C1 reads nothing"], 1, "switch/C1R1, switch/C1R2, switch/C1R3"),
        (["diagnose", POCKET, "--saw", "walk C9 reads nothing"], 1, "C1 to C3 and R1 to R3"),
        (["diagnose", POCKET, "--saw", "press C1R1, C1R2 reads nothing"], 1, "say hold for several at once"),
        (["diagnose", POCKET, "--saw", "walk C1R1 reads nothing, C1R2 reads C1R1"], 1, "with ; between them"),
        (["diagnose", POCKET, "--saw", "coil 7 nothing"], 1, "coil/1, coil/2"),
        (["diagnose", POCKET, "--saw", "C1R1 wonky"], 1, "for example: press C3R5 reads nothing"),
        (["diagnose", POCKET, "--saw", "lamp C1R1 off others weird"], 1, "what the others showed"),
        (["diagnose", POCKET, "--saw", "ohms coil 1 to ground 5"], 1, "coil/1/winding.a or coil/1/winding.b"),
        (["chart"], 1, "--from-csv FILE"),
        (["chart", POCKET, "--from-csv", "x.csv"], 1, "--from-csv FILE ... alone"),
        (["simulate", POCKET, "--list-modes", "coil 1", "--fault", "coil/1/diode=open"], 1, "alone"),
        (["hold", POCKET, "--saw", "press C1R1 reads C1R1"], 1, "at least two suspects"),
        (
            ["tree", POCKET, "--saw", "coil 1 nothing", "--html", "/no/such/folder/x.html"],
            1,
            "x.html: No such",
        ),
    ],
)
def test_one_clear_message(capsys: Capture, argv: list[str], status: int, said: str) -> None:
    left, err = complaint(capsys, *argv)
    assert left == status
    assert said in err
    assert "Traceback" not in err
    assert err.count("--saw") <= 2


def test_a_sentence_is_told_once(capsys: Capture) -> None:
    _, err = complaint(capsys, "diagnose", POCKET, "--saw", "press C9R9 reads nothing")
    assert err.count("press C9R9 reads nothing") == 1
    assert err.startswith("matrixdoc: --saw 'press C9R9 reads nothing': found 'C9R9'")


def test_a_machine_goes_by_its_name_with_blanks_and_without_its_ending(
    capsys: Capture, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "pier.yaml").write_text(Path(POCKET).read_text(encoding="utf-8"), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    assert main(["chart", "Bare chart"]) == 0
    assert main(["chart", "pier"]) == 0
    assert "Pocket pier" in capsys.readouterr().out
