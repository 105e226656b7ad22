"""Relays whose contact sets share a drive between two coils, and decoders that pick lamps."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from matrixdoc.definition.compile_builder import Builder, FormPath, named
from matrixdoc.definition.compile_drives import Decoder, decoder_parts, signal_path
from matrixdoc.definition.errors import near_miss, quoted
from matrixdoc.definition.schema_loads import CoilForm

_OWN_DRIVE = ("drive", "drive_type", "pre_driver", "logic", "link", "style", "fired_by")


@dataclass(frozen=True)
class Sharing:
    """Two coils on one drive: the drive's own coil, the other one, and the relay between them."""

    first: str
    second: str
    relay: str

    @property
    def common(self) -> str:
        """The net at the drive."""
        return f"coil/{self.first}/board"

    @property
    def nets(self) -> Mapping[str, str]:
        """The net that takes the place of the drive's, by the key of each coil."""
        return {self.first: f"coil/{self.first}/idle", self.second: f"coil/{self.first}/switched"}

    @property
    def selecting(self) -> str:
        """The command that turns the drive over to the second coil."""
        return f"coil/{self.first}/changeover drive"


def sharings(builder: Builder) -> dict[str, Sharing]:
    """Which coils share a drive, by the keys of both; problems are noted."""
    coils = builder.form.coils
    found: dict[str, Sharing] = {}
    for key, facts in coils.items():
        path: FormPath = ("coils", key)
        if facts.shares is None:
            if facts.relay is not None:
                expected = "'shares:' with the coil whose drive the relay turns over"
                builder.problem((*path, "relay"), "'relay' of a coil with a drive of its own", expected)
            continue
        first = facts.shares
        if first not in coils or first == key:
            others = [k for k in coils if k != key]
            builder.problem((*path, "shares"), quoted(first), "another coil", near_miss(first, others))
        elif coils[first].shares is not None:
            found_words = f"coil {first}, which has no drive of its own"
            builder.problem((*path, "shares"), found_words, "a coil with a drive of its own")
        elif first in found:
            builder.problem((*path, "shares"), f"coil {first} again", "one coil beside it")
        elif facts.relay is None:
            builder.problem((*path, "shares"), "a shared drive without a relay", "'relay:' beside it")
        elif builder.known(facts.relay, builder.form.relays, "a relay", (*path, "relay")):
            _no_drive(builder, facts, first, path)
            found[first] = found[key] = Sharing(first, key, facts.relay)
    return found


def _no_drive(builder: Builder, facts: CoilForm, first: str, path: FormPath) -> None:
    for field in _OWN_DRIVE:
        if field in facts.model_fields_set:
            found = f"'{field}' of a coil that shares a drive"
            builder.problem((*path, field), found, f"it at coil {first}", key=True)


def compile_relays(builder: Builder) -> dict[str, tuple[str, ...]]:
    """Wire the command of every relay; returns the signal parts of each in order."""
    paths: dict[str, tuple[str, ...]] = {}
    for name, facts in builder.form.relays.items():
        path: FormPath = ("relays", name)
        prefix, words = f"relay/{name}", facts.title or f"{name} relay"
        board = builder.board(facts.board, (*path, "board"), builder.drive_board)
        for field in ("pin", "wire"):
            if field in facts.model_fields_set:
                builder.problem((*path, field), f"'{field}' of a relay", "pins at its coils", key=True)
        signal = signal_path(builder, prefix, words, facts, board, path)
        relay = builder.add(
            f"{prefix}/relay",
            "relay_coil_driver",
            title=f"{words}{named(facts.drive, facts.drive_type)} and its driver",
            place=builder.board_place(board),
            board=board,
            type_name=facts.drive_type,
            alias=(facts.drive,),
            origin="stated" if facts.drive else "assumed",
            note=facts.note,
        )
        paths[name] = (*signal, relay)
    return paths


def changeover_set(builder: Builder, sharing: Sharing, signal: tuple[str, ...], board: str) -> str:
    """Add the contact set of a shared drive, and its command; returns the set's reference."""
    words = f"contact set of relay {sharing.relay}, coil {sharing.first} or coil {sharing.second}"
    nets = (sharing.common, sharing.nets[sharing.first], sharing.nets[sharing.second])
    output = builder.add(
        f"coil/{sharing.first}/changeover",
        "changeover",
        nets,
        title=words,
        place=builder.board_place(board),
        board=board,
        alias=(builder.form.relays[sharing.relay].drive,),
        origin="stated",
    )
    builder.drive(sharing.selecting, words, signal, output)
    return output


def compile_decoders(builder: Builder) -> dict[str, Decoder]:
    """Wire every decoder that picks drives of their own."""
    found: dict[str, Decoder] = {}
    for name, facts in builder.form.decoders.items():
        path: FormPath = ("decoders", name)
        board = builder.board(facts.board, (*path, "board"), builder.drive_board)
        words = facts.title or f"decoder {name}"
        made = decoder_parts(builder, f"decoder/{name}", facts, 1, board, path, words=words)
        if made is not None:
            found[name] = made
    return found
