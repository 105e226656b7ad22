"""The catalogue that ships, and what is said about a wrong one."""

from __future__ import annotations

import tomllib
from importlib import resources

import pytest

from matrixdoc.circuit.kinds import load_kind_table
from matrixdoc.definition.errors import MatrixdocError
from matrixdoc.faults.catalogue import CatalogueError, load_catalogue
from matrixdoc.faults.reading import read_catalogue

CATALOGUE = load_catalogue()
TEXT = resources.files("matrixdoc.faults").joinpath("catalogue.toml").read_text(encoding="utf-8")
MODES = [(kind, mode.name) for kind, row in CATALOGUE.kinds.items() for mode in row.modes]

SMALL = """
format = 1
[sources]
practice = "common practice, no source"
[kind.wire]
rate = 10.0
rate_source = "practice"
handbook_rate_per_1e6_h = 0.005
handbook_source = "practice: worked out"
published = "practice"
action = "repair"
repair = "solder it"
minutes = 5
success = 0.9
cost = "none"
[[kind.wire.mode]]
name = "open"
share = 0.75
source = "practice"
words = "broken"
patch = { absent = true }
[[kind.wire.mode]]
name = "grounded"
share = 0.25
source = "practice"
words = "touches ground"
patch = { ground_ohm = 0.1 }
minutes = 10
"""


def test_every_part_kind_of_the_circuit_has_a_row():
    assert set(load_kind_table().kinds) <= set(CATALOGUE.kinds)


def test_rows_beyond_the_part_kinds_are_roles_that_a_service_rule_uses():
    roles = set(CATALOGUE.kinds) - set(load_kind_table().kinds)
    assert roles <= {rule.use for rule in CATALOGUE.service} | {"socket"}


@pytest.mark.parametrize("kind", CATALOGUE.kinds)
def test_shares_sum_to_one(kind):
    assert sum(mode.share for mode in CATALOGUE.kinds[kind].modes) == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize(("kind", "name"), MODES)
def test_every_mode_has_a_source_words_and_a_repair(kind, name):
    mode = CATALOGUE.kinds[kind].mode(name)
    full = tuple(tomllib.loads(TEXT)["sources"].values())
    assert mode.source.startswith(full)
    assert len(mode.words.split()) >= 4
    assert len(mode.repair.words.split()) >= 3
    assert 1.0 <= mode.repair.minutes <= 60.0
    assert 0.5 <= mode.repair.success < 1.0


@pytest.mark.parametrize("kind", CATALOGUE.kinds)
def test_the_handbook_rate_stands_beside_with_its_section(kind):
    row = CATALOGUE.kinds[kind]
    assert row.handbook_source.startswith("MIL-HDBK-217F (2 Dec 1991): ")
    assert "sec." in row.handbook_source or "app. A" in row.handbook_source
    assert row.published.startswith("MIL-HDBK-338B")


@pytest.mark.parametrize(
    ("kind", "rate_per_1e6_h"),
    [
        # MIL-HDBK-217F (2 Dec 1991), ground benign, lower or plastic quality: worked out from its formulas
        ("diode", 0.00071),  # sec. 6.1: 0.0010 * exp(-3091 (1/313 - 1/298)) * 0.054 * 8
        ("coil_diode", 0.00289),  # sec. 6.1: 0.0030 * exp(-3091 (1/323 - 1/298)) * 0.054 * 8
        ("pre_driver", 0.000448),  # sec. 6.3
        ("low_side", 0.00937),  # sec. 6.3
        ("fuse", 0.010),  # sec. 22.1
        ("lamp", 1.89),  # sec. 20.1: 0.074 * 6.3**1.29 * 0.72 * 3.3
        ("contact", 0.331),  # sec. 14.2
        ("stub", 0.0026),  # sec. 17.1
    ],
)
def test_handbook_rates_are_those_worked_out_from_the_handbook(kind, rate_per_1e6_h):
    assert CATALOGUE.kinds[kind].handbook_rate_per_1e6_h == pytest.approx(rate_per_1e6_h, rel=0.01)


def test_the_lamp_rate_is_the_handbook_formula():
    # MIL-HDBK-217F sec. 20.1: 0.074 * V**1.29, utilization 0.72 (10 to 90 %), direct current 3.3
    assert CATALOGUE.kinds["lamp"].handbook_rate_per_1e6_h == pytest.approx(
        0.074 * 6.3**1.29 * 0.72 * 3.3, rel=0.01
    )


@pytest.mark.parametrize(
    ("kind", "mode", "share"),
    [
        # MIL-HDBK-338B (1 Oct 1998), data from FMD-91
        ("coil", "open", 0.42),
        ("strobe_push_pull", "dead", 0.22),
        ("strobe_push_pull", "stuck active", 0.28),
        ("strobe_sink", "dead", 0.72),
        ("logic_output", "stuck active", 0.28),
        ("pre_driver", "open", 0.27),
        ("thyristor", "shorted", 0.40),
        ("pin", "open", 0.61 / 0.84),
        ("link_pin", "open", 0.61),
        ("link_pin", "comes and goes", 0.23),
        ("low_side_nmos", "leaky", 0.17),
    ],
)
def test_published_shares_are_used_where_the_source_says_so(kind, mode, share):
    assert CATALOGUE.kinds[kind].mode(mode).source.startswith("MIL-HDBK-338B")
    assert CATALOGUE.kinds[kind].mode(mode).share == pytest.approx(share, abs=0.01)


def test_values_that_modes_change_exist_in_every_kind_that_uses_the_row():
    table = load_kind_table()
    used_by = {kind: {kind} for kind in table.kinds}
    for rule in CATALOGUE.service:
        if rule.use:
            used_by.setdefault(rule.use, set()).update(rule.kinds)
    used_by.setdefault("socket", {"joint"})
    for row, kinds in used_by.items():
        for mode in CATALOGUE.kinds[row].modes:
            for name in (*mode.patch.values, *mode.factor):
                for kind in kinds:
                    assert name in table.kinds[kind].values, f"{row} {mode.name}: {kind} has no {name}"


def test_what_kills_a_new_part_is_said():
    for kind, mode in (
        ("coil", "shorted"),
        ("coil_diode", "shorted"),
        ("lamp", "shorted"),
        ("low_side", "open"),
    ):
        assert CATALOGUE.kinds[kind].mode(mode).damage


def test_the_digest_follows_the_text():
    small = read_catalogue(SMALL, "small.toml")
    assert small.digest != read_catalogue(SMALL.replace("0.75", "0.750"), "small.toml").digest
    assert small.digest == read_catalogue(SMALL, "other.toml").digest
    assert len(CATALOGUE.digest) == 64


def test_a_mode_takes_the_kind_s_repair_and_may_say_otherwise():
    row = read_catalogue(SMALL, "small.toml").kinds["wire"]
    assert row.mode("open").repair.minutes == 5.0
    assert row.mode("grounded").repair.minutes == 10.0
    assert row.mode("grounded").repair.words == "solder it"


def test_a_row_can_take_over_another_and_say_its_own():
    row = '[kind.stub]\nsame_as = "wire"\nrate = 3.0\n'
    rows = read_catalogue(SMALL + row, "small.toml").kinds
    assert rows["stub"].rate == 3.0
    assert rows["stub"].modes == rows["wire"].modes


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("share = 0.75", "share = 0.7", "kind.wire: the shares of its modes sum to 0.95, not to 1"),
        ("share = 0.75", "share = -0.75", "share should be above 0 and at most 1, not -0.75"),
        ("share = 0.75", "share = nan", "share should be a finite number of ordinary size, not nan"),
        ("share = 0.75", 'share = "most"', "share should be a number, not 'most'"),
        ('75\nsource = "practice"', "75", "source is missing"),
        (
            '75\nsource = "practice"',
            '75\nsource = "heard it"',
            "names the source 'heard it', which [sources] does not have",
        ),
        (
            "absent = true",
            'absent = true }\nwarmth = { opens_warm = 0.3, opens_cold = 0.1, source = "practice"',
            "stands at a mode without a duty",
        ),
        (
            "absent = true",
            "absent = true }\nduty = 0.5\nwarmth = { opens_warm = 0.3",
            "opens_cold is missing",
        ),
        (
            "absent = true",
            'absent = true }\nduty = 0.5\nwarmth = { opens_warm = 0.7, opens_cold = 0.4, source = "practice"',
            "sum to 1.1, to more than 1",
        ),
        (
            "absent = true",
            'absent = true }\nduty = 0.5\nwarmth = { opens_warm = 0.7, opens_cold = 0.1, source = "heard it"',
            "names the source 'heard it'",
        ),
        ("absent = true", "abset = true", "unknown key 'abset'; did you mean 'absent'?"),
        ("absent = true", 'absent = "yes"', "absent should be true or false, not 'yes'"),
        ("absent = true", "", "patch changes nothing"),
        ("ground_ohm = 0.1", "ground_ohm = 0", "ground_ohm should be above 0 ohm"),
        (
            "ground_ohm = 0.1",
            "ground_ohm = 1, ground_terminal = 3",
            "ground_terminal should be 0 to 2, not 3",
        ),
        ("ground_ohm = 0.1", 'stuck = "on"', "stuck should be 'active' or 'idle', not 'on'"),
        ("ground_ohm = 0.1", 'values = { ohm = "low" }', "ohm should be a number above 0, not 'low'"),
        (
            'action = "repair"',
            'action = "kick"',
            "action should be one of clean, reseat, replace, repair, not 'kick'",
        ),
        ("rate = 10.0", "rate = 0", "rate should be above 0, not 0.0"),
        ("success = 0.9", "success = 1.5", "success should be above 0 and at most 1"),
        ("rate = 10.0", f"rate = {'9' * 400}", "rate should be a finite number"),
        ("rate = 10.0", f"rate = {'9' * 5000}", "this is not TOML"),
        ("format = 1", "format = 2", "format should be 1, not 2"),
        ('name = "grounded"', 'name = "open"', "two modes are called 'open'"),
        ("[kind.wire]", "[kind.wire", "this is not TOML"),
        ("[sources]", "[kinds]", "unknown key 'kinds'; did you mean 'kind'?"),
    ],
)
def test_a_wrong_catalogue_says_where_and_what_would_be_right(old, new, said):
    with pytest.raises(CatalogueError) as caught:
        read_catalogue(SMALL.replace(old, new, 1), "small.toml")
    assert said in str(caught.value)
    assert all(line.startswith("small.toml: ") for line in str(caught.value).splitlines())
    assert isinstance(caught.value, MatrixdocError)


@pytest.mark.parametrize(
    ("row", "said"),
    [
        (
            '[[service]]\npattern = "*_stub"\nuse = "stump"\nsource = "practice"\n',
            "use names 'stump', and there is no [kind.stump]",
        ),
        (
            '[[service]]\npattern = "*"\nkinds = ["wires"]\nsource = "practice"\n',
            "kinds names 'wires', which this catalogue does not have; did you mean 'wire'?",
        ),
        (
            '[[condition]]\nname = "flood"\nwhere = "near"\nfactor = 2\nsource = "practice"\n',
            "name should be one of no vibration, recent repair, sat for years, battery leak, not 'flood'",
        ),
        (
            '[[service]]\npattern = "*"\nkinds = [["wire"]]\nsource = "practice"\n',
            "kinds names ['wire'], which this catalogue does not have",
        ),
        ('[kind.pin]\nsame_as = "pine"\n', "same_as names 'pine', which is no full row"),
        ("[kind.pin]\nrate = 1\n", "kind.pin: has no failure mode"),
    ],
)
def test_wrong_rules_are_refused(row, said):
    with pytest.raises(CatalogueError) as caught:
        read_catalogue(SMALL + row, "small.toml")
    assert said in str(caught.value)


@pytest.mark.parametrize(
    "text",
    ["", "[[kind]]", "kind = []", "[kind]\nwire = 3", "[sources]\na = 1", "service = 1", "kind.a.mode = [1]"],
)
def test_any_text_gives_an_error_and_never_another_exception(text):
    with pytest.raises(CatalogueError):
        read_catalogue(text, "odd.toml")


def test_all_mistakes_are_told_at_once():
    wrong = SMALL.replace("rate = 10.0", "rate = -1").replace("share = 0.25", "share = 0.5")
    with pytest.raises(CatalogueError) as caught:
        read_catalogue(wrong, "small.toml")
    assert len(str(caught.value).splitlines()) == 2


def test_an_unknown_mode_names_the_known_ones():
    with pytest.raises(CatalogueError, match=r"no failure mode 'melted'; it has: blown, poor clip"):
        CATALOGUE.kinds["fuse"].mode("melted")
