"""Drive styles: what is assumed about a drive, a row, a lamp or a supply that nobody described.

The figures live in ``styles.toml``, with their sources; this module only types them. Names of the
styles come from electronics (sink strobe, open-collector idle, high-side Darlington, thyristor).
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, Literal, TypeVar

from matrixdoc.definition.wiring import Place

_Row = TypeVar("_Row")


@dataclass(frozen=True, slots=True)
class SwitchStyle:
    """Columns and rows of a switch matrix. A pull of 0 ohm means that none is fitted."""

    words: str
    driver: str
    closed: Literal["low", "high"]
    drive_ohm: float
    column_pull_ohm: float
    row_pull_ohm: float
    source: str


@dataclass(frozen=True, slots=True)
class SensingStyle:
    """A row's input. ``low`` and ``high`` are shares of the rail, or volts where ``volts`` is true."""

    words: str
    type: str
    low: float
    high: float
    volts: bool
    floating: Literal["low", "high", "undefined"]
    source: str

    def thresholds(self, rail_v: float) -> tuple[float, float]:
        """The highest low level and the lowest high level, in volts, on a rail of ``rail_v`` volts."""
        scale = 1.0 if self.volts else rail_v
        return self.low * scale, self.high * scale


@dataclass(frozen=True, slots=True)
class LampStyle:
    """Columns and rows of a lamp matrix: kind and type of their drives, and which lines strobe."""

    words: str
    column: str
    column_type: str
    row: str
    row_type: str
    strobed: Literal["columns", "rows"]
    row_resistor_ohm: float
    source: str


@dataclass(frozen=True, slots=True)
class CoilMatrixStyle:
    """Columns and rows of a coil matrix: kind and type of their drives."""

    words: str
    column: str
    column_type: str
    row: str
    row_type: str
    source: str


@dataclass(frozen=True, slots=True)
class OptoStyle:
    """Optical pairs as they are assumed where they are not described."""

    blocked: Literal["open", "closed"]
    supply: str
    emitter_resistor_ohm: float
    receiver_pull_ohm: float
    buffer: str
    output_type: str
    source: str


@dataclass(frozen=True, slots=True)
class OutputStyle:
    """One output transistor, thyristor or relay contact.

    ``several``: one part of that name drives several things (a chip, a relay with several contacts).
    """

    words: str
    driver: str
    type: str
    several: bool = False

    @property
    def high_side(self) -> bool:
        """Whether it stands between the supply and what it drives, whose other lug is grounded."""
        return self.driver.startswith("high_side")


@dataclass(frozen=True, slots=True)
class SupplyStyle:
    """A supply as it is assumed where it is not described."""

    title: str
    volts: float
    fuse_a: float
    load_a: float
    capacitance_f: float
    regulated: bool = False
    alternating: bool = False


@dataclass(frozen=True, slots=True)
class SourceStyle:
    """Output resistances of rails, and the volts that rectifier and regulator need."""

    regulated_ohm: float
    unregulated_ohm: float
    alternating_ohm: float
    bridge_v: float
    headroom_v: float
    source: str


@dataclass(frozen=True, slots=True)
class Defaults:
    """What is assumed where neither a style nor a value is named."""

    switch_style: str
    sensing: str
    lamp_style: str
    coil_matrix_style: str
    coil_output: str
    flash_output: str
    shared_output: str
    lamp_output: str
    switch_diode: str
    lamp_diode: str
    coil_diode: str
    rectifier: str
    lamp: str
    flash_lamp: str
    led: str
    element: str
    scan_ms: float
    pulse_ms: float
    coil_ohm: float
    coil_henry: float
    flipper_power_ohm: float
    flipper_hold_ohm: float
    direct_pull_ohm: float


@dataclass(frozen=True, slots=True)
class Styles:
    """All drive styles and defaults."""

    switch: Mapping[str, SwitchStyle]
    sensing: Mapping[str, SensingStyle]
    lamp: Mapping[str, LampStyle]
    coil_matrix: Mapping[str, CoilMatrixStyle]
    opto: OptoStyle
    output: Mapping[str, OutputStyle]
    supply: Mapping[str, SupplyStyle]
    source: SourceStyle
    defaults: Defaults
    places: Mapping[str, Place]


def picked(table: Mapping[str, _Row], stated: str, usual: str) -> _Row:
    """The style that is named, or the usual one where none is, or none of that name."""
    return table[stated if stated in table else usual]


@cache
def load_styles() -> Styles:
    """The shipped drive styles."""
    data: dict[str, Any] = tomllib.loads(files(__package__).joinpath("styles.toml").read_text("utf-8"))
    return Styles(
        switch={name: SwitchStyle(**row) for name, row in data["switch"].items()},
        sensing={name: SensingStyle(**row) for name, row in data["sensing"].items()},
        lamp={name: LampStyle(**row) for name, row in data["lamp"].items()},
        coil_matrix={name: CoilMatrixStyle(**row) for name, row in data["coil_matrix"].items()},
        opto=OptoStyle(**data["opto"]),
        output={name: OutputStyle(**row) for name, row in data["output"].items()},
        supply={name: SupplyStyle(**row) for name, row in data["supply"].items()},
        source=SourceStyle(**data["source"]),
        defaults=Defaults(**data["defaults"]),
        places={row["key"]: Place(**row) for row in data["place"]},
    )
