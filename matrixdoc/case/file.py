"""The case on disk: one append-only file of JSON lines, written through at every entry.

The first line is the header (format, machine, digest of the definition, settings); every further
line is one :class:`Entry`. An entry counts as saved once :meth:`CaseFile.append` returns: the line
has been handed to the disk by then (``fsync``). A program killed in the middle of a line leaves a
torn last line; it is kept as it stands, reported, and never taken for an entry. One process at a
time may write: the file carries an advisory lock while it is open.

Plain JSON keeps every control character escaped, so a file shown in a terminal cannot steer it.
"""

from __future__ import annotations

import json
import os
import unicodedata
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from matrixdoc.case.case import Entry
from matrixdoc.case.lock import lock_file
from matrixdoc.case.record import (
    RecordError,
    entry_from_record,
    entry_record,
    settings_from_record,
    settings_record,
)
from matrixdoc.definition.errors import MatrixdocError, printable
from matrixdoc.diagnosis.settings import Settings

FORMAT = "matrixdoc case"
VERSION = 1
SUFFIX = ".case"
LARGEST_BYTES = 64 * 1024 * 1024
"""A repair is a few hundred entries of a few hundred bytes; anything near this is not a case."""


class CaseFileError(MatrixdocError):
    """A case file that cannot be made, read, locked or written; the message says which and why."""


@dataclass(frozen=True, slots=True)
class Header:
    """The first line: what the entries are about.

    ``machine`` is the title, ``source`` what the definition is loaded by (a shipped name or a
    path), ``digest`` pins the definition that the entries were made with, ``created`` is a time as
    text, ``name`` what the person calls the case.
    """

    name: str
    machine: str
    source: str
    digest: str
    settings: Settings
    created: str = ""


@dataclass(frozen=True, slots=True)
class StoredCase:
    """What a file holds. ``damaged`` are (line number, text) of lines that are no entries."""

    header: Header
    entries: tuple[Entry, ...]
    damaged: tuple[tuple[int, str], ...] = ()

    @property
    def warnings(self) -> tuple[str, ...]:
        """One sentence for each damaged line, safe to print."""
        return tuple(
            f"line {number} of the case file is incomplete and was left out: {printable(text[:80])}"
            for number, text in self.damaged
        )


class CaseFile:
    """An open, locked case file. Use :meth:`create` or :meth:`open`, then :meth:`append`."""

    def __init__(self, path: Path, descriptor: int, stored: StoredCase) -> None:
        self.path = path
        self.stored = stored
        self._descriptor = descriptor
        self._next = len(stored.entries) + 1

    @classmethod
    def create(cls, path: Path, header: Header) -> CaseFile:
        """Make a new file, write its header, keep it open and locked.

        Raises:
            CaseFileError: there is a file of that name, or the folder cannot be written.
        """
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            descriptor = os.open(path, os.O_RDWR | os.O_CREAT | _BINARY, 0o600)
        except OSError as error:
            raise CaseFileError(f"cannot make the case file {path}: {error.strerror}") from error
        _lock_or_refuse(path, descriptor)
        if b"\n" in _read_all(path, descriptor):
            os.close(descriptor)
            raise CaseFileError(f"there is a case at {path} already: open it, or choose another name")
        # Empty, or a header torn off by a kill: nothing was ever acknowledged in it.
        os.ftruncate(descriptor, 0)
        made = cls(path, descriptor, StoredCase(header, ()))
        made._write(
            {
                "format": FORMAT,
                "version": VERSION,
                "name": header.name,
                "machine": header.machine,
                "source": header.source,
                "digest": header.digest,
                "created": header.created,
                "settings": settings_record(header.settings),
            }
        )
        _sync_folder(path.parent)
        return made

    @classmethod
    def open(cls, path: Path) -> CaseFile:
        """Open an existing file for more entries, locked.

        Raises:
            CaseFileError: no such file, not a case, made by a newer version, or in use elsewhere.
        """
        try:
            descriptor = os.open(path, os.O_RDWR | _BINARY)
        except OSError as error:
            raise CaseFileError(f"cannot open the case file {path}: {error.strerror}") from error
        _lock_or_refuse(path, descriptor)
        try:
            raw = _read_all(path, descriptor)
            stored = _parse(path, raw)
            opened = cls(path, descriptor, stored)
            if raw and not raw.endswith(b"\n"):
                # Close the torn line off, so that the next entry starts on a line of its own.
                opened._write_bytes(b"\n")
        except BaseException:
            os.close(descriptor)
            raise
        return opened

    @property
    def closed(self) -> bool:
        """Whether the file was closed: nothing can be appended any more."""
        return self._descriptor < 0

    def append(self, entry: Entry) -> None:
        """Write one entry through to the disk.

        Raises:
            CaseFileError: the disk refused (the file is then as it was before), the file is
                closed, or the entry's number is not the next one.
        """
        if entry.number != self._next:
            raise CaseFileError(f"entry {entry.number} does not follow: the next one is {self._next}")
        self._write(entry_record(entry))
        self._next += 1

    def close(self) -> None:
        """Release the lock and close; closing twice does nothing."""
        if not self.closed:
            os.close(self._descriptor)
            self._descriptor = -1

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _write(self, record: dict[str, Any]) -> None:
        text = json.dumps(record, ensure_ascii=True, allow_nan=False, separators=(", ", ": "))
        self._write_bytes(text.encode("ascii") + b"\n")

    def _write_bytes(self, data: bytes) -> None:
        if self.closed:
            raise CaseFileError(f"the case file {self.path} is closed")
        end = os.lseek(self._descriptor, 0, os.SEEK_END)
        try:
            left = memoryview(data)
            while left:
                left = left[os.write(self._descriptor, left) :]
            os.fsync(self._descriptor)
        except OSError as error:
            os.ftruncate(self._descriptor, end)
            raise CaseFileError(f"not saved: cannot write to {self.path}: {error.strerror}") from error


def open_case(path: Path) -> StoredCase:
    """Read a case file without locking or changing it.

    Raises:
        CaseFileError: no such file, not a case, or made by a newer version.
    """
    try:
        descriptor = os.open(path, os.O_RDONLY | _BINARY)
    except OSError as error:
        raise CaseFileError(f"cannot open the case file {path}: {error.strerror}") from error
    try:
        return _parse(path, _read_all(path, descriptor))
    finally:
        os.close(descriptor)


def cases_folder() -> Path:
    """The folder of this user's cases (XDG data folder, or what the system has instead)."""
    import platformdirs

    return Path(platformdirs.user_data_path("matrixdoc", appauthor=False)) / "cases"


def case_path(name: str, folder: Path | None = None) -> Path:
    """The file of the case called ``name``: letters and digits kept, the rest turned to hyphens.

    Raises:
        CaseFileError: nothing of the name is left to call a file by.
    """
    kept = "".join(c if c.isalnum() or c in "_." else "-" for c in unicodedata.normalize("NFC", name.lower()))
    kept = "-".join(part for part in kept.strip(".").split("-") if part)[:80]
    if not any(c.isalnum() for c in kept):
        raise CaseFileError(f"a case needs a name with a letter or a digit in it, not {printable(name)!r}")
    return (folder or cases_folder()) / f"{kept}{SUFFIX}"


@dataclass(frozen=True, slots=True)
class CaseSummary:
    """One line of the list of cases. ``trouble`` says why a file cannot be read, else empty."""

    name: str
    path: Path
    machine: str
    entries: int
    changed: float
    trouble: str = ""


def list_cases(folder: Path | None = None) -> tuple[CaseSummary, ...]:
    """The cases in ``folder``, the one written last first; unreadable ones are listed too.

    ``changed`` is in seconds since 1970, as the file system tells it.
    """
    place = folder or cases_folder()
    if not place.is_dir():
        return ()
    found: list[CaseSummary] = []
    for path in place.glob(f"*{SUFFIX}"):
        try:
            changed = path.stat().st_mtime
            stored = open_case(path)
        except (OSError, CaseFileError) as error:
            found.append(CaseSummary(path.stem, path, "", 0, 0.0, str(error)))
            continue
        header = stored.header
        found.append(CaseSummary(header.name, path, header.machine, len(stored.entries), changed))
    return tuple(sorted(found, key=lambda one: (-one.changed, one.name)))


_BINARY: int = getattr(os, "O_BINARY", 0)


def _lock_or_refuse(path: Path, descriptor: int) -> None:
    try:
        lock_file(descriptor)
    except OSError:
        os.close(descriptor)
        raise CaseFileError(
            f"the case {path.stem!r} is open in another window: close it there first ({path})"
        ) from None


def _sync_folder(folder: Path) -> None:
    """Make the new name itself survive a power cut, where the system lets a folder be synced."""
    try:
        descriptor = os.open(folder, os.O_RDONLY)
    except OSError:
        return
    try:
        os.fsync(descriptor)
    except OSError:
        return
    finally:
        os.close(descriptor)


def _read_all(path: Path, descriptor: int) -> bytes:
    if os.fstat(descriptor).st_size > LARGEST_BYTES:
        raise CaseFileError(f"{path} is larger than {LARGEST_BYTES // 2**20} MB: this is not a case file")
    os.lseek(descriptor, 0, os.SEEK_SET)
    chunks: list[bytes] = []
    try:
        while chunk := os.read(descriptor, 1 << 20):
            chunks.append(chunk)
    except OSError as error:
        raise CaseFileError(f"cannot read the case file {path}: {error.strerror}") from error
    return b"".join(chunks)


def _parse(path: Path, raw: bytes) -> StoredCase:
    lines = raw.split(b"\n")
    header = _header(path, lines[0])
    entries: list[Entry] = []
    damaged: list[tuple[int, str]] = []
    for number, line in enumerate(lines[1:], start=2):
        if not line.strip():
            continue
        try:
            entry = entry_from_record(_object(line))
        except RecordError:
            damaged.append((number, line.decode("utf-8", "replace")))
            continue
        while entry.number > len(entries) + 1 and len(entries) < number:
            # A line in the middle was destroyed: its number stays taken, so that later
            # retractions still mean the entries they meant.
            entries.append(Entry(len(entries) + 1, "note", text="an entry that can no longer be read"))
        if entry.number != len(entries) + 1:
            damaged.append((number, line.decode("utf-8", "replace")))
            continue
        entries.append(entry)
    return StoredCase(header, tuple(entries), tuple(damaged))


def _object(line: bytes) -> dict[str, Any]:
    try:
        value = json.loads(line)
    except (ValueError, RecursionError) as error:
        raise RecordError("not a line of JSON") from error
    if not isinstance(value, dict):
        raise RecordError("not a JSON object")
    return value


def _header(path: Path, line: bytes) -> Header:
    try:
        record = _object(line)
    except RecordError:
        raise CaseFileError(f"{path} is not a case file: its first line is no header") from None
    version = record.get("version")
    if record.get("format") != FORMAT or not isinstance(version, int):
        raise CaseFileError(f"{path} is not a case file: its first line is no header")
    if version > VERSION:
        raise CaseFileError(
            f"{path} was made by a newer matrixdoc (format {version}; this one reads {VERSION})"
        )
    try:
        return Header(
            name=str(record.get("name", "")),
            machine=str(record.get("machine", "")),
            source=str(record.get("source", "")),
            digest=str(record.get("digest", "")),
            settings=settings_from_record(record.get("settings", {})),
            created=str(record.get("created", "")),
        )
    except RecordError as error:
        raise CaseFileError(f"{path}: the settings in its first line cannot be read: {error}") from None
