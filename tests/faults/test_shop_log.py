"""A shop's own log re-weights the catalogue by a conjugate Gamma-Poisson update."""

from __future__ import annotations

import math

import numpy as np
import pytest

from matrixdoc.faults.catalogue import CatalogueError, load_catalogue
from matrixdoc.faults.priors import possible_faults
from matrixdoc.faults.shop_log import exposure, reweighted
from tests.faults.typical import typical_circuit, workshop_circuit

CATALOGUE = load_catalogue()
EXPOSED = {"contact": 640.0, "diode": 640.0, "pin": 200.0}


def rate(catalogue, kind, mode):
    return catalogue.kinds[kind].rate * catalogue.kinds[kind].mode(mode).share


def test_an_empty_log_changes_nothing():
    assert reweighted(CATALOGUE, {}, EXPOSED) == (CATALOGUE, ())


def test_counts_as_expected_change_no_ratio():
    weights = {
        (kind, m.name): CATALOGUE.kinds[kind].rate * m.share * EXPOSED[kind]
        for kind in EXPOSED
        for m in CATALOGUE.kinds[kind].modes
    }
    counts = {key: round(1e6 * w / sum(weights.values())) for key, w in weights.items()}
    _, changes = reweighted(CATALOGUE, counts, EXPOSED)
    assert [c.factor for c in changes] == pytest.approx([1.0] * len(changes), rel=0.01)


@pytest.mark.parametrize("strength", [1.0, 5.0, 40.0])
def test_the_factor_is_the_mean_of_the_posterior_found_by_numerical_integration(strength):
    counts = {("diode", "open"): 9, ("contact", "never closes"): 20}
    _, changes = reweighted(CATALOGUE, counts, EXPOSED, strength)
    change = next(c for c in changes if (c.kind, c.mode) == ("diode", "open"))
    factor = np.linspace(1e-6, 60.0, 600_001)
    log_density = (strength - 1) * np.log(factor) - strength * factor  # Gamma(strength, strength)
    log_density += change.count * np.log(factor) - change.expected * factor  # Poisson(factor * expected)
    density = np.exp(log_density - log_density.max())
    assert change.factor == pytest.approx(float((factor * density).sum() / density.sum()), rel=1e-4)


def test_expected_counts_are_those_of_the_catalogue_for_the_same_number_of_repairs():
    _, changes = reweighted(CATALOGUE, {("diode", "open"): 30}, EXPOSED)
    assert sum(c.expected for c in changes) == pytest.approx(30.0)
    expected = {(c.kind, c.mode): c.expected for c in changes}
    ratio = expected["diode", "open"] / expected["pin", "open"]
    rates = rate(CATALOGUE, "diode", "open") * 640.0 / (rate(CATALOGUE, "pin", "open") * 200.0)
    assert ratio == pytest.approx(rates)


def test_many_repairs_of_one_mode_raise_it_and_lower_the_others():
    changed, changes = reweighted(CATALOGUE, {("diode", "shorted"): 25}, EXPOSED)
    assert (changes[0].kind, changes[0].mode, changes[0].count) == ("diode", "shorted", 25)
    assert rate(changed, "diode", "shorted") > 3.0 * rate(CATALOGUE, "diode", "shorted")
    assert rate(changed, "contact", "never closes") < rate(CATALOGUE, "contact", "never closes")
    for row in changed.kinds.values():
        assert math.fsum(m.share for m in row.modes) == pytest.approx(1.0)


def test_the_change_is_shown_and_pinned():
    changed, _ = reweighted(CATALOGUE, {("diode", "shorted"): 25}, EXPOSED)
    assert "the shop's log: 25 repairs" in changed.kinds["diode"].mode("shorted").source
    assert changed.digest != CATALOGUE.digest
    assert changed.digest != reweighted(CATALOGUE, {("diode", "shorted"): 26}, EXPOSED)[0].digest


def test_kinds_the_shop_does_not_keep_stay_as_they_are():
    changed, _ = reweighted(CATALOGUE, {("diode", "shorted"): 25}, EXPOSED)
    assert changed.kinds["coil"] == CATALOGUE.kinds["coil"]


def test_exposure_counts_parts_by_row_with_their_service_factor():
    found = exposure([workshop_circuit(), workshop_circuit()], CATALOGUE)
    assert found["contact"] == 24.0
    assert found["stub"] == 24.0
    # fourteen switch segments at a fifth, and two plain switch wires, among the wires
    assert exposure([typical_circuit()], CATALOGUE)["wire"] > 14 * 0.2 + 2


def test_the_new_catalogue_gives_priors():
    circuit = workshop_circuit()
    changed, _ = reweighted(CATALOGUE, {("pin", "open"): 12}, exposure([circuit], CATALOGUE))
    plain, after = possible_faults(circuit, CATALOGUE), possible_faults(circuit, changed)
    assert sum(e.probability for e in after.values()) == pytest.approx(1.5)
    pins = [f for f in plain if f.part.endswith("/pin") and f.mode == "open"]
    assert all(after[f].probability > 1.5 * plain[f].probability for f in pins)


@pytest.mark.parametrize(
    ("counts", "strength", "said"),
    [
        ({("dioda", "open"): 1}, 5.0, "names 'dioda'"),
        ({("diode", "melted"): 1}, 5.0, "no failure mode 'melted'"),
        ({("diode", "open"): -1}, 5.0, "counts -1 repairs"),
        ({("coil", "open"): 1}, 5.0, "no such part is looked after"),
        ({("diode", "open"): 1}, 0.0, "above 0 repairs"),
    ],
)
def test_a_log_that_does_not_fit_is_refused(counts, strength, said):
    with pytest.raises(CatalogueError, match=said):
        reweighted(CATALOGUE, counts, EXPOSED, strength)
