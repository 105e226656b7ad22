"""Finding machines: those shipped with the program, those of the user, and any file.

A name is looked up in the user's folder first (``machines`` in the user's data folder for
matrixdoc, as the platform has it), then among the shipped ones; anything that looks like a path is
a path.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import platformdirs

from matrixdoc.definition.compile import compile_machine
from matrixdoc.definition.document import Document, load_document, read_document, validate_model
from matrixdoc.definition.errors import InputError, Problem, choice, near_miss, printable, quoted
from matrixdoc.definition.schema import MachineForm
from matrixdoc.definition.wiring import Wiring

SUFFIXES = (".yaml", ".yml")


@dataclass(frozen=True, slots=True)
class MachineEntry:
    """A machine that can be loaded by its name. ``shipped`` ones come with the program."""

    name: str
    path: Path
    shipped: bool


def shipped_folder() -> Path:
    """The folder of the shipped machines: inside an installed package, or beside its sources."""
    package = Path(__file__).resolve().parent.parent
    inside = package / "machine_defs"
    return inside if inside.is_dir() else package.parent / "machine_defs"


def user_folder() -> Path:
    """The folder for the user's own machines; it need not exist."""
    return Path(platformdirs.user_data_dir("matrixdoc", appauthor=False)) / "machines"


def list_machines() -> tuple[MachineEntry, ...]:
    """All machines that have a name, sorted by it; the user's hide shipped ones of the same name."""
    return tuple(entry for _, entry in sorted(_machines().items()))


def _machines() -> Mapping[str, MachineEntry]:
    found: dict[str, MachineEntry] = {}
    for folder, shipped in ((shipped_folder(), True), (user_folder(), False)):
        try:
            paths = sorted(p for p in folder.iterdir() if p.suffix in SUFFIXES and p.is_file())
        except OSError:
            # A folder that is not there, or that may not be read, holds no machines.
            continue
        for path in paths:
            found[path.stem] = MachineEntry(path.stem, path, shipped)
    return found


def find_machine(name_or_path: str | Path) -> Path:
    """The file of a machine, by its name or its path.

    Raises:
        InputError: there is no such name, and it is no file either.
    """
    text = str(name_or_path)
    machines = _machines()
    if text in machines:
        return machines[text].path
    path = Path(text)
    if "\0" not in text and (path.suffix in SUFFIXES or len(path.parts) > 1):
        return path
    names = list(machines)
    expected = f"the path of a file, or a machine: {choice(names)}" if names else "the path of a file"
    raise InputError(
        [Problem("", 0, 0, "", f"the machine {quoted(printable(text))}", expected, near_miss(text, names))]
    )


def load_machine(name_or_path: str | Path) -> Wiring:
    """Load, check and wire up a machine by its name or its path.

    Raises:
        InputError: everything that is wrong with it, each with its line.
    """
    return machine_from_document(read_document(find_machine(name_or_path)))


def machine_from_text(text: str | bytes, source: str = "text") -> Wiring:
    """As :func:`load_machine`, from the text of a definition; ``source`` is its name in messages."""
    return machine_from_document(load_document(text, source))


def machine_from_document(document: Document) -> Wiring:
    """Check and wire up a document that was read already."""
    return compile_machine(validate_model(document, MachineForm), document)
