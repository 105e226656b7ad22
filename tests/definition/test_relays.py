"""Shared drives, coil matrices, decoded lamps and door interlocks."""

from __future__ import annotations

import pytest

from matrixdoc.definition.lint import lint
from matrixdoc.definition.styles import load_styles
from matrixdoc.definition.wiring import GROUND, Wiring
from tests.definition.wirings import assert_sound, problems, wire

SHARED = (
    "title: A\nboards: {l: {}, d: {}}\nlink: {boards: [l, d], pins: 9}\nconnectors: {E: {pins: 4}}\n"
    "relays: {attic: {title: attic relay, drive: K3, pre_driver: Q9, logic: U1, link: 3}}\n"
    "coils:\n"
    "  21: {shares: 1, relay: attic, pin: E-2}\n"
    "  1: {drive: Q1, pin: E-1, link: 1}\n"
    "  22: {shares: 2, relay: attic, pin: E-4}\n"
    "  2: {drive: Q2, pin: E-3, link: 2}\n"
)


def walk(wiring: Wiring, references: list[str], start: str) -> str:
    """The net at the other end of a row of parts, through their first two terminals."""
    at = start
    for reference in references:
        nets = wiring.parts[reference].nets
        assert at in nets, reference
        at = nets[1] if nets[0] == at else nets[0]
    return at


def test_a_contact_set_sends_one_drive_to_either_coil():
    wiring = wire(SHARED)
    assert_sound(wiring)
    sets = {r: p for r, p in wiring.parts.items() if p.kind == "changeover"}
    assert set(sets) == {"coil/1/changeover", "coil/2/changeover"}
    common, idle, active = sets["coil/1/changeover"].nets
    assert wiring.parts["coil/1/driver"].nets == (common, GROUND)
    for key, end in (("1", idle), ("21", active)):
        way = [f"coil/{key}/{name}" for name in ("feed", "winding", "wire", "pin", "header")]
        assert walk(wiring, way, "feed/coil/end") == end
    first, second = wiring.coils["coil/1"], wiring.coils["coil/21"]
    assert first.drive == second.drive == "coil/1/drive"
    assert first.also == ()
    assert second.also == ("coil/1/changeover drive",)
    assert wiring.drives["coil/1/changeover drive"].output == "coil/1/changeover"
    assert "coil/21/driver" not in wiring.parts


def test_the_sets_of_one_relay_share_its_command():
    wiring = wire(SHARED)
    paths = {wiring.drives[f"coil/{key}/changeover drive"].path for key in (1, 2)}
    assert paths == {tuple(f"relay/attic/{name}" for name in ("logic", "link", "predriver", "relay"))}
    assert wiring.parts["relay/attic/relay"].aliases == ("K3",)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("coils: {1: {}, 2: {shares: 1}}", "'relay:' beside it"),
        ("coils: {1: {}, 2: {relay: r}}\nrelays: {r: {}}", "'shares:' with the coil"),
        ("coils: {1: {}, 2: {shares: 3, relay: r}}\nrelays: {r: {}}", "another coil"),
        ("coils: {1: {shares: 1, relay: r}}\nrelays: {r: {}}", "another coil"),
        ("coils: {1: {}, 2: {shares: 1, relay: q}}\nrelays: {r: {}}", "a relay: r"),
        (
            "coils: {1: {}, 2: {shares: 1, relay: r, drive: Q2}}\nrelays: {r: {}}",
            "'drive' of a coil that shares",
        ),
        (
            "coils: {1: {}, 2: {shares: 1, relay: r}, 3: {shares: 1, relay: r}}\nrelays: {r: {}}",
            "coil 1 again",
        ),
        (
            "coils: {1: {}, 2: {shares: 1, relay: r}, 3: {shares: 2, relay: r}}\nrelays: {r: {}}",
            "which has no drive of its own",
        ),
        ("coils: {1: {}}\nrelays: {r: {wire: BK}}", "'wire' of a relay"),
    ],
)
def test_what_does_not_fit_a_shared_drive(text, said):
    assert said in "\n".join(words for _, words in problems(f"title: A\n{text}"))


@pytest.mark.parametrize("style", sorted(load_styles().coil_matrix))
@pytest.mark.parametrize("order", ["coil first", "diode first"])
def test_a_coil_matrix_from_the_high_side_to_the_low_side(style, order):
    wiring = wire(
        "title: A\nmatrices: {coil matrix: {chart: [[a, b], [c, -]], resistance: 9 ohm,"
        f" style: '{style}', order: {order}, cells: {{C2R1: {{resistance: 30 ohm, holds: yes}}}}}}}}"
    )
    assert_sound(wiring)
    matrix = wiring.matrices["coil matrix"]
    assert matrix.device == "coil"
    assert [c.reference[-4:] for c in matrix.cells] == ["C1R1", "C1R2", "C2R1"]
    coil = wiring.coils["coil matrix/C1R1"]
    high, low = (wiring.parts[wiring.drives[d].output] for d in (*coil.also, coil.drive))
    assert high.kind.startswith("high_side")
    assert high.nets[1] == "rail/coil"
    assert low.kind.startswith("low_side")
    assert low.nets[1] == GROUND
    # The diode of the cell passes current from the high-side line to the low-side line only.
    inner = list(wiring.matrices["coil matrix"].cells[0].parts[1:-1])
    if low.reference == "coil matrix/C1/driver":
        inner.reverse()
        start = "coil matrix/C1R1/row"
    else:
        start = "coil matrix/C1R1/column"
    at = start
    for reference in inner:
        one, two = wiring.parts[reference].nets
        if wiring.parts[reference].kind == "diode":
            assert one == at
        at = two if one == at else one
    assert wiring.parts[f"{high.reference.rpartition('/')[0]}/clamp"].nets == (GROUND, high.nets[0])
    assert wiring.parts[f"{low.reference.rpartition('/')[0]}/clamp"].nets == (low.nets[0], "rail/coil")
    assert wiring.coils["coil matrix/C2R1"].holds
    assert wiring.parts["coil matrix/C2R1/winding"].values == {"ohm": 30.0}
    assert not [w for w in lint(wiring) if "no diode" in w]


def test_an_unfused_coil_matrix_is_warned_of():
    text = (
        "title: A\nsupplies: {coil: {winding_fuse: FUSE}}\nmatrices: {m: {chart: [[lifter]], device: coil}}"
    )
    assert any("no fuse anywhere on the way to lifter" in w for w in lint(wire(text.replace("FUSE", "none"))))
    assert not any("no fuse" in w for w in lint(wire(text.replace("FUSE", "5 A"))))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("matrices: {m: {chart: [[a]], device: coil, sensing: 74LS}}", "'sensing' in a coil matrix"),
        ("matrices: {m: {chart: [[a]], device: coil, element: leaf}}", "a coil, which has no such key"),
        ("matrices: {m: {chart: [[a]], device: coil, cells: {C1R1: {lamp: 44}}}}", "'lamp' in a coil cell"),
        ("matrices: {switch: {chart: [[a]], resistance: 9 ohm}}", "'resistance' in a switch matrix"),
        ("matrices: {m: {chart: [[a]], device: coil, style: 'sink strobe, weak idle'}}", "a drive style"),
    ],
)
def test_what_does_not_fit_a_coil_matrix(text, said):
    assert said in "\n".join(words for _, words in problems(f"title: A\n{text}"))


DECODED = (
    "title: A\nsupplies: {lamp: {capacitor: none}}\n"
    "decoders: {upper: {name: U3, lines: [{logic: U1}, {logic: U1}, {logic: U1}]}}\n"
    "direct_lamps: {a: {decoder: upper, output: 5}, b: {decoder: upper, output: 2, element: LED}, c: {}}\n"
)


def test_a_decoder_picks_lamps_by_their_output_number():
    wiring = wire(DECODED)
    assert_sound(wiring)
    drive = wiring.drives["direct lamp/a/drive"]
    assert drive.path == ("decoder/upper",)
    assert dict(drive.select) == {
        "decoder/upper/select1/logic": 1,
        "decoder/upper/select2/logic": 0,
        "decoder/upper/select3/logic": 1,
    }
    assert wiring.drives["direct lamp/c/drive"].select == ()
    assert wiring.drives["direct lamp/c/drive"].path == ("direct lamp/c/logic",)
    assert wiring.parts["direct lamp/b/lamp"].kind == "led"
    assert wiring.parts["direct lamp/b/driver"].kind == "thyristor"


def test_thyristors_on_a_filtered_supply_are_warned_of():
    assert not any("thyristor" in w for w in lint(wire(DECODED)))
    filtered = lint(wire(DECODED.replace("capacitor: none", "capacitor: 10000 uF")))
    assert any("never lets its lamp go out, and 3 of them" in w for w in filtered)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("direct_lamps: {a: {output: 3}}", "an output without a decoder"),
        ("direct_lamps: {a: {decoder: x, output: 3}}", "a decoder"),
        ("decoders: {x: {lines: [{}]}}\ndirect_lamps: {a: {decoder: x}}", "a number from 0 to 1"),
        ("decoders: {x: {lines: [{}]}}\ndirect_lamps: {a: {decoder: x, output: 2}}", "output 2"),
        (
            "decoders: {x: {lines: [{}]}}\ndirect_lamps: {a: {decoder: x, output: 1, logic: U1}}",
            "of a decoded drive",
        ),
    ],
)
def test_what_does_not_fit_a_decoder(text, said):
    assert said in "\n".join(words for _, words in problems(f"title: A\n{text}"))


def test_a_door_interlock_stands_between_rail_and_fuse():
    wiring = wire(
        "title: A\nconnectors: {D: {pins: 2}}\nplaces: {door: {minutes: 1}}\n"
        "interlocks: {door: {supply: coil, pin: D-1, return_pin: D-2, wire: BK-YE, place: door}}\n"
        "feeds:\n  f: {supply: coil, interlock: door, fuse: 3 A}\n  g: {supply: coil, interlock: door}\n"
        "  h: {supply: coil}\n"
        "coils: {1: {feed: f}, 2: {feed: g}, 3: {feed: h}}\n"
    )
    assert_sound(wiring)
    way = ["header", "pin", "wire", "contact", "return wire", "return pin", "return header"]
    cut = walk(wiring, [f"interlock/door/{name}" for name in way], "rail/coil")
    assert wiring.parts["feed/f/fuse"].nets[0] == cut
    assert wiring.parts["feed/g/header"].nets[0] == cut
    assert wiring.parts["feed/h/header"].nets[0] == "rail/coil"
    contact = wiring.parts["interlock/door/contact"]
    assert (contact.kind, contact.type_name, contact.place) == ("contact", "high-current", "door")
    switch = wiring.switches["interlock/door/contact"]
    assert switch.normally_closed
    assert switch.sensor == ""


def test_lint_looks_through_an_interlock():
    text = (
        "title: A\nsupplies: {coil: {winding_fuse: none}}\ninterlocks: {door: {supply: coil}}\n"
        "feeds: {f: {supply: coil, interlock: door}}\ncoils: {1: {feed: f, title: lifter}}"
    )
    assert any("no fuse anywhere on the way to lifter" in w for w in lint(wire(text)))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("interlocks: {d: {supply: coil}}\ncoils: {1: {}}", "that no feed names"),
        ("feeds: {f: {supply: coil, interlock: d}}\ncoils: {1: {feed: f}}", "a door interlock"),
        (
            "interlocks: {d: {supply: lamp}}\nfeeds: {f: {supply: coil, interlock: d}}\ncoils: {1: {}}",
            "an interlock of the supply lamp",
        ),
        (
            "interlocks: {d: {supply: cil}}\nfeeds: {f: {supply: coil, interlock: d}}\ncoils: {1: {}}",
            "'coil'",
        ),
    ],
)
def test_what_does_not_fit_an_interlock(text, said):
    assert said in "\n".join(words for _, words in problems(f"title: A\n{text}"))
