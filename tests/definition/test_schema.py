"""The authoring form: what it takes, what it refuses, and its JSON Schema."""

from __future__ import annotations

import json
from typing import Any

import jsonschema
import pytest
import yaml

from matrixdoc.definition.document import load_document, validate_model
from matrixdoc.definition.errors import InputError
from matrixdoc.definition.library import list_machines
from matrixdoc.definition.schema import MachineForm, machine_schema


def form(text: str) -> MachineForm:
    return validate_model(load_document(text, "test.yaml"), MachineForm)


def problems(text: str) -> list[str]:
    with pytest.raises(InputError) as caught:
        form(text)
    return [str(p) for p in caught.value.problems]


def with_text_keys(value: Any) -> Any:
    if isinstance(value, dict):
        return {str(key): with_text_keys(entry) for key, entry in value.items()}
    if isinstance(value, list):
        return [with_text_keys(entry) for entry in value]
    return value


def test_chart_alone_is_a_machine():
    machine = form("title: A\nmatrices: {switch: {chart: [[one, two], [three, -]]}}")
    assert machine.matrices["switch"].chart == (("one", "two"), ("three", "-"))


def test_block_charts_and_list_charts_say_the_same():
    block = form("title: A\nmatrices:\n  switch:\n    chart: |\n      | one | two |\n      three | -\n")
    listed = form("title: A\nmatrices: {switch: {chart: [[one, two], [three, '-']]}}")
    assert [[c.strip() for c in row] for row in block.matrices["switch"].chart or ()] == [
        ["one", "two"],
        ["three", "-"],
    ]
    assert listed.matrices["switch"].chart == (("one", "two"), ("three", "-"))


def test_quantities_are_text_with_units():
    machine = form(
        "title: A\n"
        "coils: {1: {resistance: 7R5, inductance: 18 mH, pulse: 0.05 s}}\n"
        "supplies: {coil: {volts: 36 V, capacitor: 2200 uF, winding_fuse: 8 A}}\n"
        "places: {door: {minutes: 1.5}}\n"
    )
    coil, supply = machine.coils["1"], machine.supplies["coil"]
    assert coil.resistance == pytest.approx(7.5)
    assert coil.inductance == pytest.approx(0.018)
    assert coil.pulse == pytest.approx(50.0)
    assert supply.capacitor == pytest.approx(0.0022)
    assert supply.winding_fuse is not None
    assert supply.winding_fuse.rating == pytest.approx(8.0)
    assert machine.places["door"].minutes == pytest.approx(1.5)


def test_pins_colours_chains_and_none():
    machine = form(
        "title: A\n"
        "supplies: {lamp: {winding_fuse: none, bridge: none, capacitor: none}}\n"
        "matrices: {lamp: {chart: [[a, b]], row_resistor: none, "
        "rows: {R1: {pin: Side A-12, wire: white-brown, chain: 2 1}}}}\n"
    )
    row = machine.matrices["lamp"].rows["R1"]
    assert row.pin is not None
    assert (row.pin.connector, row.pin.position) == ("Side A", 12)
    assert row.wire == "WH-BN"
    assert row.chain == ("2", "1")
    supply = machine.supplies["lamp"]
    assert supply.winding_fuse is not None
    assert not supply.winding_fuse.fitted
    assert supply.bridge is not None
    assert not supply.bridge.fitted
    assert supply.capacitor == 0.0
    assert machine.matrices["lamp"].row_resistor == 0.0


def test_text_that_older_yaml_changes_stays_text():
    machine = form("title: 012\nmatrices: {switch: {chart: [[NO, 1:12, 2024-01-02]]}}")
    assert machine.title == "012"
    assert machine.matrices["switch"].chart == (("NO", "1:12", "2024-01-02"),)


def test_yes_and_no_are_words():
    machine = form("title: A\nsupplies: {x: {alternating: yes}, y: {alternating: 'No'}}")
    assert machine.supplies["x"].alternating
    assert not machine.supplies["y"].alternating
    assert len(problems("title: A\nsupplies: {x: {alternating: perhaps}}")) == 1


def test_every_error_at_once_with_its_line_and_the_near_miss():
    found = problems(
        "title: A\n"
        "matrixes: {}\n"
        "matrices:\n"
        "  switch:\n"
        "    chart: [[a]]\n"
        "    row_pul: 1 kohm\n"
        "    row_pull: 1 V\n"
        "    columns:\n"
        "      C1: {wire: puce, pin: W1, link: many}\n"
        "coils:\n"
        "  1: {resistance: -4 ohm}\n"
    )
    lines = [int(text.split(":")[1]) for text in found]
    assert lines == [2, 6, 7, 9, 9, 9, 11]
    assert "matrices" in found[0]
    assert "did you mean 'row_pull'" in found[1]


@pytest.mark.parametrize(
    "text",
    [
        "title: A\ncoils: {a/b: {}}",
        "title: A\ncoils: {a~b: {}}",
        "title: A\ncoils: {' a': {}}",
        "title: ''\ncoils: {a: {}}",
        "coils: {a: {}}",
        "title: A\nillumination: {a: {lamps: 0}}",
        "title: A\nillumination: {a: {lamps: 1000}}",
        "title: A\nbundles: [{lines: [coil 1]}]",
        "title: A\ncoils: {a: {pin: W1-0}}",
        "title: A\nplaces: {a: {minutes: 1e9}}",
        "title: A\ncoils: {a: {resistance: inf ohm}}",
        "title: A\ncoils: {a: {resistance: nan}}",
        "title: A\nself_tests: [tea test]",
        "title: A\nmatrices: {switch: {chart: 5, numbered_from: 2}}",
    ],
)
def test_what_cannot_be_is_refused(text):
    assert problems(text)


def test_too_many_entries_are_refused():
    many = "".join(f"  {n}: {{}}\n" for n in range(300))
    assert problems(f"title: A\ncoils:\n{many}")


def test_forms_are_frozen():
    machine = form("title: A\ncoils: {1: {}}")
    with pytest.raises(ValueError, match="frozen"):
        machine.title = "B"  # type: ignore[misc]


def test_json_schema_is_one_and_takes_the_shipped_machines():
    schema = machine_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    json.dumps(schema)
    checker = jsonschema.Draft202012Validator(schema)
    machines = list_machines()
    assert machines
    for machine in machines:
        # As an editor reads it: with the types that a YAML reader gives to plain scalars.
        tree = with_text_keys(yaml.safe_load(machine.path.read_text("utf-8")))
        assert list(checker.iter_errors(tree)) == []


def test_json_schema_refuses_unknown_keys():
    checker = jsonschema.Draft202012Validator(machine_schema())
    assert not checker.is_valid({"title": "A", "coil": {}})
    assert not checker.is_valid({"title": "A", "coils": {"1": {"resistanse": 4}}})


@pytest.mark.parametrize(
    ("written", "ohm"),
    [
        ("4.7 kohm", 4700.0),
        ("4.7k", 4700.0),
        ("4.7 K", 4700.0),
        ("4k7", 4700.0),
        ("4,7 kΩ", 4700.0),
        ("4700", 4700.0),
        ("4R7", 4.7),
        ("4.7 Ohms", 4.7),
    ],
)
def test_resistances_as_people_write_them(written, ohm):
    """Letter and digit code: IEC 60062; a bare number is in the unit that belongs there."""
    assert form(f'title: A\ncoils: {{1: {{resistance: "{written}"}}}}').coils["1"].resistance == ohm


@pytest.mark.parametrize("written", ["0.5 A", "0.5A", "500 mA", "500mA", ".5", "0,5 amp"])
def test_fuse_ratings_as_people_write_them(written):
    fuse = form(f'title: A\ncoils: {{1: {{fuse: "{written}"}}}}').coils["1"].fuse
    assert fuse is not None
    assert fuse.rating == 0.5


@pytest.mark.parametrize(
    ("written", "name", "rating", "blow"),
    [
        ("3 A", "", 3.0, ""),
        ("3 A slow", "", 3.0, "slow"),
        ("3 A slow-blow", "", 3.0, "slow"),
        ("3 AT", "", 3.0, "slow"),
        ("T3A", "", 3.0, "slow"),
        ("T 3.15 A", "", 3.15, "slow"),
        ("T3.15AL250V", "", 3.15, "slow"),
        ("F 500 mA", "", 0.5, "fast"),
        ("F2 3 A slow", "F2", 3.0, "slow"),
        ("F2 T3A", "F2", 3.0, "slow"),
        ("fuse 2 3 A", "fuse 2", 3.0, ""),
        ("{name: 2, rating: T 3 A}", "2", 3.0, "slow"),
        ("{rating: 3 AT, blow: slow}", "", 3.0, "slow"),
    ],
)
def test_fuses_as_they_are_printed(written, name, rating, blow):
    """F is quick-acting, T time-lag: IEC 60127-2, standard sheets 2 and 3."""
    fuse = form(f"title: A\ncoils: {{1: {{fuse: {written}}}}}").coils["1"].fuse
    assert fuse is not None
    assert (fuse.name, fuse.rating, fuse.blow) == (name, rating, blow)


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("FF 2 A", "FF is very quick-acting; known here are F (fast) and T (slow)"),
        ("TT2A", "TT is a long time-lag"),
        ("F5", "may be its name or its rating: write '5 A fast' or {name: F5, rating: ...}"),
        ("K3", "write {name: K3, rating: ...}"),
        ("F 3 A slow", "both fast and slow"),
        ("{rating: T 5 A, blow: fast}", "slow contradicts another key of this fuse"),
        ("1 5 A", "two numbers: write 'fuse' before its name"),
        ("5 B", "the unit 'B' is not known"),
    ],
)
def test_a_fuse_that_reads_two_ways_is_refused_with_what_to_write(written, said):
    (problem,) = problems(f"title: A\ncoils: {{1: {{fuse: {written}}}}}")
    assert said in problem


@pytest.mark.parametrize(
    "written",
    ["BU-YE", "bu-ye", "BUYE", "BU/YE", "bu ye", "blue-yellow", "Blue / Yellow", "light blue-yellow"],
)
def test_wire_colours_as_people_write_them(written):
    """Letters of IEC 60757, base then trace, or words."""
    assert form(f'title: A\ncoils: {{1: {{wire: "{written}"}}}}').coils["1"].wire == "BU-YE"


@pytest.mark.parametrize(
    ("key", "written", "said"),
    [
        ("resistance", "0.5 A", "that is amperes"),
        ("resistance", "470 m", "a thousandth or a million"),
        ("resistance", "4,700", "a comma before three digits"),
        ("inductance", "20", "write the unit behind the number"),
        ("pulse", "50 m", "write the whole unit: ms, s or min"),
        ("wire", "BL-YE", "did you mean"),
        ("wire", "BU-YE-RD", "at most one trace"),
        ("wire", "YE-YE", "base and trace are the same"),
    ],
)
def test_what_could_mean_two_things_is_refused_with_a_word_about_both(key, written, said):
    (problem,) = problems(f'title: A\ncoils: {{1: {{{key}: "{written}"}}}}')
    assert said in problem


def test_the_schema_says_that_a_marking_does_not_choose_the_drive():
    coil = machine_schema()["$defs"]["CoilForm"]["properties"]
    assert "says the style" in coil["drive_type"]["description"]
    assert "'high-side ...' between supply and load" in coil["style"]["description"]
