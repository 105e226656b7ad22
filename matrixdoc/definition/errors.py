"""Every error that a person at the bench may see, as one tree.

::

    MatrixdocError                 what is wrong, where, and what would be right
    └── InputError (a ValueError)  text that a person gave: a definition, a chart, a reading

Later rooms hang their own errors below :class:`MatrixdocError`. A front end catches that one class
and shows ``str(error)``: it holds no control characters, whatever the input held.

:class:`InputError` is a ``ValueError`` too, so that a pydantic validator may call a parser of
:mod:`matrixdoc.definition.numbers` and let it speak.
"""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from types import UnionType
from typing import Any, Literal, Union, get_args, get_origin

SHOWN_PROBLEMS = 20
FIELD_LIMIT = 240

HIDDEN = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ud800-\udfff\ufeff\ufffe\uffff]"
)
"""Characters refused in any input: they show nothing, or change what is shown after them (terminal
escapes, reversed writing, foreign line breaks, halves of characters). Tab and line ends are fine."""

_SHORT_ESCAPES = {"\n": "\\n", "\r": "\\r", "\t": "\\t"}


class MatrixdocError(Exception):
    """Anything that a person at the bench can put right. Its text is fit to be shown."""


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong with one piece of input.

    ``source`` names the file (or what else it came from); ``line`` and ``column`` count from 1, and
    0 means "not known" or "does not apply". ``path`` is the place in the document, such as
    ``switch matrix > columns > C3 > wire``, or the cell of a chart. ``found`` and ``expected`` are
    words; ``suggestion`` is a hint in words, often the near miss.
    """

    source: str
    line: int
    column: int
    path: str
    found: str
    expected: str
    suggestion: str = ""

    def __str__(self) -> str:
        """One printable line: ``source:line:column: path: found X; expected Y; suggestion``."""
        place = ":".join([self.source or "input", *(str(n) for n in (self.line, self.column) if n > 0)])
        places = [place] if self.source or self.line > 0 else []
        said = [f"found {self.found}"] if self.found else []
        said += [f"expected {self.expected}"] if self.expected else []
        said += [self.suggestion] if self.suggestion else []
        parts = [*places, *([self.path] if self.path else [])]
        return ": ".join([*(printable(p, FIELD_LIMIT) for p in parts), "; ".join(_shorten(s) for s in said)])


class InputError(MatrixdocError, ValueError):
    """Text from a person that cannot be used, with everything that is wrong with it.

    ``problems`` is never empty and is in the order of the input.
    """

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems: tuple[Problem, ...] = tuple(problems)
        super().__init__(self.problems)

    def __str__(self) -> str:
        """One line for each of the first 20 problems, then how many more there are."""
        lines = [str(problem) for problem in self.problems[:SHOWN_PROBLEMS]]
        more = len(self.problems) - SHOWN_PROBLEMS
        if more > 0:
            lines.append(f"... and {more} more problem{'s' if more > 1 else ''}")
        return "\n".join(lines)


def refusal(text: object, expected: str, suggestion: str = "", found: str = "") -> InputError:
    """An :class:`InputError` about one piece of text whose place is not known here.

    ``found`` replaces the quoted ``text`` where more is to be said about it.
    """
    return InputError([Problem("", 0, 0, "", found or quoted(text), expected, suggestion)])


def printable(text: object, limit: int = 80) -> str:
    r"""``text`` made safe to print on one line, at most ``limit`` characters long.

    Control characters, terminal escapes, line ends, direction marks, unassigned and private
    characters are written as escapes (``\n``, ``\x1b``, ``\u202e``); longer text ends in ``...``.
    Text that is already printable and short enough is returned unchanged.
    """
    whole = text if isinstance(text, str) else str(text)
    head = whole[: limit + 1]
    shown = head if head.isascii() and head.isprintable() else "".join(map(_visible, head))
    if len(shown) <= limit:
        return shown
    return shown[: max(limit - 3, 0)] + "..."[:limit]


def quoted(text: object, limit: int = 60) -> str:
    """What was found, in words: ``nothing``, or the printable text between single quotes."""
    if text is None or text == "":
        return "nothing"
    return f"'{printable(text, limit)}'"


def near_miss(word: str, allowed: Iterable[str]) -> str:
    """``did you mean 'x'?`` for the allowed word closest to ``word``, or an empty string."""
    by_lower = {name.lower(): name for name in allowed}
    close = difflib.get_close_matches(word[:64].strip().lower(), list(by_lower), n=1, cutoff=0.6)
    return f"did you mean '{printable(by_lower[close[0]])}'?" if close else ""


def choice(names: Sequence[str], limit: int = 160) -> str:
    """``a, b or c``; what does not fit into ``limit`` characters is counted instead of listed.

    Names that hold commas stand between quotes, all of them.
    """
    if any(", " in name for name in names):
        names = [quoted(name, limit) for name in names]
    shown: list[str] = []
    for name in names:
        if shown and sum(len(s) + 2 for s in shown) + len(name) > limit:
            return f"{', '.join(shown)} or {len(names) - len(shown)} more"
        shown.append(printable(name, limit))
    return " or ".join([", ".join(shown[:-1]), shown[-1]] if len(shown) > 1 else shown)


def _shorten(words: str) -> str:
    return printable(words, FIELD_LIMIT)


def _visible(character: str) -> str:
    """``character`` itself, or an escape that names it."""
    if character in _SHORT_ESCAPES:
        return _SHORT_ESCAPES[character]
    if unicodedata.category(character)[0] not in "CZ" or character == " ":
        return character
    if unicodedata.category(character) == "Zs":
        return " "
    number = ord(character)
    if number < 0x100:
        return f"\\x{number:02x}"
    return f"\\u{number:04x}" if number < 0x10000 else f"\\U{number:08x}"


# -- errors of a schema, in words ------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Misfit:
    """One thing in a document that its schema does not allow; see :func:`schema_misfits`.

    ``path`` leads to it through the document; ``at_key`` says that its key is meant, not its value.
    """

    path: tuple[str | int, ...]
    found: str
    expected: str
    suggestion: str = ""
    at_key: bool = False


def schema_misfits(details: Iterable[Mapping[str, Any]], tree: object, model: type) -> list[Misfit]:
    """The errors that pydantic lists (``ValidationError.errors()``) in the words of the bench.

    ``tree`` is what was validated, ``model`` the class of the schema. Where a value may be one of
    several things, only the errors of the one that was meant are told.
    """
    located = [_Located.of(detail, tree, model) for detail in details]
    return [misfit for error in _of_meant_members(located, 0) for misfit in _misfits(error)]


@dataclass(frozen=True)
class _Located:
    """One error of pydantic with its location taken apart.

    ``steps`` is the location as pairs (element, is it a member): pydantic puts the name of a member
    of a union into a location, which is no step in the document. ``path`` is the location without
    them. ``members`` are the types that the schema allows around the last step. ``value`` is what
    stands there; ``others`` are the errors of further members of a union at the same place.
    """

    detail: Mapping[str, Any]
    steps: tuple[tuple[str | int, bool], ...]
    path: tuple[str | int, ...]
    members: tuple[Any, ...]
    value: object
    others: tuple[_Located, ...] = ()

    @classmethod
    def of(cls, detail: Mapping[str, Any], tree: object, model: type) -> _Located:
        location: tuple[str | int, ...] = detail["loc"]
        steps: list[tuple[str | int, bool]] = []
        around = members = _members(model)
        node, real = tree, True
        for index, element in enumerate(location):
            in_tree = real and (
                (isinstance(node, dict) and element in node)
                or (isinstance(node, list) and isinstance(element, int) and element < len(node))
            )
            # A validator may have made a block of keys from a short form: its steps are not in the tree.
            known = isinstance(element, int) or any(element in _fields(m) for m in members)
            last_missing = detail["type"] == "missing" and index == len(location) - 1
            if in_tree or known or last_missing:
                steps.append((element, False))
                node = node[element] if in_tree else None  # type: ignore[index]
                real = real and in_tree
                around, members = members, [inner for m in members for inner in _inner(m, element)]
            else:
                steps.append((element, True))
                members = [m for m in members if element in _names(m)] or members
        path = tuple(element for element, is_member in steps if not is_member)
        return cls(detail, tuple(steps), path, tuple(around), node if real else detail.get("input"))

    def fails_as_a_whole(self, member: int) -> bool:
        """Whether it says no more than that the value is something else than this member."""
        inside = any(not is_member for _, is_member in self.steps[member + 1 :])
        return not inside and self.detail["type"] not in ("value_error", "assertion_error")


def _of_meant_members(errors: Sequence[_Located], start: int) -> list[_Located]:
    """Of each union only the errors of the member that was meant, as far as one can tell.

    That is the member that fails at a detail instead of as a whole, then the one with the fewest
    errors. Where all fail as a whole, one error is left, with all expectations.
    """
    kept: list[_Located] = []
    unions: dict[tuple[object, ...], dict[str | int, list[_Located]]] = {}
    for error in errors:
        marks = (i for i, (name, is_member) in enumerate(error.steps) if is_member and name != "[key]")
        at = next((i for i in marks if i >= start), None)
        if at is None:
            kept.append(error)
        else:
            unions.setdefault(error.steps[:at], {}).setdefault(error.steps[at][0], []).append(error)
    for place, by_member in unions.items():
        at = len(place)
        reduced = [_of_meant_members(some, at + 1) for some in by_member.values()]
        meant = [some for some in reduced if not any(error.fails_as_a_whole(at) for error in some)]
        if meant:
            best: list[_Located] = min(meant, key=len)
            kept.extend(best)
        else:
            first, *others = [e for some in reduced for e in some if e.fails_as_a_whole(at)]
            kept.append(replace(first, others=tuple(others)))
    return kept


def _misfits(error: _Located) -> list[Misfit]:
    """What one error stands for: several, where a validator had several problems to tell."""
    kind, context = error.detail["type"], error.detail.get("ctx") or {}
    path, value = error.path, error.value
    refused = context.get("error")
    if isinstance(refused, InputError):
        return [Misfit(path, p.found, p.expected, p.suggestion) for p in refused.problems]
    if kind == "missing":
        last = path[-1]
        words = f"entry {last + 1}" if isinstance(last, int) else quoted(last)
        expected = words if isinstance(last, int) else f"the key {words}"
        return [Misfit(path[:-1], f"no {words}", expected, at_key=True)]
    if kind == "extra_forbidden" and path:
        names = list(dict.fromkeys(name for member in error.members for name in _keys(member)))
        hint = near_miss(str(path[-1]), names)
        found, expected = f"the key {quoted(path[-1])}", choice(names) or "a known key"
        return [Misfit(path, found, expected, hint, at_key=True)]
    at_key = bool(path) and error.steps[-1] == ("[key]", True)
    if at_key:
        value = path[-1]
    elif kind == "union_tag_invalid":
        path, value = (*path, str(context["discriminator"]).strip("'")), str(context["tag"])
    wanted = [_expected(some.detail) for some in (error, *error.others)]
    hint = near_miss(value, [name for _, names in wanted for name in names]) if isinstance(value, str) else ""
    if all(names for _, names in wanted):
        expected = choice(list(dict.fromkeys(name for _, names in wanted for name in names)))
    else:
        expected = " or ".join(dict.fromkeys(words for words, _ in wanted))
    found = f"the key {quoted(value)}" if at_key else _value_words(value)
    return [Misfit(path, found, expected, hint, at_key)]


def _value_words(value: object) -> str:
    if isinstance(value, dict):
        return f"keys ({choice([str(key) for key in value], 40)})" if value else "an empty pair of braces"
    return "a list" if isinstance(value, (list, tuple)) else quoted(value)


_EXPECTED = {
    "string_type": "text",
    "int_type": "a whole number",
    "int_parsing": "a whole number",
    "int_parsing_size": "a smaller whole number",
    "int_from_float": "a whole number",
    "float_type": "a number",
    "float_parsing": "a number",
    "finite_number": "a finite number",
    "bool_type": "yes or no",
    "bool_parsing": "yes or no",
    "dict_type": "keys and values",
    "mapping_type": "keys and values",
    "model_type": "keys and values",
    "model_attributes_type": "keys and values",
    "list_type": "a list",
    "tuple_type": "a list",
    "set_type": "a list",
    "frozen_set_type": "a list",
    "iterable_type": "a list",
    "none_required": "nothing",
    "greater_than": "more than {gt}",
    "greater_than_equal": "{ge} or more",
    "less_than": "less than {lt}",
    "less_than_equal": "{le} or less",
    "multiple_of": "a multiple of {multiple_of}",
    "string_too_short": "at least {min_length} characters",
    "string_too_long": "at most {max_length} characters",
    "string_pattern_mismatch": "text of the form {pattern}",
    "too_short": "at least {min_length} entries",
    "too_long": "at most {max_length} entries",
    "union_tag_not_found": "the key {discriminator}",
}
"""What an error type of pydantic expects, in words; the braces are its context values."""


def _expected(detail: Mapping[str, Any]) -> tuple[str, list[str]]:
    """What was expected, in words, and the words that were allowed, if they are a fixed set."""
    kind, context = detail["type"], detail.get("ctx") or {}
    if kind in ("literal_error", "enum", "union_tag_invalid"):
        listed = str(context.get("expected", context.get("expected_tags", "")))
        names = [name for name in re.findall(r"'([^']*)'", listed) if name]
        return (choice(names) if names else listed), names
    if kind in ("value_error", "assertion_error") and "error" in context:
        return str(context["error"]) or "another value", []
    if kind in _EXPECTED:
        plain = {name: f"{v:g}" if isinstance(v, float) else v for name, v in context.items()}
        return _EXPECTED[kind].format_map(plain), []
    return str(detail["msg"]).removeprefix("Input should be "), []


# The shape of a schema, without importing pydantic here: the core imports this module too.


def _members(annotation: Any) -> list[Any]:  # noqa: ANN401 - any annotation at all
    """``annotation`` without its wrapping, taken apart if it is a union."""
    annotation = getattr(annotation, "__value__", annotation)
    if hasattr(annotation, "__metadata__"):
        return _members(annotation.__origin__)
    if get_origin(annotation) in (Union, UnionType):
        return [member for part in get_args(annotation) for member in _members(part)]
    return [annotation]


def _fields(member: Any) -> Mapping[str, Any]:  # noqa: ANN401 - any annotation at all
    fields = getattr(member, "model_fields", None)
    if not isinstance(fields, Mapping):
        return {}
    keys = {f.alias if isinstance(f.alias, str) else name: f for name, f in fields.items()}
    return {**keys, **fields}


def _keys(member: Any) -> list[str]:  # noqa: ANN401 - any annotation at all
    """The keys that a person may write in ``member``."""
    return [name for name, f in _fields(member).items() if f.alias in (None, name)]


def _names(member: Any) -> set[object]:  # noqa: ANN401 - any annotation at all
    """What pydantic may call ``member`` in a location: its name, or the tag that picks it."""
    tags = (get_args(f.annotation) for f in _fields(member).values() if get_origin(f.annotation) is Literal)
    return {getattr(member, "__name__", None), *(tag for some in tags for tag in some)}


def _inner(member: Any, element: str | int) -> list[Any]:  # noqa: ANN401 - any annotation at all
    """The types that ``member`` allows for its key or entry ``element``."""
    if element in _fields(member):
        return _members(_fields(member)[str(element)].annotation)
    arguments = get_args(member)
    if len(arguments) > 1 and get_origin(member) is tuple and arguments[-1] is not Ellipsis:
        arguments = arguments[int(element) :] if isinstance(element, int) else ()
    elif get_origin(member) is not tuple:
        arguments = arguments[-1:]
    return [inner for part in arguments[:1] for inner in _members(part)]
