"""Islands without their resistances: what decides how one is reduced, in numbers of its own.

Islands of one form differ by ohms alone, wherever in the machine they lie. Each form is reduced once;
the ohms of all its islands then go through the reduction together (see ``restoring.py``).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from matrixdoc.circuit.elements import RawBranch

Law = tuple[int, int, float, float, float]
"""A branch without its resistance: net, net, saturation_a, emission, emf_v (see ``RawBranch``).

Nets are those of a form or of a reduced circuit.
"""


class Form(NamedTuple):
    """An island without its resistances.

    Nets are numbered from 0, nets of known volts from -1 down: net ``~n`` is at ``boundary[n]``.
    ``tags``: for each part whose current is wanted, its branches and the sign of their currents in it.
    ``prefer``: nets to take as 0 V where nothing ties them to a boundary (the black lead).
    """

    branches: tuple[Law, ...]
    nets: int
    boundary: tuple[float, ...]
    wanted: tuple[int, ...]
    tags: tuple[tuple[tuple[int, float], ...], ...]
    prefer: tuple[int, ...]


def form_of(
    branches: Sequence[tuple[RawBranch, int]],
    boundary: Mapping[int, float],
    wanted: Sequence[int],
    wanted_parts: Mapping[int, int],
    prefer: Sequence[int] = (),
) -> tuple[Form, list[float]]:
    """The form of an island, and the ohms of its branches.

    ``branches``: with part numbers. ``boundary``: net -> known volts. ``wanted_parts``: part -> its
    first net, the current into which is wanted.
    """
    local: dict[int, int] = {}
    outside: list[float] = []
    inside = 0
    laws: list[Law] = []
    ohms: list[float] = []
    tags: dict[int, list[tuple[int, float]]] = {part: [] for part in wanted_parts}
    for (a, b, ohm, saturation, emission, emf), part in branches:
        first, second = local.get(a), local.get(b)
        if first is None:
            if a in boundary:
                outside.append(boundary[a])
                first = local[a] = -len(outside)
            else:
                first = local[a] = inside
                inside += 1
        if second is None:
            if b in boundary:
                outside.append(boundary[b])
                second = local[b] = -len(outside)
            else:
                second = local[b] = inside
                inside += 1
        if part in tags and wanted_parts[part] in (a, b):
            tags[part].append((len(laws), 1.0 if a == wanted_parts[part] else -1.0))
        laws.append((first, second, saturation, emission, emf))
        ohms.append(ohm)
    for net in wanted:
        if net not in local:
            local[net] = inside
            inside += 1
    form = Form(
        tuple(laws),
        inside,
        tuple(outside),
        tuple([local[net] for net in wanted]),
        tuple([tuple(found) for found in tags.values()]),
        tuple([local[net] for net in prefer if net in local]),
    )
    return form, ohms
