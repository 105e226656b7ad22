"""Where a lead goes, in words that a person at the bench finds."""

from __future__ import annotations

import pytest

from matrixdoc.checks.wording import net_words
from matrixdoc.definition.library import load_machine, machine_from_text
from tests.proof.definitions import SHIPPED, text_of


@pytest.mark.parametrize("name", [*SHIPPED, "outputs"])
def test_each_point_has_words_of_its_own_with_its_pin_wire_and_place(name: str) -> None:
    wiring = machine_from_text(text_of(name, 1))
    at: dict[str, list] = {}
    for part in wiring.parts.values():
        for net in part.nets:
            at.setdefault(net, []).append(part)
    words = {net: net_words(wiring, net) for net in at}
    assert len(set(words.values())) == len(words)
    for net, said in words.items():
        assert "/" not in said
        pins = {f"{p.connector}-{p.position}" for p in at[net] if p.kind == "pin" and p.position is not None}
        assert all(pin in said for pin in pins), (net, said)
        if net != "ground" and any(part.place for part in at[net]):
            assert any(f"{part.place})" in said for part in at[net]), (net, said)


@pytest.mark.parametrize(
    ("net", "said"),
    [
        ("ground", "ground"),
        ("rail/coil", "the coil supply rail (plus of its capacitor, floor)"),
        ("coil/5/board", "board side of pin E1-5 (coil 5, crate bank reset, drive part Q45, head)"),
        ("coil/5/header", "header pin E1-5 (coil 5, crate bank reset, head)"),
        ("coil/5/pin", "plug side of pin E1-5 (coil 5, crate bank reset, wire WH-YE, head)"),
        ("coil/5/driven", "driven lug of coil 5 (crate bank reset, wire WH-YE, playfield)"),
        ("coil/5/supplied", "supply lug of coil 5 (crate bank reset, wire BN-YE, playfield)"),
        ("switch/C3/lug1", "switch column 3 wire PK-RD at switch C3R1 (lantern 1, playfield)"),
        ("switch/C3R5/middle", "lug between contact and diode of switch C3R5 (lantern 5, playfield)"),
        ("lamp/R1/limited", "end of resistor R51 towards the connector (lamp row 1, head)"),
        ("feed/upper/fused", "far clip of fuse F6 (feed upper, floor)"),
        ("supply/coil/wire", "near clip of fuse F3 (the coil supply, floor)"),
        ("nowhere/at/all", "nowhere at all"),
    ],
)
def test_words_of_points(net: str, said: str) -> None:
    assert net_words(load_machine("lantern_quay"), net) == said


def test_a_high_side_coil_has_a_grounded_lug_and_its_drive_the_supply() -> None:
    wiring = machine_from_text("title: A\ncoils: {1: {style: high-side PNP, drive: Q7, return_wire: BK}}")
    assert net_words(wiring, "coil/1/grounded") == "grounded lug of coil 1 (wire BK, playfield)"
    assert net_words(wiring, "coil/1/supplied") == "supply side of the drive part Q7 of coil 1 (boards)"
