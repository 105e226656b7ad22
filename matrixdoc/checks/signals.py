"""The signal layer: which outputs conduct, given what the logic commands and which signal parts fail."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from collections.abc import Set as AbstractSet

from matrixdoc.checks.model import FaultEffect, MachineModel
from matrixdoc.circuit.patch import Patch
from matrixdoc.definition.wiring import Drive


def drive_is_active(drive: Drive, patches: Mapping[str, Patch], *, commanded: bool) -> bool:
    """Whether the output of ``drive`` is driven on, after the faults of its signal path.

    A stuck part forces the line from there on; an open one leaves it at ``open_input``; the part
    nearest to the output has the last word. ``patches`` are those of signal parts, by reference.
    """
    state = commanded
    for reference in drive.path:
        patch = patches.get(reference)
        if patch is None:
            continue
        if patch.stuck:
            state = patch.stuck == "active"
        elif patch.absent:
            state = drive.open_input == "active"
    return state


def routed(
    drives: Mapping[str, Drive],
    names: Iterable[str],
    commanded: AbstractSet[str],
    patches: Mapping[str, Patch],
) -> AbstractSet[str]:
    """The drives that a decoder really picks when the logic commands ``commanded``.

    A select line that is stuck (or open: low) turns the wanted address into another one.
    """
    chosen = {drives[name].select for name in commanded if drives[name].select}
    touched = {part for select in chosen for part, _ in select if part in patches}
    if not touched:
        return commanded
    addresses = {tuple(_address(select, patches).items()) for select in chosen}
    picked = {name for name in names if tuple(_address(drives[name].select, {}).items()) in addresses}
    return {name for name in commanded if not drives[name].select} | picked


def _address(select: tuple[tuple[str, int], ...], patches: Mapping[str, Patch]) -> dict[str, int]:
    """Level of each select line; of several parts in one line the last that failed decides."""
    levels: dict[str, int] = {}
    for part, bit in select:
        line = part.rsplit("/", 1)[0]
        patch = patches.get(part)
        levels[line] = levels.get(line, bit) if patch is None else int(patch.stuck == "active")
    return levels


def active_outputs(
    model: MachineModel, names: Collection[str], commanded: AbstractSet[str], effects: Iterable[FaultEffect]
) -> set[str]:
    """Output parts that conduct, of the drives ``names``, while the logic commands ``commanded``."""
    drives = model.circuit.wiring.drives
    patches: dict[str, Patch] = {}
    forced_on: set[str] = set()
    forced_off: set[str] = set()
    for effect in effects:
        if effect.signal:
            patches[effect.part.reference] = effect.patch
        elif effect.output is True:
            forced_on.add(effect.part.reference)
        elif effect.output is False:
            forced_off.add(effect.part.reference)
    if patches:
        commanded = routed(drives, names, commanded, patches)
        active = {
            drives[n].output for n in names if drive_is_active(drives[n], patches, commanded=n in commanded)
        }
    else:
        active = {drives[n].output for n in names if n in commanded}
    if forced_off:
        active -= forced_off
    if forced_on:
        active |= forced_on & {drives[n].output for n in names}
    return active
