"""The report file: what a person writes down about one machine, as a published schema.

A report is YAML: the machine, settings if they differ from the usual, and ``findings``, a list in
the order in which things were done. Each entry has one leading word (``press``, ``hold``,
``resting``, ``walk``, ``lamp``, ``coil``, ``power up``, ``fuse``, ``volts``, ``ohms``, ``diode``,
``repair``, ``decline``, ``note``) and the fields that go with it. Names are as people write them:
``C3R5``, ``switch C3R5``, a running number, a printed name, a title, or a full reference; ``C3``
or ``R5`` stands for every cell of that line.
"""

from __future__ import annotations

from difflib import get_close_matches
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, Discriminator, Field, Tag

from matrixdoc.case.report_form import Flag, Form, FreeText, MaybeWords, Names, ReportSettings, Words, spaced
from matrixdoc.case.report_words import SeenKind, meant

MOST_ENTRIES = 5000

Reads = Annotated[
    Words | list[Words],
    Field(description="nothing, itself, fine, not sure, or a list of cells; in a walk also never, always"),
]


def _seen(kind: SeenKind) -> BeforeValidator:
    """Everyday words taken for those of the form, see ``report_words``."""
    return BeforeValidator(lambda value: meant(kind, value) if isinstance(value, str) else value)


Seen = Annotated[Literal["off", "dim", "normal", "bright", "flickers", "not sure"], _seen("lamp")]
CoilSeen = Annotated[
    Literal["fires", "fires twice", "weak", "nothing", "locked on", "fires with others", "not sure"],
    _seen("coil"),
]
FuseSeen = Annotated[Literal["good", "open", "not sure"], _seen("fuse")]
Action = Literal["replace", "repair", "reseat", "clean", "swap"]


class _Entry(Form):
    words: FreeText = Field(default="", description="the person's own words, kept for the log")


class Jumper(Form):
    """A jumper (a clip lead) between two points, or across a part."""

    from_: Words = Field(default="", description="a net, or part.terminal")
    to: Words = Field(default="ground", description="a net, or part.terminal")
    across: FreeText = Field(default="", description="a part: the jumper lies on its first two terminals")


def _one_jumper(value: object) -> object:
    return [value] if isinstance(value, dict) else value


_Jumpers = Annotated[
    list[Jumper],
    BeforeValidator(_one_jumper, json_schema_input_type=Jumper | list[Jumper]),
    Field(max_length=20),
]


class _LookEntry(_Entry):
    """A look at a machine that may be altered for it."""

    opened: Names = Field(
        default=[], description="parts out of circuit: a fuse, a lifted lug, a pin unplugged"
    )
    jumpers: _Jumpers = Field(default=[], description="jumpers that were on")
    swapped: Annotated[list[Names], Field(max_length=20)] = Field(
        default=[], description="pairs of like parts that sat in each other's place"
    )


class _ScanEntry(_LookEntry):
    whole: Flag = Field(
        default=False,
        description="the list is everything that reads; else normally closed switches that read at rest, "
        "as they should, need not be listed",
    )
    missing: Names = Field(
        default=[], description="normally closed switches that did not read, although nobody held them"
    )


class PressEntry(_ScanEntry):
    """Press one switch alone and look at the switch scan."""

    press: Words
    reads: Reads


class HoldEntry(_ScanEntry):
    """Hold several switches at once and look at the switch scan."""

    hold: Names
    reads: Reads


class RestingEntry(_ScanEntry):
    """What the switch scan shows with nothing pressed."""

    resting: Reads


class Walk(Form):
    """Every switch of a matrix pressed alone, one after the other."""

    matrix: FreeText = Field(default="", description="the switch matrix; not needed where there is one")
    odd: dict[Words, Reads] = Field(
        default_factory=dict, description="switch, column or row -> what it read (or not tried)"
    )
    others: Literal["fine", "not tried"] = "fine"


class WalkEntry(_ScanEntry):
    """A walk over a switch matrix: only what was odd is listed."""

    walk: Walk


class LampEntry(_LookEntry):
    """What a lamp (or each of several) showed under a commanded pattern.

    ``commanded``: ``all`` (the usual), ``itself`` (each of them alone), ``nothing``, a list, or
    ``each``: every lamp of the matrix commanded alone in turn. ``others`` says what all remaining
    lamps of the matrix showed meanwhile (with ``each``: when their own turn came).
    """

    lamp: Names
    seen: Seen
    commanded: Names = Field(default=["all"])
    others: Seen | None = None
    matrix: FreeText = ""


class CoilEntry(_LookEntry):
    """What a coil (or each of several) did when it was pulsed alone, or when a jumper was put on."""

    coil: Names
    seen: CoilSeen
    others: CoilSeen | None = Field(default=None, description="what every other coil did when pulsed")
    held: Names = Field(default=[])


class PowerUp(Form):
    """Which coils were pulled in with nothing commanded."""

    locked: Names


def _power_up(value: object) -> object:
    return {"locked": [value]} if value in ("nothing locked", "nothing", "not sure") else value


class PowerUpEntry(_Entry):
    """What the coils did at power-up."""

    power_up: Annotated[
        PowerUp,
        BeforeValidator(
            _power_up, json_schema_input_type=PowerUp | Literal["nothing locked", "nothing", "not sure"]
        ),
    ]


class FuseEntry(_Entry):
    """A fuse measured out of its clip."""

    fuse: Names
    seen: FuseSeen


class NewFuseEntry(_Entry):
    """What a new fuse of the marked rating did, with a coil pulsed or with the machine just switched on."""

    new_fuse: Words
    seen: Literal["holds", "blows at once", "blows after a while", "not sure"]
    pulsed: MaybeWords = Field(default="", description="coil that was pulsed then")


class WiggleEntry(_Entry):
    """Whether moving a part by hand made the complaint come or go."""

    wiggle: Words
    seen: Literal["changes", "stays", "not sure"]


class WarmEntry(_Entry):
    """Whether warming a part with a hair dryer, or chilling it, made the complaint come or go."""

    warm: Words
    seen: Literal["changes", "stays", "not sure"]


class WarmUpEntry(_Entry):
    """How a switch, a lamp or a coil did from a cold machine to one that has run for a while."""

    warm_up: Words = Field(description="a switch, a lamp or a coil")
    seen: Annotated[
        Literal["fails warm", "fails cold", "no change", "not sure"],
        Field(description="fails warm: works cold and fails as the machine warms"),
    ]


class _Meter(Form):
    red: Words = Field(description="a net, or part.terminal")
    black: Words = Field(default="ground", description="a net, or part.terminal")
    reading: Words = Field(description="as the meter shows it: 4.7 V, 12.3 ohm, 2k2, OL, or not sure")
    held: Names = Field(default=[])
    opened: Names = Field(
        default=[], description="parts out of circuit: a fuse, a lifted lug, a pin unplugged"
    )
    lamps: Names = Field(default=[], description="lamps commanded meanwhile")
    pulsed: MaybeWords = Field(default="", description="coil pulsed meanwhile")


class PoweredMeter(_Meter):
    """A reading with the machine switched on, unless said otherwise."""

    power: Flag = True


class UnpoweredMeter(_Meter):
    """A reading with the machine unplugged, unless said otherwise."""

    power: Flag = False


class VoltsEntry(_Entry):
    """Direct volts between two points."""

    volts: PoweredMeter


class OhmsEntry(_Entry):
    """Ohms between two points."""

    ohms: UnpoweredMeter


class DiodeEntry(_Entry):
    """Volts shown by the diode test between two points."""

    diode: UnpoweredMeter


class Repair(Form):
    """Parts that were mended between two findings."""

    parts: Names
    action: Action = "replace"


class RepairEntry(_Entry):
    """An act: what is listed after it was found with these parts mended."""

    repair: Repair


class DeclineEntry(_Entry):
    """A check (by its key) that cannot or will not be done."""

    decline: Words


class OverrideEntry(Form):
    """Going on under power in spite of a coil that may be locked on, in words: who watches, what is off."""

    override: Words


class NoteEntry(Form):
    """A free remark."""

    note: FreeText


ENTRIES: dict[str, type[BaseModel]] = {
    "press": PressEntry,
    "hold": HoldEntry,
    "resting": RestingEntry,
    "walk": WalkEntry,
    "lamp": LampEntry,
    "coil": CoilEntry,
    "power up": PowerUpEntry,
    "fuse": FuseEntry,
    "new fuse": NewFuseEntry,
    "wiggle": WiggleEntry,
    "warm up": WarmUpEntry,
    "warm": WarmEntry,
    "volts": VoltsEntry,
    "ohms": OhmsEntry,
    "diode": DiodeEntry,
    "repair": RepairEntry,
    "decline": DeclineEntry,
    "override": OverrideEntry,
    "note": NoteEntry,
}


def leading_word(entry: object) -> str | None:
    """The leading word of an entry, or the nearest one to what was written, or None."""
    keys = [key.replace("_", " ") for key in entry if isinstance(key, str)] if isinstance(entry, dict) else []
    if not keys and isinstance(entry, BaseModel):
        keys = [spaced(key) for key in type(entry).model_fields]
    for word in ENTRIES:
        if word in keys:
            return word
    for key in keys:
        if close := get_close_matches(key[:40].lower(), ENTRIES, n=1, cutoff=0.6):
            return close[0]
    return None


def _tag(entry: object) -> str | None:
    word = leading_word(entry)
    return ENTRIES[word].__name__ if word is not None else None


def _refuse_danger(entry: object) -> object:
    """Smoke and smell stand above the findings: say so instead of listing the words of an entry."""
    for key in entry if isinstance(entry, dict) else ():
        if str(key).casefold() in ("smoke", "smell"):
            raise ValueError(
                f"SWITCH OFF AND UNPLUG FIRST; then write '{key}: yes' at the top of the report, "
                "beside 'findings:' and not below it"
            )
    return entry


AnyEntry = Annotated[
    Annotated[PressEntry, Tag("PressEntry")]
    | Annotated[HoldEntry, Tag("HoldEntry")]
    | Annotated[RestingEntry, Tag("RestingEntry")]
    | Annotated[WalkEntry, Tag("WalkEntry")]
    | Annotated[LampEntry, Tag("LampEntry")]
    | Annotated[CoilEntry, Tag("CoilEntry")]
    | Annotated[PowerUpEntry, Tag("PowerUpEntry")]
    | Annotated[FuseEntry, Tag("FuseEntry")]
    | Annotated[NewFuseEntry, Tag("NewFuseEntry")]
    | Annotated[WiggleEntry, Tag("WiggleEntry")]
    | Annotated[WarmUpEntry, Tag("WarmUpEntry")]
    | Annotated[WarmEntry, Tag("WarmEntry")]
    | Annotated[VoltsEntry, Tag("VoltsEntry")]
    | Annotated[OhmsEntry, Tag("OhmsEntry")]
    | Annotated[DiodeEntry, Tag("DiodeEntry")]
    | Annotated[RepairEntry, Tag("RepairEntry")]
    | Annotated[DeclineEntry, Tag("DeclineEntry")]
    | Annotated[OverrideEntry, Tag("OverrideEntry")]
    | Annotated[NoteEntry, Tag("NoteEntry")],
    Discriminator(
        _tag,
        custom_error_type="leading_word",
        custom_error_message="an entry that begins with one of " + ", ".join(ENTRIES),
    ),
]


class ReportForm(Form):
    """The whole report file."""

    machine: FreeText = Field(default="", description="a shipped machine's name or a path")
    settings: ReportSettings = ReportSettings()
    smoke: Flag = Field(default=False, description="smoke was seen: switch off first")
    smell: Flag = Field(default=False, description="something smells burnt: switch off first")
    findings: Annotated[
        list[Annotated[AnyEntry, BeforeValidator(_refuse_danger)]], Field(max_length=MOST_ENTRIES)
    ] = Field(default=[])
    title: FreeText = ""
    story: FreeText = Field(default="", description="what happened, in the person's own words")
    conclusion: FreeText = Field(default="", description="what it turned out to be, once known")


def report_schema() -> dict[str, Any]:
    """The JSON Schema (2020-12) of a report file."""
    schema = ReportForm.model_json_schema(by_alias=True, mode="validation")
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema, "title": "matrixdoc report"}
