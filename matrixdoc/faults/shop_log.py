"""Let a shop's own repair log re-weight the catalogue: a conjugate update, shown with its counts."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from matrixdoc.faults.catalogue import Catalogue, CatalogueError, KindFaults
from matrixdoc.faults.conditions import CircuitWithBridges


@dataclass(frozen=True, slots=True)
class Reweighting:
    """What a log did to one mode.

    ``count`` repairs are in the log, ``expected`` is what the catalogue foretells for the same
    number of repairs on the same machines, ``factor`` is what the mode's rate is multiplied by.
    """

    kind: str
    mode: str
    count: int
    expected: float
    factor: float


def exposure(circuits: Iterable[CircuitWithBridges], catalogue: Catalogue) -> dict[str, float]:
    """How much of each kind the shop keeps: parts by catalogue row, weighted by their service factor.

    Raises:
        CatalogueError: a part's kind has no row in the catalogue.
    """
    found: dict[str, float] = {}
    for circuit in circuits:
        for part in (*circuit.wiring.parts.values(), *circuit.bridges.values()):
            row, factor = catalogue.faults_of(part, circuit.wiring)
            found[row.kind] = found.get(row.kind, 0.0) + factor
    return found


def reweighted(
    catalogue: Catalogue,
    counts: Mapping[tuple[str, str], int],
    exposed: Mapping[str, float],
    strength: float = 5.0,
) -> tuple[Catalogue, tuple[Reweighting, ...]]:
    """The catalogue after a shop's log of repairs.

    The rate of a mode is the catalogue's times an unknown factor, which is Gamma(strength,
    strength) distributed (mean 1). Repairs are Poisson with mean ``factor * expected``, so the
    factor becomes Gamma(strength + count, strength + expected); its mean is used. (Gelman et al.,
    Bayesian Data Analysis, 3rd ed., section 2.6, Poisson model with exposure: from memory.)
    ``expected`` is scaled so that the expected repairs sum to the repairs in the log: the log
    moves the *ratios* of rates and never the expected number of faults on arrival.

    Args:
        catalogue: the catalogue to start from.
        counts: number of repairs by (row, mode) of the catalogue.
        exposed: parts looked after by row, as :func:`exposure` gives them. Rows without any are
            left alone.
        strength: how many repairs of experience the catalogue is worth in each mode.

    Returns:
        The new catalogue (its digest is marked) and every change, largest first.

    Raises:
        CatalogueError: an unknown row or mode, a negative count, a repair of a row without
            exposure, or a strength that is not above 0.
    """
    for (kind, mode), count in counts.items():
        if kind not in catalogue.kinds:
            raise CatalogueError(f"the repair log names {kind!r}, and the catalogue has no such row")
        catalogue.kinds[kind].mode(mode)
        if count < 0:
            raise CatalogueError(f"the repair log counts {count} repairs of {kind} {mode!r}; 0 is the least")
        if count and not exposed.get(kind, 0.0) > 0.0:
            raise CatalogueError(f"the repair log has repairs of {kind}, but no such part is looked after")
    if not strength > 0.0:
        raise CatalogueError(f"the catalogue's strength should be above 0 repairs, not {strength:g}")
    total = sum(counts.values())
    weights = {
        (kind, mode.name): row.rate * mode.share * exposed[kind]
        for kind, row in catalogue.kinds.items()
        if exposed.get(kind, 0.0) > 0.0
        for mode in row.modes
    }
    whole = sum(weights.values())
    changes = {
        key: Reweighting(
            *key,
            counts.get(key, 0),
            total * weight / whole,
            (strength + counts.get(key, 0)) / (strength + total * weight / whole),
        )
        for key, weight in weights.items()
    }
    kinds = {
        kind: _changed(row, {m.name: changes[kind, m.name] for m in row.modes}) if exposed.get(kind) else row
        for kind, row in catalogue.kinds.items()
    }
    if not total:
        return catalogue, ()
    # The digest must tell a re-weighted catalogue from the plain one, and one log from another.
    mark = ",".join(f"{c.kind}/{c.mode}:{c.count}:{c.factor:.12g}" for c in changes.values())
    renamed = replace(catalogue, kinds=kinds, digest=f"{catalogue.digest}+{_digest(mark)}")
    return renamed, tuple(sorted(changes.values(), key=lambda c: (-abs(c.factor - 1.0), c.kind, c.mode)))


def _changed(row: KindFaults, changes: Mapping[str, Reweighting]) -> KindFaults:
    """``row`` with each mode's rate multiplied, and the log named in the sources."""
    weights = {mode.name: mode.share * changes[mode.name].factor for mode in row.modes}
    whole = sum(weights.values())
    modes = tuple(
        replace(
            mode,
            share=weights[mode.name] / whole,
            source=f"{mode.source}; the shop's log: {changes[mode.name].count} repairs"
            f" where {changes[mode.name].expected:.3g} were expected",
        )
        for mode in row.modes
    )
    return replace(row, rate=row.rate * whole, rate_source=f"{row.rate_source}; the shop's log", modes=modes)


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8")).hexdigest()[:16]
