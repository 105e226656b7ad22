"""One table: bindings, footer, help, palette and documents agree with it."""

from __future__ import annotations

import itertools

import pytest
from textual.binding import Binding

from matrixdoc.bench.actions import (
    ACTIONS,
    CONTEXT_TITLES,
    actions_in,
    actions_table,
    footer_actions,
    help_rows,
    key_words,
)
from matrixdoc.bench.app import MOVE_KEYS, BenchApp
from matrixdoc.bench.panes import FooterBar
from matrixdoc.bench.picture import settle
from matrixdoc.bench.signs import SIGNS
from tests.bench.fakes import fake_case

CONTEXTS = list(CONTEXT_TITLES)


def test_every_action_is_bound_and_exists():
    bound = {b.key for b in BenchApp.BINDINGS if isinstance(b, Binding)}
    for action in ACTIONS:
        assert set(action.keys) <= bound, action
        name = action.run.partition("(")[0]
        assert callable(getattr(BenchApp, f"action_{name}")), action


def test_every_binding_is_in_the_table():
    known = {key for action in ACTIONS for key in action.keys} | set(MOVE_KEYS) | set("123456789")
    assert {b.key for b in BenchApp.BINDINGS if isinstance(b, Binding)} == known


@pytest.mark.parametrize("context", CONTEXTS)
def test_no_key_means_two_things_in_one_place(context):
    own = [key for a in actions_in(context) for key in a.keys]
    everywhere = (
        [key for a in actions_in("bench") for key in a.keys] if context not in ("bench", "choosing") else []
    )
    keys = [*own, *everywhere, *(MOVE_KEYS if context != "bench" else ())]
    assert len(keys) == len(set(keys))


def test_every_modified_or_function_key_has_a_plain_letter():
    for action in ACTIONS:
        special = [k for k in action.keys if "+" in k or (k[0] == "f" and k[1:].isdigit())]
        plain = [k for k in action.keys if k not in special]
        assert not special or plain, action


def test_names_are_unique():
    names = [a.name for a in ACTIONS]
    assert len(names) == len(set(names))


@pytest.mark.parametrize("context", CONTEXTS)
def test_the_footer_holds_at_most_five_entries_in_eighty_columns(context):
    actions = footer_actions(context)
    assert 2 <= len(actions) <= 5
    assert sum(len(FooterBar.entry(a)) + 1 for a in actions) <= 80
    assert all(0 < len(a.short) <= 10 for a in actions)
    here = {*actions_in(context), *actions_in("bench")}
    assert set(actions) <= here
    if context != "choosing":
        assert actions[-1].name == "help"


def test_help_and_documents_tell_every_action():
    rows = help_rows("switch")
    assert rows[0][0] == CONTEXT_TITLES["switch"]
    told = {words for _, _, words in rows}
    table = actions_table()
    for action in ACTIONS:
        assert action.words in told
        assert f"`{key_words(action.keys[0])}`" in table
        assert action.words in table


def test_every_mark_has_its_key():
    for device, signs in SIGNS.items():
        keys = {a.name: a.keys for a in actions_in(device)}
        for sign in signs:
            assert keys[f"{device} {sign.key}"] == (sign.letter,)
        letters = [s.letter for s in signs]
        glyphs = [s.glyph for s in signs]
        plain = [s.plain for s in signs]
        for one in (letters, glyphs, plain):
            assert len(one) == len(set(one))


async def test_the_palette_offers_the_table():
    from matrixdoc.bench.opening import Opened

    app = BenchApp(Opened(fake_case(), None, ""))
    async with app.run_test() as pilot:
        await settle(app, pilot)
        offered = {command.help for command in app.get_system_commands(app.screen)}
    assert offered == {
        a.name for a in itertools.chain(actions_in("switch"), actions_in("bench")) if a.palette
    }
