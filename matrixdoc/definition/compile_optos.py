"""Optical pairs: an emitter on a supply of its own, and a receiver in the place of a contact."""

from __future__ import annotations

from dataclasses import dataclass

from matrixdoc.definition.compile_builder import Builder, FormPath
from matrixdoc.definition.compile_supplies import rail_of
from matrixdoc.definition.schema_matrices import OptoForm
from matrixdoc.definition.wiring import GROUND, Opto, Sensor

OPTO = "opto"


@dataclass(frozen=True)
class OptoPlace:
    """Where an optical pair sits: its switch's reference and words, its place, its aliases, a note."""

    reference: str
    words: str
    place: str
    path: FormPath
    alias: tuple[str, ...] = ()
    note: str = ""


def merged(*forms: OptoForm | None) -> OptoForm:
    """What is known of a pair: of each fact the first form that states it."""
    stated: dict[str, object] = {}
    for form in reversed(forms):
        if form is not None:
            stated |= {name: getattr(form, name) for name in form.model_fields_set}
    return OptoForm.model_validate(stated)


def opto_contact(builder: Builder, at: OptoPlace, facts: OptoForm, nets: tuple[str, str]) -> tuple[str, bool]:
    """Add an optical pair whose contact conducts from the first of ``nets`` to the second.

    Returns the reference of the contact, and whether it conducts while nothing is in the beam.
    """
    style = builder.styles.opto
    rail, volts = rail_of(
        builder,
        facts.supply,
        style.supply,
        (*at.path, "opto", "supply"),
        facts.feed,
        (*at.path, "opto", "feed"),
    )
    emitter, parts = _emitter(builder, at, facts, rail)
    if (facts.blocked or style.blocked) == "closed":
        sensor = _receiver(builder, at, facts, rail, volts)
        contact = builder.add(
            f"{at.reference}/output",
            "low_side_npn",
            nets,
            title=f"{at.words}, output of the receiver's buffer",
            place=at.place,
            type_name=style.output_type,
            alias=at.alias,
            origin="style default",
            note=at.note,
        )
        receiver = f"{at.reference}/phototransistor"
    else:
        sensor = ""
        receiver = contact = builder.add(
            f"{at.reference}/phototransistor",
            "phototransistor",
            nets,
            title=f"{at.words}, receiver of the optical pair",
            place=at.place,
            alias=at.alias,
            origin="stated",
            note=at.note,
        )
    builder.optos[at.reference] = Opto(at.reference, emitter, receiver, contact, rail, parts, sensor)
    return contact, not sensor


def _emitter(builder: Builder, at: OptoPlace, facts: OptoForm, rail: str) -> tuple[str, tuple[str, ...]]:
    """Feed wire, resistor, emitter and return wire, from the rail to ground."""
    ohm = facts.emitter_resistor or builder.styles.opto.emitter_resistor_ohm
    nets = [rail, *(f"{at.reference}/{name}" for name in ("fed", "lit", "dimmed")), GROUND]
    parts = []
    for index, (name, kind, words) in enumerate(
        (
            ("emitter_feed", "wire", "feed wire of the emitter"),
            ("emitter_resistor", "resistor", f"resistor of the emitter, {ohm:g} ohm"),
            ("emitter", "emitter", "emitter of the optical pair"),
            ("emitter_return", "wire", "ground wire of the emitter"),
        )
    ):
        parts.append(
            builder.add(
                f"{at.reference}/{name}",
                kind,
                (nets[index], nets[index + 1]),
                title=f"{at.words}, {words}",
                place=at.place,
                values={"ohm": ohm} if kind == "resistor" else None,
                origin="stated" if kind == "resistor" and facts.emitter_resistor else "style default",
            )
        )
    return parts[2], tuple(parts)


def _receiver(builder: Builder, at: OptoPlace, facts: OptoForm, rail: str, volts: float) -> str:
    """A receiver that pulls the input of a buffer down while light arrives."""
    style = builder.styles.opto
    received = f"{at.reference}/received"
    ohm = facts.receiver_pull or style.receiver_pull_ohm
    builder.add(
        f"{at.reference}/receiver_pull",
        "resistor",
        (received, rail),
        title=f"{at.words}, pull-up resistor of the receiver, {ohm:g} ohm",
        place=at.place,
        values={"ohm": ohm},
        origin="stated" if facts.receiver_pull else "style default",
    )
    builder.add(
        f"{at.reference}/phototransistor",
        "phototransistor",
        (received, GROUND),
        title=f"{at.words}, receiver of the optical pair",
        place=at.place,
        origin="stated",
    )
    sensing = builder.styles.sensing[style.buffer]
    sensor = builder.add(
        f"{at.reference}/buffer",
        "sensing",
        (received, GROUND),
        title=f"{at.words}, buffer of the receiver",
        place=at.place,
        type_name=sensing.type,
        origin="style default",
    )
    low, high = sensing.thresholds(volts)
    builder.sensors[sensor] = Sensor(sensor, received, low, high, "high", sensing.floating)
    return sensor
