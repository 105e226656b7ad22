"""Part references: how each part is named, for ever.

A reference is a path of names between slashes, derived from the place of the part and from nothing
else. Reports, job logs and printed sheets keep references, so this grammar only ever grows::

    reference   = matrix-part / coil-part / flash-part / flipper-part / lamp-part / switch-part
                / light-part / supply-part / feed-part / enable-part / output-part
                / relay-part / decoder-part / interlock-part

    matrix-part = matrix "/" ( line "/" line-part / cell "/" cell-part / cell
                / "decoder" / "feed" / "select" number "/" ( "logic" / "link" ) )
    matrix      = name of the matrix in the definition                 ; "switch", "lamp"
    line        = ( "C" / "R" ) number                                 ; C3, R5, as the chart counts
    cell        = "C" number "R" number                                ; C3R5
    line-part   = "driver" / "pull" / "resistor" / "sensing" / "header" / "pin" / "wire"
                / "segment" number                                     ; segment2: leads to the second lug
                / "logic" / "link" / "predriver" / "input" / "drive" / "clamp" / "feed"
    cell-part   = "contact" / "lamp" / "socket" / "diode" / "capacitor" / "winding"
                / "column_stub" / "row_stub" / opto-part
    opto-part   = "emitter" / "emitter_feed" / "emitter_resistor" / "emitter_return"
                / "phototransistor" / "receiver_pull" / "buffer" / "output"

    coil-part   = "coil/" key [ "/" ( "winding" / "diode" / "feed" / "fuse" / "changeover"
                / "changeover drive" / return-part / drive-part ) ]
    flash-part  = "flash/" key [ "/" ( "lamp" / "resistor" / "feed" / "fuse" / return-part
                / drive-part ) ]
    flipper-part= "coil/" key " flipper/" ( "power" / "hold" / "diode" / "power diode" / "hold diode"
                / "eos" / "button" / "button wire" / "feed" / "fuse" / return-part
                / [ "hold drive/" ] drive-part )
    lamp-part   = "direct lamp/" key [ "/" ( "lamp" / "socket" / return-part / drive-part / "feed" ) ]
    switch-part = "direct switch/" key [ "/" ( "contact" / "sensing" / "pull" / "header" / "pin"
                / "wire" / "return" / "link" / "input" / opto-part ) ]
    drive-part  = "driver" / "header" / "pin" / "wire" / "logic" / "link" / "predriver" / "relay"
                / "drive"                                              ; "drive" names the command

    return-part = "return wire" / "return pin" / "return header"       ; of a high-side drive's load

    light-part  = "illumination/" key "/" ( "feed" / "fuse" / "header" / "pin" / "wire"
                / ( "lamp" / "socket" ) number / return-part )
    supply-part = "supply/" name "/" ( "winding" / "pin" / "wire" / "fuse"
                / "rectifier" ( "1" / "2" / "3" / "4" ) / "capacitor" / "regulator" )
    feed-part   = "feed/" name "/" ( "fuse" / "header" / "pin" / "wire" )
    enable-part = "enable/" name "/" ( "logic" / "link" )
    output-part = "output/" name "/" drive-part
    relay-part  = "relay/" name "/" ( "logic" / "link" / "predriver" / "relay" )
    decoder-part= "decoder/" name [ "/select" number "/" ( "logic" / "link" ) ]
    interlock-part = "interlock/" name "/" ( "contact" / [ "return " ] ( "header" / "pin" / "wire" ) )

A name (a key) is what the definition says: any text without "/" and "~". ``~`` joins the two nets
of a latent bridge: ``bridge/switch/C1/pin~switch/C2/pin``. The names printed on the machine are
aliases of a part and never a reference. Nets use the same paths (``switch/C3/lug1``), with
``ground`` and ``rail/<supply>`` beside them.

A reference is used once in a machine.
"""

from __future__ import annotations

import re
from typing import Literal

RESERVED_ROOTS = frozenset(
    {
        "coil",
        "flash",
        "direct lamp",
        "direct switch",
        "illumination",
        "supply",
        "feed",
        "enable",
        "output",
        "relay",
        "decoder",
        "interlock",
        "link",
        "bridge",
        "rail",
        "ground",
    }
)
"""First names that a matrix may not take."""

_LINE = re.compile(r"([CR])([0-9]{1,2})")
_CELL = re.compile(r"C([0-9]{1,2})R([0-9]{1,2})")
_NAME = r"[^/~]+"
_DRIVE = r"(?:driver|header|pin|wire|logic|link|predriver|relay|drive)"
_RETURN = r"return (?:wire|pin|header)"
_FLIPPER = (
    r"(?:power|hold|diode|power diode|hold diode|eos|button|button wire|feed|fuse"
    rf"|{_RETURN}|{_DRIVE}|hold drive/{_DRIVE})"
)
_LINE_PART = (
    r"(?:driver|pull|resistor|sensing|header|pin|wire|segment[1-9][0-9]?"
    r"|logic|link|predriver|input|drive|clamp|feed)"
)
_OPTO = r"emitter(?:_(?:feed|resistor|return))?|phototransistor|receiver_pull|buffer|output"
_CELL_PART = rf"(?:contact|lamp|socket|diode|capacitor|winding|column_stub|row_stub|{_OPTO})"
_LIGHT_PART = r"(?:feed|fuse|(?:return )?(?:header|pin|wire)|(?:lamp|socket)[1-9][0-9]?)"
_SWITCH_PART = rf"(?:contact|sensing|pull|header|pin|wire|return|link|input|{_OPTO})"
_MATRIX = rf"(?!(?:{'|'.join(sorted(RESERVED_ROOTS))})/){_NAME}"
_GRAMMAR = re.compile(
    "|".join(
        (
            rf"coil/{_NAME} flipper/{_FLIPPER}",
            rf"coil/{_NAME}(?:/(?:winding|diode|feed|fuse|changeover|changeover drive|{_RETURN}|{_DRIVE}))?",
            rf"flash/{_NAME}(?:/(?:lamp|resistor|feed|fuse|{_RETURN}|{_DRIVE}))?",
            rf"direct lamp/{_NAME}(?:/(?:lamp|socket|feed|{_RETURN}|{_DRIVE}))?",
            rf"direct switch/{_NAME}(?:/{_SWITCH_PART})?",
            rf"illumination/{_NAME}/{_LIGHT_PART}",
            rf"supply/{_NAME}/(?:winding|pin|wire|fuse|rectifier[1-4]|capacitor|regulator)",
            rf"feed/{_NAME}/(?:fuse|header|pin|wire)",
            rf"enable/{_NAME}/(?:logic|link)",
            rf"output/{_NAME}/{_DRIVE}",
            rf"relay/{_NAME}/(?:logic|link|predriver|relay)",
            rf"decoder/{_NAME}(?:/select[1-5]/(?:logic|link))?",
            rf"interlock/{_NAME}/(?:contact|(?:return )?(?:header|pin|wire))",
            rf"{_MATRIX}/[CR][0-9]{{1,2}}/{_LINE_PART}",
            rf"{_MATRIX}/(?:decoder|feed|select[1-5]/(?:logic|link))",
            rf"{_MATRIX}/C[0-9]{{1,2}}R[0-9]{{1,2}}(?:/{_CELL_PART})?",
        )
    )
)


def is_reference(text: str) -> bool:
    """Whether ``text`` follows the grammar above (not whether such a part exists)."""
    return _GRAMMAR.fullmatch(text) is not None


def cell_key(column: str, row: str) -> str:
    """``C3`` and ``R5`` give ``C3R5``."""
    return f"{column}{row}"


def line_number(key: str, letter: Literal["C", "R"]) -> int | None:
    """The number in ``C3`` or ``R5``; None when ``key`` is not a line of that letter."""
    found = _LINE.fullmatch(key.strip().upper())
    return int(found[2]) if found and found[1] == letter else None


def cell_numbers(key: str) -> tuple[int, int] | None:
    """Column and row number of ``C3R5``; None when ``key`` is not a cell."""
    found = _CELL.fullmatch(key.strip().upper())
    return (int(found[1]), int(found[2])) if found else None
