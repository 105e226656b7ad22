"""Reading a machine definition a second time: plain YAML text, quantities, charts, chains, data tables.

Nothing here comes from the package: scalars are read as text (pyyaml's base loader), quantities by a
pattern of this module. Of the package only its published data is read: the default figures in
``styles.toml`` and ``kinds.toml``.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any

import yaml

ROOT = Path(__file__).resolve().parents[2]
EMPTY_CELL = {"", "-", "–", "—"}
_QUANTITY = re.compile(r"([0-9]*\.?[0-9]+)\s*([munpkM]?)\s*(?:ohm|A|V|F|H|s|min)?")
_PREFIX = {"": 1.0, "m": 1e-3, "u": 1e-6, "n": 1e-9, "p": 1e-12, "k": 1e3, "M": 1e6}


def definition(text: str) -> dict[str, Any]:
    """A definition with every scalar as text."""
    found = yaml.load(text, Loader=yaml.BaseLoader)  # noqa: S506 - the base loader makes only texts
    assert isinstance(found, dict)
    return found


@cache
def styles() -> dict[str, Any]:
    """The published default figures of drive styles and supplies."""
    return tomllib.loads((ROOT / "matrixdoc/definition/styles.toml").read_text("utf-8"))


@cache
def kinds() -> dict[str, Any]:
    """The published healthy values of part kinds and types."""
    return tomllib.loads((ROOT / "matrixdoc/circuit/kinds.toml").read_text("utf-8"))


def quantity(text: str | None, otherwise: float = 0.0) -> float:
    """``4.7 kohm`` gives 4700.0; ``none`` gives 0; None gives ``otherwise``."""
    if text is None:
        return otherwise
    if text.strip().lower() == "none":
        return 0.0
    found = _QUANTITY.fullmatch(text.strip())
    assert found is not None, text
    return float(found[1]) * _PREFIX[found[2]]


def part_values(kind: str, type_name: str, own: dict[str, float] | None = None) -> dict[str, float]:
    """Healthy values: the kind's, replaced by the type's, replaced by the part's own."""
    table = kinds()
    row = table["kind"][kind].get("values", {})
    chosen: dict[str, float] = {}
    of_type = table.get("type", {}).get(kind, {}).get(type_name, {})
    chosen.update({name: float(value) for name, value in of_type.items() if name != "source"})
    chosen.update(own or {})
    found: dict[str, float] = {}
    for name, entry in row.items():
        if name in chosen:
            found[name] = chosen[name]
        elif "value" in entry:
            found[name] = float(entry["value"])
    for name, entry in row.items():
        if name not in found and "quotient" in entry:
            over, under = entry["quotient"]
            found[name] = found[over] / found[under]
    for name, entry in row.items():
        if name not in found and "product" in entry:
            one, two = entry["product"]
            found[name] = found[one] * found[two]
    return found


def chart(matrix: dict[str, Any]) -> dict[tuple[int, int], str]:
    """Names of the fitted places by (column number, row number)."""
    if "by_number" in matrix:
        return _listed(matrix)
    raw = matrix["chart"]
    if isinstance(raw, str):
        lines = [line.strip().strip("|") for line in raw.strip().splitlines() if line.strip()]
        raw = [line.split("|") for line in lines]
    start = int(matrix.get("numbered_from", "1"))
    turned = matrix.get("across", "columns") == "rows"
    found = {}
    for down, row in enumerate(raw):
        for across, name in enumerate(row):
            place = (down, across) if turned else (across, down)
            found[place[0] + start, place[1] + start] = name.strip()
    return found


def _listed(matrix: dict[str, Any]) -> dict[tuple[int, int], str]:
    """The places of a list of running numbers, which run down the columns unless told otherwise."""
    columns, rows = (int(text) for text in matrix["size"].split("x"))
    start, numbering = int(matrix.get("numbered_from", "1")), matrix.get("numbering", {})
    down, first = numbering.get("along", "columns") == "columns", int(numbering.get("first", "1"))
    found = {}
    for column in range(columns):
        for row in range(rows):
            number = first + (column * rows + row if down else row * columns + column)
            name = matrix["by_number"].get(str(number), "")
            found[column + start, row + start] = name.strip()
    return found


def line_facts(matrix: dict[str, Any], letter: str, number: int) -> dict[str, Any]:
    """What is stated of one line; its key may be ``C3`` or ``3``."""
    stated = matrix.get("columns" if letter == "C" else "rows", {})
    found = stated.get(f"{letter}{number}", stated.get(str(number), {}))
    return dict(found)


def runs(entries: Sequence[Any], start: str = "") -> list[tuple[str, str]]:
    """(name, the name that its wire comes from) of a chain; what begins it comes from ``start``.

    A list among the names is a run of wire of its own that leaves at the name written before it.
    """
    found: list[tuple[str, str]] = []
    for entry in entries:
        if isinstance(entry, list):
            found += runs(entry, start)
        else:
            found.append((str(entry), start))
            start = str(entry)
    return found


def nested(text: str) -> list[Any]:
    """``1 2 (5 6) 3`` as nested lists."""
    listed = ", ".join(re.findall(r"[()]|[^\s,()]+", text)).replace("(, ", "[").replace(", )", "]")
    return list(yaml.load(f"[{listed}]", yaml.BaseLoader))  # noqa: S506 - plain text only


def chain(facts: dict[str, Any], letter: str, crossing: list[int]) -> list[tuple[int, int | None]]:
    """Numbers of the crossing lines in wiring order, each with the one that its wire comes from."""
    stated = facts.get("chain")
    if stated is None or stated in ("unknown", "as the chart"):
        return list(zip(crossing, [None, *crossing], strict=False))
    last = "R" if letter == "C" else "C"

    def number(name: str) -> int:
        pair = re.fullmatch(r"C([0-9]+)R([0-9]+)", name)
        if pair:
            return int(pair[2] if letter == "C" else pair[1])
        return int(name.removeprefix(last))

    told = runs(nested(stated) if isinstance(stated, str) else stated)
    order = [(number(name), number(before) if before else None) for name, before in told]
    assert sorted(name for name, _ in order) == sorted(crossing)
    return order
