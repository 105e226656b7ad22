"""The one table of what a person can do at the bench.

Key bindings, footer, help, command palette and documents are all made from :data:`ACTIONS`; a test
checks that they agree. ``run`` is the name of the app's ``action_...`` method with its arguments.
Every modified or function key has a plain letter beside it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from matrixdoc.bench.signs import SIGNS

Context = Literal["bench", "switch", "lamp", "coil", "choosing", "causes", "checks", "log"]

CONTEXT_TITLES: dict[str, str] = {
    "switch": "On a switch",
    "lamp": "On a lamp",
    "coil": "On a coil",
    "choosing": "While choosing several",
    "causes": "In the causes",
    "checks": "In the checks",
    "log": "In the log",
    "bench": "Everywhere",
}


@dataclass(frozen=True, slots=True)
class Action:
    """One thing to do. ``keys``: the first is shown. ``short``: at most 10 letters, for the footer
    (empty: never in the footer). ``rank`` orders the footer, smallest first.
    """

    name: str
    run: str
    keys: tuple[str, ...]
    context: Context
    short: str
    words: str
    rank: int = 50
    palette: bool = True


KEY_WORDS = {
    "question_mark": "?",
    "enter": "Enter",
    "space": "Space",
    "escape": "Esc",
    "tab": "Tab",
    "shift+tab": "Shift+Tab",
    "ctrl+z": "Ctrl+Z",
    "ctrl+y": "Ctrl+Y",
    "ctrl+p": "Ctrl+P",
    "ctrl+q": "Ctrl+Q",
    "up": "Up",
    "down": "Down",
    "left": "Left",
    "right": "Right",
    "home": "Home",
    "end": "End",
    "pageup": "PgUp",
    "pagedown": "PgDn",
    "f1": "F1",
    "minus": "-",
    "backspace": "Backspace",
}

_FOOTER_RANK = {"never": 1, "always": 2, "others": 3, "fine": 4, "off": 1, "dim": 2, "stray": 3, "normal": 4}
_FOOTER_RANK |= {"nothing": 1, "locked": 2, "weak": 3, "fires": 4}


def _mark_actions() -> Iterable[Action]:
    contexts: tuple[Context, ...] = ("switch", "lamp", "coil")
    for device in contexts:
        for sign in SIGNS[device]:
            yield Action(
                name=f"{device} {sign.key}",
                run=f"mark('{sign.key}')",
                keys=(sign.letter,),
                context=device,
                short=sign.short.lower(),
                words=f"mark: {sign.words}",
                rank=_FOOTER_RANK.get(sign.key, 60),
            )
        yield Action(
            f"{device} menu",
            "mark_menu",
            ("enter",),
            device,
            "",
            "all marks as a list, to choose by arrows or touch",
            70,
        )
        yield Action(f"{device} clear", "clear_mark", ("x", "backspace"), device, "", "take the mark off", 71)
        if device == "lamp":
            yield Action(
                "lamp pattern",
                "pattern",
                ("p",),
                "lamp",
                "commanded",
                "turn what is commanded while you look: it alone, all lamps, nothing",
                2,
            )


ACTIONS: tuple[Action, ...] = (
    *_mark_actions(),
    Action(
        "choose here",
        "choose_here",
        ("space",),
        "choosing",
        "add/drop",
        "add what is under the cursor, or drop it",
        1,
        palette=False,
    ),
    Action(
        "finish",
        "finish",
        ("enter",),
        "choosing",
        "done",
        "the choice is complete: note it",
        2,
        palette=False,
    ),
    Action(
        "cancel",
        "cancel",
        ("escape", "x"),
        "choosing",
        "cancel",
        "leave the choice, note nothing",
        3,
        palette=False,
    ),
    Action(
        "open cause",
        "open_cause",
        ("enter",),
        "causes",
        "details",
        "what speaks for and against this cause, and where it is",
        1,
    ),
    Action(
        "repair",
        "repair",
        ("r",),
        "causes",
        "repair",
        "note that you mended it: choose the parts and what you did",
        2,
    ),
    Action(
        "open check",
        "open_check",
        ("enter",),
        "checks",
        "do it",
        "how to do this check; its result goes back to the causes",
        1,
    ),
    Action("decline", "decline", ("d",), "checks", "can't", "I can't do that: rank the others without it", 2),
    Action("open entry", "open_entry", ("enter",), "log", "read", "read this entry in full", 1),
    Action(
        "take back", "take_back", ("x",), "log", "take back", "take this entry back; it stays in the log", 2
    ),
    Action("place", "pane('place')", ("g",), "bench", "grid", "back to the grid or list of devices", 32),
    Action(
        "causes", "pane('causes')", ("c",), "bench", "causes", "what can be broken, most likely first", 30
    ),
    Action("checks", "pane('checks')", ("k",), "bench", "checks", "what to check next, best first", 31),
    Action("log", "pane('log')", ("h",), "bench", "log", "what was found and done so far", 33),
    Action(
        "prove", "prove", ("v",), "bench", "prove", "look again after a repair: the check that proves it", 34
    ),
    Action("next place", "next_place(1)", ("tab",), "bench", "", "next matrix or list", 80),
    Action("last place", "next_place(-1)", ("shift+tab", "minus"), "bench", "", "matrix or list before", 81),
    Action("undo", "undo", ("z", "ctrl+z"), "bench", "undo", "take back the last thing you noted", 40),
    Action("redo", "redo", ("y", "ctrl+y"), "bench", "redo", "bring back what undo took", 41),
    Action("note", "note", ("t",), "bench", "note", "write a note into the log", 42),
    Action(
        "plain",
        "plain",
        ("j",),
        "bench",
        "",
        "plain signs for terminals without the drawing letters, and back",
        82,
    ),
    Action("light", "light", ("i",), "bench", "", "other colours: night, day, the terminal's own", 83),
    Action("menu", "menu", ("m", "ctrl+p"), "bench", "", "search everything that can be done here", 84),
    Action("help", "help", ("question_mark", "f1"), "bench", "help", "this list of keys", 10),
    Action("quit", "leave", ("q", "ctrl+q"), "bench", "quit", "leave; everything noted is saved already", 85),
)

MOVES = (
    ("up, down, left, right", "move over the grid, or up and down a list"),
    ("Home, End", "first and last column"),
    ("PgUp, PgDn", "eight rows at once"),
    ("1 to 9", "the matrix or list with this number"),
    ("click or touch", "move there; a second time opens the list of marks"),
)
"""Keys of movement, the same in every grid: (keys, words), for help and documents."""


def actions_in(context: str) -> tuple[Action, ...]:
    """The actions of one context, in the order of the table."""
    return tuple(a for a in ACTIONS if a.context == context)


def key_words(key: str) -> str:
    """A key as it is written for people."""
    return KEY_WORDS.get(key, key)


def footer_actions(context: str, most: int = 5) -> tuple[Action, ...]:
    """The at most ``most`` entries of the footer: those of the context first; help comes last."""
    if context == "choosing":
        return tuple(sorted(actions_in(context), key=lambda a: a.rank))[:most]
    own = sorted((a for a in actions_in(context) if a.short and a.rank < 50), key=lambda a: a.rank)
    general = sorted((a for a in actions_in("bench") if a.short and a.name != "help"), key=lambda a: a.rank)
    elsewhere = [a for a in general if a.run != f"pane('{context}')"]
    if context not in ("switch", "lamp", "coil"):
        # On the way through causes and checks the grid is one key away; marks need the room.
        elsewhere.sort(key=lambda a: (a.name != "place", a.rank))
    help_action = next(a for a in ACTIONS if a.name == "help")
    return (*(own[: most - 1] + elsewhere)[: most - 1], help_action)


def help_rows(context: str = "") -> tuple[tuple[str, str, str], ...]:
    """Lines of the help: (title of the part or empty, keys, words); ``context`` comes first."""
    rows: list[tuple[str, str, str]] = []
    order = sorted(CONTEXT_TITLES, key=lambda c: (c != context, c != "bench"))
    for one in order:
        rows.append((CONTEXT_TITLES[one], "", ""))
        rows.extend(("", ", ".join(map(key_words, a.keys)), a.words) for a in actions_in(one))
    rows.append(("Moving", "", ""))
    rows.extend(("", keys, words) for keys, words in MOVES)
    return tuple(rows)


def actions_table() -> str:
    """The table of keys as Markdown, for the documents."""
    lines = ["| where | keys | what it does |", "| --- | --- | --- |"]
    for context, title in CONTEXT_TITLES.items():
        for action in actions_in(context):
            keys = ", ".join(f"`{key_words(key)}`" for key in action.keys)
            lines.append(f"| {title} | {keys} | {action.words} |")
    lines.extend(f"| Moving | {keys} | {words} |" for keys, words in MOVES)
    return "\n".join(lines) + "\n"
