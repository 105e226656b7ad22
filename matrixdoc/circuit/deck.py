"""Any instant as a SPICE deck that the stock simulator runs unchanged."""

from __future__ import annotations

from matrixdoc.circuit.elements import Circuit, Instant, RawBranch
from matrixdoc.circuit.newton import G_MIN
from matrixdoc.circuit.rails import rail_state, whole_branches
from matrixdoc.circuit.structure import structure_of
from matrixdoc.circuit.touched import LEAD_PART, net_number, touched_parts


def node_name(circuit: Circuit, net: str) -> str:
    """Node of a net in a deck: 0 for ground, ``n`` and the running number for the others."""
    number = net_number(circuit, net)
    return "0" if number == 0 else f"n{number}"


def spice_deck(circuit: Circuit, instant: Instant, title: str) -> str:
    """The whole machine at an instant as a deck; wanted nets and currents are printed by ``.op``.

    Branches become resistors, junctions D models with their series resistance, rails and leads
    sources behind their resistance; g_min is the simulator's own, and a resistor of 1/g_min from
    every net to ground. The currents of wanted parts are those of 0 V sources named
    ``vamp<number>``, in the order of ``instant.parts`` (several branches: several sources). Runs
    with ``ngspice -b``. Raises ``ValueError`` as ``operating_points`` does.
    """
    rails = rail_state(circuit, instant.rails)
    structure = structure_of(circuit, rails.live)
    touched = touched_parts(circuit, structure, instant)
    metered = {circuit.part_index[name]: name for name in instant.parts}
    models: dict[tuple[float, float, float], str] = {}
    body: list[str] = []
    ammeters: list[str] = []
    used: set[int] = set()
    for number, (branch, part) in enumerate(whole_branches(circuit, structure, rails, touched), start=1):
        used.update((branch.a, branch.b))
        body.append(f"* {_part_words(circuit, part)}")
        meter = ""
        if part in metered:
            meter = f"vamp{number}"
            turned = circuit.terminals[part][0] == branch.b
            ammeters.append(f"* i({meter}): {'minus ' if turned else ''}current into {metered[part]}")
        body.extend(_branch_lines(branch, number, models, meter))
    for net, volts in sorted(rails.boundary.items()):
        if net:
            used.add(net)
            body.append(f"vrail{net} n{net} 0 {volts:.12g}")
    nets = [net for net in sorted(used | {net_number(circuit, name) for name in instant.nets}) if net]
    names = [f"* n{net} = {_plain(circuit.net_names[net])}" for net in nets]
    leaks = [f"rleak{net} n{net} 0 {1.0 / G_MIN:.6g}" for net in nets if net not in rails.boundary]
    cards = [
        f".model {name} D(IS={saturation:.12g} N={emission:.12g} RS={ohm:.12g})"
        for (saturation, emission, ohm), name in models.items()
    ]
    shown = [f"v({node_name(circuit, name)})" for name in instant.nets if net_number(circuit, name)]
    shown += [line.split(":")[0].removeprefix("* ") for line in ammeters]
    prints = [".print op " + " ".join(shown[start : start + 6]) for start in range(0, len(shown), 6)]
    options = f".options gmin={G_MIN:g} temp=27 tnom=27"
    lines = [
        _plain(title) or "untitled",
        *names,
        *ammeters,
        *body,
        *leaks,
        *cards,
        options,
        ".op",
        *prints,
        ".end",
    ]
    return "\n".join(lines) + "\n"


def _plain(text: str) -> str:
    """One line of printable ASCII, so that nothing a person typed can become a card."""
    return "".join(letter if 32 <= ord(letter) < 127 else "?" for letter in " ".join(text.split()))


def _part_words(circuit: Circuit, part: int) -> str:
    if part >= 0:
        return _plain(circuit.part_names[part])
    return "meter lead" if part == LEAD_PART else "supply"


def _branch_lines(
    branch: RawBranch, number: int, models: dict[tuple[float, float, float], str], meter: str
) -> list[str]:
    first, second = (f"n{net}" if net else "0" for net in (branch.a, branch.b))
    lines = []
    if meter:
        lines.append(f"{meter} {first} m{number} 0")
        first = f"m{number}"
    if branch.emf_v != 0.0:
        lines.append(f"vs{number} {first} e{number} {branch.emf_v:.12g}")
        first = f"e{number}"
    if branch.saturation_a > 0.0:
        key = (branch.saturation_a, branch.emission, branch.ohm)
        model = models.setdefault(key, f"junction{len(models) + 1}")
        lines.append(f"d{number} {first} {second} {model}")
    else:
        lines.append(f"r{number} {first} {second} {branch.ohm:.12g}")
    return lines
