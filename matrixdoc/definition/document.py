"""Read the text of a definition: a small, strict part of YAML 1.2, with the place of every word.

What a person writes is mappings, lists and text. Everything else that YAML offers is refused with a
word about it: tags, anchors and aliases (so nothing can expand), merge keys, directives, several
documents in one file, keys that are not plain text. Every scalar stays text until a schema types
it: ``NO``, ``1:12`` and ``012`` are what was written (YAML 1.1 makes them false, 72 and 10). Only a
value that is not there at all is ``None``. Size, depth and number of values are bounded, so that
any text gives an answer quickly.

:func:`validate_model` types such a document with a pydantic model and puts every error at its line.
"""

from __future__ import annotations

import re
import stat
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeAlias, TypeVar, Union

import yaml

from matrixdoc.definition.errors import HIDDEN, InputError, Problem, printable, quoted, schema_misfits

if TYPE_CHECKING:
    from pydantic import BaseModel

Tree: TypeAlias = Union[str, list["Tree"], dict[str, "Tree"], None]  # noqa: UP007 - names itself
DocumentPath: TypeAlias = tuple[str | int, ...]
Position: TypeAlias = tuple[int, int]
Model = TypeVar("Model", bound="BaseModel")

MAXIMUM_BYTES = 4_000_000
MAXIMUM_DEPTH = 40
MAXIMUM_VALUES = 200_000
MAXIMUM_SCALAR = 20_000
MAXIMUM_PROBLEMS = 200
MAXIMUM_SCHEMA_ERRORS = 2_000

_LINE_END = re.compile(r"\r\n|\r|\n")
_DIRECTIVE = re.compile(r"^%(?!YAML[ \t]+1\.[12][ \t]*(?:#.*)?$)", re.MULTILINE)
_ANY_CUT_NUMBER = re.compile(r"[ \t]#\d")
_CUT_NUMBER = re.compile(r"[ \t]+#\d\S{,20}")
_STRING_TAGS = (None, "!", "tag:yaml.org,2002:str")
_SAVED_AS = (
    (b"\xff\xfe\x00\x00", "UTF-32"),
    (b"\x00\x00\xfe\xff", "UTF-32"),
    (b"\xff\xfe", "UTF-16"),
    (b"\xfe\xff", "UTF-16"),
)
# The parser written in C is ten times faster; the one in Python knows the same language.
_LOADER: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
_Event: TypeAlias = Any  # the classes of pyyaml's events share no typed attributes


def path_words(path: Sequence[str | int]) -> str:
    """``("switch matrix", "columns", 2)`` as ``switch matrix > columns > entry 3``."""
    return " > ".join(f"entry {step + 1}" if isinstance(step, int) else step for step in path)


@dataclass(frozen=True)
class Document:
    """The text of one source as nested dicts and lists of text, and where each piece stands.

    ``positions`` maps the path of a value (keys, and list indexes from 0) to its line and column,
    both from 1; ``key_positions`` does the same for the key in front of a value.
    """

    source: str
    tree: Tree
    positions: Mapping[DocumentPath, Position] = field(default_factory=dict, repr=False)
    key_positions: Mapping[DocumentPath, Position] = field(default_factory=dict, repr=False)

    def position(self, path: Sequence[str | int], *, key: bool = False) -> Position:
        """Line and column of the value (or the key) at ``path``, or of what is nearest around it."""
        wanted = tuple(path)
        if key and wanted in self.key_positions:
            return self.key_positions[wanted]
        while wanted and wanted not in self.positions:
            wanted = wanted[:-1]
        return self.positions.get(wanted, (0, 0))

    def problem(
        self, path: Sequence[str | int], found: str, expected: str, suggestion: str = "", *, key: bool = False
    ) -> Problem:
        """A problem at ``path`` of this document (at its key, if ``key``)."""
        line, column = self.position(path, key=key)
        return Problem(self.source, line, column, path_words(path), found, expected, suggestion)


# -- text ------------------------------------------------------------------------------------------


def read_text(path: str | Path) -> str:
    """The text of the file at ``path``, without a byte order mark.

    Raises:
        InputError: the file is missing, no plain file, unreadable, too large, or not UTF-8 text.
    """
    source = str(path)
    try:
        # A named pipe or a device would never end: look before opening.
        kind = Path(path).stat()
        if stat.S_ISDIR(kind.st_mode):
            raise _file_error(source, "a folder", "the name of a file in it")
        if not stat.S_ISREG(kind.st_mode):
            raise _file_error(source, "no plain file", "a file of text")
        with Path(path).open("rb") as file:
            content = file.read(MAXIMUM_BYTES + 1)
    except FileNotFoundError:
        raise _file_error(source, "no such file", "the name of a file that is there") from None
    except PermissionError:
        raise _file_error(source, "a file that may not be read", "permission to read it") from None
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise _file_error(source, printable(reason), "a file that can be read") from None
    return decode_text(content, source)


def decode_text(text: str | bytes, source: str) -> str:
    """``text`` as UTF-8 text of bounded size, without characters that hide or change what is shown.

    Raises:
        InputError: too large, another encoding, or up to 20 places of hidden characters.
    """
    if len(text) > MAXIMUM_BYTES:
        megabytes = MAXIMUM_BYTES // 1_000_000
        raise _file_error(source, "a very large file", f"at most {megabytes} megabytes of text")
    if isinstance(text, bytes):
        text = _decode(text, source)
    text = text.removeprefix("\ufeff")
    hidden = [match.start() for match, _ in zip(HIDDEN.finditer(text), range(20), strict=False)]
    if hidden:
        raise InputError(_hidden_problem(source, text, at) for at in hidden)
    return text


def _decode(content: bytes, source: str) -> str:
    for mark, name in _SAVED_AS:
        if content.startswith(mark):
            raise _file_error(source, f"text saved as {name}", "text saved as UTF-8")
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError as error:
        before = content[: error.start].decode("utf-8")
        found = f"a byte that is no UTF-8 (0x{content[error.start]:02x})"
        line, column = _place(before, len(before))
        raise InputError([Problem(source, line, column, "", found, "text saved as UTF-8")]) from None


def _hidden_problem(source: str, text: str, at: int) -> Problem:
    line, column = _place(text, at)
    hint = "the file may be saved as UTF-16, or not be text at all" if text[at] == "\0" else ""
    found = f"a hidden character (U+{ord(text[at]):04X})"
    return Problem(source, line, column, "", found, "plain text, tabs and line ends", hint)


def _place(text: str, at: int) -> Position:
    """Line and column, from 1, of the character with index ``at``."""
    ends = [match.end() for match in _LINE_END.finditer(text, 0, at)]
    return len(ends) + 1, min(at, len(text)) - (ends[-1] if ends else 0) + 1


def _file_error(source: str, found: str, expected: str) -> InputError:
    return InputError([Problem(source, 0, 0, "", found, expected)])


# -- YAML ------------------------------------------------------------------------------------------


def read_document(path: str | Path) -> Document:
    """The document in the file at ``path``.

    Raises:
        InputError: as :func:`read_text` and :func:`load_document`.
    """
    return load_document(read_text(path), str(path))


def load_document(text: str | bytes, source: str) -> Document:
    """The document written in ``text``; ``source`` is its name in messages.

    Raises:
        InputError: anything the subset of YAML described above does not hold. What can be told
            apart (doubled keys, tags, aliases) is reported all at once; a syntax error ends it.
    """
    text = decode_text(text, source)
    directive = _DIRECTIVE.search(text)
    if directive:
        # Thousands of %TAG lines would take the parser quadratic time.
        line, column = _place(text, directive.start())
        hint = "put text that starts with '%' in quotes"
        raise InputError([Problem(source, line, column, "", "a line that starts with '%'", "a key", hint)])
    builder = _Builder(source, text)
    builder.build()
    if builder.problems:
        raise InputError(builder.problems)
    return Document(source, builder.tree, builder.positions, builder.key_positions)


class _Stop(Exception):  # noqa: N818 - ends the reading, is no error by itself
    """Nothing sensible can be read after this."""


class _Frame:
    """An open mapping or list; ``key`` is the key read last, while its value is still to come."""

    __slots__ = ("container", "key", "path")

    def __init__(self, container: list[Tree] | dict[str, Tree], path: DocumentPath) -> None:
        self.container = container
        self.path = path
        self.key: str | None = None


class _Builder:
    """Builds the tree from parser events, without recursion."""

    def __init__(self, source: str, text: str) -> None:
        self.source = source
        self.text = text
        self.lines: list[str] | None = None
        self.cut_numbers = _ANY_CUT_NUMBER.search(text) is not None
        self.tree: Tree = None
        self.documents = 0
        self.values = 0
        self.stack: list[_Frame] = []
        self.positions: dict[DocumentPath, Position] = {}
        self.key_positions: dict[DocumentPath, Position] = {}
        self.problems: list[Problem] = []

    def build(self) -> None:
        try:
            parser = _LOADER(self.text)
            try:
                self._read(parser.get_event)
            finally:
                parser.dispose()
        except _Stop:
            pass
        except yaml.YAMLError as error:
            self._syntax(error)

    def _read(self, next_event: Callable[[], _Event | None]) -> None:
        event = next_event()
        while event is not None:
            kind = type(event)
            if kind is yaml.ScalarEvent:
                self._scalar(event)
            elif kind is yaml.MappingStartEvent:
                self._open(event, {})
            elif kind is yaml.SequenceStartEvent:
                self._open(event, [])
            elif kind is yaml.MappingEndEvent or kind is yaml.SequenceEndEvent:
                self.stack.pop()
            else:
                self._other(event)
            event = next_event()
        if not self.documents:
            self._add(1, 1, "", "an empty file", "keys and values")

    def _other(self, event: _Event) -> None:
        if isinstance(event, yaml.AliasEvent):
            hint = f"write the text out; in front of plain text, quote it: '*{printable(event.anchor, 40)}'"
            self._complain(event, f"an alias (*{printable(event.anchor, 40)})", "the value itself", hint)
            self._attach("", event)
        elif isinstance(event, yaml.DocumentStartEvent):
            self.documents += 1
            if self.documents > 1:
                self._complain(event, "a second document ('---')", "one document in one file")
                raise _Stop

    def _scalar(self, event: _Event) -> None:
        value: str = event.value
        plain = event.implicit[0]
        if event.anchor is not None or event.tag is not None:
            self._refuse_marks(event)
        if len(value) > MAXIMUM_SCALAR:
            self._complain(event, f"a text of {len(value)} characters", f"at most {MAXIMUM_SCALAR}")
        hidden = None if plain else HIDDEN.search(value)
        if hidden:
            found = f"a hidden character (U+{ord(hidden[0]):04X})"
            self._complain(event, found, "text without control characters")
        if plain and self.cut_numbers:
            self._refuse_cut_number(event)
        self._attach(None if plain and not value and event.tag is None else value, event)

    def _open(self, event: _Event, container: list[Tree] | dict[str, Tree]) -> None:
        if event.anchor is not None or event.tag is not None:
            self._refuse_marks(event)
        path = self._attach(container, event)
        if len(self.stack) >= MAXIMUM_DEPTH:
            self._complain(event, "brackets or indents in each other", f"at most {MAXIMUM_DEPTH} levels")
            raise _Stop
        self.stack.append(_Frame(container, path))

    def _attach(self, value: Tree, event: _Event) -> DocumentPath:
        """Put ``value`` where it belongs (or keep it as the next key) and give its path."""
        self.values += 1
        if self.values > MAXIMUM_VALUES:
            self._complain(event, "more values than any machine has", f"at most {MAXIMUM_VALUES}")
            raise _Stop
        mark = event.start_mark
        if not self.stack:
            self.tree = value
            path: DocumentPath = ()
        else:
            frame = self.stack[-1]
            container = frame.container
            if isinstance(container, list):
                path = (*frame.path, len(container))
                container.append(value)
            elif frame.key is None:
                return self._key(frame, container, value, event)
            else:
                path = (*frame.path, frame.key)
                container[frame.key] = value
                frame.key = None
        self.positions[path] = (mark.line + 1, mark.column + 1)
        return path

    def _key(self, frame: _Frame, container: dict[str, Tree], value: Tree, event: _Event) -> DocumentPath:
        if not isinstance(value, str):
            hint = "put text that starts with '{' or '[' in quotes" if value is not None else ""
            self._complain(event, "a key that is no plain text", "a word, then ':'", hint)
            value = "?"
        elif value == "<<" and event.implicit[0]:
            self._complain(event, "a merge key ('<<')", "the keys themselves, written out")
        path = (*frame.path, value)
        position = (event.start_mark.line + 1, event.start_mark.column + 1)
        if value in container:
            line, _ = self.key_positions[path]
            expected = f"each key once; it stands on line {line} already"
            self._add(*position, path_words(path), f"the key {quoted(value)} again", expected)
        frame.key = value
        # The first of two equal keys keeps its place, so that a third one points there too.
        self.key_positions.setdefault(path, position)
        return path

    def _refuse_marks(self, event: _Event) -> None:
        if event.anchor is not None:
            name = printable(event.anchor, 40)
            hint = f"in front of plain text, quote it: '&{name}'"
            self._complain(event, f"an anchor (&{name})", "the value itself", hint)
        allowed = _STRING_TAGS if isinstance(event, yaml.ScalarEvent) else (None,)
        if event.tag not in allowed:
            hint = "put text that starts with '!' in quotes"
            self._complain(event, f"a tag ({printable(event.tag, 40)})", "plain text", hint)

    def _refuse_cut_number(self, event: _Event) -> None:
        """``lamp: type #47`` would lose its number, since ``#`` after a space starts a remark."""
        if self.lines is None:
            self.lines = _LINE_END.split(self.text)
        mark = event.end_mark
        cut = _CUT_NUMBER.match(self.lines[mark.line], mark.column) if mark.line < len(self.lines) else None
        if cut:
            hint = "put text that holds '#' in quotes; a remark starts with '# '"
            found = f"{quoted(event.value)} followed by '{cut[0].strip()}', which would be lost"
            self._complain(event, found, "text without ' #'", hint)

    def _complain(self, event: _Event, found: str, expected: str, suggestion: str = "") -> None:
        """A problem at the start of ``event``, below the keys that are open."""
        steps: list[str | int] = []
        if self.stack:
            frame = self.stack[-1]
            last = len(frame.container) if isinstance(frame.container, list) else frame.key
            steps = [*frame.path] if last is None else [*frame.path, last]
        mark = event.start_mark
        self._add(mark.line + 1, mark.column + 1, path_words(steps), found, expected, suggestion)

    def _add(
        self, line: int, column: int, path: str, found: str, expected: str, suggestion: str = ""
    ) -> None:
        self.problems.append(Problem(self.source, line, column, path, found, expected, suggestion))
        if len(self.problems) >= MAXIMUM_PROBLEMS:
            raise _Stop

    def _syntax(self, error: yaml.YAMLError) -> None:
        """A syntax error of the parser in words that name the cure."""
        mark = getattr(error, "problem_mark", None)
        opened = getattr(error, "context_mark", None)
        said = str(getattr(error, "problem", None) or error)
        context = str(getattr(error, "context", None) or "")
        if opened is not None and "quoted" in context and "end of stream" in said:
            # The parser stops at the end of the file; what the person can mend is at the start.
            mark = opened
        line, column = (mark.line, mark.column) if mark is not None else (0, 0)
        all_lines = _LINE_END.split(self.text)
        text = all_lines[line] if line < len(all_lines) else ""
        found = quoted(text.strip()) if text.strip() else "the end of the block or file"
        expected, hint = _syntax_words(said, text[column : column + 1])
        if opened is not None and opened.line != line and "flow" in context:
            hint = f"the bracket that is not closed stands on line {opened.line + 1}"
        path = path_words(self.stack[-1].path) if self.stack else ""
        self.problems.append(Problem(self.source, line + 1, column + 1, path, found, expected, hint))


_SYNTAX = (
    ("mapping values are not allowed", "one 'key: value' in a line", "put text that holds ': ' in quotes"),
    ("could not find expected ':'", "a ':' and a space after the key", ""),
    ("did not find expected ',' or ']'", "',' or the closing ']'", ""),
    ("did not find expected ',' or '}'", "',' or the closing '}'", ""),
    ("found unexpected end of stream", "the closing quote", ""),
    ("unexpected end of stream", "the closing quote", ""),
    ("did not find expected key", "a key, indented like its neighbours", "a list needs a key of its own"),
    ("did not find expected '-' indicator", "'- ' and an entry, indented like its neighbours", ""),
    ("did not find expected <document start>", "keys, all indented like the first", ""),
    ("did not find expected node content", "a value", "quote text that starts with a bracket or comma"),
    ("exceeded maximum nesting depth", f"at most {MAXIMUM_DEPTH} levels in each other", ""),
    ("found unknown escape character", "a known escape after '\\'", "in single quotes '\\' is only itself"),
)  # fmt: skip


def _syntax_words(said: str, character: str) -> tuple[str, str]:
    """What was expected, and a hint, for the parser's message ``said``."""
    if "tab" in said or ("cannot start any token" in said and character == "\t"):
        return "spaces in front of the text, not tabs", ""
    if "cannot start any token" in said:
        return "a value", f"put text that starts with '{printable(character)}' in quotes"
    for start, expected, hint in _SYNTAX:
        if said.startswith(start):
            return expected, hint
    return "text that can be read as keys and values", printable(said, 120)


# -- schemas ---------------------------------------------------------------------------------------


def validate_model(document: Document, model: type[Model]) -> Model:
    """``document`` typed by the pydantic model class ``model``.

    Raises:
        InputError: every error of the schema at once, each with its line, its path, what was
            found, what was expected, and the near miss for a mistyped key or word.
    """
    # Only now: an import of pydantic costs more than reading a definition.
    from pydantic import ValidationError

    try:
        return model.model_validate(document.tree)
    except ValidationError as error:
        details = error.errors(include_url=False)[:MAXIMUM_SCHEMA_ERRORS]
    problems = [
        document.problem(misfit.path, misfit.found, misfit.expected, misfit.suggestion, key=misfit.at_key)
        for misfit in schema_misfits(details, document.tree, model)
    ]
    raise InputError(sorted(dict.fromkeys(problems), key=lambda p: (p.line, p.column)))
