"""The page of ``simulate``: what differs comes first, the like in one line, and the fuse is named."""

from __future__ import annotations

from pathlib import Path

import pytest

from matrixdoc.case.case import Case
from matrixdoc.cli.grouping import together
from matrixdoc.cli.main import main
from matrixdoc.cli.simulate import blown_fuses, default_looks, seen_with
from matrixdoc.cli.simulate_page import page_text
from matrixdoc.definition.library import load_machine
from matrixdoc.faults.priors import Fault

HERE = Path(__file__).parent
POCKET = load_machine(HERE / "pocket.yaml")
QUAY = load_machine("lantern_quay")


@pytest.fixture(scope="module")
def quay() -> Case:
    return Case.start(QUAY)


def page(case: Case, part: str, mode: str) -> str:
    faults = (Fault(part, mode),)
    return page_text(
        case, faults, seen_with(case, faults, default_looks(case)), (), blown_fuses(case, faults)
    )


def flat(text: str) -> str:
    return " ".join(text.split())


@pytest.mark.parametrize(
    ("part", "mode", "told"),
    [
        ("switch/C3/wire", "open", ["read nothing when pressed: switch column C3 (all 8)"]),
        ("feed/upper/fuse", "blown", ["do nothing when pulsed: all of the upper playfield coil feed"]),
        (
            "feed/upper/wire",
            "grounded",
            [
                "fuse F6 (3.15 A slow) [feed/upper/fuse] blows as soon as the machine is on",
                "Dead behind it: all of the upper playfield coil feed",
            ],
        ),
        (
            "coil/5/diode",
            "shorted",
            [
                "fuse F6 (3.15 A slow) [feed/upper/fuse]: blows at once when coil 5",
                "do nothing when pulsed: coil 5",
            ],
        ),
        ("supply/coil/fuse", "blown", ["coil supply rail", "0.00 V instead of"]),
        ("supply/logic/fuse", "blown", ["THE LOGIC IS DEAD", "no coil can be pulsed"]),
        ("coil/5/driver", "shorted", ["pulled in as soon as the machine is on: coil 5", "none blows by it"]),
    ],
)
def test_what_differs_is_told_by_areas(quay: Case, part: str, mode: str, told: list[str]) -> None:
    text = page(quay, part, mode)
    for words in told:
        assert words in flat(text), text
    assert max(map(len, text.splitlines())) <= 80
    assert "healthy: normal" not in text
    assert text.index("Looked at") > text.index("fault ")


def test_a_line_of_lamps_is_one_line_of_text(quay: Case) -> None:
    lines = page(quay, "lamp/C2/wire", "open").splitlines()
    (told,) = [line for line in lines if line.startswith("  off")]
    assert "lamp column C2" in told


def test_lamps_that_glow_uncommanded_share_a_line(quay: Case) -> None:
    text = flat(page(quay, "lamp/C2R3/diode", "shorted"))
    assert text.count("glow although nothing commands them") == 1


def test_a_healthy_machine_has_nothing_to_tell() -> None:
    case = Case.start(POCKET)
    text = page_text(case, (), seen_with(case, (), default_looks(case)), (), ())
    assert "Nothing looks different" in text


def test_devices_are_told_together() -> None:
    row = [f"switch/C{c}R1" for c in (1, 2, 3)]
    assert together(POCKET, row) == "switch row R1 (all 3)"
    assert together(POCKET, row[:2]) == "switch C1R1 (left lane), switch C2R1 (left target)"
    assert (
        together(POCKET, sorted(r for r, s in POCKET.switches.items() if s.matrix))
        == "all 8 of the switch matrix"
    )
    strings = [r for r, lamp in QUAY.lamps.items() if lamp.always_on]
    stem = strings[0].rpartition("/")[0]
    one = [r for r in strings if r.startswith(f"{stem}/")]
    assert together(QUAY, one) == f"{stem.replace('/', ' ')} (all {len(one)} lamps)"


def test_a_fault_that_no_single_press_shows_is_shown_by_holding(capsys: pytest.CaptureFixture[str]) -> None:
    """Common practice, no source: three corners of a rectangle bring a shorted diode to light."""
    assert main(["simulate", "lantern_quay", "--fault", "switch/C3R5/diode=short"]) == 0
    out = flat(capsys.readouterr().out)
    assert "no single press shows it; hold switch" in out
    assert "too" in out


def test_the_modes_of_a_part_are_listed(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["simulate", "lantern_quay", "--list-modes", "switch/C3R5/diode"]) == 0
    out = capsys.readouterr().out
    for mode in ("open", "shorted", "bypassed", "leaky", "reversed", "missing"):
        assert f"\n  {mode} " in out
    assert "--fault switch/C3R5/diode=open" in out
    assert main(["simulate", "lantern_quay", "--list-modes", "coil 5"]) == 0
    out = capsys.readouterr().out
    assert "coil/5/winding" in out
    assert "coil/5/driver" in out


@pytest.mark.parametrize(
    ("said", "meant"),
    [
        ("F6=open", "feed/upper/fuse=blown"),
        ("switch/C3R5/diode=Short", "switch/C3R5/diode=shorted"),
        ("switch/C3R5/contact=welded", "switch/C3R5/contact=stuck closed"),
        ("switch/C3R5/contact=open", "switch/C3R5/contact=never closes"),
        ("lamp C2R1=burnt out", "lamp/C2R1/lamp=burnt out"),
    ],
)
def test_a_mode_goes_by_its_everyday_name(said: str, meant: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["simulate", "lantern_quay", "--fault", said, "--saw", "resting nothing"]) == 0
    assert f"[{meant}]" in flat(capsys.readouterr().out)


def test_a_word_that_can_mean_several_faults_lists_them(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["simulate", "lantern_quay", "--fault", "coil 5=shorted"]) == 1
    said = capsys.readouterr().err
    for part in ("winding", "diode", "driver"):
        assert f"coil/5/{part}=shorted" in said
