"""Junctions that cannot be on are left out of islands: the answers stay as they are, on whole machines.

The maximum principle of resistive networks is textbook matter (L. O. Chua, C. A. Desoer, E. S. Kuh, "Linear
and Nonlinear Circuits", 1987, ch. 3; the page is from memory).
"""

from __future__ import annotations

import random

import pytest

from matrixdoc.circuit import operating, reach
from matrixdoc.circuit.netlist import Instant, Lead, build_circuit, operating_points
from matrixdoc.circuit.patch import Patch
from matrixdoc.definition.library import load_machine
from matrixdoc.definition.wiring import GROUND

PATCHES = (Patch(absent=True), Patch(shunt_ohm=0.05), Patch(ground_ohm=0.1), Patch(shunt_ohm=4700.0))


def instants(circuit, rng: random.Random, count: int) -> list[Instant]:
    wiring = circuit.wiring
    outputs = [drive.output for drive in wiring.drives.values()]
    contacts = [s.contact for s in wiring.switches.values() if s.contact]
    parts = [name for name, part in wiring.parts.items() if part.nets and name not in circuit.alternating]
    nets = sorted({net for name in parts for net in wiring.parts[name].nets})
    found = []
    for _ in range(count):
        active = {*rng.sample(outputs, 2), *rng.sample(contacts, min(3, len(contacts)))}
        patches = {name: rng.choice(PATCHES) for name in rng.sample(parts, 2)}
        wanted = tuple(rng.sample(nets, 4))
        leads = (Lead(wanted[0], GROUND, 1e7),) if rng.random() < 0.3 else ()
        if rng.random() < 0.2:
            leads = (Lead(wanted[0], wanted[1], 1000.0, 1.5),)
        found.append(Instant(frozenset(active), patches, wanted, tuple(rng.sample(parts, 2)), leads))
    return found


@pytest.mark.parametrize("name", ["lantern_quay", "kettle_hollow", "glass_orchard", "storm_bureau"])
def test_answers_stay_as_they_are(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    circuit = build_circuit(load_machine(name))
    asked = instants(circuit, random.Random(name), 60)
    without = operating_points(circuit, asked)
    whole = operating.island_branches  # type: ignore[attr-defined]

    def every_branch(structure, sources, wanted, also, touched, levels=None):
        return whole(structure, sources, wanted, also, touched)

    monkeypatch.setattr(operating, "island_branches", every_branch)
    with_them = operating_points(circuit, asked)
    for one, two in zip(without, with_them, strict=True):
        assert one.floating == two.floating
        # Behind a megohm a junction that is off moves a net by its saturation current: 2 mV at most.
        assert one.volts == pytest.approx(two.volts, abs=2e-3)
        # Each part of a net loses at most what the junctions left out leak.
        assert one.amps == pytest.approx(two.amps, abs=50 * reach.CLAMP_SATURATION_A, rel=1e-6)


def test_idle_coils_of_a_feed_are_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    circuit = build_circuit(load_machine("lantern_quay"))
    whole = operating.island_branches  # type: ignore[attr-defined]
    sizes = []

    def both(structure, sources, wanted, also, touched, levels=None):
        kept = whole(structure, sources, wanted, also, touched)
        cut = whole(structure, sources, wanted, also, touched, levels)
        sizes.append((len(cut), len(kept)))
        return cut

    monkeypatch.setattr(operating, "island_branches", both)
    drive = circuit.wiring.drives[circuit.wiring.coils["coil/3"].drive]
    operating_points(circuit, [Instant(frozenset({drive.output}), {}, ("coil/3/supplied",))])
    assert sizes
    assert all(cut < kept / 2 for cut, kept in sizes)
