"""What a rail delivers: the laws of a supply, averaged over the mains cycle.

Sources of the laws: peak of a bridge ``sqrt(2) * Vrms - 2 * Vf`` and the averages of rectified
sines ``2 Vpk / pi`` and ``Vpk / pi`` (Kuphaldt, Lessons In Electric Circuits III ch. 3; standard
texts); ripple of a capacitor input, peak to peak, ``I / (2 f C)`` for full wave and ``I / (f C)``
for half wave (upper estimates, standard texts: 2 A, 60 Hz, 1000 uF give 16.67 V).
The stated nominal volts are taken as true at the usual load when healthy; a fault scales them by
the ratio of its law to the healthy law, so that an unknown winding voltage does no harm.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from matrixdoc.circuit.elements import Circuit
from matrixdoc.circuit.patch import Patch
from matrixdoc.definition.wiring import Supply

FORWARD_V = 0.9
"""Drop of a rectifier diode near its rated current (data sheets: 1.0 to 1.1 V at most)."""
OPEN_OHM = 1e5
"""An alternating-side part of this much passes no power worth the name."""
SHORT_OHM = 1.0
"""A shunt below this on the alternating side or across the capacitor takes the fuse with it."""


@dataclass(frozen=True, slots=True)
class RailSource:
    """A rail as a source: open-circuit volts behind ohms, ripple peak to peak, words for it.

    Dead: ``(0, inf)``. For a supply without a capacitor or regulator the volts are effective
    (root mean square) volts, which is what lamps and coils on it live by.
    """

    open_volts: float
    source_ohm: float
    ripple_v: float
    words: str
    shorted: bool = False
    """Dead because something is shorted behind the fuse at the winding."""
    least_v: float = 0.0
    """What the rail dips to at its usual load, at the bottom of the ripple."""
    hertz: float = 0.0
    """Frequency of the ripple: twice the mains with both halves of the cycle, once with one; 0: none."""

    @property
    def dead(self) -> bool:
        """Nothing reaches the rail."""
        return math.isinf(self.source_ohm)


def ripple_v(load_a: float, mains_hz: float, capacitance_f: float, *, full_wave: bool = True) -> float:
    """Ripple of a capacitor-input supply in volts peak to peak (upper estimate; see the module)."""
    if load_a <= 0.0:
        return 0.0
    if capacitance_f <= 0.0:
        return math.inf
    return load_a / ((2.0 if full_wave else 1.0) * mains_hz * capacitance_f)


def rectified_peak_v(winding_v: float, diodes_in_series: int, forward_v: float = FORWARD_V) -> float:
    """Peak after the rectifier: ``sqrt(2) * winding_v`` less the drops of the diodes in series."""
    return max(0.0, math.sqrt(2.0) * winding_v - diodes_in_series * forward_v)


def rectified_mean_v(peak_v: float, *, full_wave: bool = True) -> float:
    """Mean of an unfiltered rectified sine: ``2 Vpk / pi`` full wave, ``Vpk / pi`` half wave."""
    return (2.0 if full_wave else 1.0) * peak_v / math.pi


def rectified_effective_v(peak_v: float, *, full_wave: bool = True) -> float:
    """Effective volts of an unfiltered rectified sine: ``Vpk / sqrt 2``; half wave ``Vpk / 2``."""
    return peak_v / math.sqrt(2.0) if full_wave else peak_v / 2.0


def filtered_mean_v(peak_v: float, ripple: float, *, full_wave: bool = True) -> float:
    """Mean behind a capacitor, never below the unfiltered mean: ``Vpk - ripple / 2``."""
    return max(peak_v - ripple / 2.0, rectified_mean_v(peak_v, full_wave=full_wave))


def regulated_mean_v(
    nominal_v: float, peak_v: float, ripple: float, dropout_v: float, *, full_wave: bool
) -> float:
    """Mean of a regulated rail whose input dips: the output follows the input less the drop-out.

    The input is taken as a straight-line discharge by ``ripple`` from the peak; more ripple than
    the peak can give means an unfiltered rectified sine. Averaged over 360 points of a half cycle.
    """
    points = 360
    total = 0.0
    for point in range(points):
        share = (point + 0.5) / points
        if ripple <= peak_v:
            value = peak_v - ripple * share
        else:
            phase = share if full_wave else 2.0 * share
            value = peak_v * math.sin(math.pi * phase) if phase <= 1.0 else 0.0
        total += min(nominal_v, max(0.0, value - dropout_v))
    return total / points


@dataclass(frozen=True, slots=True)
class _State:
    """What the parts of a supply do: halves of the cycle that get through, and the odd ones."""

    halves: float
    shorted_diode: str
    break_part: str
    extra_ohm: float
    capacitance_f: float
    capacitor_short: bool
    ground_fault: str


def rail_source(
    circuit: Circuit,
    supply_name: str,
    patches: Mapping[str, Patch],
    opened: frozenset[str],
    mains_hz: float = 60.0,
) -> RailSource:
    """The source that a rail is at its usual load, with the faults of its alternating side.

    ``patches`` and ``opened`` may name any parts; those of this supply count. Raises ``KeyError``
    for an unknown supply.
    """
    supply = circuit.wiring.supplies[supply_name]
    state = _supply_state(circuit, supply, patches, opened)
    if state.break_part:
        return RailSource(0.0, math.inf, 0.0, f"no supply: {state.break_part} is open")
    if state.halves == 0.0:
        return RailSource(0.0, math.inf, 0.0, "no supply: the rectifier passes neither half of the cycle")
    fuse = next((name for name in supply.ac_parts if circuit.wiring.parts[name].kind == "fuse"), "")
    shorted = state.shorted_diode or state.ground_fault or ("the capacitor" if state.capacitor_short else "")
    if shorted:
        if fuse:
            return RailSource(0.0, math.inf, 0.0, f"{shorted} is shorted: fuse {fuse} blows", shorted=True)
        words = f"{shorted} is shorted and no fuse stands before it: the winding overheats, a fire hazard"
        return RailSource(0.0, math.inf, 0.0, words, shorted=True)
    regulated, words = _regulator_state(supply, patches, opened)
    if regulated == "dead":
        return RailSource(0.0, math.inf, 0.0, words)
    return _loaded(circuit, supply, state, mains_hz, bypassed=regulated == "shorted")


def _loaded(
    circuit: Circuit, supply: Supply, state: _State, mains_hz: float, *, bypassed: bool
) -> RailSource:
    """Volts, ohms and ripple of a supply that delivers something."""
    usual_full = len(supply.rectifiers) != 1  # one diode alone: a half-wave supply by design
    full = usual_full and state.halves >= 0.75
    load = supply.load_a
    series = 1 if len(supply.rectifiers) <= 2 else 2
    healthy_c = circuit.values(supply.capacitor)["capacitance_f"] if supply.capacitor else 0.0
    healthy_ripple = ripple_v(load, mains_hz, healthy_c, full_wave=usual_full) if healthy_c else 0.0
    dropout = circuit.values(supply.regulator).get("dropout_v", 2.0) if supply.regulator else 0.0
    peak = rectified_peak_v(supply.winding_v, series) if supply.winding_v > 0.0 else 0.0
    if peak <= 0.0:
        # No winding voltage is stated: the one that gives the nominal volts when healthy.
        if supply.regulator:
            peak = supply.nominal_v + dropout + healthy_ripple + 1.0
        elif healthy_c:
            peak = supply.nominal_v + min(healthy_ripple, supply.nominal_v) / 2.0
        else:
            peak = supply.nominal_v * math.sqrt(2.0)
    ohm = supply.source_ohm + state.extra_ohm
    peak_now = max(0.0, peak - state.extra_ohm * load) if supply.regulator else peak
    capacitance = state.capacitance_f
    ripple = min(
        ripple_v(load, mains_hz, capacitance, full_wave=full) if supply.capacitor else math.inf, peak_now
    )
    if supply.regulator and not bypassed:
        drop = ripple_v(load, mains_hz, capacitance, full_wave=full)
        healthy = regulated_mean_v(supply.nominal_v, peak, healthy_ripple, dropout, full_wave=usual_full)
        now = regulated_mean_v(supply.nominal_v, peak_now, drop, dropout, full_wave=full)
        dip = max(0.0, supply.nominal_v - max(0.0, peak_now - ripple - dropout))
        ratio, seen_ripple, ohm = now / healthy, min(dip, supply.nominal_v), supply.source_ohm
    elif supply.regulator:
        ratio = filtered_mean_v(peak_now, ripple, full_wave=full) / supply.nominal_v
        seen_ripple = ripple
    elif supply.capacitor:
        usual = filtered_mean_v(peak, min(healthy_ripple, peak), full_wave=usual_full)
        ratio = filtered_mean_v(peak_now, ripple, full_wave=full) / usual
        seen_ripple = ripple
    else:
        # Lamps and coils on an unfiltered supply follow its effective volts.
        ratio = rectified_effective_v(peak_now, full_wave=full) / rectified_effective_v(
            peak, full_wave=usual_full
        )
        seen_ripple = peak_now if supply.rectifiers else 0.0
    open_volts = supply.nominal_v * ratio + supply.source_ohm * load
    dips = seen_ripple if supply.regulator and not bypassed else seen_ripple / 2.0
    mean = supply.nominal_v if supply.regulator and not bypassed else open_volts - ohm * load
    hertz = (2.0 if full else 1.0) * mains_hz if seen_ripple > 0.0 else 0.0
    return RailSource(
        open_volts,
        ohm,
        seen_ripple,
        _words(supply, state, ratio, bypassed=bypassed),
        least_v=max(0.0, mean - dips) if supply.capacitor or not supply.rectifiers else 0.0,
        hertz=hertz,
    )


def _words(supply: Supply, state: _State, ratio: float, *, bypassed: bool) -> str:
    found = []
    if state.halves < 0.75:
        found.append("half of the mains cycle is missing")
    if supply.capacitor and state.capacitance_f <= 0.0:
        found.append("the capacitor is open: strong ripple")
    if bypassed:
        found.append("the regulator is shorted through: overvoltage on everything behind it")
    if state.extra_ohm > 0.1:
        found.append(f"{state.extra_ohm:.3g} ohm in the feed: sags under load")
    if not found:
        return "healthy" if abs(ratio - 1.0) < 0.02 else f"{ratio * 100:.0f} % of the usual volts"
    return "; ".join(found)


def _broken(patch: Patch | None, name: str, opened: frozenset[str]) -> bool:
    if name in opened:
        return True
    if patch is None:
        return False
    if patch.absent:
        return patch.shunt_ohm is None or patch.shunt_ohm >= OPEN_OHM
    return patch.values.get("ohm", 0.0) >= OPEN_OHM


def _supply_state(
    circuit: Circuit, supply: Supply, patches: Mapping[str, Patch], opened: frozenset[str]
) -> _State:
    feed = [
        name
        for name in supply.ac_parts
        if name not in supply.rectifiers and name not in (supply.capacitor, supply.regulator)
    ]
    break_part = next((name for name in feed if _broken(patches.get(name), name, opened)), "")
    ground_fault = next((name for name in feed if _feed_shorted(circuit, name, patches.get(name))), "")
    extra = sum(_extra_ohm(circuit, name, patches.get(name)) for name in feed)
    good, shorted = {}, ""
    for name in supply.rectifiers:
        patch = patches.get(name)
        good[name] = not (_broken(patch, name, opened) or (patch is not None and patch.reversed))
        # A backwards diode in a bridge shorts the winding every other half cycle.
        backwards = patch is not None and patch.reversed and len(supply.rectifiers) > 1
        if _shunted(patch) or backwards:
            shorted = shorted or name
    capacitance, capacitor_short = 0.0, False
    if supply.capacitor:
        patch = patches.get(supply.capacitor)
        capacitance = circuit.values(supply.capacitor)["capacitance_f"]
        if patch is not None:
            capacitance = patch.values.get("capacitance_f", capacitance)
        capacitor_short = _shunted(patch)
        if _broken(patch, supply.capacitor, opened):
            capacitance = 0.0
    halves = _halves(circuit, supply, good)
    return _State(halves, shorted, break_part, extra, capacitance, capacitor_short, ground_fault)


def _shunted(patch: Patch | None) -> bool:
    return patch is not None and patch.shunt_ohm is not None and patch.shunt_ohm < SHORT_OHM


def _feed_shorted(circuit: Circuit, name: str, patch: Patch | None) -> bool:
    """Whether a part of the feed shorts the winding: to ground, or the winding across itself."""
    if patch is None:
        return False
    to_ground = patch.ground_ohm is not None and patch.ground_ohm < SHORT_OHM
    return to_ground or (circuit.wiring.parts[name].kind == "winding" and _shunted(patch))


def _extra_ohm(circuit: Circuit, name: str, patch: Patch | None) -> float:
    """Ohms that a fault adds to the feed."""
    if patch is None:
        return 0.0
    usual = circuit.values(name).get("ohm", 0.0)
    extra = max(0.0, patch.values.get("ohm", usual) - usual)
    return extra + (patch.shunt_ohm or 0.0) if patch.absent else extra


def _halves(circuit: Circuit, supply: Supply, good: Mapping[str, bool]) -> float:
    """Share of the half cycles that get through, against healthy: 1, 0.5 or 0.

    From the nets of the diodes: one half cycle needs a diode from its end of the winding to the
    output, and in a bridge a diode from the return to the other end.
    """
    if not good:
        return 1.0
    parts = [circuit.wiring.parts[name] for name in supply.rectifiers]
    if any(len(part.nets) != 2 for part in parts):
        pairs = [parts[number::2] for number in range(2)] if len(parts) == 4 else [[part] for part in parts]
        return _share(all(good[part.reference] for part in pair) for pair in pairs)
    returns = {part.nets[0] for part in parts} - {part.nets[1] for part in parts}
    up = {part.nets[0]: part.reference for part in parts if part.nets[0] not in returns or len(parts) <= 2}
    down = {part.nets[1]: part.reference for part in parts if part.reference not in up.values()}
    ways = []
    for end, diode in up.items():
        back = [good[other] for net, other in down.items() if net != end]
        ways.append(good[diode] and (not down or any(back)))
    return _share(ways)


def _share(ways: Iterable[bool]) -> float:
    found = list(ways)
    return sum(found) / len(found) if found else 0.0


def _regulator_state(supply: Supply, patches: Mapping[str, Patch], opened: frozenset[str]) -> tuple[str, str]:
    """("ok" | "shorted" | "dead", words) of the regulator."""
    patch = patches.get(supply.regulator) if supply.regulator else None
    if supply.regulator and _broken(patch, supply.regulator, opened):
        return "dead", f"no supply: regulator {supply.regulator} is open"
    if patch is not None and patch.ground_ohm is not None and patch.ground_ohm < SHORT_OHM:
        return "dead", f"regulator {supply.regulator} is shorted to ground"
    if patch is not None and patch.shunt_ohm is not None and patch.shunt_ohm < SHORT_OHM:
        return "shorted", ""
    return "ok", ""
