"""Settings of a diagnosis that a person may change and see."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Settings:
    """One visible setting turns rates into priors: ``expected_faults``, the expected number of
    faults on arrival. ``outside_weight`` is the prior share of "outside the model" for one look
    that goes wrong. ``slip_rate`` is the chance that a report of a look is wrong (common practice,
    no source); ``meter_slip_rate`` the same for a reading. ``recent_repair`` and ``battery_leak``
    name places, boards or parts; ``open_places`` the panels that are open now.

    The person's meter: ``meter_lead_ohm`` of both leads (an ohms reading holds them),
    ``meter_top_ohm`` the highest reading before OL, ``diode_test_ma`` into a short. ``lacks``: what
    cannot be done here (``volts``, ``ohms``, ``diode``; ``switch test``, ``lamp test``, ``coil test``
    for self-tests that this machine has not, or that do not run). ``stock``: part types or kinds at
    hand; empty: whatever is needed.

    ``least_share`` is the share of the whole below which a branch of the search is cut (the cut
    mass is bounded and shown); 0 runs the search to the end.
    """

    expected_faults: float = 1.5
    outside_weight: float = 0.001
    slip_rate: float = 0.005
    meter_slip_rate: float = 0.005
    recent_repair: tuple[str, ...] = ()
    battery_leak: tuple[str, ...] = ()
    sat_for_years: bool = False
    open_places: tuple[str, ...] = ()
    least_share: float = 1e-4
    meter_accuracy: float = 0.02
    meter_lead_ohm: float = 0.0
    meter_top_ohm: float = 20e6
    diode_test_ma: float = 1.0
    lacks: tuple[str, ...] = ()
    stock: tuple[str, ...] = ()
