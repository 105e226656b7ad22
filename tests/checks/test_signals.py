"""The signal layer: paths, stuck parts, decoders."""

from __future__ import annotations

from matrixdoc.checks.kin import find_kin
from matrixdoc.checks.signals import drive_is_active, routed
from matrixdoc.circuit.patch import Patch
from matrixdoc.definition.library import load_machine
from matrixdoc.definition.wiring import Drive
from matrixdoc.diagnosis.engine import Engine
from matrixdoc.diagnosis.settings import Settings
from matrixdoc.faults.priors import Fault

PATH = Drive("drive", "", ("logic", "link", "pre"), "output")


def test_a_healthy_path_passes_the_command() -> None:
    assert drive_is_active(PATH, {}, commanded=True)
    assert not drive_is_active(PATH, {}, commanded=False)


def test_the_part_nearest_to_the_output_has_the_last_word() -> None:
    stuck = {"logic": Patch(stuck="active"), "pre": Patch(stuck="idle")}
    assert not drive_is_active(PATH, stuck, commanded=True)
    assert drive_is_active(PATH, {"logic": Patch(stuck="active")}, commanded=False)


def test_an_open_input_takes_its_default() -> None:
    assert not drive_is_active(PATH, {"link": Patch(absent=True)}, commanded=True)
    pulled = Drive("drive", "", ("logic", "link"), "output", open_input="active")
    assert drive_is_active(pulled, {"link": Patch(absent=True)}, commanded=False)


def _decoded() -> dict[str, Drive]:
    """Four columns behind two select lines, each line a logic output and a link pin."""
    drives = {}
    for column in range(4):
        select = tuple(
            (f"m/select{bit + 1}/{part}", column >> bit & 1) for bit in range(2) for part in ("logic", "link")
        )
        drives[f"C{column}"] = Drive(f"C{column}", "", ("decoder",), f"out{column}", select=select)
    return drives


def test_a_select_line_stuck_low_doubles_half_of_the_columns() -> None:
    drives = _decoded()
    stuck = {"m/select1/logic": Patch(stuck="idle")}
    picked = {name: routed(drives, drives, {name}, stuck) for name in drives}
    assert picked == {"C0": {"C0"}, "C1": {"C0"}, "C2": {"C2"}, "C3": {"C2"}}


def test_the_later_part_of_a_select_line_decides() -> None:
    drives = _decoded()
    both = {"m/select1/logic": Patch(stuck="idle"), "m/select1/link": Patch(stuck="active")}
    assert routed(drives, drives, {"C2"}, both) == {"C3"}


def test_drives_without_a_decoder_are_left_alone() -> None:
    drives = {**_decoded(), "lone": Drive("lone", "", (), "out")}
    assert routed(drives, drives, {"lone"}, {"m/select1/logic": Patch(stuck="idle")}) == {"lone"}


def test_an_open_and_a_stuck_part_of_a_sensing_path_are_no_kin() -> None:
    engine = Engine(load_machine("lantern_quay"), Settings())
    kin = find_kin(engine.model)
    stuck, opened = Fault("switch/R3/link", "stuck idle"), Fault("switch/R3/link", "open")
    assert kin[stuck] != kin[opened]
