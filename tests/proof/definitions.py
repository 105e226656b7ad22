"""What is expanded twice: every shipped machine, and made-up machines, one for each drive style."""

from __future__ import annotations

import random

from tests.proof.authoring import ROOT, styles

SHIPPED = tuple(sorted(path.stem for path in (ROOT / "machine_defs").glob("*.yaml")))
SWITCH_STYLES = tuple(styles()["switch"])
LAMP_STYLES = tuple(styles()["lamp"])
OUTPUT_STYLES = tuple(styles()["output"])
STYLED = (*SWITCH_STYLES, *LAMP_STYLES, "outputs")


def text_of(name: str, seed: int) -> str:
    """The text of a shipped machine, or of a made-up one in the named style."""
    if name in SHIPPED:
        return (ROOT / "machine_defs" / f"{name}.yaml").read_text("utf-8")
    rng = random.Random(f"{name} {seed}")
    if name in SWITCH_STYLES:
        return _switches(name, rng)
    return _lamps(name, rng) if name in LAMP_STYLES else _outputs(rng)


def _chart(rng: random.Random, columns: int, rows: int, empty: float) -> tuple[str, list[str]]:
    """A block of text with one row a line, and the keys of the fitted cells."""
    fitted: list[str] = []
    lines = []
    for row in range(1, rows + 1):
        names = []
        for column in range(1, columns + 1):
            there = rng.random() >= empty or (row == column == 1)
            fitted += [f"C{column}R{row}"] if there else []
            names.append(f"place {column} {row}" if there else "-")
        lines.append("      " + " | ".join(names))
    return "\n".join(lines), fitted


def _chains(rng: random.Random, columns: int, rows: int, fitted: list[str]) -> list[str]:
    lines = []
    for word, letter, count in (("columns", "C", columns), ("rows", "R", rows)):
        lines.append(f"    {word}:")
        for number in range(1, count + 1):
            pairs = [key[1:].split("R") for key in fitted]
            own = [r if letter == "C" else c for c, r in pairs if (c if letter == "C" else r) == str(number)]
            rng.shuffle(own)
            order = f"chain: {_order(own)}" if own and rng.random() < 0.7 else "title: a line"
            lines.append(f"      {letter}{number}: {{{order}}}")
    return lines


def _order(own: list[str]) -> str:
    """The order of a chain as text. Of a long line one half branches: at a lug, where the wire begins,
    or from a branch; as text and as nested lists by turns. The shape follows from the names, so that
    the random machines stay what they were without branches.
    """
    shape = sum(map(int, own[:3])) % 6
    if len(own) < 5 or shape > 2:
        return " ".join(own)
    if shape == 0:
        first, second, third, *rest = own
        return " ".join([first, f"({second} {third})", *rest])
    if shape == 1:
        return f"[[{own[0]}, {own[1]}], {', '.join(own[2:])}]"
    return f"[{own[0]}, [{own[1]}, [{own[2]}], {own[3]}], {', '.join(own[4:])}]"


def _switches(style: str, rng: random.Random) -> str:
    columns, rows = rng.randint(4, 8), rng.randint(4, 8)
    block, fitted = _chart(rng, columns, rows, 0.12)
    sensing = rng.choice(list(styles()["sensing"]))
    lines = [
        f"title: {style}",
        "matrices:",
        "  switch:",
        f"    style: {style}",
        f"    sensing: {sensing}",
        f"    row_pull: {rng.choice(['1 kohm', '2.2 kohm', '470 ohm'])}",
        f"    column_drive: {rng.choice(['10 ohm', '25 ohm', '60 ohm'])}",
    ]
    if style.endswith("weak idle"):
        lines.append(f"    column_pull: {rng.choice(['10 kohm', '4.7 kohm', '22 kohm'])}")
    lines += [f"    diode: {rng.choice(['1N4148', '1N914', '1N4004'])}", "    chart: |", block, "    cells:"]
    for key in fitted:
        facts = f"order: {rng.choice(['contact first', 'diode first'])}"
        facts += ", normally: closed" if rng.random() < 0.05 else ""
        facts += ", capacitor: 47 nF" if rng.random() < 0.05 else ""
        lines.append(f"      {key}: {{{facts}}}")
    return "\n".join([*lines, *_chains(rng, columns, rows, fitted)]) + "\n"


def _lamps(style: str, rng: random.Random) -> str:
    columns, rows = rng.randint(4, 8), rng.randint(4, 8)
    block, fitted = _chart(rng, columns, rows, 0.1)
    lines = [
        f"title: {style}",
        "matrices:",
        "  lamp:",
        f"    style: {style}",
        f"    row_resistor: {rng.choice(['none', '1 ohm', '3.3 ohm', '10 ohm'])}",
        f"    lamp: '{rng.choice(['44', '47', '555'])}'",
        "    chart: |",
        block,
        "    cells:",
    ]
    for key in fitted:
        facts = f"order: {rng.choice(['lamp first', 'diode first'])}"
        if rng.random() < 0.12:
            facts += f", element: LED, lamp: {rng.choice(['LED 6.3 V white', 'LED 6.3 V red'])}"
        lines.append(f"      {key}: {{{facts}}}")
    return "\n".join([*lines, *_chains(rng, columns, rows, fitted)]) + "\n"


def _fed(rng: random.Random) -> tuple[list[str], list[int]]:
    """A feed with some of the coils and a coil matrix in its chain, in any order; the matrix; the coils."""
    coils = rng.sample(range(1, len(OUTPUT_STYLES) + 1), 4)
    whole = rng.random() < 0.5
    chain = [str(n) for n in coils] + (["coil bank"] if whole else ["coil bank C1", "coil bank C2"])
    rng.shuffle(chain)
    one, two, three, *rest = chain
    feed = f"  some: {{supply: coil, fuse: 6 A, chain: [{one}, [{two}, {three}], {', '.join(rest)}]}}"
    bank = [
        "matrices:",
        "  coil bank:",
        "    feed: some",
        "    chart: |",
        "      one | two",
        "      three | -",
    ]
    return ["feeds:", feed, *bank], coils


def _outputs(rng: random.Random) -> str:
    """Coils, flash lamps, lamps of their own, both kinds of flipper: every output style once."""
    fed, coils = _fed(rng)
    lines = ["title: outputs", "connectors:", "  P: {pins: 20}", *fed, "coils:"]
    for number, style in enumerate(OUTPUT_STYLES, start=1):
        fuse = ", fuse: 3 A" if rng.random() < 0.3 else ""
        diode = ", diode: none" if rng.random() < 0.2 else ""
        back = f", return_pin: P-{number}" if style.startswith("high") and rng.random() < 0.5 else ""
        feed = ", feed: some" if number in coils else ""
        told = f"style: {style}, resistance: {rng.randint(5, 60)} ohm{fuse}{diode}{back}{feed}"
        lines.append(f"  {number}: {{{told}}}")
    high = 1 + OUTPUT_STYLES.index("high-side Darlington")
    lines += [f"  other: {{shares: {high}, relay: turn, resistance: 20 ohm}}", "relays:", "  turn: {}"]
    lines.append("flash_lamps:")
    for number, style in enumerate(OUTPUT_STYLES, start=1):
        lines.append(f"  f{number}: {{style: {style}, resistor: {rng.choice(['none', '10 ohm', '33 ohm'])}}}")
    lines.append("direct_lamps:")
    for number, style in enumerate(OUTPUT_STYLES, start=1):
        element = ", element: LED, lamp: LED 6.3 V red" if rng.random() < 0.3 else ""
        lines.append(f"  d{number}: {{style: {style}{element}}}")
    lines += ["outputs:", "  both: {style: low-side Darlington}", "flippers:"]
    lines += ["  left: {end_of_stroke: high-current, power: 5 ohm, hold: 120 ohm, output: both}"]
    lines += ["  right: {end_of_stroke: high-current, power: 6 ohm, hold: 150 ohm, output: both}"]
    style = rng.choice(["low-side MOS", "high-side PNP"])
    lines += [f"  upper: {{end_of_stroke: low-current, power: 4 ohm, hold: 100 ohm, style: {style}}}"]
    lines += ["direct_switches:", "  coin: {pull: 2.2 kohm, sensing: 74LS}", "  step: {sensing: 4000B CMOS}"]
    lines += ["illumination:", "  front: {lamps: 7, lamp: '47', fuse: 4 A}", "  back: {lamps: 3, fuse: none}"]
    return "\n".join(lines) + "\n"
