"""Typed results: what people write becomes an outcome, or a word about what would be right."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from matrixdoc.bench import state
from matrixdoc.bench.answers import base_choices, parse_answer, with_predicted
from matrixdoc.checks.situation import NOT_SURE, OPEN_LOOP, Check, Look, Situation
from matrixdoc.definition.errors import InputError
from tests.bench.fakes import fake_case

VIEW = state.open_view(fake_case())
NC = "switch/C2R1"


def check(look, **situation):
    return Check("a check", "look", Situation(**situation), look, 1.0)


METER = {f: check(Look("meter", function=f, red="ground", black="sign")) for f in ("volts", "ohms", "diode")}
READS = check(Look("reads"), held=("switch/C1R1",))
LAMP = check(Look("lamp", "lamp/C1R1"))
COIL = check(Look("coil", "coil/1"), pulsed="coil/1")
FUSE = check(Look("fuse", "fuse/1"))
RESTING = check(Look("resting coils"))
EVERY = [*METER.values(), READS, LAMP, COIL, FUSE, RESTING]


@pytest.mark.parametrize(
    ("function", "typed", "value"),
    [("volts", "4.7V", 4.7), ("diode", "0.55", 0.55), ("ohms", "2k2", 2200.0), ("ohms", "OL", OPEN_LOOP)],
)
def test_readings_as_people_write_them(function, typed, value):
    assert parse_answer(VIEW, METER[function], typed) == pytest.approx(value)


@pytest.mark.parametrize(
    ("of", "typed", "outcome"),
    [
        (READS, "itself", frozenset({"switch/C1R1", NC})),
        (READS, "nothing", frozenset({NC})),
        (READS, "C1R1, C3R1", frozenset({"switch/C1R1", "switch/C3R1"})),
        (READS, "C1R1 C3R1", frozenset({"switch/C1R1", "switch/C3R1"})),
        (LAMP, "Dim", "dim"),
        (LAMP, "br", "bright"),
        (COIL, "locked on", "locked on"),
        (COIL, "not sure", NOT_SURE),
        (FUSE, "open", "open"),
        (RESTING, "nothing", frozenset()),
        (RESTING, "kicker", frozenset({"coil/1"})),
    ],
)
def test_words(of, typed, outcome):
    assert parse_answer(VIEW, of, typed) == outcome


@pytest.mark.parametrize(
    ("of", "typed", "said"),
    [
        (METER["volts"], "12 ohm", "volts"),
        (METER["ohms"], "", "2k2"),
        (LAMP, "dimm", "did you mean 'dim'"),
        (READS, "C9R9", "C9R9"),
        (LAMP, "x" * 400, "shorter"),
    ],
)
def test_refusals_say_what_would_be_right(of, typed, said):
    with pytest.raises(InputError) as refused:
        parse_answer(VIEW, of, typed)
    assert said in str(refused.value)


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(EVERY), st.text(max_size=40))
def test_nothing_typed_ever_breaks(of, typed):
    try:
        outcome = parse_answer(VIEW, of, typed)
    except InputError as error:
        refused, outcome = str(error), NOT_SURE
    else:
        refused = ""
    assert all(line.isprintable() for line in refused.splitlines())
    if not refused and of is not FUSE and of.look.kind != "meter":
        assert state.answer_check(VIEW, of, outcome, state.Stamp()).case.entries


@pytest.mark.parametrize("of", EVERY)
def test_every_choice_can_also_be_typed_or_is_not_sure(of):
    choices = base_choices(VIEW, of)
    assert choices[-1].outcome == NOT_SURE
    for choice in choices:
        if isinstance(choice.outcome, str) and choice.outcome not in (NOT_SURE, OPEN_LOOP):
            assert parse_answer(VIEW, of, choice.words) == choice.outcome


def test_predicted_sets_are_offered_once():
    base = base_choices(VIEW, READS)
    more = with_predicted(
        VIEW.case.wiring,
        READS,
        base,
        [frozenset({"switch/C3R1"}), base[0].outcome, frozenset({"switch/C3R1"})],
    )
    assert len(more) == len(base) + 1
    assert more[-1].outcome == NOT_SURE
    assert with_predicted(VIEW.case.wiring, LAMP, base, ["off"]) == base
