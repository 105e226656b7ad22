"""The shape of the repository: rooms, top level, documents that tell of what is there."""

from __future__ import annotations

import os
import pkgutil
import re
import subprocess
import sys
from pathlib import Path

import pytest

import matrixdoc
from matrixdoc.cli.parser import build_parser

ROOT = Path(__file__).parents[1]
CORE = ("circuit", "faults", "checks", "diagnosis")
HEAVY = ("yaml", "pydantic", "textual", "platformdirs", "rich", "logging")
TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "LICENSE",
    "pyproject.toml",
    "matrixdoc",
    "machine_defs",
    "tests",
    "demo",
}


def modules(room: str) -> list[str]:
    """Every module of a room of the package."""
    folder = Path(matrixdoc.__path__[0]) / room
    return [f"matrixdoc.{room}", *(f"matrixdoc.{room}.{m.name}" for m in pkgutil.iter_modules([str(folder)]))]


def test_the_core_is_there() -> None:
    assert all(len(modules(room)) > 2 for room in CORE)


def test_importing_the_core_loads_no_files_schemas_or_screens() -> None:
    names = [name for room in CORE for name in modules(room)]
    code = f"import importlib, sys\nfor name in {names!r}: importlib.import_module(name)\n"
    # A standard module may come with numpy or networkx; what the core adds to them counts.
    code = f"import numpy, networkx, sys\nbefore = set(sys.modules)\n{code}"
    code += f"print(sorted((set(sys.modules) - before) & set({HEAVY!r})))\n"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.stderr == ""
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize("room", CORE)
def test_the_core_reads_no_clock_environment_or_chance(room: str) -> None:
    forbidden = re.compile(
        r"^\s*(?:import|from) (?:os|time|datetime|random|logging|locale|socket)\b", re.MULTILINE
    )
    for path in (Path(matrixdoc.__path__[0]) / room).glob("*.py"):
        assert not forbidden.findall(path.read_text(encoding="utf-8")), path.name


def committed() -> list[Path]:
    """Files of the repository, or, without git, those that its ignore list does not name."""
    command = ["git", "ls-files", "--cached", "--others", "--exclude-standard", "-z"]
    try:
        done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
        return [path for name in done.stdout.split("\0") if name and (path := ROOT / name).exists()]
    except (OSError, subprocess.CalledProcessError):
        ignored = {line.strip("/*") for line in (ROOT / ".gitignore").read_text().split()}
        top = [p for p in ROOT.iterdir() if not any(word in p.name for word in ignored)]
        return [f for p in top for f in ([p] if p.is_file() else p.rglob("*")) if f.is_file()]


def test_the_top_level_holds_exactly_what_it_should() -> None:
    names = {path.relative_to(ROOT).parts[0] for path in committed()}
    assert {name for name in names if not name.startswith(".")} == TOP_LEVEL
    assert {".ci", ".gitignore"} <= names
    assert os.access(ROOT / ".ci" / "run", os.X_OK)


def test_no_file_names_a_folder_of_one_computer() -> None:
    # Written in pieces, so that this file does not find itself.
    pattern = re.compile("/(?:" + "|".join(("wo" + "rk", "ro" + "ot", "ho" + "me", "Us" + "ers")) + ")/")
    for path in committed():
        if path.suffix in (".py", ".md", ".toml", ".yaml", ".txt", ".svg", "") and path.is_file():
            text = path.read_text(encoding="utf-8", errors="replace")
            found = pattern.search(text)
            assert found is None, f"{path.relative_to(ROOT)}: {text[max(0, found.start() - 40) :][:80]!r}"


def commands() -> dict[str, set[str]]:
    """Each command with its options."""
    for action in build_parser()._actions:
        if isinstance(action.choices, dict):
            return {name: set(parser._option_string_actions) for name, parser in action.choices.items()}
    raise AssertionError("the command line has no commands")


@pytest.mark.parametrize("document", ["README.md", "DEVELOPERS.md"])
def test_documents_tell_only_of_commands_and_files_that_are_there(document: str) -> None:
    text = (ROOT / document).read_text(encoding="utf-8")
    known = commands()
    code = re.findall(r"```.*?```|`[^`\n]+`", text, re.DOTALL)
    assert code
    for block in code:
        for line in block.strip("`").splitlines():
            match = re.search(r"(?:^|[\s/])matrixdoc ([a-z]+)\b(.*)", line)
            if match is None or match[1] == "bench":
                continue
            assert match[1] in known, line
            options = set(re.findall(r"(?<!\S)(--[a-z][a-z-]*)", match[2].split("#")[0]))
            assert options <= known[match[1]], line
        for name in re.findall(r"\b((?:demo|machine_defs|tests|matrixdoc)/[\w./-]*\w)", block):
            assert (ROOT / name).exists(), f"{document} names {name}"
    for target in re.findall(r"\]\((?!https?:|#)([^)#\s]+)", text):
        assert (ROOT / target).exists(), f"{document} links {target}"
