"""How a fault changes a part: a patch over its values, never a new kind of part."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal


@dataclass(frozen=True, slots=True)
class Patch:
    """A change to one part; topology and law stay.

    ``values`` replace healthy values (ohms, volts ... as named in ``kinds.toml``). ``absent``
    removes the part's own branches (an open). ``shunt_ohm`` adds a branch between the first two
    terminals (a short or a leak). ``ground_ohm`` adds a branch from the first terminal to ground,
    ``ground_terminal`` says from which terminal instead. ``reversed`` exchanges the first two
    terminals of a junction. ``stuck`` forces a controlled part, a signal part or a sensing part
    to its active or idle state.
    """

    values: Mapping[str, float] = field(default_factory=dict)
    absent: bool = False
    shunt_ohm: float | None = None
    ground_ohm: float | None = None
    ground_terminal: int = 0
    reversed: bool = False
    stuck: Literal["", "active", "idle"] = ""
