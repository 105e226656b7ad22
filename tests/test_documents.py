"""The documents against the program: commands run, files exist, examples load, shown output is real."""

from __future__ import annotations

import re
import shlex
import shutil
from functools import cache
from pathlib import Path

import pytest
import yaml

from matrixdoc.case.report import read_report, resolve_report
from matrixdoc.cli.main import main
from matrixdoc.definition.library import load_machine, machine_from_text
from matrixdoc.definition.references import is_reference
from matrixdoc.definition.schema import machine_schema
from matrixdoc.definition.styles import load_styles
from matrixdoc.definition.wiring import Wiring
from matrixdoc.diagnosis.settings import Settings

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
DOCUMENTS = {"README.md": README, "DEVELOPERS.md": DEVELOPERS}
FENCE = re.compile(r"^```(\w*)\n(.*?)^```", re.MULTILINE | re.DOTALL)
PATH = re.compile(
    r"(?:\.ci|demo|machine_defs|matrixdoc|tests)/[\w./*-]*|README\.md|DEVELOPERS\.md|pyproject\.toml"
)
NEEDS_A_TERMINAL = ("bench",)


def fences(text: str, language: str) -> list[str]:
    return [body for kind, body in FENCE.findall(text) if kind == language]


def examples() -> dict[str, str]:
    """YAML examples of the README by the file name in their first line."""
    found = {}
    for body in fences(README, "yaml"):
        named = re.match(r"# (\w+\.yaml)\n", body)
        assert named is not None, f"an example without a file name: {body[:60]!r}"
        found[named[1]] = body
    return found


def machines() -> list[str]:
    return [name for name, body in examples().items() if "matrices:" in body]


def command_lines() -> list[str]:
    """Every line of the README that starts with the program, and the last link of each longer chain."""
    lines = [line for body in fences(README, "sh") for line in body.splitlines()]
    lines += [body.splitlines()[0].removeprefix("$ ") for body in fences(README, "console")]
    found = [line.split("&&")[-1].strip().removeprefix(".venv/bin/") for line in lines]
    return list(dict.fromkeys(line for line in found if line.startswith("matrixdoc ")))


@pytest.fixture
def beside_the_readme(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with the demo and the README's examples in it, as the current one."""
    shutil.copytree(ROOT / "demo", tmp_path / "demo")
    for name, body in examples().items():
        (tmp_path / name).write_text(body, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_the_readme_begins_with_the_job_and_two_commands() -> None:
    first = README.split("\n\n")[1]
    assert not first.startswith(("#", "!", "```", "["))
    assert len(first.split()) > 60
    shell = fences(README, "sh")
    assert all(body.startswith("python3 -m venv ") and len(body.splitlines()) == 1 for body in shell[:2])
    assert " diagnose lantern_quay demo/" in shell[0]


def test_the_checks_run_the_same_test_command() -> None:
    assert fences(README, "sh")[1].rstrip().endswith("&& python -m pytest")
    checks = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert re.search(r'^(?:tool pytest|"\$python" -m pytest|python -m pytest)$', checks, re.MULTILINE)


def test_enough_commands_are_shown() -> None:
    shown = {shlex.split(line)[1] for line in command_lines()}
    expected = {"bench", "chart", "diagnose", "path", "schema", "show", "simulate", "spice", "validate"}
    assert expected <= shown


@pytest.mark.usefixtures("beside_the_readme")
@pytest.mark.parametrize("line", command_lines())
def test_every_command_line_of_the_readme_runs(line: str, capsys: pytest.CaptureFixture[str]) -> None:
    words = shlex.split(line)[1:]
    if words[0] in NEEDS_A_TERMINAL:
        # What the screen would open must be there; the screen itself has tests of its own.
        load_machine(words[1])
        assert all(Path(word).is_file() for word in words if word.endswith(".yaml"))
        return
    assert main(words) == 0
    assert capsys.readouterr().out


def plain(text: str) -> str:
    """Words alone: numbers shift with the catalogue, and with them the line breaks."""
    return " ".join(re.sub(r"\d+(?:\.\d+)?", "#", text).split())


@pytest.mark.usefixtures("beside_the_readme")
@pytest.mark.parametrize("body", fences(README, "console"), ids=lambda body: body.splitlines()[0][2:40])
def test_the_output_shown_is_what_comes(body: str, capsys: pytest.CaptureFixture[str]) -> None:
    command, _, shown = body.partition("\n")
    assert main(shlex.split(command)[2:]) == 0
    seen = plain(capsys.readouterr().out)
    for piece in re.split(r"^\.\.\.$", shown, flags=re.MULTILINE):
        assert plain(piece) in seen


@pytest.mark.parametrize("name", machines())
def test_the_machine_examples_are_sound(name: str) -> None:
    wiring = machine_from_text(examples()[name], name)
    assert wiring.parts
    assert all(is_reference(part) for part in wiring.parts)


def test_the_full_example_states_what_the_small_one_assumes() -> None:
    small, full = (machine_from_text(examples()[name], name) for name in machines())
    assert small.title == full.title
    assert set(small.switches) <= set(full.switches)
    assert set(small.coils) <= set(full.coils)

    def assumed(wiring: Wiring) -> float:
        origins = [part.origin for part in wiring.parts.values()]
        return origins.count("assumed") / len(origins)

    assert assumed(full) < 0.8 * assumed(small)


def test_the_report_example_is_sound_and_shows_every_kind_of_entry() -> None:
    from matrixdoc.case.report_schema import ENTRIES

    reports = {name: body for name, body in examples().items() if "findings:" in body}
    assert reports
    shown: set[str] = set()
    for name, body in reports.items():
        read = read_report(body, name)
        assert resolve_report(read, load_machine(read.machine)).findings
        shown |= {key for entry in yaml.safe_load(body)["findings"] for key in entry}
    assert set(ENTRIES) - {"decline"} <= shown
    assert "`decline:`" in README


@cache
def words_of_the_readme() -> frozenset[str]:
    """Everything in code marks or examples, split into words."""
    code = "\n".join([*re.findall(r"`([^`\n]+)`", README), *fences(README, "yaml")])
    return frozenset(re.findall(r"[a-z_]+", code))


def test_every_key_of_a_definition_is_explained() -> None:
    schema = machine_schema()
    keys = set(schema["properties"])
    for form in schema["$defs"].values():
        keys |= set(form.get("properties", {}))
    # A pin may be spelled out; people write K1-3. 'fitted' is what 'none' stands for.
    keys -= {"connector", "position", "fitted"}
    assert keys - words_of_the_readme() == set()


def test_every_setting_is_explained() -> None:
    assert set(Settings.__slots__) <= words_of_the_readme()


def test_every_style_is_named() -> None:
    styles = load_styles()
    text = " ".join(README.split())
    for name in (*styles.sensing, *styles.lamp, *styles.output):
        assert name in text, name
    for name in styles.switch:
        idle = name.partition(", ")[2]
        assert name.partition(", ")[0] in text, name
        assert idle in text, name


@pytest.mark.parametrize("name", DOCUMENTS)
def test_every_file_named_is_there(name: str) -> None:
    text = DOCUMENTS[name]
    named = set(re.findall(r"\]\((?!https?:|#)([^)#\s]+)", text))
    for marked in re.findall(r"`([^`\n]+)`", text):
        if PATH.fullmatch(marked):
            named.add(marked)
    missing = [one for one in named if one not in examples() and not any(ROOT.glob(one.rstrip("/")))]
    assert missing == []


def test_the_grammar_of_references_is_the_one_in_force() -> None:
    from matrixdoc.definition import references

    in_force = " ".join((references.__doc__ or "").split())
    (grammar,) = [body for body in fences(DEVELOPERS, "text") if body.startswith("reference ")]
    assert f"only ever grows:: {' '.join(grammar.split())} A name" in in_force


def test_every_folder_of_tests_and_every_benchmark_is_told() -> None:
    folders = {f"tests/{path.name}/" for path in (ROOT / "tests").iterdir() if any(path.glob("test_*.py"))}
    assert {folder for folder in folders if folder not in DEVELOPERS} == set()
    assert all(path.name in DEVELOPERS for path in (ROOT / "tests" / "benchmarks").glob("bench_*.py"))


def test_the_documents_say_the_cautions() -> None:
    text = README.casefold()
    for word in ("mains", "capacitor", "discharge", "fuse", "lead", "battery", "local code", "unplug"):
        assert word in text, word
    assert "never says that a circuit is safe" in " ".join(README.split())
